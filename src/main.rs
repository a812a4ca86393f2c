//! The program; see the library for what it does.

fn main() {}
