//! Methods, layouts, determinations, evaluation, findings and rule profiles.
#![forbid(unsafe_code)]

pub mod advice;
pub mod assay;
pub mod control;
pub mod evaluation;
pub mod finding;
pub mod findings;
pub mod layout;
pub mod method;
pub mod plan;
pub mod quantity;
pub mod rule_profile;
pub mod sheet;
pub mod validation;
pub mod what_if;

pub use advice::Advice;
pub use evaluation::Evaluation;
pub use finding::{Finding, Severity};
pub use findings::judge;
pub use layout::Layout;
pub use rule_profile::RuleProfile;
pub use sheet::{Sheet, SheetError};
