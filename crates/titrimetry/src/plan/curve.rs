//! The curve that a candidate is expected to give, from the equilibrium engine.
//!
//! Which model belongs to which titration is data: `reference/planning/curves.toml`.

use super::candidate::{Candidate, Dose};
use super::case::Case;
use super::forward::{DROP_ML, Expectation};
use crate::layout::Layout;
use crate::sheet::Written;
use chemistry::constant_set::{CarbonDioxide, Conditions};
use chemistry::equilibrium::system::{Precipitates, Setup};
use chemistry::indicators::end_point::Situation;
use chemistry::solution::Solution;
use chemistry::substances::Catalogue;
use chemistry::substances::Titration;
use chemistry::titration_curve::{EquivalencePoint, TitrationCurve};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Water added to a weighed standard or an aliquot, mL (common practice).
const WATER_ML: f64 = 50.0;
/// Water added to an aliquot: rinses, buffer, indicator.
const WATER_TO_ALIQUOT_ML: f64 = 25.0;

/// The predicted curve of one run.
#[derive(Clone, Debug)]
pub struct PredictedCurve {
    /// The curve.
    pub curve: TitrationCurve,
    /// The equivalence point that the titration goes to.
    pub equivalence: EquivalencePoint,
    /// What an indicator meets in the flask.
    pub situation: Situation,
    /// Volume in the flask before the first drop, mL.
    pub flask_ml: f64,
    /// What was assumed.
    pub assumptions: Vec<String>,
    /// The same flask before carbon dioxide is boiled out of it.
    pub(super) unboiled: Option<TitrationCurve>,
    /// What has to be known to read the curve.
    pub cautions: Vec<String>,
    /// Whether a redox indicator sees the potential of the curve.
    pub(super) follows: bool,
    /// An end seen by a trace of a coloured reagent.
    pub(super) seen: Option<&'static Seen>,
    model: Model,
}

/// What meets what in one run, as far as a curve needs it.
pub(crate) struct Setting<'a> {
    /// The titration of the catalogue.
    pub(crate) titration: &'a Titration,
    /// The catalogue's name of what is in the flask.
    pub(crate) flask: &'a str,
    /// The catalogue's name of what is in the burette.
    pub(crate) titrant: &'a str,
    /// Volume in the flask before the first drop, mL.
    pub(crate) flask_ml: f64,
    /// Amount in the flask, mol.
    pub(crate) flask_mol: f64,
    /// Strength of the titrant, mol/L.
    pub(crate) strength: f64,
    /// Titrant that the reaction takes, mL.
    pub(crate) equivalence_ml: f64,
    /// Temperature, degC.
    pub(crate) temperature_c: f64,
}

