//! How the runs of a titration agree, and the repeatability that follows from it.

use super::evaluate::Shared;
use super::sheet::SampleSpec;
use super::work::Work;
use crate::evaluation::{
    RunStatus, Scatter, ScatterRule, built, earlier_scatter, status_of, value_of,
};
use crate::method::{BlankPlan, Measured};
use crate::sheet::{Repeatability, SheetError};
use metrology::replicates::Replicates;
use metrology::{Distribution, Expr, Formula, Input, Origin, Quantity, Scope};
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
    /// Reads it off a formula: the node that tells it, the node of the titre, and the inputs that belong to the run alone with
    /// their standard uncertainties (coherent).
    pub(super) fn of(
        formula: &Formula,
        values: &[f64],
        node: usize,
        titre: Option<usize>,
        own: impl IntoIterator<Item = (usize, f64)>,
    ) -> Self {
        let slopes = formula.node_derivatives(node, values);
        let gradient = formula.gradient_of(&slopes);
        let own = own
            .into_iter()
            .map(|(input, u)| (gradient[input] * u).powi(2));
        Self {
            content: values[node],
            per_ml: titre.map_or(f64::NAN, |titre| slopes[titre]),
            own_variance: own.sum(),
        }
    }

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
            let titre = mean(&titres);
            let line = work.slope.is_some();
            let repeatability = self.sheet.repeatability.as_ref();
            let scatter = scatter_of(&found, &titres, line, repeatability)?;
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
                    titres.len()
                ))
                .grouped("repeatability");
                let input = of_mean(input, &scatter);
                if let Some(asked) = work.factors.get_mut(t) {
                    *asked = Some(input.id.clone());
                }
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

    /// What one run alone tells of the sample.
    pub(super) fn told(
        &self,
        work: &Work,
        spec: &SampleSpec,
        run: usize,
    ) -> Result<Told, SheetError> {
        let formula = built("sample", &self.telling(work, spec, run)?)?;
        let values = formula.evaluate(formula.input_values());
        let titre = formula.node_index(&volume_symbol(&work.bench.runs[run].name));
        let key = work.bench.run_key(run);
        let own = own_inputs(&formula, &key);
        Ok(Told::of(
            &formula,
            &values,
            formula.result_index(),
            titre,
            own,
        ))
    }

    /// The formula of it: titrant per portion, or the content that follows from it where a reagent in known amount was there
    /// as well.
    pub(super) fn telling(
        &self,
        work: &Work,
        spec: &SampleSpec,
        run: usize,
    ) -> Result<Expr, SheetError> {
        let t = work.titration[run];
        let last = self.titrations[t].end_point.len() - 1;
        let measured = &self.balanced.measured;
        let alone = !measured
            .iter()
            .any(|m| m.titration() == t && !matches!(m, Measured::Titrant { .. }));
        Ok(if let Some(slope) = work.slope {
            // What the run says of the intercept, by the slope of all.
            let found = self.found(work, spec, run, 0)?;
            let added = self.added(work, spec, run)?;
            found
                .zip(added)
                .map(|(y, x)| y - Expr::number(slope) * x)
                .unwrap_or_else(|| Expr::number(f64::NAN))
        } else if alone {
            let path = format!("run[{}]", run + 1);
            let run_spec = &work.bench.runs[run].spec;
            let portion = self
                .handling
                .portion(&work.bench, spec, run, run_spec, &path)?;
            self.net_volume(work, run, last)? / portion
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
            found.ok_or_else(idle)?
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

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Symbol of the titre of a run.
pub(super) fn volume_symbol(run: &str) -> String {
    format!("V_{run}")
}

/// The inputs that belong to a run alone, with their standard uncertainties (coherent).
pub(super) fn own_inputs<'a>(
    formula: &'a Formula,
    key: &'a str,
) -> impl Iterator<Item = (usize, f64)> + 'a {
    let of = move |input: &Input| matches!(&input.scope, Scope::Run(run) if run == key);
    formula
        .inputs()
        .iter()
        .enumerate()
        .filter(move |(_, input)| of(input))
        .map(|(index, input)| (index, input.standard_uncertainty() * input.unit.factor()))
}

/// The scatter of runs that tell this, with the titres that count of them in mL; `line` if a line goes through them.
pub(super) fn scatter_of(
    found: &[Told],
    titres: &[f64],
    line: bool,
    repeatability: Option<&Repeatability>,
) -> Result<Scatter, SheetError> {
    let titre = mean(titres);
    let middle = found.iter().map(|f| f.content).sum::<f64>() / found.len() as f64;
    // What agrees between runs is the content; a deviation is the error of the titre that would make it, over
    // the titre that the run would have had. So differing portions and a measured reagent are taken out.
    // Titres of a line differ by what was added, their scatter does not: there it is over the mean titre.
    let (mut values, mut squares) = (Vec::new(), 0.0);
    for (told, net) in found.iter().zip(titres) {
        let off = told.off(middle);
        let expected = if line { titre } else { net - off };
        values.push(1.0 + off / expected);
        squares += told.own_variance / (told.per_ml * expected).powi(2);
    }
    let predicted = (squares / values.len() as f64).sqrt();
    let replicates =
        Replicates::of(&values).map_err(|e| SheetError::entry("run", e.to_string()))?;
    let earlier = earlier_scatter(repeatability, predicted, titre)?;
    let n = values.len();
    let fitted = if line { 2 } else { 1 };
    let observed = replicates
        .relative_standard_deviation()
        .filter(|_| n > fitted)
        .map(|s| s.abs() * ((n - 1) as f64 / (n - fitted) as f64).sqrt());
    Ok(Scatter::judge_fitted(
        n, fitted, observed, predicted, earlier,
    ))
}

/// The factor of the repeatability of a mean, with what the scatter says of it.
pub(super) fn of_mean(factor: Input, scatter: &Scatter) -> Input {
    factor
        .distributed(Distribution::StudentT {
            scale: scatter.used / (scatter.runs as f64).sqrt(),
        })
        .with_degrees_of_freedom(scatter.degrees_of_freedom)
        .from_origin(Origin::Observations(scatter.earlier.source.clone()))
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
