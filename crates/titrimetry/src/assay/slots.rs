//! The readings of a sheet as inputs of its formulas.

use super::sheet::{AssaySheet, SampleSpec};
use crate::evaluation::apparatus::Bench;
use crate::sheet::{Mass, RunSpec, Written};
use metrology::{Formula, Input, Origin, WrittenQuantity};

/// A reading that is an input of a formula.
#[derive(Clone, Debug)]
pub(super) struct Slot {
    /// Index of the input.
    pub(super) input: usize,
    place: Place,
    which: Which,
}

/// Where a reading stands on a sheet of one sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Place {
    /// With the sample, for all its runs.
    Sample,
    /// In a run of the sample.
    Run(usize),
    /// In a blank of the sheet.
    Blank(usize),
}

/// Which reading it is; of the burette by the number of the fill, or of the end point, from 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Which {
    Initial(usize),
    Final(usize),
    End(usize),
    Mass,
    Gross,
    Tare,
}

impl Which {
    /// By the end of an input's identity: what stands behind its occasion and its piece.
    fn of(rest: &str) -> Option<Self> {
        let mut parts = rest.rsplit('/');
        let last = parts.next()?;
        let fill = parts.next().and_then(|part| part.strip_prefix("fill-"));
        let fill = match fill {
            Some(number) => number.parse::<usize>().ok()?.checked_sub(1)?,
            None => 0,
        };
        Some(match last {
            "initial" => Self::Initial(fill),
            "final" => Self::Final(fill),
            "net" => Self::Mass,
            "gross" => Self::Gross,
            "tare" => Self::Tare,
            end => Self::End(end.parse::<usize>().ok()?.checked_sub(1)?),
        })
    }

    /// The readings of a run on the scale of the burette.
    pub(super) fn on_scale(run: &RunSpec) -> impl Iterator<Item = Self> {
        let fills = 0..=run.refill.len();
        fills
            .flat_map(|fill| [Self::Initial(fill), Self::Final(fill)])
            .chain((0..run.ends.len()).map(Self::End))
    }

    fn in_run(self, run: &RunSpec) -> Option<&WrittenQuantity> {
        match self {
            Self::Initial(0) => run.initial.as_ref().map(Written::quantity),
            Self::Final(0) => run.final_reading.as_ref().map(Written::quantity),
            Self::Initial(n) => run.refill.get(n - 1).map(|fill| fill.initial.quantity()),
            Self::Final(n) => {
                let fill = run.refill.get(n - 1);
                fill.map(|fill| fill.final_reading.quantity())
            }
            Self::End(n) => run.ends.get(n).map(Written::quantity),
            Self::Mass => run.mass.as_ref().map(Written::quantity),
            Self::Gross => run.gross.as_ref().map(Written::quantity),
            Self::Tare => run.tare.as_ref().map(Written::quantity),
        }
    }

    fn of_sample(self, sample: &SampleSpec) -> Option<&WrittenQuantity> {
        match self {
            Self::Mass => sample.mass.as_ref().map(Written::quantity),
            Self::Gross => sample.gross.as_ref().map(Written::quantity),
            Self::Tare => sample.tare.as_ref().map(Written::quantity),
            _ => None,
        }
    }
}

impl Place {
    /// Of a run on the bench: those of the sample, so many, come before the blanks.
    pub(super) fn of_run(index: usize, own: usize) -> Self {
        match index.checked_sub(own) {
            None => Self::Run(index),
            Some(blank) => Self::Blank(blank),
        }
    }

    pub(super) fn reading(self, sheet: &AssaySheet, which: Which) -> Option<&WrittenQuantity> {
        let sample = sheet.sample.first()?;
        match self {
            Self::Sample => which.of_sample(sample),
            Self::Run(index) => which.in_run(sample.run.get(index)?),
            Self::Blank(index) => which.in_run(sheet.blank.get(index)?),
        }
    }
}

