//! See `benches/README.md`.

/// The same as of the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

pub mod http;
pub mod hydrochloric_acid;
pub mod record;
