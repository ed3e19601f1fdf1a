//! Voltages at the loads of a board whose resistances are given: as read, as limits allow, or as they would be after a repair.

use crate::board::graph::{Edge, Graph, Reach};
use crate::board::{Board, PointId, SegmentId, StateId};
use crate::quantity::{Celsius, Ohms, Volts};
use crate::verdict::Verdict;

use super::conditions::Conditions;
use super::net::{Net, Values, Way};
use super::range::{Follows, Range};

/// A margin that is missed by less than this is kept: limits that are shares of the drop budget add up to it exactly, but for rounding.
const HAIR: Volts = Volts(1e-9);

/// Coverage factor of an expanded uncertainty, 95 % (GUM, JCGM 100, G.6.6).
const COVERAGE: f64 = 2.0;

/// What is known of a segment.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Standing {
    /// Its range holds.
    Known,
    /// Nothing was read; its range is that of its limits, which nobody has proven of this unit.
    NotRead,
    /// It conducts nothing. Its range is what it would have once it is repaired.
    Open,
}

/// A segment's resistance.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Value {
    /// What it may be at 20 °C.
    pub range: Range,
    /// How far that is known.
    pub standing: Standing,
}

/// A wire that a repair puts between two points of the board.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Wire {
    /// One end.
    pub from: PointId,
    /// The other end.
    pub to: PointId,
    /// What it may have at 20 °C, its joints included.
    pub range: Range,
}

/// The voltage at one load in one state.
#[derive(Clone, PartialEq, Debug)]
pub struct LoadVoltage {
    /// The load.
    pub load: PointId,
    /// The state.
    pub state: StateId,
    /// Where the current is taken to come back: the end of the return that costs most.
    pub back: PointId,
    /// At full load: lowest supply, most resistance, the worse temperature.
    pub lowest: Volts,
    /// At full load: highest supply, least resistance, the better temperature.
    pub highest: Volts,
    /// The temperature at which it is lowest.
    pub worst_at: Celsius,
    /// At the lowest supply and that temperature, with resistances in the middle of what they may be.
    pub middle: Volts,
    /// Expanded uncertainty of that, 95 %, were the errors of all segments independent.
    pub u95: Volts,
    /// From the lowest to what is needed: to `brown_out`, or, where none is stated, what is left of `max_drop` at 20 °C.
    pub margin: Volts,
    /// Is there a margin in any case, in none, or is neither proven?
    pub verdict: Verdict,
    /// Open segments without which no current reaches the load; the voltages are those after their repair.
    pub cut: Vec<SegmentId>,
    /// Segments on the way that were not read.
    pub not_read: Vec<SegmentId>,
}

/// A board and the conditions it works under.
#[derive(Clone, Copy, Debug)]
pub struct Network<'b> {
    /// The board.
    pub board: &'b Board,
    /// The conditions.
    pub conditions: Conditions,
}

/// A load in a state, with the way to it and the way back.
pub(super) struct Case {
    pub load: PointId,
    pub back: PointId,
    pub state: StateId,
    pub out: Way,
    pub home: Way,
    pub cut: Vec<SegmentId>,
}

/// Everything about a board's pieces that its resistances at 20 °C say.
pub(super) struct Pieces<'b> {
    pub network: Network<'b>,
    ranges: Vec<Range>,
    follows: Vec<Follows>,
    open: Vec<bool>,
    edges: Vec<Edge>,
    ends: Vec<PointId>,
}

impl<'b> Network<'b> {
    /// The voltage at every load in every state in which it is supplied. `values` has one for each of the board's segments, in its order.
    ///
    /// The load's whole current is taken to flow to the load that is looked at: how several share it is not known, and this is the
    /// worst for each.
    pub fn loads(&self, values: &[Value], wires: &[Wire]) -> Vec<LoadVoltage> {
        self.board.state_ids().flat_map(|state| self.loads_in(state, values, wires)).collect()
    }

    /// The same in one state: for values that differ from state to state.
    pub fn loads_in(&self, state: StateId, values: &[Value], wires: &[Wire]) -> Vec<LoadVoltage> {
        let pieces = Pieces::of(*self, values, wires);
        let laid = pieces.laid(state);
        let judge =
            |laid: &Laid| laid.cases.iter().map(|case| pieces.judge(laid, case, values)).collect::<Vec<_>>();
        laid.iter().flat_map(judge).collect()
    }
}

