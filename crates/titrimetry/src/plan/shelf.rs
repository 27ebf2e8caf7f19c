//! The glass and the balance a plan may use.

use super::PlanError;
use super::wishes::Shelf;
use crate::evaluation::equipment;
use crate::sheet::{BalanceSpec, PieceSpec};
use volumetry::catalogue::Kind;

/// A piece of glass on the shelf.
#[derive(Clone, Debug, PartialEq)]
pub struct Glass {
    /// As the sheet names it.
    pub spec: PieceSpec,
    /// As people call it.
    pub name: String,
    /// Nominal capacity, mL.
    pub nominal_ml: f64,
    /// Smallest division, mL; burettes only.
    pub graduation_ml: Option<f64>,
}

/// Everything at hand.
#[derive(Clone, Debug, PartialEq)]
pub struct Cupboard {
    /// Burettes.
    pub burettes: Vec<Glass>,
    /// Pipettes.
    pub pipettes: Vec<Glass>,
    /// Volumetric flasks.
    pub flasks: Vec<Glass>,
    /// The balance.
    pub balance: BalanceSpec,
}

/// What stands in an ordinary cupboard: the sizes of ISO 385, ISO 648 and ISO 1042 that are stocked everywhere
/// (common practice).
const BURETTES: [&str; 3] = [
    "burette 10 mL A graduated 0.02",
    "burette 25 mL A graduated 0.05",
    "burette 50 mL A graduated 0.1",
];
const PIPETTES: [&str; 6] = [
    "pipette 5 mL A",
    "pipette 10 mL A",
    "pipette 20 mL A",
    "pipette 25 mL A",
    "pipette 50 mL A",
    "pipette 100 mL A",
];
const FLASKS: [&str; 4] = [
    "flask 100 mL A",
    "flask 250 mL A",
    "flask 500 mL A",
    "flask 1000 mL A",
];
const BALANCE: &str = "four-place balance";

impl Cupboard {
    /// The wished shelf, filled up with what is usual.
    pub(super) fn of(shelf: &Shelf, assumptions: &mut Vec<String>) -> Result<Self, PlanError> {
        let usual = |names: &[&str]| {
            names
                .iter()
                .map(|name| PieceSpec::Name((*name).to_owned()))
                .collect::<Vec<_>>()
        };
        let burettes = if shelf.burettes.is_empty() {
            assumptions.push("burettes at hand: 10, 25 and 50 mL, class A (none named)".into());
            usual(&BURETTES)
        } else {
            shelf.burettes.clone()
        };
        let pipettes = shelf.pipettes.clone().unwrap_or_else(|| {
            assumptions.push("pipettes at hand: 5 to 100 mL, class A (none named)".into());
            usual(&PIPETTES)
        });
        let flasks = shelf.flasks.clone().unwrap_or_else(|| {
            assumptions.push("flasks at hand: 100 to 1000 mL, class A (none named)".into());
            usual(&FLASKS)
        });
        let balance = shelf.balance.clone().unwrap_or_else(|| {
            assumptions.push(format!("a {BALANCE} is at hand (none named)"));
            BalanceSpec::Name(BALANCE.to_owned())
        });
        Ok(Self {
            burettes: glass(&burettes, "shelf.burettes", &[Kind::Burette])?,
            pipettes: glass(&pipettes, "shelf.pipettes", &[Kind::Pipette])?,
            flasks: glass(&flasks, "shelf.flasks", &[Kind::Flask])?,
            balance,
        })
    }

    /// Smallest step the balance shows, g.
    pub(super) fn readability_g(&self) -> f64 {
        match &self.balance {
            BalanceSpec::Name(name) => {
                volumetry::balance::balance(name).map_or(0.0001, |b| b.readability_g)
            }
            BalanceSpec::Own(own) => own.readability.value(),
        }
    }
}

fn glass(specs: &[PieceSpec], path: &str, kinds: &[Kind]) -> Result<Vec<Glass>, PlanError> {
    let mut out: Vec<Glass> = Vec::with_capacity(specs.len());
    for (index, spec) in specs.iter().enumerate() {
        let path = format!("{path}[{}]", index + 1);
        let piece = equipment::piece(spec, &path, "plan", kinds)?;
        out.push(Glass {
            spec: spec.clone(),
            name: piece.description.clone(),
            nominal_ml: piece.nominal_ml,
            graduation_ml: piece.graduation_ml,
        });
    }
    Ok(out)
}
