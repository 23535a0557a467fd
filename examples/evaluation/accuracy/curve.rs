//! Error against the share of photos answered, the surest first.

use crate::measure::{Answer, Mode, quantile};
use flankread::FlankPoint;
use plotters::coord::Shift;
use plotters::prelude::*;
use std::error::Error;

/// The letters of the drawing.
const FONT: &str = "DejaVu Sans";

/// One axis of the flank: its name, its part of a point, the greatest error of the 90 % that is asked for
/// of automatic readings.
type Axis = (&'static str, fn(FlankPoint) -> f64, f64);
const AXES: [Axis; 2] = [
    ("length", |p| p.length, 0.05),
    ("height", |p| p.height, 0.08),
];

/// For each number of photos, those with the least printed uncertainty: their share of all readable ones,
/// the median and the 90th percentile of their errors.
fn points(answers: &[Answer], mode: Mode, get: fn(FlankPoint) -> f64) -> Vec<[f64; 3]> {
    let of_mode = answers.iter().filter(|a| a.mode == mode && a.readable);
    let all = of_mode.clone().count() as f64;
    let mut known: Vec<(f64, f64)> = of_mode
        .filter_map(|a| Some((get(a.uncertainty?), get(a.error?).abs())))
        .collect();
    known.sort_by(|a, b| a.0.total_cmp(&b.0));
    (1..=known.len())
        .filter_map(|count| {
            let errors: Vec<f64> = known[..count].iter().map(|pair| pair.1).collect();
            Some([
                count as f64 / all,
                quantile(&errors, 0.5)?,
                quantile(&errors, 0.9)?,
            ])
        })
        .collect()
}

/// The curve of a mode as SVG, length and height side by side.
pub fn svg(answers: &[Answer], mode: Mode) -> Result<String, Box<dyn Error>> {
    let mut text = String::new();
    {
        let area = SVGBackend::with_string(&mut text, (980, 440)).into_drawing_area();
        area.fill(&WHITE)?;
        let word = match mode {
            Mode::Marks => "with marks",
            Mode::Flank => "flank given",
            Mode::Automatic => "photo alone",
        };
        let title = format!("Error of the mean centre, the surest photos first: {word}");
        let rest = area.titled(&title, (FONT, 19))?;
        for (panel, axis) in rest.split_evenly((1, 2)).iter().zip(AXES) {
            draw(panel, answers, mode, axis)?;
        }
        area.present()?;
    }
    Ok(text)
}

fn draw(
    panel: &DrawingArea<SVGBackend, Shift>,
    answers: &[Answer],
    mode: Mode,
    (name, get, bar): Axis,
) -> Result<(), Box<dyn Error>> {
    let points = points(answers, mode, get);
    let most = points.iter().map(|p| p[2]).fold(1.2 * bar, f64::max);
    let mut chart = ChartBuilder::on(panel)
        .margin(14)
        .margin_right(30)
        .x_label_area_size(44)
        .y_label_area_size(58)
        .build_cartesian_2d(0.0..1.0, 0.0..1.35 * most)?;
    chart
        .configure_mesh()
        .max_light_lines(0)
        .x_desc("share of readable photos")
        .y_desc(format!("error, share of the {name}"))
        .x_label_formatter(&|share| format!("{:.0} %", 100.0 * share))
        .label_style((FONT, 13))
        .draw()?;
    let curves = [
        ("90th percentile", 2, RGBColor(179, 71, 15), 3),
        ("median", 1, RGBColor(11, 99, 197), 1),
    ];
    for (label, which, colour, width) in curves {
        let line = points.iter().map(|p| (p[0], p[which]));
        chart
            .draw_series(LineSeries::new(line, colour.stroke_width(width)).point_size(2))?
            .label(label)
            .legend(move |(x, y)| {
                PathElement::new(vec![(x, y), (x + 18, y)], colour.stroke_width(width))
            });
    }
    chart
        .configure_series_labels()
        .position(SeriesLabelPosition::UpperLeft)
        .background_style(WHITE.mix(0.8))
        .border_style(BLACK)
        .label_font((FONT, 13))
        .draw()?;
    Ok(())
}
