//! Mean and standard deviation, block by block.
//!
//! Source: T. F. Chan, G. H. Golub, R. J. LeVeque, The American Statistician 37 (1983) 242 (joining two sets).

/// Mean and squared deviations of finite values.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    pub(super) count: usize,
    pub(super) mean: f64,
    squares: f64,
}

impl Moments {
    /// The moments of the finite values.
    pub(super) fn of(values: &[f64]) -> Self {
        // Counted from the first value, so that equal values have no spread.
        let first = values.first().copied().unwrap_or(0.0);
        let mean = first + total(values, |x| x - first) / values.len().max(1) as f64;
        if mean.is_finite() {
            return Self::about(values, mean);
        }
        let finite: Vec<f64> = values.iter().copied().filter(|x| x.is_finite()).collect();
        let count = finite.len().max(1) as f64;
        Self::about(&finite, total(&finite, |x| x / count))
    }

    fn about(values: &[f64], mean: f64) -> Self {
        Self {
            count: values.len(),
            mean,
            squares: total(values, |x| (x - mean) * (x - mean)),
        }
    }

    /// Both sets together.
    pub(super) fn with(self, other: Self) -> Self {
        let count = self.count + other.count;
        if count == 0 {
            return self;
        }
        let share = other.count as f64 / count as f64;
        let step = other.mean - self.mean;
        Self {
            count,
            mean: self.mean + step * share,
            squares: self.squares + other.squares + step * step * share * self.count as f64,
        }
    }

    /// Standard deviation.
    pub(super) fn deviation(&self) -> f64 {
        (self.squares / (self.count.saturating_sub(1)).max(1) as f64).sqrt()
    }
}

/// Sum of `f` over the values, in several partial sums in a fixed order.
fn total(values: &[f64], f: impl Fn(f64) -> f64) -> f64 {
    let (chunks, rest) = values.as_chunks::<16>();
    let mut sums = [0.0; 16];
    for chunk in chunks {
        for (sum, x) in sums.iter_mut().zip(chunk) {
            *sum += f(*x);
        }
    }
    sums.iter().sum::<f64>() + rest.iter().map(|x| f(*x)).sum::<f64>()
}
