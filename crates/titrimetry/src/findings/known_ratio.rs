//! A result that stands to nominal as a known slip makes it: equivalents for moles, a dilution left out, the wrong hydrate.
//!
//! Source: `reference/slips/ratios.toml`; hydrates from the relatives of `reference/substances/` by their molar masses.

use super::case::Case;
use super::embedded;
use super::words::digits;
use crate::evaluation::Evaluation;
use crate::finding::{Finding, Severity};
use chemistry::atomic_weights::AtomicWeights;
use chemistry::molar_mass::MolarMass;
use chemistry::substances::{Catalogue, Substance};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// A hydrate matches this closely (relative): the solution itself is rarely made up closer.
const HYDRATE_WITHIN: f64 = 0.015;

/// Ratios closer to one than this are everyday deviations from nominal and betray nothing.
const TELLING: f64 = 0.06;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    sources: BTreeMap<String, String>,
    ratio: Vec<Ratio>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Ratio {
    ratio: f64,
    within: f64,
    #[serde(default)]
    substances: Vec<String>,
    above: String,
    below: String,
    mark: String,
    source: String,
}

/// Read and validated once; the tests do so.
static FILE: LazyLock<File> = LazyLock::new(|| {
    let file: File = embedded::read(
        "slips/ratios.toml",
        include_str!("../../../../reference/slips/ratios.toml"),
    );
    for entry in &file.ratio {
        embedded::check_source(
            "slips/ratios.toml",
            &file.sources,
            &entry.source,
            &entry.mark,
        );
    }
    file
});

/// A ratio that the result is close to, and what it may mean.
pub(crate) struct Match {
    pub(crate) ratio: f64,
    pub(crate) meaning: String,
}

impl Match {
    /// The ratio as it is said: 2, 1.107, 1/10.
    pub(crate) fn written(&self) -> String {
        if self.ratio > 1.0 {
            short(self.ratio)
        } else {
            format!("1/{}", short(1.0 / self.ratio))
        }
    }
}

/// Collects what a ratio of result to truth is close to; the closest wins.
pub(crate) struct Search {
    ratio: f64,
    best: Option<(f64, Match)>,
}

impl Search {
    pub(crate) fn of(ratio: f64) -> Self {
        Self { ratio, best: None }
    }

    /// Tries a ratio that a slip makes.
    pub(crate) fn one(&mut self, ratio: f64, within: f64, meaning: impl FnOnce() -> String) {
        let off = (self.ratio / ratio).ln().abs();
        let telling = (ratio - 1.0).abs() > TELLING;
        if telling && off <= within && self.best.as_ref().is_none_or(|(least, _)| off < *least) {
            let meaning = meaning();
            self.best = Some((off, Match { ratio, meaning }));
        }
    }

    /// Tries the ratios of the reference data that hold for these substances.
    pub(crate) fn known(&mut self, substances: &[&Substance]) {
        let is_one_of = |names: &[String]| {
            names.is_empty() || substances.iter().any(|s| names.contains(&s.name))
        };
        for entry in FILE.ratio.iter().filter(|r| is_one_of(&r.substances)) {
            self.one(entry.ratio, entry.within, || entry.above.clone());
            self.one(1.0 / entry.ratio, entry.within, || entry.below.clone());
        }
    }

    /// Tries a ratio of molar masses of two forms of a substance.
    pub(crate) fn form(&mut self, ratio: f64, meaning: impl FnOnce() -> String) {
        self.one(ratio, HYDRATE_WITHIN, meaning);
    }

    pub(crate) fn found(self) -> Option<Match> {
        self.best.map(|(_, found)| found)
    }
}

/// The finding, if the result is close to such a ratio.
pub(super) fn slip(case: &Case<'_>) -> Option<Finding> {
    let evaluation = case.facts.determination?;
    let factor = evaluation.factor.as_ref()?;
    let found = matching(evaluation)?;
    let nominal = if found.ratio > 1.0 {
        format!("{} times nominal", digits(factor.value, 4))
    } else {
        format!("1/{} of nominal", digits(1.0 / factor.value, 4))
    };
    let close = found.written();
    Some(
        Finding::new(
            "known-ratio",
            Severity::Doubt,
            format!(
                "The result is {nominal} ({}), close to {close}: {}?",
                factor.nominal_written, found.meaning
            ),
            "Check the bottle's label, the unit and the dilution against the sheet before anything is titrated again.",
        )
        .sized(factor.value, "times nominal")
        .shifting(found.ratio - 1.0),
    )
}

