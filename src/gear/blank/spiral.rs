//! The tooth trace in the pitch plane: spiral angle along the face, and its radius of curvature.

use crate::schema::Cutting;

/// The trace of the wheel's teeth in the pitch plane, by the cutter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Trace {
    cutting: Cutting,
    rm2: f64,
    bm2: f64,
    rc0: f64,
    /// ν, lead angle of the cutter; 0 when face milled.
    pub nu: f64,
    /// ρ_P0, crown gear to cutter centre distance.
    pub rho_p0: f64,
    /// ρ_b, epicycloid base circle radius.
    pub rho_b: f64,
}

/// What the trace depends on; the wheel's values.
#[derive(Debug, Clone, Copy)]
pub(super) struct TraceInput {
    pub cutting: Cutting,
    pub rm2: f64,
    pub bm2: f64,
    pub delta2: f64,
    pub rc0: f64,
    pub z0: u32,
    pub z2: u32,
}

impl Trace {
    /// `None` when the cutter is too small for so many blade groups.
    pub(super) fn new(input: &TraceInput) -> Option<Self> {
        let (z0, z2) = (f64::from(input.z0), f64::from(input.z2));
        let mmn = 2.0 * input.rm2 * input.delta2.sin() * input.bm2.cos() / z2;
        let nu = match input.cutting {
            Cutting::FaceMilled => 0.0,
            Cutting::FaceHobbed => (z0 * mmn / (2.0 * input.rc0)).asin(),
        };
        let rho_p0 = (input.rm2.powi(2) + input.rc0.powi(2)
            - 2.0 * input.rm2 * input.rc0 * (input.bm2 - nu).sin())
        .sqrt();
        nu.is_finite().then_some(Self {
            cutting: input.cutting,
            rm2: input.rm2,
            bm2: input.bm2,
            rc0: input.rc0,
            nu,
            rho_p0,
            rho_b: rho_p0 / (1.0 + z0 / z2 * input.delta2.sin()),
        })
    }

    /// Spiral angle at a cone distance; `None` where the cutter does not reach.
    pub(super) fn spiral_at(&self, cone: f64) -> Option<f64> {
        let angle = match self.cutting {
            Cutting::FaceMilled => {
                ((2.0 * self.rm2 * self.rc0 * self.bm2.sin() - self.rm2.powi(2) + cone.powi(2))
                    / (2.0 * cone * self.rc0))
                    .asin()
            }
            Cutting::FaceHobbed => {
                let phi = ((cone.powi(2) + self.rho_p0.powi(2) - self.rc0.powi(2))
                    / (2.0 * cone * self.rho_p0))
                    .acos();
                ((cone - self.rho_b * phi.cos()) / (self.rho_b * phi.sin())).atan()
            }
        };
        angle.is_finite().then_some(angle)
    }

    /// Radius of curvature of the trace at the calculation point: the cutter's radius, or that of
    /// the epicycloid by Euler–Savary (ISO 23509, method 1, face hobbed).
    pub(super) fn curvature_radius(&self) -> f64 {
        match self.cutting {
            Cutting::FaceMilled => self.rc0,
            Cutting::FaceHobbed => {
                let (r, b) = (self.rm2, self.bm2);
                let slope = self.pole_slope();
                r * b.cos() * (b.tan() + slope / (1.0 + self.nu.tan() * (b.tan() + slope)))
            }
        }
    }

    /// tan η_1: slope against the trace of the line from the crown gear's centre to the cutter's.
    fn pole_slope(&self) -> f64 {
        let along = self.rm2 * self.bm2.cos() + self.rc0 * self.nu.sin();
        let across = self.rc0 * self.nu.cos() - self.rm2 * self.bm2.sin();
        across / along
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The radius by the circle through three neighbouring points of the trace itself.
    #[test]
    fn epicycloid_curvature_is_that_of_its_own_points() {
        let input = TraceInput {
            cutting: Cutting::FaceHobbed,
            rm2: 181.07,
            bm2: 0.52,
            delta2: 1.245,
            rc0: 135.0,
            z0: 5,
            z2: 49,
        };
        let trace = Trace::new(&input).unwrap();
        // dβ along the trace and the polar angle's own turn give the curvature:
        // 1/ρ = cos β dβ/dR + sin β / R.
        let h = 1e-4;
        let (a, b) = (
            trace.spiral_at(input.rm2 - h).unwrap(),
            trace.spiral_at(input.rm2 + h).unwrap(),
        );
        let slope = (b - a) / (2.0 * h);
        let curvature = input.bm2.cos() * slope + input.bm2.sin() / input.rm2;
        assert!((trace.spiral_at(input.rm2).unwrap() - input.bm2).abs() < 1e-9);
        assert!((curvature * trace.curvature_radius() - 1.0).abs() < 1e-6);
    }
}
