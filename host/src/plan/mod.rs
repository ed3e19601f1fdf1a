//! A plan: the ordered shots compiled from board and fixture.
//!
//! Read in this order: [`forest`] (what conducts in a state), [`stretch`] (where the force current runs), [`mesh`] (which currents tell
//! segments on loops), [`aim`] (excitation, range and stop rule of one shot), [`builder`] (shots that move few relays), [`compile`] (the
//! whole plan), [`figures`] and [`hidden`] (what `copperwalk plan` says about it).

pub mod aim;
pub mod builder;
mod compile;
mod figures;
pub mod forest;
mod hidden;
pub mod mesh;
pub mod stretch;

use copperwalk_wire::Shot;

pub use crate::role::Role;
pub use aim::Sampling;
pub use compile::{PlanError, bulk_behind, compile, expected_resistance, gate_resistance};
pub use figures::{Figures, WalkFigures, closures, figures};
pub use hidden::{Hidden, hidden};
pub use stretch::Stretch;

use crate::{board::StateId, limits::LimitSet};

/// A compiled plan.
#[derive(Clone, PartialEq, Debug)]
pub struct Plan {
    /// What it settles every segment against.
    pub limits: LimitSet,
    /// How long to look.
    pub sampling: Sampling,
    /// One stage per state, in the board's order.
    pub stages: Vec<Stage>,
    /// SHA-256 over every shot, lower-case hex.
    pub hash: String,
}

/// What is done in one state.
#[derive(Clone, PartialEq, Debug)]
pub struct Stage {
    /// The state.
    pub state: StateId,
    /// Legs in order. The first is always the residual check.
    pub legs: Vec<Leg>,
}

/// Shots that belong together. Where a leg ends early at a gate, the legs after it are run afterwards.
#[derive(Clone, PartialEq, Debug)]
pub struct Leg {
    /// What it is.
    pub kind: LegKind,
    /// Its shots.
    pub shots: Vec<PlannedShot>,
}

/// Kinds of legs.
#[derive(Clone, PartialEq, Debug)]
pub enum LegKind {
    /// Residual check, temperature.
    Check,
    /// What the bed has built in: thermometers and check standards.
    Standards,
    /// A stretch from guard to guard.
    Walk(Stretch),
    /// A current through a mesh, with which all its segments are read.
    Mesh(mesh::Current),
    /// Diodes and unpowered transistors.
    OneWay,
    /// Open switches and isolation.
    Isolation,
}

/// A shot and what it is for.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct PlannedShot {
    /// What for.
    pub role: Role,
    /// The shot.
    pub shot: Shot,
}
