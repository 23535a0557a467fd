//! Marks: what the user says about a photo, in a small JSON file.

use super::marked_flank::MarkedFlank;
use crate::files::read_text;
use crate::frames::{PhotoPoint, Side};
use crate::photo::Photo;
use crate::schema::{Corners, Polarity};
use serde::Deserialize;
use serde_json::Value;
use std::io;
use std::path::{Path, PathBuf};

/// The marks of one photo.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Marks {
    /// Which flank the photo shows.
    pub flank: Option<Side>,
    /// How contact shows.
    pub polarity: Option<Polarity>,
    /// The marked flanks; empty when only the words above are given.
    pub teeth: Vec<MarkedFlank>,
}

impl Marks {
    /// Reads a file of marks and holds its points against the photo they are of.
    ///
    /// ```
    /// use flankread::{Marks, Photo, ReadOptions, Status, read_photo};
    /// let photo = Photo::open("fixtures/painted/drive-yellow.jpg")?;
    /// let marks = Marks::read("fixtures/painted/drive-yellow.jpg.marks.json", &photo)?;
    /// let mut options = ReadOptions::default();
    /// options.marks = Some(marks);
    /// assert_eq!(read_photo(&photo, &options).reading.status, Status::Read);
    /// # Ok::<(), flankread::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`MarksError`] says what is wrong in the file and where.
    pub fn read(path: impl AsRef<Path>, photo: &Photo) -> Result<Self, MarksError> {
        load(path.as_ref(), photo)
    }

    /// The marks as a file of them holds them.
    #[cfg(feature = "cli")]
    pub(crate) fn document(&self) -> Value {
        let teeth = self.teeth.iter().map(|tooth| {
            let mut one = serde_json::json!(tooth.corners);
            for (name, side) in [("root", &tooth.root), ("tip", &tooth.tip)] {
                if !side.is_empty() {
                    one[name] = serde_json::json!(side);
                }
            }
            one
        });
        let mut all = serde_json::Map::new();
        if let Some(flank) = self.flank {
            all.insert("flank".into(), serde_json::json!(flank));
        }
        if let Some(polarity) = self.polarity {
            all.insert("polarity".into(), serde_json::json!(polarity));
        }
        all.insert("teeth".into(), teeth.collect());
        Value::Object(all)
    }
}

/// Why marks cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MarksError {
    /// The file is missing or may not be read.
    #[error("cannot read the marks {path}: {source}")]
    Unreadable {
        /// The file.
        path: String,
        /// What the system said.
        source: io::Error,
    },
    /// The file is no JSON, or a value has the wrong shape.
    #[error("the marks {path} are not as expected: {detail}")]
    Shape {
        /// The file.
        path: String,
        /// What is wrong and where.
        detail: String,
    },
    /// A key nobody knows.
    #[error(
        "the marks {path} have an unknown key `{key}` in {place}; the nearest known one is `{nearest}`"
    )]
    UnknownKey {
        /// The file.
        path: String,
        /// The key.
        key: String,
        /// Where it stands.
        place: String,
        /// The known key most like it.
        nearest: String,
    },
    /// A point outside the photo.
    #[error(
        "the marks {path} put `{key}` of tooth {tooth} at ({x:.0}, {y:.0}), outside the photo of {width} × {height} pixels; count pixels of the upright photo at full size"
    )]
    Outside {
        /// The file.
        path: String,
        /// Tooth, counted from 1.
        tooth: usize,
        /// Which point.
        key: &'static str,
        /// The point.
        x: f64,
        /// The point.
        y: f64,
        /// Photo width, pixels.
        width: u32,
        /// Photo height, pixels.
        height: u32,
    },
    /// More teeth than a photo shows.
    #[error(
        "the marks {path} have {count} teeth; at most {most} are taken, and three or four are plenty"
    )]
    TooMany {
        /// The file.
        path: String,
        /// How many there are.
        count: usize,
        /// How many are taken.
        most: usize,
    },
    /// The corners of a tooth do not go round a flank.
    #[error(
        "the marks {path} cross over on tooth {tooth}: the corners toe_root, toe_tip, heel_tip, heel_root must go once round the flank"
    )]
    Crossed {
        /// The file.
        path: String,
        /// Tooth, counted from 1.
        tooth: usize,
    },
    /// Two teeth are marked in opposite senses.
    #[error(
        "the marks {path} run the other way round on tooth {tooth} than on tooth 1: toe and heel, or root and tip, are swapped on one of them"
    )]
    OtherWayRound {
        /// The file.
        path: String,
        /// Tooth, counted from 1.
        tooth: usize,
    },
}

