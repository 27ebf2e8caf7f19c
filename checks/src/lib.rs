//! See `tests/`: one file a published source.
