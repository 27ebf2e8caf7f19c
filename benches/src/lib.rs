//! See `benches/README.md`.
