//! A whole bed: what is needed, what more would bring, where it stands, and on which channels.

use super::choose::{Need, needed};
use super::coverage::{Coverage, MOST_SEGMENTS};
use super::force::{self, Choice};
use super::place::{Ground, Wanted, faces, sizes};
use super::{BedError, Families, Line, Pin, channels};
use crate::board::{Board, PointId};
use crate::fixture::{Fixture, Pins, Plates, Standard, Thermometer};
use crate::plane::apart;

/// What a bed starts from: a fixture that is there, or a matrix with nothing on it.
#[derive(Clone, PartialEq, Debug)]
pub struct Start {
    /// Name.
    pub name: String,
    /// Force channels of the matrix.
    pub force_channels: u16,
    /// Sense channels of the matrix.
    pub sense_channels: u16,
    /// Pins that are there, by point.
    pub pins: Vec<Pins>,
    /// Standards that are there, or that will be.
    pub standards: Vec<Standard>,
    /// Thermometers that are there.
    pub thermometers: Vec<Thermometer>,
    /// What the plates are like.
    pub plates: Plates,
}

/// Channels of the bench of docs/build-the-bench.md.
const CHANNELS: [u16; 2] = [16, 48];

impl Start {
    /// A new bed on the bench as it is built: the last two channels of each kind are for a check standard of 1 Ω.
    pub fn new(board: &Board) -> Self {
        let [force, sense] = CHANNELS;
        let standard = Standard {
            name: "1R".into(),
            force: [force - 2, force - 1],
            sense: [sense - 2, sense - 1],
            resistance: crate::quantity::Ohms(1.0),
            tolerance: 1e-3,
            in_sweeps: true,
            certificate: None,
        };
        Self {
            name: format!("{} bed 1", board.name.chars().take(30).collect::<String>().trim_end()),
            force_channels: force,
            sense_channels: sense,
            pins: vec![Pins::default(); board.points.len()],
            standards: vec![standard],
            thermometers: Vec::new(),
            plates: Plates::default(),
        }
    }

    /// A bed that is there.
    pub fn of(fixture: &Fixture) -> Self {
        Self {
            name: fixture.name.clone(),
            force_channels: fixture.force_channels,
            sense_channels: fixture.sense_channels,
            pins: fixture.pins.clone(),
            standards: fixture.standards.clone(),
            thermometers: fixture.thermometers.clone(),
            plates: fixture.plates.clone(),
        }
    }
}

/// A bed of pins.
#[derive(Clone, PartialEq, Debug)]
pub struct Bed {
    /// What it starts from.
    pub start: Start,
    /// Its pins, in the order of the points, force before sense.
    pub pins: Vec<Pin>,
    /// Sizes of pins.
    pub families: Families,
    /// What its force pins uncover; `None` where the board is too large to say, or nothing can be hidden.
    pub choice: Option<Choice>,
    /// What somebody should know who builds it.
    pub notes: Vec<String>,
}

/// Proposes a bed. Pins that are there keep their points, channels and places.
///
/// # Errors
/// Everything that keeps a bed from being made.
pub fn propose(board: &Board, start: Start, families: Families) -> Result<Bed, BedError> {
    let has = |point: PointId, line: Line| {
        let pins = start.pins[point.index()];
        match line {
            Line::Force => pins.force.is_some(),
            Line::Sense => pins.sense.is_some(),
        }
    };
    let points = || (0..board.points.len()).map(PointId::new);
    let forced: Vec<PointId> = points().filter(|&point| has(point, Line::Force)).collect();
    let needs = needed(board, &forced)?;
    let new = |line: Line| needs.iter().filter(|need| need.line == line && !has(need.point, line)).count();
    channels::suffice(&start, [(Line::Force, new(Line::Force)), (Line::Sense, new(Line::Sense))])?;

    let is_needed =
        |point: PointId, line: Line| needs.iter().any(|need| (need.point, need.line) == (point, line));
    let wants = |point: PointId, line: Line| has(point, line) || is_needed(point, line);
    let touched: Vec<PointId> =
        points().filter(|&point| wants(point, Line::Sense) || wants(point, Line::Force)).collect();
    let tips = families.list().iter().map(|family| family.diameter_mm);
    let faces = faces(board, &start.pins, &touched, tips.fold(f64::INFINITY, f64::min))?;
    let mut ground = Ground::new(board, &faces, &families);
    let mut troubles = Vec::new();
    // Sense pins first: they stand at their points, and force pins go round them. Of both, those whose places are said come first.
    for line in [Line::Sense, Line::Force] {
        let fixed = |point: PointId| match line {
            Line::Force => start.pins[point.index()].force_at,
            Line::Sense => start.pins[point.index()].sense_at,
        };
        let wanted = points().filter(|&point| wants(point, line));
        let mut wanted: Vec<_> = wanted.map(|point| Wanted { point, line, fixed: fixed(point) }).collect();
        wanted.sort_by_key(|wanted| wanted.fixed.is_none());
        troubles.extend(wanted.iter().filter_map(|wanted| ground.put(wanted).err()));
    }
    if !troubles.is_empty() {
        return Err(BedError(troubles));
    }

    let now_forced: Vec<PointId> = points().filter(|&point| wants(point, Line::Force)).collect();
    let budget = channels::free(&start, Line::Force).len() - new(Line::Force);
    let (choice, chosen, mut notes) = further(board, &mut ground, &now_forced, budget);
    let why = Why { board, needs: &needs, chosen: &chosen };
    let mut pins = build(&start, &families, board, &ground, &why);
    pins.sort_by_key(|pin| (pin.point, pin.line));
    notes.extend(remarks(board, &families, &pins));
    Ok(Bed { start, pins, families, choice, notes })
}

