//! The share of sets that are right after each assembly, drawn.

use plotters::prelude::*;
use std::path::Path;

/// Writes the curves as SVG.
pub fn draw(path: &Path, curves: &[(String, Vec<f64>)]) -> Result<(), Box<dyn std::error::Error>> {
    let mut text = String::new();
    {
        let area = SVGBackend::with_string(&mut text, (860, 520)).into_drawing_area();
        area.fill(&WHITE)?;
        let most = curves.iter().map(|c| c.1.len()).max().unwrap_or(1);
        let mut chart = ChartBuilder::on(&area)
            .caption("Assemblies until right", ("sans-serif", 22))
            .margin(16)
            .x_label_area_size(44)
            .y_label_area_size(56)
            .build_cartesian_2d(1.0..most as f64, 0.0..100.0)?;
        chart
            .configure_mesh()
            .x_desc("assemblies")
            .y_desc("sets that are right, %")
            .x_labels(most)
            .x_label_formatter(&|n| format!("{n:.0}"))
            .y_label_formatter(&|share| format!("{share:.0}"))
            .light_line_style(TRANSPARENT)
            .label_style(("sans-serif", 15))
            .draw()?;
        for (i, (name, shares)) in curves.iter().enumerate() {
            // One hue a method, one weight a cutting method.
            let colour = [
                RGBColor(213, 94, 0),
                RGBColor(0, 114, 178),
                RGBColor(0, 158, 115),
            ][i % 3];
            let width = if i < 3 { 3 } else { 1 };
            chart
                .draw_series(LineSeries::new(
                    shares
                        .iter()
                        .enumerate()
                        .map(|(n, share)| (n as f64 + 1.0, 100.0 * share)),
                    colour.stroke_width(width),
                ))?
                .label(name.as_str())
                .legend(move |(x, y)| {
                    PathElement::new([(x, y), (x + 24, y)], colour.stroke_width(width))
                });
        }
        chart
            .configure_series_labels()
            .position(SeriesLabelPosition::LowerRight)
            .background_style(WHITE.mix(0.85))
            .border_style(BLACK.mix(0.3))
            .label_font(("sans-serif", 15))
            .draw()?;
        area.present()?;
    }
    let partial = path.with_extension("svg.part");
    std::fs::write(&partial, text)?;
    std::fs::rename(&partial, path)?;
    Ok(())
}
