//! The evaluation of an assay sheet: for each sample one formula a result, over all its runs.

use super::conversion::{self, Conversion};
use super::outcome::{
    Assay, AssayRun, BelowZero, Conformity, Reported, SampleOutcome, TitrationOutcome,
};
use super::portion::{Handling, is_mass};
use super::sheet::{AssaySheet, SampleKind, SampleSpec};
use super::solution::{Known, Plan, Titer};
use crate::evaluation::apparatus::{Bench, NamedRun};
use crate::evaluation::stated::{self, About};
use crate::evaluation::{
    Evaluation, RunStatus, Scatter, ScatterRule, built, coverage_of, earlier_scatter, named_runs,
    status_of,
};
use crate::method::{Balanced, BlankPlan, Measured, Method, TitrationPlan};
use crate::quantity::ReportUnit;
use crate::sheet::{Expansion, RunKind, SheetError, Stated};
use metrology::replicates::Replicates;
use metrology::{
    Coverage, Distribution, Expr, Formula, Input, Origin, Quantity, Scope, Unit, expand, propagate,
};
use std::collections::HashMap;
use volumetry::Liquid;

/// Most samples on one sheet.
const MAX_SAMPLES: usize = 500;

/// Gives the evaluation of a sheet that standardized a solution, by the name the assay sheet gives it.
pub type Parents<'a> = dyn Fn(&str) -> Option<&'a Evaluation> + 'a;

fn unit(symbol: &str) -> Unit {
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
    let balanced = method
        .balanced()
        .map_err(|e| SheetError::entry(format!("method {}", method.name), e.to_string()))?;
    let titrant = Known::of(
        &sheet.titrant,
        &Plan {
            name: "titrant",
            substance: &method.titrant.substance,
            acts_as: method.titrant.acts_as.as_deref(),
            equivalent: method.titrant.equivalent.as_deref(),
            titer: titer(method, &balanced)?,
            path: "titrant".into(),
        },
        parents,
    )?;
    let titrant = standardized_at(sheet, method, titrant)?;
    let mut shared = Shared {
        sheet,
        method,
        balanced,
        titrations: method.titrations(),
        titrant,
        reagents: reagents(sheet, method, parents)?,
        handling: Handling::of(method, sheet)?,
        coverage: coverage_of(&sheet.coverage)?,
        molar_mass_used: false,
        assumptions: Vec::new(),
        burette: None,
    };
    let samples = (0..sheet.sample.len())
        .map(|index| shared.sample(index))
        .collect::<Result<Vec<_>, _>>()?;
    let used = shared.molar_mass_used;
    let burette = shared
        .burette
        .ok_or_else(|| SheetError::entry("sample", "no runs"))?;
    let mut assumptions = shared.assumptions;
    assumptions.dedup();
    Ok(Assay {
        sheet: sheet.clone(),
        method: method.clone(),
        burette,
        samples,
        atomic_weights: used.then(|| {
            chemistry::atomic_weights::AtomicWeights::default_set()
                .name()
                .to_string()
        }),
        assumptions,
    })
}

fn reagents(
    sheet: &AssaySheet,
    method: &Method,
    parents: &Parents<'_>,
) -> Result<Vec<Option<Known>>, SheetError> {
    if let Some(name) = sheet
        .reagent
        .keys()
        .find(|name| !method.reagent.iter().any(|r| r.name == **name))
    {
        let known: Vec<&str> = method.reagent.iter().map(|r| r.name.as_str()).collect();
        return Err(SheetError::entry(
            format!("reagent.{name}"),
            format!(
                "the method {} measures no reagent \"{name}\"; it measures: {}",
                method.name,
                if known.is_empty() {
                    "none".into()
                } else {
                    known.join(", ")
                }
            ),
        ));
    }
    method
        .reagent
        .iter()
        .map(|plan| {
            if plan.measured_by.is_none() {
                return Ok(None);
            }
            let path = format!("reagent.{}", plan.name);
            let spec = sheet.reagent.get(&plan.name).ok_or_else(|| {
                SheetError::entry(
                    path.clone(),
                    format!(
                        "the concentration of the {} ({}) is missing",
                        plan.name, plan.substance
                    ),
                )
            })?;
            let plan = Plan {
                name: &plan.name,
                substance: &plan.substance,
                acts_as: plan.acts_as.as_deref(),
                equivalent: plan.equivalent.as_deref(),
                titer: None,
                path,
            };
            Known::of(spec, &plan, parents).map(Some)
        })
        .collect()
}

