//! How a job came to its end: the patches' way on both flanks, backlash and torque by trial.

use crate::frames::{FlankPoint, Side};
use crate::report::draw::theme::{INK, LETTERS, LIGHT, PATCH, PREDICTED, QUIET, STEEL, TARGET};
use crate::schema::record::Record;
use crate::setup::verdict;
use crate::units::Shown;
use std::fmt::Write as _;

/// The drawing's size, SVG units.
pub(crate) const WIDTH: f64 = 760.0;
/// Height of the drawing.
pub(crate) const HEIGHT: f64 = 372.0;

/// A flank is drawn a third as high as it is long, whatever its true depth: the way is to be seen.
const FLANK: (f64, f64) = (300.0, 110.0);

/// Size of a chart.
const CHART: (f64, f64) = (300.0, 110.0);

/// Values that a chart can print above its points.
const MOST_NUMBERS: usize = 9;

/// The drawing as SVG.
pub(crate) fn convergence_svg(record: &Record, shown: &Shown) -> String {
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}" font-family="{LETTERS}" font-size="11" fill="{INK}" role="img" aria-label="{0}"><title>{0}</title>"#,
        describe(record)
    );
    flank(&mut svg, record, Side::Drive, (42.0, 30.0));
    flank(&mut svg, record, Side::Coast, (422.0, 30.0));
    let backlash: Vec<(i64, f64)> = record
        .counting()
        .filter_map(|a| Some((a.number, a.trial.mean_backlash_mm()?)))
        .collect();
    let torque: Vec<(i64, f64)> = record
        .counting()
        .filter_map(|a| Some((a.number, a.trial.pinion_torque_nm?)))
        .collect();
    let most = record.trials.last().map_or(1, |a| a.number).max(1);
    let limits = &record.card.limits;
    chart(
        &mut svg,
        (42.0, 216.0),
        "backlash",
        &backlash,
        limits.backlash_mm,
        most,
        &|mm| shown.shim(mm),
    );
    chart(
        &mut svg,
        (422.0, 216.0),
        "rotating torque",
        &torque,
        limits.pinion_torque_new_nm.or(limits.pinion_torque_used_nm),
        most,
        &|nm| shown.torque(nm),
    );
    svg.push_str("</svg>");
    svg
}

fn flank(svg: &mut String, record: &Record, side: Side, corner: (f64, f64)) {
    empty_flank(svg, record, side, corner);
    let (left, top) = corner;
    let (length, depth) = FLANK;
    let points: Vec<(i64, bool, f64, f64)> = record
        .counting()
        .filter_map(|a| {
            let (x, y) = on_flank(corner, a.trial.reading(side)?.centre);
            Some((a.number, a.trial.as_found, x, y))
        })
        .collect();
    if points.is_empty() {
        let _ = write!(
            svg,
            r#"<text x="{:.1}" y="{:.1}" text-anchor="middle">not read</text>"#,
            left + length / 2.0,
            top + depth / 2.0 + 4.0
        );
        return;
    }
    let way: Vec<String> = points
        .iter()
        .filter(|p| !p.1)
        .map(|(_, _, x, y)| format!("{x:.1},{y:.1}"))
        .collect();
    let _ = write!(
        svg,
        r#"<polyline points="{}" fill="none" stroke="{PATCH}" stroke-width="1.5"/>"#,
        way.join(" ")
    );
    patch_marks(svg, &points, left + length / 2.0);
}

/// Where a place on a flank lies in the drawing.
fn on_flank((left, top): (f64, f64), at: FlankPoint) -> (f64, f64) {
    let (length, depth) = FLANK;
    (left + length * at.length, top + depth * (1.0 - at.height))
}

