//! The wiring list: every channel with what it leads to, in the order of the matrix.
//!
//! Colours only help to follow a wire: neighbours differ, and nothing is meant by any of them.

use super::{Bed, Line};
use crate::board::{Board, Face};

/// One wire.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Wire {
    /// Force or sense.
    pub line: Line,
    /// Channel.
    pub channel: u16,
    /// The hole it goes to, as on drawings; empty for what is built in.
    pub pin: String,
    /// Point, standard or thermometer.
    pub leads_to: String,
    /// The face of the board its pin touches, if it has one.
    pub face: Option<Face>,
    /// Colour, by its code in IEC 60757.
    pub colour: &'static str,
}

/// Ten colours in the order of the alphabet of their codes (IEC 60757; green-and-yellow is left out, since that one does mean something).
const COLOURS: [&str; 10] = ["BK", "BN", "BU", "GN", "GY", "OG", "PK", "RD", "VT", "WH"];

/// All wires: force channels, then sense channels, ascending.
pub fn wires(bed: &Bed, board: &Board) -> Vec<Wire> {
    let mut wires: Vec<Wire> = bed
        .pins
        .iter()
        .map(|pin| Wire {
            line: pin.line,
            channel: pin.channel,
            pin: pin.label(),
            leads_to: board.point(pin.point).name.clone(),
            face: Some(pin.face),
            colour: "",
        })
        .collect();
    let standards = bed.start.standards.iter().map(|one| ("standard", &one.name, one.force, one.sense));
    let thermometers =
        bed.start.thermometers.iter().map(|one| ("thermometer", &one.name, one.force, one.sense));
    for (what, name, force, sense) in standards.chain(thermometers) {
        for (line, channels) in [(Line::Force, force), (Line::Sense, sense)] {
            for (channel, end) in channels.into_iter().zip(["+", "-"]) {
                let leads_to = format!("{what} {name} {end}");
                wires.push(Wire { line, channel, pin: String::new(), leads_to, face: None, colour: "" });
            }
        }
    }
    wires.sort_by_key(|wire| (wire.line, wire.channel));
    for (at, wire) in wires.iter_mut().enumerate() {
        wire.colour = COLOURS.get(at % COLOURS.len()).copied().unwrap_or_default();
    }
    wires
}

/// The list as rows of text, the head first.
pub fn rows(wires: &[Wire]) -> Vec<Vec<String>> {
    let head = ["line", "channel", "pin", "leads to", "touches", "colour (any will do)"].map(String::from);
    let row = |wire: &Wire| {
        vec![
            wire.line.word().into(),
            wire.channel.to_string(),
            wire.pin.clone(),
            wire.leads_to.clone(),
            wire.face.map_or("", Face::word).into(),
            wire.colour.into(),
        ]
    };
    std::iter::once(head.to_vec()).chain(wires.iter().map(row)).collect()
}