/// What a titer of the method's titrant means: the analyte, and how much of it one mole of titrant finds.
fn titer(method: &Method, balanced: &Balanced) -> Result<Option<Titer>, SheetError> {
    let Some(of) = &method.titrant.titer_of else {
        return Ok(None);
    };
    let fail =
        |fault: &str| SheetError::entry(format!("method {}, titrant.titer_of", method.name), fault);
    let analyte = method
        .analyte
        .iter()
        .position(|a| a.species == *of)
        .ok_or_else(|| fail("name an analyte of the method"))?;
    let column = balanced
        .measured
        .iter()
        .position(|m| matches!(m, Measured::Titrant { .. }));
    let ratio = column.map(|c| balanced.answer[analyte][c].value().abs());
    let species =
        crate::method::species(of).ok_or_else(|| fail("neither a known name nor a formula"))?;
    match ratio {
        Some(per_titrant) if per_titrant > 0.0 => Ok(Some(Titer {
            species,
            per_titrant,
        })),
        _ => Err(fail("the titrant does not find this analyte")),
    }
}

/// What all samples of a sheet share.
struct Shared<'a> {
    sheet: &'a AssaySheet,
    method: &'a Method,
    balanced: Balanced,
    titrations: Vec<TitrationPlan>,
    titrant: Known,
    reagents: Vec<Option<Known>>,
    handling: Handling<'a>,
    coverage: Coverage,
    molar_mass_used: bool,
    assumptions: Vec<String>,
    burette: Option<crate::evaluation::BuretteFacts>,
}

/// The runs of one sample, each with what it measured.
struct Work {
    bench: Bench,
    /// Index of the titration of each run.
    titration: Vec<usize>,
    /// Mean blank volume of each titration.
    blank: Vec<Option<Expr>>,
    /// Scatter factor of each titration, once it is known.
    repeatability: Vec<Option<Expr>>,
}

/// What one run tells of a content, in coherent units.
struct Told {
    content: f64,
    /// Change of it per mL of titre.
    per_ml: f64,
    /// Variance from readings and weighings of this run alone.
    own_variance: f64,
}

impl Told {
    /// How much its titre is too large, in mL, if the content is this.
    fn off(&self, content: f64) -> f64 {
        (self.content - content) / self.per_ml
    }
}

