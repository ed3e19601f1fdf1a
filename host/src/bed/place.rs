//! Where pins stand: on which face, at which place, of which size.
//!
//! A sense pin stands at its point, so that what is read is what the board file says. A force pin at the same point needs a hole of its own and
//! stands beside it, away from the copper on which its current goes on: there the sense pin reads what the current enters. It is for whoever
//! drills to see that the pad reaches so far.

use super::{BedError, Families, Line, Trouble};
use crate::board::{Board, Face, PointId, outline};
use crate::fixture::Pins;
use crate::plane::apart;

/// Between the tip of a pin and the edge of a keep-out, mm (common practice: drill, play and registration together).
const CLEARANCE_MM: f64 = 0.3;
/// From the middle of a pin to the edge of the board, mm: less, and a tip slides off.
const EDGE_MM: f64 = 0.3;
/// A sense pin is moved off its point by at most this, mm: pads are rarely larger.
const MOST_SHIFT_MM: f64 = 1.0;
/// Directions that are tried round a point.
const DIRECTIONS: u32 = 24;
/// Rounding of places, mm: a fixture file says them with three decimals.
const GRID_MM: f64 = 1e-3;

/// A pin that is to stand somewhere.
#[derive(Clone, PartialEq, Debug)]
pub struct Wanted {
    /// Its point.
    pub point: PointId,
    /// What it does.
    pub line: Line,
    /// Where it stands already, if it does.
    pub fixed: Option<[f64; 2]>,
}

/// A pin that stands.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Standing {
    /// Its point.
    pub point: PointId,
    /// What it does.
    pub line: Line,
    /// The face it touches.
    pub face: Face,
    /// Where, seen from the front, mm.
    pub at: [f64; 2],
}

/// Rounded to what a fixture file says.
fn rounded(at: [f64; 2]) -> [f64; 2] {
    at.map(|length| (length / GRID_MM).round() * GRID_MM)
}

/// The face every point is touched on, by point: one face for all where that can be, else the one with more points wherever there is a choice.
///
/// # Errors
/// Points that a keep-out covers on every face they are on.
pub fn faces(board: &Board, pins: &[Pins], touched: &[PointId], tip_mm: f64) -> Result<Vec<Face>, BedError> {
    let free = |point: PointId, face: Face| {
        let own = &board.points[point.index()];
        let at = pins[point.index()].sense_at.unwrap_or(own.at);
        own.side.touches(face)
            && pins[point.index()].side.is_none_or(|side| side == face)
            && !covered(board, face, at, tip_mm)
    };
    let able = |face: Face| touched.iter().filter(|&&point| free(point, face)).count();
    // Where both do as well, the back: then the board lies face up.
    let main = if able(Face::Front) > able(Face::Back) { Face::Front } else { Face::Back };
    let mut troubles = Vec::new();
    let mut faces = vec![main; board.points.len()];
    for &point in touched {
        let choice = [main, main.other()].into_iter().find(|&face| free(point, face));
        match choice {
            Some(face) => faces[point.index()] = face,
            None => {
                let own = &board.points[point.index()];
                let face = if own.side.touches(main) { main } else { main.other() };
                let over = board.keep_outs.iter().find(|keep_out| {
                    keep_out.side == face && keep_out.covers(own.at, tip_mm / 2.0 + CLEARANCE_MM)
                });
                let why = over.map_or(String::new(), |keep_out| keep_out.why.clone());
                troubles.push(Trouble::Covered { point: own.name.clone(), face, why });
            }
        }
    }
    if troubles.is_empty() { Ok(faces) } else { Err(BedError(troubles)) }
}

/// Does a tip of this diameter at a place come too near a keep-out?
fn covered(board: &Board, face: Face, at: [f64; 2], tip_mm: f64) -> bool {
    let reach = tip_mm / 2.0 + CLEARANCE_MM;
    board.keep_outs.iter().any(|keep_out| keep_out.side == face && keep_out.covers(at, reach))
}

/// Puts pins down one after the other; what cannot stand anywhere is told.
pub struct Ground<'b> {
    board: &'b Board,
    faces: &'b [Face],
    pitch_mm: f64,
    tip_mm: f64,
    /// Everything that stands.
    pub standing: Vec<Standing>,
}

impl<'b> Ground<'b> {
    /// Nothing stands yet; `faces` are by point.
    pub fn new(board: &'b Board, faces: &'b [Face], families: &Families) -> Self {
        let tips = families.list().iter().map(|family| family.diameter_mm);
        let tip_mm = tips.fold(f64::INFINITY, f64::min);
        Self { board, faces, pitch_mm: families.narrowest_mm(), tip_mm, standing: Vec::new() }
    }

    /// Puts a pin down.
    ///
    /// # Errors
    /// It has no room.
    pub fn put(&mut self, wanted: &Wanted) -> Result<(), Trouble> {
        let at = self.find(wanted)?;
        let face = self.faces[wanted.point.index()];
        self.standing.push(Standing { point: wanted.point, line: wanted.line, face, at });
        Ok(())
    }

