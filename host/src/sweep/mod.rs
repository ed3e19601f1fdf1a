//! A sweep: one run of a plan on one unit.

mod outcome;

pub use outcome::*;
