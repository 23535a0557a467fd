//! Light, steel, compound: the colour of every pixel.

use super::camera::NEAREST_MM;
use super::depth::{DepthPicture, NOTHING};
use super::noise::{field, rough, share};
use super::shot::{Compound, Mistake, Shot};
use super::solid::{GearSolid, Part};
use super::view::View;
use crate::contact::FlankContact;
use crate::frames::{FlankPoint, Side};
use image::{Rgb, RgbImage};
use nalgebra::Vector3;
use rayon::prelude::*;

/// Samples each way within a pixel.
const FINE: usize = 2;
/// Cells of the shadow picture each way, and how far from the target it reaches, mm.
const SHADOW_CELLS: usize = 1100;
const SHADOW_MM: f64 = 75.0;
/// How far along the light a surface may lie before the picture's and still be lit, mm.
const SHADOW_SLACK_MM: f64 = 0.25;

/// Everything that a pixel's colour depends on.
pub(crate) struct Scene<'a> {
    solid: &'a GearSolid,
    view: &'a View,
    contacts: [&'a FlankContact; 2],
    shot: &'a Shot,
    seen: DepthPicture,
    shadow: DepthPicture,
    /// Unit vectors: to the lamp, and two square to it.
    lamp: [Vector3<f64>; 3],
    window: Vector3<f64>,
    compound: [f64; 3],
    thickness: f64,
    steel: f64,
    bench: [f64; 3],
    painted: i64,
}

impl<'a> Scene<'a> {
    pub(crate) fn new(
        solid: &'a GearSolid,
        view: &'a View,
        contacts: [&'a FlankContact; 2],
        shot: &'a Shot,
    ) -> Self {
        let random = |k: u64| share(shot.seed, 100 + k);
        let spread = |k: u64| 2.0 * random(k) - 1.0;
        let front = -Vector3::z();
        let to_eye = (view.camera.eye - view.target).normalize();
        let lamp = if shot.mistake == Some(Mistake::Glare) {
            // Where the flank mirrors it into the camera.
            view.normal * (2.0 * view.normal.dot(&to_eye)) - to_eye
        } else {
            front + view.normal * (0.35 + 0.5 * random(0)) + view.along * 0.7 * spread(1)
        }
        .normalize();
        let across = lamp.cross(&view.along).normalize();
        let window = (front * 0.8 - view.normal * 0.2 + view.along * spread(2)).normalize();
        let painted = match shot.mistake {
            Some(Mistake::OneTooth) => 0,
            _ => 3 + (3.0 * random(3)) as i64,
        };
        let kind = shot.compound.unwrap_or_else(|| Compound::usual(shot.seed));
        let thick = shot.mistake == Some(Mistake::TooThick);
        let bench = if random(5) < 0.5 {
            [0.20, 0.13, 0.08]
        } else {
            [0.13, 0.15, 0.17]
        };
        let mut scene = Self {
            solid,
            view,
            contacts,
            shot,
            seen: DepthPicture::new(shot.size.0 as usize * FINE, shot.size.1 as usize * FINE),
            shadow: DepthPicture::new(SHADOW_CELLS, SHADOW_CELLS),
            lamp: [lamp, across, lamp.cross(&across)],
            window,
            compound: kind.colour().map(|c| c * (0.85 + 0.3 * random(6))),
            thickness: if thick { 9.0 } else { 2.2 + 1.2 * random(7) },
            steel: 0.06 + 0.10 * random(8),
            bench,
            painted,
        };
        scene.draw();
        scene
    }

    fn draw(&mut self) {
        let fine = FINE as f64;
        for (id, t) in self.solid.triangles.iter().enumerate() {
            let corners = t.corners.map(|v| self.solid.vertices[v as usize].position);
            let lit = corners.map(|p| self.in_shadow_picture(&p));
            self.shadow.draw(id as u32, lit);
            let seen = corners.map(|p| self.view.camera.see(&p));
            if let [Some(a), Some(b), Some(c)] = seen {
                let cell = |([x, y], depth): ([f64; 2], f64)| [x * fine, y * fine, 1.0 / depth];
                self.seen.draw(id as u32, [cell(a), cell(b), cell(c)]);
            }
        }
    }

    fn in_shadow_picture(&self, point: &Vector3<f64>) -> [f64; 3] {
        let from = point - self.view.target;
        let [to_lamp, across, down] = self.lamp.map(|axis| axis.dot(&from));
        let cell = |mm: f64| (mm / SHADOW_MM + 1.0) * 0.5 * SHADOW_CELLS as f64;
        [cell(across), cell(down), to_lamp + 1000.0]
    }

    /// Width and height, pixels.
    pub(crate) fn size(&self) -> (f64, f64) {
        (f64::from(self.shot.size.0), f64::from(self.shot.size.1))
    }

    /// How far the gear is at a pixel, mm.
    pub(crate) fn depth_mm(&self, x: f64, y: f64) -> Option<f64> {
        let cell = |v: f64, n: usize| ((v * FINE as f64).max(0.0) as usize).min(n - 1);
        let k = cell(y, self.seen.height) * self.seen.width + cell(x, self.seen.width);
        (self.seen.triangle[k] != NOTHING).then(|| 1.0 / f64::from(self.seen.near[k]))
    }

    /// The photo.
    pub(crate) fn picture(&self) -> RgbImage {
        let (width, height) = (self.shot.size.0 as usize, self.shot.size.1 as usize);
        let mut light: Vec<[f32; 3]> = vec![[0.0; 3]; width * height];
        light
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(row, line)| {
                for (column, pixel) in line.iter_mut().enumerate() {
                    *pixel = self.pixel(column, row).map(|light| light as f32);
                }
            });
        if self.shot.mistake == Some(Mistake::Blurred) {
            light = blurred(&light, width, height, width.max(height) / 50);
        }
        self.developed(&light, width, height)
    }