/// The flank with its ends named, and the target.
fn empty_flank(svg: &mut String, record: &Record, side: Side, (left, top): (f64, f64)) {
    let (length, depth) = FLANK;
    let _ = write!(
        svg,
        r#"<text x="{left}" y="{:.1}" font-size="13" font-weight="bold">{} flank</text><text x="{:.1}" y="{:.1}" text-anchor="end" fill="{QUIET}">tip</text><rect x="{left}" y="{top}" width="{length}" height="{depth}" fill="{STEEL}" stroke="{INK}"/>"#,
        top - 9.0,
        side.word(),
        left + length,
        top - 5.0
    );
    let middle = top + depth / 2.0 + 4.0;
    let _ = write!(
        svg,
        r#"<text x="{:.1}" y="{middle:.1}" text-anchor="end" fill="{QUIET}">toe</text><text x="{:.1}" y="{middle:.1}" fill="{QUIET}">heel</text><text x="{:.1}" y="{:.1}" text-anchor="end" fill="{QUIET}">root</text>"#,
        left - 5.0,
        left + length + 5.0,
        left + length,
        top + depth + 14.0
    );
    let target = record.card.target.of(side);
    let near = record.card.target.tolerance;
    let (x, y) = on_flank((left, top), target);
    let _ = write!(
        svg,
        r#"<rect x="{:.1}" y="{:.1}" width="{:.1}" height="{:.1}" fill="none" stroke="{TARGET}" stroke-dasharray="2 4"/><path d="M{:.1} {y:.1}h12M{x:.1} {:.1}v12" stroke="{TARGET}"/>"#,
        x - length * near.length,
        y - depth * near.height,
        2.0 * length * near.length,
        2.0 * depth * near.height,
        x - 6.0,
        y - 6.0
    );
}

/// The patch of each trial with its number: a square as found, filled for the last.
fn patch_marks(svg: &mut String, points: &[(i64, bool, f64, f64)], middle: f64) {
    let last = points.len() - 1;
    for (i, (number, as_found, x, y)) in points.iter().enumerate() {
        let _ = match (*as_found, i == last) {
            (true, _) => write!(
                svg,
                r#"<rect x="{:.1}" y="{:.1}" width="8" height="8" fill="{LIGHT}" stroke="{QUIET}" stroke-width="1.5"/>"#,
                x - 4.0,
                y - 4.0
            ),
            (false, true) => write!(
                svg,
                r#"<circle cx="{x:.1}" cy="{y:.1}" r="6" fill="{PATCH}" stroke="{LIGHT}"/>"#
            ),
            (false, false) => write!(
                svg,
                r#"<circle cx="{x:.1}" cy="{y:.1}" r="4" fill="{LIGHT}" stroke="{PATCH}" stroke-width="1.5"/>"#
            ),
        };
        // Numbers stand outward of the flank's middle, so that those of neighbours keep apart.
        let (anchor, shift) = if *x < middle {
            ("end", -8.0)
        } else {
            ("start", 8.0)
        };
        let _ = write!(
            svg,
            r#"<text x="{:.1}" y="{:.1}" text-anchor="{anchor}" font-size="10" stroke="{STEEL}" stroke-width="3" paint-order="stroke">{number}</text>"#,
            x + shift,
            y - 5.0
        );
    }
}

/// A small chart over the trials with the window as a band.
fn chart(
    svg: &mut String,
    (left, top): (f64, f64),
    title: &str,
    points: &[(i64, f64)],
    window: Option<[f64; 2]>,
    most: i64,
    word: &dyn Fn(f64) -> String,
) {
    let (across, down) = CHART;
    let values = points
        .iter()
        .map(|p| p.1)
        .chain(window.into_iter().flatten());
    let high = values.fold(0.0, f64::max) * 1.15;
    let _ = write!(
        svg,
        r#"<text x="{left}" y="{:.1}" font-size="13" font-weight="bold">{title}</text>"#,
        top - 9.0
    );
    let _ = write!(
        svg,
        r#"<path d="M{left} {top}v{down}h{across}" fill="none" stroke="{INK}"/>"#
    );
    if points.is_empty() || high <= 0.0 {
        let _ = write!(
            svg,
            r#"<text x="{:.1}" y="{:.1}" text-anchor="middle">not measured</text>"#,
            left + across / 2.0,
            top + down / 2.0
        );
        return;
    }
    let y = |value: f64| top + down * (1.0 - value / high);
    let x = |number: i64| left + across * (number as f64 - 0.5) / most as f64;
    if let Some([low, top_of]) = window {
        let _ = write!(
            svg,
            r#"<rect x="{left}" y="{:.1}" width="{across}" height="{:.1}" fill="{STEEL}"/><text x="{:.1}" y="{:.1}" font-size="10" text-anchor="end" fill="{QUIET}">window {} to {}</text>"#,
            y(top_of),
            y(low) - y(top_of),
            left + across,
            top - 9.0,
            word(low).split(' ').next().unwrap_or_default(),
            word(top_of)
        );
    }
    let placed: Vec<ChartPoint> = points
        .iter()
        .map(|(number, value)| ChartPoint {
            at: (x(*number), y(*value)),
            outside: window.is_some_and(|window| verdict(*value, window) != "within"),
            label: word(*value)
                .split(' ')
                .next()
                .unwrap_or_default()
                .to_owned(),
        })
        .collect();
    chart_points(svg, &placed);
    let step = (most / 12 + 1).max(1);
    for number in (1..=most).step_by(usize::try_from(step).unwrap_or(1)) {
        let _ = write!(
            svg,
            r#"<text x="{:.1}" y="{:.1}" font-size="10" text-anchor="middle" fill="{QUIET}">{number}</text>"#,
            x(number),
            top + down + 14.0
        );
    }
    let unit = word(1.0);
    let unit = unit.split_once(' ').map_or("", |(_, unit)| unit);
    let _ = write!(
        svg,
        r#"<text x="{:.1}" y="{:.1}" font-size="10" fill="{QUIET}">{unit}, by trial; a diamond is outside the window</text>"#,
        left,
        top + down + 30.0
    );
}

