//! The build sheet as PDF.

use crate::report::PictureError;
use crate::report::draw::canvas::text_width;
use crate::report::draw::page;
use crate::report::draw::page::{Item, Page, Picture};
use crate::report::draw::pdf::pdf;
use crate::report::draw::pdf_pen::{Pen, wrapped};
use crate::report::draw::theme::{GROUND, INK, QUIET, RULE, WARNING};
use crate::report::job::build_sheet_parts::{
    CAUTIONS, Mark, Sheet, advice, closing, ends, head, mended, notes, pictures, state, trials,
};
use crate::report::job::convergence::{HEIGHT, WIDTH, convergence_svg};
use image::ImageDecoder as _;
use image::codecs::jpeg::JpegDecoder;
use std::io::Cursor;

/// Paper of the sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Paper {
    /// 210 mm × 297 mm.
    A4,
    /// 8.5 in × 11 in.
    Letter,
}

impl Paper {
    /// Width and height in points.
    const fn points(self) -> [f64; 2] {
        match self {
            Self::A4 => page::A4,
            Self::Letter => page::LETTER,
        }
    }
}

const MARGIN: f64 = 34.0;
/// Text sizes tried from the largest down until everything fits on two sides.
const SIZES: [f64; 5] = [8.4, 7.8, 7.2, 6.6, 6.0];

/// The PDF's bytes, two pages.
///
/// # Errors
/// A picture that cannot be embedded.
pub(crate) fn build_sheet_pdf(sheet: &Sheet, paper: Paper) -> Result<Vec<u8>, PictureError> {
    let mut pages = Vec::new();
    for size in SIZES {
        let fits;
        (pages, fits) = sides(sheet, paper, size)?;
        if fits {
            break;
        }
    }
    let title = format!("Build sheet: {}", sheet.record.head.name);
    pdf(&title, &pages)
}

/// Both sides with text of a size, and whether everything is on them.
fn sides(sheet: &Sheet, paper: Paper, size: f64) -> Result<(Vec<Page>, bool), PictureError> {
    let [width, height] = paper.points();
    let mut fits = true;
    let mut pages = Vec::new();
    for side in [first_side, second_side] {
        let mut page = Page::new([width, height]);
        let mut pen = Pen {
            page: &mut page,
            size,
            left: MARGIN,
            width: width - 2.0 * MARGIN,
            y: MARGIN,
            bottom: height - MARGIN,
        };
        side(&mut pen, sheet)?;
        fits &= pen.y <= pen.bottom;
        pages.push(page);
    }
    Ok((pages, fits))
}

fn first_side(pen: &mut Pen, sheet: &Sheet) -> Result<(), PictureError> {
    let big = 1.8 * pen.size;
    for line in wrapped(&sheet.record.head.name, big, pen.width, true) {
        pen.put([pen.left, pen.y + big], &line, big, true, INK);
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
                Some(found) => pen.facts(&state(sheet, found)),
                None => pen.paragraph("No record as found.", 0.0, INK),
            }
        },
        |pen| {
            pen.title("Final state");
            match last {
                Some(last) => pen.facts(&state(sheet, last)),
                None => pen.paragraph("Not assembled yet.", 0.0, INK),
            }
        },
    );
    pen.title("Trials");
    table(pen, sheet);
    for line in mended(sheet) {
        pen.paragraph(&line, 0.0, QUIET);
    }
    pen.title("How it came there");
    let width = pen
        .width
        .min(1.2 * (pen.bottom - pen.y).max(150.0) * (WIDTH / HEIGHT));
    let scale = width / WIDTH;
    pen.page.items.push(Item::Drawing {
        at: [pen.left, pen.y],
        scale,
        svg: convergence_svg(sheet.record, &sheet.shown),
    });
    pen.y += scale * HEIGHT;
    pen.paragraph(
        "Numbers are trials; the square is the axle as found; the cross is the target, the dotted box where the centre may stand.",
        0.0,
        QUIET,
    );
    Ok(())
}

