//! Which part is at fault, how probably, and what to do about it.