impl<'b> Pieces<'b> {
    pub fn of(network: Network<'b>, values: &[Value], wires: &[Wire]) -> Self {
        let board = network.board;
        let graph = Graph::of(board);
        let known = board.segments.iter().zip(values);
        let segments = known.clone().map(|(segment, _)| ([segment.from, segment.to], segment.closed.clone()));
        let edges = segments.chain(wires.iter().map(|wire| ([wire.from, wire.to], None)));
        let edge = |(i, (ends, closed))| Edge { segment: SegmentId::new(i), ends, closed };
        let follows = known.clone().map(|(segment, _)| Follows::of(&segment.kind, board.supply.load));
        // Where the return ends, whatever the state: every point that only one segment touches.
        let back = graph.reach(board.supply.ret, None);
        let leaves = back.points().filter(|&point| point != board.supply.ret && graph.degree(point) == 1);
        let mut ends: Vec<_> = leaves.collect();
        if ends.is_empty() {
            ends = back.points().collect();
        }
        Self {
            network,
            ranges: values
                .iter()
                .map(|value| value.range)
                .chain(wires.iter().map(|wire| wire.range))
                .collect(),
            follows: follows.chain(wires.iter().map(|_| Follows::WIRE)).collect(),
            open: values
                .iter()
                .map(|value| value.standing == Standing::Open)
                .chain(wires.iter().map(|_| false))
                .collect(),
            edges: edges.enumerate().map(edge).collect(),
            ends,
        }
    }

    /// The temperatures that are looked at: the resistance of a way has its extremes at the ends of their range.
    pub fn temperatures(&self) -> impl Iterator<Item = Celsius> + use<> {
        let [cold, warm] = self.network.conditions.temperature;
        std::iter::once(cold).chain((warm != cold).then_some(warm))
    }

    /// What every piece may have at a temperature.
    pub fn at(&self, temperature: Celsius) -> Vec<Range> {
        self.ranges
            .iter()
            .zip(&self.follows)
            .map(|(range, follows)| range.at(*follows, temperature))
            .collect()
    }

    /// A resistance at 20 °C as it would be in a piece's place at a temperature.
    pub fn warmed(&self, piece: usize, at_20c: Ohms, temperature: Celsius) -> Ohms {
        let follows = self.follows.get(piece).copied().unwrap_or(Follows::WIRE);
        Range::reading(at_20c, Ohms::ZERO).at(follows, temperature).stands
    }

    fn net(&self, state: StateId, with_open: bool) -> Net {
        let board = self.network.board;
        let open = |edge: &&Edge| with_open || !self.open.get(edge.segment.index()).copied().unwrap_or(false);
        let edges = self.edges.iter().filter(open).cloned().collect();
        Net::of(board.points.len(), board.states.len(), state, edges)
    }

    /// Every load that a healthy board supplies in a state. What is open carries nothing; only for a load that hangs on it, it is taken to be
    /// repaired.
    pub fn laid(&self, state: StateId) -> Vec<Laid> {
        let supply = &self.network.board.supply;
        let healthy = self.net(state, true);
        let (out, back) = (healthy.reach(supply.from), healthy.reach(supply.ret));
        let loads = supply.to.iter().copied().filter(|load| out.contains(*load));
        let ends: Vec<_> = self.ends.iter().copied().filter(|end| back.contains(*end)).collect();
        if !self.open.contains(&true) {
            return vec![self.lay(healthy, state, &loads.collect::<Vec<_>>(), &ends)];
        }
        let left = self.net(state, false);
        let (out, back) = (left.reach(supply.from), left.reach(supply.ret));
        // Which load's current comes back from which end nobody says: an end that is cut off cuts all of them off.
        let returns = ends.iter().all(|end| back.contains(*end));
        let (whole, cut): (Vec<_>, Vec<_>) = loads.partition(|load| returns && out.contains(*load));
        [(left, whole), (healthy, cut)]
            .into_iter()
            .filter(|(_, loads)| !loads.is_empty())
            .map(|(net, loads)| self.lay(net, state, &loads, &ends))
            .collect()
    }

    fn lay(&self, net: Net, state: StateId, loads: &[PointId], ends: &[PointId]) -> Laid {
        let supply = &self.network.board.supply;
        let corners: Vec<_> = self.temperatures().map(|temperature| self.corner(&net, temperature)).collect();
        let (out, back) = (net.reach(supply.from), net.reach(supply.ret));
        let end = self.costliest(&net, &corners, &back, ends);
        let case = |&load: &PointId| {
            let way = net.way(supply.from, &out, load)?;
            let home = net.way(supply.ret, &back, end?)?;
            let on_way = net.pieces(&way).into_iter().chain(net.pieces(&home));
            let cut =
                on_way.filter(|piece| self.open.get(*piece) == Some(&true)).map(SegmentId::new).collect();
            Some(Case { load, back: end?, state, out: way, home, cut })
        };
        let cases = loads.iter().filter_map(case).collect();
        // Limits hold at 20 °C, and so does the budget they are shares of.
        let budget = supply.brown_out.is_none().then(|| self.corner(&net, Celsius(20.0)));
        Laid { net, corners, budget, cases }
    }

    fn corner(&self, net: &Net, temperature: Celsius) -> Corner {
        let ranges = self.at(temperature);
        let values =
            |which: fn(&Range) -> Ohms| net.values(ranges.iter().map(|range| which(range).0).collect());
        let (low, high, middle) =
            (values(|range| range.low), values(|range| range.high), values(|range| range.middle));
        Corner { temperature, low, high, middle, ranges }
    }

