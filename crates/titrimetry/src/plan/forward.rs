//! What a candidate may be expected to yield: its synthetic bench sheet, evaluated like any other.
//!
//! The readings of the sheet are those that give the expected result, scattered as earlier work or the assumption
//! says, so that the expected uncertainty carries the expected scatter and its degrees of freedom.

use super::PlanError;
use super::candidate::{Candidate, Dose};
use super::case::{Case, Opposite};
use crate::evaluation::Evaluation;
use metrology::{
    Distribution, Expr, Formula, Input, Origin, Plan as Trials, Quantity, monte_carlo,
};

/// One drop of a burette, mL (common practice: 0.03 to 0.05).
pub const DROP_ML: f64 = 0.05;

/// Trials and seed for the range of the titre: two digits of a range are asked for.
const TRIALS: usize = 20_000;
const SEED: u64 = 1;

/// Largest expected titre as a share of the burette: the readings of the synthetic sheet scatter around it.
const FULL: f64 = 0.99;

/// How far a mass that is "about" the stated one may be off (Ph. Eur. and USP, general notices: 10 %; from memory).
pub const MASS_WITHIN: f64 = 0.10;

/// What a candidate may be expected to yield.
#[derive(Clone, Debug)]
pub struct Expectation {
    /// The candidate.
    pub candidate: Candidate,
    /// The synthetic sheet, evaluated.
    pub evaluation: Evaluation,
    /// Expected titre, mL.
    pub titre_ml: f64,
    /// Lowest and highest titre that strength, content and mass window allow, mL.
    pub titre_limits_ml: (f64, f64),
    /// Allowed mass of the standard, for one run or made up, g: lowest and highest.
    pub mass_window_g: Option<(f64, f64)>,
    /// Expanded uncertainty over result.
    pub relative_uncertainty: f64,
    /// The same at the smallest titre that is to be expected.
    pub relative_uncertainty_at_worst: f64,
    /// Standard deviation of one run over result.
    pub relative_scatter: f64,
}

/// Evaluates a candidate; none if its titre does not fit on the burette.
///
/// `least_share`: the least titre that the rules allow, as a share of the burette, which bounds the mass window.
///
/// # Errors
/// [`PlanError::Entry`] if the wishes make no sheet.
pub(super) fn expect(
    case: &Case,
    candidate: &Candidate,
    least_share: f64,
) -> Result<Option<Expectation>, PlanError> {
    let capacity = candidate.burette.nominal_ml;
    let titre = candidate.titre(case)?;
    let beside = candidate.beside_the_reaction(case);
    // Two drops are the least that anybody would call a titre.
    if !(titre > beside + 2.0 * DROP_ML && titre <= FULL * capacity) {
        return Ok(None);
    }
    let net = titre - beside;
    let strength = case.strength_within;
    let content = match &case.opposite {
        Opposite::Sample { within, .. } => *within,
        Opposite::Standard { .. } => 0.0,
    };
    // Factors on the net titre from a weak or strong titrant and a rich or poor sample.
    let (low, high) = (
        (1.0 - content) / (1.0 + strength),
        (1.0 + content) / (1.0 - strength),
    );
    let room = (capacity - beside) / (net * high);
    let mass_window = match &candidate.dose {
        Dose::Weighed { mass_g } | Dose::MadeUp { mass_g, .. } => {
            let fixed = case.wishes.run.mass.is_some();
            // At least 2 % of room to weigh in, unless a procedure fixes the mass.
            if room < 1.02 && !fixed {
                return Ok(None);
            }
            let floor = (least_share * capacity - beside) / (net * low);
            let lowest = if floor < 0.98 {
                floor.max(1.0 - MASS_WITHIN)
            } else {
                1.0 - MASS_WITHIN
            };
            Some((lowest * mass_g, room.clamp(1.0, 1.0 + MASS_WITHIN) * mass_g))
        }
        _ => {
            if room < 1.0 && case.wishes.run.mass.is_none() {
                return Ok(None);
            }
            None
        }
    };
    let (light, heavy) = match (candidate.dose.mass_g(), mass_window) {
        (Some(mass_g), Some((lowest, highest))) => (lowest / mass_g, highest / mass_g),
        _ => (1.0, 1.0),
    };
    let Some(evaluation) = scattered(case, candidate, titre)? else {
        return Ok(None);
    };
    let value = evaluation.concentration();
    let lowest_titre = beside + net * low * light;
    let lightest = candidate.dose.mass_g().map_or_else(
        || candidate.clone(),
        |mass| Candidate {
            dose: candidate.dose.with_mass(mass * light),
            ..candidate.clone()
        },
    );
    let Some(worst) = scattered(case, &lightest, lowest_titre)? else {
        return Ok(None);
    };
    Ok(Some(Expectation {
        titre_limits_ml: (lowest_titre, beside + net * high * heavy),
        relative_uncertainty_at_worst: worst.expanded.expanded_uncertainty / worst.concentration(),
        titre_ml: titre,
        mass_window_g: mass_window,
        relative_uncertainty: evaluation.expanded.expanded_uncertainty / value,
        relative_scatter: evaluation.scatter.used,
        candidate: candidate.clone(),
        evaluation,
    }))
}

