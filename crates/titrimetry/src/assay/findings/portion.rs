//! How much of the sample was taken, and how much would be better.

use super::One;
use crate::findings::words::digits;
use crate::method::{ReagentPlan, Step};
use crate::sheet::{PieceSpec, RunSpec};

/// Nominal volume of a piece in mL, if its name is in the catalogue.
pub(super) fn nominal(piece: &PieceSpec) -> Option<f64> {
    let name = match piece {
        PieceSpec::Name(name) => name,
        PieceSpec::Own(own) => &own.catalogue,
    };
    volumetry::catalogue::find(name)
        .ok()
        .map(|entry| entry.nominal_ml)
}

/// Nominal volume of a step's piece: as planned, and as the sheet has it.
fn volumes(one: &One<'_>, name: &str, planned: &PieceSpec) -> Option<(f64, f64)> {
    let used = one.assay.sheet.piece.get(name).unwrap_or(planned);
    Some((nominal(planned)?, nominal(used)?))
}

/// How many times the planned portion was taken, as far as the pieces say it; a weighed mass counts as planned.
pub(super) fn over_planned(one: &One<'_>) -> f64 {
    let mut ratio = 1.0;
    for step in &one.assay.method.step {
        let (name, piece, takes) = match step {
            Step::Take { name, with } => (name, with, true),
            Step::MakeUp { name, to } => (name, to, false),
            _ => continue,
        };
        if let Some((planned, used)) = volumes(one, name, piece) {
            ratio *= if takes {
                used / planned
            } else {
                planned / used
            };
        }
    }
    ratio
}

/// Volume of a reagent over the planned one.
pub(super) fn reagent_over_planned(one: &One<'_>, plan: &ReagentPlan) -> f64 {
    plan.measured_by
        .as_ref()
        .and_then(|piece| volumes(one, &plan.name, piece))
        .map_or(1.0, |(planned, used)| used / planned)
}

/// A flask of the sheet that makes the portion smaller.
pub(super) enum Dilution {
    /// A measured volume was made up in it: how much, to how much, in mL.
    MadeUp(f64, f64),
    /// A part of it was taken: how much, of how much, in mL.
    Aliquot(f64, f64),
}

impl Dilution {
    /// How many times as much is found by one who leaves it out.
    pub(super) fn times(&self) -> f64 {
        match self {
            Self::MadeUp(taken, flask) | Self::Aliquot(taken, flask) => flask / taken,
        }
    }

    /// The question whether it was left out, without a question mark.
    pub(super) fn left_out(&self) -> String {
        match self {
            Self::MadeUp(taken, flask) => {
                format!("was the dilution of {taken} to {flask} mL not done")
            }
            Self::Aliquot(taken, flask) => {
                format!("was all of the {flask} mL titrated, and not {taken} mL of it")
            }
        }
    }

    /// The question whether it was done twice, without a question mark.
    pub(super) fn done_twice(&self) -> String {
        match self {
            Self::MadeUp(taken, flask) | Self::Aliquot(taken, flask) => {
                format!("was {taken} to {flask} mL diluted once more than the sheet says")
            }
        }
    }
}

/// Each dilution of the sheet.
pub(super) fn dilutions(one: &One<'_>) -> Vec<Dilution> {
    let steps = &one.assay.method.step;
    let pair = |flask: (&str, &PieceSpec), take: (&str, &PieceSpec)| {
        Some((
            volumes(one, take.0, take.1)?.1,
            volumes(one, flask.0, flask.1)?.1,
        ))
    };
    steps
        .windows(2)
        .filter_map(|both| match both {
            [Step::Take { name, with }, Step::MakeUp { name: flask, to }] => {
                pair((flask, to), (name, with)).map(|(t, f)| Dilution::MadeUp(t, f))
            }
            [Step::MakeUp { name: flask, to }, Step::Take { name, with }] => {
                pair((flask, to), (name, with)).map(|(t, f)| Dilution::Aliquot(t, f))
            }
            _ => None,
        })
        .collect()
}

fn grams(run: &RunSpec) -> Option<f64> {
    net(run.mass.as_ref(), run.gross.as_ref(), run.tare.as_ref())
}

type Weighed = crate::sheet::Written<crate::sheet::Mass>;

fn net(mass: Option<&Weighed>, gross: Option<&Weighed>, tare: Option<&Weighed>) -> Option<f64> {
    match (mass, gross, tare) {
        (Some(mass), ..) => Some(mass.value()),
        (None, Some(gross), Some(tare)) => Some(gross.value() - tare.value()),
        _ => None,
    }
}

/// Three digits at most, without zeros at the end.
fn plain(value: f64) -> String {
    let text = digits(value, 3);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_string(),
        false => text,
    }
}

/// "Take about 17 mL instead of 50 mL", so that the portion is this many times as large.
pub(super) fn instead(one: &One<'_>, times: f64) -> Option<String> {
    if !(times.is_finite() && times > 0.0) {
        return None;
    }
    let say = |now: f64, unit: &str| {
        format!(
            "Take about {} {unit} instead of {} {unit}.",
            digits(now * times, 2),
            plain(now)
        )
    };
    let steps = &one.assay.method.step;
    let last_taken = steps.iter().rev().find_map(|step| match step {
        Step::Take { name, with } => volumes(one, name, with).map(|(_, used)| used),
        _ => None,
    });
    if let Some(volume) = last_taken {
        return Some(say(volume, "mL"));
    }
    let spec = &one.sample.spec;
    let once = net(spec.mass.as_ref(), spec.gross.as_ref(), spec.tare.as_ref());
    let masses: Vec<f64> = spec.run.iter().filter_map(grams).collect();
    let mean = (!masses.is_empty()).then(|| masses.iter().sum::<f64>() / masses.len() as f64);
    once.or(mean).map(|mass| say(mass, "g"))
}
