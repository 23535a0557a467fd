//! The flank at its true proportions with patch, target and the place expected after the change.

use crate::flank::Outline;
use crate::frames::{FlankPoint, Side};
use crate::reading::{COUNTED_CONFIDENCE, OutlinedReading};
use crate::report::PictureError;
use crate::report::draw::patch_shape::edge;
use crate::report::draw::raster;
use crate::report::draw::theme::{INK, LETTERS, LIGHT, PATCH, PREDICTED, QUIET, STEEL, TARGET};
use crate::segment::mask::{Mask, of_half, parts};
use image::RgbImage;
use std::fmt::Write as _;

/// What one flank's drawing shows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FlankView {
    /// Which flank; `None` when unknown.
    pub side: Option<Side>,
    /// Depth over length.
    pub depth_over_length: f64,
    /// Edges of the patch common to the teeth, one of each island.
    pub patch: Vec<Vec<FlankPoint>>,
    /// Centre of each tooth's patch.
    pub teeth: Vec<FlankPoint>,
    /// Mean centre and the half widths that hold it in 90 % of photos.
    pub centre: Option<(FlankPoint, FlankPoint)>,
    /// Where the patch's centre is wanted, and how far it may be off along and up: the box that advice judges by.
    pub target: Option<(FlankPoint, FlankPoint)>,
    /// Where it is expected after the change.
    pub predicted: Option<FlankPoint>,
}

impl FlankView {
    /// The view of a reading, without target or prediction.
    pub(crate) fn of(read: &OutlinedReading) -> Self {
        let counted = read.reading.teeth.iter().zip(&read.regions);
        let counted = counted.filter(|(tooth, _)| tooth.confidence > COUNTED_CONFIDENCE);
        let regions: Vec<&Mask> = counted.filter_map(|(_, region)| region.as_ref()).collect();
        let ratios: Vec<f64> = read
            .outlines
            .iter()
            .map(|o: &Outline| o.depth_over_length)
            .collect();
        let count = ratios.len().max(1) as f64;
        let depth_over_length = ratios.iter().sum::<f64>() / count;
        Self {
            side: read.reading.flank.map(|flank| flank.side),
            depth_over_length: if depth_over_length > 0.0 {
                depth_over_length
            } else {
                0.22
            },
            patch: parts(&of_half(&regions), FEWEST_CELLS)
                .iter()
                .map(edge)
                .collect(),
            teeth: read
                .reading
                .teeth
                .iter()
                .filter(|tooth| tooth.confidence > COUNTED_CONFIDENCE)
                .filter_map(|tooth| tooth.patch.map(|patch| patch.centre))
                .collect(),
            centre: read
                .reading
                .mean
                .zip(read.reading.uncertainty)
                .map(|(mean, uncertainty)| (mean.centre, uncertainty)),
            target: None,
            predicted: None,
        }
    }
}

/// Smaller parts of the common patch are specks.
const FEWEST_CELLS: usize = 20;

/// Width of a view's drawing, and of the flank in it, SVG units.
const WIDTH: f64 = 640.0;
const LENGTH: f64 = 520.0;
const LEFT: f64 = 60.0;
const TOP: f64 = 46.0;

