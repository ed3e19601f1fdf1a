//! What the contact checks say of segments that no current reaches.
//!
//! Behind an open the series current stops, but a piece of the path still hangs on one forced end, and the contact check sends the
//! burn-out current from every sense pin of it there. Two pins that touch have a way to that end, and where they are checked on one
//! bus, the difference of their lifts is the burn-out current times what lies between them: the protection resistors are the same in
//! both. It is continuity with a number, two-wire: it passes no milliohm limit.

use std::collections::BTreeMap;

use copperwalk_wire::{Rate, codes::CHECK_GAIN, hardware::BURNOUT_AMPS};

use super::open::Open;
use crate::{
    board::{PointId, SegmentId, StateId},
    evidence::{Observation, RunEvidence, SenseContact},
    fixture::Fixture,
    meter::noise::{MOST_FACTOR, conversion_noise},
    plan::forest::Forest,
    quantity::{Amps, Ohms, Volts},
};

/// The burn-out current is at least this share of its nominal value; no unit. The converter's sheet states a typical one only (ADS1220,
/// from memory); a fifth less is what this program allows it.
const LEAST_CURRENT: f64 = 0.8;
/// Two contacts with their relays differ by at most this; a pin that touches worse is one to be cleaned.
const CONTACTS_DIFFER: Ohms = Ohms(2.0);
/// Noise of the difference of two conversions counts three standard deviations of it.
const SIGMAS: f64 = 3.0 * std::f64::consts::SQRT_2;

/// Sense+ or not, and the force channels of the ends.
type Bus = (bool, [Option<u16>; 2]);

/// Of segments that conduct by the contact checks of a state's runs: at most how much.
pub fn conducts<'r>(
    fixture: &Fixture,
    state: StateId,
    runs: impl Iterator<Item = &'r RunEvidence>,
    opens: &[Open],
) -> BTreeMap<SegmentId, Ohms> {
    if opens.is_empty() {
        return BTreeMap::new();
    }
    let broken: Vec<SegmentId> = opens.iter().map(|open| open.segment).collect();
    let forest = Forest::new(&fixture.board, state, &broken);
    // Lifts of one bus with the same ends forced can be compared.
    let mut lifts: BTreeMap<Bus, BTreeMap<PointId, Volts>> = BTreeMap::new();
    for contact in runs.flat_map(|run| &run.observations).filter_map(touching) {
        let forced = [contact.contacts.force_plus, contact.contacts.force_minus];
        if let Some(point) = fixture.sense_point(contact.channel) {
            lifts.entry((contact.plus, forced)).or_default().insert(point, contact.lift);
        }
    }
    let mut found: BTreeMap<SegmentId, Ohms> = BTreeMap::new();
    for ((_, forced), lifts) in &lifts {
        let ends: Vec<PointId> =
            forced.iter().flatten().filter_map(|&channel| fixture.force_point(channel)).collect();
        for id in fixture.board.segment_ids().filter(|id| !broken.contains(id)) {
            let segment = fixture.board.segment(id);
            if !segment.conducts_in(state) || segment.kind.one_way().is_some() {
                continue;
            }
            let ([Some(near), Some(far)], true) = (
                [segment.from, segment.to].map(|end| lifts.get(&end)),
                hangs_on_one(&forest, &ends, segment.from),
            ) else {
                continue;
            };
            let noise = SIGMAS * MOST_FACTOR * conversion_noise(CHECK_GAIN, Rate::Sps1000);
            let most = ((*near - *far).abs() + noise) / Amps(LEAST_CURRENT * BURNOUT_AMPS) + CONTACTS_DIFFER;
            let known = found.entry(id).or_insert(most);
            *known = known.min(most);
        }
    }
    found
}

/// Does exactly one forced end lie on a point's piece of the path? With two of them the burn-out current would part.
fn hangs_on_one(forest: &Forest, ends: &[PointId], point: PointId) -> bool {
    ends.iter().filter(|&&end| forest.path(end, point).is_some()).count() == 1
}

fn touching(seen: &Observation) -> Option<&SenseContact> {
    match seen {
        Observation::SenseContact(contact) if contact.touches => Some(contact),
        _ => None,
    }
}
