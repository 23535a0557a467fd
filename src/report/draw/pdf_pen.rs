//! Writing down a PDF page: text, rules, columns, pictures.

use super::canvas::text_width;
use crate::report::job::build_sheet_parts::Fact;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Size, Transform};
use krilla::image::Image;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

/// The program's own letters.
pub(crate) struct Letters {
    pub(crate) plain: Font,
    pub(crate) bold: Font,
}

/// Writes down a page, top to bottom, within a column.
pub(crate) struct Pen<'a, 'p> {
    pub(crate) surface: &'a mut Surface<'p>,
    pub(crate) letters: &'a Letters,
    pub(crate) size: f32,
    pub(crate) left: f32,
    pub(crate) width: f32,
    pub(crate) y: f32,
    pub(crate) bottom: f32,
}

pub(crate) const INK: (u8, u8, u8) = (0x14, 0x21, 0x3d);
pub(crate) const QUIET: (u8, u8, u8) = (0x5b, 0x66, 0x78);
pub(crate) const RULE: (u8, u8, u8) = (0xcc, 0xd3, 0xdd);

pub(crate) fn fill((red, green, blue): (u8, u8, u8)) -> Option<Fill> {
    Some(Fill {
        paint: rgb::Color::new(red, green, blue).into(),
        ..Fill::default()
    })
}

impl Pen<'_, '_> {
    pub(crate) fn line_height(&self) -> f32 {
        1.28 * self.size
    }

    pub(crate) fn put(
        &mut self,
        x: f32,
        baseline: f32,
        text: &str,
        size: f32,
        bold: bool,
        colour: (u8, u8, u8),
    ) {
        self.surface.set_fill(fill(colour));
        self.surface.set_stroke(None);
        let font = if bold {
            &self.letters.bold
        } else {
            &self.letters.plain
        };
        self.surface.draw_text(
            Point::from_xy(x, baseline),
            font.clone(),
            size,
            text,
            false,
            TextDirection::LeftToRight,
        );
    }

    pub(crate) fn rule(&mut self, y: f32, thick: f32, colour: (u8, u8, u8)) {
        let mut path = PathBuilder::new();
        path.move_to(self.left, y);
        path.line_to(self.left + self.width, y);
        let Some(path) = path.finish() else { return };
        let (red, green, blue) = colour;
        self.surface.set_fill(None);
        self.surface.set_stroke(Some(Stroke {
            paint: rgb::Color::new(red, green, blue).into(),
            width: thick,
            ..Stroke::default()
        }));
        self.surface.draw_path(&path);
    }

    pub(crate) fn title(&mut self, text: &str) {
        self.y += 0.8 * self.size;
        let size = 1.15 * self.size;
        self.put(self.left, self.y + size, text, size, true, INK);
        self.y += 1.45 * size;
        self.rule(self.y, 1.0, INK);
        self.y += 0.35 * self.size;
    }

    /// A paragraph, its following lines indented.
    pub(crate) fn paragraph(&mut self, text: &str, indent: f32, colour: (u8, u8, u8)) {
        for (i, line) in wrapped(text, self.size, self.width - indent)
            .iter()
            .enumerate()
        {
            let x = self.left + if i == 0 { 0.0 } else { indent };
            self.put(x, self.y + self.size, line, self.size, false, colour);
            self.y += self.line_height();
        }
    }

    pub(crate) fn facts(&mut self, facts: &[Fact]) {
        let name_width = facts
            .iter()
            .map(|fact| text_width(fact.name, f64::from(self.size)) as f32)
            .fold(0.0, f32::max)
            + self.size;
        for fact in facts {
            self.put(
                self.left,
                self.y + self.size,
                fact.name,
                self.size,
                false,
                QUIET,
            );
            for line in wrapped(&fact.value, self.size, self.width - name_width) {
                self.put(
                    self.left + name_width,
                    self.y + self.size,
                    &line,
                    self.size,
                    false,
                    INK,
                );
                self.y += self.line_height();
            }
        }
    }

    /// Two columns side by side; the pen ends below the longer.
    pub(crate) fn columns(
        &mut self,
        first: impl FnOnce(&mut Pen<'_, '_>),
        second: impl FnOnce(&mut Pen<'_, '_>),
    ) {
        let (top, left, width) = (self.y, self.left, self.width);
        let gap = 16.0;
        let half = (width - gap) / 2.0;
        let mut column = |left: f32, draw: &mut dyn FnMut(&mut Pen<'_, '_>)| {
            let mut pen = Pen {
                surface: &mut *self.surface,
                letters: self.letters,
                size: self.size,
                left,
                width: half,
                y: top,
                bottom: self.bottom,
            };
            draw(&mut pen);
            pen.y
        };
        let (mut first, mut second) = (Some(first), Some(second));
        let a = column(left, &mut |pen| {
            if let Some(first) = first.take() {
                first(pen);
            }
        });
        let b = column(left + half + gap, &mut |pen| {
            if let Some(second) = second.take() {
                second(pen);
            }
        });
        self.y = a.max(b);
    }

    pub(crate) fn image(&mut self, image: &Image, x: f32, y: f32, width: f32, height: f32) {
        let Some(size) = Size::from_wh(width, height) else {
            return;
        };
        self.surface
            .push_transform(&Transform::from_translate(x, y));
        self.surface.draw_image(image.clone(), size);
        self.surface.pop();
    }
}

/// Text in lines no wider than `width`; a word that is wider stands alone and is cut.
pub(crate) fn wrapped(text: &str, size: f32, width: f32) -> Vec<String> {
    let fits = |line: &str| text_width(line, f64::from(size)) as f32 <= width;
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            let longer = format!("{line}{letter}");
            if fits(&longer) || line.is_empty() {
                line = longer;
            } else {
                lines.push(std::mem::replace(&mut line, letter.to_string()));
            }
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}