/// A measured value in its place on a chart.
struct ChartPoint {
    at: (f64, f64),
    /// Outside the window.
    outside: bool,
    /// The value without its unit.
    label: String,
}

fn chart_points(svg: &mut String, points: &[ChartPoint]) {
    let line: Vec<String> = points
        .iter()
        .map(|ChartPoint { at: (x, y), .. }| format!("{x:.1},{y:.1}"))
        .collect();
    let _ = write!(
        svg,
        r#"<polyline points="{}" fill="none" stroke="{PATCH}" stroke-width="1.5"/>"#,
        line.join(" ")
    );
    for (
        i,
        ChartPoint {
            at: (cx, cy),
            outside,
            label,
        },
    ) in points.iter().enumerate()
    {
        let _ = if *outside {
            write!(
                svg,
                r#"<rect x="{:.1}" y="{:.1}" width="9" height="9" fill="{LIGHT}" stroke="{PREDICTED}" stroke-width="2" transform="rotate(45 {cx:.1} {cy:.1})"/>"#,
                cx - 4.5,
                cy - 4.5
            )
        } else {
            write!(
                svg,
                r#"<circle cx="{cx:.1}" cy="{cy:.1}" r="4.5" fill="{PATCH}"/>"#
            )
        };
        // Many numbers side by side cannot be read; the first and the last say what counts.
        if points.len() > MOST_NUMBERS && i > 0 && i + 1 < points.len() {
            continue;
        }
        let _ = write!(
            svg,
            r#"<text x="{cx:.1}" y="{:.1}" font-size="10" text-anchor="middle">{label}</text>"#,
            cy - 9.0
        );
    }
}

/// The drawing in words.
fn describe(record: &Record) -> String {
    format!(
        "The patch on both flanks, backlash and torque over {} trials",
        record.trials.len()
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::held;

    #[test]
    fn toe_is_drawn_left_and_tip_above() {
        let at = |length, height| on_flank((42.0, 30.0), FlankPoint::new(length, height));
        assert_eq!(at(0.0, 1.0), (42.0, 30.0));
        assert_eq!(at(1.0, 0.0), (342.0, 140.0));
        assert_eq!(at(0.25, 0.5), (117.0, 85.0));
    }

    #[test]
    fn each_trial_s_patch_has_its_number_and_the_first_found_is_a_square() {
        let mut svg = String::new();
        let points = [
            (1, true, 60.0, 50.0),
            (2, false, 300.0, 80.0),
            (3, false, 190.0, 85.0),
        ];
        patch_marks(&mut svg, &points, 192.0);
        for (number, ..) in points {
            assert!(svg.contains(&format!(">{number}</text>")), "{svg}");
        }
        assert_eq!(
            (svg.matches("<rect").count(), svg.matches("<circle").count()),
            (1, 2)
        );
        assert!(svg.contains(r#"cx="190.0" cy="85.0" r="6""#), "{svg}");
    }

    #[test]
    fn held_way_of_a_job() {
        let (mut record, _) = crate::report::job::samples::played();
        let shown = Shown::default();
        held::hold("convergence.svg", &convergence_svg(&record, &shown));
        record.trials.truncate(9);
        held::hold("convergence-of-nine.svg", &convergence_svg(&record, &shown));
        record.trials.clear();
        held::hold("convergence-of-none.svg", &convergence_svg(&record, &shown));
    }
}
