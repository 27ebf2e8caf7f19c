//! The evaluation of a standardization: one formula over all runs.

use super::apparatus::{Bench, NamedRun};
use super::known::{self, KnownAmount};
use super::outcome::{Before, Evaluation, Factor, Run, RunStatus};
use super::scatter::{
    ASSUMED_DEGREES_OF_FREEDOM, ASSUMED_END_POINT_SCATTER, Earlier, Scatter, ScatterRule,
};
use super::stated;
use super::stoichiometry::Stoichiometry;
use super::{dilution, end_point};
use crate::layout::Layout;
use crate::sheet::{CoverageSpec, Repeatability, RunKind, RunSpec, Sheet, SheetError};
use metrology::replicates::Replicates;
use metrology::{
    Coverage, Distribution, Expr, Formula, FormulaError, Input, Origin, Quantity, Scope, Unit,
    expand, propagate,
};

/// Most runs that one sheet may hold.
const MAX_RUNS: usize = 2000;

/// Evaluates a sheet. `parent` is the evaluation of the sheet named by `known.sheet`, whose formula is carried along.
///
/// # Errors
/// [`SheetError::Entry`] naming the entry that cannot be used and what was expected.
pub fn evaluate(sheet: &Sheet, parent: Option<&Evaluation>) -> Result<Evaluation, SheetError> {
    let layout = Layout::of(sheet.sought.place);
    check_runs(sheet)?;
    let coverage = coverage_of(&sheet.coverage)?;
    let stoichiometry = Stoichiometry::of(sheet)?;
    let mut bench = bench(sheet)?;
    let known = known::Known::of(sheet, layout, parent, &mut bench)?;

    // Volumes first: the blank is part of every other run.
    let volumes: Vec<Expr> = (0..sheet.run.len())
        .map(|index| bench.titrant_volume(index))
        .collect::<Result<_, _>>()?;
    let blank = blank(sheet, &volumes);
    let stated = sheet.end_point.as_ref().map(|spec| &spec.late);
    let late = end_point::late(stated, &bench.determination)?;
    let undiluted = dilution::factor(sheet, &bench)?;
    let mut runs = Vec::with_capacity(sheet.run.len());
    let mut expressions = Vec::with_capacity(sheet.run.len());
    for (index, volume) in volumes.iter().enumerate() {
        let expression = if sheet.run[index].kind == RunKind::Blank {
            None
        } else {
            let amount = known.amount(sheet, index, &mut bench)?;
            let reacted = end_point::before_the_end(volume, late.as_ref());
            let net = net(sheet, index, &reacted, blank.as_ref());
            let c = concentration(net, amount, &stoichiometry);
            Some(dilution::undiluted(sheet, index, c, undiluted.as_ref()))
        };
        runs.push(run(sheet, index, &bench, volume, expression.as_ref())?);
        expressions.push(expression);
    }
    let blank = blank.map(|b| value_of(&sheet.title, &b)).transpose()?;
    let not_of_the_reaction = blank.unwrap_or(0.0) + end_point::millilitres(sheet);
    expect_titres(&mut runs, layout, not_of_the_reaction);

    let counting: Vec<Expr> = runs
        .iter()
        .zip(&expressions)
        .filter(|(run, _)| run.counts())
        .filter_map(|(_, e)| e.clone())
        .collect();
    if counting.is_empty() {
        return Err(SheetError::entry(
            "run",
            "no run is left that counts: at least one replicate that is not set aside is needed",
        ));
    }
    let n = counting.len();
    let mean = Expr::mean(counting)
        .named("c_mean", "mean of the runs that count")
        .in_unit(mole_per_litre());
    let scatter = scatter(sheet, &runs, known.titre_of_mean(&runs))?;
    let (formula, budget) = close(sheet, &bench, mean, &scatter, n)?;
    let expanded = expand(
        budget.value,
        budget.standard_uncertainty,
        budget.effective_degrees_of_freedom,
        coverage,
    );
    if !(expanded.lower.is_finite() && expanded.upper.is_finite()) {
        return Err(SheetError::entry(
            "run",
            "the numbers of this sheet are too large for any bench: no uncertainty can be given; look for a wrong exponent or unit",
        ));
    }
    let mut assumptions = bench.assumptions;
    assumptions.extend(known.assumptions);
    if !scatter.earlier.given && scatter.rule == ScatterRule::Pooled {
        assumptions.push(format!(
            "repeatability before this set: {} (no pooled repeatability on the sheet)",
            scatter.earlier.source
        ));
    }
    Ok(Evaluation {
        determination: bench.determination,
        layout,
        reaction: stoichiometry.reaction,
        ratio: stoichiometry.ratio.value(),
        burette: bench.burette_facts,
        effect_per_ml: effect_per_ml(&formula, &runs),
        blank,
        factor: factor(sheet, &budget, expanded.coverage_factor),
        before: before(sheet)?,
        atomic_weights: known.atomic_weights,
        sheet: sheet.clone(),
        runs,
        formula,
        budget,
        expanded,
        scatter,
        assumptions,
    })
}