    /// Where a pin could stand.
    ///
    /// # Errors
    /// Nowhere.
    pub fn find(&self, wanted: &Wanted) -> Result<[f64; 2], Trouble> {
        let point = &self.board.points[wanted.point.index()];
        let face = self.faces[wanted.point.index()];
        if let Some(at) = wanted.fixed {
            return match self.in_the_way(face, at) {
                None => Ok(at),
                Some(other) => Err(self.close(wanted.point, at, other)),
            };
        }
        let beside_own = |standing: &&Standing| standing.point == wanted.point;
        let own = self.standing.iter().find(beside_own).copied();
        match (wanted.line, own) {
            (Line::Force, Some(sense)) => self
                .round(wanted.point, sense.at, &[1.0, 1.25, 1.5, 2.0].map(|times| times * self.pitch_mm))
                .ok_or_else(|| Trouble::NoRoom { point: point.name.clone() }),
            _ => match self.in_the_way(face, point.at) {
                None => Ok(point.at),
                Some(other) => self
                    .round(wanted.point, point.at, &[0.25, 0.5, 0.75, 1.0].map(|part| part * MOST_SHIFT_MM))
                    .ok_or_else(|| self.close(wanted.point, point.at, other)),
            },
        }
    }

    fn close(&self, point: PointId, at: [f64; 2], other: Standing) -> Trouble {
        let name = |point: PointId| self.board.point(point).name.clone();
        let (a, b) = (name(point), name(other.point));
        Trouble::Close { a, b, apart_mm: apart(at, other.at), pitch_mm: self.pitch_mm }
    }

    fn in_the_way(&self, face: Face, at: [f64; 2]) -> Option<Standing> {
        let near =
            |other: &&Standing| other.face == face && apart(at, other.at) < self.pitch_mm - GRID_MM / 2.0;
        self.standing.iter().find(near).copied()
    }

    /// The first free place round another, at the least of these distances at which there is one, off the path as far as can be.
    fn round(&self, point: PointId, centre: [f64; 2], distances: &[f64]) -> Option<[f64; 2]> {
        let face = self.faces[point.index()];
        let paths = self.paths(point);
        let mut directions: Vec<f64> = (0..DIRECTIONS)
            .map(|step| std::f64::consts::TAU * f64::from(step) / f64::from(DIRECTIONS))
            .collect();
        let along = |angle: f64| paths.iter().map(|path| (angle - path).cos()).fold(-1.0, f64::max);
        directions.sort_by(|a, b| along(*a).total_cmp(&along(*b)));
        distances.iter().find_map(|distance| {
            // Rounding must not bring two pins nearer than their pitch.
            let distance = distance + GRID_MM;
            let places = directions.iter().map(|angle| {
                rounded([centre[0] + distance * angle.cos(), centre[1] + distance * angle.sin()])
            });
            places.into_iter().find(|&at| {
                outline::contains(&self.board.outline, at)
                    && outline::distance(&self.board.outline, at) >= EDGE_MM + self.tip_mm / 2.0
                    && !covered(self.board, face, at, self.tip_mm)
                    && self.in_the_way(face, at).is_none()
                    && !self.hides_a_point(point, face, at)
            })
        })
    }

    /// Would a pin here stand where another point of its face is, which may still want one?
    fn hides_a_point(&self, own: PointId, face: Face, at: [f64; 2]) -> bool {
        let others = self.board.points.iter().enumerate();
        let mut others = others.filter(|(other, point)| *other != own.index() && point.side.touches(face));
        others.any(|(_, point)| apart(point.at, at) < self.pitch_mm)
    }

    /// The directions in which copper leads away from a point, as far as its segments tell, radians.
    fn paths(&self, point: PointId) -> Vec<f64> {
        let own = self.board.point(point).at;
        let across = self.board.segments.iter().filter_map(|segment| match (segment.from, segment.to) {
            (from, to) if from == point => Some(to),
            (from, to) if to == point => Some(from),
            _ => None,
        });
        let directions = across.map(|other| {
            let at = self.board.point(other).at;
            (at[1] - own[1]).atan2(at[0] - own[0])
        });
        directions.collect()
    }
}

/// The size of every pin that stands, by its place in the list of families: the largest that its neighbours and the keep-outs leave room for.
pub fn sizes(board: &Board, families: &Families, standing: &[Standing]) -> Vec<usize> {
    let list = families.list();
    let smallest = list.len() - 1;
    let mut sizes: Vec<usize> = standing
        .iter()
        .map(|pin| {
            let fits = |family: &super::Family| !covered(board, pin.face, pin.at, family.diameter_mm);
            list.iter().position(fits).unwrap_or(smallest)
        })
        .collect();
    // Of two that are too near each other the larger gives way. Smaller pins never bring another pair too near, so once round is enough.
    for (a, pin) in standing.iter().enumerate() {
        for (b, other) in standing.iter().enumerate().take(a).filter(|(_, other)| other.face == pin.face) {
            let way = apart(pin.at, other.at) + GRID_MM / 2.0;
            while way < (list[sizes[a]].pitch_mm + list[sizes[b]].pitch_mm) / 2.0
                && sizes[a].min(sizes[b]) < smallest
            {
                let larger = if sizes[a] < sizes[b] { a } else { b };
                sizes[larger] += 1;
            }
        }
    }
    sizes
}
