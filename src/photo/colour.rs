//! sRGB levels → linear light.

use std::sync::OnceLock;

/// Linear light 0 … 1 of an 8-bit sRGB level, by the transfer function of IEC 61966-2-1.
#[cfg(test)]
pub(crate) fn linear_from_srgb(level: u8) -> f32 {
    linear_of_levels()[usize::from(level)]
}

/// The linear light of every level, for those who ask for many.
pub(crate) fn linear_of_levels() -> &'static [f32; 256] {
    static TABLE: OnceLock<[f32; 256]> = OnceLock::new();
    TABLE.get_or_init(|| {
        std::array::from_fn(|level| {
            let share = level as f64 / 255.0;
            let linear = if share <= 0.04045 {
                share / 12.92
            } else {
                ((share + 0.055) / 1.055).powf(2.4)
            };
            linear as f32
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mid_grey_is_a_fifth_of_the_light() {
        // IEC 61966-2-1: level 128 is 0.2158605 of full light.
        assert!((linear_from_srgb(128) - 0.215_860_5).abs() < 1e-6);
        assert_eq!(linear_from_srgb(0), 0.0);
        assert!((linear_from_srgb(255) - 1.0).abs() < 1e-6);
    }
}
