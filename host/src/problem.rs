//! Problems in files people write, all of them at once, each with its place and its remedy.