/// The drawing as SVG.
pub(crate) fn flank_view_svg(view: &FlankView) -> String {
    let depth = LENGTH * view.depth_over_length;
    let height = TOP + depth + 64.0;
    let place = |at: FlankPoint| (LEFT + LENGTH * at.length, TOP + depth * (1.0 - at.height));
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height:.0}" viewBox="0 0 {WIDTH} {height:.0}" font-family="{LETTERS}" font-size="13" fill="{INK}" role="img" aria-label="{0}"><title>{0}</title>"#,
        describe(view)
    );
    let name = view.side.map_or("flank", Side::word);
    let _ = write!(
        svg,
        r#"<text x="{LEFT}" y="22" font-size="17" font-weight="bold">{name}</text>"#
    );
    let _ = write!(
        svg,
        r#"<rect x="{LEFT}" y="{TOP}" width="{LENGTH}" height="{depth:.1}" fill="{STEEL}" stroke="{INK}" stroke-width="1.5"/>"#
    );
    frame_words(&mut svg, depth);
    for island in view.patch.iter().filter(|island| island.len() > 2) {
        let mut path = String::new();
        for (i, &point) in island.iter().enumerate() {
            let (x, y) = place(point);
            let _ = write!(path, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
        }
        let _ = write!(
            svg,
            r#"<path d="{path}Z" fill="{PATCH}" fill-opacity="0.30" stroke="{PATCH}" stroke-width="2"/>"#
        );
    }
    for &tooth in &view.teeth {
        let (x, y) = place(tooth);
        let _ = write!(
            svg,
            r#"<circle cx="{x:.1}" cy="{y:.1}" r="2.2" fill="{PATCH}"/>"#
        );
    }
    if let Some((target, near)) = view.target {
        let (x, y) = place(target);
        let (wide, high) = (LENGTH * near.length, depth * near.height);
        let _ = write!(
            svg,
            r#"<rect x="{:.1}" y="{:.1}" width="{:.1}" height="{:.1}" fill="none" stroke="{TARGET}" stroke-width="1.5" stroke-dasharray="2 4"/>"#,
            x - wide,
            y - high,
            2.0 * wide,
            2.0 * high
        );
    }
    if let Some((centre, unsure)) = view.centre {
        let (x, y) = place(centre);
        let _ = write!(
            svg,
            r#"<ellipse cx="{x:.1}" cy="{y:.1}" rx="{:.1}" ry="{:.1}" fill="{LIGHT}" fill-opacity="0.55" stroke="{PATCH}" stroke-width="1"/><circle cx="{x:.1}" cy="{y:.1}" r="5" fill="{PATCH}" stroke="{LIGHT}" stroke-width="1.5"/>"#,
            LENGTH * unsure.length,
            depth * unsure.height
        );
        if let Some(predicted) = view.predicted {
            arrow(&mut svg, (x, y), place(predicted));
        }
    }
    if let Some(predicted) = view.predicted {
        let (x, y) = place(predicted);
        let _ = write!(
            svg,
            r#"<rect x="{:.1}" y="{:.1}" width="14" height="14" fill="none" stroke="{PREDICTED}" stroke-width="2.5" transform="rotate(45 {x:.1} {y:.1})"/>"#,
            x - 7.0,
            y - 7.0
        );
    }
    // The cross last: the place expected is often the one wanted.
    if let Some((target, _)) = view.target {
        cross(&mut svg, place(target));
    }
    legend(&mut svg, view, TOP + depth + 50.0);
    svg.push_str("</svg>");
    svg
}

/// The drawing as pixels on white, twice the SVG's size.
///
/// # Errors
/// The drawing fails.
pub(crate) fn flank_view_picture(view: &FlankView) -> Result<RgbImage, PictureError> {
    raster::on_white(&flank_view_svg(view), 2.0)
}

