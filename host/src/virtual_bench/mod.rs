//! The modelled bench: the real controller logic running against models of its chips, relays, pins and unit.
//!
//! Why: a person without hardware can run everything, and every claim about finding faults can be tested against a
//! unit whose faults are known. Nothing sleeps and nothing is left to the platform: the same seed gives the same
//! codes, bit for bit ([`crate::random`]).
//!
//! Read in this order: [`spec`] (what is put under the pins), [`figures`] and [`healthy`] (what parts, benches and
//! units are drawn from); the parts, from the controller outwards:
//! [`chain`], [`relay`], [`adc`] (its digital side) and [`amplifier`] (its analogue one), [`front_end`], [`hum`], [`thermometer`], [`mod@unit`];
//! the physics: [`network`], [`capacitor`], [`junction`], [`transient`], [`circuit`]; [`seat`] (what lies on the pins); and what puts them together: [`models`] (lines, bytes and
//! time), [`adapters`], [`link`], with [`trace`] as witness. [`supply`] stands by itself: a bench supply with a board behind it.

pub mod adapters;
pub mod adc;
pub mod amplifier;
pub mod capacitor;
pub mod chain;
pub mod circuit;
pub mod figures;
pub mod front_end;
pub mod healthy;
pub mod hum;
pub mod junction;
pub mod link;
pub mod models;
pub mod network;
pub mod relay;
pub mod seat;
pub mod spec;
pub mod supply;
pub mod thermometer;
pub mod trace;
pub mod transient;
pub mod unit;

pub use link::{VirtualBench, VirtualOperator};
pub use models::{Line, Models};
pub use spec::{Parts, Spec, SpecError};
pub use supply::{Bystander, SupplySpecError, VirtualSupply};
pub use unit::Truth;
