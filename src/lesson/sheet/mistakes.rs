//! Photos and paint gone wrong, and what the reading makes of them.

use super::drawing::{WIDTH, photo_of};
use super::{BODY, MARGIN, Sheets, Wanted, begin};
use crate::Result;
use crate::contact::Misalignment;
use crate::flank::marks::Marks;
use crate::frames::{FlankPoint, Side};
use crate::lesson::case::{Case, Set};
use crate::lesson::photo::{Mistake, Rendered, Shot, Studio};
use crate::photo::Photo;
use crate::reading::{ReadOptions, read_photo};
use crate::report::draw::page::Page;
use crate::schema::{Reason, Status};
use serde::Serialize;

/// What the reading says of one photo.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Spoilt {
    /// What the photo shows.
    pub title: &'static str,
    /// The photo alone.
    pub alone: Judged,
    /// With the flanks that are seen whole marked; absent when none is.
    pub marked: Option<Judged>,
}

/// One reading of a photo.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Judged {
    /// `read`, `unsure` or `unreadable`.
    pub status: Status,
    /// The codes and messages that the reading gave.
    pub reasons: Vec<Reason>,
    /// How far the patch that was read lies from the contact model's, shares of the flank.
    pub off: Option<FlankPoint>,
    /// A patch was read where none is.
    pub invented: bool,
}

/// A mistake, what it is called, and what it does: common practice, no source.
const MISTAKES: [(Mistake, &str, &str); 9] = [
    (
        Mistake::Blurred,
        "Out of focus",
        "The patch's edge runs into the compound. Tap on the teeth, rest the hand on the housing.",
    ),
    (
        Mistake::Glare,
        "The flash mirrored in the flanks",
        "A white spot looks like bare steel. Flash off, lamp to the side, turn the gear a little.",
    ),
    (
        Mistake::TooDark,
        "Too dark",
        "Steel and compound look alike. Bring a lamp; the eye sees more than the camera.",
    ),
    (
        Mistake::TooNear,
        "Too near",
        "Flanks run out of the picture, so nobody can say where toe and heel are. Step back.",
    ),
    (
        Mistake::TooFar,
        "Too far",
        "A few pixels to a flank: the patch is a dot. Fill the picture with four or five teeth.",
    ),
    (
        Mistake::FromAbove,
        "Straight into the slots",
        "Both kinds of flank show, both nearly edge-on, and heights shrink. Tilt toward one kind.",
    ),
    (
        Mistake::NotRolled,
        "Painted, not rolled",
        "No contact yet, so nothing is wiped. Roll the teeth through both ways, ring gear held back.",
    ),
    (
        Mistake::TooThick,
        "Compound too thick",
        "It smears back over the patch and hides it. Wipe off, brush a thin coat that steel shines through.",
    ),
    (
        Mistake::OneTooth,
        "One tooth only",
        "A speck of dirt or run-out looks like a setting. Paint four or five teeth in a row.",
    ),
];

/// Reads a photo, alone and with the marks that its flanks allow.
pub(super) fn judge(title: &'static str, side: Side, rendered: &Rendered) -> Spoilt {
    let photo = Photo::from_pixels(title, rendered.picture.clone());
    let read = |asked: &ReadOptions| {
        let reading = read_photo(&photo, asked).reading;
        let off = reading.mean.zip(rendered.patch).map(|(mean, patch)| {
            FlankPoint::new(
                mean.centre.length - patch.centre.length,
                mean.centre.height - patch.centre.height,
            )
        });
        Judged {
            invented: reading.mean.is_some() && rendered.patch.is_none(),
            status: reading.status,
            reasons: reading.reasons,
            off,
        }
    };
    let marks = Marks {
        flank: Some(side),
        polarity: None,
        teeth: rendered.marks.iter().take(3).cloned().collect(),
    };
    Spoilt {
        title,
        alone: read(&ReadOptions {
            flank: Some(side),
            ..ReadOptions::default()
        }),
        marked: (!marks.teeth.is_empty()).then(|| {
            read(&ReadOptions {
                marks: Some(marks),
                ..ReadOptions::default()
            })
        }),
    }
}

fn told(who: &str, judged: &Judged) -> String {
    let status = judged.status.word();
    let none = if judged.invented {
        ", it takes something else for a patch".to_owned()
    } else {
        String::new()
    };
    let off = judged.off.map_or(none, |off| {
        format!(
            ", {:.0}\u{a0}% of the length and {:.0}\u{a0}% of the height off",
            100.0 * off.length.abs(),
            100.0 * off.height.abs()
        )
    });
    // What is wrong with it, without what to do about it, which stands above.
    let why = judged
        .reasons
        .iter()
        .filter_map(|r| r.message.split(". ").next())
        .map(|first| format!(" {}.", first.trim_end_matches('.')))
        .collect::<String>();
    format!("{who}: {status}{off}.{why}")
}

impl Spoilt {
    /// Both readings in words. Returns where they end.
    pub(super) fn write(&self, page: &mut Page, [left, mut y]: [f64; 2], width: f64) -> f64 {
        let both = [
            ("The photo alone", Some(&self.alone)),
            ("Flanks marked by hand", self.marked.as_ref()),
        ];
        for (who, judged) in both {
            if let Some(judged) = judged {
                y = page.paragraph([left, y], width, 6.6, &told(who, judged));
            }
        }
        y
    }
}

impl Sheets {
    pub(super) fn mistakes(&mut self, set: &Set, studio: &Studio, wanted: &Wanted) -> Result<()> {
        let mut page = begin("Mistakes, and what the program says to them");
        let case = Case::new(set, Misalignment::default(), 0.0);
        let side = Side::Coast;
        let gap = 12.0;
        let across = (WIDTH - 2.0 * gap) / 3.0;
        let mut top = page.y + 4.0;
        for row in MISTAKES.chunks(3) {
            let mut lowest = top;
            for (column, (mistake, title, what)) in row.iter().enumerate() {
                let shot = Shot {
                    mistake: Some(*mistake),
                    ..photo_of(side, wanted)
                };
                let rendered = studio.render(&set.model, &case.state, &shot)?;
                let spoilt = judge(title, side, &rendered);
                let left = MARGIN + column as f64 * (across + gap);
                let mut y = page.picture([left, top], across, rendered.picture, title);
                page.text([left, y + 11.0], BODY + 0.5, true, title);
                y = page.paragraph([left, y + 13.0], across, BODY - 0.5, what);
                y = spoilt.write(&mut page, [left, y], across);
                lowest = lowest.max(y);
                self.spoilt.push(spoilt);
            }
            top = lowest + 8.0;
        }
        page.paragraph(
            [MARGIN, top],
            WIDTH,
            BODY,
            "A photo that the program reads may still be a bad one. Look at the outlines it draws before you believe its numbers.",
        );
        self.pages.push(page);
        Ok(())
    }
}
