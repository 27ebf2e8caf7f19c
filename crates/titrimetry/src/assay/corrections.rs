//! The weights with which the corrections of a calibrated burette count at the readings of a sheet: constants of its
//! formulas that other readings change.

use super::agreement::volume_symbol;
use super::evaluate::unit;
use super::sheet::AssaySheet;
use super::slots::{Place, Which};
use crate::evaluation::apparatus::Bench;
use metrology::Formula;
use metrology::formula::Operation;
use volumetry::{Calibration, Part};

/// The corrections at all readings.
#[derive(Clone, Debug)]
pub(super) struct Corrections {
    calibration: Calibration,
    readings: Vec<Corrected>,
}

/// A reading, and the constants by which it shares in the corrections around it.
#[derive(Clone, Debug)]
struct Corrected {
    place: Place,
    which: Which,
    shares: Vec<(Part, Vec<usize>)>,
}

/// A product of a constant and an input: their nodes' constant, and the index of the input.
struct Weight {
    constant: usize,
    value: f64,
    input: usize,
}

impl Corrections {
    /// Finds the weights in the formula of a sheet. None inside where the burette has no calibration; nothing at all if a
    /// weight is not found, or could be that of two readings.
    pub(super) fn of(formula: &Formula, sheet: &AssaySheet, bench: &Bench) -> Option<Option<Self>> {
        let Some((piece, calibration)) = bench.burette_calibration() else {
            return Some(None);
        };
        let own = sheet.sample.first()?.run.len();
        let millilitre = unit("mL");
        let mut readings = Vec::new();
        for index in 0..bench.runs.len() {
            let place = Place::of_run(index, own);
            let weights = weights(formula, &bench.runs[index].name, piece);
            let mut found = vec![false; weights.len()];
            for which in Which::on_scale(&bench.runs[index].spec) {
                let ml = place.reading(sheet, which)?.value_in(&millilitre).ok()?;
                let mut shares = Vec::new();
                for share in calibration.shares(ml).ok()? {
                    let mut constants = Vec::new();
                    if let Some(value) = share.weight {
                        let input = formula.input_index(&calibration.input_id(piece, share.of))?;
                        for (weight, found) in weights.iter().zip(&mut found) {
                            if weight.input == input && weight.value.to_bits() == value.to_bits() {
                                if std::mem::replace(found, true) {
                                    return None;
                                }
                                constants.push(weight.constant);
                            }
                        }
                        if constants.is_empty() {
                            return None;
                        }
                    }
                    shares.push((share.of, constants));
                }
                readings.push(Corrected {
                    place,
                    which,
                    shares,
                });
            }
            if found.contains(&false) {
                return None;
            }
        }
        Some(Some(Self {
            calibration: calibration.clone(),
            readings,
        }))
    }

    /// The constants as another sheet reads the burette; none if it reads between other points.
    pub(super) fn at(&self, sheet: &AssaySheet) -> Option<Vec<(usize, f64)>> {
        let mut constants = Vec::new();
        let millilitre = unit("mL");
        for reading in &self.readings {
            let written = reading.place.reading(sheet, reading.which)?;
            let ml = written.value_in(&millilitre).ok()?;
            let shares = self.calibration.shares(ml).ok()?;
            if shares.len() != reading.shares.len() {
                return None;
            }
            for (share, (part, nodes)) in shares.iter().zip(&reading.shares) {
                if share.of != *part || share.weight.is_some() == nodes.is_empty() {
                    return None;
                }
                constants.extend(nodes.iter().filter_map(|node| Some((*node, share.weight?))));
            }
        }
        Some(constants)
    }
}

/// The weights of corrections below the volumes of a run.
fn weights(formula: &Formula, run: &str, piece: &str) -> Vec<Weight> {
    let nodes = formula.nodes();
    let called = |symbol: &str| -> Vec<bool> {
        let to_an_end = format!("{symbol},");
        let is = |s: &str| s == symbol || s.starts_with(&to_an_end);
        let labels = nodes.iter().map(|node| node.label.as_ref());
        labels
            .map(|label| label.is_some_and(|l| is(&l.symbol)))
            .collect()
    };
    let mut below = called(&volume_symbol(run));
    if !below.contains(&true) {
        // The volume of an only blank goes by the name of their mean.
        below = called("V_blank");
    }
    let corrections = format!("{piece}/calibration/");
    let mut weights = Vec::new();
    for index in (0..nodes.len()).rev() {
        if !below[index] {
            continue;
        }
        nodes[index]
            .operation
            .operands(|operand| below[operand] = true);
        let Operation::Product(a, b) = nodes[index].operation else {
            continue;
        };
        if let (Operation::Constant(weight), Operation::Input(input)) =
            (&nodes[a].operation, &nodes[b].operation)
            && formula.inputs()[*input].id.starts_with(&corrections)
        {
            weights.push(Weight {
                constant: a,
                value: weight.value,
                input: *input,
            });
        }
    }
    weights
}
