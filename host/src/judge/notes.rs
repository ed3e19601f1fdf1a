//! What the operator should know that stands in no row of its own.

use super::reason;
use crate::{
    board::Board,
    evidence::Evidence,
    finding::{
        closure,
        isolation::{self, Doubt},
        mesh, segment,
        warmth::{self, Silent},
    },
    fixture::Fixture,
    quantity::{Seconds, engineering},
    verdict::Class,
};

/// What to do when something moved and nothing was caught.
const UNSTEADY: &str = "something moved while the path was read, but no single segment was caught moving: flex the \
                        board gently and sweep again";

/// All notes.
pub fn notes(
    fixture: &Fixture,
    evidence: &Evidence,
    segments: &[segment::Finding],
    meshes: &[mesh::Finding],
    isolations: &[isolation::Finding],
    closures: &[closure::Finding],
    unsteady: bool,
) -> Vec<String> {
    let board = &fixture.board;
    let mut notes: Vec<String> = Vec::from_iter(unsteady.then(|| UNSTEADY.into()));
    notes.extend(warm_from_repair(evidence));
    notes.extend(silent_thermometers(fixture, evidence));
    notes.extend(silent_pins(board, segments));
    notes.extend(segments.iter().filter_map(|finding| first_power_up(board, finding)));
    notes.extend(meshes.iter().filter_map(|found| mesh_note(board, found)));
    notes.extend(closures.iter().filter(|found| !found.agrees).map(|found| closure_note(board, found)));
    notes.extend(isolations.iter().filter_map(|finding| isolation_note(board, finding)));
    notes
}

/// What a sweep soon after a repair is worth less by.
fn warm_from_repair(evidence: &Evidence) -> Option<String> {
    let rested = evidence.rested()?;
    let kelvin = warmth::left_by_repair(Some(rested))?;
    let minutes = (rested / Seconds(60.0)).floor();
    let ago = if minutes < 1.0 { "less than a minute".into() } else { format!("{minutes:.0} min") };
    Some(format!(
        "swept {ago} after a repair was noted: the unit may be up to {:.0} K warmer than the bed, and its values at 20 °C are less \
         certain by that; let it rest until it has the bed's temperature, and sweep again where something is not proven",
        kelvin.ceil()
    ))
}

/// Thermometers that say nothing. The meter's sensor stands in for them, so this changes no verdict that it does not widen.
fn silent_thermometers(fixture: &Fixture, evidence: &Evidence) -> Vec<String> {
    let words = |read: warmth::Read| {
        let silent = read.said.err()?;
        let what = match silent {
            Silent::Contact => "a sense contact does not answer".to_owned(),
            Silent::Open => "no current flows through it".to_owned(),
            Silent::NoTemperature(resistance) => {
                format!("{} are no temperature of a bed", engineering(resistance))
            }
        };
        let name = &fixture.thermometers.get(read.index)?.name;
        Some(format!("thermometer {name} is not counted: {what}; check its wiring, channels and relays"))
    };
    warmth::thermometers(fixture, evidence).into_iter().filter_map(words).collect()
}

/// Where two neighbouring segments are suspected because the pin between them does not answer.
fn silent_pins(board: &Board, segments: &[segment::Finding]) -> Vec<String> {
    let mut pins: Vec<_> = segments.iter().filter_map(|finding| finding.located?.beside).collect();
    pins.dedup();
    let words = |pin| {
        let at = &board.point(pin).name;
        format!(
            "pin {at} does not answer: either of the two segments at {at} is open and the pin is dirty, or both are open; \
             clean the pin and sweep again to tell"
        )
    };
    pins.into_iter().map(words).collect()
}

/// What has to be looked at when power is first applied.
fn first_power_up(board: &Board, finding: &segment::Finding) -> Option<String> {
    let segment = board.segment(finding.segment);
    let [from, to] = [segment.from, segment.to].map(|point| &board.point(point).name);
    (finding.class == Class::NotJudgedUnpowered).then_some(())?;
    let what = reason::unpowered(board, finding)?;
    Some(format!("{}: {what}; at the first power-up measure the voltage from {from} to {to}", segment.name))
}

fn closure_note(board: &Board, found: &closure::Finding) -> String {
    let [from, to] = found.between.map(|point| &board.point(point).name);
    format!(
        "{from} to {to} reads {} end to end, its segments add up to {}: something changed during the sweep",
        engineering(found.end_to_end),
        engineering(found.sum)
    )
}

fn mesh_note(board: &Board, found: &mesh::Finding) -> Option<String> {
    let [a, b] = found.unaccounted?.map(|point| &board.point(point).name);
    let names: Vec<&str> = found.mesh.segments.iter().map(|&id| board.segment(id).name.as_str()).collect();
    Some(format!(
        "the currents in the loop of {} do not add up (Kirchhoff's law), as if something joined {a} and {b}: look for solder or another \
         path there that the board file does not have; the loop is not judged",
        names.join(", ")
    ))
}

fn isolation_note(board: &Board, finding: &isolation::Finding) -> Option<String> {
    let name = finding.barrier.name(board);
    match finding.doubt? {
        Doubt::Charging => Some(format!(
            "{name}: a capacitor was still charging when the time was up, so no value is stated; \
             state its size as `bulk` in the board file"
        )),
        Doubt::MaskedBy(leak) => Some(format!(
            "{name} was read past the leak at {}, round by way of the bulk capacitor, and is not judged",
            leak.name(board)
        )),
        Doubt::NotReached | Doubt::Straddles | Doubt::Junction => None,
    }
}
