//! Pictures of flanks with their patch, drawn at true proportions: one state, or a filmstrip of many.

use crate::contact::{FlankContact, Model, State};
use crate::frames::{FlankPoint, Side};
use crate::report::PictureError;
use crate::report::draw::canvas;
use crate::report::draw::canvas::FONT;
use plotters::coord::Shift;
use plotters::prelude::*;

const COMPOUND: RGBColor = RGBColor(236, 190, 52);
const STEEL: RGBColor = RGBColor(112, 122, 132);
const INK: RGBColor = RGBColor(40, 44, 48);
/// Shades between untouched compound and bare steel.
const SHADES: usize = 6;

type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

/// Places on the flank, (length, height), round an area.
type Ring = Vec<(f64, f64)>;

/// Where a flank is drawn: its corner, and pixels per millimetre.
#[derive(Clone, Copy)]
struct Frame {
    left: f64,
    /// Pixel row of the highest tip.
    top: f64,
    scale: f64,
    shape: Shape,
}

/// A flank unrolled: its length along the tooth and its profile height at either end, mm.
#[derive(Clone, Copy)]
struct Shape {
    length_mm: f64,
    /// Height of the root line above the lowest point, at toe and heel.
    root_mm: [f64; 2],
    /// Height of the tip line above the lowest point, at toe and heel.
    tip_mm: [f64; 2],
}

impl Shape {
    fn of(model: &Model, side: Side) -> Self {
        let d = model.dimensions();
        let [length_mm, height_mm] = model.flank_size_mm(side);
        // Along the profile a millimetre of depth is longer, by the slope of the flank.
        let stretch = height_mm / (d.height_at(0.5, 1.0) - d.height_at(0.5, 0.0));
        let line = |height| [0.0, 1.0].map(|length| stretch * d.height_at(length, height));
        let (root, tip) = (line(0.0), line(1.0));
        let lowest = root[0].min(root[1]);
        Self {
            length_mm,
            root_mm: root.map(|y| y - lowest),
            tip_mm: tip.map(|y| y - lowest),
        }
    }

    fn height_mm(&self) -> f64 {
        self.tip_mm[0].max(self.tip_mm[1])
    }
}

impl Frame {
    fn at(&self, place: FlankPoint) -> (i32, i32) {
        let s = &self.shape;
        let between = |[toe, heel]: [f64; 2]| toe + (heel - toe) * place.length;
        let (root, tip) = (between(s.root_mm), between(s.tip_mm));
        let x = self.left + self.scale * s.length_mm * place.length;
        let y = self.top + self.scale * (s.height_mm() - root - (tip - root) * place.height);
        (x.round() as i32, y.round() as i32)
    }

    fn polygon(&self, places: &[(f64, f64)]) -> Vec<(i32, i32)> {
        places
            .iter()
            .map(|&(length, height)| self.at(FlankPoint::new(length, height)))
            .collect()
    }
}

/// Both flanks of one state, drive above coast, toe to the left.
///
/// # Errors
/// The drawing failed.
pub(crate) fn state_svg(model: &Model, state: &State, title: &str) -> Result<String, PictureError> {
    const WIDTH: u32 = 900;
    const MARGIN: f64 = 56.0;
    const BAND: f64 = 84.0;
    let shapes = Side::BOTH.map(|side| Shape::of(model, side));
    let longest = shapes[0].length_mm.max(shapes[1].length_mm);
    let scale = (f64::from(WIDTH) - 2.0 * MARGIN) / longest;
    let heights = shapes.map(|s| BAND + scale * s.height_mm());
    let height = 44.0 + heights[0] + heights[1] + 20.0;
    canvas::svg((WIDTH, height as u32), |area| {
        label(area, title, (MARGIN, 14.0), 20.0)?;
        let mut top = 44.0;
        for (side, shape) in Side::BOTH.into_iter().zip(shapes) {
            let contact = state.side(side);
            let frame = Frame {
                left: MARGIN,
                top: top + 34.0,
                scale,
                shape,
            };
            let form = match crate::contact::form_of(model.dimensions(), side) {
                crate::schema::FlankForm::Convex => "convex",
                crate::schema::FlankForm::Concave => "concave",
            };
            label(
                area,
                &format!("{} flank ({form})", side.word()),
                (MARGIN, top + 6.0),
                17.0,
            )?;
            flank(area, &frame, contact)?;
            let bottom = frame.top + scale * shape.height_mm();
            label(area, "toe", (14.0, 0.5 * (frame.top + bottom)), 14.0)?;
            let right = MARGIN + scale * shape.length_mm;
            label(
                area,
                "heel",
                (right + 8.0, 0.5 * (frame.top + bottom)),
                14.0,
            )?;
            label(area, &in_words(contact), (MARGIN, bottom + 8.0), 14.0)?;
            label(
                area,
                "upper edge: tip · lower edge: clearance line",
                (MARGIN + 230.0, top + 8.0),
                13.0,
            )?;
            top += heights[usize::from(side == Side::Coast)];
        }
        Ok(())
    })
}

