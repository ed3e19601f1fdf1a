//! Wires that were soldered to a unit in the course of a repair, beside the copper its board type has.
//!
//! A wire lies in parallel with a part of the path, so nothing tells it from what it bypasses: both are read together, from one end of
//! the wire to the other, and judged by the limit of the wire. Only copper and soldered joints may be bypassed. Fuses, switches,
//! shunts and whatever else limits, opens or filters the current has to stay in the path.

use serde::{Deserialize, Serialize};
use thiserror::Error;
use utoipa::ToSchema;

use crate::board::graph::Graph;
use crate::board::{Board, SegmentId, SegmentKind};
use crate::quantity::Ohms;

/// A wire between two points of a board.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Wire {
    /// Name of the point at one end.
    pub from: String,
    /// Name of the point at the other.
    pub to: String,
    /// Gauge, AWG (ASTM B258).
    pub awg: u32,
    /// Length of its conductor, mm.
    pub length_mm: f64,
    /// What it and its two joints should read at 20 °C.
    #[serde(rename = "typical_ohms")]
    pub typical: Ohms,
    /// Upper limit of it and what it bypasses, together, at 20 °C.
    #[serde(rename = "max_ohms")]
    pub max: Ohms,
}

impl Wire {
    /// What rows and faults call it.
    pub fn name(&self) -> String {
        name([&self.from, &self.to])
    }

    /// The kind of segment it is.
    pub fn kind(&self) -> SegmentKind {
        SegmentKind::Wire { length_mm: self.length_mm, awg: self.awg }
    }

    /// The segments it lies across.
    ///
    /// # Errors
    /// A board on which it cannot lie.
    pub fn bypasses(&self, board: &Board) -> Result<Vec<SegmentId>, NoBypass> {
        bypassed(board, [&self.from, &self.to])
    }
}

/// The action of a repair that takes a wire off again.
pub const REMOVED: &str = "removed";

/// What rows and faults call a wire between two points.
pub fn name([from, to]: [&str; 2]) -> String {
    format!("wire {from}~{to}")
}

/// The points of a wire by its name, as [`name`] gives it.
pub fn ends(name: &str) -> Option<[&str; 2]> {
    name.strip_prefix("wire ")?.split_once('~').map(|(from, to)| [from, to])
}

/// Why no wire may lie between two points.
#[derive(Clone, PartialEq, Eq, Debug, Error)]
pub enum NoBypass {
    /// The board has no such point.
    #[error("the board has no point `{0}`")]
    Unknown(String),
    /// Nothing of the path lies between the points.
    #[error("no part of the path leads from {from} to {to}: a wire between them would be a short")]
    Apart {
        /// One.
        from: String,
        /// The other.
        to: String,
    },
    /// What lies between them has to stay.
    #[error("the {kind} {name} lies between them, and a {kind} is never bypassed: repair or replace it")]
    Stays {
        /// Name of the segment.
        name: String,
        /// The word for its kind.
        kind: &'static str,
    },
    /// Not all of the current that passes one end passes the other.
    #[error(
        "the path branches at {at} between them, where a wire's own part of the current cannot be told: end the wire there"
    )]
    Branch {
        /// Name of the point.
        at: String,
    },
    /// Two ways lead from one to the other.
    #[error(
        "{name} lies on a loop, where a wire's own part of the current cannot be told: judge such a unit without the wire"
    )]
    Loop {
        /// Name of the segment.
        name: String,
    },
}

/// May a wire lie across a segment of this kind? Only where it does what the segment did.
pub fn may_bypass(kind: &SegmentKind) -> bool {
    kind.is_copper() || *kind == SegmentKind::Joint
}

/// The segments that a wire between two points would lie across, in walking order.
///
/// # Errors
/// See [`NoBypass`].
pub fn bypassed(board: &Board, ends: [&str; 2]) -> Result<Vec<SegmentId>, NoBypass> {
    let point = |name: &str| board.point_named(name).ok_or_else(|| NoBypass::Unknown(name.into()));
    let (from, to) = (point(ends[0])?, point(ends[1])?);
    let graph = Graph::of(board);
    let path = graph.path(from, to).filter(|path| !path.is_empty());
    let path = path.ok_or_else(|| NoBypass::Apart { from: ends[0].into(), to: ends[1].into() })?;
    let looped: Vec<SegmentId> =
        board.state_ids().flat_map(|state| graph.meshes(state, &[])).flat_map(|mesh| mesh.segments).collect();
    for &id in &path {
        let segment = board.segment(id);
        if !may_bypass(&segment.kind) {
            return Err(NoBypass::Stays { name: segment.name.clone(), kind: segment.kind.word() });
        }
        if looped.contains(&id) {
            return Err(NoBypass::Loop { name: segment.name.clone() });
        }
    }
    // The points between: each is an end of one segment and of the next.
    for pair in path.windows(2) {
        let [one, next] = [pair[0], pair[1]].map(|id| board.segment(id));
        let shared = [one.from, one.to].into_iter().find(|point| [next.from, next.to].contains(point));
        let ends_path = |point| {
            point == board.supply.from || point == board.supply.ret || board.supply.to.contains(&point)
        };
        if let Some(at) = shared.filter(|&point| graph.degree(point) != 2 || ends_path(point)) {
            return Err(NoBypass::Branch { at: board.point(at).name.clone() });
        }
    }
    Ok(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn board() -> Board {
        crate::board::parse("board.toml", include_str!("../../fixtures/tide-gauge-head/board.toml")).unwrap()
    }

    /// The ends of a segment.
    fn ends(board: &Board, name: &str) -> [String; 2] {
        let segment = board.segment(board.segment_named(name).unwrap());
        [segment.from, segment.to].map(|point| board.point(point).name.clone())
    }

    #[test]
    fn copper_is_bypassed_and_what_limits_or_opens_the_current_is_not() {
        let board = board();
        let mut kinds = Vec::new();
        for segment in &board.segments {
            let [from, to] = ends(&board, &segment.name);
            let found = bypassed(&board, [&from, &to]);
            match segment.kind.word() {
                "trace" | "via" | "pour" | "joint" | "wire" => {
                    assert_eq!(found, Ok(vec![board.segment_named(&segment.name).unwrap()]));
                }
                kind => {
                    assert_eq!(found, Err(NoBypass::Stays { name: segment.name.clone(), kind }));
                    kinds.push(kind);
                }
            }
        }
        assert!(kinds.contains(&"switch"), "{kinds:?}");
        assert!(kinds.contains(&"fuse"), "{kinds:?}");
    }

    /// Current leaves at the branch, so the two ends of such a wire are never read with one current.
    #[test]
    fn no_wire_crosses_a_branch() {
        let text = include_str!("../../fixtures/greenhouse-valve-driver/board.toml");
        let board = crate::board::parse("board.toml", text).unwrap();
        let found = bypassed(&board, ["g1", "drv.gnd"]);
        assert!(matches!(found, Err(NoBypass::Branch { .. })), "{found:?}");
    }

    #[test]
    fn a_wire_between_two_nets_would_be_a_short() {
        let board = board();
        let supply = board.point(board.supply.from).name.clone();
        let ret = board.point(board.supply.ret).name.clone();
        let found = bypassed(&board, [&supply, &ret]);
        assert_eq!(found, Err(NoBypass::Apart { from: supply.clone(), to: ret }));
        assert_eq!(bypassed(&board, [&supply, "nowhere"]), Err(NoBypass::Unknown("nowhere".into())));
        assert!(matches!(bypassed(&board, [&supply, &supply]), Err(NoBypass::Apart { .. })));
    }
}
