//! Writing down a page of the build sheet: text, rules, columns, pictures.

use crate::report::draw::canvas::text_width;
use crate::report::draw::page::{Item, Page};
use crate::report::draw::theme::{INK, QUIET, WARNING};
use crate::report::job::build_sheet_parts::Fact;

/// Writes down a page, top to bottom, within a column.
pub(crate) struct Pen<'a> {
    pub(crate) page: &'a mut Page,
    pub(crate) size: f64,
    pub(crate) left: f64,
    pub(crate) width: f64,
    pub(crate) y: f64,
    pub(crate) bottom: f64,
}

impl Pen<'_> {
    pub(crate) fn line_height(&self) -> f64 {
        1.28 * self.size
    }

    pub(crate) fn put(
        &mut self,
        at: [f64; 2],
        text: &str,
        size: f64,
        bold: bool,
        colour: &'static str,
    ) {
        self.page.items.push(Item::Text {
            at,
            size,
            bold,
            colour,
            words: text.to_owned(),
        });
    }

    pub(crate) fn rule(&mut self, thick: f64, colour: &'static str) {
        let [left, right] = [self.left, self.left + self.width];
        self.page.items.push(Item::Line {
            points: vec![[left, self.y], [right, self.y]],
            thick,
            colour,
        });
    }

    pub(crate) fn title(&mut self, text: &str) {
        self.y += 0.8 * self.size;
        let size = 1.15 * self.size;
        self.put([self.left, self.y + size], text, size, true, INK);
        self.y += 1.45 * size;
        self.rule(1.0, INK);
        self.y += 0.35 * self.size;
    }

    /// A paragraph, its following lines indented.
    pub(crate) fn paragraph(&mut self, text: &str, indent: f64, colour: &'static str) {
        for (i, line) in wrapped(text, self.size, self.width - indent, false)
            .iter()
            .enumerate()
        {
            let x = self.left + if i == 0 { 0.0 } else { indent };
            self.put([x, self.y + self.size], line, self.size, false, colour);
            self.y += self.line_height();
        }
    }

    pub(crate) fn facts(&mut self, facts: &[Fact]) {
        let name_width = facts
            .iter()
            .map(|fact| text_width(fact.name, self.size, false))
            .fold(0.0, f64::max)
            + self.size;
        for fact in facts {
            self.put(
                [self.left, self.y + self.size],
                fact.name,
                self.size,
                false,
                QUIET,
            );
            for line in wrapped(&fact.value, self.size, self.width - name_width, false) {
                self.put(
                    [self.left + name_width, self.y + self.size],
                    &line,
                    self.size,
                    false,
                    if fact.outside { WARNING } else { INK },
                );
                self.y += self.line_height();
            }
        }
    }

    /// Two columns side by side; the pen ends below the longer.
    pub(crate) fn columns(
        &mut self,
        first: impl FnOnce(&mut Pen<'_>),
        second: impl FnOnce(&mut Pen<'_>),
    ) {
        let (top, left, width) = (self.y, self.left, self.width);
        let gap = 16.0;
        let half = (width - gap) / 2.0;
        let mut column = |left: f64, draw: &mut dyn FnMut(&mut Pen<'_>)| {
            let mut pen = Pen {
                page: &mut *self.page,
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
}

/// Text in lines no wider than `width`; a word that is wider stands alone and is cut.
pub(crate) fn wrapped(text: &str, size: f64, width: f64, bold: bool) -> Vec<String> {
    let fits = |line: &str| text_width(line, size, bold) <= width;
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

#[cfg(test)]
mod tests {
    use super::*;

    /// What is written stands on the page, each line below the one before and within its column.
    #[test]
    fn titles_facts_and_paragraphs_stand_below_each_other_in_their_column() {
        let mut page = Page::default();
        let mut pen = Pen {
            page: &mut page,
            size: 10.0,
            left: 40.0,
            width: 400.0,
            y: 50.0,
            bottom: 700.0,
        };
        let fact = |name, value: &str, outside| Fact {
            name,
            value: value.into(),
            outside,
        };
        pen.columns(
            |pen| {
                pen.title("Gears");
                pen.facts(&[
                    fact("teeth", "11 and 41", false),
                    fact("backlash", "0.40 mm", true),
                ]);
            },
            |pen| pen.paragraph("beside", 0.0, INK),
        );
        pen.paragraph("below both", 0.0, INK);
        let texts: Vec<(&str, [f64; 2], &str)> = (page.items.iter())
            .filter_map(|item| match item {
                Item::Text {
                    at, words, colour, ..
                } => Some((words.as_str(), *at, *colour)),
                _ => None,
            })
            .collect();
        let words: Vec<&str> = texts.iter().map(|text| text.0).collect();
        assert_eq!(
            words,
            [
                "Gears",
                "teeth",
                "11 and 41",
                "backlash",
                "0.40 mm",
                "beside",
                "below both"
            ]
        );
        let at = |word: &str| texts.iter().find(|text| text.0 == word).unwrap().1;
        let below = ["Gears", "teeth", "backlash", "below both"].map(|word| at(word)[1]);
        assert!(
            below.windows(2).all(|pair| pair[1] > pair[0] + 9.0),
            "{below:?}"
        );
        assert_eq!(at("teeth")[1], at("11 and 41")[1]);
        assert!(at("11 and 41")[0] > at("backlash")[0] + 40.0);
        assert_eq!((at("Gears")[0], at("below both")[0]), (40.0, 40.0));
        assert!(at("beside")[0] > 240.0 && at("beside")[1] < at("teeth")[1]);
        let red = texts.iter().find(|text| text.0 == "0.40 mm").unwrap().2;
        assert_eq!(red, WARNING);
        // The rule under the title, across its column.
        let ruled = page.items.iter().any(|item| matches!(item, Item::Line { points, .. } if points[0][0] == 40.0 && points[1][0] == 232.0));
        assert!(ruled);
    }
}
