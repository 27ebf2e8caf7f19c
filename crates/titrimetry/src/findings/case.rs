//! What the findings look at: the runs that count, with how far each titre is off.

use crate::evaluation::{BuretteFacts, Evaluation, Run, Scatter};
use crate::rule_profile::RuleProfile;
use crate::sheet::{RunSpec, Volume, Written};

/// What is judged: the runs of a standardization, or those of one titration of a sample.
#[derive(Clone, Copy)]
pub(crate) struct Facts<'a> {
    /// All runs as written, in the order of the sheet.
    pub(crate) specs: &'a [RunSpec],
    /// The same after evaluation.
    pub(crate) runs: &'a [Run],
    /// Indices of the runs that belong to the titration under judgement; all if none is said.
    pub(crate) only: Option<&'a [usize]>,
    pub(crate) burette: &'a BuretteFacts,
    pub(crate) scatter: &'a Scatter,
    /// Relative change of the result per mL in every titre.
    pub(crate) effect_per_ml: f64,
    /// The same of each run alone, where they do not weigh alike: the runs of a line.
    pub(crate) effect_of_runs: Option<&'a [f64]>,
    /// Who did the runs that do not say it.
    pub(crate) analyst: Option<&'a str>,
    /// True if what is in the flask is a solid weighed for each run.
    pub(crate) weighed: bool,
    /// Relative expanded uncertainty of the result, with its coverage factor.
    pub(crate) expanded: (f64, f64),
    /// The standardization, for what only a standardization has: nominal, known substance, its blank.
    pub(crate) determination: Option<&'a Evaluation>,
}

impl<'a> Facts<'a> {
    fn of(evaluation: &'a Evaluation) -> Self {
        let known = &evaluation.sheet.known;
        let expanded = &evaluation.expanded;
        Self {
            specs: &evaluation.sheet.run,
            runs: &evaluation.runs,
            only: None,
            burette: &evaluation.burette,
            scatter: &evaluation.scatter,
            effect_per_ml: evaluation.effect_per_ml,
            effect_of_runs: None,
            analyst: evaluation.sheet.analyst.as_deref(),
            weighed: known.purity.is_some() && known.dissolved.is_none(),
            expanded: (
                expanded.expanded_uncertainty / evaluation.concentration(),
                expanded.coverage_factor,
            ),
            determination: Some(evaluation),
        }
    }

    /// The runs of the titration under judgement.
    pub(super) fn own_runs(&self) -> impl Iterator<Item = &'a Run> {
        let only = self.only;
        self.runs
            .iter()
            .filter(move |run| only.is_none_or(|only| only.contains(&run.index)))
    }

    /// Those of them that are part of the mean.
    pub(super) fn counting(&self) -> impl Iterator<Item = &'a Run> {
        self.own_runs().filter(|run| run.counts())
    }

    /// Name of a run as people refer to it.
    pub(super) fn run_name(&self, index: usize) -> String {
        self.runs.get(index).map_or_else(
            || crate::sheet::run_name(self.specs, index),
            |run| run.name.clone(),
        )
    }

    /// Relative change of the result if every titre that counts read `millilitres` too high.
    pub(super) fn effect_of_titre(&self, millilitres: f64) -> f64 {
        self.effect_per_ml * millilitres
    }
}

/// Runs under judgement.
#[derive(Clone)]
pub(crate) struct Case<'a> {
    pub(super) facts: Facts<'a>,
    pub(super) profile: &'a RuleProfile,
    /// The runs that count and that no finding has explained yet, in the order of the sheet.
    pub(super) titres: Vec<Titre<'a>>,
    /// Standard deviation of one titre that is to be expected of hand and apparatus, in mL.
    pub(super) expected_scatter: f64,
}

/// The titre of a run that counts.
#[derive(Clone, Copy)]
pub(super) struct Titre<'a> {
    pub(super) run: &'a Run,
    pub(super) spec: &'a RunSpec,
    /// Titre less the one that the run would have had at the middle concentration, in mL; masses and aliquots are
    /// thereby taken out.
    pub(super) deviation: f64,
}

impl<'a> Case<'a> {
    pub(super) fn of(evaluation: &'a Evaluation, profile: &'a RuleProfile) -> Self {
        Self::judging(Facts::of(evaluation), profile)
    }

