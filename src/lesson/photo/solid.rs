//! The whole ring gear as triangles: the model's flanks, with lands, ends and a plain body.

use crate::contact::{ContactError, Model, form_of};
use crate::frames::{FlankPoint, Side};
use crate::gear::flank::{FlankGrid, Surface};
use crate::gear::tooth_flanks::{ToothFlank, flank_turn, tooth_flanks};
use crate::schema::Hand;
use nalgebra::{Rotation3, Vector3};
use std::f64::consts::TAU;

/// Columns and rows of a flank.
const COLUMNS: usize = 49;
const ROWS: usize = 17;

/// What a triangle is part of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    /// A flank of a side.
    Flank(Side),
    /// The top of a tooth.
    TopLand,
    /// The bottom of a slot.
    RootLand,
    /// The end of a tooth, or the body.
    Body,
}

/// A corner of a triangle.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Vertex {
    /// mm; +z from the pitch apex to the gear's back.
    pub position: Vector3<f64>,
    /// Unit normal out of the material.
    pub normal: Vector3<f64>,
    /// Place on the flank or land; height below 0 is under the clearance line.
    pub place: FlankPoint,
}

/// A triangle.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Triangle {
    pub corners: [u32; 3],
    pub part: Part,
    pub tooth: u32,
}

/// The ring gear.
pub(crate) struct GearSolid {
    pub vertices: Vec<Vertex>,
    pub triangles: Vec<Triangle>,
    /// z of the gear's back, mm.
    pub back_mm: f64,
    /// Each side's flank of tooth 0: a row-by-row grid from the clearance line to the tip.
    grids: [FlankGrid; 2],
    hand: Hand,
    /// Angles by which the two forms' grids stand off the middle of tooth 0, drive and coast.
    turns: [f64; 2],
    /// Angle from tooth to tooth.
    pub pitch: f64,
    /// Teeth of the gear.
    pub teeth: u32,
}

impl GearSolid {
    pub(crate) fn new(model: &Model) -> Result<Self, ContactError> {
        let (d, pair) = (model.dimensions(), model.pair());
        let turns = Side::BOTH.map(|side| flank_turn(d, pair, form_of(d, side)));
        let active = |side| {
            let surface = Surface::new(d, pair, form_of(d, side));
            FlankGrid::new(d, pair, &surface, COLUMNS, ROWS)
        };
        let grids = [active(Side::Drive)?, active(Side::Coast)?];
        let mut gear = Self {
            vertices: Vec::new(),
            triangles: Vec::new(),
            back_mm: 0.0,
            grids,
            hand: d.hand,
            turns,
            pitch: TAU / f64::from(d.ring_teeth),
            teeth: d.ring_teeth,
        };
        let side_of = |form| {
            Side::BOTH
                .into_iter()
                .find(|side| form_of(d, *side) == form)
                .unwrap_or(Side::Drive)
        };
        let flanks = tooth_flanks(d, pair, COLUMNS, ROWS)?.map(|f| (side_of(f.form), f));
        for tooth in 0..d.ring_teeth {
            gear.add_tooth(&flanks, tooth);
        }
        gear.add_body(d.ring_teeth);
        if d.hand == Hand::Left {
            for v in &mut gear.vertices {
                v.position.y = -v.position.y;
                v.normal.y = -v.normal.y;
            }
        }
        Ok(gear)
    }

