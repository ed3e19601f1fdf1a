//! The controller's real firmware in an emulator.

mod faults;
mod frames;
mod fuzz_frames;
mod image;
mod line;
mod port;
mod run;
