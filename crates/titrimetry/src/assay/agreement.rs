//! How the runs of a titration agree, and the repeatability that follows from it.

use super::evaluate::Shared;
use super::sheet::SampleSpec;
use super::work::Work;
use crate::evaluation::{
    RunStatus, Scatter, ScatterRule, built, earlier_scatter, status_of, value_of,
};
use crate::method::{BlankPlan, Measured};
use crate::sheet::SheetError;
use metrology::replicates::Replicates;
use metrology::{Distribution, Expr, Formula, Input, Origin, Quantity, Scope, propagate};
use std::collections::HashMap;

/// What one run tells of a content, in coherent units.
#[derive(Clone, Copy)]
pub(super) struct Told {
    pub(super) content: f64,
    /// Change of it per mL of titre.
    pub(super) per_ml: f64,
    /// Variance from readings and weighings of this run alone.
    pub(super) own_variance: f64,
}

impl Told {
    /// How much its titre is too large, in mL, if the content is this.
    pub(super) fn off(&self, content: f64) -> f64 {
        (self.content - content) / self.per_ml
    }
}

impl Shared<'_> {
    /// Judges the scatter of each titration and puts its factor into the work.
    pub(super) fn judge_scatter(
        &self,
        work: &mut Work,
        spec: &SampleSpec,
        counts: &[bool],
    ) -> Result<Vec<(Scatter, Option<f64>)>, SheetError> {
        let mut out = Vec::new();
        for t in 0..self.titrations.len() {
            let last = self.titrations[t].end_point.len() - 1;
            let runs: Vec<usize> = (0..spec.run.len())
                .filter(|i| counts[*i] && work.titration[*i] == t)
                .collect();
            let (mut found, mut titres) = (Vec::new(), Vec::new());
            for &run in &runs {
                let told = self.told(work, spec, run)?;
                work.told[run] = Some(told);
                let net = value_of("sample", &self.net_volume(work, run, last)?)?;
                if !(net.is_finite() && net > 0.0) {
                    return Err(self.no_titre(work, run));
                }
                titres.push(net);
                found.push(told);
            }
            let titre = titres.iter().sum::<f64>() / titres.len() as f64;
            let middle = found.iter().map(|f| f.content).sum::<f64>() / found.len() as f64;
            // What agrees between runs is the content; a deviation is the error of the titre that would make it, over
            // the titre that the run would have had. So differing portions and a measured reagent are taken out.
            // Titres of a line differ by what was added, their scatter does not: there it is over the mean titre.
            let line = work.slope.is_some();
            let (mut values, mut squares) = (Vec::new(), 0.0);
            for (told, net) in found.iter().zip(&titres) {
                let off = told.off(middle);
                let expected = if line { titre } else { net - off };
                values.push(1.0 + off / expected);
                squares += told.own_variance / (told.per_ml * expected).powi(2);
            }
            let predicted = (squares / values.len() as f64).sqrt();
            let replicates =
                Replicates::of(&values).map_err(|e| SheetError::entry("run", e.to_string()))?;
            let earlier = earlier_scatter(self.sheet.repeatability.as_ref(), predicted, titre)?;
            let n = values.len();
            let fitted = if line { 2 } else { 1 };
            let observed = replicates
                .relative_standard_deviation()
                .filter(|_| n > fitted)
                .map(|s| s.abs() * ((n - 1) as f64 / (n - fitted) as f64).sqrt());
            let scatter = Scatter::judge_fitted(n, fitted, observed, predicted, earlier);
            if scatter.rule.is_one_input() && line {
                for (&run, net) in runs.iter().zip(&titres) {
                    let input = own_factor(work, spec, run, &scatter, titre / net);
                    work.own_factors.push(input.id.clone());
                    work.repeatability[run] = Some(Expr::input(input));
                }
            } else if scatter.rule.is_one_input() {
                let name = &self.titrations[t].name;
                let input = Input::new(
                    format!(
                        "{} sample {}/{name}/repeatability",
                        work.bench.determination, spec.id
                    ),
                    if self.titrations.len() > 1 {
                        format!("f_rep,{name}")
                    } else {
                        "f_rep".into()
                    },
                    Quantity::number(1.0),
                )
                .described(format!(
                    "repeatability of the mean titre of {}",
                    values.len()
                ))
                .distributed(Distribution::StudentT {
                    scale: scatter.used / (values.len() as f64).sqrt(),
                })
                .with_degrees_of_freedom(scatter.degrees_of_freedom)
                .from_origin(Origin::Observations(scatter.earlier.source.clone()))
                .grouped("repeatability");
                let factor = Expr::input(input);
                for &run in &runs {
                    work.repeatability[run] = Some(factor.clone());
                }
            }
            let blank = work.blank[t]
                .as_ref()
                .map(|b| value_of("blank", b))
                .transpose()?;
            out.push((scatter, blank));
        }
        Ok(out)
    }

    /// What one run alone tells of the sample: its titrant per portion, or the content that follows from it where a
    /// reagent in known amount was there as well.
    pub(super) fn told(
        &self,
        work: &Work,
        spec: &SampleSpec,
        run: usize,
    ) -> Result<Told, SheetError> {
        let t = work.titration[run];
        let last = self.titrations[t].end_point.len() - 1;
        let measured = &self.balanced.measured;
        let alone = !measured
            .iter()
            .any(|m| m.titration() == t && !matches!(m, Measured::Titrant { .. }));
        let formula = if let Some(slope) = work.slope {
            // What the run says of the intercept, by the slope of all.
            let found = self.found(work, spec, run, 0)?;
            let added = self.added(work, spec, run)?;
            let told = found
                .zip(added)
                .map(|(y, x)| y - Expr::number(slope) * x)
                .unwrap_or_else(|| Expr::number(f64::NAN));
            built("sample", &told)?
        } else if alone {
            let path = format!("run[{}]", run + 1);
            let run_spec = &work.bench.runs[run].spec;
            let portion = self
                .handling
                .portion(&work.bench, spec, run, run_spec, &path)?;
            built("sample", &(self.net_volume(work, run, last)? / portion))?
        } else {
            let idle = || {
                SheetError::entry(
                    format!("method {}", self.method.name),
                    format!(
                        "the titration \"{}\" tells of no analyte",
                        self.titrations[t].name
                    ),
                )
            };
            let titrant = measured.iter().position(
                |m| matches!(m, Measured::Titrant { titration, end_point } if *titration == t && *end_point == last),
            );
            let rows = &self.balanced.answer;
            let analyte =
                titrant.and_then(|column| rows.iter().position(|r| r[column].numerator != 0));
            let found = self.found(work, spec, run, analyte.ok_or_else(idle)?)?;
            built("sample", &found.ok_or_else(idle)?)?
        };
        let budget = propagate(&formula);
        let values = formula.evaluate(formula.input_values());
        let slopes = formula.node_derivatives(formula.result_index(), &values);
        let name = &work.bench.runs[run].name;
        let per_ml = formula
            .node_index(&format!("V_{name}"))
            .map_or(f64::NAN, |node| slopes[node]);
        let own = Scope::Run(work.bench.run_key(run));
        let scale = formula.unit_of(formula.result_index()).factor();
        let own_variance = budget
            .lines
            .iter()
            .filter(|l| formula.inputs()[l.input].scope == own)
            .map(|l| (l.contribution * scale).powi(2))
            .sum();
        Ok(Told {
            content: values[formula.result_index()],
            per_ml,
            own_variance,
        })
    }

    /// Why a run without a titre cannot be used.
    fn no_titre(&self, work: &Work, run: usize) -> SheetError {
        let name = &work.bench.runs[run].name;
        let blank = work.blank[work.titration[run]].is_some();
        let measured = !self.method.reagent.is_empty();
        let message = if blank && measured && self.method.blank != BlankPlan::Reagent {
            format!(
                "run {name}: its titre less the blank is not above 0; a blank that holds the reagent as well tells how much of it there is and is not subtracted: then write blank_is = \"reagent\" at the top of the sheet"
            )
        } else if measured {
            format!(
                "run {name}: its titre less the blank is not above 0; where none of the reagent is left the sample may hold more than it can bind: take a smaller portion"
            )
        } else {
            format!("run {name}: its titre less the blank is not above 0")
        };
        SheetError::entry(format!("run[{}]", run + 1), message)
    }
}

