//! What checks of the hardware share: its files, pages that are written from it, circuits run through ngspice.

pub mod bench;
pub mod pages;
pub mod spice;
