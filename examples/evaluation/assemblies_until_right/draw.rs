//! Hidden gear sets: each with its card, and with what the card does not know.

use flankread::schema::BacklashDirection;
use flankread::{Card, EaseOff, FlankPoint, FlankReading, Misalignment, Model, Trial};

/// Reading noise of a centre, one standard deviation.
pub const NOISE_LENGTH: f64 = 0.015;
pub const NOISE_HEIGHT: f64 = 0.022;
/// Noise of the mean backlash, one standard deviation.
pub const NOISE_BACKLASH_MM: f64 = 0.005;

/// Half the width that holds nine in ten of a normal distribution, in standard deviations.
const HALF_WIDTH_90: f64 = 1.6449;

/// Least play that a set is rolled with.
const LEAST_PLAY_MM: f64 = 0.03;

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

/// How far the hidden set is from its card, standard deviations.
#[derive(Clone, Copy)]
pub struct Spread {
    /// Crownings of each flank, natural logarithm.
    pub crowning: f64,
    /// Bias of each flank at the corners, millimetres.
    pub bias_mm: f64,
    /// Film, natural logarithm.
    pub film: f64,
    /// Spiral and pressure angle of the set, degrees.
    pub angle_deg: f64,
    /// Offset of the housing, millimetres.
    pub offset_mm: f64,
    /// Backlash at the right place, millimetres.
    pub backlash_mm: f64,
}

pub const SPREAD: Spread = Spread {
    crowning: 0.35,
    bias_mm: 0.008,
    film: 0.3,
    angle_deg: 0.7,
    offset_mm: 0.02,
    backlash_mm: 0.015,
};

/// A gear set as it really is.
pub struct Hidden {
    pub card: Card,
    model: Model,
    ease_off: [EaseOff; 2],
    film_mm: f64,
    offset_mm: f64,
    right_backlash_mm: f64,
    indicator: f64,
    /// Pinion and ring gear, millimetres from the right place.
    pub start_mm: [f64; 2],
}

/// What an assembly really shows.
pub struct Truth {
    pub centres: [FlankPoint; 2],
    pub extents: [FlankPoint; 2],
    pub backlash_mm: f64,
}

impl Hidden {
    /// Draws a set; `None` for one that cannot mesh or whose patch has left the flank.
    pub fn draw(seed: u64, cutting: &str, spread: &Spread) -> Option<Self> {
        let mut chance = Chance::new(seed);
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
        let card = Card::from_toml(&text).expect("the drawn card is a card");
        card.model().ok()?;
        let mut real = card.clone();
        real.gear.spiral_angle_deg += spread.angle_deg * chance.normal();
        real.gear.pressure_angle_deg += spread.angle_deg * chance.normal();
        let model = real.model().ok()?;
        let (mut ease_off, mut film_mm) = model.defaults();
        for flank in &mut ease_off {
            flank.length_mm *= (spread.crowning * chance.normal()).exp();
            flank.height_mm *= (spread.crowning * chance.normal()).exp();
            flank.bias_mm += spread.bias_mm * chance.normal();
        }
        film_mm *= (spread.film * chance.normal()).exp();
        let [low, high] = card.backlash_window_mm();
        let indicator = match card.carrier.backlash_direction {
            Some(BacklashDirection::Tangential) => 1.0,
            _ => model.square_radius_mm() / (0.5 * diameter_mm),
        };
        let mut hidden = Self {
            model,
            ease_off,
            film_mm,
            offset_mm: spread.offset_mm * chance.normal(),
            right_backlash_mm: 0.5 * (low + high) + spread.backlash_mm * chance.normal(),
            indicator,
            start_mm: [chance.between(-0.35, 0.35), chance.between(-0.12, 0.20)],
            card,
        };
        // Gears without play cannot be rolled: a workshop backs the ring gear off before it paints.
        while hidden.truth(hidden.start_mm)?.backlash_mm < LEAST_PLAY_MM {
            hidden.start_mm[1] += 0.0254;
        }
        Some(hidden)
    }

    /// What an assembly with its gears there really shows.
    pub fn truth(&self, at_mm: [f64; 2]) -> Option<Truth> {
        let mut misalignment = Misalignment::default();
        misalignment.pinion_mm = at_mm[0];
        misalignment.ring_mm = at_mm[1];
        misalignment.offset_mm = self.offset_mm;
        let state = self
            .model
            .state(&misalignment, &self.ease_off, self.film_mm);
        let (drive, coast) = (state.drive.patch?, state.coast.patch?);
        Some(Truth {
            centres: [drive.centre, coast.centre],
            extents: [drive.extent, coast.extent],
            // Teeth cannot overlap: where there would be less than no play they jam.
            backlash_mm: (self.right_backlash_mm + self.indicator * state.backlash_change_mm)
                .max(0.0),
        })
    }

    /// Both centres within tolerance and the backlash in its window.
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

    /// One assembly as the workshop reads it.
    pub fn read(&self, truth: &Truth, at_mm: [f64; 2], chance: &mut Chance) -> Trial {
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
        // The zero of the workshop's shims has nothing to do with the right place.
        trial.pinion_mm = Some(at_mm[0] - self.start_mm[0]);
        trial.ring_mm = Some(at_mm[1] - self.start_mm[1]);
        trial.backlash_mm =
            vec![(truth.backlash_mm + NOISE_BACKLASH_MM * chance.normal()).max(0.0)];
        trial.drive = drive;
        trial.coast = coast;
        trial
    }
}
