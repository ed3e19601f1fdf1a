//! A plan: the ordered shots compiled from board and fixture.

mod role;

pub use role::Role;
