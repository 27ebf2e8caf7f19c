//! What a way of working costs: time by a simple declared model, titrant, standard, sample.
//!
//! The model is the data of `reference/planning/`: it compares ways of working and plans no shift.

use super::candidate::{Candidate, Dose};
use super::case::Case;
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;

/// Minutes that the steps take.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Times {
    #[serde(rename = "mark")]
    _mark: String,
    burette_ready: f64,
    weighing: f64,
    dissolving: f64,
    standard_solution: f64,
    only_weighing: f64,
    dilution: f64,
    pipette_ready: f64,
    aliquot: f64,
    flow_ml_per_min: f64,
    near_the_end: f64,
    between_runs: f64,
    rough_run: f64,
    titrant_ml_as_minute: f64,
    standard_g_as_minute: f64,
    sample_ml_as_minute: f64,
}

/// Volumes beside the titres.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Volumes {
    #[serde(rename = "mark")]
    _mark: String,
    burette_rinse: f64,
    burette_rinses: f64,
    pipette_rinse: f64,
    pipette_rinses: f64,
    tip_and_rest: f64,
    reserve: f64,
}

static TIMES: LazyLock<Times> = LazyLock::new(|| {
    embedded(
        include_str!("../../../../reference/planning/times.toml"),
        "times.toml",
    )
});
static VOLUMES: LazyLock<Volumes> = LazyLock::new(|| {
    embedded(
        include_str!("../../../../reference/planning/volumes.toml"),
        "volumes.toml",
    )
});

fn embedded<T: serde::de::DeserializeOwned>(text: &str, file: &str) -> T {
    match toml::from_str(text) {
        Ok(data) => data,
        Err(error) => panic!("the embedded file reference/planning/{file} is broken: {error}"),
    }
}

/// What one determination costs.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Cost {
    /// Minutes of one person.
    pub minutes: f64,
    /// Titrant, mL, with rinses and a rough run.
    pub titrant_ml: f64,
    /// Standard, g.
    pub standard_g: f64,
    /// Sample, mL.
    pub sample_ml: f64,
    /// True if all runs rest on one weighing, whose slip would not show.
    pub weighed_once: bool,
}

impl Cost {
    /// Time, titrant, standard and sample as one figure, for comparing ways of working.
    pub(super) fn in_all(&self) -> f64 {
        let trust = if self.weighed_once {
            TIMES.only_weighing
        } else {
            0.0
        };
        self.minutes
            + trust
            + self.titrant_ml / TIMES.titrant_ml_as_minute
            + self.standard_g / TIMES.standard_g_as_minute
            + self.sample_ml / TIMES.sample_ml_as_minute
    }
}

/// Amounts of the whole day, with a reserve.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct DayAmounts {
    /// Determinations.
    pub determinations: u32,
    /// Titrant in titres, rough runs and blanks, mL.
    pub titrant_in_runs_ml: f64,
    /// Titrant for rinsing and what stays in the burette, mL.
    pub titrant_beside_ml: f64,
    /// Rinses of the burette, and mL of each.
    pub burette_rinses: (f64, f64),
    /// Rinses of the pipette, and mL of each; none if nothing is pipetted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pipette_rinses: Option<(f64, f64)>,
    /// Share on top of everything.
    pub reserve: f64,
    /// Titrant in all, mL.
    pub titrant_ml: f64,
    /// Standard in all, g.
    pub standard_g: f64,
    /// Flasks of standard made up; 0 if it is weighed for each run.
    pub standard_flasks: f64,
    /// Sample in all, mL.
    pub sample_ml: f64,
    /// Minutes in all.
    pub minutes: f64,
}

