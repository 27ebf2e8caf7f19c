//! Where the end of a run is expected before any run has shown it: the determination's own evaluation of a run that was
//! not done, turned round.

use crate::evaluate::Evaluator;
use crate::node::Node;
use crate::payload::{Plan, Slot};
use crate::sheet::{BenchSheet, bench_sheet, finished_only, parents};
use crate::state::{Determination, Reading, Run};
use std::collections::HashMap;
use titrimetry::assay;
use titrimetry::evaluation::evaluate;
use titrimetry::layout::Layout;
use titrimetry::sheet::RunKind;

/// Titres to begin with, mL: one of them lies on the scale of any burette.
const TRIED: [f64; 3] = [10.0, 1.0, 0.1];

/// A titre that is expected, and by what.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpectedTitre {
    /// The titre, mL.
    pub ml: f64,
    /// What it rests on.
    pub by: ExpectedBy,
}

/// What an expected titre rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExpectedBy {
    /// The concentration that the solution was made for.
    Nominal,
    /// The concentration that was found for it before.
    Earlier,
    /// What the sample is expected to contain.
    Content,
}

impl Evaluator<'_> {
    /// The titre that a run is expected to take, from what is weighed in it already and what was known before the
    /// determination. None where that is not known: a blank, a run not weighed yet, a sample of which nothing is expected,
    /// several titrations or ends.
    pub fn expected_titre(&mut self, node: &Node, run: u32) -> Option<ExpectedTitre> {
        let world = self.world();
        let determination = world.determination(node)?;
        let run = determination.run(run)?;
        if run.started.run_kind == RunKind::Blank {
            return None;
        }
        match &determination.opened.plan {
            Plan::Standardization { .. } => self.of_standardization(determination, run),
            Plan::Assay { .. } => self.of_assay(determination, run),
        }
    }

    /// The concentration falls as the titre rises where it is in the burette, and rises with it where it is in the flask.
    fn of_standardization(
        &mut self,
        determination: &Determination,
        run: &Run,
    ) -> Option<ExpectedTitre> {
        let mut turned = |titre: f64| {
            let tried = with_run(determination, run, titre);
            let BenchSheet::Standardization(sheet, parent) =
                bench_sheet(self.world(), &tried).ok()?
            else {
                return None;
            };
            let parent = match parent {
                Some(parent) => Some(self.standardization(&parent, 1).ok()?),
                None => None,
            };
            let evaluation = evaluate(&sheet, parent.as_deref()).ok()?;
            let nominal = evaluation
                .factor
                .as_ref()
                .map(|f| (f.nominal, ExpectedBy::Nominal));
            let before = evaluation
                .before
                .as_ref()
                .map(|b| (b.value, ExpectedBy::Earlier));
            let (wanted, by) = before.or(nominal)?;
            let ratio = evaluation.concentration() / wanted;
            let ml = match evaluation.layout {
                Layout::SoughtInBurette => titre * ratio,
                Layout::SoughtInFlask => titre / ratio,
            };
            (ml.is_finite() && ml > 0.0).then_some(ExpectedTitre { ml, by })
        };
        let first = TRIED.into_iter().find_map(&mut turned)?;
        // What is beside the reaction (an indicator's own titrant) is no part of the proportion: once more from there.
        Some(turned((first.ml * 100.0).round() / 100.0).unwrap_or(first))
    }

    /// A result is a straight line in its titre, in direct and in back titrations: two points give it.
    fn of_assay(&mut self, determination: &Determination, run: &Run) -> Option<ExpectedTitre> {
        let sample = run.started.sample.as_ref()?;
        self.world().sample(sample)?.received.expected.as_ref()?;
        let Plan::Assay { method, .. } = &determination.opened.plan else {
            return None;
        };
        let method = self
            .world()
            .method(method)
            .and_then(|card| card.at(determination.number))?;
        let [only] = <[_; 1]>::try_from(method.titrations()).ok()?;
        if only.end_point.len() > 1 || method.spike().is_some() {
            return None;
        }
        let mut found = HashMap::new();
        for parent in parents(determination) {
            let evaluation = self.standardization(&parent, 1).ok()?;
            found.insert(parent.to_string(), evaluation);
        }
        let result = |titre: f64| {
            let mut tried = with_run(determination, run, titre);
            if let Plan::Assay { samples, .. } = &mut tried.opened.plan {
                samples.retain(|one| one == sample);
            }
            tried.rechecks.clear();
            let BenchSheet::Assay(sheet, method) = bench_sheet(self.world(), &tried).ok()? else {
                return None;
            };
            let known = |name: &str| found.get(name).map(|e| &**e);
            let assay = assay::evaluate_briefly(&sheet, &method, &known).ok()?;
            let outcome = assay.samples.first()?;
            Some((outcome.results.first()?.value, outcome.expected?))
        };
        TRIED.into_iter().find_map(|titre| {
            let ((low, _), (high, expected)) = (result(titre / 2.0)?, result(titre)?);
            let ml = titre / 2.0 * (1.0 + (expected - low) / (high - low));
            (ml.is_finite() && ml > 0.0).then_some(ExpectedTitre {
                ml,
                by: ExpectedBy::Content,
            })
        })
    }
}

/// The determination as if this run, with what was weighed in it, had taken this titre, and no other but the blanks were
/// done.
fn with_run(determination: &Determination, run: &Run, titre: f64) -> Determination {
    let mut tried = finished_only(determination).into_owned();
    tried
        .runs
        .retain(|one| one.started.run_kind == RunKind::Blank && one.started.run != run.started.run);
    let reading = |slot: Slot, ml: f64| Reading {
        slot,
        value: format!("{ml:.2} mL"),
        at: run.at,
        who: String::new(),
        event: 0,
        corrections: Vec::new(),
        refilled: false,
    };
    let mut own = run.clone();
    own.started.run_kind = RunKind::Replicate;
    own.set_aside = None;
    own.readings.retain(|reading| !reading.slot.is_of_burette());
    own.readings
        .extend([reading(Slot::Initial, 0.0), reading(Slot::Final, titre)]);
    tried.runs.push(own);
    tried
}
