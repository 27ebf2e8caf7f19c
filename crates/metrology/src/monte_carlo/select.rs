//! Exact order statistics of many values without sorting them all.

use super::blocks::in_parallel;

/// The smallest and the largest values, each in ascending order.
pub(super) struct Tails {
    pub(super) low: Vec<f64>,
    pub(super) high: Vec<f64>,
}

/// Values below this number are simply sorted.
const FEW: usize = 20_000;

/// Size of the sample that shows where the tails begin.
const SAMPLE: usize = 4096;

/// Values that one job looks through.
pub(super) const PART: usize = 65_536;

impl Tails {
    /// The `size` smallest and the `size` largest of finite values.
    ///
    /// A sample tells the two thresholds beyond which the tails surely lie; only what lies beyond them is sorted. If
    /// chance has it that a threshold was too tight, everything is sorted: the answer is exact in any case.
    pub(super) fn of(values: &[f64], size: usize, threads: usize) -> Self {
        let size = size.min(values.len());
        let share = size as f64 / values.len() as f64;
        let margin = 6.0 * (share * (1.0 - share) / SAMPLE as f64).sqrt();
        let rank = ((share + margin) * SAMPLE as f64).ceil() as usize + 1;
        if values.len() < FEW || 2 * rank >= SAMPLE {
            return Self::by_sorting(values, size);
        }
        let mut sample: Vec<f64> = values
            .iter()
            .step_by(values.len() / SAMPLE)
            .take(SAMPLE)
            .copied()
            .collect();
        sample.sort_unstable_by(f64::total_cmp);
        let (low, high) = (sample[rank], sample[SAMPLE - 1 - rank]);

        let mut found = vec![(Vec::new(), Vec::new()); values.len().div_ceil(PART)];
        let jobs = values.chunks(PART).zip(&mut found);
        in_parallel(
            jobs,
            threads,
            || (),
            |(), (values, (below, above))| {
                for value in values {
                    if *value <= low {
                        below.push(*value);
                    }
                    if *value >= high {
                        above.push(*value);
                    }
                }
            },
        );
        let mut tails = Self {
            low: found.iter().flat_map(|f| &f.0).copied().collect(),
            high: found.iter().flat_map(|f| &f.1).copied().collect(),
        };
        if tails.low.len() < size || tails.high.len() < size {
            return Self::by_sorting(values, size);
        }
        let sides = [(&mut tails.low, true), (&mut tails.high, false)];
        in_parallel(
            sides.into_iter(),
            threads,
            || (),
            |(), (side, lowest)| {
                side.sort_unstable_by(f64::total_cmp);
                if lowest {
                    side.truncate(size);
                } else {
                    side.drain(..side.len() - size);
                }
            },
        );
        tails
    }

    fn by_sorting(values: &[f64], size: usize) -> Self {
        let mut sorted = values.to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        Self {
            low: sorted[..size].to_vec(),
            high: sorted[sorted.len() - size..].to_vec(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scrambled(n: usize, f: impl Fn(f64) -> f64) -> Vec<f64> {
        (0..n)
            .map(|i| {
                f(
                    ((i as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 11) as f64
                        / (1u64 << 53) as f64,
                )
            })
            .collect()
    }

    #[test]
    fn tails_are_those_of_the_sorted_values() {
        let shapes: [fn(f64) -> f64; 4] = [
            |u| u,
            // Very long tails, many equal values, all equal values.
            |u| (std::f64::consts::PI * (u - 0.5)).tan(),
            |u| (u * 7.0).floor(),
            |_| 1.0,
        ];
        for shape in shapes {
            for (n, size) in [(100_003, 5_000), (100_003, 2), (100_003, 50_001), (500, 25)] {
                let values = scrambled(n, shape);
                let tails = Tails::of(&values, size, 2);
                let sorted = Tails::by_sorting(&values, size);
                assert_eq!(tails.low, sorted.low);
                assert_eq!(tails.high, sorted.high);
            }
        }
    }

    #[test]
    fn ordered_values_mislead_the_sample_but_not_the_answer() {
        let mut values = scrambled(65_536, |u| u);
        // Every sampled value is large.
        for value in values.iter_mut().step_by(16) {
            *value += 10.0;
        }
        let tails = Tails::of(&values, 3_000, 1);
        let sorted = Tails::by_sorting(&values, 3_000);
        assert_eq!((tails.low, tails.high), (sorted.low, sorted.high));
    }
}
