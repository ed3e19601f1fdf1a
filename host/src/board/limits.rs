//! Limits that the file does not state: each segment's share of the supply's drop budget.
//!
//! The budget in ohms is `max_drop / load`. On the way from the supply to a load, and back along the
//! costliest return, the stated limits are taken off first; what is left is shared among the other segments
//! in proportion to the highest resistance a healthy one has. A segment on several ways gets its smallest
//! share. Nobody gets more than [`MOST_OF_HIGH`] times that resistance: a generous budget must not hide a
//! segment that is plainly ill.

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

/// The upper limit of every segment, ohm, in file order. `overdrawn` is told of every load whose way there
/// and back takes more than the budget even if every segment is healthy, with the figures.
///
/// # Errors
/// The last thing `overdrawn` answered.
pub fn derive<E>(
    claims: &[Claim],
    network: &Network,
    supply: &Supply,
    mut overdrawn: impl FnMut(PointId, String) -> E,
) -> Result<Vec<f64>, E> {
    let budget = supply.max_drop_volts / supply.load_amps;
    let back = costliest_return(claims, network, supply.ret);
    let mut factors = vec![MOST_OF_HIGH; claims.len()];
    let mut failed = None;
    for &load in &supply.to {
        let way: Vec<_> = network
            .path(supply.from, load)
            .unwrap_or_default()
            .into_iter()
            .chain(back.iter().copied())
            .collect();
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
            failed = Some(overdrawn(load, message));
            continue;
        }
        for id in open {
            factors[id.0] = factors[id.0].min(rest / healthy);
        }
    }
    let limit = |(claim, factor): (&Claim, f64)| claim.stated_ohms.unwrap_or(claim.high_ohms * factor);
    failed.map_or_else(|| Ok(claims.iter().zip(factors).map(limit).collect()), Err)
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

#[cfg(test)]
mod tests {
    use super::super::network::Edge;
    use super::*;

    /// A trunk (0) from the supply that branches to two loads (1, 2), and a return (3) with a longer branch
    /// (4, 5).
    fn network() -> Network {
        let edges = [(0, 1), (1, 2), (1, 3), (4, 5), (5, 6), (6, 7)];
        let edge = |(i, (a, b))| Edge { segment: SegmentId(i), ends: [PointId(a), PointId(b)], closed: None };
        Network::new(8, 1, edges.into_iter().enumerate().map(edge).collect())
    }

    /// A budget of so many ohms at 1 A.
    fn supply(budget: f64) -> Supply {
        Supply {
            from: PointId(0),
            to: vec![PointId(2), PointId(3)],
            ret: PointId(4),
            voltage: [3.0, 3.0],
            load_amps: 1.0,
            max_drop_volts: budget,
            bulk_farads: 0.0,
        }
    }

    fn claims(stated: [Option<f64>; 6]) -> Vec<Claim> {
        let high = [1.0, 1.0, 2.0, 0.5, 0.25, 0.25];
        high.into_iter()
            .zip(stated)
            .map(|(high_ohms, stated_ohms)| Claim { high_ohms, stated_ohms })
            .collect()
    }

    fn limits(stated: [Option<f64>; 6], budget: f64) -> Vec<f64> {
        derive(&claims(stated), &network(), &supply(budget), |_, why| why).unwrap()
    }

    #[test]
    fn the_rest_is_shared_in_proportion_and_the_smallest_share_counts() {
        // Longest way: 0, 2 and back 3, 4, 5: healthy 1 + 2 + 1 = 4 of a budget of 8, so twice the healthy
        // value. The way over 1 alone would allow 8/3 of it.
        let limits = limits([None; 6], 8.0);
        assert_eq!(limits, [2.0, 8.0 / 3.0, 4.0, 1.0, 0.5, 0.5]);
    }

    #[test]
    fn stated_limits_are_taken_off_first() {
        let stated = [Some(3.0), None, None, None, None, None];
        let limits = limits(stated, 8.0);
        let factor = (8.0 - 3.0) / 3.0;
        assert_eq!(limits, [3.0, 2.5, 2.0 * factor, 0.5 * factor, 0.25 * factor, 0.25 * factor]);
    }

    #[test]
    fn a_generous_budget_hides_nothing() {
        let limits = limits([None; 6], 1000.0);
        assert_eq!(limits, [3.0, 3.0, 6.0, 1.5, 0.75, 0.75]);
    }

    #[test]
    fn every_load_beyond_the_budget_is_named() {
        let lost = |stated| {
            let mut lost = Vec::new();
            let limits =
                derive(&claims(stated), &network(), &supply(3.5), |load, why| lost.push((load, why)));
            assert_eq!(limits, Err(()));
            lost
        };
        let why = "the budget of 3.50 Ω cannot be kept: stated limits take 0 Ω, the other segments 4.00 Ω while healthy";
        assert_eq!(lost([None; 6]), [(PointId(3), why.to_owned())]);
        assert_eq!(lost([Some(9.0); 6]).len(), 2);
    }
}