/// Further force pins, put down where they have room: who has none is out of question, and the choice is made again.
fn further(
    board: &Board,
    ground: &mut Ground<'_>,
    forced: &[PointId],
    budget: usize,
) -> (Option<Choice>, Vec<(PointId, f64)>, Vec<String>) {
    if board.segments.len() > MOST_SEGMENTS {
        let note = format!(
            "the board has more than {MOST_SEGMENTS} segments: only the force pins that are needed are proposed"
        );
        return (None, Vec::new(), vec![note]);
    }
    let wanted = |point| Wanted { point, line: Line::Force, fixed: None };
    let sensed = ground.standing.iter().filter(|pin| pin.line == Line::Sense).map(|pin| pin.point);
    let mut candidates: Vec<PointId> = sensed.filter(|point| !forced.contains(point)).collect();
    candidates.sort();
    candidates.retain(|&point| ground.find(&wanted(point)).is_ok());
    loop {
        let coverage = Coverage::of(board, forced, &candidates);
        let choice = force::choose(&coverage, candidates.len(), budget);
        let chosen: Vec<(PointId, f64)> =
            choice.chosen.iter().map(|&(at, gain)| (candidates[at], gain)).collect();
        let before = ground.standing.len();
        let stuck = chosen.iter().find(|(point, _)| ground.put(&wanted(*point)).is_err());
        match stuck {
            None => return (Some(choice), chosen, Vec::new()),
            Some((stuck, _)) => {
                ground.standing.truncate(before);
                candidates.retain(|point| point != stuck);
            }
        }
    }
}

/// What the reasons are taken from.
struct Why<'w> {
    board: &'w Board,
    needs: &'w [Need],
    chosen: &'w [(PointId, f64)],
}

impl Why<'_> {
    fn of(&self, point: PointId, line: Line, kept: bool) -> String {
        let need = self.needs.iter().find(|need| (need.point, need.line) == (point, line));
        if let Some(need) = need {
            return need.why.clone();
        }
        match self.chosen.iter().find(|(chosen, _)| *chosen == point) {
            Some((_, gain)) if line == Line::Force => format!("reads {gain:.2} more segments after a break"),
            _ if kept => "is there already".into(),
            _ => format!("belongs to {}", self.board.point(point).name),
        }
    }
}

/// The pins with their sizes and channels.
fn build(start: &Start, families: &Families, board: &Board, ground: &Ground<'_>, why: &Why<'_>) -> Vec<Pin> {
    let sizes = sizes(board, families, &ground.standing);
    let mut order: Vec<usize> = (0..ground.standing.len()).collect();
    order.sort_by_key(|&at| (ground.standing[at].point, ground.standing[at].line));
    let mut free = [Line::Force, Line::Sense].map(|line| channels::free(start, line).into_iter());
    let [force, sense] = &mut free;
    let pin = |at: usize| {
        let standing = ground.standing[at];
        let own = start.pins[standing.point.index()];
        let (there, next) = match standing.line {
            Line::Force => (own.force, &mut *force),
            Line::Sense => (own.sense, &mut *sense),
        };
        Some(Pin {
            point: standing.point,
            line: standing.line,
            face: standing.face,
            at: standing.at,
            family: sizes[at],
            channel: there.or_else(|| next.next())?,
            kept: there.is_some(),
            why: why.of(standing.point, standing.line, there.is_some()),
        })
    };
    order.into_iter().filter_map(pin).collect()
}

/// What somebody should look at who builds it.
fn remarks(board: &Board, families: &Families, pins: &[Pin]) -> Vec<String> {
    let mut notes = Vec::new();
    let beside = |line: Line| {
        let off =
            pins.iter().filter(|pin| pin.line == line && apart(pin.at, board.point(pin.point).at) > 1e-6);
        off.map(|pin| board.point(pin.point).name.as_str()).collect::<Vec<_>>()
    };
    let force = beside(Line::Force);
    if !force.is_empty() {
        notes.push(format!(
            "{} of the force pins stand beside their points, away from the path: see that the copper reaches so far, else say where they stand with force_at",
            force.len()
        ));
    }
    let sense = beside(Line::Sense);
    if !sense.is_empty() {
        notes.push(format!(
            "sense pins that had to make room stand beside their points, and what they read may be off by that: {}",
            sense.join(", ")
        ));
    }
    if families.generic {
        notes.push(
            "sizes of pins are common practice, from memory: drill by the data sheet of the pins you have, and say it with --pins"
                .into(),
        );
    }
    notes
}
