//! Seeded chance for virtual sets in tests.

/// splitmix64.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    /// From 0 to 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn normal(&mut self, sd: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        sd * radius * (2.0 * std::f64::consts::PI * self.uniform()).cos()
    }

    /// A burette level as an eye reads it.
    pub(crate) fn eye(&mut self, level: f64) -> f64 {
        level + 0.02 * (self.uniform() - self.uniform())
    }
}
