//! The sheet of a board by its limits, and of a unit by what was read on it.

use super::capacity;
use super::conditions::Conditions;
use super::net::Values;
use super::network::{Case, Laid, LoadVoltage, Network, Pieces, Standing, Value};
use super::notes;
use super::range::Range;
use super::sheet::{DropSheet, Gain, JudgedBy, LoadDrop, Origin, Part, PartSide, UnitRead};
use crate::board::{Board, SegmentId, SegmentKind, StateId, assumed, expected};
use crate::limits::{LimitSet, Limits};
use crate::quantity::{Amps, Celsius, Ohms, Volts};
use crate::sweep::SegmentRow;
use crate::verdict::{self, Class, Verdict};

/// What the path costs at most and at least on any unit that keeps these limits.
pub fn by_limits(board: &Board, limits: &LimitSet, conditions: Conditions) -> DropSheet {
    let within = |id| allowed(board, id, limits.of(id));
    let value = |id| Value { range: within(id), standing: Standing::Known };
    let known: Vec<_> =
        board.segment_ids().map(|id| Known::new(value(id), Origin::Limit, board, id, None)).collect();
    let sheet = |_: StateId| known.clone();
    build(board, conditions, limits.origin(), None, sheet)
}

/// What it costs on a unit, by the rows of a sweep; what was not read there has its limit.
pub fn by_readings(
    board: &Board,
    limits: &LimitSet,
    unit: UnitRead,
    rows: &[SegmentRow],
    conditions: Conditions,
) -> DropSheet {
    let of_state =
        |state| board.segment_ids().map(|id| read(board, limits, rows, id, state)).collect::<Vec<_>>();
    build(board, conditions, limits.origin(), Some(unit), of_state)
}

/// The resistances that the rows of a sweep give, in a state: one for each segment of the board, in its order.
pub fn values(board: &Board, limits: &LimitSet, rows: &[SegmentRow], state: StateId) -> Vec<Value> {
    board.segment_ids().map(|id| read(board, limits, rows, id, state).value).collect()
}

/// What limits allow a segment.
fn allowed(board: &Board, id: SegmentId, limits: &Limits) -> Range {
    let segment = board.segment(id);
    let least = assumed::lessened(expected::least(segment), &segment.kind, &board.assumed);
    Range::between(limits.min.unwrap_or(least), limits.max)
}

/// What is known of a segment, and how many barrels of it conduct.
#[derive(Clone)]
struct Known {
    value: Value,
    origin: Origin,
    barrels: Option<u32>,
}

impl Known {
    fn new(value: Value, origin: Origin, board: &Board, id: SegmentId, class: Option<Class>) -> Self {
        let barrels = match board.segment(id).kind {
            SegmentKind::Via { count, .. } if class == Some(Class::RedundancyLost) => Some(count - 1),
            _ => None,
        };
        Self { value, origin, barrels }
    }
}

/// What a sweep says of a segment in a state. A segment that was read in another state only has that reading; of several the highest.
fn read(board: &Board, limits: &LimitSet, rows: &[SegmentRow], id: SegmentId, state: StateId) -> Known {
    let name = &board.segment(id).name;
    let state = &board.state(state).name;
    let mut rows: Vec<&SegmentRow> = rows.iter().filter(|row| row.name == *name).collect();
    if rows.iter().any(|row| row.state == *state) {
        rows.retain(|row| row.state == *state);
    }
    let reading = |row: &&SegmentRow| {
        let (value, u95) = (row.at_20c?, row.u95?);
        (value.is_finite() && u95.is_finite()).then_some((value, u95, row.class))
    };
    let highest = |a: &(Ohms, Ohms, Class), b: &(Ohms, Ohms, Class)| (a.0 + a.1).total_cmp(&(b.0 + b.1));
    let instead = |row: Option<&&SegmentRow>| match row {
        // The limit that it was judged by.
        Some(row) => allowed(board, id, &Limits { min: row.min, max: row.max, ..*limits.of(id) }),
        None => allowed(board, id, limits.of(id)),
    };
    let open = rows.iter().find(|row| row.class == Class::Open && row.at_20c.is_none());
    let (range, standing, origin, class) = match rows.iter().filter_map(reading).max_by(highest) {
        _ if open.is_some() => (instead(open), Standing::Open, Origin::Open, None),
        Some((value, u95, class)) => {
            (Range::reading(value, u95), Standing::Known, Origin::Reading, Some(class))
        }
        // A forward voltage, or a bound, that is proven to keep the limit without a resistance that could be stated.
        None => match rows.iter().find(|row| row.verdict == Verdict::Pass) {
            Some(row) => (instead(Some(row)), Standing::Known, Origin::Limit, None),
            None => (instead(rows.first()), Standing::NotRead, Origin::NotRead, None),
        },
    };
    Known::new(Value { range, standing }, origin, board, id, class)
}

