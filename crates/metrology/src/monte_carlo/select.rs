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

/// Values that are looked at between two appends.
const GROUP: usize = 512;

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
                for values in values.chunks(GROUP) {
                    // Without a branch that could be guessed wrong: every value is written, few are kept.
                    let mut kept = [[0.0; GROUP]; 2];
                    let [mut low_count, mut high_count] = [0; 2];
                    for value in values {
                        kept[0][low_count] = *value;
                        low_count += usize::from(*value <= low);
                        kept[1][high_count] = *value;
                        high_count += usize::from(*value >= high);
                    }
                    below.extend_from_slice(&kept[0][..low_count]);
                    above.extend_from_slice(&kept[1][..high_count]);
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
                sort(side);
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
        sort(&mut sorted);
        Self {
            low: sorted[..size].to_vec(),
            high: sorted[sorted.len() - size..].to_vec(),
        }
    }
}

/// Sorts finite values, as whole numbers in the same order, which are compared faster.
fn sort(values: &mut [f64]) {
    // The bits of positive numbers are ordered; of negative ones all but the sign are turned round. Twice is as before.
    let turned = |bits: i64| bits ^ ((bits >> 63) as u64 >> 1) as i64;
    let mut keys: Vec<i64> = values.iter().map(|x| turned(x.to_bits() as i64)).collect();
    keys.sort_unstable();
    for (value, key) in values.iter_mut().zip(keys) {
        *value = f64::from_bits(turned(key) as u64);
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
    fn sorting_is_that_of_the_numbers() {
        let mut values = scrambled(1000, |u| (u - 0.5).powi(3));
        values.extend([0.0, -1e300, 1e300, f64::MIN_POSITIVE, -f64::MIN_POSITIVE]);
        let mut expected = values.clone();
        expected.sort_by(f64::total_cmp);
        sort(&mut values);
        assert_eq!(values, expected);
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
