//! Amounts of substance from readings: what a run measured, and what it tells of each analyte.

use super::evaluate::{Shared, unit};
use super::portion::is_mass;
use super::sheet::SampleSpec;
use super::work::Work;
use crate::evaluation::apparatus::NamedRun;
use crate::evaluation::end_point;
use crate::evaluation::stated::{self, About};
use crate::method::{BlankPlan, Measured};
use crate::sheet::SheetError;
use metrology::{Distribution, Expr, Input, Origin};

impl Shared<'_> {
    /// Volume of titrant that counts in a run up to an end point.
    pub(super) fn net_volume(
        &self,
        work: &Work,
        run: usize,
        end_point: usize,
    ) -> Result<Expr, SheetError> {
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
        let net = match self.late(work, t, end_point)? {
            Some(late) => net - late,
            None => net,
        };
        let net = match self.drifted(work, run)? {
            Some(lost) => net - lost,
            None => net,
        };
        Ok(match &work.repeatability[run] {
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
                // The end of a blank that holds the reagent is seen as late as that of a run.
                let last = self.titrations[*titration].end_point.len() - 1;
                let late = self.late(work, *titration, last)?;
                let reacted = end_point::before_the_end(&blank, late.as_ref());
                Ok(self.titrant.concentration.clone() * reacted)
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
    pub(super) fn found(
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

    /// The content by the line of a standard addition. With `only`, what one run found less what was added to it.
    fn by_addition(
        &self,
        work: &Work,
        spec: &SampleSpec,
        counts: &[bool],
        only: Option<usize>,
    ) -> Result<Vec<Expr>, SheetError> {
        let content = match only {
            Some(run) => self
                .found(work, spec, run, 0)?
                .zip(self.added(work, spec, run)?)
                .map(|(found, added)| found - added),
            None => self.line(work, spec, counts)?.map(|line| line.content),
        };
        Ok(content.into_iter().collect())
    }

    /// Content of each analyte: the means of the titrations, added up. With `only`, from one run alone.
    pub(super) fn contents(
        &self,
        work: &Work,
        spec: &SampleSpec,
        counts: &[bool],
        only: Option<usize>,
    ) -> Result<Vec<Expr>, SheetError> {
        if self.spike.is_some() {
            return self.by_addition(work, spec, counts, only);
        }
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
}
