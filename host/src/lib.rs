//! Copperwalk: finds the dead spot in a board's supply path.
//!
//! Modules stand in the order data flows, and nothing points back up (`tests/tests/project/module_order.rs` holds them to it):
//! words and files → board, fixture → plan → line, operators, modelled bench → readings → evidence → findings →
//! judgement → the machine that decides what comes next → records, reports → jobs → the daemon and whoever asks it → the command line.
//!
//! Modules that handle what others wrote (files, the line, the records) are held to `clippy::indexing_slicing`: nothing in
//! them takes an element by a number that may be out of range.

// Words and files.
#[warn(clippy::indexing_slicing)]
pub mod plain_file;
#[warn(clippy::indexing_slicing)]
pub mod visible;

pub mod hash;

#[warn(clippy::indexing_slicing)]
pub mod parallel;

#[warn(clippy::indexing_slicing)]
pub mod quantity;

pub mod random;

#[warn(clippy::indexing_slicing)]
pub mod statistics;

pub mod problem;

#[warn(clippy::indexing_slicing)]
pub mod document;

#[warn(clippy::indexing_slicing)]
pub mod plane;

pub mod copper;

#[warn(clippy::indexing_slicing)]
pub mod photograph;

// What there is, what is asked of it, and what the meter can do.
pub mod board;

pub mod mesh;

pub mod limits;

pub mod route;

// What a single unit has besides what its type has.
pub mod fitted;

pub mod fixture;

pub mod check;

// Layouts that others wrote.
#[warn(clippy::indexing_slicing)]
pub mod import;

#[warn(clippy::indexing_slicing)]
pub mod draft;

pub mod meter;

pub mod role;

#[warn(clippy::indexing_slicing)]
pub mod raw;

pub mod plan;
pub mod verdict;

pub mod hypothesis;

pub mod bed;

// Who measures, and what a sweep brings back.
pub mod proof;

pub mod measurement;

#[warn(clippy::indexing_slicing)]
pub mod link;

#[warn(clippy::indexing_slicing)]
pub mod instrument;

pub mod operator;

pub mod virtual_bench;

// What it says.
pub mod measure;

pub mod hand_meter;

#[warn(clippy::indexing_slicing)]
pub mod supply;

pub mod position;

pub mod evidence;

pub mod finding;

#[warn(clippy::indexing_slicing)]
pub mod disturbance;

// What is made of it.
pub mod sweep;

pub mod fault;

pub mod judge;

#[warn(clippy::indexing_slicing)]
pub mod voltage_drop;

// What it is worth, and what to do about it.
#[warn(clippy::indexing_slicing)]
pub mod trade;

pub mod remedy;

pub mod by_hand;

pub mod machine;

// Where it goes.
#[warn(clippy::indexing_slicing)]
pub mod records;

pub mod proposed;

pub mod rejudge;

pub mod learn;

pub mod report;

pub mod job;

pub mod prove;

pub mod watch;

#[warn(clippy::indexing_slicing)]
pub mod start;

pub mod daemon;

pub mod web;

#[warn(clippy::indexing_slicing)]
pub mod client;

pub mod cli;
