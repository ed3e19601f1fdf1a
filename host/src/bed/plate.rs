//! A plate with every hole in it, as it lies on the drill table: seen from the side that faces the board.
//!
//! Coordinates of a board are seen from its front. A plate that touches the back is looked at in the same direction, so it is as the board
//! file says; one that touches the front is looked at the other way, so it is mirrored, left for right.

use super::bow::{self, Spring, Support};
use super::family::Family;
use super::locate::{self, Stop};
use super::{Bed, BedError, Trouble};
use crate::board::{Board, Face, outline};
use crate::plane::apart;

/// Holes leave at least so much of the plate between them, mm: less breaks out (common practice).
const WALL_MM: f64 = 0.25;
/// Hole for the screw of an M3 post, mm.
const POST_HOLE_MM: f64 = 3.2;
/// Hole for an M4 pillar at each corner of a plate, mm, and how far it is from the edges.
const PILLAR_MM: f64 = 4.3;
const PILLAR_IN_MM: f64 = 6.0;
/// In the plate that does not carry a tooling pin, its hole is wider by this, mm.
const TOOLING_PLAY_MM: f64 = 0.5;

/// Which of the two plates.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs)]
pub enum Level {
    Bottom,
    Top,
}

impl Level {
    /// The word that files and messages use.
    pub fn word(self) -> &'static str {
        match self {
            Self::Bottom => "bottom",
            Self::Top => "top",
        }
    }
}

/// What a hole is for.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
#[allow(missing_docs)]
pub enum Use {
    Pin,
    Tooling,
    Stop,
    Post,
    Pillar,
}

impl Use {
    /// The word that lists and layers use.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pin => "pin",
            Self::Tooling => "tooling pin",
            Self::Stop => "stop",
            Self::Post => "post",
            Self::Pillar => "pillar",
        }
    }
}

/// One hole.
#[derive(Clone, PartialEq, Debug)]
pub struct Hole {
    /// Its middle from the lower left corner of the plate, mm.
    pub at: [f64; 2],
    /// Its middle on the board, seen from the front, mm.
    pub on_board: [f64; 2],
    /// Diameter, mm.
    pub drill_mm: f64,
    /// What for.
    pub what: Use,
    /// What it is called on drawings and in lists: `S12`, `F3`, `stop 1`.
    pub label: String,
    /// The pin in it, by its place in the bed's list.
    pub pin: Option<usize>,
}

/// One plate.
#[derive(Clone, PartialEq, Debug)]
pub struct Plate {
    /// Which.
    pub level: Level,
    /// The face of the board that it touches.
    pub face: Face,
    /// Width and height, mm.
    pub size_mm: [f64; 2],
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Is it the other way round than the board file?
    pub mirrored: bool,
    /// The board's edge on it, mm.
    pub board_edge: Vec<[f64; 2]>,
    /// Its holes, in a fixed order.
    pub holes: Vec<Hole>,
    /// Posts on it, and what they do.
    pub support: Support,
}

/// The two plates: pins, posts, stops and tooling pins on the lower one, which has more pins; the upper one has the other pins, and posts
/// against those below.
///
/// # Errors
/// Holes that run into each other, tooling holes beside the board.
pub fn plates(bed: &Bed, board: &Board) -> Result<[Plate; 2], BedError> {
    let on = |face: Face| bed.pins.iter().filter(|pin| pin.face == face).count();
    let below = if on(Face::Front) > on(Face::Back) { Face::Front } else { Face::Back };
    let springs: Vec<Spring> = bed
        .pins
        .iter()
        .filter_map(|pin| {
            let family = bed.families.list().get(pin.family)?;
            Some(Spring {
                face: pin.face,
                at: pin.at,
                newton: family.force_newton,
                radius_mm: family.pitch_mm / 2.0,
            })
        })
        .collect();
    let off =
        bed.start.plates.tooling.iter().filter(|tooling| !outline::contains(&board.outline, tooling.at));
    let mut troubles: Vec<Trouble> =
        off.map(|tooling| Trouble::Tooling { x: tooling.at[0], y: tooling.at[1] }).collect();
    let plates = [(Level::Bottom, below), (Level::Top, below.other())].map(|(level, face)| {
        let plate = plate(bed, board, level, face, &springs);
        troubles.extend(run_together(&plate));
        plate
    });
    if troubles.is_empty() { Ok(plates) } else { Err(BedError(troubles)) }
}

