//! From described photos to readings.

pub mod reading;
