//! Units on the modelled bench: sweeps, hunts, proofs and repairs, against what is known of each unit.

mod bench_proof;
mod example_boards;
mod fault_pairs;
mod fitted_wires;
mod hostile_bench;
mod hunting;
mod junctions;
mod loops;
mod main_job;
mod position;
mod remedies;
mod settled;
mod thermometer;
mod virtual_bench;
mod watch;
mod wrong_results;
