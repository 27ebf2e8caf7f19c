//! Standard addition: portions of a sample are titrated after known amounts of the analyte were added, and the content
//! follows from the straight line of what was found against what was added.
//!
//! A matrix that lets the titration find a share R of all analyte, of the sample's as of what was added, gives the line
//! found = R (content + added). So R is its slope and the content its intercept over its slope. Both are expressions in the
//! readings (least squares, every point of one weight), so that what pipettes, burette and standard share is counted once.
//! A constant error, such as a blank, moves the line as a whole and is not seen.
//!
//! Source: IUPAC Compendium of Terminology in Analytical Chemistry (2023), 1.150 (intercept over slope, and its standard
//! uncertainty by the scatter alone, which the tests compare with).

use super::agreement::muted;
use super::evaluate::{Shared, unit};
use super::outcome::{Addition, Point, Reported};
use super::portion::is_mass;
use super::sheet::SampleSpec;
use super::solution::Known;
use super::work::Work;
use crate::evaluation::{RunStatus, Scatter, built, status_of};
use crate::method::SpikePlan;
use crate::sheet::SheetError;
use metrology::{Expr, Quantity, expand, propagate};
use volumetry::catalogue::Kind;

/// What can measure an addition: a burette by difference, a one-mark pipette so many times, a piston pipette as set.
const KINDS: [Kind; 3] = [Kind::Pipette, Kind::PistonPipette, Kind::Burette];

/// What is added to portions of the sample.
pub(super) struct Spike {
    pub(super) plan: SpikePlan,
    pub(super) standard: Known,
}

/// The line through what was found and what was added.
pub(super) struct Line {
    /// What was there before, per portion.
    pub(super) content: Expr,
    /// Slope: found per added.
    pub(super) recovery: Expr,
}

