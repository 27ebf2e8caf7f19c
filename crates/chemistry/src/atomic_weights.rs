//! Standard atomic weights as named sets of data.
//!
//! The tabulated uncertainty of a standard atomic weight bounds the value; it is read as the half-width of a
//! rectangular distribution. Source of that reading: A. Possolo, A. M. H. van der Veen, J. Meija, D. B. Hibbert,
//! "Interpreting and propagating the uncertainty of the standard atomic weights (IUPAC Technical Report)",
//! Pure Appl. Chem. 90 (2018) 395-424, doi:10.1515/pac-2016-0402; EURACHEM/CITAC CG4 A2 does the same.
//!
//! The values are in `reference/atomic-weights/`, one file a set. Sets differ by up to 50 ppm in a molar mass, so the
//! set's name belongs to every result.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde::Deserialize;
use thiserror::Error;

use crate::elements::{Element, ElementError};

/// Standard atomic weight of one element: value and bound, dimensionless (numerically g/mol).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AtomicWeight {
    /// Value.
    pub value: f64,
    /// Half-width of the rectangular distribution: the tabulated uncertainty.
    pub half_width: f64,
    /// Decimals of the tabulated value; they are kept when it is printed (1.0080, not 1.008).
    pub decimals: usize,
}

impl AtomicWeight {
    /// Standard uncertainty, half-width over the square root of 3.
    pub fn standard_uncertainty(self) -> f64 {
        self.half_width / 3.0_f64.sqrt()
    }

    /// Reads `39.0983(1)`, `207.2(1.1)`: value, then its uncertainty in the last digits or in full.
    fn parse(text: &str) -> Option<Self> {
        let (value, bracket) = text.strip_suffix(')')?.split_once('(')?;
        let decimals = value.split_once('.').map_or(0, |(_, d)| d.len());
        let plain = |s: &str| !s.is_empty() && s.chars().all(|c| c.is_ascii_digit() || c == '.');
        if !plain(value) || !plain(bracket) {
            return None;
        }
        let half_width = if bracket.contains('.') {
            bracket.parse::<f64>().ok()?
        } else {
            format!("{bracket}e-{decimals}").parse::<f64>().ok()?
        };
        let value = value.parse::<f64>().ok()?;
        (value > 0.0 && half_width > 0.0 && half_width < value).then_some(Self {
            value,
            half_width,
            decimals,
        })
    }
}

/// A named set of standard atomic weights.
#[derive(Clone, Debug, PartialEq)]
pub struct AtomicWeights {
    name: String,
    synonyms: Vec<String>,
    source: String,
    weights: BTreeMap<Element, AtomicWeight>,
}

/// Why a set of atomic weights cannot be read or does not have what is asked.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum AtomicWeightError {
    /// No set carries this name.
    #[error("no set of atomic weights is named `{asked}`; there are: {}", .known.join("; "))]
    UnknownSet {
        /// The name asked for.
        asked: String,
        /// Names of the sets there are.
        known: Vec<String>,
    },
    /// The element has no standard atomic weight (no stable isotope), or a small set leaves it out.
    #[error("{} ({element}) has no standard atomic weight in the set `{set}`", element.name())]
    NoWeight {
        /// The element.
        element: Element,
        /// Name of the set.
        set: String,
    },
    /// The data file is not of the form expected.
    #[error("atomic weights: {0}")]
    Format(String),
    /// A key under `[weights]` or `[intervals]` is not an element.
    #[error("atomic weights: {0}")]
    Element(#[from] ElementError),
    /// A value is not of the form `value(uncertainty)`.
    #[error("atomic weight of {element}: `{text}` is not of the form 39.0983(1)")]
    Value {
        /// The element.
        element: Element,
        /// What is written there.
        text: String,
    },
    /// Value and uncertainty do not cover the interval of the standard atomic weight.
    #[error("atomic weight of {element}: {text} does not cover the interval from {low} to {high}")]
    Interval {
        /// The element.
        element: Element,
        /// Value and uncertainty as written.
        text: String,
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
}

/// The data file as written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SetRecord {
    name: String,
    synonyms: Vec<String>,
    source: String,
    #[serde(rename = "seen_in")]
    _seen_in: String,
    distribution: Distribution,
    #[serde(rename = "distribution_source")]
    _distribution_source: String,
    weights: BTreeMap<String, String>,
    #[serde(default)]
    intervals: BTreeMap<String, [f64; 2]>,
}

