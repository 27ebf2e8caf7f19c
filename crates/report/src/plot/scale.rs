//! A scale with ticks at 1, 2 or 5 times a power of ten.

/// A scale from one value to another.
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    from: f64,
    to: f64,
    step: f64,
}

impl Scale {
    /// A scale that shows `low` to `high` with about `wanted` ticks, its ends on ticks.
    ///
    /// Ends that are equal or not finite give a scale of one unit around them.
    pub fn covering(low: f64, high: f64, wanted: usize) -> Self {
        let Self { from, to, step } = Self::within(low, high, wanted);
        Self {
            from: (from / step + 1e-9).floor() * step,
            to: (to / step - 1e-9).ceil() * step,
            step,
        }
    }

    /// A scale from `low` to `high` exactly, with about `wanted` ticks between them.
    ///
    /// Ends that are equal or not finite give a scale of one unit around them.
    pub fn within(low: f64, high: f64, wanted: usize) -> Self {
        let (from, to) = if low.is_finite() && high.is_finite() && high > low {
            (low, high)
        } else {
            let middle = if low.is_finite() { low } else { 0.0 };
            (middle - 0.5, middle + 0.5)
        };
        Self {
            from,
            to,
            step: round_step((to - from) / wanted.max(1) as f64),
        }
    }

    /// The lower end.
    pub fn from(&self) -> f64 {
        self.from
    }

    /// The upper end.
    pub fn to(&self) -> f64 {
        self.to
    }

    /// Position of a value between 0 (lower end) and 1 (upper end).
    pub fn share(&self, value: f64) -> f64 {
        (value - self.from) / (self.to - self.from)
    }

    /// A value brought between the ends.
    pub fn held(&self, value: f64) -> f64 {
        value.clamp(self.from, self.to)
    }

    /// The ticks with their labels, all with the same decimals.
    pub fn ticks(&self) -> Vec<(f64, String)> {
        // Few enough that a cast cannot lose anything.
        let decimals = (-(self.step.log10() + 1e-9).floor()).clamp(0.0, 12.0) as usize;
        let first = (self.from / self.step - 1e-6).ceil();
        let last = (self.to / self.step + 1e-6).floor();
        let count = (last - first).max(0.0) as usize;
        (0..=count)
            .map(|i| {
                let value = (first + i as f64) * self.step;
                // Zero without a sign.
                let value = if value.abs() < 1e-9 * self.step {
                    0.0
                } else {
                    value
                };
                let label = format!("{value:.decimals$}").replace('-', "\u{2212}");
                (value, label)
            })
            .collect()
    }
}

/// The next of 1, 2, 5 times a power of ten, not below.
fn round_step(raw: f64) -> f64 {
    let magnitude = 10f64.powf(raw.log10().floor());
    let leading = raw / magnitude;
    let nice = [1.0, 2.0, 5.0]
        .into_iter()
        .find(|s| leading <= s * (1.0 + 1e-9));
    nice.unwrap_or(10.0) * magnitude
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn labels(scale: &Scale) -> Vec<String> {
        scale.ticks().into_iter().map(|(_, label)| label).collect()
    }

    #[test]
    fn ticks_are_round() {
        let scale = Scale::covering(0.0, 54.2, 6);
        assert_eq!(labels(&scale), ["0", "10", "20", "30", "40", "50", "60"]);
        let scale = Scale::covering(-0.62, 1.49, 5);
        assert_eq!(
            labels(&scale),
            ["\u{2212}1.0", "\u{2212}0.5", "0.0", "0.5", "1.0", "1.5"]
        );
    }

    #[test]
    fn a_scale_may_end_between_ticks() {
        let scale = Scale::within(24.37, 24.63, 3);
        assert_eq!(labels(&scale), ["24.4", "24.5", "24.6"]);
        assert!((scale.share(24.5) - 0.5).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn a_scale_covers_its_values_with_few_ticks(low in -1e6..1e6_f64, span in 1e-6..1e6_f64, wanted in 2..10_usize) {
            let scale = Scale::covering(low, low + span, wanted);
            let slack = 1e-6 * span + 1e-9 * low.abs();
            prop_assert!(scale.from() <= low + slack && scale.to() >= low + span - slack);
            let ticks = scale.ticks().len();
            prop_assert!(ticks >= 2 && ticks <= wanted + 3, "{ticks}");
            prop_assert!((0.0..=1.0).contains(&scale.share(low + span / 2.0)));
        }
    }
}