impl Shared<'_> {
    fn sample(&mut self, index: usize) -> Result<SampleOutcome, SheetError> {
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
            for also in &plan.also {
                match self.report(&conversion, also, &work, &titrations) {
                    Ok(more) => reported.also.push(more),
                    // Asking for a density that nobody needs is noise; the main unit decides.
                    Err(_) if density.is_none() => {}
                    Err(error) => return Err(error),
                }
            }
            results.push(reported);
        }
        let runs = self.runs(&work, spec, density.as_ref(), own)?;
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
            conformity: conformity(spec, &results[0], path)?,
            zeta: zeta(spec, &results[0], path)?,
            spec: spec.clone(),
            runs,
            titrations,
            results,
            below_zero,
        })
    }

    /// Analytes of which less than none was found, beyond the uncertainty.
    fn below_zero(
        &self,
        contents: &[Expr],
        work: &Work,
        titrations: &[(Scatter, Option<f64>)],
    ) -> Result<Vec<BelowZero>, SheetError> {
        let mut out = Vec::new();
        for (analyte, content) in self.method.analyte.iter().zip(contents) {
            let formula = muted(built("sample", content)?, work, titrations)?;
            let budget = propagate(&formula);
            let expanded = expand(
                budget.value,
                budget.standard_uncertainty,
                budget.effective_degrees_of_freedom,
                self.coverage,
            );
            if budget.value + expanded.expanded_uncertainty < 0.0 {
                out.push(BelowZero {
                    species: analyte.species.clone(),
                    name: analyte.name.clone(),
                    meaning: analyte.if_negative.clone().unwrap_or_else(|| {
                        "readings, blank or reagents are mixed up, or an assumption of the method fails".into()
                    }),
                });
            }
        }
        Ok(out)
    }

    /// Lays the runs of a sample and the blanks of the sheet out on one bench.
    fn work(&self, spec: &SampleSpec) -> Result<Work, SheetError> {
        let mut runs = named_runs(
            &spec.run,
            if self.sheet.sample.len() > 1 {
                Some(&spec.id)
            } else {
                None
            },
        );
        runs.extend(
            named_runs(&self.sheet.blank, None)
                .into_iter()
                .map(|run| NamedRun {
                    name: if run.name.starts_with("blank") {
                        run.name
                    } else {
                        format!("blank {}", run.name)
                    },
                    spec: crate::sheet::RunSpec {
                        kind: RunKind::Blank,
                        ..run.spec
                    },
                }),
        );
        let titration = runs
            .iter()
            .enumerate()
            .map(|(i, run)| match &run.spec.titration {
                None if self.titrations.len() == 1 => Ok(0),
                None => Err(SheetError::entry(
                    format!("run[{}]", i + 1),
                    format!(
                        "run {} does not say which titration it is: titration = {}",
                        run.name,
                        self.titration_names()
                    ),
                )),
                Some(name) => self
                    .titrations
                    .iter()
                    .position(|t| t.name == *name)
                    .ok_or_else(|| {
                        SheetError::entry(
                            format!("run[{}].titration", i + 1),
                            format!(
                                "the method has no titration \"{name}\"; it has {}",
                                self.titration_names()
                            ),
                        )
                    }),
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mut bench = Bench::of(
            self.sheet.title.clone(),
            &self.sheet.apparatus,
            &self.sheet.conditions,
            runs,
        )?;
        if let Some(expansion) = &self.method.titrant.expansion {
            bench.set_titrant(titrant_liquid(self.method, expansion)?);
        }
        let mut blank = Vec::new();
        for t in 0..self.titrations.len() {
            let volumes: Vec<Expr> = (0..bench.runs.len())
                .filter(|i| {
                    titration[*i] == t && status_of(&bench.runs[*i].spec) == RunStatus::Blank
                })
                .map(|i| bench.titrant_volume(i))
                .collect::<Result<_, _>>()?;
            let many = if self.titrations.len() > 1 {
                format!(",{}", self.titrations[t].name)
            } else {
                String::new()
            };
            blank.push((!volumes.is_empty()).then(|| {
                Expr::mean(volumes)
                    .named(format!("V_blank{many}"), "mean volume of the blanks")
                    .in_unit(unit("mL"))
            }));
        }
        if self.method.blank == BlankPlan::Reagent && blank.iter().any(Option::is_none) {
            return Err(SheetError::entry(
                "blank",
                "the blank fixes the amount of the reagent here: write the blank runs as [[blank]] tables",
            ));
        }
        Ok(Work {
            repeatability: vec![None; self.titrations.len()],
            bench,
            titration,
            blank,
        })
    }

    fn titration_names(&self) -> String {
        let names: Vec<String> = self
            .titrations
            .iter()
            .map(|t| format!("\"{}\"", t.name))
            .collect();
        names.join(" or ")
    }

    /// Volume of titrant that counts in a run up to an end point.
    fn net_volume(&self, work: &Work, run: usize, end_point: usize) -> Result<Expr, SheetError> {
        let t = work.titration[run];
        let last = self.titrations[t].end_point.len() - 1;
        let volume = if end_point == last {
            work.bench.titrant_volume(run)?
        } else {
            work.bench.volume_to(run, Some(end_point))?
        };
        let net = match &work.blank[t] {
            Some(blank) if self.method.blank != BlankPlan::Reagent => volume - blank.clone(),
            _ => volume,
        };
        let net = match self.drifted(work, run)? {
            Some(lost) => net - lost,
            None => net,
        };
        Ok(match &work.repeatability[t] {
            Some(factor) => net * factor.clone(),
            None => net,
        })
    }

    /// Titrant that was used up by drift during a run.
    fn drifted(&self, work: &Work, run: usize) -> Result<Option<Expr>, SheetError> {
        let Some(drift) = &self.sheet.titrant.drift else {
            return Ok(None);
        };
        let NamedRun { name, spec } = &work.bench.runs[run];
        let duration = spec.duration.as_ref().ok_or_else(|| {
            SheetError::entry(
                format!("run[{}]", run + 1),
                format!("the titrant drifts, so run {name} needs its duration, such as duration = \"3.5 min\""),
            )
        })?;
        let about = About {
            id: format!("{}/drift", work.bench.determination),
            symbol: "r_drift",
            description: "titrant used up without sample".into(),
            group: "drift of the titrant",
            path: "titrant.drift",
        };
        let time = Input::new(
            format!("{}/duration", work.bench.run_key(run)),
            format!("t_{name}"),
            duration.quantity().quantity(),
        )
        .described(format!("duration of run {name}"))
        .written(duration.quantity().number.to_string())
        .distributed(Distribution::Rectangular {
            half_width: duration.quantity().step() / 2.0,
        })
        .from_origin(Origin::Reading("clock".into()))
        .of_run(work.bench.run_key(run))
        .grouped("drift of the titrant");
        Ok(Some(
            Expr::input(stated::input(drift, about)?) * Expr::input(time),
        ))
    }

    /// An amount that was measured, for one run.
    fn measured(
        &self,
        work: &Work,
        spec: &SampleSpec,
        run: usize,
        what: &Measured,
    ) -> Result<Expr, SheetError> {
        match what {
            Measured::Titrant { end_point, .. } => {
                Ok(self.titrant.concentration.clone() * self.net_volume(work, run, *end_point)?)
            }
            Measured::Blank { titration } => {
                let blank = work.blank[*titration]
                    .clone()
                    .ok_or_else(|| SheetError::entry("blank", "the blank is missing"))?;
                Ok(self.titrant.concentration.clone() * blank)
            }
            Measured::Reagent { reagent, .. } => {
                let plan = &self.method.reagent[*reagent];
                let known = self.reagents[*reagent].as_ref();
                let (Some(known), Some(by)) = (known, &plan.measured_by) else {
                    return Err(SheetError::entry(
                        format!("reagent.{}", plan.name),
                        "its amount is not measured",
                    ));
                };
                let run_spec = &work.bench.runs[run].spec;
                let volume = self
                    .handling
                    .reagent(&work.bench, spec, run, run_spec, plan, by)?;
                Ok(known.concentration.clone() * volume)
            }
        }
    }

    /// Amount of an analyte found in one run's flask by its titration, over the portion of sample in it.
    fn found(
        &self,
        work: &Work,
        spec: &SampleSpec,
        run: usize,
        analyte: usize,
    ) -> Result<Option<Expr>, SheetError> {
        let t = work.titration[run];
        let mut sum: Option<Expr> = None;
        for (what, ratio) in self
            .balanced
            .measured
            .iter()
            .zip(&self.balanced.answer[analyte])
        {
            if what.titration() != t || ratio.numerator == 0 {
                continue;
            }
            let number = |n: i128| Expr::number(n as f64);
            let mut term = self.measured(work, spec, run, what)?;
            if ratio.numerator.abs() != 1 {
                term = number(ratio.numerator.abs()) * term;
            }
            if ratio.denominator != 1 {
                term = term / number(ratio.denominator);
            }
            sum = Some(match (sum, ratio.numerator < 0) {
                (None, false) => term,
                (None, true) => -term,
                (Some(sum), false) => sum + term,
                (Some(sum), true) => sum - term,
            });
        }
        let Some(sum) = sum else { return Ok(None) };
        let run_spec = &work.bench.runs[run].spec;
        let portion = self.handling.portion(
            &work.bench,
            spec,
            run,
            run_spec,
            &format!("run[{}]", run + 1),
        )?;
        let shown = if is_mass(&portion) {
            "mmol/g"
        } else {
            "mmol/mL"
        };
        let name = &work.bench.runs[run].name;
        let analyte = &self.method.analyte[analyte].name;
        Ok(Some(
            (sum / portion)
                .named(
                    format!("b_{analyte},{name}"),
                    format!("{analyte} in the sample by run {name}"),
                )
                .in_unit(unit(shown)),
        ))
    }

    /// Content of each analyte: the means of the titrations, added up. With `only`, from one run alone.
    fn contents(
        &self,
        work: &Work,
        spec: &SampleSpec,
        counts: &[bool],
        only: Option<usize>,
    ) -> Result<Vec<Expr>, SheetError> {
        let mut out = Vec::new();
        for analyte in 0..self.method.analyte.len() {
            let mut parts = Vec::new();
            for t in 0..self.titrations.len() {
                let mut found = Vec::new();
                for run in 0..spec.run.len() {
                    let wanted = only.map_or(counts.get(run).copied().unwrap_or(false), |only| {
                        only == run
                    });
                    if wanted && work.titration[run] == t {
                        found.extend(self.found(work, spec, run, analyte)?);
                    }
                }
                if !found.is_empty() {
                    parts.push(Expr::mean(found));
                }
            }
            out.push(Expr::sum(parts));
        }
        Ok(out)
    }

    /// Judges the scatter of each titration and puts its factor into the work.
    fn judge_scatter(
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
                let net = built("sample", &self.net_volume(work, run, last)?)?
                    .result()
                    .value;
                if !(net.is_finite() && net > 0.0) {
                    return Err(self.no_titre(work, run));
                }
                titres.push(net);
                found.push(self.told(work, spec, run)?);
            }
            let titre = titres.iter().sum::<f64>() / titres.len() as f64;
            let middle = found.iter().map(|f| f.content).sum::<f64>() / found.len() as f64;
            // What agrees between runs is the content; a deviation is the error of the titre that would make it, over
            // the titre that the run would have had. So differing portions and a measured reagent are taken out.
            let (mut values, mut squares) = (Vec::new(), 0.0);
            for (told, net) in found.iter().zip(&titres) {
                let off = told.off(middle);
                let expected = net - off;
                values.push(net / expected);
                squares += told.own_variance / (told.per_ml * expected).powi(2);
            }
            let predicted = (squares / values.len() as f64).sqrt();
            let replicates =
                Replicates::of(&values).map_err(|e| SheetError::entry("run", e.to_string()))?;
            let earlier = earlier_scatter(self.sheet.repeatability.as_ref(), predicted, titre)?;
            let observed = replicates.relative_standard_deviation().map(f64::abs);
            let scatter = Scatter::judge(values.len(), observed, predicted, earlier);
            if scatter.rule.is_one_input() {
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
                work.repeatability[t] = Some(Expr::input(input));
            }
            let blank = work.blank[t]
                .as_ref()
                .map(|b| built("blank", b).map(|f| f.result().value))
                .transpose()?;
            out.push((scatter, blank));
        }
        Ok(out)
    }

    /// What one run alone tells of the sample: its titrant per portion, or the content that follows from it where a
    /// reagent in known amount was there as well.
    fn told(&self, work: &Work, spec: &SampleSpec, run: usize) -> Result<Told, SheetError> {
        let t = work.titration[run];
        let last = self.titrations[t].end_point.len() - 1;
        let measured = &self.balanced.measured;
        let alone = !measured
            .iter()
            .any(|m| m.titration() == t && !matches!(m, Measured::Titrant { .. }));
        let formula = if alone {
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
                "run {name}: its titre less the blank is not above 0; a blank that holds the reagent as well tells how much of it there is and is not subtracted: then the method must say blank = \"reagent\" and not measure the reagent"
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

    fn runs(
        &mut self,
        work: &Work,
        spec: &SampleSpec,
        density: Option<&Expr>,
        own: usize,
    ) -> Result<Vec<AssayRun>, SheetError> {
        let mut out = Vec::new();
        let told = (0..own)
            .map(|run| {
                Ok(match status_of(&work.bench.runs[run].spec) {
                    RunStatus::Blank => None,
                    _ => Some(self.told(work, spec, run)?),
                })
            })
            .collect::<Result<Vec<_>, SheetError>>()?;
        for run in 0..own {
            let t = work.titration[run];
            let status = status_of(&work.bench.runs[run].spec);
            let counting: Vec<f64> = (0..own)
                .filter(|i| {
                    work.titration[*i] == t
                        && status_of(&work.bench.runs[*i].spec) == RunStatus::Counts
                })
                .filter_map(|i| told[i].as_ref().map(|t| t.content))
                .collect();
            let middle = counting.iter().sum::<f64>() / counting.len() as f64;
            let (titre, titre_decimals) = work.bench.titre_as_read(run)?;
            let initial = work.bench.runs[run]
                .spec
                .initial
                .as_ref()
                .map_or(0.0, crate::sheet::Written::value);
            let mut titres: Vec<f64> = work.bench.runs[run]
                .spec
                .ends
                .iter()
                .map(|end| end.value() - initial)
                .collect();
            titres.push(titre);
            let value = if self.titrations.len() == 1 && status != RunStatus::Blank {
                let contents = self.contents(work, spec, &[], Some(run))?;
                let contents = conversion::recovered(contents, spec, "sample")?;
                let conversion = Conversion {
                    method: self.method,
                    result: 0,
                    contents: &contents,
                    density: density.cloned(),
                };
                let wanted = ReportUnit::parse(&self.method.result[0].unit)
                    .map_err(|fault| SheetError::entry("result.unit", fault))?;
                let expr = conversion.express(&wanted, &mut self.molar_mass_used)?;
                Some(built("sample", &expr)?.result().value / wanted.factor())
            } else {
                None
            };
            out.push(AssayRun {
                name: work.bench.runs[run].name.clone(),
                titration: self.titrations[t].name.clone(),
                status,
                titres,
                titre_decimals,
                expected_titre: told[run].as_ref().map(|told| titre - told.off(middle)),
                value,
            });
        }
        Ok(out)
    }
}

/// The concentration at 20 degC of a titrant that was standardized at another temperature and expands by its own
/// coefficient; volumes count at 20 degC.
fn standardized_at(
    sheet: &AssaySheet,
    method: &Method,
    titrant: Known,
) -> Result<Known, SheetError> {
    let Some(written) = &sheet.titrant.standardized_at else {
        return Ok(titrant);
    };
    let path = "titrant.standardized_at";
    let Some(expansion) = &method.titrant.expansion else {
        return Err(SheetError::entry(
            path,
            "the method gives no expansion coefficient of its own: concentrations count at 20 degC",
        ));
    };
    let liquid = titrant_liquid(method, expansion)?;
    let read = Input::new(
        format!("{}/temperature of standardization", sheet.title),
        "t_std",
        written.quantity().quantity(),
    )
    .described("temperature at which the titrant was standardized")
    .written(written.quantity().number.to_string())
    .distributed(Distribution::Rectangular {
        half_width: written.quantity().step() / 2.0,
    })
    .from_origin(Origin::Reading("thermometer".into()))
    .grouped("temperature");
    let above = Expr::input(read) - Expr::constant(Quantity::new(20.0, unit("degC")));
    let factor = (Expr::number(1.0) + liquid.expansion() * above)
        .named("f_std", "factor of the concentration to 20 degC");
    Ok(Known {
        concentration: titrant.concentration * factor,
    })
}

/// A titrant by its own expansion.
fn titrant_liquid(method: &Method, expansion: &Stated<Expansion>) -> Result<Liquid, SheetError> {
    let path = format!("method {}, titrant.expansion", method.name);
    let about = About {
        id: "expansion".into(),
        symbol: "β",
        description: String::new(),
        group: "temperature",
        path: &path,
    };
    let input = stated::input(expansion, about)?;
    let source = expansion
        .certificate
        .clone()
        .unwrap_or_else(|| method.source.join("; "));
    // Liquid takes a half-width; a standard uncertainty is widened to the rectangle that has it.
    let half_width = input.standard_uncertainty() * 3f64.sqrt();
    Liquid::new(
        method.titrant.substance.clone(),
        expansion.value.value(),
        half_width,
        source,
    )
    .map_err(|e| SheetError::entry(path.clone(), e.to_string()))
}

/// What the inputs of a run do is contained in the repeatability of its titration, where the rule picked that.
fn muted(
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
    formula
        .with_inputs(|input| {
            rules
                .get(&input.scope)
                .is_some_and(|rule| rule.is_one_input())
                .then(|| Input {
                    distribution: Distribution::Exact,
                    ..input.clone()
                })
        })
        .map_err(|e| SheetError::entry("sample", e.to_string()))
}

/// Relative change of a result per mL in all titres of a titration that count.
fn effect_per_ml(formula: &Formula, work: &Work, titration: usize, own: usize) -> f64 {
    let values = formula.evaluate(formula.input_values());
    let slopes = formula.node_derivatives(formula.result_index(), &values);
    let sum: f64 = (0..own)
        .filter(|i| work.titration[*i] == titration)
        .filter_map(|i| formula.node_index(&format!("V_{}", work.bench.runs[i].name)))
        .map(|node| slopes[node])
        .sum();
    sum / values[formula.result_index()]
}

fn value_in(
    reported: &Reported,
    written: &metrology::WrittenQuantity,
    path: &str,
) -> Result<f64, SheetError> {
    let behind = reported.formula.unit_of(reported.formula.result_index());
    written
        .value_in(&behind)
        .map(|value| value / reported.factor)
        .map_err(|e| {
            SheetError::entry(
                path,
                format!("{e}; the first result is in {}", reported.unit),
            )
        })
}

fn conformity(
    spec: &SampleSpec,
    reported: &Reported,
    path: &str,
) -> Result<Option<Conformity>, SheetError> {
    let Some(limits) = &spec.limits else {
        return Ok(None);
    };
    let path = format!("{path}.limits");
    let limit = |written: &Option<crate::sheet::Written<crate::sheet::Anything>>| {
        written
            .as_ref()
            .map(|w| value_in(reported, w.quantity(), &path))
            .transpose()
    };
    let (from, to) = (limit(&limits.from)?, limit(&limits.to)?);
    let wanted = limits.probability.unwrap_or(0.95);
    if from.is_none() && to.is_none() {
        return Err(SheetError::entry(path, "limits need from or to, or both"));
    }
    if !(0.0..1.0).contains(&wanted) {
        return Err(SheetError::entry(
            format!("{path}.probability"),
            "must lie between 0 and 1",
        ));
    }
    let u = reported.standard_uncertainty;
    let dof = reported.budget.effective_degrees_of_freedom;
    let above =
        |limit: f64| metrology::quantiles::student_t_upper_tail((limit - reported.value) / u, dof);
    let probability = from.map_or(1.0, above) - to.map_or(0.0, above);
    let text = match (&limits.from, &limits.to) {
        (Some(a), Some(b)) => format!("{a} to {b}"),
        (Some(a), None) => format!("at least {a}"),
        (None, Some(b)) => format!("at most {b}"),
        (None, None) => String::new(),
    };
    Ok(Some(Conformity {
        limits: text,
        probability,
        wanted,
    }))
}

fn zeta(spec: &SampleSpec, reported: &Reported, path: &str) -> Result<Option<f64>, SheetError> {
    let Some(expected) = &spec.expected else {
        if spec.kind == SampleKind::Check {
            return Err(SheetError::entry(
                path,
                "a check sample needs what is expected of it: expected = { value = ..., U = ... }",
            ));
        }
        return Ok(None);
    };
    let path = format!("{path}.expected");
    let about = About {
        id: format!("{}/expected", spec.id),
        symbol: "X",
        description: "expected value".into(),
        group: "expected",
        path: &path,
    };
    let input = stated::input(expected, about)?;
    let value = value_in(reported, expected.value.quantity(), &path)?;
    let ratio = value / expected.value.quantity().number.value();
    let u = input.standard_uncertainty() * ratio.abs();
    Ok(Some(
        (reported.value - value) / reported.standard_uncertainty.hypot(u),
    ))
}
