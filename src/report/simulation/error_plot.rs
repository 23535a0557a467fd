//! The plot of transmission error over two pitches.

use crate::contact::State;
use crate::frames::Side;
use crate::report::PictureError;
use crate::report::draw::canvas;
use crate::report::draw::canvas::FONT;
use plotters::prelude::*;

/// Lag of the ring gear of both flanks over two pitches, each from its least value, in microradians of
/// the ring gear's rotation.
///
/// # Errors
/// The drawing failed.
pub(crate) fn error_svg(state: &State, title: &str) -> Result<String, PictureError> {
    let curves = Side::BOTH.map(|side| {
        let contact = state.side(side);
        let n = contact.transmission_error.len();
        (0..=2 * n)
            .map(|k| {
                let lag = contact.transmission_error[k % n] - contact.least_lag;
                (k as f64 / n as f64, 1e6 * lag)
            })
            .collect::<Vec<_>>()
    });
    let highest = curves
        .iter()
        .flatten()
        .map(|&(_, lag)| lag)
        .fold(1.0, f64::max);
    canvas::svg((800, 420), |area| {
        let mut chart = ChartBuilder::on(area)
            .caption(title, (FONT, 18))
            .margin(14)
            .x_label_area_size(44)
            .y_label_area_size(64)
            .build_cartesian_2d(0.0..2.0, 0.0..1.25 * highest)
            .map_err(PictureError::new)?;
        chart
            .configure_mesh()
            .max_light_lines(0)
            .x_desc("mesh position, pitches")
            .y_desc("lag of the ring gear, µrad")
            .label_style((FONT, 13))
            .draw()
            .map_err(PictureError::new)?;
        let colours = [RGBColor(30, 90, 170), RGBColor(200, 90, 30)];
        for ((side, curve), colour) in Side::BOTH.into_iter().zip(curves).zip(colours) {
            chart
                .draw_series(LineSeries::new(curve, colour.stroke_width(2)))
                .map_err(PictureError::new)?
                .label(side.word())
                .legend(move |(x, y)| {
                    PathElement::new(vec![(x, y), (x + 18, y)], colour.stroke_width(2))
                });
        }
        chart
            .configure_series_labels()
            .position(SeriesLabelPosition::UpperRight)
            .background_style(WHITE.mix(0.8))
            .border_style(BLACK)
            .label_font((FONT, 14))
            .draw()
            .map_err(PictureError::new)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact::{Misalignment, Model};
    use crate::gear::set::GearSet;
    use crate::schema::Cutting;

    #[test]
    fn held_plot_of_both_curves_with_their_names() {
        let model = Model::new(&GearSet::example(Cutting::FaceHobbed)).unwrap();
        let (ease_off, film) = model.defaults();
        let state = model.state(&Misalignment::default(), &ease_off, film);
        let svg = error_svg(&state, "transmission error").unwrap();
        crate::held::hold("transmission-error.svg", &svg);
        assert!(svg.matches("<polyline").count() >= 2);
        assert!(svg.contains("drive") && svg.contains("coast") && svg.contains("µrad"));
    }
}
