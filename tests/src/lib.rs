//! Acceptance tests of Copperwalk; see the `tests/` folder beside this crate.
//!
//! What several of them need lives here: [`boards`] makes boards for tests, [`campaign`] sweeps units by the thousand,
//! [`emulator`] runs the controller's real firmware, [`program`] runs the program as a process.

pub mod boards;
pub mod campaign;
pub mod emulator;
pub mod program;
