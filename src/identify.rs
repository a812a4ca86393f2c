//! From described photos to readings.

pub mod cautions;
pub mod reading;