/// The one reading of the tabulated uncertainty that is supported; the file states it so that a reader sees it.
#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
enum Distribution {
    Rectangular,
}

impl AtomicWeights {
    /// Reads a set from the text of a data file and validates it.
    ///
    /// # Errors
    /// A broken file, an unknown element, a value without uncertainty, or a value whose bound misses its interval.
    pub fn from_toml(text: &str) -> Result<Self, AtomicWeightError> {
        let record: SetRecord =
            toml::from_str(text).map_err(|e| AtomicWeightError::Format(e.to_string()))?;
        let Distribution::Rectangular = record.distribution;
        let mut weights = BTreeMap::new();
        for (symbol, text) in &record.weights {
            let element = Element::from_symbol(symbol)?;
            let weight = AtomicWeight::parse(text).ok_or_else(|| AtomicWeightError::Value {
                element,
                text: text.clone(),
            })?;
            weights.insert(element, weight);
        }
        for (symbol, [low, high]) in record.intervals {
            let element = Element::from_symbol(&symbol)?;
            let covered = weights.get(&element).is_some_and(|w| {
                // The ends are decimals of the same table, so a bound may meet an end exactly but for rounding.
                let slack = 4.0 * f64::EPSILON * w.value;
                w.value - w.half_width <= low + slack && high <= w.value + w.half_width + slack
            });
            if !covered {
                let text = record.weights.get(&symbol).cloned().unwrap_or_default();
                return Err(AtomicWeightError::Interval {
                    element,
                    text,
                    low,
                    high,
                });
            }
        }
        Ok(Self {
            name: record.name,
            synonyms: record.synonyms,
            source: record.source,
            weights,
        })
    }

    /// The set used unless another is asked for: CIAAW 2021, with the abridged value for elements whose standard
    /// atomic weight is an interval.
    pub fn default_set() -> &'static Self {
        &SETS[0]
    }

    /// The set with this name (or synonym), upper or lower case.
    ///
    /// # Errors
    /// [`AtomicWeightError::UnknownSet`], naming those there are.
    pub fn named(name: &str) -> Result<&'static Self, AtomicWeightError> {
        let asked = name.trim();
        let is_it = |set: &&Self| {
            std::iter::once(&set.name)
                .chain(&set.synonyms)
                .any(|n| n.eq_ignore_ascii_case(asked))
        };
        SETS.iter()
            .find(is_it)
            .ok_or_else(|| AtomicWeightError::UnknownSet {
                asked: asked.chars().take(60).collect(),
                known: SETS.iter().map(|s| s.name.clone()).collect(),
            })
    }

    /// All embedded sets, the default first.
    pub fn all() -> &'static [Self] {
        &SETS
    }

    /// Name of the set, to stand beside every result that rests on it.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Where the values are published.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The standard atomic weight of an element.
    ///
    /// # Errors
    /// [`AtomicWeightError::NoWeight`] for elements without one, as technetium.
    pub fn get(&self, element: Element) -> Result<AtomicWeight, AtomicWeightError> {
        let none = || AtomicWeightError::NoWeight {
            element,
            set: self.name.clone(),
        };
        self.weights.get(&element).copied().ok_or_else(none)
    }

    /// All elements of the set with their weights, by atomic number.
    pub fn iter(&self) -> impl Iterator<Item = (Element, AtomicWeight)> + '_ {
        self.weights.iter().map(|(e, w)| (*e, *w))
    }
}

static SETS: LazyLock<Vec<AtomicWeights>> = LazyLock::new(|| {
    [
        include_str!("../../../reference/atomic-weights/ciaaw-2021.toml"),
        include_str!("../../../reference/atomic-weights/ciaaw-2021-abridged.toml"),
        include_str!("../../../reference/atomic-weights/eurachem-citac-2012.toml"),
    ]
    .into_iter()
    .map(|text| {
        AtomicWeights::from_toml(text)
            .expect("embedded atomic weights are valid, as their test shows")
    })
    .collect()
});