fn plate(bed: &Bed, board: &Board, level: Level, face: Face, springs: &[Spring]) -> Plate {
    let margin = bed.start.plates.margin_mm;
    let [low, high] = outline::bounds(&board.outline);
    let size_mm = [high[0] - low[0] + 2.0 * margin, high[1] - low[1] + 2.0 * margin];
    let mirrored = face == Face::Front;
    let placed = |at: [f64; 2]| {
        let x = if mirrored { high[0] - at[0] } else { at[0] - low[0] };
        [x + margin, at[1] - low[1] + margin]
    };
    let mut holes: Vec<Hole> = Vec::new();
    let mut add = |on_board: [f64; 2], drill_mm: f64, what: Use, label: String, pin: Option<usize>| {
        holes.push(Hole { at: placed(on_board), on_board, drill_mm, what, label, pin });
    };
    for (at, pin) in bed.pins.iter().enumerate().filter(|(_, pin)| pin.face == face) {
        let drill = bed.families.list().get(pin.family).map_or(0.0, |family: &Family| family.drill_mm);
        add(pin.at, drill, Use::Pin, pin.label(), Some(at));
    }
    let tooling = &bed.start.plates.tooling;
    for (number, hole) in (1..).zip(tooling) {
        let play = if level == Level::Bottom { 0.0 } else { TOOLING_PLAY_MM };
        add(hole.at, hole.pin_mm + play, Use::Tooling, format!("tooling pin {number}"), None);
    }
    // Two tooling pins locate the board; stops at its edges would only be in their way.
    let stops =
        if level == Level::Bottom && tooling.len() < 2 { locate::stops(&board.outline) } else { Vec::new() };
    for (number, Stop { at, .. }) in (1..).zip(stops) {
        add(at, locate::STOP_MM, Use::Stop, format!("stop {number}"), None);
    }
    let support = bow::support(board, face, springs);
    for (number, &at) in (1..).zip(&support.posts) {
        add(at, POST_HOLE_MM, Use::Post, format!("post {number}"), None);
    }
    let inset = PILLAR_IN_MM - margin;
    let corners = [
        [low[0] + inset, low[1] + inset],
        [high[0] - inset, low[1] + inset],
        [high[0] - inset, high[1] - inset],
        [low[0] + inset, high[1] - inset],
    ];
    for (number, at) in (1..).zip(corners) {
        add(at, PILLAR_MM, Use::Pillar, format!("pillar {number}"), None);
    }
    let board_edge = board.outline.iter().map(|corner| placed(*corner)).collect();
    let thickness_mm = bed.start.plates.thickness_mm;
    Plate { level, face, size_mm, thickness_mm, mirrored, board_edge, holes, support }
}

/// Holes that leave too little between them.
fn run_together(plate: &Plate) -> Vec<Trouble> {
    let mut troubles = Vec::new();
    for (at, a) in plate.holes.iter().enumerate() {
        for b in plate.holes.iter().take(at) {
            let wall_mm = apart(a.at, b.at) - (a.drill_mm + b.drill_mm) / 2.0;
            if wall_mm < WALL_MM - 1e-9 {
                let plate = plate.level.word();
                troubles.push(Trouble::Holes { plate, a: b.label.clone(), b: a.label.clone(), wall_mm });
            }
        }
    }
    troubles
}

impl Plate {
    /// Its drills with the holes of each, the smallest first.
    pub fn by_drill(&self) -> Vec<(f64, Vec<&Hole>)> {
        let mut drills: Vec<(f64, Vec<&Hole>)> = Vec::new();
        for hole in &self.holes {
            match drills.iter_mut().find(|(drill, _)| *drill == hole.drill_mm) {
                Some((_, holes)) => holes.push(hole),
                None => drills.push((hole.drill_mm, vec![hole])),
            }
        }
        drills.sort_by(|a, b| a.0.total_cmp(&b.0));
        drills
    }

    /// How it lies on the drill table, in words.
    pub fn view(&self) -> String {
        let face = self.face.word();
        if self.mirrored {
            format!(
                "seen from the side that faces the board, which touches the {face}; mirrored, left for right, against the board file"
            )
        } else {
            format!(
                "seen from the side that faces the board, which touches the {face}; the same way round as the board file"
            )
        }
    }
}
