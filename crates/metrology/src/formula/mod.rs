//! Formulas over named inputs: the one idea of halfdrop.
//!
//! [`Expr`] builds a formula with ordinary operators; [`Formula`] is the closed graph in evaluation order, which is
//! evaluated, differentiated, propagated, simulated, printed and stored.

mod derivative;
mod error;
mod expr;
mod graph;
mod print;
mod stored;

pub use error::FormulaError;
pub use expr::{Expr, Label};
pub use graph::{Correlation, Formula, Function, Node, Operation};
pub use print::Step;
