//! Hunting by hand: a person holds two tips on the board, and the program says where.
//!
//! What stands in a [`ByHand`](crate::measurement::ByHand) record is what was answered, touch by touch; everything else follows
//! from it by pure functions. Read in this order: [`place`] (where points lie and how a person says so), [`probe`] (a question,
//! and what it costs to put it), [`answer`] (what may be answered and what it bounds), [`weigh`] (what the answers make of the
//! hypotheses), [`choose`] (which question tells most for its cost), [`session`] (the conversation, without I/O), [`bounds`]
//! (what answers prove of each segment, and which of them contradict), [`mod@judge`] (the judgement), [`drawing`] (a side of the
//! board in characters).

pub mod answer;
pub mod bounds;
pub mod choose;
pub mod drawing;
pub mod judge;
pub mod place;
pub mod probe;
pub mod session;
#[cfg(test)]
mod tests;
pub mod weigh;

pub use answer::{AnswerError, Said};
pub use judge::{JudgeError, judge};
pub use probe::{Hold, Probe, Stance};
pub use session::{Next, Session};
