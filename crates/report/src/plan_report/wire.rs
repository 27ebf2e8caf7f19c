//! The JSON document of a plan, `halfdrop.plan/1`. Fields are added, never renamed, removed or given another meaning
//! without a new version in `format`. Numbers are not rounded.

use crate::budget_bars::shares_by_group;
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use titrimetry::Sheet;
use titrimetry::plan::candidate::Dose;
use titrimetry::plan::{Choice, Plan};

/// Name and version of the format.
pub const FORMAT: &str = "halfdrop.plan/1";

/// A plan.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct PlanDocument {
    /// Always "halfdrop.plan/1".
    pub format: &'static str,
    /// What it is called.
    pub title: String,
    /// The titrant.
    pub titrant: String,
    /// The standard, or what is sought in the sample.
    pub in_flask: String,
    /// Ways of working, best first; the first is the plan.
    pub choices: Vec<ChoiceDocument>,
    /// Ways looked at.
    pub looked_at: usize,
    /// The 95 % range of the titre of one run, mL, over the allowed masses.
    pub titre_range_ml: [f64; 2],
    /// The same for the planned mass or aliquot.
    pub titre_range_at_mass_ml: [f64; 2],
    /// Relative change of the result if every titre reads 1 mL high; its sign follows from the layout.
    pub effect_per_ml: f64,
    /// Expected budget by group, largest first.
    pub budget_by_group: Vec<ShareDocument>,
    /// The indicator planned with; null if none is good or the curve is not known.
    pub indicator: Option<String>,
    /// Indicators, best first.
    pub indicators: serde_json::Value,
    /// The predicted curve of one run; null if there is none.
    pub curve: Option<CurveDocument>,
    /// Why there is no curve; null if there is one.
    pub no_curve: Option<String>,
    /// What goes into the flask beside the standard or the sample, for each run; null if nothing is known of it.
    pub added: serde_json::Value,
    /// Where to run freely, drop by drop, by half drops.
    pub zones: serde_json::Value,
    /// Rules of the profile held against the plan.
    pub rules: serde_json::Value,
    /// Name of the profile.
    pub profile: String,
    /// The plan under every shipped profile.
    pub profiles: serde_json::Value,
    /// Demands that cannot both be kept.
    pub contradictions: serde_json::Value,
    /// Amounts of the day.
    pub day: serde_json::Value,
    /// How the titrant is made; null if it is at hand.
    pub preparation: serde_json::Value,
    /// What would bring the uncertainty down.
    pub help: serde_json::Value,
    /// Preparation notes with their sources.
    pub notes: serde_json::Value,
    /// Hazards; the safety data sheet, local rules and licensed practice decide.
    pub hazards: serde_json::Value,
    /// What was assumed.
    pub assumptions: Vec<String>,
    /// The synthetic bench sheet of the plan, whose evaluation every expectation is read from.
    pub synthetic_sheet: Sheet,
}

/// One way of working.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ChoiceDocument {
    /// The burette.
    pub burette: String,
    /// Nominal strength of the titrant as written.
    pub strength: String,
    /// Mass to weigh, g; null for a pipetted sample.
    pub mass_g: Option<f64>,
    /// Allowed mass, for one run or made up, g; null if nothing is weighed.
    pub mass_window_g: Option<[f64; 2]>,
    /// Flask in which a standard is made up; null if it is not.
    pub made_up_in: Option<String>,
    /// Dilutions of a sample: pipette, flask.
    pub diluted: Vec<[String; 2]>,
    /// Pipette of each run.
    pub pipette: Option<String>,
    /// Runs that count.
    pub runs: u32,
    /// Expected titre, mL.
    pub titre_ml: f64,
    /// Share of the burette that it takes.
    pub burette_share: f64,
    /// One drop of 0.05 mL over the titre.
    pub drop_share: f64,
    /// Expected expanded uncertainty over result.
    pub relative_expanded_uncertainty: f64,
    /// The same at the smallest titre that is to be expected.
    pub relative_expanded_uncertainty_at_worst: f64,
    /// Expected standard deviation of one run over result.
    pub relative_scatter: f64,
    /// Coverage factor.
    pub coverage_factor: f64,
    /// Minutes.
    pub minutes: f64,
    /// Titrant, mL.
    pub titrant_ml: f64,
    /// Standard, g.
    pub standard_g: f64,
    /// Sample, mL.
    pub sample_ml: f64,
    /// What is wanted and not reached.
    pub misses: Vec<String>,
}

/// The predicted curve of one run; `halfdrop curve --csv` prints its points.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct CurveDocument {
    /// What it shows against the volume: pH, pMg, E.
    pub quantity: String,
    /// Its unit, empty for a p value.
    pub unit: String,
    /// Volume in the flask before the first drop, mL.
    pub flask_ml: f64,
    /// The equivalence point, mL.
    pub equivalence_ml: f64,
    /// Level there.
    pub equivalence_level: f64,
    /// What has to be known to read it.
    pub notes: Vec<String>,
}

