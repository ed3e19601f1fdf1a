//! A plan: the ordered shots compiled from board and fixture.
