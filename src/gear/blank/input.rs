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
    /// What the chosen method cannot do without.
    pub(super) fn check(&self) -> Result<(), GearError> {
        let hypoid = self.method != Method::Zero;
        let lack = |key: &'static str, why| Err(GearError::Missing { key, why });
        let out = |key, value, allowed, nearest, unit| {
            Err(GearError::OutOfRange {
                key,
                value,
                allowed,
                nearest,
                unit,
            })
        };
        if self.z1 == 0 {
            return out("z1", 0.0, "at least 1", 1.0, "");
        }
        if self.z2 == 0 {
            return out("z2", 0.0, "at least 1", 1.0, "");
        }
        if hypoid && self.a <= 0.0 {
            return out(
                "a",
                self.a,
                "more than 0 for methods 1 to 3 (method 0 is for 0)",
                0.1,
                " mm",
            );
        }
        if !hypoid && self.a != 0.0 {
            return out(
                "a",
                self.a,
                "0 for method 0 (methods 1 to 3 are for hypoids)",
                0.0,
                " mm",
            );
        }
        if self.cutting == Cutting::FaceMilled && matches!(self.method, Method::Two | Method::Three)
        {
            return lack(
                "blade groups z0",
                "methods 2 and 3 are for face-hobbed teeth",
            );
        }
        let sigma = self.shaft_angle.to_degrees();
        if !(10.0..=170.0).contains(&sigma) {
            let nearest = if sigma < 10.0 { 10.0 } else { 170.0 };
            return out("shaft_angle_deg", sigma, "from 10° to 170°", nearest, "°");
        }
        if self.b2.is_nan() || self.b2 <= 0.0 {
            return out("b2", self.b2, "more than 0", 1.0, " mm");
        }
        if self.rc0.is_nan() || self.rc0 <= 0.0 {
            return out("rc0", self.rc0, "more than 0", self.b2, " mm");
        }
        match self.method {
            Method::Two if self.dm2.is_none() => {
                return lack(
                    "dm2",
                    "method 2 starts from the wheel's mean pitch diameter",
                );
            }
            Method::Two => {}
            _ if self.de2.is_none() => {
                return lack(
                    "de2",
                    "this method starts from the wheel's outer pitch diameter",
                );
            }
            _ => {}
        }
        match self.method {
            Method::One if self.bdelta1.is_none() => lack(
                "bdelta1",
                "method 1 starts from the pinion's desired spiral angle",
            ),
            Method::Zero | Method::Two | Method::Three if self.bm2.is_none() => lack(
                "bm2",
                "this method starts from the wheel's mean spiral angle",
            ),
            _ => Ok(()),
        }
    }
}
