//! The drawing of a sample: all its formulas put together into one, so that other readings give another sample by the
//! same method, bottles, glass and runs without building anything.
//!
//! A drawing is made where nothing depends on the readings but they themselves and the corrections of a calibrated burette
//! around them: not where the engine predicts an end from the content, and not where a line goes through the runs.

use super::agreement::{Told, muted, of_mean, own_inputs, scatter_of, volume_symbol};
use super::conversion::{self, Conversion};
use super::corrections::Corrections;
use super::evaluate::{Parents, Shared, effect_of, titrant_plan};
use super::expansion::standardized_at;
use super::outcome::{Assay, AssayRun, Reported, SampleOutcome, TitrationOutcome};
use super::sheet::{AssaySheet, SampleSpec};
use super::solution::{Known, Plan, leaf_id, reagents};
use super::work::Work;
use super::{against, slots};
use crate::evaluation::apparatus::titre_as_read;
use crate::evaluation::{Evaluation, RunStatus, Scatter, status_of};
use crate::method::{Balanced, Method};
use crate::quantity::ReportUnit;
use crate::sheet::SheetError;
use metrology::{Behind, Expr, Formula, behind, propagate_through};
use std::sync::Arc;

/// All formulas of a sample in one.
#[derive(Clone, Debug)]
pub(super) struct Drawing {
    /// The formulas; what runs do of their own carries nothing where the scatter contains it.
    formula: Formula,
    /// Readings that are inputs of it.
    slots: Vec<slots::Slot>,
    corrections: Option<Corrections>,
    /// Solutions that other sheets standardized, by name, with the inputs that stand for their results.
    leaves: Vec<(String, usize)>,
    /// Nodes of the results, of the first of them in the units of limits and of what is expected.
    results: Vec<usize>,
    beside: [Option<usize>; 2],
    /// Nodes of the contents.
    contents: Vec<usize>,
    /// The sample's runs, in the order of the sheet.
    runs: Vec<DrawnRun>,
    titrations: Vec<DrawnTitration>,
}

#[derive(Clone, Debug)]
struct DrawnRun {
    titration: usize,
    counts: bool,
    /// Node of what it alone tells, with its own inputs and their standard uncertainties.
    told: Option<(usize, Vec<(usize, f64)>)>,
    /// Node of the titre that counts, where it does.
    net: Option<usize>,
    /// Node of its volume.
    volume: Option<usize>,
    /// Node of the result from it alone, and what its unit is worth.
    value: Option<(usize, f64)>,
}

#[derive(Clone, Debug)]
struct DrawnTitration {
    blank: Option<usize>,
    /// The input that carries the scatter, if one does.
    factor: Option<usize>,
}

/// Nodes of expressions that are put together one after the other.
#[derive(Default)]
struct Together {
    exprs: Vec<Expr>,
}

impl Together {
    fn with(&mut self, expr: Expr) -> usize {
        self.exprs.push(expr);
        self.exprs.len() - 1
    }
}

/// Titrant and reagents whose standardizations are leaves: their results, and nothing of what is behind them.
pub(super) struct Leaves {
    titrant: Known,
    reagents: Vec<Option<Known>>,
}

/// The solutions of a sheet as leaves.
pub(super) fn leaves(
    sheet: &AssaySheet,
    method: &Method,
    balanced: &Balanced,
    parents: &Parents<'_>,
) -> Result<Leaves, SheetError> {
    let plan = Plan {
        whole: false,
        ..titrant_plan(method, balanced, "titrant", "titrant")?
    };
    let titrant = Known::of(&sheet.titrant, &plan, parents)?;
    Ok(Leaves {
        titrant: standardized_at(sheet, method, titrant)?,
        reagents: reagents(sheet, method, parents, false)?,
    })
}

/// The solutions of a sheet that other sheets standardized: their names, and what the other sheet gave.
pub(super) fn standardized<'a>(
    sheet: &'a AssaySheet,
    parents: &'a Parents<'_>,
) -> impl Iterator<Item = (&'a str, Option<&'a Evaluation>)> + 'a {
    let reagents = sheet.reagent.iter().map(|(name, of)| (name.as_str(), of));
    std::iter::once(("titrant", &sheet.titrant))
        .chain(reagents)
        .filter_map(|(name, of)| Some((name, parents(of.sheet.as_deref()?))))
}

