//! The whole lot in numbers, and everything that its reports need.

use super::ask::{ProblemKind, code_word};
use super::group::Plan;
use super::judge::{PhotoVerdict, SetVerdict, Verdict, by_urgency, photo_verdict, set_verdict};
use super::likeness::first_like;
use super::run::Found;
use super::walk::Trouble;
use crate::frames::Side;
use crate::schema::{Card, Status};
use crate::units::Units;
use rayon::prelude::*;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, HashMap};

/// Value of the `schema` field of a [`BatchSummary`].
pub(crate) const SCHEMA: &str = "flankread/batch-summary/1";

/// Width of a bar of the histograms, share of the flank.
const BAR: f64 = 0.1;
/// Bars to each side of the target; the outermost hold everything farther out.
const BARS: usize = 5;

/// A plan with everything that was found.
#[derive(Debug)]
pub(crate) struct BatchResult<'a> {
    /// The photos and sets.
    pub plan: &'a Plan,
    /// What was found in each photo.
    pub found: &'a [Found],
    /// Each photo by itself.
    pub photos: Vec<PhotoVerdict>,
    /// Each set.
    pub sets: Vec<SetVerdict>,
    /// The sets, most urgent first.
    pub order: Vec<usize>,
    /// For each photo the first one with the same bytes, if that is another.
    pub same_as: Vec<Option<usize>>,
    /// For each photo the largest one that shows the same picture in other bytes, if that is another.
    pub like: Vec<Option<usize>>,
    /// The units each set's texts are in.
    pub units: Vec<Units>,
    /// The numbers.
    pub summary: BatchSummary,
}

/// The lot in numbers.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct BatchSummary {
    /// Always [`SCHEMA`].
    pub schema: &'static str,
    /// Photos, every copy counted.
    pub photos: usize,
    /// Sets.
    pub sets: usize,
    /// Photos by status.
    pub status: Statuses,
    /// Photos by reason: how many, and which share of all.
    pub reasons: BTreeMap<String, Count>,
    /// Sets by verdict.
    pub verdicts: BTreeMap<&'static str, usize>,
    /// Photos with the same bytes as another one before them.
    pub copies: usize,
    /// Photos with the same picture as another one before them, in other bytes.
    pub near_copies: usize,
    /// Offsets of the patches from their targets; of `read` photos, copies counted once.
    pub offsets: Offsets,
    /// Folders, links and rows of the list that could not be used.
    pub troubles: Vec<Trouble>,
    /// Folders behind links that were not gone into.
    pub links_not_followed: usize,
}

/// Photos by status.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, JsonSchema)]
pub(crate) struct Statuses {
    /// Good enough to choose shims by.
    pub read: usize,
    /// To be looked at.
    pub unsure: usize,
    /// No numbers.
    pub unreadable: usize,
    /// Of these: not opened as a photo, or with marks that cannot be used.
    pub broken: usize,
}

/// How many, and which share of all photos.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Count {
    /// Photos.
    pub photos: usize,
    /// Of all photos, 0 … 1.
    pub share: f64,
}

/// Histograms of the offsets from target, per flank and direction.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub(crate) struct Offsets {
    /// Edges between the bars, shares of the flank; the outer bars are open.
    pub edges: Vec<f64>,
    /// Drive flank, + = to the heel.
    pub drive_length: Vec<usize>,
    /// Drive flank, + = to the tip.
    pub drive_height: Vec<usize>,
    /// Coast flank, + = to the heel.
    pub coast_length: Vec<usize>,
    /// Coast flank, + = to the tip.
    pub coast_height: Vec<usize>,
}

impl<'a> BatchResult<'a> {
    /// Whether what is said of a set tells someone to move a gear.
    pub(crate) fn tells_to_change(&self, set: usize) -> bool {
        let verdict = &self.sets[set];
        let advised = verdict
            .advice
            .as_ref()
            .is_some_and(|advice| advice.change.is_some());
        let directed = verdict
            .direction
            .as_ref()
            .is_some_and(|found| found.pinion.is_some());
        advised || directed
    }

    /// Judges photos and sets, finds copies, and counts.
    pub(crate) fn new(
        plan: &'a Plan,
        found: &'a [Found],
        units_of: impl Fn(Option<&Card>) -> Units,
    ) -> Self {
        let units: Vec<Units> = plan
            .sets
            .iter()
            .map(|set| units_of(set.card.as_deref()))
            .collect();
        let photos: Vec<PhotoVerdict> = plan
            .items
            .iter()
            .zip(found)
            .map(|(item, found)| photo_verdict(found, &plan.sets[item.set]))
            .collect();
        let sets: Vec<SetVerdict> = plan
            .sets
            .par_iter()
            .zip(&units)
            .map(|(set, units)| set_verdict(set, found, *units))
            .collect();
        let same_as = same_bytes(found);
        let like = like(found, &same_as);
        let mut lot = Self {
            plan,
            found,
            order: by_urgency(plan, &sets),
            photos,
            sets,
            units,
            same_as,
            like,
            summary: BatchSummary {
                schema: SCHEMA,
                photos: found.len(),
                sets: plan.sets.len(),
                status: Statuses::default(),
                reasons: BTreeMap::new(),
                verdicts: BTreeMap::new(),
                copies: 0,
                near_copies: 0,
                offsets: Offsets::new(),
                troubles: plan.troubles.clone(),
                links_not_followed: plan.links,
            },
        };
        lot.count();
        lot
    }