#[cfg(test)]
mod tests {
    use super::*;

    fn weight(set: &AtomicWeights, symbol: &str) -> AtomicWeight {
        set.get(Element::from_symbol(symbol).unwrap()).unwrap()
    }

    #[test]
    fn embedded_sets_are_valid_and_named_apart() {
        let names: Vec<_> = AtomicWeights::all()
            .iter()
            .map(AtomicWeights::name)
            .collect();
        assert_eq!(
            names,
            [
                "CIAAW 2021, intervals abridged",
                "CIAAW 2021 abridged",
                "EURACHEM/CITAC A2"
            ]
        );
        for name in names {
            assert_eq!(AtomicWeights::named(name).unwrap().name(), name);
        }
        assert_eq!(
            AtomicWeights::named(" ciaaw 2021 ").unwrap(),
            AtomicWeights::default_set()
        );
        assert!(
            AtomicWeights::named("1904")
                .unwrap_err()
                .to_string()
                .contains("CIAAW 2021 abridged")
        );
    }

    #[test]
    fn both_2021_sets_have_the_84_elements() {
        // 84 elements have a standard atomic weight: all to bismuth but Tc and Pm, and Th, Pa, U.
        for set in &AtomicWeights::all()[..2] {
            assert_eq!(set.iter().count(), 84);
        }
    }

    #[test]
    fn the_five_digit_set_agrees_within_its_bound() {
        let (full, five) = (AtomicWeights::default_set(), &AtomicWeights::all()[1]);
        for (element, weight) in full.iter() {
            let abridged = five.get(element).unwrap();
            assert!(
                (weight.value - abridged.value).abs() <= abridged.half_width,
                "{element}"
            );
            assert!(
                weight.half_width <= abridged.half_width * (1.0 + 1e-9),
                "{element}"
            );
        }
    }

    #[test]
    fn concise_notation_is_read() {
        let set = AtomicWeights::default_set();
        let near = |a: f64, b: f64| (a / b - 1.0).abs() < 1e-12;
        assert!(near(weight(set, "K").value, 39.0983) && near(weight(set, "K").half_width, 0.0001));
        assert!(near(weight(set, "Pb").value, 207.2) && near(weight(set, "Pb").half_width, 1.1));
        assert!(near(weight(set, "Yb").half_width, 0.010));
        assert!(near(
            weight(set, "K").standard_uncertainty(),
            0.0001 / 3.0_f64.sqrt()
        ));
        for bad in [
            "39.0983",
            "39.0983()",
            "(1)",
            "a(1)",
            "1.0(20)",
            "-1.0(1)",
            "1e5(1)",
            "1.0(1))",
            "1.0(0)",
        ] {
            assert!(AtomicWeight::parse(bad).is_none(), "{bad}");
        }
    }

    #[test]
    fn technetium_has_no_standard_atomic_weight() {
        let technetium = Element::from_symbol("Tc").unwrap();
        let error = AtomicWeights::default_set().get(technetium).unwrap_err();
        assert!(
            error
                .to_string()
                .starts_with("technetium (Tc) has no standard atomic weight")
        );
    }

    #[test]
    fn a_broken_set_is_refused() {
        let head = "name='x'\nsynonyms=[]\nsource='s'\nseen_in='s'\ndistribution='rectangular'\ndistribution_source='s'\n";
        let read = |rest: &str| AtomicWeights::from_toml(&format!("{head}{rest}"));
        assert!(read("[weights]\nH='1.0080(2)'").is_ok());
        assert!(matches!(
            read("[weights]\nQ='1.0080(2)'"),
            Err(AtomicWeightError::Element(_))
        ));
        assert!(matches!(
            read("[weights]\nH='1.0080'"),
            Err(AtomicWeightError::Value { .. })
        ));
        let narrow = read("[weights]\nH='1.0080(1)'\n[intervals]\nH=[1.00784, 1.00811]");
        assert!(matches!(narrow, Err(AtomicWeightError::Interval { .. })));
        assert!(matches!(
            read("[weight]"),
            Err(AtomicWeightError::Format(_))
        ));
    }
}
