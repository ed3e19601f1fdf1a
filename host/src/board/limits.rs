//! Limits that the file does not state: each segment's share of the supply's drop budget.
//!
//! The budget in ohms is `max_drop / load`. On the way from the supply to a load, and back along the costliest
//! return, the stated limits are taken off first; what is left is shared among the other segments in proportion to
//! the highest resistance a healthy one has. A segment on several ways gets its smallest share. Nobody gets more than
//! [`MOST_OF_HIGH`] times that resistance: a generous budget must not hide a segment that is plainly ill.

use super::network::Network;
use super::{PointId, SegmentId, Supply};
use crate::quantity::engineering;

/// No derived limit is above this multiple of the highest healthy resistance.
pub const MOST_OF_HIGH: f64 = 3.0;

/// What is known of a segment before its limit is.
#[derive(Clone, Copy, Debug)]
pub struct Claim {
    /// Highest resistance of a healthy one, ohm.
    pub high_ohms: f64,
    /// Upper limit in the file, ohm.
    pub stated_ohms: Option<f64>,
}

/// The budget cannot be kept on the way to a load.
#[derive(Clone, PartialEq, Debug)]
pub struct Overdrawn {
    /// The load.
    pub load: PointId,
    /// What is wrong, with its figures.
    pub message: String,
}

/// The upper limit of every segment, ohm, in file order.
///
/// # Errors
/// Each load whose way there and back takes more than the budget even if every segment is healthy.
pub fn derive(claims: &[Claim], network: &Network, supply: &Supply) -> Result<Vec<f64>, Vec<Overdrawn>> {
    let budget = supply.max_drop_volts / supply.load_amps;
    let back = costliest_return(claims, network, supply.ret);
    let out = network.reach(supply.from, None);
    let mut factors = vec![MOST_OF_HIGH; claims.len()];
    let mut overdrawn = Vec::new();
    for &load in &supply.to {
        let way: Vec<_> =
            out.path(load).unwrap_or_default().into_iter().chain(back.iter().copied()).collect();
        let stated: f64 = way.iter().filter_map(|id| claims[id.0].stated_ohms).sum();
        let open: Vec<_> = way.iter().filter(|id| claims[id.0].stated_ohms.is_none()).collect();
        let healthy: f64 = open.iter().map(|id| claims[id.0].high_ohms).sum();
        let rest = budget - stated;
        if rest < healthy {
            let message = format!(
                "the budget of {} cannot be kept: stated limits take {}, the other segments {} while healthy",
                engineering(budget),
                engineering(stated),
                engineering(healthy),
            );
            overdrawn.push(Overdrawn { load, message });
            continue;
        }
        for id in open {
            factors[id.0] = factors[id.0].min(rest / healthy);
        }
    }
    if !overdrawn.is_empty() {
        return Err(overdrawn);
    }
    let limit = |(claim, factor): (&Claim, f64)| claim.stated_ohms.unwrap_or(claim.high_ohms * factor);
    Ok(claims.iter().zip(factors).map(limit).collect())
}

/// The way back to the supply that costs most: every load's current may take it.
fn costliest_return(claims: &[Claim], network: &Network, ret: PointId) -> Vec<SegmentId> {
    let reach = network.reach(ret, None);
    let cost = |way: &[SegmentId]| -> f64 {
        way.iter().map(|id| claims[id.0].stated_ohms.unwrap_or(claims[id.0].high_ohms)).sum()
    };
    reach
        .points()
        .filter_map(|point| reach.path(point))
        .max_by(|a, b| cost(a).total_cmp(&cost(b)))
        .unwrap_or_default()
}
