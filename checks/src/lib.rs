//! See `tests/`: one file a published source. Here is only what several of them use.

pub mod budget;
