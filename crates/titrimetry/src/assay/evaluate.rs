//! The evaluation of an assay sheet: for each sample one formula a result, over all its runs.

use super::addition::Spike;
use super::against::{self, conformity, zeta};
use super::agreement::{muted, volume_symbol};
use super::conversion::{self, Conversion};
use super::drawing::{Drawing, Leaves, leaves};
use super::expansion::standardized_at;
use super::outcome::{Assay, Reported, SampleOutcome, TitrationOutcome};
use super::portion::Handling;
use super::sheet::{AssaySheet, SampleSpec};
use super::solution::{Known, Plan, reagents, spike, titer};
use super::work::Work;
use crate::evaluation::{Evaluation, RunStatus, Scatter, built, coverage_of, status_of};
use crate::method::{Balanced, BlankPlan, Method, TitrationPlan};
use crate::quantity::ReportUnit;
use crate::sheet::SheetError;
use metrology::{Coverage, Formula, Unit, expand, propagate};
use std::sync::Arc;

/// Most samples on one sheet.
const MAX_SAMPLES: usize = 500;

/// Gives the evaluation of a sheet that standardized a solution, by the name the assay sheet gives it.
pub type Parents<'a> = dyn Fn(&str) -> Option<&'a Evaluation> + 'a;

pub(super) fn unit(symbol: &str) -> Unit {
    symbol.parse().unwrap_or_default()
}

/// Evaluates an assay sheet by a method.
///
/// # Errors
/// [`SheetError::Entry`] naming the entry that cannot be used and what was expected.
pub fn evaluate(
    sheet: &AssaySheet,
    method: &Method,
    parents: &Parents<'_>,
) -> Result<Assay, SheetError> {
    reported_in(true, sheet, &Arc::new(method.clone()), parents)
}

/// The same without the further units in which the method also reports, for where only what is decided by the results
/// matters.
///
/// # Errors
/// As [`evaluate`].
pub fn evaluate_briefly(
    sheet: &AssaySheet,
    method: &Arc<Method>,
    parents: &Parents<'_>,
) -> Result<Assay, SheetError> {
    reported_in(false, sheet, method, parents)
}

fn reported_in(
    further_units: bool,
    sheet: &AssaySheet,
    method: &Arc<Method>,
    parents: &Parents<'_>,
) -> Result<Assay, SheetError> {
    drawn(further_units, false, sheet, method, parents).map(|(assay, _)| assay)
}

/// The same, with the drawing of its only sample if it is asked for and others can be drawn so.
pub(super) fn drawn(
    further_units: bool,
    draw: bool,
    sheet: &AssaySheet,
    method: &Arc<Method>,
    parents: &Parents<'_>,
) -> Result<(Assay, Option<Drawing>), SheetError> {
    if sheet.sample.is_empty() {
        return Err(SheetError::entry(
            "sample",
            "no samples: write a [[sample]] table with its id and its runs",
        ));
    }
    if sheet.sample.len() > MAX_SAMPLES {
        return Err(SheetError::entry(
            "sample",
            format!(
                "{} samples; at most {MAX_SAMPLES} are evaluated",
                sheet.sample.len()
            ),
        ));
    }
    let own_blank = blank_as_the_sheet_says(sheet, method)?.map(Arc::new);
    let method = own_blank.as_ref().unwrap_or(method);
    let balanced = method
        .balanced()
        .map_err(|e| SheetError::entry(format!("method {}", method.name), e.to_string()))?;
    let titrant = Known::of(
        &sheet.titrant,
        &titrant_plan(method, &balanced, "titrant", "titrant")?,
        parents,
    )?;
    let titrant = standardized_at(sheet, method, titrant)?;
    let leaves = match draw {
        true => Some(leaves(sheet, method, &balanced, parents)?),
        false => None,
    };
    let mut shared = Shared {
        sheet,
        method,
        balanced,
        titrations: method.titrations(),
        titrant,
        reagents: reagents(sheet, method, parents, true)?,
        spike: spike(sheet, method, parents)?,
        handling: Handling::of(method, sheet)?,
        coverage: coverage_of(&sheet.coverage)?,
        molar_mass_used: false,
        further_units,
        leaves,
        drawing: None,
        assumptions: Vec::new(),
        burette: None,
    };
    let samples = (0..sheet.sample.len())
        .map(|index| shared.sample(index))
        .collect::<Result<Vec<_>, _>>()?;
    let rechecks = shared.rechecks(&samples, parents)?;
    let used = shared.molar_mass_used;
    let burette = shared
        .burette
        .ok_or_else(|| SheetError::entry("sample", "no runs"))?;
    let mut assumptions: Vec<String> = Vec::new();
    for text in shared.assumptions {
        if !assumptions.contains(&text) {
            assumptions.push(text);
        }
    }
    let assay = Assay {
        sheet: Arc::new(sheet.clone()),
        method: Arc::clone(method),
        burette,
        samples,
        atomic_weights: used.then(|| {
            chemistry::atomic_weights::AtomicWeights::default_set()
                .name()
                .to_string()
        }),
        assumptions,
        rechecks,
    };
    Ok((assay, shared.drawing))
}

