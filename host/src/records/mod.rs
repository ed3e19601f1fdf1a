//! The record store: append-only, one transaction per sweep.
