//! The daemon, whoever asks it, and whoever answers it at the serial port.

mod by_daemon;
mod hostile_peers;
mod serve;
mod serve_killed;
mod serve_listeners;
mod serve_port;
mod serve_trade;
mod serve_troubles;