    /// The end of the return that costs most: the file does not say which load's current comes back from where.
    fn costliest(&self, net: &Net, corners: &[Corner], back: &Reach, ends: &[PointId]) -> Option<PointId> {
        if let [only] = ends {
            return Some(*only);
        }
        let from = self.network.board.supply.ret;
        let mut most: Option<(f64, PointId)> = None;
        for &end in ends {
            let Some(way) = net.way(from, back, end) else { continue };
            let costs = corners.iter().map(|corner| net.resistance(&way, &corner.high)).fold(0.0, f64::max);
            if most.is_none_or(|(known, _)| costs > known) {
                most = Some((costs, end));
            }
        }
        most.map(|(_, end)| end)
    }

    pub fn judge(&self, laid: &Laid, case: &Case, values: &[Value]) -> LoadVoltage {
        let supply = &self.network.board.supply;
        let source = supply.source.unwrap_or_default();
        let [low, high] = supply.voltage;
        let mut bounds: Option<Bounds> = None;
        for corner in &laid.corners {
            let (most, least) = (laid.resistance(case, &corner.high), laid.resistance(case, &corner.low));
            bounds = Some(match bounds {
                None => Bounds { most, least, surely: least, worst_at: corner.temperature },
                Some(known) => Bounds {
                    most: known.most.max(most),
                    least: known.least.min(least),
                    surely: known.surely.max(least),
                    worst_at: if most > known.most { corner.temperature } else { known.worst_at },
                },
            });
        }
        let Bounds { most, least, surely, worst_at } = bounds.unwrap_or_default();
        let lowest = low - supply.load * (source + most);
        let (middle, u95) = laid.combined(case, worst_at);
        let (margin, surely) = match &laid.budget {
            None => {
                let above = |volts: Volts| volts - supply.brown_out.unwrap_or_default();
                (above(lowest), above(low - supply.load * (source + surely)))
            }
            Some(budget) => {
                let left = |values| supply.max_drop - supply.load * laid.resistance(case, values);
                (left(&budget.high), left(&budget.low))
            }
        };
        let on_way = laid.net.pieces(&case.out).into_iter().chain(laid.net.pieces(&case.home));
        let not_read: Vec<_> = on_way
            .filter(|piece| values.get(*piece).is_some_and(|value| value.standing == Standing::NotRead))
            .map(SegmentId::new)
            .collect();
        let verdict = match () {
            () if !case.cut.is_empty() || surely < -HAIR => Verdict::Fail,
            () if margin >= -HAIR && not_read.is_empty() => Verdict::Pass,
            () => Verdict::Unproven,
        };
        LoadVoltage {
            load: case.load,
            state: case.state,
            back: case.back,
            lowest,
            highest: high - supply.load * (source + least),
            worst_at,
            middle: low - supply.load * (source + middle),
            u95: supply.load * u95,
            margin,
            verdict,
            cut: case.cut.clone(),
            not_read,
        }
    }
}

/// The loads of a state that are looked at in one net, and all resistances that they are looked at with.
pub(super) struct Laid {
    pub net: Net,
    corners: Vec<Corner>,
    /// At 20 °C, where the drop budget is what is judged.
    budget: Option<Corner>,
    pub cases: Vec<Case>,
}

/// Resistances of all pieces at a temperature.
struct Corner {
    temperature: Celsius,
    ranges: Vec<Range>,
    low: Values,
    high: Values,
    middle: Values,
}

impl Laid {
    /// Resistance of a case's ways together.
    fn resistance(&self, case: &Case, values: &Values) -> Ohms {
        Ohms(self.net.resistance(&case.out, values) + self.net.resistance(&case.home, values))
    }

    /// The middle of that at one of the temperatures, and its expanded uncertainty.
    fn combined(&self, case: &Case, temperature: Celsius) -> (Ohms, Ohms) {
        let Some(corner) = self.corners.iter().find(|corner| corner.temperature == temperature) else {
            return (Ohms(f64::INFINITY), Ohms(f64::INFINITY));
        };
        let ways = [&case.out, &case.home];
        let shares = ways.into_iter().flat_map(|way| self.net.shares(way, &corner.middle));
        let parts = shares.map(|(piece, share)| {
            share * share * corner.ranges.get(piece).map_or(f64::INFINITY, |range| range.sigma.0)
        });
        let variance: f64 = parts.map(|part| part * part).sum();
        (self.resistance(case, &corner.middle), Ohms(COVERAGE * variance.sqrt()))
    }

    /// What shares are worked out from at one of the temperatures.
    pub fn standing(&self, temperature: Celsius) -> Values {
        let corner = self.corners.iter().find(|corner| corner.temperature == temperature);
        let ranges = corner.map(|corner| corner.ranges.as_slice()).unwrap_or_default();
        self.net.values(ranges.iter().map(|range| range.stands.0).collect())
    }
}

/// Resistance of a way over the temperatures.
#[derive(Clone, Copy, Default)]
struct Bounds {
    most: Ohms,
    least: Ohms,
    /// What it has at least at the worse temperature.
    surely: Ohms,
    worst_at: Celsius,
}