    /// The light of a pixel: that of its samples, or where all of these lie on one face that of its middle, for a quarter
    /// of the work.
    fn pixel(&self, column: usize, row: usize) -> [f64; 3] {
        let samples = (0..FINE * FINE).map(|k| {
            let (x, y) = (column * FINE + k % FINE, row * FINE + k / FINE);
            (x, y, self.seen.triangle[y * self.seen.width + x])
        });
        let face = |id: u32| {
            let triangle = (id != NOTHING).then(|| &self.solid.triangles[id as usize]);
            triangle.map(|triangle| (triangle.part, triangle.tooth))
        };
        let at = |cell: usize| (cell as f64 + 0.5) / FINE as f64;
        let first = self.seen.triangle[row * FINE * self.seen.width + column * FINE];
        if samples.clone().all(|(.., id)| face(id) == face(first)) {
            return self.colour(column as f64 + 0.5, row as f64 + 0.5, first);
        }
        let mut sum = [0.0; 3];
        for (x, y, id) in samples {
            for (s, c) in sum.iter_mut().zip(self.colour(at(x), at(y), id)) {
                *s += c / (FINE * FINE) as f64;
            }
        }
        sum
    }

    /// Exposed for the gear, with the sensor's noise.
    fn developed(&self, light: &[[f32; 3]], width: usize, height: usize) -> RgbImage {
        let mut on_gear: Vec<f32> = (0..width * height)
            .step_by(7)
            .filter(|k| {
                let (x, y) = (k % width * FINE, k / width * FINE);
                self.seen.triangle[y * self.seen.width + x] != NOTHING
            })
            .map(|k| light[k].iter().sum::<f32>() / 3.0)
            .collect();
        on_gear.sort_by(f32::total_cmp);
        let bright = on_gear.get(on_gear.len() * 9 / 10).copied().unwrap_or(1.0);
        let aim = match self.shot.mistake {
            Some(Mistake::TooDark) => 0.004,
            Some(Mistake::Glare) => 1.6,
            _ => 0.52 + 0.12 * share(self.shot.seed, 120),
        };
        let gain = aim / f64::from(bright.max(1e-4));
        let mut picture = RgbImage::new(width as u32, height as u32);
        for (k, (pixel, light)) in picture.pixels_mut().zip(light).enumerate() {
            let mut channel = 0;
            *pixel = Rgb(light.map(|c| {
                channel += 1;
                // Three numbers added are near enough a bell.
                let grain: f64 = (0..3u64)
                    .map(|n| share(self.shot.seed ^ 77, k as u64 * 9 + channel * 3 + n) - 0.5)
                    .sum();
                (255.0 * encoded(gain * f64::from(c)) + 3.0 * grain).clamp(0.0, 255.0) as u8
            }));
        }
        picture
    }

