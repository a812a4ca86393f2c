//! The studio: see the crate description.
fn main() {}
