//! From raw codes to ohms with an expanded uncertainty.

pub mod noise;