    fn count(&mut self) {
        let summary = &mut self.summary;
        let mut reasons: BTreeMap<String, usize> = BTreeMap::new();
        for (at, found) in self.found.iter().enumerate() {
            match found.status {
                Status::Read => summary.status.read += 1,
                Status::Unsure => summary.status.unsure += 1,
                Status::Unreadable => summary.status.unreadable += 1,
            }
            summary.status.broken += usize::from(found.problem.is_some());
            let mut codes: Vec<String> = found
                .reasons
                .iter()
                .map(|reason| code_word(reason.code))
                .chain(found.problem.iter().filter_map(|p| match p.kind {
                    ProblemKind::Photo => None,
                    ProblemKind::Marks => Some("marks_unusable".into()),
                    ProblemKind::Program => Some("program_broke_off".into()),
                }))
                .collect();
            codes.sort_unstable();
            codes.dedup();
            for code in codes {
                *reasons.entry(code).or_insert(0) += 1;
            }
            let counted = found.status == Status::Read && self.same_as[at].is_none();
            if let (true, Some(flank), Some(diagnosis)) =
                (counted, found.flank, &self.photos[at].diagnosis)
            {
                let (length, height) = summary.offsets.of(flank.side);
                length[bar_of(diagnosis.length)] += 1;
                height[bar_of(diagnosis.height)] += 1;
            }
        }
        let all = self.found.len().max(1) as f64;
        summary.reasons = reasons
            .into_iter()
            .map(|(code, photos)| {
                let share = photos as f64 / all;
                (code, Count { photos, share })
            })
            .collect();
        for verdict in Verdict::ALL {
            let count = self.sets.iter().filter(|set| set.verdict == verdict);
            summary.verdicts.insert(verdict.word(), count.count());
        }
        summary.copies = self.same_as.iter().flatten().count();
        summary.near_copies = self.like.iter().flatten().count();
    }

    /// Whether every photo and folder could be used.
    pub(crate) fn all_readable(&self) -> bool {
        self.summary.photos > 0
            && self.summary.status.unreadable == 0
            && self.summary.troubles.is_empty()
    }
}

/// For each photo the first one of the same bytes, if that is another.
fn same_bytes(found: &[Found]) -> Vec<Option<usize>> {
    let mut first: HashMap<(&str, u32), usize> = HashMap::new();
    found
        .iter()
        .enumerate()
        .map(|(at, found)| {
            if found.sha256.is_empty() {
                return None;
            }
            let first = *first.entry((&found.sha256, found.part)).or_insert(at);
            (first != at).then_some(first)
        })
        .collect()
}

/// For each photo the largest one that shows the same picture in other bytes: a messenger's copy is
/// smaller than what it was made of.
fn like(found: &[Found], same_as: &[Option<usize>]) -> Vec<Option<usize>> {
    let mut order: Vec<usize> = (0..found.len()).collect();
    order.sort_by_key(|&at| {
        let (width, height) = found[at].size;
        std::cmp::Reverse(u64::from(width) * u64::from(height))
    });
    let pictures: Vec<_> = order
        .iter()
        .map(|&at| {
            let picture = found[at].likeness.as_ref();
            picture.filter(|_| same_as[at].is_none())
        })
        .collect();
    let mut like = vec![None; found.len()];
    for (&at, first) in order.iter().zip(first_like(&pictures)) {
        like[at] = first.map(|first| order[first]);
    }
    like
}

impl Offsets {
    fn new() -> Self {
        let none = || vec![0; 2 * BARS];
        let last = BARS as i32 - 1;
        Self {
            // Whole numbers times the width, rounded: 0.3 and not 0.30000000000000004.
            edges: (-last..=last)
                .map(|edge| (f64::from(edge) * BAR * 10.0).round() / 10.0)
                .collect(),
            drive_length: none(),
            drive_height: none(),
            coast_length: none(),
            coast_height: none(),
        }
    }

    fn of(&mut self, side: Side) -> (&mut [usize], &mut [usize]) {
        match side {
            Side::Drive => (&mut self.drive_length, &mut self.drive_height),
            Side::Coast => (&mut self.coast_length, &mut self.coast_height),
        }
    }
}

