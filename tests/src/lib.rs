//! Acceptance tests of Copperwalk; see the `tests/` folder beside this crate.
//!
//! What several of them need lives here: [`boards`] makes boards for tests, [`emulator`] runs the controller's real
//! firmware.

pub mod boards;
pub mod emulator;
