//! Each method in a sentence, for the place it is used at. Common practice of board repair, in our own words.

use super::wiring::Wiring;
use crate::board::{Board, Face, Segment, SegmentKind};
use crate::fault::method::Method;
use crate::quantity::engineering;
use crate::verdict::Class;

/// How a method is carried out on a segment.
pub fn on_segment(
    board: &Board,
    segment: &Segment,
    class: Class,
    method: Method,
    strand: Option<u32>,
) -> String {
    let [from, to] = [segment.from, segment.to].map(|point| &board.point(point).name);
    match method {
        Method::Clean => match segment.kind {
            SegmentKind::Switch => "work contact cleaner in, move it twenty times, let it dry".into(),
            SegmentKind::Connector => {
                "clean both halves with contact cleaner, tighten slack contacts, seat it again".into()
            }
            _ => "wash it with isopropyl alcohol and a brush, dry it warm".into(),
        },
        Method::Reflow => match (&segment.kind, class) {
            (_, Class::Low | Class::Shorted | Class::Leaky) => {
                format!("look for solder between {from} and {to}, flux it and take it away with wick")
            }
            (SegmentKind::Trace { .. } | SegmentKind::Pour { .. }, _) => format!(
                "find the break between {from} and {to} under magnification, scrape the mask off on both sides, tin, and bridge it with solder over a strand"
            ),
            _ => format!("flux the joints at {from} and {to} and reflow them with a little fresh solder"),
        },
        Method::Replace => match segment.kind {
            SegmentKind::Fuse { .. } => {
                format!("look for a short behind {to} first; then fit the same rating and speed")
            }
            _ => format!("take it off at {from} and {to}, clean the pads, fit the same part"),
        },
        Method::RebuildVia => match strand {
            Some(awg) => format!(
                "clear the holes at {from} and {to}, pass a strand of bare wire (AWG {awg}) through each, bend and solder it on both sides"
            ),
            None => {
                format!("clear the holes at {from} and {to}, and solder a strand through each, on both sides")
            }
        },
        Method::Leave => match class {
            Class::RedundancyLost => {
                "leave it: the other holes still carry the load; the next crack ends it".into()
            }
            _ => "let it rest for a night and sweep it again".into(),
        },
        Method::WireAround | Method::ParallelWire => String::new(),
    }
}

/// How a short or a leak between two points is dealt with.
pub fn on_gap(place: &str, method: Method) -> String {
    match method {
        Method::Clean => format!("wash between {place} with isopropyl alcohol and a brush, dry it warm"),
        Method::Reflow => {
            format!("look for a bridge of solder between {place}, flux it and take it away with wick")
        }
        _ => format!(
            "lift the capacitors between {place} one by one, sweeping after each; replace the one that was it"
        ),
    }
}

/// How a fitted wire is put right.
pub fn on_wire(from: &str, to: &str, method: Method) -> String {
    match method {
        Method::Replace => {
            format!("take the wire off and solder a new one from {from} to {to} along the same way")
        }
        _ => format!("pull gently at both ends; clean, flux and reflow its joints at {from} and {to}"),
    }
}

/// How a wire is laid.
pub fn with_wire(wiring: &Wiring, method: Method) -> String {
    let Wiring { wire, stock, route, through, .. } = wiring;
    let side = match route.legs.first().map(|leg| leg.face) {
        Some(Face::Front) => "on the front",
        _ => "on the back",
    };
    let side = match through.as_slice() {
        [] => side.to_owned(),
        holes => format!("{side}, through {}", holes.join(" and ")),
    };
    let verb = match method {
        Method::ParallelWire => "lay a wire beside it",
        _ => "lead a wire round it",
    };
    format!(
        "{verb}: AWG {} {}, {} mm, from {} to {} {side}; its own limit is {}",
        wire.awg,
        stock.covering.words(),
        wire.length_mm,
        wire.from,
        wire.to,
        engineering(wire.max),
    )
}
