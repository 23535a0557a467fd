//! The photo with each flank's outline, patch and centre drawn on it.

use crate::flank::Outline;
use crate::frames::{FlankPoint, PhotoPoint, Side};
use crate::photo::Photo;
use crate::photo::shrink::resized;
use crate::reading::OutlinedReading;
use crate::report::PictureError;
use crate::report::draw::patch_shape::edge;
use crate::report::draw::raster;
use crate::report::draw::theme::{INK, LETTERS, LIGHT, PATCH};
use crate::segment::mask::{Mask, parts};
use image::RgbImage;
use std::fmt::Write as _;

/// Longest side of an overlay picture, pixels.
const LONGEST_PX: u32 = 1600;

/// The photo with the reading drawn on it.
///
/// # Errors
/// The drawing fails.
pub(crate) fn overlay(photo: &Photo, read: &OutlinedReading) -> Result<RgbImage, PictureError> {
    let mut picture = shrunk(&photo.working, LONGEST_PX);
    let scale = f64::from(picture.width()) / f64::from(photo.width);
    let drawing = drawing(read, picture.dimensions(), scale, true);
    raster::draw_over(&mut picture, &drawing)?;
    Ok(picture)
}

/// The picture with its longest side at most `longest`.
pub(crate) fn shrunk(from: &RgbImage, longest: u32) -> RgbImage {
    let (width, height) = from.dimensions();
    let share = f64::from(longest) / f64::from(width.max(height));
    if share >= 1.0 {
        return from.clone();
    }
    let to = |side: u32| ((f64::from(side) * share).round() as u32).max(1);
    resized(from, (0, 0, width, height), (to(width), to(height)))
}

/// The lines over the photo, as SVG of the picture's size, with the teeth's numbers or without.
pub(crate) fn drawing(
    read: &OutlinedReading,
    size: (u32, u32),
    scale: f64,
    numbers: bool,
) -> String {
    let (width, height) = size;
    let unit = f64::from(width.max(height)) / 800.0;
    // Without numbers it is a small picture, whose lines must still be seen.
    let unit = if numbers { unit } else { unit.max(0.9) };
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 {width} {height}" font-family="{LETTERS}">"#
    );
    for (number, ((tooth, outline), region)) in read
        .reading
        .teeth
        .iter()
        .zip(&read.outlines)
        .zip(&read.regions)
        .enumerate()
    {
        let place = |at: FlankPoint| outline.place(at).scaled(scale);
        let mut ring: Vec<PhotoPoint> = outline.side(0.0);
        ring.extend(outline.side(1.0).into_iter().rev());
        let ring: Vec<PhotoPoint> = ring.into_iter().map(|p| p.scaled(scale)).collect();
        cased(&mut svg, &ring, LIGHT, INK, 1.2 * unit, "");
        if let Some(region) = region {
            // Teeth that count little are drawn with a broken line.
            let broken = if tooth.confidence < 0.25 {
                format!(r#" stroke-dasharray="{0:.1} {0:.1}""#, 4.0 * unit)
            } else {
                String::new()
            };
            for edge in edges(outline, region) {
                let edge: Vec<PhotoPoint> = edge.into_iter().map(|p| p.scaled(scale)).collect();
                cased(&mut svg, &edge, PATCH, LIGHT, 1.6 * unit, &broken);
            }
        }
        if let Some(patch) = tooth.patch {
            cross(&mut svg, place(patch.centre), 5.0 * unit, unit);
        }
        if numbers {
            let at = place(FlankPoint::new(0.08, 0.5));
            label(&mut svg, at, number + 1, unit);
        }
    }
    if numbers {
        names(&mut svg, read, (width, height), scale, unit);
    }
    svg.push_str("</svg>");
    svg
}

/// The edges of a patch in the photo, one of each island.
fn edges(outline: &Outline, region: &Mask) -> Vec<Vec<PhotoPoint>> {
    let place = |at: FlankPoint| outline.place(at);
    let islands = parts(region, 1);
    (islands.iter())
        .map(|island| edge(island).into_iter().map(place).collect())
        .collect()
}

/// The edges of the patch on each of a reading's teeth, in the photo, one of each island.
pub(crate) fn patch_edges(read: &OutlinedReading) -> Vec<Vec<Vec<PhotoPoint>>> {
    (read.outlines.iter().zip(&read.regions))
        .map(|(outline, region)| {
            region
                .as_ref()
                .map_or_else(Vec::new, |region| edges(outline, region))
        })
        .collect()
}

