//! What goes into the flask beside the standard or the sample, and a blank where it is worth one.
//!
//! Data: `reference/planning/added.toml`, by the species of the titration.

use super::case::Case;
use super::curve::plain;
use super::indicators::Ranked;
use super::notes::{Hazard, said, sourced};
use crate::rule_profile::Mark;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// What goes into the flask for one run.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Added {
    /// Water.
    pub water: String,
    /// Reagents: what and how much.
    pub reagents: Vec<Reagent>,
    /// The indicator: what and how much; none if the titrant shows its own end or none is good.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub indicator: Option<Reagent>,
    /// What has to be done in which order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order: Option<String>,
    /// Why a blank is worth it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub blank: Option<String>,
    /// Where it comes from, and how sure that is.
    pub source: String,
    /// Hazards of the reagents.
    #[serde(skip)]
    pub(super) hazards: Vec<Hazard>,
}

/// A reagent.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reagent {
    /// What.
    pub what: String,
    /// How much.
    pub amount: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    added: Vec<Record>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Record {
    flask: String,
    titrant: String,
    water: String,
    #[serde(default)]
    add: Vec<ReagentRecord>,
    #[serde(default)]
    indicator: BTreeMap<String, String>,
    #[serde(default)]
    order: Option<String>,
    #[serde(default)]
    blank: Option<String>,
    source: String,
    mark: Mark,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ReagentRecord {
    what: String,
    amount: String,
    #[serde(default)]
    hazards: Vec<String>,
}

static FILE: LazyLock<File> = LazyLock::new(|| {
    let text = include_str!("../../../../reference/planning/added.toml");
    match toml::from_str(text) {
        Ok(file) => file,
        Err(error) => panic!("the embedded file reference/planning/added.toml is broken: {error}"),
    }
});

/// What goes into the flask; none if nothing is known of this titration.
pub(super) fn added(case: &Case, indicator: Option<&Ranked>) -> Option<Added> {
    let titration = case.titration?;
    let (flask, titrant) = (
        titration.standard_acts_as.to_string(),
        titration.titrant_acts_as.to_string(),
    );
    let same = |written: &str, species: &str| plain(written) == plain(species);
    let with_titrant = || FILE.added.iter().filter(|r| same(&r.titrant, &titrant));
    let record = with_titrant()
        .find(|r| same(&r.flask, &flask))
        .or_else(|| with_titrant().find(|r| r.flask == "any"))?;
    let indicator = indicator.and_then(|ranked| {
        let amount = record
            .indicator
            .get(ranked.key.as_deref()?)
            .or_else(|| record.indicator.get("any"))?;
        Some(Reagent {
            what: ranked.name.clone(),
            amount: amount.clone(),
        })
    });
    Some(Added {
        water: record.water.clone(),
        reagents: record
            .add
            .iter()
            .map(|r| Reagent {
                what: r.what.clone(),
                amount: r.amount.clone(),
            })
            .collect(),
        indicator,
        order: record.order.clone(),
        blank: record.blank.clone(),
        source: sourced(&record.source, record.mark),
        hazards: record
            .add
            .iter()
            .filter(|r| !r.hazards.is_empty())
            .map(|r| Hazard {
                about: r.what.split(" (").next().unwrap_or_default().to_owned(),
                statements: r.hazards.iter().map(|code| said(code)).collect(),
            })
            .collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chemistry::indicators::Indicator;
    use chemistry::substances::Catalogue;

    #[test]
    fn every_entry_names_a_titration_of_the_catalogue_and_known_indicators() {
        for record in &FILE.added {
            let known = Catalogue::embedded().titrations().iter().any(|t| {
                (record.flask == "any"
                    || plain(&t.standard_acts_as.to_string()) == plain(&record.flask))
                    && plain(&t.titrant_acts_as.to_string()) == plain(&record.titrant)
            });
            assert!(known, "{} with {}", record.flask, record.titrant);
            for key in record.indicator.keys().filter(|key| *key != "any") {
                assert!(Indicator::named(key).is_ok(), "{key}");
            }
            for code in record.add.iter().flat_map(|r| &r.hazards) {
                assert!(said(code).contains('('), "{code} has no gist");
            }
        }
    }
}
