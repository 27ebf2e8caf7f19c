//! Planning: from incomplete wishes to a plan, with every assumption said.
//!
//! A plan is a synthetic bench sheet evaluated by the very same [`crate::evaluation::evaluate`]: nothing about the
//! result or its uncertainty is computed by another way. Looking backwards from a wanted uncertainty is a search over
//! such sheets.

pub mod added;
mod bench_sheet;
pub mod candidate;
pub mod case;
pub mod cost;
pub mod curve;
pub mod drawing;
mod error;
pub mod forward;
pub mod help;
pub mod indicators;
pub mod notes;
pub mod prepare;
pub mod reagents;
pub mod rules;
pub mod search;
pub mod shelf;
pub mod wishes;
pub mod zones;

pub use candidate::Dose;
pub use case::{Case, Opposite, Party};
pub use error::PlanError;
pub use search::Choice;
pub use wishes::Wishes;

use crate::rule_profile::RuleProfile;
use added::Added;
use cost::DayAmounts;
use curve::PredictedCurve;
use help::Help;
use indicators::Ranked;
use notes::{Hazard, Note};
use prepare::Preparation;
use rules::{Contradiction, ProfileOutlook, Verdict};
use zones::Zones;

/// A plan.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The wishes with every gap filled.
    pub case: Case,
    /// The ways of working, best first; the first is the plan.
    pub choices: Vec<Choice>,
    /// How many ways were looked at.
    pub looked_at: usize,
    /// The 95 % range of the titre of one run, mL, over the allowed masses.
    pub titre_range_ml: (f64, f64),
    /// The same for the planned mass or aliquot.
    pub titre_range_at_mass_ml: (f64, f64),
    /// The profile that judges it.
    pub profile: RuleProfile,
    /// Its rules held against the plan.
    pub verdicts: Vec<Verdict>,
    /// The plan under every shipped profile.
    pub profiles: Vec<ProfileOutlook>,
    /// Demands that cannot both be kept.
    pub contradictions: Vec<Contradiction>,
    /// The predicted curve of one run, or why there is none.
    pub curve: Result<PredictedCurve, String>,
    /// Indicators, best first.
    pub indicators: Vec<Ranked>,
    /// The indicator that is planned with; none if none is good.
    pub indicator: Option<Ranked>,
    /// What goes into the flask beside the standard or the sample.
    pub added: Option<Added>,
    /// What would bring the uncertainty down.
    pub help: Vec<Help>,
    /// Where to run freely, drop by drop, by half drops.
    pub zones: Zones,
    /// Amounts of the day.
    pub day: DayAmounts,
    /// How the titrant is made; none if it is at hand.
    pub preparation: Option<Preparation>,
    /// Preparation notes.
    pub notes: Vec<Note>,
    /// Hazards.
    pub hazards: Vec<Hazard>,
}

impl Plan {
    /// Makes a plan.
    ///
    /// `profile` is the one the wishes' rules name ([`RuleProfile::of`]).
    ///
    /// # Errors
    /// [`PlanError::Entry`] for wishes that cannot be used; [`PlanError::NothingFits`] if no way works.
    pub fn of(wishes: &Wishes, profile: &RuleProfile) -> Result<Self, PlanError> {
        let mut case = Case::of(wishes)?;
        let (choices, looked_at) = search::search(&case, profile)?;
        let chosen = &choices[0].expected;
        let curve = PredictedCurve::of(&case, chosen);
        let ranked = match &curve {
            Ok(curve) => indicators::rank(&case, chosen, curve),
            Err(_) => Vec::new(),
        };
        let indicator = indicators::choose(&case, chosen, &ranked).cloned();
        match (&case.wishes.indicator, &indicator) {
            (Some(wish), None) => case.assumptions.push(format!(
                "the place of the end with {wish} is not predicted: its bias is not in the uncertainty"
            )),
            (None, Some(found)) => case.wishes.indicator = Some(found.name.clone()),
            _ => {}
        }
        let added = added::added(&case, indicator.as_ref());
        let expected = &choices[0].expected;
        let titre_range_ml = expected.titre_range_ml(&case);
        let titre_range_at_mass_ml = expected.titre_range_at_mass_ml(&case);
        let day = cost::day(&case, &expected.candidate, titre_range_ml.1);
        let preparation =
            wishes.titrant.concentration.is_none().then(|| {
                prepare::prepare(&case, expected.candidate.strength.value(), day.titrant_ml)
            });
        Ok(Self {
            zones: zones::zones(expected, indicator.as_ref(), titre_range_at_mass_ml),
            titre_range_at_mass_ml,
            help: help::help(&case, expected)?,
            indicators: ranked,
            indicator,
            curve,
            preparation,
            notes: notes::notes(&case),
            hazards: notes::hazards(&case, added.as_ref()),
            added,
            titre_range_ml,
            verdicts: rules::verdicts(&case, expected, profile),
            profiles: rules::under_every_profile(&case, expected),
            contradictions: rules::contradictions(&case, expected, profile),
            day,
            profile: profile.clone(),
            choices,
            looked_at,
            case,
        })
    }

    /// The way of working that is planned.
    pub fn chosen(&self) -> &Choice {
        &self.choices[0]
    }
}
