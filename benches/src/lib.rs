//! See `benches/README.md`.

pub mod hydrochloric_acid;
pub mod record;
