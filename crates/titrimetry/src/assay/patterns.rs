//! Sheets of one pattern: the same method, bottles, glass, conditions and kinds of runs, of one sample each, where only
//! readings and names differ. The drawing of the first gives the results of the others, a few times as fast: for where
//! thousands are evaluated again after a correction.

use super::drawing::{Drawing, standardized};
use super::evaluate::{Parents, drawn};
use super::outcome::Assay;
use super::sheet::{AssaySheet, SampleSpec, Solution};
use super::slots::{are_in_order, are_weighed};
use crate::method::Method;
use crate::sheet::{Fill, RunSpec, SheetError, Written};
use metrology::{Behind, Formula};
use std::sync::Arc;

/// Patterns that are kept; the one that was not used for longest goes first.
const MOST: usize = 64;

/// Solutions of which is kept what is behind them, for each pattern.
const SOLUTIONS: usize = 8;

/// Evaluates sheets, those of a pattern that came before by its drawing.
#[derive(Debug, Default)]
pub struct Patterns {
    /// The latest used first.
    kept: Vec<Pattern>,
    by_drawing: u64,
}

#[derive(Debug)]
struct Pattern {
    like: Assay,
    drawing: Drawing,
    /// What is behind the solutions of sheets that came before, by the formulas of their standardizations; the latest first.
    behind: Vec<(Vec<Formula>, Arc<Vec<Behind>>)>,
}

impl Patterns {
    /// How many sheets were evaluated by the drawing of another.
    pub fn by_drawing(&self) -> u64 {
        self.by_drawing
    }

    /// Evaluates a sheet as [`super::evaluate_briefly`] does. Numbers agree with it to the last rounding; texts inside the
    /// formulas (names of inputs and steps) may be those of another sheet of the pattern.
    ///
    /// # Errors
    /// As [`super::evaluate`].
    pub fn evaluate(
        &mut self,
        sheet: &Arc<AssaySheet>,
        method: &Arc<Method>,
        parents: &Parents<'_>,
    ) -> Result<Assay, SheetError> {
        for at in 0..self.kept.len() {
            let pattern = &mut self.kept[at];
            // Where a scatter is judged otherwise, or the burette read between other marks, another drawing of the pattern fits.
            if pattern.fits(sheet, method)
                && let Some(assay) = pattern.evaluate(sheet, parents)
            {
                self.kept[..=at].rotate_right(1);
                self.by_drawing += 1;
                return Ok(assay);
            }
        }
        let (assay, drawing) = drawn(false, true, sheet, method, parents)?;
        if let Some(drawing) = drawing {
            let pattern = Pattern {
                behind: Vec::new(),
                like: assay.clone(),
                drawing,
            };
            self.kept.truncate(MOST - 1);
            self.kept.insert(0, pattern);
        }
        Ok(assay)
    }
}

impl Pattern {
    fn evaluate(&mut self, sheet: &Arc<AssaySheet>, parents: &Parents<'_>) -> Option<Assay> {
        let behind = self.behind(sheet, parents)?;
        self.drawing.evaluate(&self.like, sheet, parents, &behind)
    }

    fn behind(&mut self, sheet: &AssaySheet, parents: &Parents<'_>) -> Option<Arc<Vec<Behind>>> {
        let formulas = standardized(sheet, parents)
            .map(|(_, parent)| parent.map(|parent| parent.formula.clone()))
            .collect::<Option<Vec<_>>>()?;
        if let Some(at) = self.behind.iter().position(|(known, _)| *known == formulas) {
            self.behind[..=at].rotate_right(1);
            // Copies of these are the likeliest to come next, and are known at a glance.
            self.behind[0].0 = formulas;
        } else {
            let behind = Arc::new(self.drawing.behind(sheet, parents)?);
            self.behind.truncate(SOLUTIONS - 1);
            self.behind.insert(0, (formulas, behind));
        }
        Some(Arc::clone(&self.behind[0].1))
    }

    fn fits(&self, sheet: &AssaySheet, method: &Arc<Method>) -> bool {
        let capacity = self.like.burette.capacity;
        let runs = || sheet.sample.iter().flat_map(|s| &s.run).chain(&sheet.blank);
        sheets(&self.like.sheet, sheet)
            && (Arc::ptr_eq(&self.like.method, method) || self.like.method == *method)
            && runs().all(|run| are_in_order(run, capacity))
    }
}

