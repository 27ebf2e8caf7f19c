//! General equilibrium in water: acids, complexes, redox couples, precipitates and gases together.
//!
//! [`problem`] states the balances, `convex` solves them at fixed activity coefficients, [`solve`] settles the ionic
//! strength around it.

pub(crate) mod convex;
mod direction;
mod double_double;
mod expression;
mod linear;
pub mod problem;
pub mod solve;
pub mod system;
