//! The build sheet as PDF: text in the program's own letters, plots and photos as pictures.

use super::PictureError;
use super::build_sheet_parts::{
    CAUTIONS, Fact, Sheet, advice, closing, ends, head, notes, pictures, state, trials,
};
use super::canvas::text_width;
use super::convergence::{HEIGHT, WIDTH, convergence_svg};
use super::raster;
use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::image::Image;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::text::{Font, TextDirection};

/// Paper of the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Paper {
    /// 210 mm × 297 mm.
    A4,
    /// 8.5 in × 11 in.
    Letter,
}

impl Paper {
    /// Width and height in points.
    const fn points(self) -> (f32, f32) {
        match self {
            Self::A4 => (595.28, 841.89),
            Self::Letter => (612.0, 792.0),
        }
    }
}

const MARGIN: f32 = 34.0;
/// Pixels of a plot for each of its own units.
const PLOT_SCALE: f32 = 3.0;
/// Text sizes tried from the largest down until everything fits on two sides.
const SIZES: [f32; 5] = [8.4, 7.8, 7.2, 6.6, 6.0];

/// The PDF's bytes, two pages.
///
/// # Errors
/// A picture or a letter that cannot be embedded.
pub fn build_sheet_pdf(sheet: &Sheet, paper: Paper) -> Result<Vec<u8>, PictureError> {
    let plot = raster::png(&convergence_svg(sheet.record, &sheet.shown), PLOT_SCALE)?;
    let plot = Image::from_png(plot.into(), true).map_err(PictureError::new)?;
    let font = |bytes: &[u8]| {
        Font::new(bytes.to_vec().into(), 0)
            .ok_or_else(|| PictureError::new("the program's letters cannot be embedded"))
    };
    let letters = Letters {
        plain: font(dejavu::sans::regular())?,
        bold: font(dejavu::sans::bold())?,
    };
    let mut last = Err(PictureError::new("the sheet does not fit on two sides"));
    for size in SIZES {
        let (bytes, fits) = document(sheet, paper, size, &letters, &plot)?;
        last = Ok(bytes);
        if fits {
            break;
        }
    }
    last
}

struct Letters {
    plain: Font,
    bold: Font,
}

fn document(
    sheet: &Sheet,
    paper: Paper,
    size: f32,
    letters: &Letters,
    plot: &Image,
) -> Result<(Vec<u8>, bool), PictureError> {
    let (width, height) = paper.points();
    let mut document = Document::new();
    let head = &sheet.record.head;
    document.set_metadata(
        Metadata::new()
            .title(format!("Build sheet: {}", head.name))
            .language("en".into()),
    );
    let mut fits = true;
    for side in [first_side, second_side] {
        let settings = PageSettings::from_wh(width, height)
            .ok_or_else(|| PictureError::new("the paper has no size"))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        let mut pen = Pen {
            surface: &mut surface,
            letters,
            size,
            left: MARGIN,
            width: width - 2.0 * MARGIN,
            y: MARGIN,
            bottom: height - MARGIN,
        };
        side(&mut pen, sheet, plot)?;
        fits &= pen.y <= pen.bottom;
        surface.finish();
        page.finish();
    }
    let bytes = document
        .finish()
        .map_err(|error| PictureError::new(format!("{error:?}")))?;
    Ok((bytes, fits))
}

/// Writes down a page, top to bottom, within a column.
struct Pen<'a, 'p> {
    surface: &'a mut Surface<'p>,
    letters: &'a Letters,
    size: f32,
    left: f32,
    width: f32,
    y: f32,
    bottom: f32,
}

const INK: (u8, u8, u8) = (0x14, 0x21, 0x3d);
const QUIET: (u8, u8, u8) = (0x5b, 0x66, 0x78);
const RULE: (u8, u8, u8) = (0xcc, 0xd3, 0xdd);

fn fill((red, green, blue): (u8, u8, u8)) -> Option<Fill> {
    Some(Fill {
        paint: rgb::Color::new(red, green, blue).into(),
        ..Fill::default()
    })
}

