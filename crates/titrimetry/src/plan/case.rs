//! The case: wishes with every gap filled, and the list of what was assumed to fill it.

use super::PlanError;
use super::shelf::Cupboard;
use super::wishes::Wishes;
use crate::evaluation::stoichiometry::species;
use crate::layout::Layout;
use crate::sheet::{Concentration, Fraction, Kind, Stated, Written};
use chemistry::atomic_weights::AtomicWeights;
use chemistry::formula::Formula;
use chemistry::molar_mass::MolarMass;
use chemistry::substances::{self, Catalogue, Substance, Titration};

/// How far a solution that was made with ordinary care is off its nominal strength (common practice; the
/// pharmacopoeias allow 10 %).
const STRENGTH_WITHIN: f64 = 0.05;
/// How far a sample's content is off what is expected, where nothing is said (own choice).
const CONTENT_WITHIN: f64 = 0.20;
/// Strengths that titrants are made in, mol/L (common practice).
const USUAL_STRENGTHS: [&str; 6] = ["0.01", "0.02", "0.05", "0.1", "0.2", "0.5"];

/// A substance of the case.
#[derive(Clone, Debug, PartialEq)]
pub struct Party {
    /// As the wishes name it.
    pub name: String,
    /// What is weighed or counted.
    pub formula: Formula,
    /// The catalogue's record.
    pub record: Option<&'static Substance>,
    /// Molar mass, g/mol, without its uncertainty: for amounts to weigh, never for a result.
    pub molar_mass: f64,
}

/// What stands opposite the titrant.
#[derive(Clone, Debug)]
pub enum Opposite {
    /// A primary standard of known purity: the titrant is sought.
    Standard {
        /// Its purity.
        purity: Stated<Fraction>,
    },
    /// A sample of roughly known content: the titrant is known.
    Sample {
        /// Expected content, mol/L.
        expected: f64,
        /// How far it may be off, relative.
        within: f64,
        /// The titrant's concentration; its value is replaced by each strength tried, the relative uncertainty kept.
        titrant: Stated<Concentration>,
    },
}

/// Wishes with every gap filled.
#[derive(Clone, Debug)]
pub struct Case {
    /// The wishes.
    pub wishes: Wishes,
    /// What it is called.
    pub title: String,
    /// What is in the burette.
    pub titrant: Party,
    /// What is in the flask.
    pub flask: Party,
    /// Standard or sample.
    pub opposite: Opposite,
    /// The titration of the catalogue, if it knows it.
    pub titration: Option<&'static Titration>,
    /// Strengths to try, mol/L as written.
    pub strengths: Vec<Written<Concentration>>,
    /// How far the true strength may be off nominal, relative.
    pub strength_within: f64,
    /// Glass and balance.
    pub cupboard: Cupboard,
    /// What was assumed.
    pub assumptions: Vec<String>,
}

impl Case {
    /// Fills the gaps.
    ///
    /// # Errors
    /// [`PlanError::Entry`] naming the entry that cannot be used.
    pub fn of(wishes: &Wishes) -> Result<Self, PlanError> {
        let mut assumptions = Vec::new();
        let titrant = party(&wishes.titrant.substance, "titrant.substance")?;
        if wishes.standard.is_some() && wishes.sample.is_some() {
            return Err(PlanError::entry(
                "sample",
                "both a standard and a sample are given: plan the standardization and the assay apart, each in its own file",
            ));
        }
        let (flask, opposite) = match (&wishes.standard, &wishes.sample) {
            (_, Some(sample)) => {
                let flask = party(&sample.substance, "sample.substance")?;
                let expected = content(&sample.expected, flask.molar_mass)?;
                let within = match &sample.within {
                    Some(within) => share(within, "sample.within")?,
                    None => {
                        assumptions.push(format!(
                            "content of the sample within {:.0} % of what is expected",
                            CONTENT_WITHIN * 100.0
                        ));
                        CONTENT_WITHIN
                    }
                };
                let titrant = known_titrant(wishes, &mut assumptions)?;
                (
                    flask,
                    Opposite::Sample {
                        expected,
                        within,
                        titrant,
                    },
                )
            }
            (Some(standard), None) => (
                party(&standard.substance, "standard.substance")?,
                Opposite::Standard {
                    purity: purity(standard.purity.clone(), &mut assumptions),
                },
            ),
            (None, None) => {
                let name = usual_standard(&titrant).ok_or_else(|| {
                    PlanError::entry(
                        "standard",
                        format!(
                            "the catalogue has no primary standard for {}; name one, with the reaction",
                            titrant.name
                        ),
                    )
                })?;
                assumptions.push(format!("standard: {name}, the usual one (none named)"));
                (
                    party(name, "standard.substance")?,
                    Opposite::Standard {
                        purity: purity(None, &mut assumptions),
                    },
                )
            }
        };
        let titration = match (titrant.record, flask.record) {
            (Some(a), Some(b)) => Catalogue::embedded()
                .stoichiometry(a, b)
                .ok()
                .map(|found| found.titration),
            _ => None,
        };
        let strengths = strengths(wishes, &mut assumptions)?;
        let strength_within = match (&wishes.titrant.within, &opposite) {
            (Some(within), _) => share(within, "titrant.within")?,
            // A standardized titrant is known; its small uncertainty does not move the titre.
            (None, Opposite::Sample { .. }) if wishes.titrant.concentration.is_some() => 0.0,
            (None, _) => {
                assumptions.push(format!(
                    "true strength of the titrant within {:.0} % of nominal (common practice)",
                    STRENGTH_WITHIN * 100.0
                ));
                STRENGTH_WITHIN
            }
        };
        let cupboard = Cupboard::of(&wishes.shelf, &mut assumptions)?;
        let title = wishes.title.clone().unwrap_or_else(|| {
            let other = match &wishes.sample {
                Some(sample) => sample.name.clone().unwrap_or_else(|| flask.name.clone()),
                None => flask.name.clone(),
            };
            format!("{} against {other}", titrant.name)
        });
        Ok(Self {
            wishes: wishes.clone(),
            title,
            titrant,
            flask,
            opposite,
            titration,
            strengths,
            strength_within,
            cupboard,
            assumptions,
        })
    }

