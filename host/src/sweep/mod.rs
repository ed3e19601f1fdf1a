//! A sweep: one run of a plan on one unit, and everything concluded from it.
//!
//! [`machine`] makes runs, without I/O; [`planned`] is the policy that decides which: the plan first, then whatever the
//! unit's answers call for. [`Sweep`] is what records and reports are made of.

pub mod machine;
mod outcome;
pub mod planned;

pub use outcome::*;
