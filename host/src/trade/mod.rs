//! Lots as a business: what a lot cost and earned, which unit to repair next, what another such lot is worth, and when to
//! stop.
//!
//! [`book`] is what is known, plain data that the record store fills. [`account`] adds it up exactly. [`odds`] makes
//! chances of it, out of the table of repair methods, how well repairs go on this bench ([`skill`]) and the lot's own
//! record; [`plan`] is the best way with one unit, by exhaustive dynamic programming; [`triage`] puts the units in order; [`worth`] and [`stop`] look ahead, over [`market`]:
//! how units come in and what they sell for. [`assess`] asks all of them.
//!
//! Sums of money are exact decimals. What is expected is no sum: chances and means are `f64`, in the lot's currency, and
//! are rounded where they are shown.

pub mod account;
mod assess;
pub mod book;
pub mod draw;
pub mod market;
pub mod odds;
pub mod plan;
pub mod skill;
pub mod stop;
pub mod triage;
pub mod worth;

#[cfg(test)]
mod tests;

pub use account::Account;
pub use assess::{Assessed, Assessment, Terms, assess};
pub use book::{Book, Dealing};
pub use odds::RepairOption;