    pub(crate) fn judging(facts: Facts<'a>, profile: &'a RuleProfile) -> Self {
        let titres: Vec<Titre<'a>> = facts
            .counting()
            .filter_map(|run| {
                Some(Titre {
                    run,
                    spec: facts.specs.get(run.index)?,
                    deviation: run.titre - run.expected_titre?,
                })
            })
            .collect();
        let mean = mean(titres.iter().map(|t| t.run.titre)).unwrap_or(0.0);
        let scatter = facts.scatter;
        Self {
            facts,
            profile,
            titres,
            expected_scatter: mean * scatter.earlier.relative.max(scatter.predicted),
        }
    }

    /// The same without runs that a finding has explained, so that one slip does not raise five findings.
    pub(super) fn without(&self, explained: &[String]) -> Self {
        let mut rest = self.clone();
        rest.titres
            .retain(|titre| !explained.contains(&titre.run.name));
        rest
    }

    pub(super) fn deviations(&self) -> Vec<f64> {
        self.titres.iter().map(|titre| titre.deviation).collect()
    }

    pub(super) fn names(&self) -> Vec<String> {
        self.titres.iter().map(|t| t.run.name.clone()).collect()
    }

    /// Mean titre of these runs as read, in mL.
    pub(super) fn mean_titre(&self) -> Option<f64> {
        mean(self.titres.iter().map(|t| t.run.titre))
    }

    /// Relative change of the result if the titre of this run is this many mL too high.
    pub(super) fn effect_of(&self, titre: &Titre<'_>, millilitres: f64) -> f64 {
        match self.facts.effect_of_runs {
            Some(effects) => effects
                .get(titre.run.index)
                .map_or(f64::NAN, |e| e * millilitres),
            None => self.effect_of_one(millilitres),
        }
    }

    /// Relative change of the result if the titre of any one of the runs that count is this many mL too high; not a number
    /// where they do not weigh alike.
    pub(super) fn effect_of_one(&self, millilitres: f64) -> f64 {
        if self.facts.effect_of_runs.is_some() {
            return f64::NAN;
        }
        let n = self.facts.counting().count().max(1);
        self.facts.effect_of_titre(millilitres) / n as f64
    }

    /// Who did a run.
    pub(super) fn analyst(&self, spec: &'a RunSpec) -> Option<&'a str> {
        spec.analyst
            .as_deref()
            .or(self.facts.analyst)
            .map(str::trim)
            .filter(|name| !name.is_empty())
    }
}

impl Titre<'_> {
    pub(super) fn name(&self) -> &str {
        &self.run.name
    }
}

/// One burette reading.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Reading {
    /// +1 for a final reading, -1 for an initial one: its part in the titre.
    pub(super) sign: f64,
    /// In mL.
    pub(super) value: f64,
    /// One step of the last digit written, in mL.
    pub(super) step: f64,
    /// The number as written, if it is in mL.
    pub(super) text: Option<String>,
}

impl Reading {
    fn of(written: &Written<Volume>, sign: f64) -> Self {
        let quantity = written.quantity();
        let value = written.value();
        let in_ml = quantity.unit.symbol() == "mL";
        let step = quantity.step() * quantity.unit.factor();
        Self {
            sign,
            value,
            step,
            text: in_ml.then(|| quantity.number.to_string()),
        }
    }

    /// Set to the zero line on purpose, which says nothing about how finely the scale is read.
    pub(super) fn is_zero(&self) -> bool {
        self.value.abs() < 1e-9
    }

    /// The digit at the place of `step` mL.
    pub(super) fn digit_at(&self, step: f64) -> u8 {
        // Readings are far below 2^53 steps, and the remainder is below 10.
        ((self.value / step).round().rem_euclid(10.0)) as u8
    }
}

/// The burette readings of a run: initial, final, and those of further fills.
pub(super) fn readings(spec: &RunSpec) -> Vec<Reading> {
    let mut all = Vec::new();
    all.extend(spec.initial.as_ref().map(|w| Reading::of(w, -1.0)));
    all.extend(spec.final_reading.as_ref().map(|w| Reading::of(w, 1.0)));
    for fill in &spec.refill {
        all.push(Reading::of(&fill.initial, -1.0));
        all.push(Reading::of(&fill.final_reading, 1.0));
    }
    all
}

pub(crate) fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (sum, n) = values.fold((0.0, 0_u32), |(sum, n), v| (sum + v, n + 1));
    (n > 0).then(|| sum / f64::from(n))
}

/// Middle value; none of nothing.
pub(super) fn median(values: &[f64]) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let upper = *sorted.get(sorted.len() / 2)?;
    let lower = sorted[(sorted.len() - 1) / 2];
    Some(f64::midpoint(lower, upper))
}

/// Largest less smallest; none of fewer than two.
pub(super) fn range(values: &[f64]) -> Option<f64> {
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    let most = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    (values.len() >= 2).then_some(most - least)
}
