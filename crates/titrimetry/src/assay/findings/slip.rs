//! A result that stands to what is expected as a known slip makes it: dilution, basis of expression, hydrate, factor.
//!
//! Source: `reference/slips/ratios.toml`; molar masses; the dilutions and factors of sheet and method.

use super::One;
use crate::findings::known_ratio::{Match, Search, relatives};
use chemistry::substances::{Catalogue, Substance};

/// Bases of expression and dilutions match this closely: they are exact, but the result is not.
const WITHIN: f64 = 0.02;

/// A known slip that makes this ratio of found to expected.
pub(super) fn slip(one: &One<'_>, ratio: f64) -> Option<Match> {
    if !(ratio > 0.0 && ratio.is_finite()) {
        return None;
    }
    let method = &one.assay.method;
    let catalogue = Catalogue::embedded();
    let titrant = catalogue.find(&method.titrant.substance).ok();
    let reagents = method
        .reagent
        .iter()
        .filter_map(|r| catalogue.find(&r.substance).ok());
    let substances: Vec<&Substance> = titrant.into_iter().chain(reagents).collect();
    let mut search = Search::of(ratio);
    // Of equally close ones the first is kept: what this sheet says comes before what is usual.
    for dilution in super::portion::dilutions(one) {
        search.one(dilution.times(), WITHIN, || dilution.left_out());
        search.one(1.0 / dilution.times(), WITHIN, || dilution.done_twice());
    }
    search.known(&substances);
    let first = &one.sample.results[0];
    // The same content on another basis is another number.
    let unit = first.formula.unit_of(first.formula.result_index());
    for other in &one.sample.results[1..] {
        let same = other
            .formula
            .unit_of(other.formula.result_index())
            .dimension()
            == unit.dimension();
        let of_one = one
            .assay
            .method
            .result
            .iter()
            .find(|r| r.name == other.name);
        let same_analyte = of_one.is_some_and(|r| r.of == method.result[0].of);
        if same && same_analyte && other.budget.value > 0.0 {
            search.one(first.budget.value / other.budget.value, WITHIN, || {
                format!(
                    "is the expected value stated as {}, and not as {}",
                    other.expressed_as, first.expressed_as
                )
            });
        }
    }
    if let Ok(own) = catalogue.find(&first.expressed_as) {
        for (name, over) in relatives(own) {
            search.form(1.0 / over, || {
                format!(
                    "is the expected value stated as {name}, and not as {}",
                    own.name
                )
            });
        }
    }
    // Where all that is measured is titrant, its error is the result's.
    if let Some(own) = titrant.filter(|_| method.reagent.is_empty()) {
        for (name, over) in relatives(own) {
            search.form(over, || {
                format!(
                    "was {name} weighed out for the titrant by the molar mass of {}",
                    own.name
                )
            });
            search.form(1.0 / over, || {
                format!(
                    "was {} weighed out for the titrant by the molar mass of {name}",
                    own.name
                )
            });
        }
    }
    if let Some(factor) = &method.result[0].times {
        let value = factor.value.value.quantity().number.value();
        search.one(value, WITHIN, || {
            format!(
                "does the expected value lack the factor {value} ({})",
                factor.name
            )
        });
        search.one(1.0 / value, WITHIN, || {
            format!(
                "does the expected value hold the factor {value} ({}) twice",
                factor.name
            )
        });
    }
    search.found()
}