impl Shared<'_> {
    /// The runs that make the line are complete, and additions are written only where the method foresees them.
    pub(super) fn check_additions(&self, spec: &SampleSpec, path: &str) -> Result<(), SheetError> {
        let added = |run: &crate::sheet::RunSpec| run.added.as_ref().map_or(0.0, |a| a.value());
        for (index, run) in spec.run.iter().enumerate() {
            let entry = || format!("{path}.run[{}].added", index + 1);
            let Some(written) = &run.added else { continue };
            if self.spike.is_none() {
                return Err(SheetError::entry(
                    entry(),
                    format!(
                        "the method {} adds no standard to its portions; a method that does has a step spiked_with",
                        self.method.name
                    ),
                ));
            }
            if written.value() < 0.0 {
                return Err(SheetError::entry(
                    entry(),
                    "an addition cannot be below 0 mL",
                ));
            }
            if status_of(run) == RunStatus::Blank && written.value() > 0.0 {
                return Err(SheetError::entry(
                    entry(),
                    "a blank holds neither sample nor addition",
                ));
            }
        }
        if self.spike.is_none() {
            return Ok(());
        }
        let counting: Vec<f64> = spec
            .run
            .iter()
            .filter(|run| status_of(run) == RunStatus::Counts)
            .map(added)
            .collect();
        if counting
            .iter()
            .all(|volume| volume.total_cmp(&counting[0]).is_eq())
        {
            return Err(SheetError::entry(
                format!("{path}.run"),
                format!(
                    "sample {}: a standard addition needs portions with different additions: write added = \"2.00 mL\" in the runs with the standard, and leave it out in those without",
                    spec.id
                ),
            ));
        }
        Ok(())
    }

    /// What was added to the portion of a run, per portion; none where the method adds nothing.
    pub(super) fn added(
        &self,
        work: &Work,
        spec: &SampleSpec,
        run: usize,
    ) -> Result<Option<Expr>, SheetError> {
        let Some(Spike { plan, standard }) = &self.spike else {
            return Ok(None);
        };
        let named = &work.bench.runs[run];
        let path = format!("run[{}]", run + 1);
        let portion = self
            .handling
            .portion(&work.bench, spec, run, &named.spec, &path)?;
        let shown = unit(if is_mass(&portion) {
            "mmol/g"
        } else {
            "mmol/mL"
        });
        let volume = named.spec.added.as_ref().filter(|a| a.value() > 0.0);
        let Some(volume) = volume else {
            return Ok(Some(Expr::constant(Quantity::new(0.0, shown))));
        };
        let piece = self
            .handling
            .piece(&work.bench, &plan.name, &plan.with, &KINDS)?;
        let volume = work
            .bench
            .added(&piece, run, volume, &format!("{path}.added"))?;
        let name = &named.name;
        Ok(Some(
            (standard.concentration.clone() * volume / portion)
                .named(
                    format!("x_{name}"),
                    format!("added to the portion of run {name}"),
                )
                .in_unit(shown),
        ))
    }

    /// The line through the runs that count; none where the method adds nothing.
    pub(super) fn line(
        &self,
        work: &Work,
        spec: &SampleSpec,
        counts: &[bool],
    ) -> Result<Option<Line>, SheetError> {
        let (mut added, mut found) = (Vec::new(), Vec::new());
        for run in (0..spec.run.len()).filter(|run| counts[*run]) {
            let pair = (
                self.added(work, spec, run)?,
                self.found(work, spec, run, 0)?,
            );
            let (Some(x), Some(y)) = pair else {
                return Ok(None);
            };
            added.push(x);
            found.push(y);
        }
        let mean_added =
            Expr::mean(added.clone()).named("x_mean", "mean of what was added to the portions");
        let mean_found =
            Expr::mean(found.clone()).named("b_mean", "mean of what was found in the portions");
        let off: Vec<Expr> = added.into_iter().map(|x| x - mean_added.clone()).collect();
        let recovery = (Expr::sum(off.iter().zip(found).map(|(d, y)| d.clone() * y))
            / Expr::sum(off.iter().map(|d| d.power(2))))
        .named(
            "R",
            "recovery: slope of the line of found against added, by least squares",
        );
        let analyte = &self.method.analyte[0].name;
        let content = (mean_found / recovery.clone() - mean_added).named(
            format!("b_{analyte}"),
            format!("{analyte} in the sample: intercept of the line over its slope"),
        );
        Ok(Some(Line { content, recovery }))
    }

    /// The slope of the line as a number.
    pub(super) fn slope(
        &self,
        work: &Work,
        spec: &SampleSpec,
        counts: &[bool],
    ) -> Result<Option<f64>, SheetError> {
        let line = self.line(work, spec, counts)?;
        line.map(|line| Ok(built("sample", &line.recovery)?.result().value))
            .transpose()
    }

    /// What the line tells beside the content: its slope, and each point in the unit of the first result.
    pub(super) fn addition(
        &self,
        work: &Work,
        spec: &SampleSpec,
        counts: &[bool],
        titrations: &[(Scatter, Option<f64>)],
        first: &Reported,
    ) -> Result<Option<Addition>, SheetError> {
        let Some(line) = self.line(work, spec, counts)? else {
            return Ok(None);
        };
        let value = |expr: &Expr| -> Result<f64, SheetError> {
            let formula = built("sample", expr)?;
            let values = formula.evaluate(formula.input_values());
            Ok(values[formula.result_index()])
        };
        let recovery = self.share(&line.recovery, work, titrations)?;
        // From the amount per portion to the unit of the result: one content known in both.
        let content = value(&line.content)?;
        let scale = first.value / content;
        let mut points = Vec::new();
        for run in (0..spec.run.len()).filter(|run| counts[*run]) {
            let pair = (
                self.added(work, spec, run)?,
                self.found(work, spec, run, 0)?,
            );
            let (Some(x), Some(y)) = pair else { continue };
            let told = self.told(work, spec, run)?;
            points.push(Point {
                run: work.bench.runs[run].name.clone(),
                volume: spec.run[run].added.as_ref().map_or(0.0, |a| a.value()),
                added: value(&x)? * scale,
                found: value(&y)? * scale,
                off: told.off(work.slope.unwrap_or(1.0) * content),
            });
        }
        Ok(Some(Addition { recovery, points }))
    }

    /// A share in %, with its uncertainty.
    fn share(
        &self,
        expr: &Expr,
        work: &Work,
        titrations: &[(Scatter, Option<f64>)],
    ) -> Result<Reported, SheetError> {
        let percent = 0.01;
        let formula = muted(built("sample", expr)?, work, titrations)?;
        let budget = propagate(&formula);
        let expanded = expand(
            budget.value / percent,
            budget.standard_uncertainty / percent,
            budget.effective_degrees_of_freedom,
            self.coverage,
        );
        Ok(Reported {
            name: "recovery of what was added".into(),
            expressed_as: "slope of found against added".into(),
            unit: "%".into(),
            value: budget.value / percent,
            standard_uncertainty: budget.standard_uncertainty / percent,
            factor: percent,
            expanded,
            formula,
            budget,
            also: Vec::new(),
        })
    }
}
