//! What can be wrong with a request to this crate.

use metrology::{FormulaError, QuantityError};
use thiserror::Error;

use crate::catalogue::Kind;

/// A broken condition, said so that the person who typed the value can mend it.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum VolumetryError {
    /// A quantity lies outside the range in which a formula holds.
    #[error("{what} is {value} {unit}, but {formula} holds from {min} to {max} {unit} only")]
    OutsideRange {
        /// The quantity, in words.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// The formula that was asked.
        formula: &'static str,
        /// Lowest value allowed.
        min: f64,
        /// Highest value allowed.
        max: f64,
    },
    /// A density, mass or volume must be a positive number.
    #[error("{what} must be a positive number, but it is {value}")]
    NotPositive {
        /// The quantity, in words.
        what: &'static str,
        /// What was given.
        value: f64,
    },
    /// A word of an apparatus name means nothing here.
    #[error(
        "the word {word:?} in the apparatus name {name:?} is not understood; write for example \
         \"burette 50 mL A\", \"pipette 25 mL AS\", \"flask 250 mL A\" or \"piston pipette 1000 uL\""
    )]
    UnknownWord {
        /// The name as written.
        name: String,
        /// The word.
        word: String,
    },
    /// A part of an apparatus name is missing.
    #[error("the apparatus name {name:?} lacks {missing}; for example {example:?}")]
    MissingPart {
        /// The name as written.
        name: String,
        /// What is missing, in words.
        missing: &'static str,
        /// A name that is complete.
        example: String,
    },
    /// A part of an apparatus name is said twice.
    #[error("the apparatus name {name:?} says {part} twice: {first} and {second}")]
    SaidTwice {
        /// The name as written.
        name: String,
        /// Which part, in words.
        part: &'static str,
        /// The first value.
        first: String,
        /// The second value.
        second: String,
    },
    /// No piece of the catalogue fits.
    #[error("no piece of the catalogue fits {name:?}; near it are: {}", near.join("; "))]
    NotInCatalogue {
        /// The name as written.
        name: String,
        /// Names that can be written instead, the nearest first.
        near: Vec<String>,
    },
    /// Several pieces of the catalogue fit.
    #[error("{name:?} fits several pieces of the catalogue, say which: {}", candidates.join("; "))]
    Ambiguous {
        /// The name as written.
        name: String,
        /// Names that can be written instead.
        candidates: Vec<String>,
    },
    /// A named thing is not in a list of reference data.
    #[error("no {what} is called {name:?}; known are: {}", known.join("; "))]
    NotKnown {
        /// What was sought, in words.
        what: &'static str,
        /// The name as written.
        name: String,
        /// The names that are known.
        known: Vec<String>,
    },
    /// A calibration table that cannot be used.
    #[error("the calibration {certificate:?} cannot be used: {fault}")]
    CalibrationPoints {
        /// Name of the certificate.
        certificate: String,
        /// What is wrong.
        fault: String,
    },
    /// A volume that a calibration does not cover.
    #[error(
        "the calibration {certificate:?} covers {min_ml} to {max_ml} mL, but {volume_ml} mL was asked for"
    )]
    OutsideCalibration {
        /// Name of the certificate.
        certificate: String,
        /// The volume asked for, mL.
        volume_ml: f64,
        /// Lowest mark, mL.
        min_ml: f64,
        /// Highest mark, mL.
        max_ml: f64,
    },
    /// A burette was asked to do what a pipette does, or the other way round.
    #[error("{piece} is a {kind}: it cannot {purpose}")]
    WrongKind {
        /// Identity of the piece.
        piece: String,
        /// What it is.
        kind: Kind,
        /// What was asked of it.
        purpose: &'static str,
    },
    /// A run without readings.
    #[error("{occasion} has no readings of {piece}; it needs an initial and a final one")]
    NoReadings {
        /// The run.
        occasion: String,
        /// Identity of the piece.
        piece: String,
    },
    /// A reading off the scale.
    #[error(
        "{occasion}: the reading {reading} lies outside the scale of {piece}, 0 to {nominal_ml} mL"
    )]
    OutsideScale {
        /// The run.
        occasion: String,
        /// The reading as written.
        reading: String,
        /// Identity of the piece.
        piece: String,
        /// End of the scale, mL.
        nominal_ml: f64,
    },
    /// The final reading is below the initial one.
    #[error(
        "{occasion}: the final reading {last} is below the initial one, {first}; if the burette was refilled, \
         give the readings before and after the refill"
    )]
    ReadingOrder {
        /// The run.
        occasion: String,
        /// The initial reading as written.
        first: String,
        /// The final reading as written.
        last: String,
    },
    /// The gross weight is not above the tare.
    #[error("{occasion}: the gross weight {gross} is not above the tare {tare}")]
    GrossBelowTare {
        /// The run or other occasion.
        occasion: String,
        /// Gross as written.
        gross: String,
        /// Tare as written.
        tare: String,
    },
    /// A written quantity of the wrong dimension.
    #[error("{what}: {source}")]
    Quantity {
        /// Where it stands.
        what: String,
        /// What is wrong.
        source: QuantityError,
    },
    /// A formula that cannot be built.
    #[error(transparent)]
    Formula(#[from] FormulaError),
}

/// `Ok` if the value lies in the closed range; NaN does not.
pub(crate) fn in_range(
    what: &'static str,
    value: f64,
    unit: &'static str,
    formula: &'static str,
    [min, max]: [f64; 2],
) -> Result<(), VolumetryError> {
    if (min..=max).contains(&value) {
        Ok(())
    } else {
        Err(VolumetryError::OutsideRange {
            what,
            value,
            unit,
            formula,
            min,
            max,
        })
    }
}

/// `Ok` if the value is positive and finite.
pub(crate) fn positive(what: &'static str, value: f64) -> Result<(), VolumetryError> {
    if value > 0.0 && value.is_finite() {
        Ok(())
    } else {
        Err(VolumetryError::NotPositive { what, value })
    }
}