fn table(pen: &mut Pen, sheet: &Sheet) {
    let (rows, left_out, headings) = trials(sheet);
    let small = 0.92 * pen.size;
    // Widths by the cells, which stay on one line if they can, and by the words of the headings, which may be one below
    // the other; two or so stand side by side where there is room.
    let natural_of = |of_heading: f64| -> Vec<f64> {
        let column = |column: usize| {
            let heading: &str = headings[column];
            let cells = rows
                .iter()
                .map(|row| text_width(&row[column], small, false));
            let words = heading.split_whitespace();
            let words = words.map(|word| text_width(word, small, true));
            let least = of_heading * text_width(heading, small, true);
            cells.chain(words).fold(least, f64::max) + 5.0
        };
        (0..headings.len()).map(column).collect()
    };
    let fits = |widths: &Vec<f64>| widths.iter().sum::<f64>() <= pen.width;
    let natural = [0.6, 0.5, 0.4].map(natural_of).into_iter().find(fits);
    let natural = natural.unwrap_or_else(|| natural_of(0.0));
    let scale = pen.width / natural.iter().sum::<f64>();
    let widths: Vec<f64> = natural.iter().map(|width| width * scale).collect();
    let plain_headings = headings.map(str::to_owned);
    for (number, row) in std::iter::once(&plain_headings).chain(&rows).enumerate() {
        let mut x = pen.left;
        let mut deepest = pen.y;
        for (cell, width) in row.iter().zip(&widths) {
            let mut y = pen.y;
            let bold = number == 0;
            for line in wrapped(cell, small, width - 4.0, bold) {
                pen.put([x, y + small], &line, small, bold, INK);
                y += 1.25 * small;
            }
            deepest = deepest.max(y);
            x += width;
        }
        pen.y = deepest + 1.5;
        pen.rule(0.5, RULE);
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

fn second_side(pen: &mut Pen, sheet: &Sheet) -> Result<(), PictureError> {
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
            for (mark, words) in closing(sheet) {
                let colour = if mark == Mark::Outside { WARNING } else { INK };
                pen.paragraph(&format!("{} {words}", mark.sign()), indent, colour);
            }
        },
    );
    pen.title("Cautions");
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
    pen.rule(0.7, INK);
    pen.y += 2.0;
    pen.paragraph(words, 0.0, QUIET);
}

