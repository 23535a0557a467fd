//! The first pages: what is what on a photo of one's own gear, and what the words mean.

use super::drawing::{HALF, WIDTH, column, photo_of};
use super::mistakes::judge;
use super::{BODY, CAUTION, MARGIN, Sheets, Wanted, begin};
use crate::Result;
use crate::contact::Misalignment;
use crate::frames::{PhotoPoint, Side};
use crate::lesson::case::{Case, Set, form};
use crate::lesson::flat::flank_picture;
use crate::lesson::photo::{Mistake, Rendered, Shot, Studio};
use crate::report::draw::page::Page;
use crate::report::draw::raster::draw_over;
use crate::schema::Cutting;
use std::fmt::Write as _;

/// Names beside the tooth nearest the middle: the ends of its flank, its tip and its root.
fn named(rendered: &Rendered) -> Result<image::RgbImage> {
    let mut picture = rendered.picture.clone();
    let Some(flank) = rendered.marks.first() else {
        return Ok(picture);
    };
    let (width, height) = (f64::from(picture.width()), f64::from(picture.height()));
    let size = 0.042 * width;
    let c = &flank.corners;
    let between = |a: PhotoPoint, b: PhotoPoint| [0.5 * (a.x + b.x), 0.5 * (a.y + b.y)];
    let middle = |points: &[PhotoPoint], a, b| {
        points
            .get(points.len() / 2)
            .map_or_else(|| between(a, b), |p| [p.x, p.y])
    };
    let heart = between(c.toe_root, c.heel_tip);
    let places = [
        ("toe", between(c.toe_root, c.toe_tip)),
        ("heel", between(c.heel_root, c.heel_tip)),
        ("tip", middle(&flank.tip, c.toe_tip, c.heel_tip)),
        ("root", middle(&flank.root, c.toe_root, c.heel_root)),
    ];
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" font-family=\"DejaVu Sans\" \
         font-weight=\"bold\" font-size=\"{size:.1}\" text-anchor=\"middle\">"
    );
    for (name, [x, y]) in places {
        let away = [x - heart[0], y - heart[1]];
        let long = away[0].hypot(away[1]).max(1.0);
        let at = |far: f64| {
            [
                (x + far * away[0] / long).clamp(1.4 * size, width - 1.4 * size),
                (y + far * away[1] / long).clamp(1.2 * size, height - 0.6 * size),
            ]
        };
        let label = at(if name.len() == 3 && name != "toe" {
            2.6
        } else {
            2.2
        } * size);
        let half = 0.36 * size * name.len() as f64 + 0.2 * size;
        // Writing into a string does not fail.
        let _ = write!(
            svg,
            "<line x1=\"{x:.1}\" y1=\"{y:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"#fff\" stroke-width=\"{:.1}\"/>\
             <circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" fill=\"#fff\" stroke=\"#14213d\" stroke-width=\"{:.1}\"/>\
             <rect x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" fill=\"#fff\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" fill=\"#14213d\">{name}</text>",
            label[0],
            label[1],
            0.12 * size,
            0.22 * size,
            0.08 * size,
            label[0] - half,
            label[1] - 0.6 * size,
            2.0 * half,
            1.2 * size,
            label[0],
            label[1] + 0.36 * size,
        );
    }
    svg.push_str("</svg>");
    draw_over(&mut picture, &svg)?;
    Ok(picture)
}

/// What each word means; common practice, no source.
const WORDS: [&str; 5] = [
    "Flank: a side of a tooth. Toe: its inner end, toward the axis; heel: its outer end. Tip: the edge at the top of the tooth; root: the bottom of the slot.",
    "Patch, pattern, contact: where the pinion wiped the compound off. Target: where its middle should stand. High: nearer the tip than the target; low: \
     nearer the root.",
    "Drive flank: the one that carries when the engine pulls; coast flank: when the vehicle pushes the engine.",
    "Backlash: how far the ring gear turns while the pinion is held. Square to the tooth, or along the circle: how the dial stands; along the circle it shows \
     more.",
    "Pinion shim: sets how near the pinion's head stands to the ring gear's axis. Side shims, adjusters: set how near the ring gear stands to the pinion.",
];

const MILLED: &str = "Face-milled: the tooth is taller at the heel than at the toe, and the slot's bottom rises toward the toe. Often five cuts.";
const HOBBED: &str = "Face-hobbed: the tooth is as tall at the toe as at the heel. Often two cuts; the pattern often runs slanted.";

impl Sheets {
    /// What is what on a photo, the two cutting methods, a good, a bad and a useless photo.
    pub(super) fn names(&mut self, set: &Set, studio: &Studio, wanted: &Wanted) -> Result<()> {
        let mut page = begin("What you are looking at");
        let case = Case::new(set, Misalignment::default(), 0.0);
        let mut lowest = page.y;
        let mut good = None;
        for side in Side::BOTH {
            let rendered = studio.render(&set.model, &case.state, &photo_of(side, wanted))?;
            let left = column(side);
            page.text([left, page.y + 10.0], 11.0, true, side.word());
            let shows = format!("the {} flanks, one with its ends named", side.word());
            let y = page.picture([left, page.y + 15.0], HALF, named(&rendered)?, &shows);
            let words = format!(
                "The {} flanks of this ring gear are {}. Between tip and root the compound is wiped where the pinion touched.",
                side.word(),
                form(&set.card, side)
            );
            lowest = lowest.max(page.paragraph([left, y + 2.0], HALF, BODY, &words));
            if side == Side::Coast {
                good = Some(rendered);
            }
        }
        page.y = lowest + 4.0;
        cutting_methods(&mut page)?;
        page.text(
            [MARGIN, page.y + 14.0],
            11.0,
            true,
            "A good, a bad and a useless photo",
        );
        page.y += 18.0;
        self.three_photos(&mut page, set, studio, wanted, &case, good)?;
        page.paragraph([MARGIN, page.y + 4.0], WIDTH, BODY, CAUTION);
        self.pages.push(page);
        Ok(())
    }

