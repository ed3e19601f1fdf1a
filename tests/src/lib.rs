//! Acceptance tests of Copperwalk; see the `tests/` folder beside this crate.

pub mod boards;