/// What the method says of its titrant, for a solution under this name at this path of the sheet.
pub(super) fn titrant_plan<'a>(
    method: &'a Method,
    balanced: &Balanced,
    name: &'a str,
    path: &str,
) -> Result<Plan<'a>, SheetError> {
    Ok(Plan {
        name,
        substance: &method.titrant.substance,
        acts_as: method.titrant.acts_as.as_deref(),
        equivalent: method.titrant.equivalent.as_deref(),
        titer: titer(method, balanced)?,
        path: path.into(),
        whole: true,
    })
}

/// The method with the blank that the sheet declares, if it is another than the method foresees.
fn blank_as_the_sheet_says(
    sheet: &AssaySheet,
    method: &Method,
) -> Result<Option<Method>, SheetError> {
    let Some(blank) = sheet.blank_is.filter(|blank| *blank != method.blank) else {
        return Ok(None);
    };
    let mut own = method.clone();
    own.blank = blank;
    if blank == BlankPlan::Reagent {
        let refuse = |why: &str| Err(SheetError::entry("blank_is", why));
        match own.reagent.as_mut_slice() {
            [reagent] if reagent.before.is_none() => reagent.measured_by = None,
            [_] => {
                return refuse(
                    "the reagent is shared out with the sample, so a blank does not hold all of it",
                );
            }
            [] => return refuse("the method adds no reagent that a blank could hold"),
            _ => return refuse("one blank cannot fix the amounts of several reagents"),
        }
    }
    own.balanced()
        .map_err(|e| SheetError::entry("blank_is", e.to_string()))?;
    Ok(Some(own))
}

/// What all samples of a sheet share.
pub(super) struct Shared<'a> {
    pub(super) sheet: &'a AssaySheet,
    pub(super) method: &'a Arc<Method>,
    pub(super) balanced: Balanced,
    pub(super) titrations: Vec<TitrationPlan>,
    pub(super) titrant: Known,
    pub(super) reagents: Vec<Option<Known>>,
    pub(super) spike: Option<Spike>,
    pub(super) handling: Handling<'a>,
    pub(super) coverage: Coverage,
    pub(super) molar_mass_used: bool,
    /// Whether results are given in all their units, or in the first.
    pub(super) further_units: bool,
    /// Titrant and reagents as leaves, where a drawing is asked for.
    pub(super) leaves: Option<Leaves>,
    /// The drawing of the latest sample.
    pub(super) drawing: Option<Drawing>,
    pub(super) assumptions: Vec<String>,
    pub(super) burette: Option<crate::evaluation::BuretteFacts>,
}