fn bench(sheet: &Sheet) -> Result<Bench, SheetError> {
    let determination = sheet
        .sought
        .bottle
        .clone()
        .unwrap_or_else(|| sheet.title.clone());
    let runs = named_runs(&sheet.run, None);
    Bench::of(determination, &sheet.apparatus, &sheet.conditions, runs)
}

/// Every formula of the sheet is closed here, so that a defect of ours is reported and not panicked on.
pub(crate) fn built(path: &str, expr: &Expr) -> Result<Formula, SheetError> {
    Formula::build(expr).map_err(|error| defect(path, error))
}

/// The value of a part of a formula that is closed elsewhere.
pub(crate) fn value_of(path: &str, expr: &Expr) -> Result<f64, SheetError> {
    let value = expr.value().map_err(|error| defect(path, error))?;
    Ok(value.value)
}

fn defect(path: &str, error: FormulaError) -> SheetError {
    match error {
        FormulaError::ConflictingInput { id } => SheetError::entry(
            "apparatus",
            format!(
                "\"{id}\" stands for two different things; give every piece and bottle its own id"
            ),
        ),
        other => SheetError::entry(path, other.to_string()),
    }
}

fn mole_per_litre() -> Unit {
    "mol/L".parse().unwrap_or_default()
}

fn check_runs(sheet: &Sheet) -> Result<(), SheetError> {
    if sheet.run.is_empty() {
        return Err(SheetError::entry(
            "run",
            "no runs: write a [[run]] table for each run, rough and spoiled ones too",
        ));
    }
    if sheet.run.len() > MAX_RUNS {
        return Err(SheetError::entry(
            "run",
            format!("{} runs; at most {MAX_RUNS} are evaluated", sheet.run.len()),
        ));
    }
    if let Some(index) = sheet.run.iter().position(|run| run.added.is_some()) {
        return Err(SheetError::entry(
            format!("run[{}].added", index + 1),
            "a standardization adds nothing to its portions: additions belong to samples, by a method with a step spiked_with",
        ));
    }
    let names: Vec<String> = (0..sheet.run.len()).map(|i| sheet.run_name(i)).collect();
    for (index, name) in names.iter().enumerate() {
        if names[..index].contains(name) {
            let path = format!("run[{}].name", index + 1);
            return Err(SheetError::entry(
                path,
                format!("two runs are called \"{name}\""),
            ));
        }
    }
    Ok(())
}

/// The interval that a sheet asks for; 95 % where it says nothing.
pub(crate) fn coverage_of(spec: &CoverageSpec) -> Result<Coverage, SheetError> {
    match (spec.probability, spec.factor) {
        (Some(_), Some(_)) => Err(SheetError::entry(
            "coverage",
            "give a probability or a factor, not both: one follows from the other",
        )),
        (Some(p), None) if !(0.5..1.0).contains(&p) => Err(SheetError::entry(
            "coverage.probability",
            format!("{p} is not a probability from 0.5 to below 1"),
        )),
        (None, Some(k)) if !(k.is_finite() && k > 0.0) => Err(SheetError::entry(
            "coverage.factor",
            format!("{k} is not a factor above 0"),
        )),
        (Some(p), None) => Ok(Coverage::Probability(p)),
        (None, Some(k)) => Ok(Coverage::Factor(k)),
        (None, None) => Ok(Coverage::Probability(0.95)),
    }
}

