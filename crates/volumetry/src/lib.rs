//! Glassware and balances: tolerances, calibration, temperature, buoyancy, readings.
//!
//! Two layers. The lower one is plain numbers and data: [`water`], [`air`], [`buoyancy`], [`glass`], [`temperature`],
//! the [`catalogue`] of glassware, the [`balance`] list, the rule for a burette [`reading`]. Its functions carry their
//! units in their names (`_c` is degC, `_ml` mL, densities are kg/m3).
//!
//! No file, clock or random source is touched: the reference data are embedded from `reference/`.

pub mod air;
pub mod balance;
pub mod buoyancy;
pub mod catalogue;
mod embedded;
mod error;
pub mod glass;
pub mod reading;
pub mod temperature;
pub mod water;

pub use error::VolumetryError;
