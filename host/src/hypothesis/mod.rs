//! Hypotheses: what may be wrong with a unit, weighed by everything that was read of it.
//!
//! A hypothesis is a set of at most two [`Defect`]s; the empty one is the healthy unit. Each has a prior from a table of
//! rates ([`rate`]), and every [`Answer`] to a [`Question`] multiplies it by the probability of that answer under it
//! (`values` for resistances, [`look`] for where a current stops). Read in this order: [`defect`], [`rate`], [`look`],
//! [`answer`], `values`, [`belief`] (the posterior), [`information`] (what a question would tell), [`words`].
//!
//! A bed and a person with two tips differ in the questions that can be put, and in nothing else.

pub mod answer;
pub mod belief;
pub mod defect;
pub mod information;
pub mod look;
pub mod rate;
mod values;
pub mod words;

pub use answer::Answer;
pub use belief::{Belief, Place};
pub use defect::{Defect, Hypothesis};
pub use look::{Look, Question};
pub use rate::Rates;
