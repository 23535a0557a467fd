//! Hidden gear sets: each with its card, and with what the card does not know. They are not drawn as the advice assumes: their
//! flanks have third-order ease-off and a best place of their own, compound is wiped by another law, and they spread once
//! to twice as wide as usual, where the priors of the advice are 1 to 1.7 times as wide.

use flankread::{
    Card, EaseOff, FlankContact, FlankPoint, FlankReading, Misalignment, Model, Trial,
};

/// Reading noise of a centre, one standard deviation.
pub const NOISE_LENGTH: f64 = 0.015;
pub const NOISE_HEIGHT: f64 = 0.022;
/// Noise of the mean backlash, one standard deviation.
pub const NOISE_BACKLASH_MM: f64 = 0.005;

/// Half the width that holds nine in ten of a normal distribution, in standard deviations.
const HALF_WIDTH_90: f64 = 1.6449;

/// Least play that a set is rolled with.
const LEAST_PLAY_MM: f64 = 0.03;

/// Packs of the first assembly, millimetres: pinion, ring side, far side.
const FIRST_PACKS_MM: [f64; 3] = [40.0 * THOU_MM, 80.0 * THOU_MM, 90.0 * THOU_MM];

pub const THOU_MM: f64 = 0.0254;

/// Numbers that are the same every time, by a 64-bit multiply-and-mix of a counter.
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0xd134_2543_de82_ef95).wrapping_add(1))
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut x = self.0;
        x = (x ^ (x >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        x = (x ^ (x >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        x ^= x >> 31;
        low + (high - low) * ((x >> 11) as f64 / (1_u64 << 53) as f64)
    }

    pub fn whole(&mut self, low: u32, high: u32) -> u32 {
        (self.between(f64::from(low), f64::from(high) + 1.0) as u32).min(high)
    }

    /// A standard normal, as the sum of twelve uniforms less six.
    pub fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.between(0.0, 1.0)).sum::<f64>() - 6.0
    }
}

/// How the hidden sets are drawn.
#[derive(Clone, Copy)]
pub struct Drawn {
    /// Everything the card does not know so many times as wide as usual.
    pub width: f64,
    /// Starting places so many times as far off.
    pub start: f64,
    /// The maker's best place off the middle of both flanks: length, height.
    pub off_middle: [f64; 2],
    /// Error of the housing that no shim cures: offset in millimetres, shaft angle in degrees.
    pub housing: [f64; 2],
    /// Pressure angle of the pinion beside the ring gear's, degrees: parts that do not belong together.
    pub mismatch_deg: f64,
}

pub const USUAL: Drawn = Drawn {
    width: 1.0,
    start: 1.0,
    off_middle: [0.0, 0.0],
    housing: [0.0, 0.0],
    mismatch_deg: 0.0,
};

/// A gear set as it really is.
pub struct Hidden {
    pub card: Card,
    model: Model,
    ease_off: [EaseOff; 2],
    film_mm: f64,
    offset_mm: f64,
    shaft_angle: f64,
    right_backlash_mm: f64,
    /// Backlash shown per backlash along the circle, for a dial square to the tooth and one along.
    square: f64,
    /// Pinion and ring gear at the first assembly, millimetres from the right place.
    pub start_mm: [f64; 2],
}

/// What an assembly really shows.
#[derive(Clone)]
pub struct Truth {
    pub centres: [FlankPoint; 2],
    pub extents: [FlankPoint; 2],
    pub backlash_mm: f64,
}

/// The packs of an assembly, millimetres.
#[derive(Clone, Copy)]
pub struct Packs {
    pub pinion_mm: f64,
    pub ring_side_mm: f64,
    pub far_side_mm: f64,
}

impl Packs {
    pub const fn first() -> Self {
        let [pinion_mm, ring_side_mm, far_side_mm] = FIRST_PACKS_MM;
        Self {
            pinion_mm,
            ring_side_mm,
            far_side_mm,
        }
    }
}