impl From<MarksError> for crate::Error {
    fn from(error: MarksError) -> Self {
        Self::of(crate::error::ErrorKind::Input, error)
    }
}

/// What a file of marks may weigh.
pub(crate) const MOST_BYTES: u64 = 4 << 20;

/// More flanks than any photo shows: few ring gears have more teeth.
const MOST_TEETH: usize = 64;

/// A side with more points is thinned out to these: they follow any curve of a flank, and the work on a side grows with
/// their square.
const MOST_SIDE_POINTS: usize = 100;

const TOP_KEYS: [&str; 3] = ["flank", "polarity", "teeth"];
const TOOTH_KEYS: [&str; 6] = [
    "toe_root",
    "toe_tip",
    "heel_tip",
    "heel_root",
    "root",
    "tip",
];

/// A point may lie this share of its flank's length outside the photo, as long as the flank's
/// middle lies inside: a flank may be cut off by the photo's edge.
const OUTSIDE_SHARE: f64 = 0.5;

#[derive(Deserialize)]
struct MarksFile {
    flank: Option<Side>,
    polarity: Option<Polarity>,
    #[serde(default)]
    teeth: Vec<ToothMarks>,
}

#[derive(Deserialize)]
struct ToothMarks {
    #[serde(flatten)]
    corners: Corners,
    #[serde(default)]
    root: Vec<PhotoPoint>,
    #[serde(default)]
    tip: Vec<PhotoPoint>,
}

/// Where the marks of a photo lie when nothing else is said: `PHOTO.marks.json` beside it, with or
/// without the photo's own ending. `None` when there are none.
pub(crate) fn beside(photo: &Path) -> Option<PathBuf> {
    let mut with_ending = photo.as_os_str().to_owned();
    with_ending.push(".marks.json");
    [
        PathBuf::from(with_ending),
        photo.with_extension("marks.json"),
    ]
    .into_iter()
    .find(|path| path.is_file())
}

/// Reads the marks at `path` for `photo`.
///
/// # Errors
/// [`MarksError`] names the key, tooth and point.
pub(crate) fn load(path: &Path, photo: &Photo) -> Result<Marks, MarksError> {
    let name = path.display().to_string();
    let text = read_text(path, MOST_BYTES).map_err(|source| MarksError::Unreadable {
        path: name.clone(),
        source,
    })?;
    parse(&text, &name, photo)
}

/// Reads marks from JSON text; `name` stands for the file in messages.
///
/// # Errors
/// [`MarksError`] names the key, tooth and point.
pub(crate) fn parse(text: &str, name: &str, photo: &Photo) -> Result<Marks, MarksError> {
    let shape = |error: serde_json::Error| MarksError::Shape {
        path: name.to_owned(),
        detail: error.to_string(),
    };
    let value: Value = serde_json::from_str(text).map_err(shape)?;
    known_keys(&value, &TOP_KEYS, "the file", name)?;
    if let Some(teeth) = value.get("teeth").and_then(Value::as_array) {
        for (i, tooth) in teeth.iter().enumerate() {
            known_keys(tooth, &TOOTH_KEYS, &format!("tooth {}", i + 1), name)?;
        }
    }
    let file: MarksFile = serde_json::from_value(value).map_err(shape)?;
    if file.teeth.len() > MOST_TEETH {
        return Err(MarksError::TooMany {
            path: name.to_owned(),
            count: file.teeth.len(),
            most: MOST_TEETH,
        });
    }
    let mut teeth = Vec::with_capacity(file.teeth.len());
    for (i, marks) in file.teeth.into_iter().enumerate() {
        let flank = without_corners(marks);
        inside(&flank, i + 1, name, photo)?;
        if !goes_round(&flank.corners) {
            return Err(MarksError::Crossed {
                path: name.to_owned(),
                tooth: i + 1,
            });
        }
        if teeth
            .first()
            .is_some_and(|first: &MarkedFlank| first.turn() != flank.turn())
        {
            return Err(MarksError::OtherWayRound {
                path: name.to_owned(),
                tooth: i + 1,
            });
        }
        teeth.push(flank);
    }
    Ok(Marks {
        flank: file.flank,
        polarity: file.polarity,
        teeth,
    })
}

