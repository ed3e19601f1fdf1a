//! The daemon as other programs and people see it: an HTTP API, news as server-sent events, and pages made from the same.
//!
//! Read in this order: [`app`] (what every request may use), [`guard`] (who may ask: host, origin, token), [`problem`] (errors
//! as RFC 9457 has them), `dealing`, `entry` and `upload` (what people write down and send), `selection` and `gather` (which units a list
//! shows, figures over many sweeps), [`api`] (the resources under `/api/v1`), [`events`] (news), [`page`] (what people see),
//! `lines` (how many may ask at once), [`serve`] (all of it, and its end).

pub mod api;
pub mod app;
mod dealing;
mod entry;
pub mod events;
pub mod extract;
mod gather;
pub mod guard;
mod lines;
pub mod page;
pub mod problem;
mod selection;
mod serve;
#[cfg(test)]
mod tests;
pub mod token;
mod trade;
mod upload;

pub use app::App;
pub use guard::Guard;
pub use serve::{router, serve};
