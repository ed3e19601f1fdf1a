//! Quantities as people write them: a number with its unit.
