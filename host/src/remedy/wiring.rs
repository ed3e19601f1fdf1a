//! The wire of a repair: between which points, which gauge, along which way.
//!
//! The ends may lie beyond the faulty piece, on the same copper, as long as nothing lies between that has to stay in the path: the place
//! with room for a joint is not always the nearest one. Of all pairs of ends the one with the shortest way is taken, each piece more that it lies
//! across counted as some millimetres.

use serde::Serialize;

use super::healthy::Expectation;
use super::predict;
use crate::board::graph::Graph;
use crate::board::{Board, PointId, SegmentId};
use crate::fitted::{self, NoBypass, Wire};
use crate::limits::LimitSet;
use crate::plane;
use crate::quantity::{Celsius, Ohms};
use crate::route::gauge::{Covering, GaugeError, Need, Stock};
use crate::route::{self, End, Fit, FitError, Hole, Route, RouteError, Task, cutting};

/// Wires of repairs have a thin wall: they lie in small cases (common practice).
const COVERING: Covering = Covering::ThinWall;
/// Least distance of the insulation from what it keeps out of, and from the board's edge, mm (common practice).
const CLEARANCE_MM: f64 = 0.3;
const EDGE_MM: f64 = 0.5;
/// A wire is held down every so many mm (common practice).
const RELIEF_MM: f64 = 20.0;
/// Slack: a twentieth of the length and two millimetres, so that a joint can be made anew (common practice).
const SLACK_SHARE: f64 = 0.05;
const SLACK_MM: f64 = 2.0;
/// A passage through a hole is avoided if that costs no more than so many mm of wire.
const PASSAGE_MM: f64 = 8.0;
/// A piece more that a wire lies across is not judged by itself any more: it is avoided if that costs no more than so many mm of wire.
const PIECE_MM: f64 = 6.0;
/// Air in a closed case at its warmest, and how much warmer than it a wire may get, kelvin: insulation is made for 80 °C and more (common
/// practice).
const AIR: Celsius = Celsius(50.0);
const MOST_RISE_KELVIN: f64 = 20.0;
/// Ends are looked for so many pieces away from the faulty one.
const FARTHEST: usize = 3;
/// No limit of a wire is above this multiple of the most that a sound one reads: as limits from the drop budget.
const MOST_OF_HIGH: f64 = 3.0;

/// A wire that could be fitted.
#[derive(Clone, PartialEq, Debug, Serialize)]
pub struct Wiring {
    /// What is fitted, as the records keep it.
    pub wire: Wire,
    /// Names of the segments it lies across, in walking order.
    pub bypasses: Vec<String>,
    /// What is cut from the spool.
    pub stock: Stock,
    /// What was asked for its way.
    #[serde(skip)]
    pub task: Task,
    /// Where it lies.
    pub route: Route,
    /// Names of the holes it passes through, in order.
    pub through: Vec<String>,
    /// How it is cut, in words.
    pub cutting: String,
}

