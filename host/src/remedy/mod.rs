//! What to do about a unit's faults: repairs with what they promise and what they cost.
//!
//! Read in this order: [`taken`] (a proposal that was carried out, as the records keep it),
//! [`mod@healthy`] and [`predict`] (what the next sweep should read), [`wiring`] (the wire and its way), [`proposal`] with `how`, [`mod@list`] (every
//! method that fits, the least effort for a cure first), [`mod@together`] (more than one fault). What came of repairs so far
//! is [`crate::trade::odds`]. `docs/repairs.md` explains it to those who repair.

pub mod healthy;
mod how;
pub mod list;
pub mod predict;
pub mod proposal;
pub mod taken;
pub mod together;
pub mod wiring;

use serde::Serialize;

pub use list::Case;
pub use proposal::{Excluded, Prediction, Proposal, Works};
pub use taken::{Predicted, Taken};
pub use together::{LoadAfter, Together};
pub use wiring::Wiring;

use crate::board::Board;
use crate::limits::{LimitOrigin, LimitSet, Limits};
use crate::quantity::{Amps, Ohms, Volts};
use crate::sweep::Judgement;
use crate::voltage_drop::{Conditions, Network, values};

/// What can be done about a unit.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Remedies {
    /// Proposals, the least effort for a cure first.
    pub proposals: Vec<Proposal>,
    /// Methods that fit and cannot be used here.
    pub excluded: Vec<Excluded>,
    /// What to do together, so that the whole path is inside its budget afterwards; nothing without a fault.
    pub together: Option<Together>,
}

/// The limits that a judgement was made with: its rows keep them.
pub fn limits_of(board: &Board, judgement: &Judgement) -> LimitSet {
    LimitSet::kept(board, &judgement.limits.hash, |segment| {
        let row = judgement.segments.iter().find(|row| row.name == segment.name)?;
        let origin = if row.limit_derived { LimitOrigin::Derived } else { LimitOrigin::Stated };
        Some(Limits { min: row.min, max: row.max, origin })
    })
}

/// Works out what can be done.
pub fn remedies(case: &Case<'_>) -> Remedies {
    let (proposals, excluded) = list::list(case, spare(case.board, case.limits));
    let together = together::together(case, &proposals);
    Remedies { proposals, excluded, together }
}

/// What a board's drop budget has left where every segment is at its limit: a wire may take it.
fn spare(board: &Board, limits: &LimitSet) -> Ohms {
    let network = Network { board, conditions: Conditions::default() };
    let loads =
        board.state_ids().flat_map(|state| network.loads_in(state, &values(board, limits, &[], state), &[]));
    let margin = loads.map(|load| load.margin).fold(None, |least: Option<Volts>, margin| {
        Some(least.map_or(margin, |least| if margin < least { margin } else { least }))
    });
    match margin {
        Some(margin) if margin > Volts::ZERO && board.supply.load > Amps::ZERO => margin / board.supply.load,
        _ => Ohms::ZERO,
    }
}
