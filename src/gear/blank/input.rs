//! What the blank is computed from: the initial data of ISO 23509, Tables 2 and 3.

use crate::gear::GearError;
use crate::schema::{Cutting, Taper};
use serde::{Deserialize, Serialize};

/// Which way the pitch cones are found (ISO 23509, clause 6).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "u8", into = "u8")]
pub enum Method {
    /// Intersecting axes.
    Zero,
    /// Hypoid, from the outer diameter and the pinion's desired spiral angle; the pitch cones are
    /// those whose limit curvature is the tooth's.
    One,
    /// Hypoid, from the mean diameter; both crown gears' centres and the cutter's lie on one line.
    Two,
    /// Hypoid, from the outer diameter and the wheel's spiral angle.
    Three,
}

impl TryFrom<u8> for Method {
    type Error = String;

    fn try_from(number: u8) -> Result<Self, String> {
        [Self::Zero, Self::One, Self::Two, Self::Three]
            .get(usize::from(number))
            .copied()
            .ok_or_else(|| format!("method {number} does not exist: 0, 1, 2 or 3"))
    }
}

impl From<Method> for u8 {
    fn from(method: Method) -> Self {
        method as Self
    }
}

/// Tooth depth data (ISO 23509, Table 3).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Depth {
    /// Type I.
    Coefficients {
        /// x_hm1, profile shift coefficient.
        xhm1: f64,
        /// k_hap, basic crown gear addendum factor.
        khap: f64,
        /// k_hfp, basic crown gear dedendum factor.
        khfp: f64,
        /// x_smn, thickness modification coefficient (theoretical).
        xsmn: f64,
    },
    /// Type II.
    Factors {
        /// c_ham, mean addendum factor of the wheel.
        cham: f64,
        /// k_d, depth factor.
        kd: f64,
        /// k_c, clearance factor.
        kc: f64,
        /// k_t, circular thickness factor.
        kt: f64,
    },
}

/// How the backlash is stated; all in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Backlash {
    /// j_en, outer normal.
    OuterNormal(f64),
    /// j_et2, outer transverse.
    OuterTransverse(f64),
    /// j_mn, mean normal.
    MeanNormal(f64),
    /// j_mt2, mean transverse.
    MeanTransverse(f64),
}

/// Initial data. Lengths in millimetres, angles in radians.
#[derive(Debug, Clone, PartialEq)]
pub struct BlankInput {
    /// Which way the pitch cones are found.
    pub method: Method,
    /// Face milled or face hobbed.
    pub cutting: Cutting,
    /// Σ, shaft angle.
    pub shaft_angle: f64,
    /// a, hypoid offset.
    pub a: f64,
    /// z_1.
    pub z1: u32,
    /// z_2.
    pub z2: u32,
    /// d_e2, outer pitch diameter of the wheel (methods 0, 1, 3).
    pub de2: Option<f64>,
    /// d_m2, mean pitch diameter of the wheel (method 2).
    pub dm2: Option<f64>,
    /// b_2, face width of the wheel.
    pub b2: f64,
    /// β_m2, mean spiral angle of the wheel (methods 0, 2, 3).
    pub bm2: Option<f64>,
    /// β_Δ1, desired mean spiral angle of the pinion (method 1).
    pub bdelta1: Option<f64>,
    /// r_c0, cutter radius.
    pub rc0: f64,
    /// z_0, blade groups (face hobbed).
    pub z0: u32,
    /// α_dD, nominal design pressure angle, drive side.
    pub alpha_dd: f64,
    /// α_dC, nominal design pressure angle, coast side.
    pub alpha_dc: f64,
    /// f_αlim, influence factor of the limit pressure angle.
    pub falim: f64,
    /// Share of the face outside the calculation point, methods 0, 2 and 3.
    pub cbe2: f64,
    /// Tooth depth data.
    pub depth: Depth,
    /// Backlash.
    pub backlash: Backlash,
    /// θ_a2 and θ_f2, addendum and dedendum angle of the wheel; from the taper when not given.
    pub theta2: Option<[f64; 2]>,
    /// The taper when the angles are not given.
    pub taper: Taper,
}

impl BlankInput {
    /// What the chosen method cannot do with, and what it cannot do without.
    pub(super) fn check(&self) -> Result<(), GearError> {
        self.check_pair()?;
        self.check_sizes()?;
        self.check_given()
    }

    /// Teeth, offset and cutting, which the method must suit.
    fn check_pair(&self) -> Result<(), GearError> {
        if self.z1 == 0 {
            return out_of_range("z1", 0.0, "at least 1", 1.0, "");
        }
        if self.z2 == 0 {
            return out_of_range("z2", 0.0, "at least 1", 1.0, "");
        }
        let hypoid = self.method != Method::Zero;
        if hypoid && self.a <= 0.0 {
            let allowed = "more than 0 for methods 1 to 3 (method 0 is for 0)";
            return out_of_range("a", self.a, allowed, 0.1, " mm");
        }
        if !hypoid && self.a != 0.0 {
            let allowed = "0 for method 0 (methods 1 to 3 are for hypoids)";
            return out_of_range("a", self.a, allowed, 0.0, " mm");
        }
        if self.cutting == Cutting::FaceMilled && matches!(self.method, Method::Two | Method::Three)
        {
            return Err(GearError::Missing {
                key: "blade groups z0",
                why: "methods 2 and 3 are for face-hobbed teeth",
            });
        }
        Ok(())
    }

    /// Sizes that no method can do with.
    fn check_sizes(&self) -> Result<(), GearError> {
        let sigma = self.shaft_angle.to_degrees();
        if !(10.0..=170.0).contains(&sigma) {
            let nearest = if sigma < 10.0 { 10.0 } else { 170.0 };
            return out_of_range("shaft_angle_deg", sigma, "from 10° to 170°", nearest, "°");
        }
        if self.b2.is_nan() || self.b2 <= 0.0 {
            return out_of_range("b2", self.b2, "more than 0", 1.0, " mm");
        }
        if self.rc0.is_nan() || self.rc0 <= 0.0 {
            return out_of_range("rc0", self.rc0, "more than 0", self.b2, " mm");
        }
        Ok(())
    }

    /// The sizes each method starts from.
    fn check_given(&self) -> Result<(), GearError> {
        let (diameter, diameter_key, why_diameter) = match self.method {
            Method::Two => (
                self.dm2,
                "dm2",
                "method 2 starts from the wheel's mean pitch diameter",
            ),
            Method::Zero | Method::One | Method::Three => (
                self.de2,
                "de2",
                "this method starts from the wheel's outer pitch diameter",
            ),
        };
        let (spiral, spiral_key, why_spiral) = match self.method {
            Method::One => (
                self.bdelta1,
                "bdelta1",
                "method 1 starts from the pinion's desired spiral angle",
            ),
            Method::Zero | Method::Two | Method::Three => (
                self.bm2,
                "bm2",
                "this method starts from the wheel's mean spiral angle",
            ),
        };
        for (given, key, why) in [
            (diameter, diameter_key, why_diameter),
            (spiral, spiral_key, why_spiral),
        ] {
            if given.is_none() {
                return Err(GearError::Missing { key, why });
            }
        }
        Ok(())
    }
}

fn out_of_range(
    key: &'static str,
    value: f64,
    allowed: &'static str,
    nearest: f64,
    unit: &'static str,
) -> Result<(), GearError> {
    Err(GearError::OutOfRange {
        key,
        value,
        allowed,
        nearest,
        unit,
    })
}