/// Whether two sheets differ in readings and names only. Whoever adds an entry decides here.
fn sheets(a: &AssaySheet, b: &AssaySheet) -> bool {
    let AssaySheet {
        title: _,
        method: _,
        method_file: _,
        analyst: _,
        date: _,
        titrant,
        reagent,
        apparatus,
        piece,
        conditions,
        repeatability,
        rules: _,
        coverage,
        end_point,
        blank,
        blank_is,
        check_every: _,
        recheck,
        sample,
    } = a;
    let ([a_sample], [b_sample]) = (sample.as_slice(), b.sample.as_slice()) else {
        return false;
    };
    let reagents = || reagent.iter().zip(&b.reagent);
    solutions(titrant, &b.titrant)
        && samples(a_sample, b_sample)
        && *apparatus == b.apparatus
        && *conditions == b.conditions
        && *piece == b.piece
        && reagent.len() == b.reagent.len()
        && reagents().all(|(a, b)| a.0 == b.0 && solutions(a.1, b.1))
        && *repeatability == b.repeatability
        && *coverage == b.coverage
        && *end_point == b.end_point
        && *blank_is == b.blank_is
        && recheck.is_empty()
        && b.recheck.is_empty()
        && all(blank, &b.blank)
}

/// Solutions that other sheets standardized may be any; what is stated is the same.
fn solutions(a: &Solution, b: &Solution) -> bool {
    let Solution {
        substance,
        concentration,
        sheet,
        bottle,
        drift,
        standardized_at,
    } = a;
    *substance == b.substance
        && *concentration == b.concentration
        && sheet.is_some() == b.sheet.is_some()
        && (sheet.is_some() || *bottle == b.bottle)
        && *drift == b.drift
        && *standardized_at == b.standardized_at
}

fn samples(a: &SampleSpec, b: &SampleSpec) -> bool {
    let SampleSpec {
        id: _,
        kind,
        mass,
        gross,
        tare,
        density,
        recovery,
        expected,
        limits,
        run,
    } = a;
    *kind == b.kind
        && all(run, &b.run)
        && alike(mass.as_ref(), b.mass.as_ref())
        && alike(gross.as_ref(), b.gross.as_ref())
        && alike(tare.as_ref(), b.tare.as_ref())
        && are_weighed(&[&b.mass, &b.gross, &b.tare])
        && *density == b.density
        && *recovery == b.recovery
        && *expected == b.expected
        && *limits == b.limits
}

fn all(a: &[RunSpec], b: &[RunSpec]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| runs(a, b))
}

fn runs(a: &RunSpec, b: &RunSpec) -> bool {
    let RunSpec {
        kind,
        name,
        analyst: _,
        time: _,
        mass,
        gross,
        tare,
        initial,
        final_reading,
        added,
        titration,
        ends,
        end_fills,
        refill,
        temperature,
        duration,
        corrected: _,
        set_aside,
        remark: _,
    } = a;
    let fills = |a: &Fill, b: &Fill| {
        alike(Some(&a.initial), Some(&b.initial))
            && alike(Some(&a.final_reading), Some(&b.final_reading))
    };
    *kind == b.kind
        && *name == b.name
        && *titration == b.titration
        && set_aside.is_some() == b.set_aside.is_some()
        && alike(initial.as_ref(), b.initial.as_ref())
        && alike(final_reading.as_ref(), b.final_reading.as_ref())
        && alike(mass.as_ref(), b.mass.as_ref())
        && alike(gross.as_ref(), b.gross.as_ref())
        && alike(tare.as_ref(), b.tare.as_ref())
        && *added == b.added
        && *temperature == b.temperature
        && *duration == b.duration
        && ends.len() == b.ends.len()
        && *end_fills == b.end_fills
        && ends
            .iter()
            .zip(&b.ends)
            .all(|(a, b)| alike(Some(a), Some(b)))
        && refill.len() == b.refill.len()
        && refill.iter().zip(&b.refill).all(|(a, b)| fills(a, b))
}

/// Whether two readings are written in one unit with the same last digit, so that as much is known of them.
fn alike<K>(a: Option<&Written<K>>, b: Option<&Written<K>>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => {
            let (a, b) = (a.quantity(), b.quantity());
            a.unit == b.unit && a.number.decimals() == b.number.decimals()
        }
        (None, None) => true,
        _ => false,
    }
}
