#![no_std]
//! The controller.
