//! What to do about a unit's faults: repairs with what they promise and what they cost.

mod taken;

pub use taken::{Predicted, Taken};