    /// The light from a place of the picture where a triangle is seen.
    fn colour(&self, x: f64, y: f64, id: u32) -> [f64; 3] {
        let ray = self.view.camera.ray(x, y);
        if id == NOTHING {
            return self.bench_colour(&ray);
        }
        let triangle = &self.solid.triangles[id as usize];
        let [a, b, c] = triangle.corners.map(|v| &self.solid.vertices[v as usize]);
        let [wa, wb, wc] = weights(
            &self.view.camera.eye,
            &ray,
            [&a.position, &b.position, &c.position],
        );
        let position = a.position * wa + b.position * wb + c.position * wc;
        let mut normal = (a.normal * wa + b.normal * wb + c.normal * wc).normalize();
        if normal.dot(&ray) > 0.0 {
            normal = -normal;
        }
        let place = FlankPoint::new(
            a.place.length * wa + b.place.length * wb + c.place.length * wc,
            a.place.height * wa + b.place.height * wb + c.place.height * wc,
        );
        let surface = self.surface(triangle.part, triangle.tooth, place, &position);
        let open = match triangle.part {
            Part::Flank(_) => 0.35 + 0.65 * place.height.clamp(0.0, 1.0).sqrt(),
            Part::RootLand => 0.35,
            Part::TopLand | Part::Body => 1.0,
        };
        self.lit(&position, &normal, &ray.normalize(), &surface, open)
    }

    /// What a place is made of: reflectance, mirror share, roughness.
    fn surface(&self, part: Part, tooth: u32, at: FlankPoint, position: &Vector3<f64>) -> Surface {
        let seed = self.shot.seed;
        let grain = rough(seed ^ 5, position.x * 2.3 + position.z, position.y * 2.3);
        let steel = Surface {
            colour: [1.0, 0.99, 0.96].map(|c| c * self.steel * (1.0 + 0.25 * grain)),
            mirror: 0.24,
            rough: 0.42 + 0.08 * grain,
        };
        let paint = Surface {
            colour: self.compound,
            mirror: 0.035,
            rough: 0.5,
        };
        let from_middle = {
            let t = i64::from(tooth);
            let all = i64::from(self.solid.teeth);
            (t + all / 2).rem_euclid(all) - all / 2
        };
        if from_middle.abs() > self.painted {
            return steel;
        }
        let tooth_seed = seed ^ u64::from(tooth).wrapping_mul(0x51_7cc1);
        let cover = match part {
            Part::Flank(side) => self.film(side, tooth_seed, at),
            Part::TopLand => 0.35 + 0.4 * rough(tooth_seed ^ 9, 7.0 * at.length, 2.0),
            Part::RootLand => 0.55 + 0.3 * rough(tooth_seed ^ 8, 9.0 * at.length, 1.0),
            Part::Body => 0.0,
        };
        steel.mixed(&paint, cover.clamp(0.0, 1.0))
    }

