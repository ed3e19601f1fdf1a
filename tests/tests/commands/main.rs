//! The program as people and scripts meet it: commands, files, records and what is printed.

mod attacks;
mod bad_files;
mod bed;
mod bench_health;
mod by_hand;
mod cli;
mod drop_command;
mod each;
mod entries;
mod import_command;
mod judge;
mod learn;
mod outputs;
mod paper;
mod remedy_command;
mod start_command;
mod stores;
mod trade;
mod watch_commands;
