//! What people and programs read of an evaluation: the terminal report, the worked solution, the JSON document.
//!
//! Pure functions from an [`Account`] to text. Nothing is calculated here that belongs to a result; numbers are rounded
//! once, on the way out.
#![forbid(unsafe_code)]

mod account;
pub mod assay;
mod budget_bars;
mod heading;
mod lines;
pub mod mathml;
mod numbers;
pub mod plan_report;
pub mod plot;
mod run_table;
mod style;
mod terminal;
pub mod validation_report;
pub mod wire;
pub mod worked;
mod working;

pub use account::{Account, Simulated};
pub use budget_bars::{GroupShare, shares_by_group};
pub use lines::{WIDTH, without_control};
pub use numbers::{
    by_uncertainty as rounded, degrees_of_freedom, in_working, percent, raised, significant,
    thousands,
};
pub use plan_report::{NOT_REACHED, plan_indicators, plan_report, plan_summary};
pub use run_table::run_table;
pub use style::Style;
pub use terminal::terminal;
pub use working::working;
