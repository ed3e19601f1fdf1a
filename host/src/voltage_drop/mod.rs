//! What the supply path costs: the voltage that is left at each load in the worst case, and which piece takes how much of the rest.
//!
//! Worst is the lowest supply voltage, full load, the worse end of the temperature range, the cell's own resistance, and every segment at
//! the upper end of what it may have: its limit, or, on a unit, its reading with all of its uncertainty. The way back counts like
//! the way out. A voltage is proven to suffice, or proven not to, only where that holds at both ends.
//!
//! Read in this order: [`range`] (what a resistance may be, and how it follows temperature), `net` (the way a current takes, loops
//! included), [`network`] (voltages for given resistances: the pure function that repairs are weighed by), [`capacity`], [`cost`] (the
//! sheet by limits and by readings), [`sheet`] (the result as plain data), `notes`.

pub mod capacity;
pub mod conditions;
pub mod cost;
mod net;
pub mod network;
mod notes;
pub mod range;
pub mod sheet;

#[cfg(test)]
mod tests;

pub use conditions::Conditions;
pub use cost::{by_limits, by_readings, values};
pub use network::{LoadVoltage, Network, Standing, Value, Wire};
pub use range::Range;
pub use sheet::{DropSheet, Gain, JudgedBy, LoadDrop, Origin, Part, PartSide, UnitRead};
