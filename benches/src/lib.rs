//! See `benches/README.md`.

pub mod http;
pub mod hydrochloric_acid;
pub mod record;
