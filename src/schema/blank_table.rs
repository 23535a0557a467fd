//! The card's `[blank]` table: the initial data of ISO 23509 under the standard's symbols.

use super::gear::{Cutting, Taper};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The table as it stands in the card. Symbols are the standard's.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(default)]
#[allow(non_snake_case)] // α_dD and α_dC differ in the case of a letter only
#[non_exhaustive]
pub struct BlankTable {
    /// Method 0 to 3; by what is given when the card is silent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub method: Option<u8>,
    /// Σ; 90.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shaft_angle_deg: Option<f64>,
    /// a, hypoid offset.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub a_mm: Option<f64>,
    /// z_1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z1: Option<u32>,
    /// z_2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z2: Option<u32>,
    /// d_e2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub de2_mm: Option<f64>,
    /// d_m2 (method 2).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dm2_mm: Option<f64>,
    /// b_2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub b2_mm: Option<f64>,
    /// β_m2 (methods 0, 2, 3).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bm2_deg: Option<f64>,
    /// β_Δ1, desired spiral angle of the pinion (method 1).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bdelta1_deg: Option<f64>,
    /// r_c0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rc0_mm: Option<f64>,
    /// z_0; given, it means face hobbed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub z0: Option<u32>,
    /// α_dD; 20.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alpha_dD_deg: Option<f64>,
    /// α_dC; 20.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub alpha_dC_deg: Option<f64>,
    /// f_αlim; 0 for method 0, else 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub f_alpha_lim: Option<f64>,
    /// c_be2; 0.5.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cbe2: Option<f64>,
    /// c_ham (type II); 0.21 + 0.29 (z1/z2)².
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cham: Option<f64>,
    /// k_d (type II); 2.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kd: Option<f64>,
    /// k_c (type II); 0.125.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kc: Option<f64>,
    /// k_t (type II); 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub kt: Option<f64>,
    /// x_hm1 (type I); 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub xhm1: Option<f64>,
    /// k_hap (type I); 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub khap: Option<f64>,
    /// k_hfp (type I); 1.25.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub khfp: Option<f64>,
    /// x_smn (type I); 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub xsmn: Option<f64>,
    /// j_en, outer normal backlash.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub jen_mm: Option<f64>,
    /// j_et2, outer transverse backlash.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub jet2_mm: Option<f64>,
    /// j_mn, mean normal backlash.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub jmn_mm: Option<f64>,
    /// j_mt2, mean transverse backlash.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub jmt2_mm: Option<f64>,
    /// θ_a2; by the taper.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub theta_a2_deg: Option<f64>,
    /// θ_f2; by the taper.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub theta_f2_deg: Option<f64>,
    /// Kind of taper when the angles are not given; modified (face milled) or uniform (face hobbed).
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub taper: Option<Taper>,
    /// How the teeth are cut; `[gear]`'s, else by z_0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cutting: Option<Cutting>,
}