    /// Share of a flank's place that compound hides.
    fn film(&self, side: Side, seed: u64, at: FlankPoint) -> f64 {
        let seed = seed ^ (side as u64 + 1).wrapping_mul(0x9_7531);
        // Brush strokes run along the tooth.
        let stroke = rough(seed ^ 1, 2.5 * at.length, 16.0 * at.height);
        let fleck = rough(seed ^ 2, 60.0 * at.length, 18.0 * at.height);
        let thickness = self.thickness * (1.0 + 0.45 * stroke + 0.2 * fleck).max(0.12);
        let hides = 1.0 - (-thickness).exp();
        let contact = self.contacts[side as usize];
        if self.shot.mistake == Some(Mistake::NotRolled) || at.height < 0.0 {
            return hides;
        }
        // The edge frays both ways alike, so that the patch's middle stays where the model has it.
        let fray = 0.22 * rough(seed ^ 3, 45.0 * at.length, 12.0 * at.height);
        let wiped = contact.field.at(at) + fray * (contact.field.at(at) > 0.0) as u8 as f64;
        let t = ((wiped - 0.5) / 0.5 + 0.5).clamp(0.0, 1.0);
        let bare = t * t * (3.0 - 2.0 * t);
        // Sliding draws thin lines of compound down the profile.
        let lines = rough(seed ^ 4, 55.0 * at.length, 2.2 * at.height);
        let left = if self.shot.mistake == Some(Mistake::TooThick) {
            0.93 + 0.05 * lines
        } else {
            (0.07 + 0.10 * lines).max(0.0)
        };
        hides * (1.0 - bare) + hides * left * bare
    }

    fn bench_colour(&self, ray: &Vector3<f64>) -> [f64; 3] {
        let eye = &self.view.camera.eye;
        let t = (self.solid.back_mm - eye.z) / ray.z;
        if ray.z < 1e-6 || t < NEAREST_MM {
            return [0.09, 0.10, 0.11];
        }
        let at = eye + ray * t;
        let grain = 1.0 + 0.25 * field(self.shot.seed ^ 6, at.x / 3.0, at.y / 40.0);
        let surface = Surface {
            colour: self.bench.map(|c| c * grain),
            mirror: 0.03,
            rough: 0.7,
        };
        self.lit(&at, &-Vector3::z(), &ray.normalize(), &surface, 0.8)
    }

    fn lit(
        &self,
        position: &Vector3<f64>,
        normal: &Vector3<f64>,
        ray: &Vector3<f64>,
        surface: &Surface,
        open: f64,
    ) -> [f64; 3] {
        let lamp = self.lamp[0];
        let flash = if self.shot.mistake == Some(Mistake::Glare) {
            3.0
        } else {
            1.0
        };
        let lights = [
            (
                lamp,
                [1.9 * flash, 1.8 * flash, 1.6 * flash],
                self.lamp_reaches(position),
            ),
            (self.window, [0.35, 0.40, 0.48], 1.0),
        ];
        let mut colour = [0.0; 3];
        for (to, strength, reaches) in lights {
            let facing = normal.dot(&to).max(0.0);
            if facing == 0.0 || reaches == 0.0 {
                continue;
            }
            let glint = surface.glint(normal, &to, &-ray);
            for k in 0..3 {
                colour[k] += strength[k] * reaches * facing * (surface.colour[k] + glint);
            }
        }
        // The room, brighter above, seen plainly and in the mirror.
        let room = |d: &Vector3<f64>| 0.25 + 0.30 * (0.5 - 0.5 * d.z);
        let mirrored = ray - normal * (2.0 * normal.dot(ray));
        let (plain, mirror) = (room(normal), room(&mirrored) * (1.0 - 0.5 * surface.rough));
        for (c, own) in colour.iter_mut().zip(surface.colour) {
            *c += open * (own * plain + surface.mirror * mirror);
        }
        colour
    }

