//! The build sheet as PDF: text in the program's own letters, plots and photos as pictures.

use super::build_sheet_parts::{
    CAUTIONS, Sheet, advice, closing, ends, head, notes, pictures, state, trials,
};
use super::convergence::{HEIGHT, WIDTH, convergence_svg};
use crate::report::PictureError;
use crate::report::draw::canvas::text_width;
use crate::report::draw::pdf_pen::{INK, Letters, Pen, QUIET, RULE, fill, wrapped};
use crate::report::draw::raster;
use krilla::Document;
use krilla::geom::{PathBuilder, Rect};
use krilla::image::Image;
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::text::Font;

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
    let (plot, letters) = (plot(sheet)?, letters()?);
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

fn plot(sheet: &Sheet) -> Result<Image, PictureError> {
    let plot = raster::png(&convergence_svg(sheet.record, &sheet.shown), PLOT_SCALE)?;
    Image::from_png(plot.into(), true).map_err(PictureError::new)
}

fn letters() -> Result<Letters, PictureError> {
    let font = |bytes: &[u8]| {
        Font::new(bytes.to_vec().into(), 0)
            .ok_or_else(|| PictureError::new("the program's letters cannot be embedded"))
    };
    Ok(Letters {
        plain: font(dejavu::sans::regular())?,
        bold: font(dejavu::sans::bold())?,
    })
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
    pen.rule(pen.y, 0.7, INK);
    pen.y += 2.0;
    pen.paragraph(words, 0.0, QUIET);
}

fn picture_rows(
    pen: &mut Pen,
    shown: &[crate::report::job::build_sheet_parts::Picture],
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schema::Card;
    use crate::schema::record::Record;
    use crate::schema::record::{Assembly, Head, Note, PhotoOf, SCHEMA, Shows};
    use crate::units::Shown;
    use image::RgbImage;
    use image::codecs::jpeg::JpegEncoder;

    /// A job with far more in it than two sides hold.
    fn crowded() -> (Record, Vec<Vec<Option<Vec<u8>>>>) {
        let mut jpeg = Vec::new();
        JpegEncoder::new(&mut jpeg)
            .encode_image(&RgbImage::new(40, 30))
            .unwrap();
        let words = "words that go on and on about what was seen at the bench ".repeat(9);
        let photo = PhotoOf {
            original_sha256: String::new(),
            sha256: String::new(),
            name: "a.jpg".into(),
            shows: Shows::Drive,
            reading: None,
        };
        let trials: Vec<Assembly> = (1..=30)
            .map(|number| {
                let mut assembly = Assembly {
                    number,
                    photos: vec![photo.clone(); 2],
                    ..Assembly::default()
                };
                assembly.trial.backlash_mm = vec![0.2; 12];
                assembly.trial.as_found = number == 1;
                assembly.bench.note.clone_from(&words);
                assembly
            })
            .collect();
        let pictures = vec![vec![Some(jpeg); 2]; trials.len()];
        let note = Note {
            at: "2026-05-04T08:00:00Z".into(),
            by: "Robin".into(),
            text: words,
        };
        let record = Record {
            schema: SCHEMA.into(),
            head: Head {
                name: "Rear axle".into(),
                ..Head::default()
            },
            card: Card::from_toml(include_str!("../../../examples/larchfield/card.toml")).unwrap(),
            trials,
            advice: Vec::new(),
            closing: Vec::new(),
            notes: vec![note; 20],
        };
        (record, pictures)
    }

    #[test]
    fn a_crowded_job_still_fits_two_sides_of_either_paper() {
        let (record, pictures) = crowded();
        let sheet = Sheet {
            record: &record,
            pictures: &pictures,
            shown: Shown::default(),
        };
        for paper in [Paper::A4, Paper::Letter] {
            let letters = letters().unwrap();
            let plot = plot(&sheet).unwrap();
            let smallest = SIZES[SIZES.len() - 1];
            let (bytes, fits) = document(&sheet, paper, smallest, &letters, &plot).unwrap();
            assert!(fits, "{paper:?}");
            assert!(bytes.starts_with(b"%PDF"));
        }
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
        let lines = wrapped("one two three", 10.0, 45.0);
        assert!(
            lines.len() > 1 && lines.join(" ") == "one two three",
            "{lines:?}"
        );
        let cut = wrapped(&"x".repeat(60), 10.0, 45.0);
        assert!(cut.len() > 5 && cut.concat().len() == 60);
        assert_eq!(wrapped("", 10.0, 45.0), [""]);
    }
}