/// A closed line with a wider one of another colour under it, so that it shows on any ground.
fn cased(
    svg: &mut String,
    points: &[PhotoPoint],
    line: &str,
    casing: &str,
    width: f64,
    more: &str,
) {
    if points.len() < 3 {
        return;
    }
    let mut path = String::new();
    let mut last: Option<PhotoPoint> = None;
    for &point in points {
        // Steps of less than a pixel cannot be seen and make small pictures long files.
        if last.is_some_and(|last| last.distance(point) < 1.0) {
            continue;
        }
        let step = if last.is_none() { 'M' } else { 'L' };
        let _ = write!(path, "{step}{:.1} {:.1}", point.x, point.y);
        last = Some(point);
    }
    for (colour, width, more) in [(casing, 2.2 * width, ""), (line, width, more)] {
        let _ = write!(
            svg,
            r#"<path d="{path}Z" fill="none" stroke="{colour}" stroke-width="{width:.1}" stroke-linejoin="round"{more}/>"#
        );
    }
}

fn cross(svg: &mut String, at: PhotoPoint, reach: f64, unit: f64) {
    for (colour, width) in [(INK, 3.0 * unit), (LIGHT, 1.4 * unit)] {
        let _ = write!(
            svg,
            r#"<path d="M{:.1} {:.1}h{:.1}M{:.1} {:.1}v{:.1}" stroke="{colour}" stroke-width="{width:.1}" stroke-linecap="round"/>"#,
            at.x - reach,
            at.y,
            2.0 * reach,
            at.x,
            at.y - reach,
            2.0 * reach
        );
    }
}

/// Which flanks these are, in the corner; toe and heel at the ends of the flank that is nearest to the middle.
fn names(
    svg: &mut String,
    read: &OutlinedReading,
    (width, height): (u32, u32),
    scale: f64,
    unit: f64,
) {
    let side = read
        .reading
        .flank
        .map_or("flanks, not known which", |flank| match flank.side {
            Side::Drive => "drive flanks",
            Side::Coast => "coast flanks",
        });
    let size = 26.0 * unit;
    words(
        svg,
        PhotoPoint::new(1.0 * size, 1.6 * size),
        "start",
        size,
        side,
    );
    let middle = PhotoPoint::new(f64::from(width) / 2.0, f64::from(height) / 2.0);
    let centre = |outline: &Outline| outline.place(FlankPoint::new(0.5, 0.5)).scaled(scale);
    let nearest = read.outlines.iter().min_by(|a, b| {
        centre(a)
            .distance(middle)
            .total_cmp(&centre(b).distance(middle))
    });
    let Some(outline) = nearest else { return };
    let size = 22.0 * unit;
    for (end, word) in [(0.0, "toe"), (1.0, "heel")] {
        let at = outline.place(FlankPoint::new(end, 0.5)).scaled(scale);
        // Off the end, and inside the picture.
        let away =
            centre(outline).lerp(at, 1.0 + 1.6 * size / centre(outline).distance(at).max(1.0));
        let inside = |value: f64, most: u32| {
            value.clamp(1.5 * size, (f64::from(most) - 1.5 * size).max(1.5 * size))
        };
        let at = PhotoPoint::new(inside(away.x, width), inside(away.y, height) + 0.35 * size);
        words(svg, at, "middle", size, word);
    }
}

/// Letters with a dark casing, so that they show on any ground.
fn words(svg: &mut String, at: PhotoPoint, anchor: &str, size: f64, text: &str) {
    let _ = write!(
        svg,
        r#"<text x="{:.1}" y="{:.1}" font-size="{size:.1}" font-weight="bold" text-anchor="{anchor}" fill="{LIGHT}" stroke="{INK}" stroke-width="{:.1}" paint-order="stroke" stroke-linejoin="round">{text}</text>"#,
        at.x,
        at.y,
        0.28 * size
    );
}

