//! What is not known of a gear set before its trials, by name, and the one place that puts it in order for linear
//! algebra.
//!
//! The numbers are deviations from the prior mean: of the fit in prior standard deviations
//! ([`CALIBRATION`](super::calibration::CALIBRATION)`.priors`), of the contact model in the units said below. `T` is a
//! number, or anything there is one of for every parameter, as how much each changes what is observed.

/// Parameters of one flank.
const OF_A_FLANK: usize = 5;
/// Parameters of a set in all.
pub(crate) const COUNT: usize = 8 + 2 * OF_A_FLANK;

/// What is not known of one flank.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct FlankParameters<T = f64> {
    /// Lengthwise crowning, natural logarithm.
    pub crowning_length: T,
    /// Profile crowning, natural logarithm.
    pub crowning_height: T,
    /// Bias at the corners, millimetres.
    pub bias: T,
    /// Ease-off at the ends that a small spiral-angle error between the mates makes, millimetres.
    pub tilt_length: T,
    /// Ease-off at tip and root that a small pressure-angle error makes, millimetres.
    pub tilt_height: T,
}

/// What is not known of a set.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct SetParameters<T = f64> {
    /// Where the pinion stood in the first trial, millimetres, + = away from the ring gear.
    pub pinion: T,
    /// Where the ring gear stood in the first trial, millimetres, + = away from the pinion.
    pub ring: T,
    /// Offset of the housing, millimetres.
    pub offset: T,
    /// Shaft angle of the housing, radians.
    pub shaft_angle: T,
    /// Thickness of the compound's film, natural logarithm.
    pub film: T,
    /// Backlash at the right place, millimetres.
    pub backlash: T,
    /// Backlash per move against the model's, natural logarithm.
    pub backlash_ratio: T,
    /// The drive flank's.
    pub drive: FlankParameters<T>,
    /// The coast flank's.
    pub coast: FlankParameters<T>,
    /// How much further from its mate a gear stood than its pack was written down, where one is doubted, millimetres.
    pub pack: T,
}

impl<T> FlankParameters<T> {
    fn fields(&mut self) -> [&mut T; OF_A_FLANK] {
        let Self {
            crowning_length,
            crowning_height,
            bias,
            tilt_length,
            tilt_height,
        } = self;
        [
            crowning_length,
            crowning_height,
            bias,
            tilt_length,
            tilt_height,
        ]
    }
}

impl<T: Copy + Default> FlankParameters<T> {
    /// One value for every parameter, in order.
    pub(crate) fn from_fn(mut value: impl FnMut(usize) -> T) -> Self {
        let mut made = Self::default();
        for (i, field) in made.fields().into_iter().enumerate() {
            *field = value(i);
        }
        made
    }
}

impl<T: Copy> FlankParameters<T> {
    /// Another value for every parameter.
    pub(crate) fn map<U>(self, mut to: impl FnMut(T) -> U) -> FlankParameters<U> {
        FlankParameters {
            crowning_length: to(self.crowning_length),
            crowning_height: to(self.crowning_height),
            bias: to(self.bias),
            tilt_length: to(self.tilt_length),
            tilt_height: to(self.tilt_height),
        }
    }
}

impl FlankParameters {
    /// The same with one parameter, counted in order, larger.
    pub(crate) fn stepped(mut self, parameter: usize, by: f64) -> Self {
        *self.fields()[parameter] += by;
        self
    }
}

impl<T> SetParameters<T> {
    /// The one order of all parameters.
    fn fields(&mut self) -> [&mut T; COUNT] {
        let Self {
            pinion,
            ring,
            offset,
            shaft_angle,
            film,
            backlash,
            backlash_ratio,
            drive,
            coast,
            pack,
        } = self;
        let [d1, d2, d3, d4, d5] = drive.fields();
        let [c1, c2, c3, c4, c5] = coast.fields();
        [
            pinion,
            ring,
            offset,
            shaft_angle,
            film,
            backlash,
            backlash_ratio,
            d1,
            d2,
            d3,
            d4,
            d5,
            c1,
            c2,
            c3,
            c4,
            c5,
            pack,
        ]
    }
}

impl<T: Copy + Default> SetParameters<T> {
    /// Every parameter's value, in order.
    pub(crate) fn to_array(mut self) -> [T; COUNT] {
        self.fields().map(|field| *field)
    }

    /// One value for every parameter, in order.
    pub(crate) fn from_fn(mut value: impl FnMut(usize) -> T) -> Self {
        let mut made = Self::default();
        for (i, field) in made.fields().into_iter().enumerate() {
            *field = value(i);
        }
        made
    }
}

impl SetParameters {
    /// Every parameter times its own factor.
    pub(crate) fn times(self, factors: &Self) -> Self {
        let (values, factors) = (self.to_array(), factors.to_array());
        Self::from_fn(|i| values[i] * factors[i])
    }

    /// Every parameter less far or further out.
    pub(crate) fn plus(self, by: &[f64]) -> Self {
        let values = self.to_array();
        Self::from_fn(|i| values[i] + by[i])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_order_is_kept_there_and_back() {
        let mut next = 0.0;
        let numbered = SetParameters::from_fn(|_| {
            next += 1.0;
            next
        });
        let there = numbered.to_array();
        assert_eq!(SetParameters::from_fn(|i| there[i]), numbered);
        assert_eq!(numbered.pinion, 1.0);
        assert_eq!(numbered.drive.crowning_length, 8.0);
        assert_eq!(numbered.coast.tilt_height, (COUNT - 1) as f64);
        assert_eq!(numbered.pack, COUNT as f64);
    }
}
