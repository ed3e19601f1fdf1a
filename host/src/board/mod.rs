//! Board files: read, validated as a whole, and turned into a [`Board`] that later modules may trust.

mod model;

pub use model::*;
