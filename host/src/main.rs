//! Copperwalk.
fn main() {}
