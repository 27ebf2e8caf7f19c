//! What can be at all: figures that no paper and no scale can show are refused when they are typed. What is merely odd is
//! taken down; the findings speak of it.

use crate::node::{Kind, Node};
use crate::payload::{Ingredient, KnownBy, LotCertificate, LotReceived, Piece, Plan, Slot};
use crate::refusal::Refusal;
use crate::state::{Determination, World};
use titrimetry::method::Step;
use titrimetry::sheet::{Kind as Quantity, Mass, Stated, Temperature, Time, Volume, Written};

fn impossible<T>(said: String) -> Result<T, Refusal> {
    Err(Refusal::Impossible(said))
}

/// What a lot came in with.
pub(super) fn received(on: &Node, lot: &LotReceived) -> Result<(), Refusal> {
    if let Some(density) = lot.density.as_ref().filter(|d| d.value() <= 0.0) {
        return impossible(format!(
            "a density is above 0 g/mL, such as 1.636 g/mL; {density} was given"
        ));
    }
    let Some(stated) = &lot.certificate else {
        return Ok(());
    };
    certificate(on, lot.density.is_some(), stated)
}

/// A certificate of a lot: one value that a paper can state, with an uncertainty.
pub(super) fn certificate(
    on: &Node,
    is_weighed: bool,
    stated: &LotCertificate,
) -> Result<(), Refusal> {
    let name = on.name();
    match (&stated.purity, &stated.concentration) {
        (Some(_), Some(_)) => {
            return impossible(format!(
                "a certificate states the purity of a solid or the concentration of a solution; both were given for {name}"
            ));
        }
        (None, Some(_)) if is_weighed => {
            return impossible(format!(
                "{name} is a solid that is weighed: its certificate states a purity, such as 99.97 %, not a concentration"
            ));
        }
        _ => {}
    }
    if let Some(purity) = &stated.purity {
        let beyond = spread(name, "purity", purity)?;
        let value = purity.value.value();
        // What is pure may be found a little above 100 %, within its uncertainty.
        if value <= 0.0 || value > 1.0 + beyond {
            return impossible(format!(
                "a purity is above 0 % and at most 100 % (within its own uncertainty), written like 99.97 % or 0.9997; \
                 {} was given for {name}",
                purity.value
            ));
        }
    }
    if let Some(concentration) = &stated.concentration {
        spread(name, "concentration", concentration)?;
        if concentration.value.value() <= 0.0 {
            return impossible(format!(
                "a concentration is above 0 mol/L, such as 0.1001 mol/L; {} was given for {name}",
                concentration.value
            ));
        }
    }
    Ok(())
}

/// A correction says better what the bottle is worth, not that it is another kind of bottle.
pub(super) fn same_kind(
    on: &Node,
    was: &LotCertificate,
    now: &LotCertificate,
) -> Result<(), Refusal> {
    let (what, kind) = match (was, now) {
        (
            LotCertificate {
                purity: Some(_), ..
            },
            LotCertificate { purity: None, .. },
        ) => ("a solid that is weighed", "a purity, such as 99.97 %"),
        (
            LotCertificate {
                concentration: Some(_),
                ..
            },
            LotCertificate {
                concentration: None,
                ..
            },
        ) => ("a solution", "a concentration, such as 0.1001 mol/L"),
        _ => return Ok(()),
    };
    let name = on.name();
    impossible(format!(
        "{name} was taken down as {what}: its certificate states {kind}; if that is wrong, discard {name} and take the \
         bottle down anew"
    ))
}

/// The half-width that a statement gives; refused if it is below zero, or as large as the value.
fn spread<K: Quantity>(name: &str, what: &str, stated: &Stated<K>) -> Result<f64, Refusal> {
    let value = stated.value.value();
    let given = [&stated.expanded, &stated.standard, &stated.within];
    let mut widest = 0.0_f64;
    for given in given.into_iter().flatten() {
        let u = given.value();
        if u < 0.0 || u >= value.abs() {
            return impossible(format!(
                "the uncertainty of the {what} of {name} is at least 0 and less than the value {}; {given} was given",
                stated.value
            ));
        }
        widest = widest.max(u);
    }
    if let Some(k) = stated.k.filter(|k| !(*k > 0.0 && k.is_finite())) {
        return impossible(format!(
            "a coverage factor is above 0, mostly 2; {k} was given for {name}"
        ));
    }
    Ok(widest)
}

