//! A sweep: one run of a plan on one unit, and everything concluded from it.
//!
//! [`conduct`] runs the plan and what the answers call for; [`facts`] reads each run's codes; [`locate`] finds opens;
//! [`diagnose`] finds bench faults; [`finding`] and [`judge`] turn facts into the [`Sweep`] that records and
//! reports are made of.

pub mod conduct;
pub mod diagnose;
pub mod facts;
pub mod finding;
pub mod judge;
pub mod locate;
mod outcome;

pub use conduct::{Subject, SweepError, sweep};
pub use outcome::*;