/// Everything that makes the curve, so that it can be made again with another solute in the flask.
#[derive(Clone, Debug)]
struct Model {
    flask: Solution,
    titrant: Solution,
    kind: Kind,
    shows: String,
    conditions: Conditions,
    setup: Setup,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    sources: BTreeMap<String, String>,
    solute: BTreeMap<String, Solute>,
    curve: Vec<Record>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Solute {
    gives: String,
    #[serde(default = "one")]
    times: f64,
}

fn one() -> f64 {
    1.0
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Record {
    flask: String,
    titrant: String,
    kind: Kind,
    #[serde(default)]
    shows: String,
    #[serde(default)]
    ph: Option<f64>,
    #[serde(default)]
    held: BTreeMap<String, f64>,
    #[serde(default)]
    couples: Vec<CoupleInMedium>,
    #[serde(default)]
    added: BTreeMap<String, f64>,
    #[serde(default)]
    magnesium: f64,
    #[serde(default)]
    boiled: bool,
    #[serde(default)]
    seen: Option<Seen>,
    #[serde(default)]
    sluggish: Option<String>,
    source: String,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    AcidBase,
    Complexation,
    Precipitation,
    Redox,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CoupleInMedium {
    label: String,
    #[serde(default)]
    medium: Option<String>,
}

/// An end seen by a trace of a coloured reagent.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Seen {
    pub(super) name: String,
    pub(super) colour_before: String,
    pub(super) colour_after: String,
    /// Concentration that the eye sees, mol/L; known within a factor of about 2.
    pub(super) mol_per_l: f64,
    /// Titrant used per unit of the coloured reagent.
    pub(super) titrant_per: f64,
    /// True if the colour appears with an excess of titrant, false if it vanishes with the last of what is titrated.
    pub(super) appears: bool,
}

static FILE: LazyLock<File> = LazyLock::new(|| {
    let text = include_str!("../../../../reference/planning/curves.toml");
    match toml::from_str(text) {
        Ok(file) => file,
        Err(error) => panic!("the embedded file reference/planning/curves.toml is broken: {error}"),
    }
});

impl PredictedCurve {
    /// The curve at the expected titre.
    ///
    /// # Errors
    /// Why no curve can be drawn, in a sentence.
    pub fn of(case: &Case, expected: &Expectation) -> Result<Self, String> {
        Self::at(
            case,
            &expected.candidate,
            expected.titre_ml,
            expected.evaluation.ratio,
        )
    }

    /// The curve of a candidate whose titre is `titre` mL; `ratio` is n(sought)/n(known).
    pub(super) fn at(
        case: &Case,
        candidate: &Candidate,
        titre: f64,
        ratio: f64,
    ) -> Result<Self, String> {
        let titration = case.titration.ok_or_else(|| {
            format!(
                "no curve: the catalogue does not know the titration of {}",
                case.flask.name
            )
        })?;
        let mut assumptions = Vec::new();
        let flask_ml = flask_volume(case, candidate, &mut assumptions);
        let strength = candidate.strength.value();
        let equivalence_ml = titre - candidate.beside_the_reaction(case);
        let setting = Setting {
            titration,
            flask: &case.flask.name,
            titrant: &case.titrant.name,
            flask_ml,
            flask_mol: match case.layout() {
                Layout::SoughtInBurette => strength * equivalence_ml / ratio,
                Layout::SoughtInFlask => strength * equivalence_ml * ratio,
            } / 1000.0,
            strength,
            equivalence_ml,
            temperature_c: temperature(case, &mut assumptions),
        };
        Self::in_setting(&setting, assumptions)
    }

    /// The curve of what meets what in one run.
    ///
    /// # Errors
    /// Why no curve can be drawn, in a sentence.
    pub(crate) fn in_setting(
        setting: &Setting<'_>,
        mut assumptions: Vec<String>,
    ) -> Result<Self, String> {
        let titration = setting.titration;
        let (standard, titrant) = (&titration.standard_acts_as, &titration.titrant_acts_as);
        // The catalogue lists a pair once; an acid may as well be titrated into a base.
        let usual_way = titration
            .titrants
            .iter()
            .any(|name| name == setting.titrant);
        let (flask_species, titrant_species) = if usual_way {
            (standard.to_string(), titrant.to_string())
        } else {
            (titrant.to_string(), standard.to_string())
        };
        let same = |written: &str, species: &str| plain(written) == plain(species);
        let record = FILE
            .curve
            .iter()
            .find(|r| same(&r.flask, &flask_species) && same(&r.titrant, &titrant_species));
        let kind = match record {
            Some(record) => record.kind,
            None if same(&titrant_species, "OH-") || same(&titrant_species, "H+") => Kind::AcidBase,
            None => {
                return Err(format!(
                    "no curve: reference/planning/curves.toml has no model for {flask_species} with {titrant_species}"
                ));
            }
        };
        let (flask_solute, times) = solute(setting.flask)?;
        let (titrant_solute, titrant_times) = solute(setting.titrant)?;
        let mut flask = Solution::of(
            &flask_solute,
            times * 1000.0 * setting.flask_mol / setting.flask_ml,
        );
        let mut setup = Setup::default();
        let mut conditions = Conditions {
            temperature_c: setting.temperature_c,
            ..Conditions::default()
        };
        let mut shows = String::new();
        if let Some(record) = record {
            let source = FILE.sources.get(&record.source).map_or("", String::as_str);
            for (name, concentration) in &record.added {
                flask = flask.with(name, *concentration);
                assumptions.push(format!(
                    "{name} {concentration} mol/L in the flask ({source})"
                ));
            }
            if record.magnesium > 0.0 {
                // The complex, so that it uses no titrant.
                flask = flask
                    .with("MgCl2", record.magnesium)
                    .with("Na2EDTA", record.magnesium);
                assumptions.push(format!(
                    "magnesium-EDTA {} mol/L in the flask, so that the indicator has its metal",
                    record.magnesium
                ));
            }
            setup.fixed_ph = record.ph;
            if let (Some(ph), Kind::Complexation | Kind::Precipitation | Kind::Redox) =
                (record.ph, kind)
            {
                assumptions.push(format!("pH held at {ph} ({source})"));
            }
            setup.held = record.held.iter().map(|(k, v)| (k.clone(), *v)).collect();
            for (name, concentration) in &record.held {
                assumptions.push(format!("{name} held at {concentration} mol/L ({source})"));
            }
            setup.couples = record
                .couples
                .iter()
                .map(|c| (c.label.clone(), c.medium.clone()))
                .collect();
            if kind == Kind::Complexation {
                // Hydroxides and carbonates form slowly; the titration is over before.
                setup.precipitates = Precipitates::None;
            }
            if record.boiled {
                conditions.carbon_dioxide = CarbonDioxide::OpenToAir {
                    pressure_atm: chemistry::water::carbon_dioxide_in_air_atm(),
                };
                assumptions.push("carbon dioxide boiled out near the end".into());
            }
            shows.clone_from(&record.shows);
        }
        let model = Model {
            flask,
            titrant: Solution::of(&titrant_solute, titrant_times * setting.strength),
            kind,
            shows,
            conditions,
            setup,
        };
        let curve = model.curve(setting.flask_ml, None)?;
        let equivalence = nearest(&curve, setting.equivalence_ml)?;
        let sluggish = record.and_then(|r| r.sluggish.as_ref());
        Ok(Self {
            unboiled: match record {
                Some(record) if record.boiled => {
                    Some(model.unboiled().curve(setting.flask_ml, None)?)
                }
                _ => None,
            },
            cautions: sluggish.cloned().into_iter().collect(),
            follows: sluggish.is_none(),
            situation: Situation {
                ph: model.setup.fixed_ph.unwrap_or(7.0),
                metal: (kind == Kind::Complexation).then(|| model.shows.clone()),
                drop_ml: DROP_ML,
            },
            curve,
            equivalence,
            flask_ml: setting.flask_ml,
            assumptions,
            seen: record.and_then(|r| r.seen.as_ref()),
            model,
        })
    }

    /// The curve if this share of the hydroxide, in burette or flask, had become carbonate; none if there is no hydroxide.
    pub(crate) fn with_carbonate(&self, share: f64) -> Option<TitrationCurve> {
        let mut model = self.model.clone();
        let constants = &model.conditions.constants;
        let hydroxide = |solution: &Solution| {
            let species = solution.species(constants).ok()?;
            species.get("OH-").copied().filter(|c| *c > 0.0)
        };
        // One carbon dioxide takes two hydroxide ions.
        if let Some(c) = hydroxide(&model.titrant) {
            model.titrant = model.titrant.with("CO2", share * c / 2.0);
        } else {
            let c = hydroxide(&model.flask)?;
            model.flask = model.flask.with("CO2", share * c / 2.0);
        }
        model.curve(self.flask_ml, None).ok()
    }

    /// The curve with a further solute in the flask (an indicator that takes part), and its equivalence point.
    pub(super) fn with(
        &self,
        solute: &str,
        concentration: f64,
    ) -> Result<(TitrationCurve, EquivalencePoint), String> {
        let curve = self
            .model
            .curve(self.flask_ml, Some((solute, concentration)))?;
        let equivalence = nearest(&curve, self.equivalence.volume_ml)?;
        Ok((curve, equivalence))
    }

    /// True if one of these ions is what is titrated in the flask.
    pub(super) fn responds_to(&self, ions: &[String]) -> bool {
        if self.model.kind != Kind::Precipitation {
            return false;
        }
        self.model
            .flask
            .species(&self.model.conditions.constants)
            .is_ok_and(|species| ions.iter().any(|ion| species.contains_key(ion)))
    }

    /// Strength of the titrant in what the model counts, mol/L.
    pub(super) fn titrant_strength(&self) -> f64 {
        self.model.titrant.parts().iter().map(|(_, c)| *c).sum()
    }
}

impl Model {
    /// The same closed to air.
    fn unboiled(&self) -> Self {
        Self {
            conditions: Conditions {
                carbon_dioxide: CarbonDioxide::Closed,
                ..self.conditions.clone()
            },
            ..self.clone()
        }
    }

    fn curve(&self, flask_ml: f64, extra: Option<(&str, f64)>) -> Result<TitrationCurve, String> {
        let flask = match extra {
            Some((name, concentration)) => self.flask.clone().with(name, concentration),
            None => self.flask.clone(),
        };
        let Self {
            titrant,
            conditions,
            setup,
            shows,
            ..
        } = self;
        let made = match self.kind {
            Kind::AcidBase => TitrationCurve::acid_base(&flask, flask_ml, titrant, conditions),
            Kind::Complexation => {
                TitrationCurve::complexometric(&flask, flask_ml, titrant, shows, conditions, setup)
            }
            Kind::Precipitation => {
                TitrationCurve::precipitation(&flask, flask_ml, titrant, shows, conditions, setup)
            }
            Kind::Redox => TitrationCurve::redox(&flask, flask_ml, titrant, conditions, setup),
        };
        made.map_err(|error| format!("no curve: {error}"))
    }
}

/// The equivalence point nearest to the stoichiometric titre.
fn nearest(curve: &TitrationCurve, titre: f64) -> Result<EquivalencePoint, String> {
    let points = curve
        .equivalence_points()
        .map_err(|error| format!("no curve: {error}"))?;
    points
        .into_iter()
        .min_by(|a, b| (a.volume_ml - titre).abs().total_cmp(&(b.volume_ml - titre).abs()))
        .filter(|point| (point.volume_ml / titre - 1.0).abs() < 0.02)
        .ok_or_else(|| {
            format!("no curve: the model has no equivalence point near {titre:.2} mL, where the reaction ends")
        })
}

/// "Ca^2+" and "Ca2+" alike.
pub(super) fn plain(species: &str) -> String {
    species.replace('^', "")
}

/// What a substance gives in solution, and how much of it: as the file says, else its formula if the engine knows that.
fn solute(name: &str) -> Result<(String, f64), String> {
    if let Some(solute) = FILE.solute.get(name) {
        return Ok((solute.gives.clone(), solute.times));
    }
    if let Ok(substance) = Catalogue::embedded().find(name) {
        let formula = substance.formula.to_string();
        let known = Solution::of(&formula, 1.0).species(&Conditions::default().constants);
        if known.is_ok() {
            return Ok((formula, 1.0));
        }
    }
    Err(format!(
        "no curve: no equilibrium constants for {name}; add them to reference/acids/ under its formula, or name in reference/planning/curves.toml what it gives in solution"
    ))
}

fn flask_volume(case: &Case, candidate: &Candidate, assumptions: &mut Vec<String>) -> f64 {
    if let Some(volume) = &case.wishes.run.flask_volume {
        return volume.value();
    }
    let volume = match &candidate.dose {
        Dose::Weighed { .. } => WATER_ML,
        Dose::MadeUp { pipette, .. } | Dose::Pipetted { pipette, .. } => {
            pipette.nominal_ml + WATER_TO_ALIQUOT_ML
        }
    };
    assumptions.push(format!("{volume} mL in the flask before the first drop"));
    volume
}

fn temperature(case: &Case, assumptions: &mut Vec<String>) -> f64 {
    match &case.wishes.conditions.temperature {
        Some(temperature) => Written::value_in(temperature, "degC"),
        None => {
            assumptions.push("constants at 25 degC".into());
            25.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_models_name_substances_and_titrations_of_the_catalogue() {
        let catalogue = Catalogue::embedded();
        for name in FILE.solute.keys() {
            assert_eq!(&catalogue.find(name).unwrap().name, name);
        }
        for record in &FILE.curve {
            assert!(
                FILE.sources.contains_key(&record.source),
                "{}",
                record.flask
            );
            // Iodate, bromate and iodine stand for themselves; every pair is a titration of the catalogue.
            let known = catalogue.titrations().iter().any(|t| {
                plain(&t.standard_acts_as.to_string()) == plain(&record.flask)
                    && plain(&t.titrant_acts_as.to_string()) == plain(&record.titrant)
            });
            assert!(known, "{} with {}", record.flask, record.titrant);
        }
    }
}
