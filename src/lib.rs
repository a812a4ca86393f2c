//! footring says what a piece of ceramic tableware is from photographs, by
//! visual similarity to a reference set.
//!
//! The rooms below are in the order in which the data flow; each uses only
//! rooms above it (a test holds that).

pub mod channel;
pub mod config;
pub mod error;
pub mod identify;
pub mod photo;
pub mod warning;
