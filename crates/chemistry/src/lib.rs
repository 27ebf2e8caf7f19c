//! Elements, formulas, reactions, substances and solution equilibria.
//!
//! The crate knows no file and no clock: its reference data are embedded at build and validated when first read.

// Elements and what is made of them.
pub mod atomic_weights;
pub mod composition;
pub mod elements;
pub mod end_point_balance;
pub mod formula;
pub mod molar_mass;
pub mod reaction;
pub mod substances;

// Solution equilibria.
pub mod acid_base;
pub mod activity;
pub mod colour;
pub mod complexes;
pub mod constant_set;
pub mod couples;
pub mod equilibrium;
pub mod equilibrium_constant;
pub mod equilibrium_error;
pub mod indicators;
pub mod solids;
pub mod solution;
pub mod species;
mod table;
pub mod titration_curve;
pub mod water;