impl Shared<'_> {
    /// Draws a sample whose runs are judged, with its solutions as leaves; none if others cannot be drawn so.
    pub(super) fn drawing(
        &mut self,
        work: &Work,
        spec: &SampleSpec,
        titrations: &[(Scatter, Option<f64>)],
        density: Option<&Expr>,
        beside: [Option<&Reported>; 2],
    ) -> Result<Option<Drawing>, SheetError> {
        let Some(leaves) = self.leaves.take() else {
            return Ok(None);
        };
        let titrant = std::mem::replace(&mut self.titrant, leaves.titrant);
        let reagents = std::mem::replace(&mut self.reagents, leaves.reagents);
        let drawing = self.drawn(work, spec, titrations, density, beside);
        self.leaves = Some(Leaves {
            titrant: std::mem::replace(&mut self.titrant, titrant),
            reagents: std::mem::replace(&mut self.reagents, reagents),
        });
        drawing
    }

    fn drawn(
        &self,
        work: &Work,
        spec: &SampleSpec,
        titrations: &[(Scatter, Option<f64>)],
        density: Option<&Expr>,
        beside: [Option<&Reported>; 2],
    ) -> Result<Option<Drawing>, SheetError> {
        let predicted = self
            .sheet
            .end_point
            .as_ref()
            .is_some_and(|ends| !ends.by_indicator.is_empty());
        let unlike = self.sheet.sample.len() != 1
            || self.spike.is_some()
            || predicted
            // In which fill an end lies goes by its reading.
            || spec.run.iter().any(|run| !run.ends.is_empty() && !run.refill.is_empty())
            || !self.sheet.recheck.is_empty();
        if unlike {
            return Ok(None);
        }
        let mut all = Together::default();
        let unit = |text: &str| {
            ReportUnit::parse(text).map_err(|fault| SheetError::entry("result.unit", fault))
        };
        let method = Arc::clone(self.method);
        let mut used = false;
        let mut express = |result, contents: &[Expr], wanted: &ReportUnit| {
            let conversion = Conversion {
                method: &method,
                result,
                contents,
                density: density.cloned(),
            };
            conversion.express(wanted, &mut used)
        };
        let counts: Vec<bool> = (0..spec.run.len())
            .map(|run| status_of(&work.bench.runs[run].spec) == RunStatus::Counts)
            .collect();
        let contents = self.contents(work, spec, &counts, None)?;
        let contents = conversion::recovered(contents, spec, "sample")?;
        let mut results = Vec::new();
        for (index, plan) in self.method.result.iter().enumerate() {
            let wanted = unit(&plan.unit)?;
            results.push(all.with(express(index, &contents, &wanted)?));
        }
        let mut in_other_units = [None, None];
        for (place, reported) in in_other_units.iter_mut().zip(beside) {
            if let Some(reported) = reported {
                let wanted = unit(&reported.unit)?;
                *place = Some(all.with(express(0, &contents, &wanted)?));
            }
        }
        let contents_at: Vec<usize> = contents.iter().map(|c| all.with(c.clone())).collect();
        let mut runs = Vec::new();
        for run in 0..spec.run.len() {
            let t = work.titration[run];
            let last = self.titrations[t].end_point.len() - 1;
            let status = status_of(&work.bench.runs[run].spec);
            let counts = counts[run];
            let blank = status == RunStatus::Blank;
            let told = match blank {
                true => None,
                false => Some(all.with(self.telling(work, spec, run)?)),
            };
            let net = match counts {
                true => Some(all.with(self.net_volume(work, run, last)?)),
                false => None,
            };
            let value = if self.titrations.len() == 1 && !blank {
                let alone = self.contents(work, spec, &[], Some(run))?;
                let alone = conversion::recovered(alone, spec, "sample")?;
                let wanted = unit(&self.method.result[0].unit)?;
                let value = express(0, &alone, &wanted)?;
                Some((all.with(value), wanted.factor()))
            } else {
                None
            };
            runs.push((told, net, value, counts));
        }
        let blanks: Vec<Option<usize>> = work
            .blank
            .iter()
            .map(|blank| blank.clone().map(|blank| all.with(blank)))
            .collect();
        let put_together = Formula::build_together(&all.exprs);
        let Ok((formula, nodes)) = put_together else {
            return Ok(None);
        };
        let slots = slots::of(&formula, self.sheet, &work.bench);
        let corrections = Corrections::of(&formula, self.sheet, &work.bench);
        let (Some(slots), Some(corrections)) = (slots, corrections) else {
            return Ok(None);
        };
        let runs = runs
            .into_iter()
            .enumerate()
            .map(|(run, (told, net, value, counts))| {
                let own = || own_inputs(&formula, &work.bench.run_key(run)).collect();
                DrawnRun {
                    titration: work.titration[run],
                    counts,
                    told: told.map(|at| (nodes[at], own())),
                    net: net.map(|at| nodes[at]),
                    volume: formula.node_index(&volume_symbol(&work.bench.runs[run].name)),
                    value: value.map(|(at, factor)| (nodes[at], factor)),
                }
            })
            .collect();
        let titrations_drawn = blanks
            .iter()
            .zip(&work.factors)
            .map(|(blank, factor)| DrawnTitration {
                blank: blank.map(|at| nodes[at]),
                factor: factor.as_ref().and_then(|id| formula.input_index(id)),
            })
            .collect();
        let solutions =
            std::iter::once("titrant").chain(self.method.reagent.iter().map(|r| r.name.as_str()));
        let leaves = solutions
            .filter_map(|name| Some((name.to_string(), formula.input_index(&leaf_id(name))?)))
            .collect();
        Ok(Some(Drawing {
            leaves,
            results: results.into_iter().map(|at| nodes[at]).collect(),
            beside: in_other_units.map(|at| at.map(|at| nodes[at])),
            contents: contents_at.into_iter().map(|at| nodes[at]).collect(),
            runs,
            titrations: titrations_drawn,
            slots,
            corrections,
            formula: muted(formula, work, titrations)?,
        }))
    }
}