/// What one determination by this candidate costs, with a rough run, at the expected titre.
pub(super) fn of(case: &Case, candidate: &Candidate, titre: f64) -> Cost {
    let runs = f64::from(candidate.runs);
    // The rough run takes a dose like any other.
    let doses = runs + 1.0;
    let t = &*TIMES;
    let titrating = titre / t.flow_ml_per_min + t.near_the_end + t.between_runs;
    let mut minutes = t.burette_ready + runs * titrating + t.rough_run;
    let mut standard = 0.0;
    let mut sample = 0.0;
    match &candidate.dose {
        Dose::Weighed { mass_g } => {
            minutes += doses * (t.weighing + t.dissolving);
            standard = doses * mass_g;
        }
        Dose::MadeUp { mass_g, .. } => {
            minutes += t.standard_solution + t.pipette_ready + doses * t.aliquot;
            standard = *mass_g;
        }
        Dose::Pipetted { diluted, pipette } => {
            minutes += diluted.len() as f64 * t.dilution + t.pipette_ready + doses * t.aliquot;
            let rinse = |ml: f64| ml * VOLUMES.pipette_rinse * VOLUMES.pipette_rinses;
            sample = match diluted.first() {
                Some((take, _)) => take.nominal_ml + rinse(take.nominal_ml),
                None => doses * pipette.nominal_ml + rinse(pipette.nominal_ml),
            };
        }
    }
    if case.wishes.run.blank.is_some() {
        minutes += titrating;
    }
    Cost {
        minutes,
        titrant_ml: in_runs(case, candidate, titre) + beside(candidate),
        standard_g: standard,
        sample_ml: sample,
        weighed_once: matches!(candidate.dose, Dose::MadeUp { .. }),
    }
}

/// Amounts of a day at the largest titre that is to be expected.
pub(super) fn day(case: &Case, candidate: &Candidate, highest_titre: f64) -> DayAmounts {
    let one = of(case, candidate, highest_titre);
    let days = case.wishes.day.determinations;
    let times = f64::from(days);
    let more = 1.0 + VOLUMES.reserve;
    let titrant_in_runs = times * in_runs(case, candidate, highest_titre);
    // The burette is rinsed once, the rest of each fill is lost every time.
    let beside_ml = rinses(candidate)
        + times * (f64::from(candidate.runs) + 1.0) * VOLUMES.tip_and_rest * small(candidate);
    let (standard_g, standard_flasks) = match &candidate.dose {
        Dose::MadeUp {
            mass_g,
            flask,
            pipette,
        } => {
            // One flask serves several determinations; rinses take about one aliquot more.
            let aliquots = times * (f64::from(candidate.runs) + 1.0) + 1.0;
            let flasks = (aliquots * pipette.nominal_ml / flask.nominal_ml).ceil();
            (flasks * mass_g, flasks)
        }
        _ => (more * times * one.standard_g, 0.0),
    };
    let pipette = match &candidate.dose {
        Dose::Weighed { .. } => None,
        Dose::MadeUp { pipette, .. } | Dose::Pipetted { pipette, .. } => Some(pipette.nominal_ml),
    };
    DayAmounts {
        determinations: days,
        burette_rinses: (
            VOLUMES.burette_rinses,
            VOLUMES.burette_rinse * small(candidate),
        ),
        pipette_rinses: pipette.map(|ml| (VOLUMES.pipette_rinses, VOLUMES.pipette_rinse * ml)),
        standard_flasks,
        titrant_in_runs_ml: titrant_in_runs,
        titrant_beside_ml: beside_ml,
        reserve: VOLUMES.reserve,
        titrant_ml: more * (titrant_in_runs + beside_ml),
        standard_g,
        sample_ml: more * times * one.sample_ml,
        minutes: times * one.minutes,
    }
}

fn in_runs(case: &Case, candidate: &Candidate, titre: f64) -> f64 {
    let blank = case
        .wishes
        .run
        .blank
        .as_ref()
        .map_or(0.0, crate::sheet::Written::value);
    (f64::from(candidate.runs) + 1.0) * titre + blank
}

fn beside(candidate: &Candidate) -> f64 {
    rinses(candidate) + (f64::from(candidate.runs) + 1.0) * VOLUMES.tip_and_rest * small(candidate)
}

fn rinses(candidate: &Candidate) -> f64 {
    VOLUMES.burette_rinses * VOLUMES.burette_rinse * small(candidate)
}

/// Burettes below 50 mL need less in proportion.
fn small(candidate: &Candidate) -> f64 {
    (candidate.burette.nominal_ml / 50.0).min(1.0)
}