impl Pen<'_, '_> {
    fn line_height(&self) -> f32 {
        1.28 * self.size
    }

    fn put(
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

    fn rule(&mut self, y: f32, thick: f32, colour: (u8, u8, u8)) {
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

    fn title(&mut self, text: &str) {
        self.y += 0.8 * self.size;
        let size = 1.15 * self.size;
        self.put(self.left, self.y + size, text, size, true, INK);
        self.y += 1.45 * size;
        self.rule(self.y, 1.0, INK);
        self.y += 0.35 * self.size;
    }

    /// A paragraph, its following lines indented.
    fn paragraph(&mut self, text: &str, indent: f32, colour: (u8, u8, u8)) {
        for (i, line) in wrapped(text, self.size, self.width - indent)
            .iter()
            .enumerate()
        {
            let x = self.left + if i == 0 { 0.0 } else { indent };
            self.put(x, self.y + self.size, line, self.size, false, colour);
            self.y += self.line_height();
        }
    }

    fn facts(&mut self, facts: &[Fact]) {
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
    fn columns(
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

    fn image(&mut self, image: &Image, x: f32, y: f32, width: f32, height: f32) {
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
fn wrapped(text: &str, size: f32, width: f32) -> Vec<String> {
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

fn first_side(pen: &mut Pen, sheet: &Sheet, plot: &Image) -> Result<(), PictureError> {
    let big = 1.8 * pen.size;
    for line in wrapped(&sheet.record.head.name, big, pen.width) {
        pen.put(pen.left, pen.y + big, &line, big, true, INK);
        pen.y += 1.2 * big;
    }
    pen.paragraph("Build sheet of a ring and pinion set-up", 0.0, QUIET);
    pen.y += 0.4 * pen.size;
    pen.facts(&head(sheet));
    let (found, last) = ends(sheet);
    pen.columns(
        |pen| {
            pen.title("As found");
            match found {
                Some(found) => pen.facts(&state(found, &sheet.shown)),
                None => pen.paragraph("No record as found.", 0.0, INK),
            }
        },
        |pen| {
            pen.title("Final state");
            match last {
                Some(last) => pen.facts(&state(last, &sheet.shown)),
                None => pen.paragraph("Not assembled yet.", 0.0, INK),
            }
        },
    );
    pen.title("Trials");
    table(pen, sheet);
    pen.title("How it came there");
    let width = pen
        .width
        .min(1.2 * (pen.bottom - pen.y).max(150.0) * (WIDTH / HEIGHT) as f32);
    let height = width * (HEIGHT / WIDTH) as f32;
    let (left, y) = (pen.left, pen.y);
    pen.image(plot, left, y, width, height);
    pen.y += height;
    pen.paragraph(
        "Numbers are trials; the square is the axle as found; the cross is the target, the dotted line how near is right.",
        0.0,
        QUIET,
    );
    Ok(())
}

fn table(pen: &mut Pen, sheet: &Sheet) {
    let (rows, left_out, headings) = trials(sheet);
    let small = 0.92 * pen.size;
    // Widths by what stands in the columns, squeezed or stretched to the page.
    let natural: Vec<f32> = (0..headings.len())
        .map(|column| {
            rows.iter()
                .map(|row| text_width(&row[column], f64::from(small)) as f32)
                .fold(
                    text_width(headings[column], f64::from(small)) as f32 * 0.6,
                    f32::max,
                )
                + 5.0
        })
        .collect();
    let scale = pen.width / natural.iter().sum::<f32>();
    let widths: Vec<f32> = natural.iter().map(|width| width * scale).collect();
    let plain_headings = headings.map(str::to_owned);
    for (number, row) in std::iter::once(&plain_headings).chain(&rows).enumerate() {
        let mut x = pen.left;
        let mut deepest = pen.y;
        for (cell, width) in row.iter().zip(&widths) {
            let mut y = pen.y;
            // Bold letters are wider than the plain ones that are measured.
            let room = if number == 0 {
                (width - 4.0) / 1.15
            } else {
                width - 4.0
            };
            for line in wrapped(cell, small, room) {
                pen.put(x, y + small, &line, small, number == 0, INK);
                y += 1.25 * small;
            }
            deepest = deepest.max(y);
            x += width;
        }
        pen.y = deepest + 1.5;
        pen.rule(pen.y, 0.5, RULE);
        pen.y += 1.5;
    }
    if left_out > 0 {
        pen.paragraph(
            &format!("{left_out} trials between the first and these are in the job's record, not on this sheet."),
            0.0,
            QUIET,
        );
    }
}

fn second_side(pen: &mut Pen, sheet: &Sheet, _plot: &Image) -> Result<(), PictureError> {
    let (shown, left_out) = pictures(sheet);
    if !shown.is_empty() {
        pen.title("Pictures");
        picture_rows(pen, &shown)?;
        if left_out > 0 {
            pen.paragraph(
                &format!("{left_out} more pictures are in the job's record."),
                0.0,
                QUIET,
            );
        }
    }
    let (advice, notes) = (advice(sheet), notes(sheet));
    let indent = 1.2 * pen.size;
    pen.columns(
        |pen| {
            pen.title("Advice");
            if advice.is_empty() {
                pen.paragraph("None was asked.", 0.0, INK);
            }
            for line in &advice {
                pen.paragraph(&format!("–  {line}"), indent, INK);
            }
            if !notes.is_empty() {
                pen.title("Notes");
            }
            for line in &notes {
                pen.paragraph(&format!("–  {line}"), indent, INK);
            }
        },
        |pen| {
            pen.title("Closing list");
            for (done, words) in closing(sheet) {
                pen.paragraph(
                    &format!("{} {words}", if done { "☑" } else { "☐" }),
                    indent,
                    INK,
                );
            }
        },
    );
    pen.title("Mind");
    for line in CAUTIONS {
        pen.paragraph(&format!("–  {line}"), indent, INK);
    }
    pen.y += 3.2 * pen.size;
    pen.columns(
        |pen| sign(pen, "done by, date"),
        |pen| sign(pen, "checked by, date"),
    );
    Ok(())
}

fn sign(pen: &mut Pen, words: &str) {
    pen.rule(pen.y, 0.7, INK);
    pen.y += 2.0;
    pen.paragraph(words, 0.0, QUIET);
}

fn picture_rows(
    pen: &mut Pen,
    shown: &[super::build_sheet_parts::Picture],
) -> Result<(), PictureError> {
    const ACROSS: usize = 3;
    let gap = 6.0;
    let width = (pen.width - gap * (ACROSS - 1) as f32) / ACROSS as f32;
    let height = width * if shown.len() > 2 * ACROSS { 0.62 } else { 0.75 };
    for row in shown.chunks(ACROSS) {
        let mut deepest = pen.y;
        for (column, picture) in row.iter().enumerate() {
            let left = pen.left + column as f32 * (width + gap);
            let image =
                Image::from_jpeg(picture.bytes.to_vec().into(), true).map_err(PictureError::new)?;
            let (across, down) = image.size();
            let scale = (width / across as f32).min(height / down as f32);
            let (w, h) = (across as f32 * scale, down as f32 * scale);
            let y = pen.y;
            if let Some(frame) = Rect::from_xywh(left, y, width, height) {
                let mut ground = PathBuilder::new();
                ground.push_rect(frame);
                if let Some(ground) = ground.finish() {
                    pen.surface.set_stroke(None);
                    pen.surface.set_fill(fill((0xf3, 0xf5, 0xf8)));
                    pen.surface.draw_path(&ground);
                }
            }
            pen.image(
                &image,
                left + (width - w) / 2.0,
                y + (height - h) / 2.0,
                w,
                h,
            );
            let small = 0.88 * pen.size;
            let mut y = pen.y + height + 1.0;
            for line in wrapped(&picture.words, small, width) {
                pen.put(left, y + small, &line, small, false, QUIET);
                y += 1.2 * small;
            }
            deepest = deepest.max(y);
        }
        pen.y = deepest + 4.0;
    }
    Ok(())
}
