//! Frequencies of the simulated values, for plotting.

use super::blocks::in_parallel;
use super::intervals::Interval;
use super::select::PART;
use serde::Serialize;

/// Frequencies in equal bins, over the symmetric interval and half its width on both sides.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Histogram {
    /// Lower end of the first bin.
    pub lower: f64,
    /// Width of a bin; 0 if all values are the same.
    pub bin_width: f64,
    /// Number of values in each bin.
    pub counts: Vec<u64>,
    /// Number of values below the first bin.
    pub below: u64,
    /// Number of values above the last bin.
    pub above: u64,
}

impl Histogram {
    /// Number of bins.
    const BINS: usize = 100;

    pub(super) fn of(values: &[f64], interval: Interval, threads: usize) -> Self {
        let margin = 0.5 * interval.width();
        let lower = interval.lower - margin;
        let bin_width = 4.0 * margin / Self::BINS as f64;
        let per_unit = if bin_width > 0.0 {
            1.0 / bin_width
        } else {
            0.0
        };
        // One place more on either side for what lies beyond, and no bounds to check.
        const PLACES: usize = Histogram::BINS + 2;
        const GROUP: usize = 512;
        let mut parts = vec![[0u64; 256]; values.len().div_ceil(PART)];
        in_parallel(
            values.chunks(PART).zip(&mut parts),
            threads,
            || (),
            |(), (values, counts)| {
                for values in values.chunks(GROUP) {
                    // Places first, as the last bits of 2^52 + place: that much is vector code.
                    let mut places = [0u8; GROUP];
                    for (place, value) in places.iter_mut().zip(values) {
                        let x = ((value - lower) * per_unit + 0.5).clamp(0.0, (PLACES - 1) as f64);
                        *place = (x + 4_503_599_627_370_496.0).to_bits() as u8;
                    }
                    for place in &places[..values.len()] {
                        counts[usize::from(*place)] += 1;
                    }
                }
            },
        );
        let mut counts = vec![0; PLACES];
        for (place, count) in counts.iter_mut().enumerate() {
            *count = parts.iter().map(|part| part[place]).sum();
        }
        Self {
            lower,
            bin_width,
            below: counts[0],
            above: counts[PLACES - 1],
            counts: counts[1..PLACES - 1].to_vec(),
        }
    }
}