fn known_keys(value: &Value, known: &[&str], place: &str, name: &str) -> Result<(), MarksError> {
    let Some(object) = value.as_object() else {
        return Err(MarksError::Shape {
            path: name.to_owned(),
            detail: format!("{place} must be a JSON object"),
        });
    };
    for key in object.keys() {
        if !known.contains(&key.as_str()) {
            let nearest = known
                .iter()
                .min_by_key(|known| strsim::damerau_levenshtein(known, key))
                .copied()
                .unwrap_or_default();
            return Err(MarksError::UnknownKey {
                path: name.to_owned(),
                key: key.clone(),
                place: place.to_owned(),
                nearest: nearest.to_owned(),
            });
        }
    }
    Ok(())
}

/// The side points may or may not repeat the corners; a [`MarkedFlank`] has them once.
fn without_corners(marks: ToothMarks) -> MarkedFlank {
    let corners = marks.corners;
    let strip = |mut points: Vec<PhotoPoint>, ends: [PhotoPoint; 2]| {
        points.retain(|point| ends.iter().all(|end| end.distance(*point) > 0.5));
        thinned(points)
    };
    MarkedFlank {
        root: strip(marks.root, [corners.toe_root, corners.heel_root]),
        tip: strip(marks.tip, [corners.toe_tip, corners.heel_tip]),
        corners,
    }
}

/// At most [`MOST_SIDE_POINTS`] of the points, evenly, first and last among them.
fn thinned(points: Vec<PhotoPoint>) -> Vec<PhotoPoint> {
    if points.len() <= MOST_SIDE_POINTS {
        return points;
    }
    let last = points.len() - 1;
    (0..MOST_SIDE_POINTS)
        .map(|i| points[i * last / (MOST_SIDE_POINTS - 1)])
        .collect()
}

fn inside(flank: &MarkedFlank, tooth: usize, name: &str, photo: &Photo) -> Result<(), MarksError> {
    let (width, height) = (f64::from(photo.width), f64::from(photo.height));
    let margin = OUTSIDE_SHARE * flank.length_px();
    let c = &flank.corners;
    let corners = [
        ("toe_root", c.toe_root),
        ("toe_tip", c.toe_tip),
        ("heel_tip", c.heel_tip),
        ("heel_root", c.heel_root),
    ];
    let sides = flank
        .root
        .iter()
        .map(|&p| ("root", p))
        .chain(flank.tip.iter().map(|&p| ("tip", p)));
    let middle = c
        .toe_root
        .lerp(c.heel_tip, 0.5)
        .lerp(c.toe_tip.lerp(c.heel_root, 0.5), 0.5);
    let points = corners
        .into_iter()
        .chain(sides)
        .map(|(key, point)| (key, point, margin));
    for (key, point, margin) in points.chain([("middle of the flank", middle, 0.0)]) {
        let within = |value: f64, size: f64| value >= -margin && value <= size + margin;
        if !(within(point.x, width) && within(point.y, height)) {
            return Err(MarksError::Outside {
                path: name.to_owned(),
                tooth,
                key,
                x: point.x,
                y: point.y,
                width: photo.width,
                height: photo.height,
            });
        }
    }
    Ok(())
}

