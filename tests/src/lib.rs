//! Acceptance tests of Copperwalk; see the `tests/` folder beside this crate.
//!
//! What several of them need lives here: [`attack`] is what attacks on records and files share, [`boards`] makes boards for
//! tests, [`campaign`] sweeps units by the thousand, [`cases`] draws test cases, [`crowd`] listens to the daemon many times
//! over, [`daemon`] runs the daemon and asks it, [`database`] alters and locks record stores behind the program's back,
//! [`emulator`] runs the controller's real firmware, [`frames`] makes and spoils frames, [`instrument`] answers at a device
//! file, [`peer`] is a controller that misbehaves as a script says, [`photo`] is a photo of a unit, [`program`] runs the
//! program as a process, [`share`] counts what share of cases, [`sheets`] draws copper, [`terminal`] is the serial device a
//! controller hangs on.

pub mod attack;
pub mod boards;
pub mod campaign;
pub mod cases;
pub mod crowd;
pub mod daemon;
pub mod database;
pub mod emulator;
pub mod frames;
pub mod instrument;
pub mod peer;
pub mod photo;
pub mod program;
pub mod share;
pub mod sheets;
pub mod terminal;