fn build(
    board: &Board,
    conditions: Conditions,
    limits: &str,
    unit: Option<UnitRead>,
    of_state: impl Fn(StateId) -> Vec<Known>,
) -> DropSheet {
    let network = Network { board, conditions };
    let mut loads = Vec::new();
    for state in board.state_ids() {
        let known = of_state(state);
        let values: Vec<Value> = known.iter().map(|known| known.value).collect();
        let pieces = Pieces::of(network, &values, &[]);
        for laid in pieces.laid(state) {
            let stands = pieces.temperatures().map(|at| (at, laid.standing(at))).collect::<Vec<_>>();
            let one = |case| load(&pieces, &laid, case, &known, &values, &stands);
            loads.extend(laid.cases.iter().filter_map(one));
        }
    }
    let supply = &board.supply;
    let judged_by = if supply.brown_out.is_some() { JudgedBy::BrownOut } else { JudgedBy::MaxDrop };
    let mut sheet = DropSheet {
        board: board.name.clone(),
        revision: board.revision.clone(),
        unit,
        limits: limits.to_owned(),
        verdict: verdict::worst(loads.iter().map(|load| load.verdict)),
        judged_by,
        supply: supply.voltage,
        load: supply.load,
        source: supply.source,
        brown_out: supply.brown_out,
        max_drop: supply.max_drop,
        temperature: conditions.temperature,
        loads,
        notes: Vec::new(),
    };
    sheet.notes = notes::of(&sheet, board);
    sheet
}

/// One load in one state.
fn load(
    pieces: &Pieces<'_>,
    laid: &Laid,
    case: &Case,
    known: &[Known],
    values: &[Value],
    stands: &[(Celsius, Values)],
) -> Option<LoadDrop> {
    let (board, net) = (pieces.network.board, &laid.net);
    let current = board.supply.load;
    let voltage = pieces.judge(laid, case, values);
    let (_, solved) = stands.iter().find(|(at, _)| *at == voltage.worst_at)?;
    let along = |side, way| {
        let piece = move |(piece, share): (usize, f64)| {
            let id = SegmentId::new(piece);
            Some(part(board, id, side, known.get(piece)?, Ohms(solved.ohms(piece)), share))
        };
        net.shares(way, solved).into_iter().filter_map(piece).collect::<Vec<_>>()
    };
    let mut parts: Vec<Part> = board.supply.source.map(|ohms| source(ohms, current)).into_iter().collect();
    parts.extend(along(PartSide::Out, &case.out));
    // The way back was found from the supply's end.
    parts.extend(along(PartSide::Return, &case.home).into_iter().rev());
    let drop = parts.iter().map(|part| part.drop).sum();
    for part in &mut parts {
        part.share = if drop > Volts::ZERO { part.drop / drop } else { 0.0 };
    }
    let falls = |to: &dyn Fn(usize) -> f64| {
        let falls = [&case.out, &case.home].into_iter().flat_map(|way| net.falls(way, solved, to));
        let most = falls.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, falls)| *falls > 0.0);
        most.map(|(piece, falls)| Gain {
            segment: board.segment(SegmentId::new(piece)).name.clone(),
            gain: current * Ohms(falls),
        })
    };
    let half = |piece: usize| solved.ohms(piece) / 2.0;
    let healthy = |piece: usize| {
        let typical = board.segment(SegmentId::new(piece)).expected.typical;
        // As warm as the rest of the board.
        pieces.warmed(piece, typical, voltage.worst_at).0
    };
    let dominates = parts.iter().max_by(|a, b| a.drop.total_cmp(&b.drop)).map(|part| part.name.clone());
    let (halved, healthy) = (falls(&half), falls(&healthy));
    let name = |id: &SegmentId| board.segment(*id).name.clone();
    let LoadVoltage { lowest, highest, worst_at, middle, u95, margin, verdict, cut, not_read, .. } = voltage;
    Some(LoadDrop {
        load: board.point(case.load).name.clone(),
        state: board.state(case.state).name.clone(),
        back: board.point(case.back).name.clone(),
        verdict,
        lowest,
        highest,
        worst_at,
        middle,
        u95,
        margin,
        drop,
        parts,
        dominates,
        halved,
        healthy,
        cut: cut.iter().map(name).collect(),
        not_read: not_read.iter().map(name).collect(),
    })
}

/// The cell itself.
fn source(resistance: Ohms, current: Amps) -> Part {
    Part {
        name: "source".into(),
        number: None,
        kind: "cell".into(),
        side: PartSide::Source,
        origin: Origin::Stated,
        resistance,
        current,
        drop: resistance * current,
        share: 0.0,
        heat_watts: (resistance * current).0 * current.0,
        capacity: None,
    }
}

/// A segment that carries this share of the load's current: in a mesh it costs the load that share of its own voltage.
fn part(board: &Board, id: SegmentId, side: PartSide, known: &Known, resistance: Ohms, share: f64) -> Part {
    let segment = board.segment(id);
    let current = board.supply.load * share;
    Part {
        name: segment.name.clone(),
        number: Some(id.index() + 1),
        kind: segment.kind.word().into(),
        side,
        origin: known.origin,
        resistance,
        current,
        drop: resistance * current * share,
        share: 0.0,
        heat_watts: (resistance * current).0 * current.0,
        capacity: capacity::of(board, segment, current, known.barrels),
    }
}