/// A share of the variance.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ShareDocument {
    /// Heading in the words of the trade.
    pub group: String,
    /// Share, 0 to 1.
    pub share: f64,
}

impl PlanDocument {
    /// The document of a plan.
    ///
    /// # Errors
    /// If a part cannot be written as JSON; none is known.
    pub fn of(plan: &Plan) -> Result<Self, serde_json::Error> {
        let evaluation = &plan.chosen().expected.evaluation;
        let mut assumptions = plan.case.assumptions.clone();
        if let Ok(curve) = &plan.curve {
            assumptions.extend(curve.assumptions.iter().map(|a| format!("curve: {a}")));
        }
        assumptions.extend(evaluation.assumptions.iter().cloned());
        Ok(Self {
            format: FORMAT,
            title: plan.case.title.clone(),
            titrant: plan.case.titrant.name.clone(),
            in_flask: plan.case.flask.name.clone(),
            choices: plan.choices.iter().map(choice).collect(),
            looked_at: plan.looked_at,
            titre_range_ml: plan.titre_range_ml.into(),
            titre_range_at_mass_ml: plan.titre_range_at_mass_ml.into(),
            effect_per_ml: evaluation.effect_per_ml,
            budget_by_group: shares_by_group(&evaluation.formula, &evaluation.budget)
                .into_iter()
                .map(|s| ShareDocument {
                    group: s.group,
                    share: s.share,
                })
                .collect(),
            indicator: plan.indicator.as_ref().map(|r| r.name.clone()),
            indicators: serde_json::to_value(&plan.indicators)?,
            curve: plan.curve.as_ref().ok().map(|predicted| {
                let quantity = predicted.curve.quantity();
                CurveDocument {
                    quantity: quantity.name(),
                    unit: quantity.unit().to_owned(),
                    flask_ml: predicted.flask_ml,
                    equivalence_ml: predicted.equivalence.volume_ml,
                    equivalence_level: predicted.equivalence.level,
                    notes: predicted.cautions.clone(),
                }
            }),
            no_curve: plan.curve.as_ref().err().cloned(),
            added: serde_json::to_value(&plan.added)?,
            zones: serde_json::to_value(plan.zones)?,
            rules: serde_json::to_value(&plan.verdicts)?,
            profile: plan.profile.name.clone(),
            profiles: serde_json::to_value(&plan.profiles)?,
            contradictions: serde_json::to_value(&plan.contradictions)?,
            day: serde_json::to_value(plan.day)?,
            preparation: serde_json::to_value(&plan.preparation)?,
            help: serde_json::to_value(&plan.help)?,
            notes: serde_json::to_value(&plan.notes)?,
            hazards: serde_json::to_value(&plan.hazards)?,
            assumptions,
            synthetic_sheet: evaluation.sheet.clone(),
        })
    }

    /// The JSON Schema of the document.
    pub fn schema() -> Schema {
        schemars::schema_for!(Self)
    }
}

fn choice(choice: &Choice) -> ChoiceDocument {
    let e = &choice.expected;
    let (made_up_in, diluted, pipette) = match &e.candidate.dose {
        Dose::Weighed { .. } => (None, Vec::new(), None),
        Dose::MadeUp { flask, pipette, .. } => (
            Some(flask.name.clone()),
            Vec::new(),
            Some(pipette.name.clone()),
        ),
        Dose::Pipetted { diluted, pipette } => (
            None,
            diluted
                .iter()
                .map(|(p, f)| [p.name.clone(), f.name.clone()])
                .collect(),
            Some(pipette.name.clone()),
        ),
    };
    ChoiceDocument {
        burette: e.candidate.burette.name.clone(),
        strength: e.candidate.strength.to_string(),
        mass_g: e.candidate.dose.mass_g(),
        mass_window_g: e.mass_window_g.map(Into::into),
        made_up_in,
        diluted,
        pipette,
        runs: e.candidate.runs,
        titre_ml: e.titre_ml,
        burette_share: e.burette_share(),
        drop_share: e.drop_share(),
        relative_expanded_uncertainty: e.relative_uncertainty,
        relative_expanded_uncertainty_at_worst: e.relative_uncertainty_at_worst,
        relative_scatter: e.relative_scatter,
        coverage_factor: e.evaluation.expanded.coverage_factor,
        minutes: choice.cost.minutes,
        titrant_ml: choice.cost.titrant_ml,
        standard_g: choice.cost.standard_g,
        sample_ml: choice.cost.sample_ml,
        misses: choice.misses.clone(),
    }
}