/// The evaluation with titres that scatter as they are expected to; none if they leave the scale.
fn scattered(
    case: &Case,
    candidate: &Candidate,
    titre: f64,
) -> Result<Option<Evaluation>, PlanError> {
    let n = candidate.runs as usize;
    let alike = candidate.evaluate(case, &vec![titre; n])?;
    if n < 2 {
        return Ok(Some(alike));
    }
    let net = titre - candidate.beside_the_reaction(case);
    let s = alike.scatter.earlier.relative * net;
    let titres: Vec<f64> = pattern(n).iter().map(|z| titre + s * z).collect();
    let beside = candidate.beside_the_reaction(case);
    if titres
        .iter()
        .any(|t| *t > candidate.burette.nominal_ml || *t <= beside)
    {
        return Ok(None);
    }
    candidate.evaluate(case, &titres).map(Some)
}

/// n numbers with mean 0 and standard deviation 1, evenly spaced.
fn pattern(n: usize) -> Vec<f64> {
    let middle = (n as f64 - 1.0) / 2.0;
    let raw: Vec<f64> = (0..n).map(|i| i as f64 - middle).collect();
    let squares: f64 = raw.iter().map(|x| x * x).sum();
    let sd = (squares / (n as f64 - 1.0)).sqrt();
    raw.iter().map(|x| x / sd).collect()
}

impl Expectation {
    /// The 95 % range of the titre of one run, mL, from strength, content and mass window (JCGM 101, by trials).
    pub fn titre_range_ml(&self, case: &Case) -> (f64, f64) {
        let (middle, half) = match (self.mass_window_g, self.candidate.dose.mass_g()) {
            (Some((lowest, highest)), Some(mass)) => (
                f64::midpoint(lowest, highest) / mass,
                (highest - lowest) / 2.0 / mass,
            ),
            _ => (1.0, 0.0),
        };
        self.range(case, middle, half)
    }

    /// The same for the planned mass itself: from strength and content alone.
    pub fn titre_range_at_mass_ml(&self, case: &Case) -> (f64, f64) {
        self.range(case, 1.0, 0.0)
    }

    fn range(&self, case: &Case, mass_middle: f64, mass_half: f64) -> (f64, f64) {
        let beside = self.candidate.beside_the_reaction(case);
        let net = self.titre_ml - beside;
        let one = |id: &str, half_width: f64| {
            Expr::input(
                Input::new(id, id, Quantity::number(1.0))
                    .distributed(Distribution::Rectangular { half_width })
                    .from_origin(Origin::Assumption("planning".into())),
            )
        };
        let content = match &case.opposite {
            Opposite::Sample { within, .. } => *within,
            Opposite::Standard { .. } => 0.0,
        };
        let mass = Expr::number(mass_middle) * one("mass", mass_half / mass_middle);
        let factor = mass * one("content", content) / one("strength", case.strength_within);
        let trials = Trials {
            trials: TRIALS,
            seed: SEED,
            ..Trials::default()
        };
        let range = Formula::build(&factor)
            .ok()
            .and_then(|formula| monte_carlo(&formula, &trials).ok())
            .map(|simulation| simulation.symmetric);
        match range {
            Some(range) => (beside + net * range.lower, beside + net * range.upper),
            None => self.titre_limits_ml,
        }
    }

    /// Share of the burette that the titre takes.
    pub fn burette_share(&self) -> f64 {
        self.titre_ml / self.candidate.burette.nominal_ml
    }

    /// One drop over the titre.
    pub fn drop_share(&self) -> f64 {
        DROP_ML / self.titre_ml
    }
}

#[cfg(test)]
mod tests {
    use super::pattern;

    #[test]
    fn the_pattern_scatters_as_asked() {
        for n in 2..=6 {
            let z = pattern(n);
            let mean: f64 = z.iter().sum::<f64>() / n as f64;
            let sd = (z.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (n as f64 - 1.0)).sqrt();
            assert!(mean.abs() < 1e-15 && (sd - 1.0).abs() < 1e-12, "{n}");
        }
    }
}