/// The bar of an offset; the outermost hold everything farther out.
fn bar_of(offset: f64) -> usize {
    // A hair is added so that an offset on an edge falls above it whatever its last digit.
    let bar = (offset / BAR + 1e-9).floor() + BARS as f64;
    bar.clamp(0.0, (2 * BARS - 1) as f64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::batch::group::{Item, SetPlan};
    use crate::batch::manifest::{Bench, Client};
    use crate::frames::FlankPoint;
    use crate::schema::{FlankSide, Mean, Reason, ReasonCode, Source};

    /// A photo whose drive patch stands so far from the usual target.
    fn drive(sha256: &str, status: Status, length: f64, height: f64) -> Found {
        let target = crate::schema::Target::default().drive;
        let point = FlankPoint::new;
        Found {
            parts: 0,
            part: 0,
            key: Some(sha256.into()),
            sha256: sha256.into(),
            size: (100, 100),
            status,
            reasons: Vec::new(),
            flank: Some(FlankSide {
                side: Side::Drive,
                source: Source::Given,
            }),
            mean: (status != Status::Unreadable).then_some(Mean {
                centre: point(target.length + length, target.height + height),
                extent: point(0.5, 0.5),
                lean_deg: 0.0,
                spread: point(0.0, 0.0),
                teeth: 3,
            }),
            uncertainty: Some(point(0.01, 0.01)),
            problem: None,
            likeness: None,
            unkept: None,
        }
    }

    fn plan(sets: &[&[usize]]) -> Plan {
        let mut plan = Plan::default();
        for (number, photos) in sets.iter().enumerate() {
            plan.sets.push(SetPlan {
                name: format!("set {number}"),
                card: None,
                bench: Bench::default(),
                client: Client::default(),
                photos: photos.to_vec(),
            });
            for at in *photos {
                plan.items.push(Item {
                    part: None,
                    path: format!("{at}.jpg").into(),
                    set: number,
                    said: crate::batch::ask::PhotoSettings::default(),
                });
            }
        }
        plan
    }

    #[test]
    fn bars_are_a_tenth_wide_and_open_at_the_ends() {
        assert_eq!(
            Offsets::new().edges,
            [-0.4, -0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3, 0.4]
        );
        for (offset, bar) in [
            (-9.0, 0),
            (-0.41, 0),
            (-0.05, 4),
            (0.0, 5),
            (0.05, 5),
            (0.1, 6),
            (0.3, 8),
            (0.45, 9),
            (9.0, 9),
        ] {
            assert_eq!(bar_of(offset), bar, "{offset}");
        }
    }

    #[test]
    fn sets_come_by_urgency_and_everything_is_counted() {
        let mut blurred = drive("d", Status::Unreadable, 0.0, 0.0);
        blurred.reasons = vec![
            Reason::new(ReasonCode::Blurred, "x"),
            Reason::new(ReasonCode::Blurred, "y"),
        ];
        let found = [
            drive("a", Status::Read, 0.0, 0.0),
            drive("b", Status::Read, 0.0, 0.13),
            drive("c", Status::Read, 0.0, -0.3),
            blurred,
            drive("e", Status::Unsure, 0.0, 0.3),
            drive("a", Status::Read, 0.0, 0.0),
        ];
        let plan = plan(&[&[0], &[1], &[2], &[3], &[4], &[5]]);
        let lot = BatchResult::new(&plan, &found, |_| Units::Mm);
        // Out of place: the farther one first; then unsure, missing the coast flank, unreadable.
        assert_eq!(lot.order, [2, 1, 4, 0, 5, 3]);
        let summary = &lot.summary;
        assert_eq!((summary.status.read, summary.status.unsure), (4, 1));
        let count = summary.reasons["blurred"];
        assert_eq!(count.photos, 1);
        assert!((count.share - 1.0 / 6.0).abs() < 1e-12);
        assert_eq!((summary.copies, lot.same_as[5]), (1, Some(0)));
        // a at 0, b at +0.13, c at -0.3; the copy of a is not counted again.
        assert_eq!(summary.offsets.drive_height, [0, 0, 1, 0, 0, 1, 1, 0, 0, 0]);
        assert_eq!(summary.offsets.coast_height.iter().sum::<usize>(), 0);
        assert_eq!(summary.verdicts["misplaced"], 2);
        assert!(!lot.all_readable());
    }

    #[test]
    fn sure_photos_of_one_flank_that_differ_are_no_verdict() {
        let found = [
            drive("a", Status::Read, 0.0, 0.0),
            drive("b", Status::Read, 0.0, 0.3),
        ];
        let plan = plan(&[&[0, 1]]);
        let lot = BatchResult::new(&plan, &found, |_| Units::Mm);
        assert_eq!(lot.sets[0].verdict, Verdict::Unsure);
        assert!(lot.sets[0].flanks[0].as_ref().unwrap().contradicted);
        // An unsure photo does not contradict a sure one, and the sure one speaks.
        let found = [
            drive("a", Status::Unsure, 0.0, 0.3),
            drive("b", Status::Read, 0.0, 0.0),
        ];
        let lot = BatchResult::new(&plan, &found, |_| Units::Mm);
        let seen = lot.sets[0].flanks[0].as_ref().unwrap();
        assert_eq!((seen.photo, seen.contradicted), (1, false));
        assert_eq!(lot.sets[0].verdict, Verdict::Measure);
    }
}