/// Whether a run is part of the mean.
pub(crate) fn status_of(spec: &RunSpec) -> RunStatus {
    match (&spec.set_aside, spec.kind) {
        (Some(reason), _) => RunStatus::SetAside(reason.clone()),
        (None, RunKind::Rough) => RunStatus::Rough,
        (None, RunKind::Blank) => RunStatus::Blank,
        (None, RunKind::Replicate) => RunStatus::Counts,
    }
}

/// Runs with the names that people use: their own, or their number among the runs of their kind, behind `of` if given.
pub(crate) fn named_runs(runs: &[RunSpec], of: Option<&str>) -> Vec<NamedRun> {
    runs.iter()
        .enumerate()
        .map(|(index, spec)| {
            let name = crate::sheet::run_name(runs, index);
            let name = of.map_or(name.clone(), |of| format!("{of} {name}"));
            NamedRun {
                name,
                spec: spec.clone(),
            }
        })
        .collect()
}

/// Mean volume of the blanks that count.
fn blank(sheet: &Sheet, volumes: &[Expr]) -> Option<Expr> {
    let blanks: Vec<Expr> = sheet
        .run
        .iter()
        .zip(volumes)
        .filter(|(run, _)| run.kind == RunKind::Blank && run.set_aside.is_none())
        .map(|(_, volume)| volume.clone())
        .collect();
    (!blanks.is_empty()).then(|| {
        Expr::mean(blanks)
            .named("V_blank", "mean volume of the blanks")
            .in_unit("mL".parse().unwrap_or_default())
    })
}

/// The titrant that the reaction used.
fn net(sheet: &Sheet, index: usize, volume: &Expr, blank: Option<&Expr>) -> Expr {
    let name = sheet.run_name(index);
    match blank {
        Some(blank) => (volume.clone() - blank.clone())
            .named(
                format!("V_net,{name}"),
                format!("titrant used by the reaction, run {name}"),
            )
            .in_unit("mL".parse().unwrap_or_default()),
        None => volume.clone(),
    }
}

/// The concentration of what was titrated, from one run.
fn concentration(net: Expr, known: KnownAmount, stoichiometry: &Stoichiometry) -> Expr {
    let ratio = stoichiometry.ratio_expr();
    match known {
        KnownAmount::InFlask(amount) => times(ratio, amount) / net,
        KnownAmount::InBurette {
            concentration,
            sought_volume,
        } => times(ratio, concentration) * net / sought_volume,
    }
}

/// A ratio of one is not written.
fn times(ratio: Option<Expr>, amount: Expr) -> Expr {
    match ratio {
        Some(ratio) => ratio * amount,
        None => amount,
    }
}

fn run(
    sheet: &Sheet,
    index: usize,
    bench: &Bench,
    volume: &Expr,
    concentration: Option<&Expr>,
) -> Result<Run, SheetError> {
    let spec = &sheet.run[index];
    let status = status_of(spec);
    let (titre, titre_decimals) = bench.titre_as_read(index)?;
    let volume = value_of(&sheet.title, volume)?;
    let mut out = Run {
        index,
        name: sheet.run_name(index),
        key: bench.run_key(index),
        kind: spec.kind,
        status,
        titre,
        titre_decimals,
        volume,
        concentration: None,
        apparatus_uncertainty: None,
        expected_titre: None,
    };
    if let Some(expression) = concentration {
        let formula = built(&sheet.title, expression)?;
        let budget = propagate(&formula);
        if !(budget.value.is_finite() && budget.value > 0.0) {
            return Err(SheetError::entry(
                format!("run[{}]", index + 1),
                format!(
                    "run {} gives no usable concentration: its titre less the blank is not above 0",
                    out.name
                ),
            ));
        }
        let own = Scope::Run(bench.run_key(index));
        let variance: f64 = budget
            .lines
            .iter()
            .filter(|line| formula.inputs()[line.input].scope == own)
            .map(|line| line.contribution.powi(2))
            .sum();
        out.concentration = Some(budget.value);
        out.apparatus_uncertainty = Some(variance.sqrt());
    }
    Ok(out)
}

