//! The record store: append-only, one transaction per sweep. [`summary`] holds what it answers.

pub mod summary;
