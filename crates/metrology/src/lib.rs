//! Quantities, formulas with uncertainty, Monte Carlo and replicate statistics.
//!
//! A reported number is a formula over named inputs: [`Expr`] builds it, [`Formula`] holds it, and every reader
//! (evaluation, [`propagate`], Monte Carlo, the printed working) reads that one graph. No input or output happens
//! here; the same arguments give the same bytes.

pub mod anova;
mod cholesky;
pub mod conformity;
pub mod control;
pub mod coverage;
pub mod digits;
pub mod distribution;
pub mod drift;
pub mod formula;
pub mod hypothesis;
pub mod input;
pub mod line_fit;
pub mod monte_carlo;
pub mod outliers;
pub mod propagation;
pub mod quantiles;
pub mod quantity;
pub mod replicates;
pub mod rounding;
pub mod trend;

pub use coverage::{Coverage, Expanded, expand};
pub use distribution::Distribution;
pub use formula::{Expr, Formula, FormulaError, Label, Step};
pub use input::{Input, Origin, Scope};
pub use monte_carlo::{
    Adaptive, AdaptivePlan, MonteCarloError, Plan, Simulation, Validation, adaptive, monte_carlo,
    monte_carlo_to, validate,
};
pub use propagation::{
    Behind, Budget, BudgetLine, Role, behind, covariance, covariances_between, propagate,
    propagate_through, propagate_to,
};
pub use quantity::{DecimalNumber, Dimension, Quantity, QuantityError, Unit, WrittenQuantity};