    fn add_tooth(&mut self, flanks: &[(Side, ToothFlank); 2], tooth: u32) {
        let base = self.vertices.len() as u32;
        for (_, flank) in flanks {
            let angle = flank.turn + self.pitch * f64::from(tooth);
            let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), angle);
            for (k, p) in flank.grid.points.iter().enumerate() {
                let (i, j) = (k % COLUMNS, k / COLUMNS);
                self.vertices.push(Vertex {
                    position: turn * p.position,
                    normal: turn * p.normal,
                    place: FlankPoint::new(
                        i as f64 / (COLUMNS - 1) as f64,
                        flank.lowest + (1.0 - flank.lowest) * j as f64 / (ROWS - 1) as f64,
                    ),
                });
            }
        }
        let at = |flank: u32, i: usize, j: usize| {
            base + flank * (COLUMNS * ROWS) as u32 + (j * COLUMNS + i) as u32
        };
        for (flank, (side, ..)) in flanks.iter().enumerate() {
            for j in 0..ROWS - 1 {
                for i in 0..COLUMNS - 1 {
                    let f = flank as u32;
                    let quad = [
                        at(f, i, j),
                        at(f, i + 1, j),
                        at(f, i + 1, j + 1),
                        at(f, i, j + 1),
                    ];
                    self.quad(quad, Part::Flank(*side), tooth);
                }
            }
        }
        for i in 0..COLUMNS - 1 {
            let top = ROWS - 1;
            let quad = [
                at(0, i, top),
                at(0, i + 1, top),
                at(1, i + 1, top),
                at(1, i, top),
            ];
            self.flat_quad(quad, Part::TopLand, tooth);
        }
        for end in [0, COLUMNS - 1] {
            for j in 0..ROWS - 1 {
                let quad = [
                    at(0, end, j),
                    at(1, end, j),
                    at(1, end, j + 1),
                    at(0, end, j + 1),
                ];
                self.flat_quad(quad, Part::Body, tooth);
            }
        }
    }

    /// Slots' bottoms between neighbouring teeth, the shelf inside, the rim outside.
    fn add_body(&mut self, teeth: u32) {
        let per_tooth = 2 * (COLUMNS * ROWS) as u32;
        let stride = self.vertices.len() as u32 / teeth;
        let at = |tooth: u32, flank: u32, i: usize| {
            (tooth % teeth) * stride + flank * per_tooth / 2 + i as u32
        };
        let radius = |v: &Vertex| v.position.xy().norm();
        let (toe, heel) = (
            self.vertices[at(0, 0, 0) as usize],
            self.vertices[at(0, 0, COLUMNS - 1) as usize],
        );
        let (inner, outer) = (radius(&toe), radius(&heel));
        self.back_mm = heel.position.z.max(toe.position.z) + 0.09 * outer;
        let (bore, back) = (0.80 * inner, self.back_mm);
        for tooth in 0..teeth {
            for i in 0..COLUMNS - 1 {
                let next = tooth + 1;
                let quad = [
                    at(tooth, 1, i),
                    at(tooth, 1, i + 1),
                    at(next, 0, i + 1),
                    at(next, 0, i),
                ];
                self.flat_quad(quad, Part::RootLand, tooth);
            }
            for (from, to) in [((tooth, 0), (tooth, 1)), ((tooth, 1), (tooth + 1, 0))] {
                let inside = [at(from.0, from.1, 0), at(to.0, to.1, 0)]
                    .map(|v| self.vertices[v as usize].position);
                let outside = [at(from.0, from.1, COLUMNS - 1), at(to.0, to.1, COLUMNS - 1)]
                    .map(|v| self.vertices[v as usize].position);
                let on = |p: &Vector3<f64>, r: f64, z: f64| {
                    let flat = p.xy() * (r / p.xy().norm());
                    Vector3::new(flat.x, flat.y, z)
                };
                let [a, b] = inside;
                let shelf = [
                    on(&a, 0.97 * inner, a.z + 3.0),
                    on(&b, 0.97 * inner, b.z + 3.0),
                ];
                let hub = [on(&a, bore, a.z + 3.0), on(&b, bore, b.z + 3.0)];
                let hole = [on(&a, bore, back), on(&b, bore, back)];
                let [c, e] = outside;
                let rim = [
                    on(&c, 1.015 * outer, c.z + 4.0),
                    on(&e, 1.015 * outer, e.z + 4.0),
                ];
                let foot = [on(&c, 1.0 * outer, back), on(&e, 1.0 * outer, back)];
                for ring in [
                    [a, b, shelf[1], shelf[0]],
                    [shelf[0], shelf[1], hub[1], hub[0]],
                    [hub[0], hub[1], hole[1], hole[0]],
                    [c, e, rim[1], rim[0]],
                    [rim[0], rim[1], foot[1], foot[0]],
                ] {
                    self.add_flat(ring, tooth);
                }
            }
        }
    }

    fn quad(&mut self, [a, b, c, d]: [u32; 4], part: Part, tooth: u32) {
        for corners in [[a, b, c], [a, c, d]] {
            self.triangles.push(Triangle {
                corners,
                part,
                tooth,
            });
        }
    }

    /// A quad with a normal of its own: the corners are copied.
    fn flat_quad(&mut self, corners: [u32; 4], part: Part, tooth: u32) {
        let old = corners.map(|v| self.vertices[v as usize]);
        let normal = flat_normal(&old.map(|v| v.position));
        let first = self.vertices.len() as u32;
        self.vertices.extend(old.map(|v| Vertex { normal, ..v }));
        self.quad([first, first + 1, first + 2, first + 3], part, tooth);
    }

    fn add_flat(&mut self, corners: [Vector3<f64>; 4], tooth: u32) {
        let normal = flat_normal(&corners);
        let first = self.vertices.len() as u32;
        self.vertices.extend(corners.map(|position| Vertex {
            position,
            normal,
            place: FlankPoint::new(0.5, 0.0),
        }));
        self.quad([first, first + 1, first + 2, first + 3], Part::Body, tooth);
    }

    /// A point of the active flank of a tooth, with its normal; between grid points by bilinear
    /// interpolation.
    pub(crate) fn flank_point(&self, side: Side, tooth: u32, at: FlankPoint) -> [Vector3<f64>; 2] {
        let grid = &self.grids[side as usize];
        let cell = |share: f64, n: usize| {
            let x = share.clamp(0.0, 1.0) * (n - 1) as f64;
            let i = (x as usize).min(n - 2);
            (i, x - i as f64)
        };
        let ((i, s), (j, t)) = (cell(at.length, COLUMNS), cell(at.height, ROWS));
        let angle = self.turns[side as usize] + self.pitch * f64::from(tooth);
        let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), angle);
        let mix = |of: &dyn Fn(usize, usize) -> Vector3<f64>| {
            let low = of(i, j).lerp(&of(i + 1, j), s);
            let high = of(i, j + 1).lerp(&of(i + 1, j + 1), s);
            let mut p = turn * low.lerp(&high, t);
            if self.hand == Hand::Left {
                p.y = -p.y;
            }
            p
        };
        [
            mix(&|i, j| grid.point(i, j).position),
            mix(&|i, j| grid.point(i, j).normal).normalize(),
        ]
    }
}

/// Normal of a flat piece, on the side away from the gear's back.
fn flat_normal(corners: &[Vector3<f64>; 4]) -> Vector3<f64> {
    let [a, b, c, d] = corners;
    let normal = (c - a).cross(&(d - b));
    let length = normal.norm();
    if length > 1e-12 {
        normal / length
    } else {
        -Vector3::z()
    }
}