fn picture_rows(
    pen: &mut Pen,
    shown: &[crate::report::job::build_sheet_parts::Picture],
) -> Result<(), PictureError> {
    const ACROSS: usize = 3;
    let gap = 6.0;
    let width = (pen.width - gap * (ACROSS - 1) as f64) / ACROSS as f64;
    let height = width * if shown.len() > 2 * ACROSS { 0.62 } else { 0.75 };
    for row in shown.chunks(ACROSS) {
        let mut deepest = pen.y;
        for (column, picture) in row.iter().enumerate() {
            let (left, top) = (pen.left + column as f64 * (width + gap), pen.y);
            let head = JpegDecoder::new(Cursor::new(picture.bytes)).map_err(PictureError::new)?;
            let (across, down) = head.dimensions();
            let scale = (width / f64::from(across)).min(height / f64::from(down));
            let (w, h) = (f64::from(across) * scale, f64::from(down) * scale);
            pen.page.items.push(Item::Ground {
                frame: [left, top, width, height],
                colour: GROUND,
            });
            pen.page.items.push(Item::Picture {
                frame: [left + (width - w) / 2.0, top + (height - h) / 2.0, w, h],
                picture: Picture::Jpeg(picture.bytes.to_vec()),
                shows: picture.words.clone(),
            });
            let small = 0.88 * pen.size;
            let mut y = pen.y + height + 1.0;
            for line in wrapped(&picture.words, small, width, false) {
                pen.put([left, y + small], &line, small, false, QUIET);
                y += 1.2 * small;
            }
            deepest = deepest.max(y);
        }
        pen.y = deepest + 4.0;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::held;
    use crate::report::job::samples::{crowded, played};
    use crate::units::Shown;

    #[test]
    fn a_crowded_job_still_fits_two_sides_of_either_paper() {
        let (record, pictures) = crowded();
        let sheet = Sheet {
            record: &record,
            pictures: &pictures,
            shown: Shown::default(),
        };
        for paper in [Paper::A4, Paper::Letter] {
            let smallest = SIZES[SIZES.len() - 1];
            let (pages, fits) = sides(&sheet, paper, smallest).unwrap();
            assert!(fits, "{paper:?}");
            assert!(pdf("crowded", &pages).unwrap().starts_with(b"%PDF"));
        }
    }

    /// What stands on the sides, in the order it is put there.
    fn words(pages: &[Page]) -> String {
        let of = |item: &Item| match item {
            Item::Text { words, .. } => Some(words.clone()),
            _ => None,
        };
        let items = pages.iter().flat_map(|page| &page.items);
        items.filter_map(of).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn the_sides_hold_the_job_its_trials_pictures_closing_list_and_cautions() {
        let (record, pictures) = crowded();
        let sheet = Sheet {
            record: &record,
            pictures: &pictures,
            shown: Shown::default(),
        };
        let (pages, _) = sides(&sheet, Paper::A4, SIZES[0]).unwrap();
        let said = words(&pages);
        for part in [
            "Rear axle",
            "As found",
            "Final state",
            "0.200 mm",
            "Closing list",
        ] {
            assert!(said.contains(part), "{part}: {said}");
        }
        for caution in CAUTIONS {
            for word in caution.split_whitespace() {
                assert!(said.contains(word), "{word} of: {caution}");
            }
        }
        let shown = |item: &&Item| matches!(item, Item::Picture { .. });
        let shown = pages.iter().flat_map(|page| &page.items).filter(shown);
        assert_eq!(shown.count(), 9);
        // Letters are drawn: a page without any takes a tenth of the bytes.
        let bare = pdf("crowded", &[Page::new(Paper::A4.points())]).unwrap();
        let full = build_sheet_pdf(&sheet, Paper::A4).unwrap();
        assert!(
            full.len() > 20 * bare.len(),
            "{} and {}",
            full.len(),
            bare.len()
        );
    }

    #[test]
    fn a_job_without_anything_still_prints() {
        let (mut record, _) = crowded();
        record.trials.clear();
        record.notes.clear();
        let sheet = Sheet {
            record: &record,
            pictures: &[],
            shown: Shown::default(),
        };
        assert!(
            build_sheet_pdf(&sheet, Paper::A4)
                .unwrap()
                .starts_with(b"%PDF")
        );
    }

    #[test]
    fn lines_break_between_words_and_long_words_within() {
        let lines = wrapped("one two three", 10.0, 45.0, false);
        assert!(
            lines.len() > 1 && lines.join(" ") == "one two three",
            "{lines:?}"
        );
        let cut = wrapped(&"x".repeat(60), 10.0, 45.0, false);
        assert!(cut.len() > 5 && cut.concat().len() == 60);
        assert_eq!(wrapped("", 10.0, 45.0, false), [""]);
    }

    #[test]
    fn held_sides_of_a_job_that_fits_and_of_one_that_does_not() {
        for (name, (record, pictures)) in [("played", played()), ("crowded", crowded())] {
            let sheet = Sheet {
                record: &record,
                pictures: &pictures,
                shown: Shown::default(),
            };
            let (pages, fits) = sides(&sheet, Paper::A4, SIZES[1]).unwrap();
            assert_eq!(fits, name == "played");
            for (side, page) in pages.iter().enumerate() {
                let frame = |item: &Item| match item {
                    Item::Picture { frame, shows, .. } => Some(format!("{frame:.1?} {shows}\n")),
                    _ => None,
                };
                let frames: String = page.items.iter().filter_map(frame).collect();
                held::hold(
                    &format!("build-sheet-{name}-{}.svg", side + 1),
                    &format!("{}\n<!--\n{frames}-->", page.svg(false)),
                );
            }
        }
    }
}