/// The scatter of one run as an input of its own, where a line goes through the runs; `over` is the mean titre over its
/// own.
fn own_factor(work: &Work, spec: &SampleSpec, run: usize, scatter: &Scatter, over: f64) -> Input {
    let name = &work.bench.runs[run].name;
    Input::new(
        format!(
            "{} sample {}/repeatability/{name}",
            work.bench.determination, spec.id
        ),
        format!("f_rep,{name}"),
        Quantity::number(1.0),
    )
    .described(format!("repeatability of the titre of run {name}"))
    .distributed(Distribution::StudentT {
        scale: scatter.used * over,
    })
    .with_degrees_of_freedom(scatter.degrees_of_freedom)
    .from_origin(Origin::Observations(scatter.earlier.source.clone()))
    .grouped("repeatability")
}

/// What the inputs of a run do is contained in the repeatability of its titration, where the rule picked that.
pub(super) fn muted(
    formula: Formula,
    work: &Work,
    titrations: &[(Scatter, Option<f64>)],
) -> Result<Formula, SheetError> {
    let rules: HashMap<Scope, ScatterRule> = (0..work.bench.runs.len())
        .filter(|i| status_of(&work.bench.runs[*i].spec) == RunStatus::Counts)
        .map(|i| {
            (
                Scope::Run(work.bench.run_key(i)),
                titrations[work.titration[i]].0.rule,
            )
        })
        .collect();
    let fail = |e: metrology::FormulaError| SheetError::entry("sample", e.to_string());
    let mut formula = formula
        .changing_inputs(|input| {
            rules
                .get(&input.scope)
                .is_some_and(|rule| rule.is_one_input())
                .then(|| Input {
                    distribution: Distribution::Exact,
                    ..input.clone()
                })
        })
        .map_err(fail)?;
    // Factors by one estimate of the scatter do not correlate, but have its degrees of freedom together, once.
    for pair in work.own_factors.windows(2) {
        if formula.input_index(&pair[0]).is_some() && formula.input_index(&pair[1]).is_some() {
            formula = formula.correlate(&pair[0], &pair[1], 0.0).map_err(fail)?;
        }
    }
    Ok(formula)
}