impl Slot {
    /// The input as another sheet of the pattern reads it.
    pub(super) fn reading(&self, sheet: &AssaySheet, formula: &Formula) -> Option<Input> {
        let written = self.place.reading(sheet, self.which)?;
        let mut input = (*formula.inputs()[self.input]).clone();
        input.value = written.value_in(&input.unit).ok()?;
        input.written = None;
        Some(input)
    }
}

/// Readings of a run, how many.
fn count(run: &RunSpec) -> usize {
    let single = [run.mass.is_some(), run.gross.is_some(), run.tare.is_some()];
    let burette = [run.initial.is_some(), run.final_reading.is_some()];
    let present = single
        .iter()
        .chain(&burette)
        .filter(|there| **there)
        .count();
    present + run.ends.len() + 2 * run.refill.len()
}

/// The readings of the sheet among the inputs of its formula; none if one of them is not found there with its very value, or
/// an input is a reading of something else in a run.
pub(super) fn of(formula: &Formula, sheet: &AssaySheet, bench: &Bench) -> Option<Vec<Slot>> {
    let sample = sheet.sample.first()?;
    let own = sample.run.len();
    let once = format!("{} sample {}/", bench.determination, sample.id);
    let occasions: Vec<(String, Place)> = (0..bench.runs.len())
        .map(|index| {
            let place = Place::of_run(index, own);
            (format!("{}/", bench.run_key(index)), place)
        })
        .chain([(once, Place::Sample)])
        .collect();
    let mut slots = Vec::new();
    for (index, input) in formula.inputs().iter().enumerate() {
        if !matches!(input.origin, Origin::Reading(_)) {
            continue;
        }
        let found = occasions
            .iter()
            .find_map(|(id, place)| Some((input.id.strip_prefix(id.as_str())?, *place)));
        // What is not read in a run is the same on every sheet of the pattern: temperature, and the runs behind the titrant.
        let Some((rest, place)) = found else { continue };
        if matches!(rest, "temperature" | "duration") {
            continue;
        }
        let which = Which::of(rest)?;
        let written = place.reading(sheet, which)?;
        if written.value_in(&input.unit).ok()?.to_bits() != input.value.to_bits() {
            return None;
        }
        slots.push(Slot {
            input: index,
            place,
            which,
        });
    }
    let of_sample = [&sample.mass, &sample.gross, &sample.tare];
    let written: usize = of_sample.iter().filter(|mass| mass.is_some()).count()
        + sample
            .run
            .iter()
            .chain(&sheet.blank)
            .map(count)
            .sum::<usize>();
    (slots.len() == written).then_some(slots)
}

/// Whether the readings of a run can be evaluated: on the scale of a burette that holds so much, and one after the other.
pub(super) fn are_in_order(run: &RunSpec, capacity: f64) -> bool {
    let on_scale = |ml: f64| (0.0..=capacity).contains(&ml);
    let pair = |from: f64, to: f64| on_scale(from) && on_scale(to) && from <= to;
    let (Some(initial), Some(last)) = (&run.initial, &run.final_reading) else {
        return false;
    };
    let initial = initial.value();
    let mut fills = run.refill.iter();
    pair(initial, last.value())
        && run.ends.iter().all(|end| pair(initial, end.value()))
        && fills.all(|fill| pair(fill.initial.value(), fill.final_reading.value()))
        && are_weighed(&[&run.mass, &run.gross, &run.tare])
}

/// Whether a net mass is above nothing, and the gross above the tare.
pub(super) fn are_weighed([net, gross, tare]: &[&Option<Written<Mass>>; 3]) -> bool {
    let grams = |mass: &Option<Written<Mass>>| mass.as_ref().map(Written::value);
    grams(net).is_none_or(|net| net > 0.0)
        && match (grams(gross), grams(tare)) {
            (Some(gross), Some(tare)) => gross > tare,
            _ => true,
        }
}