/// What a solution was made of, and how much there is.
pub(super) fn amounts(on: &Node, made_of: &[Ingredient]) -> Result<(), Refusal> {
    for Ingredient { from, amount } in made_of {
        if amount.value() <= 0.0 {
            return impossible(format!(
                "what goes into {} is more than nothing; {amount} of {} was given",
                on.name(),
                from.name()
            ));
        }
    }
    Ok(())
}

/// A quantity that is above zero.
pub(super) fn above_zero<K: Quantity>(
    on: &Node,
    what: &str,
    given: &Written<K>,
) -> Result<(), Refusal> {
    if given.value() > 0.0 {
        return Ok(());
    }
    impossible(format!(
        "the {what} of {} is above zero, such as {}; {given} was given",
        on.name(),
        K::EXAMPLE
    ))
}

/// A reading: a number that the piece can show, of something that is measured here.
pub(super) fn reading(
    world: &World,
    determination: &Determination,
    (place, slot): (&str, Slot),
    text: &str,
) -> Result<(), Refusal> {
    let value = |reason: String| Refusal::Value {
        place: place.to_string(),
        reason,
    };
    match slot {
        Slot::Mass | Slot::Gross | Slot::Tare => {
            let mass: Written<Mass> = text.parse().map_err(value)?;
            if weighs(world, determination) == Some(false) {
                return Err(value(
                    "nothing is weighed in this determination; its standard or sample is measured by volume".into(),
                ));
            }
            if mass.value() < 0.0 || (slot == Slot::Mass && mass.value() <= 0.0) {
                return Err(value(format!(
                    "a balance with something on it shows more than nothing; {mass} was given"
                )));
            }
        }
        Slot::Temperature => {
            let temperature: Written<Temperature> = text.parse().map_err(value)?;
            if temperature.value() <= 0.0 {
                return Err(value(format!(
                    "nothing is as cold as {temperature}; write it like 22.4 degC"
                )));
            }
        }
        Slot::Duration => {
            let time: Written<Time> = text.parse().map_err(value)?;
            if time.value() < 0.0 {
                return Err(value(format!("a time is not below zero; {time} was given")));
            }
        }
        Slot::Added => {
            let volume: Written<Volume> = text.parse().map_err(value)?;
            if volume.value() < 0.0 {
                return Err(value(format!(
                    "what is added is not less than nothing; {volume} was given"
                )));
            }
        }
        Slot::Initial
        | Slot::Final
        | Slot::End(_)
        | Slot::RefillInitial(_)
        | Slot::RefillFinal(_) => {
            let volume: Written<Volume> = text.parse().map_err(value)?;
            let burette = &determination.opened.burette;
            let scale = scale(world, burette);
            let beyond = scale.is_some_and(|end| volume.value() > end);
            if volume.value() < 0.0 || beyond {
                let end = scale.map_or(String::new(), |end| format!(" to {end} mL"));
                return Err(value(format!(
                    "the scale of the burette {} goes from 0{end}; {volume} does not stand on it",
                    burette.name()
                )));
            }
        }
    }
    Ok(())
}

/// Where the scale of a burette ends, in mL, as far as it is known.
fn scale(world: &World, burette: &Node) -> Option<f64> {
    match world.apparatus(burette)?.piece()? {
        Piece::Glass(piece) => piece.nominal_ml(),
        Piece::Balance(_) => None,
    }
}

/// Whether something is weighed in a determination, as far as it is known.
fn weighs(world: &World, determination: &Determination) -> Option<bool> {
    Some(match &determination.opened.plan {
        Plan::Assay { method, .. } => world
            .method(method)?
            .at(determination.number)?
            .step
            .iter()
            .any(|step| matches!(step, Step::Weigh { .. })),
        Plan::Standardization {
            known, dissolved, ..
        } => match known {
            KnownBy::Solution { .. } => false,
            KnownBy::Lot(lot) => {
                let certificate = world.lot(lot)?.certificate.as_ref()?;
                certificate.purity.is_some() && dissolved.is_none()
            }
        },
    })
}

/// What must be looked up before a reading can be judged.
pub(super) fn judges(node: &Node) -> bool {
    matches!(node.kind(), Kind::Method | Kind::Lot | Kind::Apparatus)
}
