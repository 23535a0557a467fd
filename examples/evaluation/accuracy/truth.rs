//! What is known of a photo from another path than the reading: `NAME.json` beside it.

use flankread::{Corners, FlankPoint, Hand, MarkedFlank, Marks, PhotoPoint, Polarity, Side};
use serde::Deserialize;
use std::error::Error;
use std::path::{Path, PathBuf};

/// The truth of one photo. Corners go toe-root, toe-tip, heel-tip, heel-root.
#[derive(Debug, Clone, Deserialize)]
pub struct Truth {
    image: String,
    status: String,
    /// The flank that the photo was taken of.
    pub flank: Side,
    /// Hand of the ring gear.
    pub hand: Option<Hand>,
    /// Flanks of that side.
    pub teeth: Vec<Tooth>,
    #[serde(default)]
    partial_teeth: Vec<Outlined>,
    #[serde(default)]
    other_flank_teeth: Vec<Outlined>,
    mean: Option<Mean>,
    /// Where the photo lies.
    #[serde(skip)]
    pub photo: PathBuf,
}

/// One flank of the side that is meant.
#[derive(Debug, Clone, Deserialize)]
pub struct Tooth {
    corners: [PhotoPoint; 4],
    #[serde(default)]
    polygon: Vec<PhotoPoint>,
    #[serde(default)]
    measurable: bool,
}

#[derive(Debug, Clone, Deserialize)]
struct Outlined {
    corners: [PhotoPoint; 4],
}

#[derive(Debug, Clone, Deserialize)]
struct Mean {
    center: [f64; 2],
}

/// Outlines nearer to a true flank than this share of its length are of that flank.
const SAME_FLANK: f64 = 0.25;

/// What an outline of a reading lies on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LiesOn {
    /// A flank of the side that is meant, toe at the toe.
    Meant,
    /// A flank of the side that is meant, toe and heel swapped.
    EndsSwapped,
    /// A flank of the other side, either way round.
    OtherSide,
    /// No flank that the truth knows.
    Nothing,
}

impl Truth {
    /// All photos with truth in a folder, by name.
    pub fn of_folder(folder: &Path) -> Result<Vec<Self>, Box<dyn Error>> {
        let mut found = Vec::new();
        let listed = std::fs::read_dir(folder).map_err(|e| format!("{}: {e}", folder.display()))?;
        for entry in listed {
            let path = entry?.path();
            if path.extension().is_none_or(|ending| ending != "json") {
                continue;
            }
            let text = std::fs::read_to_string(&path)?;
            // Other JSON files may lie there too.
            let Ok(mut truth) = serde_json::from_str::<Self>(&text) else {
                continue;
            };
            truth.photo = folder.join(&truth.image);
            found.push(truth);
        }
        found.sort_by(|a, b| a.photo.cmp(&b.photo));
        Ok(found)
    }

    /// The truth of the same photo after each of its points was moved.
    pub fn moved(&self, place: impl Fn(PhotoPoint) -> PhotoPoint) -> Self {
        let mut moved = self.clone();
        for tooth in &mut moved.teeth {
            tooth.corners = tooth.corners.map(&place);
            tooth
                .polygon
                .iter_mut()
                .for_each(|point| *point = place(*point));
        }
        for flank in moved
            .partial_teeth
            .iter_mut()
            .chain(&mut moved.other_flank_teeth)
        {
            flank.corners = flank.corners.map(&place);
        }
        moved
    }

    /// Whether the photo can be read.
    pub fn readable(&self) -> bool {
        self.status == "ok"
    }

    /// Mean patch centre over the teeth that can be measured.
    pub fn centre(&self) -> Option<FlankPoint> {
        let mean = self.mean.as_ref().filter(|_| self.readable())?;
        Some(FlankPoint::new(mean.center[0], mean.center[1]))
    }

    /// The true flanks as marks; `None` when none can be measured.
    pub fn marks(&self) -> Option<Marks> {
        let teeth: Vec<MarkedFlank> = self
            .teeth
            .iter()
            .filter(|tooth| tooth.measurable)
            .map(Tooth::marked)
            .collect();
        (!teeth.is_empty()).then_some(Marks {
            flank: Some(self.flank),
            polarity: Some(Polarity::Wiped),
            teeth,
        })
    }

    /// What the outline with these corners lies on.
    pub fn lies_on(&self, corners: &Corners) -> LiesOn {
        let [a, b, c, d] = [
            corners.toe_root,
            corners.toe_tip,
            corners.heel_tip,
            corners.heel_root,
        ];
        let meant: Vec<[PhotoPoint; 4]> = (self.teeth.iter().map(|t| t.corners))
            .chain(self.partial_teeth.iter().map(|t| t.corners))
            .collect();
        let other: Vec<[PhotoPoint; 4]> =
            self.other_flank_teeth.iter().map(|t| t.corners).collect();
        let candidates = [
            (nearest(&meant, [a, b, c, d]), LiesOn::Meant),
            (nearest(&meant, [d, c, b, a]), LiesOn::EndsSwapped),
            (nearest(&other, [a, b, c, d]), LiesOn::OtherSide),
            (nearest(&other, [d, c, b, a]), LiesOn::OtherSide),
        ];
        candidates
            .into_iter()
            .filter(|(away, _)| *away < SAME_FLANK)
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(LiesOn::Nothing, |(_, on)| on)
    }
}

/// Mean distance of the corners to those of the nearest flank, in its lengths.
fn nearest(flanks: &[[PhotoPoint; 4]], corners: [PhotoPoint; 4]) -> f64 {
    flanks
        .iter()
        .map(|flank| {
            let length = (flank[0].distance(flank[3]) + flank[1].distance(flank[2])) / 2.0;
            let away: f64 = flank.iter().zip(corners).map(|(a, b)| a.distance(b)).sum();
            away / 4.0 / length
        })
        .fold(f64::INFINITY, f64::min)
}

impl Tooth {
    /// The outline as a user would mark it with points along both long sides.
    fn marked(&self) -> MarkedFlank {
        let at = |corner: PhotoPoint| {
            (0..self.polygon.len()).min_by(|&i, &j| {
                let away = |k: usize| self.polygon[k].distance(corner);
                away(i).total_cmp(&away(j))
            })
        };
        let [toe_root, toe_tip, heel_tip, heel_root] = self.corners;
        // The polygon runs toe root → toe tip → heel tip → heel root and back along the root.
        let between = |from: PhotoPoint, to: PhotoPoint| -> Vec<PhotoPoint> {
            let (Some(from), Some(to)) = (at(from), at(to)) else {
                return Vec::new();
            };
            let count = self.polygon.len();
            let steps = (to + count - from) % count;
            (1..steps)
                .map(|step| self.polygon[(from + step) % count])
                .collect()
        };
        let mut root = between(heel_root, toe_root);
        root.reverse();
        MarkedFlank {
            corners: Corners {
                toe_root,
                toe_tip,
                heel_tip,
                heel_root,
            },
            root,
            tip: between(toe_tip, heel_tip),
        }
    }
}
