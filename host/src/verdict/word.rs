//! The words for verdicts and classes: the same in records, JSON and on every screen.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Verdict, per segment and per unit.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Proven inside the limits.
    Pass,
    /// Proven outside.
    Fail,
    /// The uncertainty straddles the limit, or it could not be reached.
    Unproven,
    /// The bench, not the unit, was at fault.
    Void,
}

/// What a segment or a fault looks like.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Class {
    Ok,
    Open,
    High,
    Low,
    Flaky,
    Shorted,
    Leaky,
    /// Reads high dry and low under load: an insulating film on a contact.
    Film,
    /// One barrel of a parallel group is dead; the rest still carries.
    RedundancyLost,
    NotReached,
    /// Conducts in one direction only, or only above some tenths of a volt: a semiconductor, no leak.
    Junction,
    /// What can be told without power is in order; the rest has to be looked at when power is first applied.
    NotJudgedUnpowered,
    /// A wire fitted to the unit lies across it; the two are judged together.
    Bypassed,
}