/// Whether the four corners make a four-sided figure that does not cross itself.
fn goes_round(corners: &Corners) -> bool {
    let c = corners;
    let ring = [c.toe_root, c.toe_tip, c.heel_tip, c.heel_root];
    let side = |a: PhotoPoint, b: PhotoPoint, p: PhotoPoint| {
        (b.x - a.x) * (p.y - a.y) - (b.y - a.y) * (p.x - a.x)
    };
    let cross =
        |a, b, p, q| side(a, b, p) * side(a, b, q) <= 0.0 && side(p, q, a) * side(p, q, b) <= 0.0;
    let area: f64 = (0..4)
        .map(|i| ring[i].x * ring[(i + 1) % 4].y - ring[(i + 1) % 4].x * ring[i].y)
        .sum::<f64>()
        .abs()
        / 2.0;
    area > 1.0
        && !cross(ring[0], ring[1], ring[2], ring[3])
        && !cross(ring[1], ring[2], ring[3], ring[0])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn photo() -> Photo {
        Photo::from_pixels("drawn", image::RgbImage::new(400, 300))
    }

    const GOOD: &str = r#"{"flank":"drive","polarity":"wiped","teeth":[{"toe_root":[100,200],
        "toe_tip":[100,150],"heel_tip":[300,150],"heel_root":[300,200],
        "tip":[[100,150],[200,140],[300,150]]}]}"#;

    #[test]
    fn good_marks_are_taken_and_repeated_corners_dropped() {
        let marks = parse(GOOD, "m", &photo()).unwrap();
        assert_eq!(marks.flank, Some(Side::Drive));
        assert_eq!(marks.polarity, Some(Polarity::Wiped));
        assert_eq!(marks.teeth[0].tip, [PhotoPoint::new(200.0, 140.0)]);
        assert!(marks.teeth[0].root.is_empty());
    }

    #[test]
    fn every_fault_is_named() {
        let cases = [
            (
                GOOD.replace("\"flank\"", "\"flnk\""),
                "`flnk` in the file; the nearest known one is `flank`",
            ),
            (
                GOOD.replace("\"tip\"", "\"tipp\""),
                "`tipp` in tooth 1; the nearest known one is `tip`",
            ),
            (
                GOOD.replace("[300,200]", "[900,200]"),
                "`heel_root` of tooth 1 at (900, 200), outside",
            ),
            (GOOD.replace("[300,200]", "[\"a\",200]"), "not as expected"),
            (
                GOOD.replace("\"toe_tip\":[100,150]", "\"toe_tip\":[300,151]")
                    .replace("\"heel_tip\":[300,150]", "\"heel_tip\":[100,151]"),
                "cross over on tooth 1",
            ),
            (GOOD.replace("drive", "left"), "unknown variant `left`"),
            ("[]".to_owned(), "the file must be a JSON object"),
        ];
        for (text, words) in cases {
            let message = parse(&text, "m", &photo()).unwrap_err().to_string();
            assert!(message.contains(words), "{message}");
        }
    }

    #[test]
    fn marks_cost_no_more_than_a_photo_can_need() {
        let tooth = &GOOD[GOOD.find("[{").unwrap() + 1..GOOD.len() - 2];
        let all = vec![tooth; MOST_TEETH + 1].join(",");
        let message = parse(&format!(r#"{{"teeth":[{all}]}}"#), "m", &photo())
            .unwrap_err()
            .to_string();
        assert!(message.contains("have 65 teeth"), "{message}");
        let side: Vec<String> = (0..2000)
            .map(|i| format!("[{},140]", 102.0 + 0.095 * f64::from(i)))
            .collect();
        let text = GOOD.replace("[200,140]", &side.join(","));
        let marks = parse(&text, "m", &photo()).unwrap();
        let tip = &marks.teeth[0].tip;
        assert_eq!(tip.len(), MOST_SIDE_POINTS);
        assert!((tip[0].x - 102.0).abs() < 1e-9 && (tip[99].x - 291.905).abs() < 1e-9);
    }

    #[test]
    fn teeth_marked_in_opposite_senses_are_refused() {
        let swapped = r#"{"toe_root":[300,100],"toe_tip":[300,50],"heel_tip":[100,50],"heel_root":[100,100]}"#;
        let text = GOOD.replace("]}]}", &format!("]}},{swapped}]}}"));
        let message = parse(&text, "m", &photo()).unwrap_err().to_string();
        assert!(message.contains("other way round on tooth 2"), "{message}");
    }
}