impl Drawing {
    /// What is behind the leaves, for solutions that these sheets standardized; none if it cannot be told apart.
    pub(super) fn behind(&self, sheet: &AssaySheet, parents: &Parents<'_>) -> Option<Vec<Behind>> {
        let mut leaves = Vec::new();
        for (name, parent) in standardized(sheet, parents) {
            // A reagent that the method does not measure stands on the sheet for the record only.
            let Some((_, input)) = self.leaves.iter().find(|(leaf, _)| leaf == name) else {
                continue;
            };
            let parent = parent?;
            leaves.push((*input, &parent.formula, &parent.budget));
        }
        behind(&self.formula, &leaves).ok()
    }

    /// The evaluation of another sheet of the same pattern; `like` is that of the drawn one, `behind` what is behind its
    /// solutions. None if its readings ask for another drawing, or cannot be evaluated: then it is evaluated by itself.
    pub(super) fn evaluate(
        &self,
        like: &Assay,
        sheet: &Arc<AssaySheet>,
        parents: &Parents<'_>,
        behind: &[Behind],
    ) -> Option<Assay> {
        let spec = sheet.sample.first()?;
        let old = like.samples.first()?;
        let mut read = self
            .slots
            .iter()
            .map(|slot| Some((slot.input, slot.reading(sheet, &self.formula)?)))
            .collect::<Option<Vec<_>>>()?;
        for (name, parent) in standardized(sheet, parents) {
            let budget = &parent?.budget;
            if let Some((_, index)) = self.leaves.iter().find(|(leaf, _)| leaf == name) {
                let mut leaf = (*self.formula.inputs()[*index]).clone();
                if leaf.unit != budget.unit {
                    return None;
                }
                leaf.value = budget.value;
                read.push((*index, leaf));
            }
        }
        let constants = match &self.corrections {
            Some(corrections) => corrections.at(sheet)?,
            None => Vec::new(),
        };
        let formula = self.formula.clone().changing(read).ok()?;
        let mut formula = formula.changing_constants(constants).ok()?;
        let values = formula.evaluate(formula.input_values());
        let number = |node: usize| formula.unit_of(node).from_coherent(values[node]);
        // Less than none is judged by its uncertainty.
        if !self.contents.iter().all(|node| values[*node] >= 0.0) {
            return None;
        }
        let told: Vec<Option<Told>> = self
            .runs
            .iter()
            .map(|run| {
                let (node, own) = run.told.as_ref()?;
                let own = own.iter().copied();
                Some(Told::of(&formula, &values, *node, run.volume, own))
            })
            .collect();
        let mut scatters = Vec::new();
        let mut middles = Vec::new();
        let mut factors = Vec::new();
        for (t, drawn) in self.titrations.iter().enumerate() {
            let (mut found, mut titres) = (Vec::new(), Vec::new());
            for (run, told) in self.runs.iter().zip(&told) {
                if run.counts && run.titration == t {
                    let net = number(run.net?);
                    if !(net.is_finite() && net > 0.0) {
                        return None;
                    }
                    titres.push(net);
                    found.push((*told)?);
                }
            }
            let repeatability = sheet.repeatability.as_ref();
            let scatter = scatter_of(&found, &titres, false, repeatability).ok()?;
            if scatter.rule.is_one_input() != drawn.factor.is_some() {
                return None;
            }
            if let Some(input) = drawn.factor {
                let factor = (*formula.inputs()[input]).clone();
                factors.push((input, of_mean(factor, &scatter)));
            }
            let sum: f64 = found.iter().map(|told| told.content).sum();
            middles.push(sum / found.len() as f64);
            scatters.push((scatter, drawn.blank.map(number)));
        }
        let mut runs = Vec::new();
        for (((drawn, old), spec), told) in
            self.runs.iter().zip(&old.runs).zip(&spec.run).zip(&told)
        {
            let (titre, titre_decimals) = titre_as_read(spec)?;
            let initial = spec.initial.as_ref().map_or(0.0, |w| w.value());
            let mut titres: Vec<f64> = spec.ends.iter().map(|end| end.value() - initial).collect();
            titres.push(titre);
            runs.push(AssayRun {
                name: old.name.clone(),
                titration: old.titration.clone(),
                status: status_of(spec),
                titres,
                titre_decimals,
                expected_titre: told.map(|told| titre - told.off(middles[drawn.titration])),
                value: drawn.value.map(|(node, factor)| number(node) / factor),
            });
        }
        formula = formula.changing(factors).ok()?;
        let renewed = |reported: &Reported, node: usize| {
            let budget = propagate_through(&formula, node, behind);
            reported.by(formula.clone().with_result(node), budget)
        };
        let results: Vec<Reported> = old
            .results
            .iter()
            .zip(&self.results)
            .map(|(reported, node)| renewed(reported, *node))
            .collect();
        let [limited, compared] = [&old.limited, &old.compared].map(|reported| reported.as_deref());
        let beside = |reported: Option<&Reported>, node: Option<usize>| {
            Some(Box::new(renewed(reported?, node?)))
        };
        let limited = beside(limited, self.beside[0]);
        let compared = beside(compared, self.beside[1]);
        let first = results.first()?;
        let titrations = scatters
            .into_iter()
            .enumerate()
            .zip(&old.titrations)
            .map(|((t, (scatter, blank)), old)| {
                let of = self.runs.iter().filter(|run| run.titration == t);
                let titres: Vec<usize> = of.filter_map(|run| run.volume).collect();
                TitrationOutcome {
                    name: old.name.clone(),
                    blank,
                    effect_per_ml: effect_of(&first.formula, &titres),
                    scatter,
                }
            })
            .collect();
        let path = "sample[1]";
        let in_limits = limited.as_deref().unwrap_or(first);
        let as_expected = compared.as_deref().unwrap_or(first);
        let sample = SampleOutcome {
            conformity: against::conformity(spec, in_limits, path).ok()?,
            expected: against::expected(spec, first, as_expected),
            zeta: against::zeta(spec, as_expected, path).ok()?,
            limited,
            compared,
            spec: spec.clone(),
            runs,
            titrations,
            results,
            below_zero: Vec::new(),
            addition: None,
        };
        Some(Assay {
            method: like.method.clone(),
            burette: like.burette.clone(),
            samples: vec![sample],
            atomic_weights: like.atomic_weights.clone(),
            assumptions: like.assumptions.clone(),
            rechecks: Vec::new(),
            sheet: Arc::clone(sheet),
        })
    }
}