    fn three_photos(
        &mut self,
        page: &mut Page,
        set: &Set,
        studio: &Studio,
        wanted: &Wanted,
        case: &Case,
        good: Option<Rendered>,
    ) -> Result<()> {
        let across = (WIDTH - 24.0) / 3.0;
        let side = Side::Coast;
        let mut lowest = page.y;
        let kinds = [
            (
                "Good",
                None,
                "Sharp, lit from the side, four or five flanks whole.",
            ),
            (
                "Bad",
                Some(Mistake::TooFar),
                "Far too small in the picture. It may be read, and less surely.",
            ),
            (
                "Useless",
                Some(Mistake::Blurred),
                "Out of focus: nothing can be told from it.",
            ),
        ];
        let mut good = good;
        for (k, (title, mistake, what)) in kinds.into_iter().enumerate() {
            let shot = Shot {
                mistake,
                ..photo_of(side, wanted)
            };
            let rendered = match (mistake, good.take()) {
                (None, Some(good)) => good,
                _ => studio.render(&set.model, &case.state, &shot)?,
            };
            let left = MARGIN + k as f64 * (across + 12.0);
            let shows = format!("a {} photo", title.to_lowercase());
            let y = page.picture([left, page.y], across, rendered.picture.clone(), &shows);
            page.text([left, y + 11.0], BODY + 0.5, true, title);
            let y = page.paragraph([left, y + 13.0], across, BODY, what);
            let judged = judge(title, side, &rendered);
            lowest = lowest.max(judged.write(page, [left, y], across));
            if mistake.is_none() {
                self.spoilt.push(judged);
            }
        }
        page.y = lowest;
        Ok(())
    }

    /// The words with their pictures.
    pub(super) fn glossary(&mut self, set: &Set) {
        let mut page = begin("The words");
        for words in WORDS {
            page.y = page.paragraph([MARGIN, page.y], WIDTH, BODY + 1.0, words);
        }
        page.text(
            [MARGIN, page.y + 16.0],
            11.0,
            true,
            "What a patch is called",
        );
        page.y += 24.0;
        for row in called(set).chunks(2) {
            let mut lowest = page.y;
            for (k, (words, case)) in row.iter().enumerate() {
                let left = MARGIN + k as f64 * (HALF + 14.0);
                page.text([left, page.y + 9.0], 9.5, true, words);
                let shows = format!("a drive patch that is called {words}");
                let flat = flank_picture(set, case, Side::Drive, 600);
                lowest = lowest.max(page.picture([left, page.y + 14.0], HALF, flat, &shows));
            }
            page.y = lowest + 8.0;
        }
        let words = "Toe is on the left, the tip above. The cross is the target, and a middle within the dashed box is right. A word is said when the middle is \
                     farther off than half the box.";
        page.y = page.paragraph([MARGIN, page.y], WIDTH, BODY, words);
        page.paragraph([MARGIN, page.y + 6.0], WIDTH, BODY, CAUTION);
        self.pages.push(page);
    }
}

/// A state of the set for each word that its drive patch can be called, the nearest to its place.
fn called(set: &Set) -> Vec<(String, Case)> {
    let mut found: Vec<(String, Case)> = Vec::new();
    let steps = [0.0, 0.08, -0.08, 0.16, -0.16, 0.24, -0.24, 0.32, -0.32];
    for ring_mm in steps {
        for pinion_mm in steps {
            let misalignment = Misalignment {
                pinion_mm,
                ring_mm,
                ..Misalignment::default()
            };
            let case = Case::new(set, misalignment, 0.0);
            let Some(words) = case.words[Side::Drive as usize]
                .as_ref()
                .map(|d| d.words.clone())
            else {
                continue;
            };
            if !found.iter().any(|(known, _)| *known == words) {
                found.push((words, case));
            }
        }
    }
    found.truncate(10);
    found
}

/// Both cutting methods side by side, on the invented axle.
fn cutting_methods(page: &mut Page) -> Result<()> {
    page.text([MARGIN, page.y + 14.0], 11.0, true, "Milled or hobbed");
    page.y += 20.0;
    let mut lowest = page.y;
    let both = [(Cutting::FaceMilled, MILLED), (Cutting::FaceHobbed, HOBBED)];
    for (side, (cutting, words)) in Side::BOTH.into_iter().zip(both) {
        let set = Set::example(cutting)?;
        let case = Case::new(&set, Misalignment::default(), 0.0);
        let left = column(side);
        page.text([left, page.y + 7.0], 6.0, false, "toe");
        page.text([left + HALF - 13.0, page.y + 7.0], 6.0, false, "heel");
        let flat = flank_picture(&set, &case, Side::Coast, 700);
        let y = page.picture([left, page.y + 9.0], HALF, flat, "a coast flank laid flat");
        lowest = lowest.max(page.paragraph([left, y + 2.0], HALF, BODY, words));
    }
    page.y = lowest;
    Ok(())
}