fn label(svg: &mut String, at: PhotoPoint, number: usize, unit: f64) {
    let _ = write!(
        svg,
        r#"<circle cx="{0:.1}" cy="{1:.1}" r="{2:.1}" fill="{INK}" stroke="{LIGHT}" stroke-width="{3:.1}"/><text x="{0:.1}" y="{4:.1}" font-size="{5:.1}" font-weight="bold" text-anchor="middle" fill="{LIGHT}">{number}</text>"#,
        at.x,
        at.y,
        6.5 * unit,
        0.8 * unit,
        at.y + 3.0 * unit,
        8.5 * unit
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::held;
    use crate::reading::{FlankContext, unreadable};
    use crate::schema::{FlankSide, Margin, Patch, Source};

    #[test]
    fn held_names_of_flanks_and_where_toe_and_heel_lie() {
        let photo = Photo::from_pixels("drawn", RgbImage::new(400, 300));
        let context = FlankContext {
            flank: Some(FlankSide {
                side: Side::Coast,
                source: Source::Given,
            }),
            ..FlankContext::default()
        };
        let mut read = unreadable(&photo, context, Vec::new());
        read.outlines = vec![Outline::from_map(0.2, FlankPoint::default(), |at| {
            PhotoPoint::new(100.0 + 200.0 * at.length, 180.0 - 60.0 * at.height)
        })];
        let svg = drawing(&read, (400, 300), 1.0, true);
        assert!(svg.contains(">coast flanks</text>"), "{svg}");
        held::hold("names-on-a-photo.svg", &svg);
        let x_of = |word: &str| -> f64 {
            let before = svg.split(&format!(">{word}</text>")).next().unwrap();
            let at = before.rsplit("x=\"").next().unwrap();
            at.split('"').next().unwrap().parse().unwrap()
        };
        // Off the ends of the flank, which run from 100 to 300.
        assert!(x_of("toe") < 100.0 && x_of("heel") > 300.0, "{svg}");
        // Small pictures have no room for words.
        assert!(!drawing(&read, (400, 300), 1.0, false).contains("<text"));
        // Flanks as long as the photo: their ends' names are kept inside it.
        read.outlines[0] = Outline::from_map(0.2, FlankPoint::default(), |at| {
            PhotoPoint::new(5.0 + 390.0 * at.length, 290.0 - 60.0 * at.height)
        });
        held::hold(
            "names-at-the-edge-of-a-photo.svg",
            &drawing(&read, (200, 150), 0.5, true),
        );
    }

    /// The README asks people to look whether the outlines lie on the flanks: then they must lie where the reading has them.
    #[test]
    fn outline_patch_and_centre_are_drawn_where_the_reading_has_them() {
        let photo = Photo::from_pixels("drawn", RgbImage::new(400, 300));
        let mut read = unreadable(&photo, FlankContext::default(), Vec::new());
        read.outlines = vec![Outline::from_map(0.2, FlankPoint::default(), |at| {
            PhotoPoint::new(100.0 + 200.0 * at.length, 180.0 - 60.0 * at.height)
        })];
        // A patch over the middle half of the length and the upper half of the height.
        let mut region = Mask::from_elem((48, 128), false);
        region.slice_mut(ndarray::s![24..48, 32..96]).fill(true);
        let patch = Patch {
            centre: FlankPoint::new(0.5, 0.75),
            extent: FlankPoint::new(0.5, 0.5),
            area: 0.25,
            lean_deg: 0.0,
            margin: Margin {
                toe: 0.25,
                heel: 0.25,
                tip: 0.0,
                root: 0.5,
            },
        };
        read.reading.teeth = vec![crate::schema::Tooth {
            corners: read.outlines[0].corners(),
            root: Vec::new(),
            tip: Vec::new(),
            patch: Some(patch),
            islands: Vec::new(),
            confidence: 1.0,
        }];
        read.regions = vec![Some(region)];
        let edges = patch_edges(&read);
        let points: Vec<PhotoPoint> = edges.concat().concat();
        let reach = |of: fn(&PhotoPoint) -> f64| {
            let values = points.iter().map(of);
            values.fold([f64::MAX, f64::MIN], |[low, high], v| {
                [low.min(v), high.max(v)]
            })
        };
        for (found, drawn) in [
            (reach(|p| p.x), [150.0, 250.0]),
            (reach(|p| p.y), [120.0, 150.0]),
        ] {
            assert!(
                (found[0] - drawn[0]).abs() < 3.0 && (found[1] - drawn[1]).abs() < 3.0,
                "{found:?}"
            );
        }
        for scale in [1.0, 0.5] {
            let mut picture = RgbImage::new((400.0 * scale) as u32, (300.0 * scale) as u32);
            let svg = drawing(&read, picture.dimensions(), scale, false);
            raster::draw_over(&mut picture, &svg).unwrap();
            let drawn = |x: f64, y: f64| {
                let near = |dx: i32, dy: i32| {
                    let (x, y) = ((x * scale) as i32 + dx, (y * scale) as i32 + dy);
                    picture.get_pixel(x as u32, y as u32).0 != [0, 0, 0]
                };
                (-1..=1).any(|dx| (-1..=1).any(|dy| near(dx, dy)))
            };
            // The flank's sides and ends, the patch's edges, and the cross at the patch's centre.
            for (x, y) in [
                (140.0, 180.0),
                (260.0, 120.0),
                (100.0, 150.0),
                (300.0, 150.0),
            ] {
                assert!(drawn(x, y), "the outline is not at {x}, {y}");
            }
            for (x, y) in [
                (150.0, 140.0),
                (250.0, 140.0),
                (200.0, 150.0),
                (200.0, 135.0),
            ] {
                assert!(drawn(x, y), "the patch is not at {x}, {y}");
            }
            // Nothing beside them.
            for (x, y) in [
                (140.0, 195.0),
                (260.0, 105.0),
                (85.0, 150.0),
                (315.0, 150.0),
                (125.0, 150.0),
            ] {
                assert!(!drawn(x, y), "something is drawn at {x}, {y}");
            }
        }
    }
}
