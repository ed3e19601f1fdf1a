//! Copperwalk: finds the dead spot in a board's supply path.
//!
//! Modules stand in the order data flows, and nothing points back up (`tests/tests/module_order.rs` holds them to it):
//! words and files → board, fixture → plan → line, operators, modelled bench → readings → evidence → findings →
//! judgement → the machine that decides what comes next → records, reports → jobs → the command line.

// Words and files.
pub mod plain_file;
pub mod visible;

pub mod hash;

pub mod quantity;

pub mod problem;

pub mod document;

// What there is, what is asked of it, and what the meter can do.
pub mod board;
pub mod fixture;

pub mod limits;

pub mod check;
pub mod meter;

pub mod role;

pub mod raw;

pub mod plan;
pub mod verdict;

// Who measures, and what a sweep brings back.
pub mod measurement;

pub mod link;

pub mod operator;

pub mod virtual_bench;

// What it says.
pub mod measure;

pub mod evidence;

pub mod finding;

// What is made of it.
pub mod sweep;

pub mod fault;

pub mod judge;

pub mod machine;

// Where it goes.
pub mod records;

pub mod rejudge;

pub mod report;

pub mod job;

pub mod cli;