/// Toe, heel, tip and root, and a scale of hundredths along two sides.
fn frame_words(svg: &mut String, depth: f64) {
    let (right, low, middle) = (LEFT + LENGTH, TOP + depth, TOP + depth / 2.0);
    for (x, y, anchor, word) in [
        (LEFT - 8.0, middle + 4.0, "end", "toe"),
        (right + 8.0, middle + 4.0, "start", "heel"),
        (right, TOP - 7.0, "end", "tip"),
        (right + 8.0, low - 3.0, "start", "root"),
    ] {
        let _ = write!(
            svg,
            r#"<text x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{word}</text>"#
        );
    }
    for tenth in 0..=10 {
        let share = f64::from(tenth) / 10.0;
        let x = LEFT + LENGTH * share;
        let _ = write!(
            svg,
            r#"<path d="M{x:.1} {low:.1}v5" stroke="{QUIET}"/><text x="{x:.1}" y="{:.1}" font-size="10" text-anchor="middle" fill="{QUIET}">{}</text>"#,
            low + 17.0,
            10 * tenth
        );
    }
    for fifth in 1..5 {
        let y = low - depth * f64::from(fifth) / 5.0;
        let _ = write!(svg, r#"<path d="M{LEFT} {y:.1}h-5" stroke="{QUIET}"/>"#);
    }
}

fn cross(svg: &mut String, (x, y): (f64, f64)) {
    let _ = write!(
        svg,
        r#"<path d="M{:.1} {y:.1}h16M{x:.1} {:.1}v16" stroke="{TARGET}" stroke-width="1.5"/>"#,
        x - 8.0,
        y - 8.0
    );
}

fn arrow(svg: &mut String, from: (f64, f64), to: (f64, f64)) {
    let (dx, dy) = (to.0 - from.0, to.1 - from.1);
    let length = dx.hypot(dy);
    if length < 22.0 {
        return;
    }
    let (ux, uy) = (dx / length, dy / length);
    let (sx, sy) = (from.0 + 7.0 * ux, from.1 + 7.0 * uy);
    let (ex, ey) = (to.0 - 11.0 * ux, to.1 - 11.0 * uy);
    let _ = write!(
        svg,
        r#"<path d="M{sx:.1} {sy:.1}L{ex:.1} {ey:.1}M{:.1} {:.1}L{ex:.1} {ey:.1}L{:.1} {:.1}" fill="none" stroke="{PREDICTED}" stroke-width="2"/>"#,
        ex - 7.0 * ux + 4.0 * uy,
        ey - 7.0 * uy - 4.0 * ux,
        ex - 7.0 * ux - 4.0 * uy,
        ey - 7.0 * uy + 4.0 * ux
    );
}

/// What each sign means; only the signs that are drawn.
fn legend(svg: &mut String, view: &FlankView, y: f64) {
    let mut x = LEFT;
    let mut entry = |svg: &mut String, sign: String, words: &str| {
        let _ = write!(
            svg,
            r#"<g class="legend" transform="translate({x:.1} {y:.1})">{sign}<text x="14" y="4" font-size="12">{words}</text></g>"#
        );
        x += 34.0 + 7.0 * words.chars().count() as f64;
    };
    if view.centre.is_some() {
        entry(
            svg,
            format!(r#"<circle r="5" fill="{PATCH}"/>"#),
            "patch now",
        );
    }
    if view.target.is_some() {
        entry(
            svg,
            format!(r#"<path d="M-7 0h14M0 -7v14" stroke="{TARGET}" stroke-width="1.5"/>"#),
            "wanted",
        );
        entry(
            svg,
            format!(
                r#"<rect x="-8" y="-5" width="16" height="10" fill="none" stroke="{TARGET}" stroke-width="1.5" stroke-dasharray="2 3"/>"#
            ),
            "the centre may stand here",
        );
    }
    if view.predicted.is_some() {
        entry(
            svg,
            format!(
                r#"<rect x="-5" y="-5" width="10" height="10" fill="none" stroke="{PREDICTED}" stroke-width="2" transform="rotate(45)"/>"#
            ),
            "expected",
        );
    }
}

/// The drawing in words, for those who cannot see it.
fn describe(view: &FlankView) -> String {
    let name = view.side.map_or("flank", Side::word);
    match view.centre {
        Some((centre, _)) => format!(
            "{name}: patch centre at {:.0} % of the length from the toe and {:.0} % of the height from the root",
            100.0 * centre.length,
            100.0 * centre.height
        ),
        None => format!("{name}: no patch"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::PhotoPoint;
    use crate::held;
    use crate::photo::Photo;
    use crate::reading::{FlankContext, unreadable};
    use crate::schema::{Margin, Patch, Tooth};

    /// Right is judged by a box about the target: that box is drawn and named for what may stand in it.
    #[test]
    fn the_region_that_counts_as_right_is_the_box_that_advice_judges_by() {
        let point = FlankPoint::new;
        let svg = flank_view_svg(&FlankView {
            side: Some(Side::Drive),
            depth_over_length: 0.25,
            patch: Vec::new(),
            teeth: Vec::new(),
            centre: Some((point(0.6, 0.7), point(0.05, 0.05))),
            target: Some((point(0.47, 0.5), point(0.20, 0.12))),
            predicted: Some(point(0.47, 0.5)),
        });
        let dotted = svg.split("stroke-dasharray").next().unwrap();
        let rect = dotted.rsplit("<rect").next().unwrap();
        for (name, expected) in [
            ("x", LEFT + LENGTH * 0.27),
            ("width", LENGTH * 0.40),
            ("height", LENGTH * 0.25 * 0.24),
        ] {
            let value = rect.split(&format!(" {name}=\"")).nth(1).unwrap();
            let value: f64 = value.split('"').next().unwrap().parse().unwrap();
            assert!((value - expected).abs() < 0.06, "{name}: {value}");
        }
        assert!(svg.contains("the centre may stand here"));
        // The place expected is often the one wanted: its sign must not hide the cross.
        let (diamond, cross) = (svg.find("rotate(45").unwrap(), svg.find("h16M").unwrap());
        assert!(diamond < cross, "{svg}");
    }

    #[test]
    fn ends_and_edges_have_their_names() {
        let mut svg = String::new();
        frame_words(&mut svg, 100.0);
        let x_of = |word: &str| -> f64 {
            let before = svg.split(&format!(">{word}</text>")).next().unwrap();
            let x = before.rsplit("x=\"").next().unwrap();
            x.split('"').next().unwrap().parse().unwrap()
        };
        assert!(x_of("toe") < LEFT && x_of("heel") > LEFT + LENGTH, "{svg}");
        assert!(svg.contains(">tip</text>") && svg.contains(">root</text>"));
    }

    #[test]
    fn held_flanks_with_and_without_something_to_show() {
        let point = FlankPoint::new;
        let off = FlankView {
            side: Some(Side::Coast),
            depth_over_length: 0.3,
            patch: vec![vec![
                point(0.5, 0.5),
                point(0.7, 0.55),
                point(0.72, 0.9),
                point(0.48, 0.85),
            ]],
            teeth: vec![point(0.58, 0.68), point(0.62, 0.74)],
            centre: Some((point(0.6, 0.7), point(0.05, 0.08))),
            target: Some((point(0.47, 0.5), point(0.20, 0.12))),
            predicted: Some(point(0.45, 0.52)),
        };
        held::hold("flank-off-its-place.svg", &flank_view_svg(&off));
        // Too near for an arrow.
        let near = FlankView {
            centre: Some((point(0.48, 0.52), point(0.02, 0.03))),
            teeth: Vec::new(),
            side: None,
            predicted: None,
            ..off.clone()
        };
        held::hold("flank-in-its-place.svg", &flank_view_svg(&near));
        let bare = FlankView {
            patch: Vec::new(),
            teeth: Vec::new(),
            centre: None,
            target: None,
            predicted: None,
            ..off
        };
        held::hold("flank-without-a-patch.svg", &flank_view_svg(&bare));
    }

    /// A tooth that does not count in the mean is not drawn.
    #[test]
    fn a_reading_s_view_has_the_teeth_that_count_and_the_outlines_own_depth() {
        let photo = Photo::from_pixels("drawn", RgbImage::new(400, 300));
        let mut read = unreadable(&photo, FlankContext::default(), Vec::new());
        let bare = FlankView::of(&read);
        assert!((bare.depth_over_length - 0.22).abs() < 1e-9 && bare.patch.is_empty());
        let outline = |depth| {
            Outline::from_map(depth, FlankPoint::default(), |at| {
                PhotoPoint::new(100.0 * at.length, 40.0 * at.height)
            })
        };
        read.outlines = vec![outline(0.2), outline(0.3)];
        let region = Mask::from_elem((48, 128), true);
        read.regions = vec![Some(region.clone()), Some(region)];
        let tooth = |length, confidence| Tooth {
            corners: read.outlines[0].corners(),
            root: Vec::new(),
            tip: Vec::new(),
            patch: Some(Patch {
                centre: FlankPoint::new(length, 0.5),
                extent: FlankPoint::new(1.0, 1.0),
                area: 1.0,
                lean_deg: 0.0,
                margin: Margin {
                    toe: 0.0,
                    heel: 0.0,
                    tip: 0.0,
                    root: 0.0,
                },
            }),
            islands: Vec::new(),
            confidence,
        };
        read.reading.teeth = vec![tooth(0.4, 1.0), tooth(0.6, 0.01)];
        let view = FlankView::of(&read);
        assert!((view.depth_over_length - 0.25).abs() < 1e-9);
        assert_eq!(view.teeth, [FlankPoint::new(0.4, 0.5)]);
        assert_eq!(view.patch.len(), 1);
    }
}
