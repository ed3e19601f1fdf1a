//! Copperwalk: finds the dead spot in a board's supply path.
//!
//! Modules stand in the order data flows:
//! board.toml + fixture.toml → plan → controller → readings → ohms ± u → verdicts → fault → record → report.

pub mod plain_file;
pub mod visible;

pub mod document;
pub mod problem;
pub mod quantity;

pub mod board;
pub mod check;
pub mod fixture;
pub mod plan;

pub mod link;
pub mod measurement;
pub mod operator;
pub mod virtual_bench;

pub mod measure;
pub mod verdict;

pub mod evidence;
pub mod fault;
pub mod finding;
pub mod judge;
pub mod sweep;

pub mod records;
pub mod report;

pub mod job;

pub mod cli;
