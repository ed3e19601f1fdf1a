//! More than one fault: the repairs that together bring the whole path inside its budget, with the least effort.
//!
//! One proposal is taken for each fault, or for each group of places of which one is at fault. Combinations are looked at in the
//! order of their effort, so the first one that suffices is the cheapest.

use std::cmp::Ordering;
use std::collections::{BTreeSet, BinaryHeap};

use serde::Serialize;

use super::list::Case;
use super::proposal::Proposal;
use crate::quantity::Volts;
use crate::verdict::{Verdict, worst};
use crate::voltage_drop::{Conditions, LoadVoltage, Network, Range, Standing, Value, Wire, values};

/// So many combinations are looked at; beyond, the cheapest of each is said without a claim.
const MOST: usize = 500;

/// Repairs that belong together.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Together {
    /// The numbers of the proposals, in the order of the list.
    pub numbers: Vec<usize>,
    /// How long they take, one sweep after them included, minutes.
    pub minutes: f64,
    /// The chance that all of them work.
    pub chance: f64,
    /// The verdict on the drop, if they do.
    pub verdict: Verdict,
    /// The loads after it.
    pub loads: Vec<LoadAfter>,
    /// Was a combination found that is proven to suffice?
    pub suffices: bool,
}

/// A load after the repairs.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct LoadAfter {
    /// The load.
    pub load: String,
    /// The state.
    pub state: String,
    /// The lowest voltage there: lowest supply, full load, most resistance.
    #[serde(rename = "lowest_volts")]
    pub lowest: Volts,
    /// What it has to spare.
    #[serde(rename = "margin_volts")]
    pub margin: Volts,
    /// The verdict.
    pub verdict: Verdict,
}

/// The cheapest sufficient combination; `None` where nothing is proposed.
pub fn together(case: &Case<'_>, proposals: &[Proposal]) -> Option<Together> {
    let groups = groups(case, proposals);
    if groups.is_empty() {
        return None;
    }
    let effort = |choice: &[usize]| -> f64 {
        choice
            .iter()
            .zip(&groups)
            .filter_map(|(at, group)| group.get(*at))
            .map(|proposal| proposal.minutes_per_cure)
            .sum()
    };
    let first = vec![0; groups.len()];
    let mut queue = BinaryHeap::from([Choice { effort: effort(&first), places: first.clone() }]);
    let mut seen = BTreeSet::from([first.clone()]);
    let mut cheapest = None;
    while let Some(Choice { places, .. }) = queue.pop() {
        let chosen: Vec<&Proposal> =
            places.iter().zip(&groups).filter_map(|(at, group)| group.get(*at).copied()).collect();
        let found = result(case, &chosen);
        if found.suffices {
            return Some(found);
        }
        cheapest.get_or_insert(found);
        if seen.len() >= MOST {
            break;
        }
        for group in 0..groups.len() {
            let mut next = places.clone();
            if let Some(at) = next.get_mut(group) {
                *at += 1;
            }
            let is_one = next.iter().zip(&groups).all(|(at, group)| *at < group.len());
            if is_one && seen.insert(next.clone()) {
                queue.push(Choice { effort: effort(&next), places: next });
            }
        }
    }
    cheapest
}

/// One proposal of each group, by its place in it.
#[derive(PartialEq)]
struct Choice {
    effort: f64,
    places: Vec<usize>,
}

impl Eq for Choice {}

impl Ord for Choice {
    /// The least effort comes first out of a heap.
    fn cmp(&self, other: &Self) -> Ordering {
        other.effort.total_cmp(&self.effort).then_with(|| other.places.cmp(&self.places))
    }
}

impl PartialOrd for Choice {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

/// Proposals by what they are for: one fault, or places of which one is at fault. Each in the order of the list.
fn groups<'p>(case: &Case<'_>, proposals: &'p [Proposal]) -> Vec<Vec<&'p Proposal>> {
    let mut keys: Vec<(Option<u8>, &str)> = Vec::new();
    for fault in case.faults() {
        let key = (fault.alternative, if fault.alternative.is_some() { "" } else { fault.place.as_str() });
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    let of = |(alternative, place): &(Option<u8>, &str)| {
        let mut places = case.faults().filter(|fault| match alternative {
            Some(_) => fault.alternative == *alternative,
            None => fault.place == *place,
        });
        // Of alternatives the most probable place is mended first.
        let first = places.next()?;
        let group: Vec<&Proposal> =
            proposals.iter().filter(|proposal| proposal.place == first.place).collect();
        (!group.is_empty()).then_some(group)
    };
    keys.iter().filter_map(of).collect()
}

fn result(case: &Case<'_>, chosen: &[&Proposal]) -> Together {
    let loads = loads(case, chosen);
    let rows =
        chosen.iter().filter_map(|proposal| proposal.predicted.as_ref()).map(|prediction| prediction.verdict);
    let verdict = worst(rows.chain(loads.iter().map(|load| load.verdict)));
    let mut numbers: Vec<usize> = chosen.iter().map(|proposal| proposal.number).collect();
    numbers.sort_unstable();
    numbers.dedup();
    let board = case.board;
    Together {
        numbers,
        minutes: chosen.iter().map(|proposal| proposal.expected_minutes).sum::<f64>()
            + super::proposal::SWEEP_MINUTES,
        chance: chosen.iter().map(|proposal| proposal.chance).product(),
        verdict,
        suffices: verdict == Verdict::Pass,
        loads: loads
            .into_iter()
            .map(|load| LoadAfter {
                load: board.point(load.load).name.clone(),
                state: board.state(load.state).name.clone(),
                lowest: load.lowest,
                margin: load.margin,
                verdict: load.verdict,
            })
            .collect(),
    }
}

/// The voltage at each load once these repairs have worked.
fn loads(case: &Case<'_>, chosen: &[&Proposal]) -> Vec<LoadVoltage> {
    let board = case.board;
    let network = Network { board, conditions: Conditions::default() };
    let mut found: Vec<LoadVoltage> = Vec::new();
    for state in board.state_ids() {
        let mut known = values(board, case.limits, &case.judgement.segments, state);
        // What could not be read behind a break is taken to keep its limits: the next sweep will tell.
        for value in known.iter_mut().filter(|value| value.standing == Standing::NotRead) {
            value.standing = Standing::Known;
        }
        let mut wires = Vec::new();
        for proposal in chosen {
            let Some(predicted) = proposal.predicted.as_ref().map(|prediction| &prediction.read) else {
                continue;
            };
            let [low, high] = predicted.interval;
            let range = Range::between(low, high);
            match (&proposal.wire, board.segment_named(&predicted.row)) {
                (Some(wiring), _) => {
                    let ends = [&wiring.wire.from, &wiring.wire.to].map(|name| board.point_named(name));
                    let [Some(from), Some(to)] = ends else { continue };
                    wires.push(Wire { from, to, range });
                    // What it lies across is in the prediction, and so out of the circuit.
                    for id in wiring.bypasses.iter().filter_map(|name| board.segment_named(name)) {
                        if let Some(value) = known.get_mut(id.index()) {
                            value.standing = Standing::Open;
                        }
                    }
                }
                (None, Some(id)) => {
                    if let Some(value) = known.get_mut(id.index()) {
                        *value = Value { range, standing: Standing::Known };
                    }
                }
                (None, None) => {}
            }
        }
        found.extend(network.loads_in(state, &known, &wires));
    }
    found
}
