//! What a bed says to people and programs: plain data, put together once for the terminal and for JSON.

use serde::Serialize;

use crate::bed::{Bed, Line};
use crate::board::Board;

/// A bed of pins. Its JSON has these keys.
#[derive(Serialize)]
pub struct BedSheet {
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// Fixture name.
    pub fixture: String,
    /// Every pin.
    pub pins: Vec<PinLine>,
    /// How many pins there are on each face of the board that is touched.
    pub faces: Vec<FaceLine>,
    /// What the force pins uncover; `null` where that was not worked out.
    pub after_a_break: Option<AfterABreak>,
    /// What somebody should know who builds it.
    pub notes: Vec<String>,
}

/// One pin.
#[derive(Serialize)]
pub struct PinLine {
    /// Name: `S12` stands on sense channel 12.
    pub pin: String,
    /// Point.
    pub point: String,
    /// `front` or `back`.
    pub side: &'static str,
    /// Where, seen from the front.
    pub x_mm: f64,
    /// The same.
    pub y_mm: f64,
    /// Family of pins.
    pub family: String,
    /// Force channel of a force pin.
    pub force: Option<u16>,
    /// Sense channel of a sense pin.
    pub sense: Option<u16>,
    /// Did the fixture have it already?
    pub kept: bool,
    /// What it is there for.
    pub why: String,
}

/// Pins on one face.
#[derive(Serialize)]
pub struct FaceLine {
    /// `front` or `back`.
    pub side: &'static str,
    /// Pins.
    pub pins: usize,
    /// Force of their springs.
    pub newton: f64,
}

/// Expected number of segments read after one break somewhere, breaks being as likely as their kinds make them.
#[derive(Serialize)]
pub struct AfterABreak {
    /// With the pins that are needed or were there.
    pub before: f64,
    /// With all proposed force pins.
    pub after: f64,
    /// No choice of as many force pins reads more.
    pub bound: f64,
    /// If nothing were hidden.
    pub all: f64,
    /// Is the choice proven to be the best?
    pub optimal: bool,
    /// Force pins that were added for it.
    pub added: usize,
}

/// Puts it together.
pub fn bed_sheet(bed: &Bed, board: &Board) -> BedSheet {
    let family = |at: usize| bed.families.list().get(at);
    let line = |pin: &crate::bed::Pin| PinLine {
        pin: pin.label(),
        point: board.point(pin.point).name.clone(),
        side: pin.face.word(),
        x_mm: (pin.at[0] * 1e3).round() / 1e3,
        y_mm: (pin.at[1] * 1e3).round() / 1e3,
        family: family(pin.family).map(|family| family.name.clone()).unwrap_or_default(),
        force: (pin.line == Line::Force).then_some(pin.channel),
        sense: (pin.line == Line::Sense).then_some(pin.channel),
        kept: pin.kept,
        why: pin.why.clone(),
    };
    let mut faces: Vec<FaceLine> = Vec::new();
    for pin in &bed.pins {
        let newton = family(pin.family).map_or(0.0, |family| family.force_newton);
        match faces.iter_mut().find(|face| face.side == pin.face.word()) {
            Some(face) => {
                face.pins += 1;
                face.newton += newton;
            }
            None => faces.push(FaceLine { side: pin.face.word(), pins: 1, newton }),
        }
    }
    BedSheet {
        board: board.name.clone(),
        revision: board.revision.clone(),
        fixture: bed.start.name.clone(),
        pins: bed.pins.iter().map(line).collect(),
        faces,
        after_a_break: bed.choice.as_ref().map(|choice| AfterABreak {
            before: choice.before,
            after: choice.after,
            bound: choice.bound,
            all: choice.all,
            optimal: choice.optimal,
            added: choice.chosen.len(),
        }),
        notes: bed.notes.clone(),
    }
}
