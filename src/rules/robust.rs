//! Heavy-tailed errors: most readings and most sets are near what is expected of them, a few are far.
//!
//! Student's t with ν degrees of freedom has the density of a normal near its middle and far heavier tails. Its loss
//! `(ν + 1) ln(1 + r²/ν)` stands where a normal has `r²`, and its slope is that of weighted least squares with the weight
//! `(ν + 1) / (ν + r²)` (Lange, Little and Taylor, "Robust statistical modeling using the t distribution", J. Am. Stat.
//! Assoc. 84 (1989) 881–896, from memory).

/// Student's t as a loss for residuals counted in standard deviations.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct HeavyTail {
    /// ν; the smaller, the heavier the tails.
    pub freedom: f64,
}

impl HeavyTail {
    /// Minus twice the logarithm of the density over that of its middle.
    pub(crate) fn loss(self, residual: f64) -> f64 {
        (self.freedom + 1.0) * (residual * residual / self.freedom).ln_1p()
    }

    /// The weight of the residual in least squares.
    pub(crate) fn weight(self, residual: f64) -> f64 {
        (self.freedom + 1.0) / (self.freedom + residual * residual)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Half the loss has the slope weight × residual.
        #[test]
        fn the_weight_is_the_slope_of_the_loss(residual in -20.0..20.0_f64, freedom in 1.0..30.0_f64) {
            let tail = HeavyTail { freedom };
            let step = 1e-5;
            let slope = (tail.loss(residual + step) - tail.loss(residual - step)) / (4.0 * step);
            prop_assert!((slope - tail.weight(residual) * residual).abs() < 1e-6 * (1.0 + residual.abs()));
        }
    }

    #[test]
    fn far_out_it_costs_less_than_a_normal_and_near_by_the_same() {
        let tail = HeavyTail { freedom: 6.0 };
        assert!((tail.loss(0.1) / 0.01 - 7.0 / 6.0).abs() < 0.01);
        assert!(tail.loss(8.0) < 0.3 * 64.0);
    }
}