fn card_of(chance: &mut Chance, seed: u64, cutting: &str) -> Card {
    let diameter_mm = chance.between(165.0, 280.0);
    let (pinion, ring) = (chance.whole(8, 13), chance.whole(34, 45));
    let text = format!(
        r#"
name = "drawn {seed}"
[gear]
ring_teeth = {ring}
pinion_teeth = {pinion}
ring_diameter = "{diameter_mm}mm"
face_width = "{}mm"
offset = "{}mm"
spiral_angle_deg = {}
cutting = "{cutting}"
[limits]
backlash = ["0.006in", "0.010in"]
[pinion]
shim_place = "behind head bearing"
[carrier]
backlash_direction = "tangential"
[kit]
pinion_shims = ["0.001in"]
side_shims = ["0.001in"]
"#,
        0.15 * diameter_mm,
        chance.between(0.12, 0.20) * diameter_mm,
        chance.between(28.0, 34.0),
    );
    Card::from_toml(&text).expect("the drawn card is a card")
}

impl Hidden {
    /// Draws a set; `None` for one that cannot mesh or whose patch has left the flank.
    pub fn draw(seed: u64, cutting: &str, drawn: &Drawn) -> Option<Self> {
        let mut chance = Chance::new(seed);
        let card = card_of(&mut chance, seed, cutting);
        card.model().ok()?;
        let wide = drawn.width;
        let mut real = card.clone();
        real.gear.spiral_angle_deg += 0.5 * wide * chance.normal();
        real.gear.pressure_angle_deg += 0.5 * wide * chance.normal();
        let model = real.model().ok()?;
        let (mut ease_off, mut film_mm) = model.defaults();
        for flank in &mut ease_off {
            flank.length_mm *= (0.35 * wide * chance.normal()).clamp(-1.2, 1.2).exp();
            flank.height_mm *= (0.35 * wide * chance.normal()).clamp(-1.2, 1.2).exp();
            flank.bias_mm += 0.008 * wide * chance.normal();
            flank.third_length_mm = 0.15 * flank.length_mm * chance.normal();
            flank.third_height_mm = 0.15 * flank.height_mm * chance.normal();
            let [length, height] = drawn.off_middle;
            let sign = |chance: &mut Chance| {
                if chance.between(0.0, 1.0) < 0.5 {
                    -1.0
                } else {
                    1.0
                }
            };
            flank.centre.length += sign(&mut chance) * length + 0.03 * wide * chance.normal();
            flank.centre.height += sign(&mut chance) * height + 0.02 * wide * chance.normal();
            // Half the flank's height times the angle is what the tip gains.
            let tilt_mm = 4.0 * drawn.mismatch_deg.to_radians();
            flank.centre.height -= tilt_mm / (4.0 * flank.height_mm);
        }
        film_mm *= (0.3 * wide * chance.normal()).clamp(-0.8, 0.8).exp();
        let [low, high] = card.backlash_window_mm();
        let fault = if chance.between(0.0, 1.0) < 0.5 {
            -1.0
        } else {
            1.0
        };
        let mut hidden = Self {
            square: model.square_radius_mm() / (0.5 * card.gear.ring_diameter_mm),
            model,
            ease_off,
            film_mm,
            offset_mm: fault * drawn.housing[0] + 0.02 * wide * chance.normal(),
            shaft_angle: fault * drawn.housing[1].to_radians() + 0.0002 * wide * chance.normal(),
            right_backlash_mm: 0.5 * (low + high) + 0.015 * wide * chance.normal(),
            start_mm: [
                drawn.start * chance.between(-0.35, 0.35),
                drawn.start * chance.between(-0.12, 0.20),
            ],
            card,
        };
        // Gears without play cannot be rolled: a workshop backs the ring gear off before it paints.
        while hidden.truth(Packs::first(), false)?.backlash_mm < LEAST_PLAY_MM {
            hidden.start_mm[1] += THOU_MM;
        }
        Some(hidden)
    }

