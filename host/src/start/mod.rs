//! First power: a unit that passed without power gets current-limited power in steps, and is judged by what it draws, by its rails and by the
//! checks that no probe can answer.
//!
//! Read in this order: [`mod@allowed`] (which unit may be started), [`window`] (what a good one draws), [`plan`] (the steps), [`question`] (what a person
//! is asked, and what an answer means), [`rule`] (when to stop), [`machine`] (what comes next: no I/O, no clock), [`verdict`] (what it comes to), [`drive`] (the same
//! with a supply and a person). [`modelled`] answers where both are modelled.

pub mod allowed;
pub mod caution;
pub mod drive;
pub mod machine;
pub mod modelled;
pub mod plan;
pub mod question;
pub mod rule;
pub mod verdict;
pub mod window;
pub mod within;

#[cfg(test)]
mod sample;
#[cfg(test)]
mod tests;

pub use allowed::{NotAllowed, allowed};
pub use drive::{Attendant, Started, Starter};
pub use machine::Machine;
pub use modelled::Modelled;
pub use plan::Plan;
pub use question::Question;
pub use window::Window;
pub use within::Within;