/// The titre that each run would have had at the middle concentration.
fn expect_titres(runs: &mut [Run], layout: Layout, not_of_the_reaction: f64) {
    let mut counting: Vec<f64> = runs
        .iter()
        .filter(|r| r.counts())
        .filter_map(|r| r.concentration)
        .collect();
    counting.sort_by(f64::total_cmp);
    let Some(&upper) = counting.get(counting.len() / 2) else {
        return;
    };
    let lower = counting[(counting.len() - 1) / 2];
    let middle = f64::midpoint(lower, upper);
    for run in runs {
        let Some(c) = run.concentration else { continue };
        let ratio = match layout {
            Layout::SoughtInBurette => c / middle,
            Layout::SoughtInFlask => middle / c,
        };
        // The corrections of a run are the same at both volumes.
        run.expected_titre = Some(run.titre + (run.volume - not_of_the_reaction) * (ratio - 1.0));
    }
}

/// Applies the rule of [`Scatter`].
fn scatter(sheet: &Sheet, runs: &[Run], titre: f64) -> Result<Scatter, SheetError> {
    let counting: Vec<&Run> = runs.iter().filter(|run| run.counts()).collect();
    let values: Vec<f64> = counting
        .iter()
        .filter_map(|run| run.concentration)
        .collect();
    let replicates =
        Replicates::of(&values).map_err(|error| SheetError::entry("run", error.to_string()))?;
    let squares: f64 = counting
        .iter()
        .filter_map(|run| Some((run.apparatus_uncertainty? / run.concentration?).powi(2)))
        .sum();
    let predicted = (squares / values.len() as f64).sqrt();
    let earlier = earlier_scatter(sheet.repeatability.as_ref(), predicted, titre)?;
    Ok(Scatter::judge(
        values.len(),
        replicates.relative_standard_deviation().map(f64::abs),
        predicted,
        earlier,
    ))
}

/// The repeatability known beforehand: the sheet's, or what the apparatus predicts with an allowance for seeing the end.
/// `titre` in mL turns a standard deviation in mL into a relative one.
pub(crate) fn earlier_scatter(
    repeatability: Option<&Repeatability>,
    predicted: f64,
    titre: f64,
) -> Result<Earlier, SheetError> {
    Ok(match repeatability {
        Some(given) => {
            let s = given.s.quantity();
            let path = "repeatability.s";
            let relative = if s.unit.dimension() == metrology::Dimension::NUMBER {
                s.quantity().coherent()
            } else {
                let ml = s
                    .value_in(&"mL".parse().unwrap_or_default())
                    .map_err(|error| {
                        SheetError::entry(path, format!("{error}; give a volume or a percentage"))
                    })?;
                ml / titre
            };
            if !(relative.is_finite() && relative > 0.0) {
                return Err(SheetError::entry(
                    path,
                    "a standard deviation must be above 0",
                ));
            }
            if !(given.degrees_of_freedom.is_finite() && given.degrees_of_freedom >= 1.0) {
                return Err(SheetError::entry(
                    "repeatability.degrees_of_freedom",
                    "must be 1 or more",
                ));
            }
            Earlier {
                relative,
                degrees_of_freedom: given.degrees_of_freedom,
                source: given
                    .source
                    .clone()
                    .unwrap_or_else(|| "stated on the sheet".into()),
                given: true,
            }
        }
        None => Earlier {
            relative: predicted.hypot(ASSUMED_END_POINT_SCATTER / titre),
            degrees_of_freedom: ASSUMED_DEGREES_OF_FREEDOM,
            source: format!(
                "what the apparatus predicts and {ASSUMED_END_POINT_SCATTER} mL for seeing the end, about half a drop (common practice)"
            ),
            given: false,
        },
    })
}