/// Why no wire can be fitted.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum NoWiring {
    /// Something has to stay in the path.
    #[error(transparent)]
    Stays(#[from] NoBypass),
    /// There is no way.
    #[error(transparent)]
    NoWay(#[from] RouteError),
    /// There is a way, and no wire for it.
    #[error(transparent)]
    Gauge(#[from] GaugeError),
}

impl From<FitError> for NoWiring {
    fn from(error: FitError) -> Self {
        match error {
            FitError::Gauge(error) => Self::Gauge(error),
            // Whatever is thinner was refused before, and a thicker one finds no way either.
            FitError::Route { why, .. } => Self::NoWay(why),
        }
    }
}

/// What a wire has to go round.
#[derive(Clone, Copy, Debug)]
pub struct Bounds<'b> {
    /// The board.
    pub board: &'b Board,
    /// Its limits.
    pub limits: &'b LimitSet,
    /// What the drop budget has left beyond the limits.
    pub spare: Ohms,
}

/// The best wire across these neighbouring segments.
///
/// # Errors
/// There is none, and why there is none from end to end of the segments themselves.
pub fn across(bounds: Bounds<'_>, segments: &[SegmentId]) -> Result<Wiring, NoWiring> {
    let board = bounds.board;
    let own = ends_of(board, segments);
    let [from, to] = own.map(|point| beyond(board, point, segments));
    let mut pairs: Vec<([PointId; 2], f64)> = Vec::new();
    for &a in &from {
        for &b in &to {
            pairs.push(([a, b], plane::apart(board.point(a).at, board.point(b).at)));
        }
    }
    // The sort keeps equal ones as they come, and the segments' own ends come first.
    pairs.sort_by(|a, b| a.1.total_cmp(&b.1));
    let price = |wiring: &Wiring| {
        let more = wiring.bypasses.len().saturating_sub(segments.len());
        wiring.route.price_mm + PIECE_MM * more as f64
    };
    let mut best: Option<Wiring> = None;
    let mut why = None;
    for (ends, straight_mm) in pairs {
        if best.as_ref().is_some_and(|best| price(best) <= straight_mm) {
            break;
        }
        match between(bounds, ends) {
            Ok(found) if best.as_ref().is_none_or(|best| price(&found) < price(best)) => best = Some(found),
            Ok(_) => {}
            Err(reason) if ends == own || why.is_none() => why = Some(reason),
            Err(_) => {}
        }
    }
    match (best, why) {
        (Some(best), _) => Ok(best),
        (None, Some(why)) => Err(why),
        (None, None) => Err(NoBypass::Unknown(String::new()).into()),
    }
}

/// The two ends of a chain of neighbours; of one segment its own.
fn ends_of(board: &Board, segments: &[SegmentId]) -> [PointId; 2] {
    let all = segments.iter().flat_map(|id| [board.segment(*id).from, board.segment(*id).to]);
    let all: Vec<PointId> = all.collect();
    let once = |point: &&PointId| all.iter().filter(|other| other == point).count() == 1;
    let mut ends = all.iter().filter(once).copied();
    let first = ends.next().unwrap_or(PointId::new(0));
    [first, ends.next().unwrap_or(first)]
}

/// The point itself, and those that are reached from it over what may be bypassed, away from the segments.
fn beyond(board: &Board, point: PointId, segments: &[SegmentId]) -> Vec<PointId> {
    let graph = Graph::of(board);
    let mut found = vec![point];
    let (mut at, mut passed) = (point, segments.to_vec());
    for _ in 0..FARTHEST {
        // Where the path branches it carries another current beyond, and where it ends there is nothing.
        let ends = at == board.supply.from || at == board.supply.ret || board.supply.to.contains(&at);
        if ends || graph.degree(at) != 2 {
            break;
        }
        let next = board.segment_ids().find(|id| {
            let segment = board.segment(*id);
            !passed.contains(id) && (segment.from == at || segment.to == at)
        });
        let Some(next) = next.filter(|id| fitted::may_bypass(&board.segment(*id).kind)) else { break };
        let segment = board.segment(next);
        at = if segment.from == at { segment.to } else { segment.from };
        passed.push(next);
        found.push(at);
    }
    found
}

/// The thinnest wire between two points, on its shortest way.
fn between(bounds: Bounds<'_>, ends: [PointId; 2]) -> Result<Wiring, NoWiring> {
    let Bounds { board, limits, spare } = bounds;
    let [from, to] = ends.map(|point| board.point(point));
    let bypassed = fitted::bypassed(board, [&from.name, &to.name])?;
    let most = bypassed.iter().map(|id| limits.of(*id).max).sum::<Ohms>() + spare;
    let need =
        Need { load: board.supply.load, most, air: AIR, most_rise_kelvin: MOST_RISE_KELVIN, fits_mm: None };
    // With its joints, as the next sweep will read it.
    let reads = |stock: &Stock, length_mm| predict::wire(length_mm, stock.awg).interval[1];
    let Fit { stock, task, route } = route::fit(task(board, ends), COVERING, &need, reads)?;
    let length_mm = route.cut.length_mm;
    let expected = predict::wire(length_mm, stock.awg);
    let wire = Wire {
        from: from.name.clone(),
        to: to.name.clone(),
        awg: stock.awg,
        length_mm: length_mm.ceil(),
        typical: expected.middle,
        max: (expected.interval[1] * MOST_OF_HIGH).min(most),
    };
    let label = format!("{} to {}", from.name, to.name);
    let item = cutting::Item::new(&label, stock, &route);
    Ok(Wiring {
        bypasses: bypassed.iter().map(|id| board.segment(*id).name.clone()).collect(),
        stock,
        through: route
            .passages
            .iter()
            .filter_map(|hole| board.holes.get(*hole))
            .map(|hole| hole.name.clone())
            .collect(),
        cutting: cutting::lines(&[item]).concat(),
        wire,
        task,
        route,
    })
}

/// What is asked of its way; the diameters and the bend are those of the gauge that is chosen.
fn task(board: &Board, ends: [PointId; 2]) -> Task {
    let end = |point: PointId| {
        let point = board.point(point);
        End { name: point.name.clone(), at: point.at, side: point.side, pad_mm: point.pad_mm }
    };
    let [from, to] = ends.map(end);
    Task {
        outline: board.outline.clone(),
        keep_outs: board.keep_outs.clone(),
        thickness_mm: board.thickness_mm,
        wire: route::Wire {
            insulated_mm: 0.0,
            conductor_mm: 0.0,
            bend_mm: 0.0,
            clearance_mm: CLEARANCE_MM,
            edge_mm: EDGE_MM,
            relief_mm: RELIEF_MM,
            slack_share: SLACK_SHARE,
            slack_mm: SLACK_MM,
        },
        from,
        to,
        holes: board
            .holes
            .iter()
            .map(|hole| Hole { name: hole.name.clone(), at: hole.at, drill_mm: hole.diameter_mm })
            .collect(),
        passage_mm: PASSAGE_MM,
    }
}

impl Wiring {
    /// What the next sweep should read of it with what it lies across, which reads `beside` now; `None`: no current passes that.
    pub fn expected(&self, beside: Option<Expectation>) -> Expectation {
        let wire = predict::wire(self.wire.length_mm, self.wire.awg);
        match beside {
            Some(beside) => predict::in_parallel(wire, beside),
            None => wire,
        }
    }
}
