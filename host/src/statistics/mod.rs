//! Statistics of many readings: pure functions over numbers without a unit, for limits that are learned and for benches
//! that are watched.
//!
//! [`normal`] and [`noncentral_t`] are the distributions, [`sample`] the mean and the standard deviation that all of it
//! starts from. [`tolerance`] says how wide limits have to be, [`outlier`] which units do not belong to the rest,
//! [`beta`] is the chance of what works or does not, [`rectangle`] adds what is known by its edges alone, [`control`] and [`cusum`] whether a course of readings has left its path, and [`variance`] where scatter comes from. Every formula
//! names its source, and its tests a figure from outside.

pub mod beta;
pub mod control;
pub mod cusum;
pub mod noncentral_t;
pub mod normal;
pub mod outlier;
pub mod rectangle;
pub mod sample;
pub mod tolerance;
pub mod variance;
