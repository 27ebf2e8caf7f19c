//! Glassware and balances: tolerances, calibration, temperature, buoyancy, readings.
//!
//! Two layers. The lower one is plain numbers and data: [`water`], [`air`], [`buoyancy`], [`glass`], [`temperature`],
//! the [`catalogue`] of glassware, the [`balance`] list, the rule for a burette [`reading`]. Its functions carry their
//! units in their names (`_c` is degC, `_ml` mL, densities are kg/m3).
//!
//! The upper one builds formulas of the [`metrology`] crate from what was recorded: a [`Piece`] gives the volume
//! delivered in a run or held to its mark, a [`Weighing`] the mass of what was weighed, a [`GravimetricCalibration`]
//! the corrections of a piece. Every input carries its id, origin and scope; inputs that belong to a piece, a balance,
//! a glass or a temperature carry the id of that thing, so that whatever is used twice is one input.
//!
//! No file, clock or random source is touched: the reference data are embedded from `reference/`.

pub mod air;
pub mod balance;
pub mod buoyancy;
mod buoyancy_correction;
mod calibration;
pub mod catalogue;
mod conditions;
mod delivered;
mod embedded;
mod error;
pub mod glass;
mod gravimetric;
mod occasion;
mod piece;
pub mod reading;
pub mod temperature;
mod units;
pub mod water;
mod weighing;

pub use buoyancy_correction::{AirDensity, Body};
pub use calibration::{Calibration, CorrectionPoint, Part, Share};
pub use conditions::{Liquid, LiquidTemperature};
pub use delivered::{BuretteRun, Drainage, Fill};
pub use error::VolumetryError;
pub use gravimetric::{GravimetricCalibration, GravimetricPoint, WeighedDelivery};
pub use occasion::Occasion;
pub use piece::{Accuracy, Piece};
pub use weighing::{Balance, Linearity, Weighed, Weighing};