    /// What is known and what is sought.
    pub fn layout(&self) -> Layout {
        match self.opposite {
            Opposite::Standard { .. } => Layout::SoughtInBurette,
            Opposite::Sample { .. } => Layout::SoughtInFlask,
        }
    }
}

/// A quantity written with so many decimals.
pub(super) fn written<K: Kind>(value: f64, decimals: usize, unit: &str) -> Written<K> {
    let text = format!("{value:.decimals$} {unit}");
    match text.parse() {
        Ok(written) => written,
        // A finite number with a unit of the kind always reads.
        Err(_) => unreachable!("{text} reads as a quantity"),
    }
}

fn party(text: &str, path: &str) -> Result<Party, PlanError> {
    let found = species(text, path)?;
    let formula = found.formulas[0].clone();
    let molar_mass = MolarMass::of(&formula, AtomicWeights::default_set())
        .map_err(|error| PlanError::entry(path, error.to_string()))?
        .value();
    Ok(Party {
        name: found
            .record
            .map_or_else(|| text.to_owned(), |record| record.name.clone()),
        formula,
        record: found.record,
        molar_mass,
    })
}

/// A share above 0 and below 1.
fn share(written: &Written<Fraction>, path: &str) -> Result<f64, PlanError> {
    let value = written.value();
    if value > 0.0 && value < 1.0 {
        Ok(value)
    } else {
        Err(PlanError::entry(
            path,
            format!("{written} is not a share above 0 and below 100 %"),
        ))
    }
}

/// Content in mol/L from an amount or a mass concentration.
fn content(expected: &Written<crate::sheet::Anything>, molar_mass: f64) -> Result<f64, PlanError> {
    let path = "sample.expected";
    let quantity = expected.quantity();
    let unit = |text: &str| text.parse::<metrology::Unit>().unwrap_or_default();
    let value = if let Ok(amount) = quantity.value_in(&unit("mol/L")) {
        amount
    } else if let Ok(mass) = quantity.value_in(&unit("g/L")) {
        mass / molar_mass
    } else {
        return Err(PlanError::entry(
            path,
            format!(
                "{expected} is no content of a solution; write it like \"50 g/L\", \"5 % m/V\" or \"0.8 mol/L\""
            ),
        ));
    };
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(PlanError::entry(path, "a content must be above 0"))
    }
}

fn known_titrant(
    wishes: &Wishes,
    assumptions: &mut Vec<String>,
) -> Result<Stated<Concentration>, PlanError> {
    if let Some(stated) = &wishes.titrant.concentration {
        if stated.value.value() <= 0.0 {
            return Err(PlanError::entry(
                "titrant.concentration.value",
                "a concentration must be above 0",
            ));
        }
        return Ok(stated.clone());
    }
    assumptions.push(
        "titrant standardized to U = 0.20 % (k = 2): write [titrant] concentration once it is known".into(),
    );
    Ok(Stated {
        value: written(1.0, 3, "mol/L"),
        expanded: Some(written(0.002, 3, "mol/L")),
        k: Some(2.0),
        standard: None,
        within: None,
        shape: None,
        exact: false,
        degrees_of_freedom: None,
        certificate: Some("standardization to come".into()),
    })
}

/// EURACHEM/CITAC CG4 (2012), example A2: purity of potassium hydrogen phthalate 1.0000 +- 0.0005, rectangular.
fn purity(given: Option<Stated<Fraction>>, assumptions: &mut Vec<String>) -> Stated<Fraction> {
    given.unwrap_or_else(|| {
        assumptions.push(
            "purity of the standard 100.00 % within 0.05 % (as in EURACHEM/CITAC CG4, A2): take the certificate's".into(),
        );
        Stated {
            value: written(100.0, 2, "%"),
            expanded: None,
            k: None,
            standard: None,
            within: Some(written(0.05, 2, "%")),
            shape: None,
            exact: false,
            degrees_of_freedom: None,
            certificate: None,
        }
    })
}

/// The first primary standard of the catalogue that reacts with a titrant.
fn usual_standard(titrant: &Party) -> Option<&'static str> {
    let catalogue = Catalogue::embedded();
    let record = titrant.record?;
    let mut standards = catalogue
        .titrations()
        .iter()
        .filter(|t| t.titrants.contains(&record.name))
        .flat_map(|t| t.standards.iter());
    standards
        .find(|name| {
            catalogue
                .find(name)
                .is_ok_and(|s| s.is(substances::Kind::PrimaryStandard))
        })
        .map(String::as_str)
}

fn strengths(
    wishes: &Wishes,
    assumptions: &mut Vec<String>,
) -> Result<Vec<Written<Concentration>>, PlanError> {
    if let Some(strength) = &wishes.titrant.strength {
        if strength.value() <= 0.0 {
            return Err(PlanError::entry(
                "titrant.strength",
                "a strength must be above 0",
            ));
        }
        return Ok(vec![strength.clone()]);
    }
    if let Some(known) = &wishes.titrant.concentration {
        return Ok(vec![known.value.clone()]);
    }
    assumptions.push(
        "strength of the titrant chosen from 0.01 to 0.5 mol/L, the usual ones (none named)".into(),
    );
    Ok(USUAL_STRENGTHS
        .iter()
        .filter_map(|text| format!("{text} mol/L").parse().ok())
        .collect())
}