    /// Share of the lamp that a place sees.
    fn lamp_reaches(&self, position: &Vector3<f64>) -> f64 {
        let [x, y, near] = self.in_shadow_picture(position);
        let mut sum = 0.0;
        for k in 0..16 {
            let (dx, dy) = (f64::from(k % 4) * 2.2 - 3.3, f64::from(k / 4) * 2.2 - 3.3);
            let (x, y) = (x + dx, y + dy);
            let inside = x >= 0.0 && y >= 0.0 && x < SHADOW_CELLS as f64 && y < SHADOW_CELLS as f64;
            let nearest = if inside {
                f64::from(self.shadow.near[y as usize * SHADOW_CELLS + x as usize])
            } else {
                0.0
            };
            sum += f64::from(u8::from(nearest < near + SHADOW_SLACK_MM));
        }
        sum / 16.0
    }
}

/// What a place is made of.
#[derive(Debug, Clone, Copy)]
struct Surface {
    colour: [f64; 3],
    mirror: f64,
    rough: f64,
}

impl Surface {
    fn mixed(&self, over: &Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * share;
        Self {
            colour: [0, 1, 2].map(|k| mix(self.colour[k], over.colour[k])),
            mirror: mix(self.mirror, over.mirror),
            rough: mix(self.rough, over.rough),
        }
    }

    /// Mirrored light of a lamp by the distribution of Trowbridge and Reitz (1975) and Schlick's
    /// Fresnel (1994), both from memory; shadowing of the microfacets left out.
    fn glint(&self, normal: &Vector3<f64>, to_lamp: &Vector3<f64>, to_eye: &Vector3<f64>) -> f64 {
        let half = (to_lamp + to_eye).normalize();
        let a = (self.rough * self.rough).powi(2);
        let cos = normal.dot(&half).max(0.0);
        let spread = cos * cos * (a - 1.0) + 1.0;
        let fresnel =
            self.mirror + (1.0 - self.mirror) * (1.0 - to_eye.dot(&half).max(0.0)).powi(5);
        0.25 * fresnel * a / (spread * spread)
    }
}

/// Weights of a triangle's corners where a ray meets its plane.
fn weights(eye: &Vector3<f64>, ray: &Vector3<f64>, [a, b, c]: [&Vector3<f64>; 3]) -> [f64; 3] {
    let (ab, ac) = (b - a, c - a);
    let p = ray.cross(&ac);
    let determinant = ab.dot(&p);
    if determinant.abs() < 1e-14 {
        return [1.0, 0.0, 0.0];
    }
    let from = eye - a;
    let wb = from.dot(&p) / determinant;
    let wc = ray.dot(&from.cross(&ab)) / determinant;
    [1.0 - wb - wc, wb, wc]
}

/// sRGB's curve (IEC 61966-2-1).
fn encoded(linear: f64) -> f64 {
    let c = linear.clamp(0.0, 1.0);
    if c <= 0.003_130_8 {
        12.92 * c
    } else {
        1.055 * c.powf(1.0 / 2.4) - 0.055
    }
}

/// Three box blurs: near enough a lens out of focus.
fn blurred(light: &[[f32; 3]], width: usize, height: usize, radius: usize) -> Vec<[f32; 3]> {
    let mut now = light.to_vec();
    for pass in 0..4 {
        let (count, length, step, stride) = if pass % 2 == 0 {
            (height, width, 1, width)
        } else {
            (width, height, width, 1)
        };
        let mut next = now.clone();
        for line in 0..count {
            for i in 0..length {
                let (low, high) = (i.saturating_sub(radius), (i + radius).min(length - 1));
                let mut sum = [0.0; 3];
                for j in low..=high {
                    for (s, c) in sum.iter_mut().zip(now[line * stride + j * step]) {
                        *s += c;
                    }
                }
                next[line * stride + i * step] = sum.map(|s| s / (high - low + 1) as f32);
            }
        }
        now = next;
    }
    now
}
