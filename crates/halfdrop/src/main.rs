//! halfdrop.
fn main() {}