    /// What an assembly with these packs really shows, backlash by a dial along the circle or `square` to the tooth. The
    /// pinion's shims sit behind the head bearing.
    pub fn truth(&self, packs: Packs, square: bool) -> Option<Truth> {
        let first = Packs::first();
        let mut misalignment = Misalignment::default();
        misalignment.pinion_mm = self.start_mm[0] - (packs.pinion_mm - first.pinion_mm);
        misalignment.ring_mm = self.start_mm[1] + 0.5 * (packs.far_side_mm - first.far_side_mm)
            - 0.5 * (packs.ring_side_mm - first.ring_side_mm);
        misalignment.offset_mm = self.offset_mm;
        misalignment.shaft_angle = self.shaft_angle;
        let state = self
            .model
            .state(&misalignment, &self.ease_off, self.film_mm);
        let (drive, coast) = (self.wiped(&state.drive)?, self.wiped(&state.coast)?);
        let ratio = if square { self.square } else { 1.0 };
        Some(Truth {
            centres: [drive.0, coast.0],
            extents: [drive.1, coast.1],
            // Teeth cannot overlap: where there would be less than no play they jam.
            backlash_mm: (ratio * (self.right_backlash_mm + state.backlash_change_mm)).max(0.0),
        })
    }

    /// Centre and extent of what is wiped: the thinner the gap the barer, in proportion, where the library has a soft edge
    /// at the film.
    fn wiped(&self, flank: &FlankContact) -> Option<(FlankPoint, FlankPoint)> {
        let (nu, nv) = (flank.field.nu, flank.field.nv);
        let (mut sum, mut length, mut height) = (0.0, 0.0, 0.0);
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for (k, clearance_mm) in flank.clearance_mm.iter().enumerate() {
            let bare = (1.2 - clearance_mm / self.film_mm).clamp(0.0, 1.0);
            let at = [
                (k % nu) as f64 / (nu - 1) as f64,
                (k / nu) as f64 / (nv - 1) as f64,
            ];
            sum += bare;
            length += bare * at[0];
            height += bare * at[1];
            if bare > 0.2 {
                for i in [0, 1] {
                    low[i] = low[i].min(at[i]);
                    high[i] = high[i].max(at[i]);
                }
            }
        }
        (sum > 0.002 * (nu * nv) as f64 && low[0].is_finite()).then(|| {
            (
                FlankPoint::new(length / sum, height / sum),
                FlankPoint::new(high[0] - low[0], high[1] - low[1]),
            )
        })
    }

    /// Both centres within tolerance and the backlash in its window, as a right dial has it.
    pub fn is_right(&self, truth: &Truth) -> bool {
        let target = &self.card.target;
        let [low, high] = self.card.backlash_window_mm();
        (low..=high).contains(&truth.backlash_mm)
            && truth
                .centres
                .iter()
                .zip([target.drive, target.coast])
                .all(|(c, t)| {
                    (c.length - t.length).abs() <= target.tolerance.length
                        && (c.height - t.height).abs() <= target.tolerance.height
                })
    }
}

/// One assembly as the workshop reads and writes it down.
pub fn read(truth: &Truth, packs: Packs, chance: &mut Chance) -> Trial {
    let mut flank = |i: usize| {
        let mut near = |p: FlankPoint, times: f64| {
            FlankPoint::new(
                (p.length + times * NOISE_LENGTH * chance.normal()).clamp(0.0, 1.0),
                (p.height + times * NOISE_HEIGHT * chance.normal()).clamp(0.0, 1.0),
            )
        };
        let mut reading = FlankReading::at(near(truth.centres[i], 1.0));
        reading.extent = Some(near(truth.extents[i], 2.0));
        reading.uncertainty = Some(FlankPoint::new(
            HALF_WIDTH_90 * NOISE_LENGTH,
            HALF_WIDTH_90 * NOISE_HEIGHT,
        ));
        Some(reading)
    };
    let (drive, coast) = (flank(0), flank(1));
    let mut trial = Trial::default();
    trial.pinion_shim_mm = Some(packs.pinion_mm);
    trial.ring_side_shim_mm = Some(packs.ring_side_mm);
    trial.far_side_shim_mm = Some(packs.far_side_mm);
    trial.backlash_mm = vec![(truth.backlash_mm + NOISE_BACKLASH_MM * chance.normal()).max(0.0)];
    trial.drive = drive;
    trial.coast = coast;
    trial
}
