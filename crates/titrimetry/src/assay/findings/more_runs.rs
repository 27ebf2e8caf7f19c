//! What one more run would bring a sample.

use super::repeats::repeatability;
use super::{Assay, One, SampleOutcome};
use crate::rule_profile::RuleProfile;

/// The expanded uncertainty of a sample's first result, in its unit, if each titration had one more run that scatters as
/// the others do. The coverage factor is kept, so a small set gains a little more than is said. None where the result has
/// no scatter of its own.
pub fn with_one_more_run(assay: &Assay, sample: &SampleOutcome) -> Option<f64> {
    let first = sample.results.first()?;
    let one = One {
        assay,
        sample,
        profile: RuleProfile::shipped().first()?,
    };
    let counts = sample.titrations.iter().map(|t| one.counting(t).len());
    let runs = counts.min().filter(|runs| *runs > 0)? as f64;
    let u = first.standard_uncertainty;
    let scatter = repeatability(assay, sample)?.0 * first.value.abs();
    // The mean of n runs carries a variance of s²/n, that of n + 1 runs s²/(n + 1).
    let left = u * u - scatter * scatter / (runs + 1.0);
    (u > 0.0 && left > 0.0).then(|| first.expanded.expanded_uncertainty * left.sqrt() / u)
}