/// Closes the formula of the result: the mean, and the scatter as the rule picked it.
fn close(
    sheet: &Sheet,
    bench: &Bench,
    mean: Expr,
    scatter: &Scatter,
    n: usize,
) -> Result<(Formula, metrology::Budget), SheetError> {
    let what = format!("concentration of {}", sheet.sought.substance);
    let result = |expr: Expr| expr.named("c", what.clone()).in_unit(mole_per_litre());
    let formula = match scatter.rule {
        ScatterRule::Apparatus => built(&sheet.title, &result(mean))?,
        ScatterRule::Pooled | ScatterRule::ThisSet => {
            let scale = scatter.used / (n as f64).sqrt();
            let repeatability = Input::new(
                format!("{}/repeatability", bench.determination),
                "f_rep",
                Quantity::number(1.0),
            )
            .described(format!("repeatability of the mean of {n}"))
            .distributed(Distribution::StudentT { scale })
            .with_degrees_of_freedom(scatter.degrees_of_freedom)
            .from_origin(Origin::Observations(scatter.earlier.source.clone()))
            .grouped("repeatability");
            let formula = built(&sheet.title, &result(mean * Expr::input(repeatability)))?;
            // What a run's own inputs do is contained in the repeatability; only the blank's stay, as no replicate
            // shows them.
            let replicates: Vec<Scope> = (0..sheet.run.len())
                .filter(|i| sheet.run[*i].kind == RunKind::Replicate)
                .map(|i| Scope::Run(bench.run_key(i)))
                .collect();
            formula
                .changing_inputs(|input| {
                    replicates.contains(&input.scope).then(|| Input {
                        distribution: Distribution::Exact,
                        ..input.clone()
                    })
                })
                .map_err(|error| SheetError::entry(sheet.title.clone(), error.to_string()))?
        }
    };
    let budget = propagate(&formula);
    Ok((formula, budget))
}

fn factor(sheet: &Sheet, budget: &metrology::Budget, coverage_factor: f64) -> Option<Factor> {
    let written = sheet.sought.nominal.as_ref()?;
    let nominal = written.value();
    Some(Factor {
        nominal,
        nominal_written: written.to_string(),
        value: budget.value / nominal,
        standard_uncertainty: budget.standard_uncertainty / nominal,
        expanded_uncertainty: budget.standard_uncertainty * coverage_factor / nominal,
    })
}

/// What the solution was found to be before.
fn before(sheet: &Sheet) -> Result<Option<Before>, SheetError> {
    let Some(stated) = &sheet.sought.earlier else {
        return Ok(None);
    };
    let about = stated::About {
        id: "sought/earlier".into(),
        symbol: "c_before",
        description: "earlier concentration".into(),
        group: "earlier result",
        path: "sought.earlier",
    };
    let input = stated::input(stated, about)?;
    let value = stated.value.value();
    if value <= 0.0 {
        return Err(SheetError::entry(
            "sought.earlier.value",
            "a concentration must be above 0",
        ));
    }
    Ok(Some(Before {
        value,
        standard_uncertainty: input.unit.to_coherent(input.standard_uncertainty()) * 1000.0,
        written: stated.value.to_string(),
        certificate: stated.certificate.clone(),
    }))
}

/// Relative change of the result per mL in all titres that count, from the derivatives of the formula.
fn effect_per_ml(formula: &Formula, runs: &[Run]) -> f64 {
    let values = formula.evaluate(formula.input_values());
    let slopes = formula.node_derivatives(formula.result_index(), &values);
    let c = values[formula.result_index()];
    let mut sum = 0.0;
    for run in runs.iter().filter(|run| run.counts()) {
        // `Piece::delivered_in_run` names the volume of a run so.
        if let Some(node) = formula.node_index(&format!("V_{}", run.name)) {
            sum += slopes[node];
        }
    }
    sum / c
}