/// The centre and size of a patch as a line of text.
fn in_words(contact: &FlankContact) -> String {
    let percent = |share: f64| (100.0 * share).round();
    contact.patch.map_or_else(
        || "no patch on the flank".to_owned(),
        |p| {
            format!(
                "centre {}% from the toe, {}% up · covers {}% × {}% · slant {:.0}°",
                percent(p.centre.length),
                percent(p.centre.height),
                percent(p.extent.length),
                percent(p.extent.height),
                p.lean.to_degrees() + 0.0,
            )
        },
    )
}

/// One frame of a filmstrip.
pub(crate) struct Frames<'a> {
    /// What stands above the frame.
    pub label: String,
    /// The state it shows.
    pub state: &'a State,
}

/// States side by side: drive above coast.
///
/// # Errors
/// The drawing failed.
pub(crate) fn filmstrip_svg(
    model: &Model,
    frames: &[Frames<'_>],
    title: &str,
) -> Result<String, PictureError> {
    const GAP: f64 = 18.0;
    const LEFT: f64 = 66.0;
    let count = frames.len().max(1) as f64;
    let shapes = Side::BOTH.map(|side| Shape::of(model, side));
    let longest = shapes[0].length_mm.max(shapes[1].length_mm);
    let each = (1500.0 / count).clamp(110.0, 260.0);
    let scale = each / longest;
    let width = LEFT + count * (each + GAP) + 10.0;
    let rows = shapes.map(|s| scale * s.height_mm() + 30.0);
    let height = 84.0 + rows[0] + rows[1];
    canvas::svg((width.ceil() as u32, height.ceil() as u32), |area| {
        label(area, title, (14.0, 12.0), 17.0)?;
        for (k, shown) in frames.iter().enumerate() {
            let left = LEFT + k as f64 * (each + GAP);
            label(area, &shown.label, (left, 44.0), 14.0)?;
            let mut top = 70.0;
            for (row, (side, shape)) in Side::BOTH.into_iter().zip(shapes).enumerate() {
                let frame = Frame {
                    left,
                    top,
                    scale,
                    shape,
                };
                if k == 0 {
                    let middle = top + 0.5 * scale * shape.height_mm() - 6.0;
                    label(area, side.word(), (14.0, middle), 14.0)?;
                }
                flank(area, &frame, shown.state.side(side))?;
                top += rows[row];
            }
        }
        label(
            area,
            "toe left, heel right, tip up",
            (LEFT, height - 22.0),
            12.0,
        )
    })
}

fn label(area: &Area<'_>, text: &str, at: (f64, f64), size: f64) -> Result<(), PictureError> {
    let style = (FONT, size).into_font().color(&INK);
    area.draw(&Text::new(
        text.to_owned(),
        (at.0 as i32, at.1 as i32),
        style,
    ))
    .map_err(PictureError::new)
}

/// Compound over the whole flank, shades of wiping, quarter lines, outline and the patch's centre.
fn flank(area: &Area<'_>, frame: &Frame, contact: &FlankContact) -> Result<(), PictureError> {
    let outline = frame.polygon(&[(0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0), (0.0, 0.0)]);
    let fill = |points: Vec<(i32, i32)>, colour: RGBColor| {
        area.draw(&Polygon::new(points, colour.filled()))
            .map_err(PictureError::new)
    };
    fill(outline.clone(), COMPOUND)?;
    for shade in 1..=SHADES {
        let share = shade as f64 / SHADES as f64;
        let colour = mix(COMPOUND, STEEL, share);
        for ring in wiped_rings(contact, share - 0.5 / SHADES as f64) {
            fill(frame.polygon(&ring), colour)?;
        }
    }
    let thin = INK.mix(0.25).stroke_width(1);
    let line = |points: Vec<(i32, i32)>, style: ShapeStyle| {
        area.draw(&PathElement::new(points, style))
            .map_err(PictureError::new)
    };
    for quarter in [0.25, 0.5, 0.75] {
        line(frame.polygon(&[(quarter, 0.0), (quarter, 1.0)]), thin)?;
        line(frame.polygon(&[(0.0, quarter), (1.0, quarter)]), thin)?;
    }
    line(outline, INK.stroke_width(2))?;
    if let Some(patch) = contact.patch {
        let (x, y) = frame.at(patch.centre);
        let bold = RGBColor(200, 30, 30).stroke_width(2);
        line(vec![(x - 6, y), (x + 6, y)], bold)?;
        line(vec![(x, y - 6), (x, y + 6)], bold)?;
    }
    Ok(())
}

/// The places wiped by more than `level`, as closed rings: the outermost such places of each row, from
/// the lowest row of a run to its highest.
fn wiped_rings(contact: &FlankContact, level: f64) -> Vec<Ring> {
    const ROWS: usize = 90;
    const COLUMNS: usize = 180;
    let share = |i: usize, n: usize| i as f64 / n as f64;
    let mut rings = Vec::new();
    let (mut left, mut right) = (Ring::new(), Ring::new());
    for j in 0..=ROWS + 1 {
        let height = share(j, ROWS);
        let wiped = |i: usize| contact.field.at(FlankPoint::new(share(i, COLUMNS), height));
        let ends = (j <= ROWS)
            .then(|| {
                let first = (0..=COLUMNS).find(|&i| wiped(i) > level)?;
                let last = (0..=COLUMNS).rfind(|&i| wiped(i) > level)?;
                // Between this place and the one outside it by straight interpolation.
                let edge = |inside: usize, outside: Option<usize>| {
                    let Some(outside) = outside.filter(|&o| o <= COLUMNS) else {
                        return share(inside, COLUMNS);
                    };
                    let (a, b) = (wiped(inside), wiped(outside));
                    let t = (a - level) / (a - b);
                    share(inside, COLUMNS) + t * (share(outside, COLUMNS) - share(inside, COLUMNS))
                };
                Some((
                    edge(first, first.checked_sub(1)),
                    edge(last, Some(last + 1)),
                ))
            })
            .flatten();
        match ends {
            Some((a, b)) => {
                left.push((a, height));
                right.push((b, height));
            }
            None if left.len() > 1 => {
                let mut ring = std::mem::take(&mut left);
                ring.extend(std::mem::take(&mut right).into_iter().rev());
                rings.push(ring);
            }
            None => {
                left.clear();
                right.clear();
            }
        }
    }
    rings
}

fn mix(a: RGBColor, b: RGBColor, share: f64) -> RGBColor {
    let channel = |a: u8, b: u8| (f64::from(a) + (f64::from(b) - f64::from(a)) * share) as u8;
    RGBColor(channel(a.0, b.0), channel(a.1, b.1), channel(a.2, b.2))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contact::Misalignment;
    use crate::gear::set::GearSet;
    use crate::held;
    use crate::schema::Cutting;

    /// Where the middle of the flank is bare and its corners are not, the picture says the same.
    #[test]
    fn a_picture_is_bare_in_the_patch_and_painted_in_the_corners() {
        let model = Model::new(&GearSet::example(Cutting::FaceMilled)).unwrap();
        let (ease_off, film) = model.defaults();
        let state = model.state(&Misalignment::default(), &ease_off, film);
        let svg = state_svg(&model, &state, "right place").unwrap();
        let bytes = crate::report::draw::raster::png(&svg, 1.0).unwrap();
        let picture = image::load_from_memory(&bytes).unwrap().to_rgb8();
        let scale = (900.0 - 112.0) / model.flank_size_mm(Side::Drive)[0];
        let frame = Frame {
            left: 56.0,
            top: 78.0,
            scale: scale.min((900.0 - 112.0) / model.flank_size_mm(Side::Coast)[0]),
            shape: Shape::of(&model, Side::Drive),
        };
        let near = |place: (f64, f64), colour: RGBColor| {
            let (x, y) = frame.at(FlankPoint::new(place.0, place.1));
            let p = picture.get_pixel(x as u32, y as u32).0;
            [colour.0, colour.1, colour.2]
                .iter()
                .zip(p)
                .all(|(&a, b)| a.abs_diff(b) < 25)
        };
        assert!(near((0.44, 0.56), STEEL));
        assert!(near((0.05, 0.1), COMPOUND) && near((0.95, 0.9), COMPOUND));
    }

    /// A taper-depth gear off its place: no two sizes of the picture are alike.
    #[test]
    fn held_pictures_of_one_state_and_of_many() {
        let model = Model::new(&GearSet::example(Cutting::FaceMilled)).unwrap();
        let (ease_off, film) = model.defaults();
        let stands = |pinion_mm| {
            let misalignment = Misalignment {
                pinion_mm,
                ring_mm: 0.05,
                ..Misalignment::default()
            };
            model.state(&misalignment, &ease_off, film)
        };
        let states = [-0.3, 0.0, 0.3].map(stands);
        held::hold(
            "state.svg",
            &state_svg(&model, &states[0], "pinion 0.3 mm near").unwrap(),
        );
        let frames: Vec<Frames> = (0..7)
            .map(|k| Frames {
                label: format!("step {k}"),
                state: &states[k % 3],
            })
            .collect();
        held::hold(
            "filmstrip.svg",
            &filmstrip_svg(&model, &frames, "the pinion on its way").unwrap(),
        );
    }
}
