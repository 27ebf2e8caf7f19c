//! The runs of one sample laid out on a bench, with the blanks of the sheet, each with what it measured.

use super::agreement::Told;
use super::evaluate::{Shared, unit};
use super::expansion::titrant_liquid;
use super::sheet::SampleSpec;
use crate::evaluation::apparatus::{Bench, NamedRun};
use crate::evaluation::{RunStatus, named_runs, status_of};
use crate::method::BlankPlan;
use crate::sheet::{RunKind, SheetError};
use metrology::Expr;

/// The runs of one sample, each with what it measured.
pub(super) struct Work {
    pub(super) bench: Bench,
    /// Index of the titration of each run.
    pub(super) titration: Vec<usize>,
    /// Mean blank volume of each titration.
    pub(super) blank: Vec<Option<Expr>>,
    /// Scatter factor of each run, once it is known: one of its titration's mean, or its own where a line goes through
    /// the runs.
    pub(super) repeatability: Vec<Option<Expr>>,
    /// Identity of the factor that all runs of a titration share, where its scatter is one input.
    pub(super) factors: Vec<Option<String>>,
    /// Identities of the factors that runs have of their own: independent, but by one estimate of the scatter.
    pub(super) own_factors: Vec<String>,
    /// Slope of the line of a standard addition.
    pub(super) slope: Option<f64>,
    /// Place of each end of each titration, as predicted; empty if none is.
    pub(super) late: super::end_points::Ends,
    /// What each run alone tells, once it is known.
    pub(super) told: Vec<Option<Told>>,
}

impl Shared<'_> {
    /// Lays the runs of a sample and the blanks of the sheet out on one bench.
    pub(super) fn work(&self, spec: &SampleSpec) -> Result<Work, SheetError> {
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
            repeatability: vec![None; bench.runs.len()],
            factors: vec![None; self.titrations.len()],
            own_factors: Vec::new(),
            slope: None,
            late: Vec::new(),
            told: vec![None; bench.runs.len()],
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
}