/// Three decimals at most: 2, 1.107.
fn short(ratio: f64) -> String {
    let text = format!("{ratio:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

/// The closest known ratio within its tolerance.
pub(super) fn matching(evaluation: &Evaluation) -> Option<Match> {
    let factor = evaluation.factor.as_ref()?.value;
    if !(factor > 0.0 && factor.is_finite()) {
        return None;
    }
    let mut search = Search::of(factor);
    let catalogue = Catalogue::embedded();
    let known = catalogue.find(&evaluation.sheet.known.substance).ok();
    let sought = catalogue.find(&evaluation.sheet.sought.substance).ok();
    let substances: Vec<&Substance> = [known, sought].into_iter().flatten().collect();
    search.known(&substances);
    // A known substance that is another form than the sheet says: its amount, and with it the result, is too high by
    // the ratio of molar masses, in either layout.
    if let Some(own) = known.filter(|_| evaluation.sheet.known.purity.is_some()) {
        for (name, ratio) in relatives(own) {
            search.form(ratio, || {
                format!("is it {name} that was weighed, and not {}", own.name)
            });
        }
    }
    // A sought solution made by the molar mass of another form.
    if let Some(own) = sought {
        for (name, ratio) in relatives(own) {
            search.form(1.0 / ratio, || {
                format!("was {name} weighed out by the molar mass of {}", own.name)
            });
            search.form(ratio, || {
                format!("was {} weighed out by the molar mass of {name}", own.name)
            });
        }
    }
    search.found()
}

/// Other forms of a substance: name, and their molar mass over its own.
pub(crate) fn relatives(own: &Substance) -> Vec<(&str, f64)> {
    let weights = AtomicWeights::default_set();
    let mass = |formula| MolarMass::of(formula, weights).ok().map(|m| m.value());
    let Some(own_mass) = mass(&own.formula) else {
        return Vec::new();
    };
    own.relatives
        .iter()
        .filter_map(|r| Some((r.name.as_str(), mass(&r.formula)? / own_mass)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::made::Made;
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    fn found(made: &Made) -> Option<Finding> {
        let evaluation = made.evaluate();
        slip(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn the_file_is_sound() {
        for entry in &FILE.ratio {
            assert!(entry.ratio > 1.0 && entry.within > 0.0 && entry.within < 0.1);
            for name in &entry.substances {
                assert_eq!(&Catalogue::embedded().find(name).unwrap().name, name);
            }
        }
    }

    #[test]
    fn hydrate_ratios_are_those_computed_elsewhere() {
        // Computed from molar masses elsewhere (oxalic acid 1.40018, thiosulfate 1.56975, disodium EDTA 1.10717) or by
        // hand from CIAAW 2021: 286.138/105.988, 392.125/284.035, 381.363/291.288 (deviation: trade notes print 1.380
        // for the second, which is 1.3805).
        for (substance, relative, expected) in [
            ("anhydrous oxalic acid", "oxalic acid dihydrate", 1.40018),
            (
                "sodium thiosulfate",
                "sodium thiosulfate pentahydrate",
                1.56975,
            ),
            (
                "disodium EDTA dihydrate",
                "anhydrous disodium EDTA",
                1.10717,
            ),
            ("sodium carbonate", "sodium carbonate decahydrate", 2.69972),
            (
                "ammonium iron(II) sulfate hexahydrate",
                "anhydrous ammonium iron(II) sulfate",
                1.38055,
            ),
            ("borax", "sodium tetraborate pentahydrate", 1.30923),
        ] {
            let catalogue = Catalogue::embedded();
            let own = catalogue
                .substances()
                .iter()
                .find(|s| {
                    s.name == substance
                        || s.synonyms.iter().any(|n| n == substance)
                        || catalogue.find(substance).is_ok_and(|f| f.name == s.name)
                })
                .unwrap_or_else(|| panic!("{substance}"));
            let (_, ratio) = relatives(own)
                .into_iter()
                .find(|(name, _)| *name == relative)
                .unwrap_or_else(|| panic!("{substance}: {relative}"));
            let ratio = if ratio < 1.0 { 1.0 / ratio } else { ratio };
            assert!(
                (ratio / expected - 1.0).abs() < 2e-5,
                "{substance}: {ratio}"
            );
        }
    }

    #[test]
    fn half_double_and_ten_times_are_recognized_in_both_layouts() {
        for layout in [Layout::SoughtInBurette, Layout::SoughtInFlask] {
            for (nominal, close) in [
                (0.05, "2:"),
                (0.2, "1/2:"),
                (0.01, "10:"),
                (1.0, "1/10:"),
                (0.02, "5:"),
            ] {
                let finding = found(&Made::clean(layout).nominal(nominal)).unwrap();
                assert!(
                    finding.message.contains(&format!("close to {close}")),
                    "{}",
                    finding.message
                );
            }
            for ordinary in [0.1, 0.103, 0.094, 0.15, 0.13] {
                assert_eq!(
                    found(&Made::clean(layout).nominal(ordinary)),
                    None,
                    "{ordinary}"
                );
            }
        }
    }

    #[test]
    fn potassium_for_sodium_hydroxide_is_recognized_where_it_can_be() {
        let finding = found(&Made::clean(Layout::SoughtInBurette).nominal(0.1403)).unwrap();
        assert!(
            finding.message.contains("potassium hydroxide weighed"),
            "{}",
            finding.message
        );
        assert!(finding.effect.unwrap() < 0.0);
    }
}