impl Shared<'_> {
    pub(super) fn sample(&mut self, index: usize) -> Result<SampleOutcome, SheetError> {
        let spec = &self.sheet.sample[index];
        let path = format!("sample[{}]", index + 1);
        let relocate = |error: SheetError| match error {
            // Runs of a sample stand inside its table.
            SheetError::Entry {
                path: inner,
                line,
                message,
            } if inner.starts_with("run[") => SheetError::Entry {
                path: format!("{path}.{inner}"),
                line,
                message,
            },
            other => other,
        };
        self.one(spec, &path).map_err(relocate)
    }

    fn one(&mut self, spec: &SampleSpec, path: &str) -> Result<SampleOutcome, SheetError> {
        self.check_additions(spec, path)?;
        let mut work = self.work(spec)?;
        self.burette = Some(work.bench.burette_facts.clone());
        self.assumptions.append(&mut work.bench.assumptions);
        let own = spec.run.len();
        let counts: Vec<bool> = (0..own)
            .map(|i| status_of(&work.bench.runs[i].spec) == RunStatus::Counts)
            .collect();
        for (t, plan) in self.titrations.iter().enumerate() {
            if !(0..own).any(|i| counts[i] && work.titration[i] == t) {
                return Err(SheetError::entry(
                    format!("{path}.run"),
                    format!(
                        "sample {} has no run that counts for \"{}\"",
                        spec.id, plan.name
                    ),
                ));
            }
        }
        let (late, notes) = self.predicted_ends(&work, spec, &counts)?;
        work.late = late;
        self.assumptions.extend(notes);
        work.slope = self.slope(&work, spec, &counts)?;
        let titrations = self.judge_scatter(&mut work, spec, &counts)?;
        let contents = self.contents(&work, spec, &counts, None)?;
        let contents = conversion::recovered(contents, spec, path)?;
        let below_zero = self.below_zero(&contents, &work, &titrations)?;
        let density =
            conversion::density(spec.density.as_ref(), &spec.id, &format!("{path}.density"))?;
        let mut results = Vec::new();
        for result in 0..self.method.result.len() {
            let conversion = Conversion {
                method: self.method,
                result,
                contents: &contents,
                density: density.clone(),
            };
            let plan = &self.method.result[result];
            let mut reported = self.report(&conversion, &plan.unit, &work, &titrations)?;
            let further: &[String] = if self.further_units { &plan.also } else { &[] };
            for also in further {
                match self.report(&conversion, also, &work, &titrations) {
                    Ok(more) => reported.also.push(more),
                    // Asking for a density that nobody needs is noise; the main unit decides.
                    Err(_) if density.is_none() => {}
                    Err(error) => return Err(error),
                }
            }
            results.push(reported);
        }
        let conversion = Conversion {
            method: self.method,
            result: 0,
            contents: &contents,
            density: density.clone(),
        };
        let mut asked = |written: Option<&metrology::WrittenQuantity>, field: &str| {
            let first = &results[0];
            match written.filter(|w| first.number_of(w).is_none()) {
                None => Ok(None),
                Some(w) => self
                    .report(&conversion, w.unit.symbol(), &work, &titrations)
                    .map(|reported| Some(Box::new(reported)))
                    .map_err(|e| {
                        let path = format!("{path}.{field}");
                        SheetError::entry(
                            path,
                            format!("the first result cannot be told in {}: {e}", w.unit),
                        )
                    }),
            }
        };
        let limited = asked(against::unit_of_limits(spec), "limits")?;
        let compared = asked(against::unit_expected(spec), "expected")?;
        let addition = self.addition(&work, spec, &counts, &titrations, &results[0])?;
        let runs = self.runs(&work, spec, density.as_ref(), own)?;
        if self.leaves.is_some() {
            let beside = [limited.as_deref(), compared.as_deref()];
            let drawing = self.drawing(&work, spec, &titrations, density.as_ref(), beside);
            // What cannot be drawn is evaluated by itself, as this sample was.
            self.drawing = drawing.ok().flatten();
        }
        let titrations = titrations
            .into_iter()
            .enumerate()
            .map(|(t, (scatter, blank))| TitrationOutcome {
                name: self.titrations[t].name.clone(),
                blank,
                effect_per_ml: effect_per_ml(&results[0].formula, &work, t, own),
                scatter,
            })
            .collect();
        Ok(SampleOutcome {
            conformity: conformity(spec, limited.as_deref().unwrap_or(&results[0]), path)?,
            expected: against::expected(
                spec,
                &results[0],
                compared.as_deref().unwrap_or(&results[0]),
            ),
            zeta: zeta(spec, compared.as_deref().unwrap_or(&results[0]), path)?,
            limited,
            compared,
            spec: spec.clone(),
            runs,
            titrations,
            results,
            below_zero,
            addition,
        })
    }

    /// Closes the formula of a result in one unit.
    fn report(
        &mut self,
        conversion: &Conversion<'_>,
        unit_text: &str,
        work: &Work,
        titrations: &[(Scatter, Option<f64>)],
    ) -> Result<Reported, SheetError> {
        let plan = &self.method.result[conversion.result];
        let wanted = ReportUnit::parse(unit_text)
            .map_err(|fault| SheetError::entry("result.unit", fault))?;
        let expr = conversion.express(&wanted, &mut self.molar_mass_used)?;
        let formula = muted(built("sample", &expr)?, work, titrations)?;
        let budget = propagate(&formula);
        let factor = wanted.factor();
        let expanded = expand(
            budget.value / factor,
            budget.standard_uncertainty / factor,
            budget.effective_degrees_of_freedom,
            self.coverage,
        );
        let substance = match &wanted {
            ReportUnit::Defined { substance, .. } => (*substance).to_string(),
            _ => plan
                .expressed_as
                .clone()
                .unwrap_or_else(|| plan.of.join(" + ")),
        };
        Ok(Reported {
            name: plan.name.clone(),
            expressed_as: substance,
            unit: wanted.name().to_string(),
            value: budget.value / factor,
            standard_uncertainty: budget.standard_uncertainty / factor,
            factor,
            expanded,
            formula,
            budget,
            also: Vec::new(),
        })
    }
}

/// Relative change of a result per mL in all titres of a titration that count.
fn effect_per_ml(formula: &Formula, work: &Work, titration: usize, own: usize) -> f64 {
    let titres: Vec<usize> = (0..own)
        .filter(|i| work.titration[*i] == titration)
        .filter_map(|i| formula.node_index(&volume_symbol(&work.bench.runs[i].name)))
        .collect();
    effect_of(formula, &titres)
}

/// Relative change of the result of a formula per mL in these titres of it.
pub(super) fn effect_of(formula: &Formula, titres: &[usize]) -> f64 {
    let values = formula.evaluate(formula.input_values());
    let slopes = formula.node_derivatives(formula.result_index(), &values);
    let sum: f64 = titres.iter().map(|node| slopes[*node]).sum();
    sum / values[formula.result_index()]
}
