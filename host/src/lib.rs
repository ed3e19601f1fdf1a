//! Copperwalk: finds the dead spot in a board's supply path.
//!
//! Modules stand in the order data flows:
//! board.toml + fixture.toml → plan → controller → readings → ohms ± u → verdicts → fault → record → report.

pub mod board;
pub mod fixture;
pub mod sweep;
