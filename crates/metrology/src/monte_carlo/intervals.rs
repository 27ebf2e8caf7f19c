//! Coverage intervals from ordered values (JCGM 101:2008, 7.7).

use super::select::Tails;
use serde::Serialize;

/// A coverage interval.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Interval {
    /// Lower end.
    pub lower: f64,
    /// Upper end.
    pub upper: f64,
}

impl Interval {
    /// Upper end less lower end.
    pub fn width(&self) -> f64 {
        self.upper - self.lower
    }
}

/// Which of the ordered values are the ends of an interval (JCGM 101, 7.7).
#[derive(Clone, Copy)]
pub(super) struct Ranks {
    /// Number of values left outside, M - q.
    outside: usize,
    /// How many of them lie at or below the lower end of the symmetric interval, r.
    below: usize,
}

impl Ranks {
    pub(super) fn of(values: usize, probability: f64) -> Option<Self> {
        let inside = (probability * values as f64).round() as usize;
        let outside = values.saturating_sub(inside);
        let below = outside.div_ceil(2);
        (inside > 0 && outside > 0).then_some(Self { outside, below })
    }
}

/// Both intervals and the sampling errors of the symmetric one.
pub(super) struct Intervals {
    pub(super) symmetric: Interval,
    pub(super) symmetric_error: (f64, f64),
    pub(super) shortest: Interval,
}

impl Intervals {
    pub(super) fn of(values: &[f64], probability: f64, threads: usize) -> Option<Self> {
        let ranks = Ranks::of(values.len(), probability)?;
        let Tails { low, high } = Tails::of(values, ranks.outside, threads);
        // Ordered values y(r) and y(r + q), r from 1 to M - q, stand beside each other in the two tails.
        let widths = || low.iter().zip(&high).map(|(low, high)| high - low);
        let narrowest = widths()
            .enumerate()
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |(r, _)| r);
        let symmetric = ranks.below - 1;
        // The rank of a quantile is known to about ±√(M α(1 - α)): half the distance of the values at those ranks.
        let share = ranks.below as f64 / values.len() as f64;
        let step = (ranks.below as f64 * (1.0 - share)).sqrt().ceil() as usize;
        let error = |tail: &[f64]| {
            let (a, b) = (
                symmetric.saturating_sub(step),
                (symmetric + step).min(tail.len() - 1),
            );
            (tail[b] - tail[a]) * step as f64 / (b - a).max(1) as f64
        };
        let interval = |r: usize| Interval {
            lower: low[r],
            upper: high[r],
        };
        Some(Self {
            symmetric: interval(symmetric),
            symmetric_error: (error(&low), error(&high)),
            shortest: interval(narrowest),
        })
    }
}
