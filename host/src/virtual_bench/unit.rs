//! The unit under the pins: every segment's real resistance, its isolation, its capacitors, and its faults.
//!
//! A healthy unit of usual parts is drawn around what the board file expects and keeps clear of its limits; one on a
//! hostile bench is drawn over the whole band that healthy parts have, whatever the limits are ([`healthy`]). A
//! faulty one has faults put into it. Values are drawn at 20 °C; metal then follows the unit's temperature.

use super::{
    capacitor::{Capacitor, SERIES},
    circuit::Displaced,
    front_end::FrontEnd,
    healthy,
    junction::{self, Junction, Kind, Placed},
    network::{Branch, Network, Node},
    spec::{Injected, Parts, SegmentFault},
    transient::{Charges, Inductance, LEAST_INDUCTANCE},
};
use crate::board::{Board, Segment, SegmentId, SegmentKind, StateId};
use crate::limits::{LimitSet, Limits};
use crate::quantity::{Amps, Celsius, Farads, Henries, Ohms, Seconds, Volts};
use crate::random::Rng;

/// Resistance of a break: a crack in copper on laminate.
const OPEN: Ohms = Ohms(1e9);
/// Voltage that breaks a film down.
const FILM_BREAKS: Volts = Volts(0.25);
/// Resistance of a contact under a film.
const FILM: Ohms = Ohms(330.0);
/// Mean time a flaky contact stays good, and stays bad, µs.
const FLAKY_US: f64 = 2_000.0;
/// Mean time between two interruptions of a contact that drops out, µs.
const DROPS_EVERY_US: f64 = 1e6;
/// Series resistance of a junction that is no segment: that of a small diode.
const JUNCTION_SERIES: Ohms = Ohms(0.3);
/// A diode that may have more forward voltage than this is taken for silicon, one that may not for a Schottky diode.
const SILICON_ABOVE: Volts = Volts(0.55);
/// Time constants of what a capacitor absorbs, second: two stand for the wide spread of real ones. Electrolytic capacitors give back
/// some per cent of their charge over seconds (makers' notes call it 10 to 15 % for aluminium; from memory).
const ABSORPTION_SECONDS: [f64; 2] = [0.02, 0.5];
/// Inner resistance of a fitted battery.
const BATTERY: Ohms = Ohms(0.3);

/// A unit.
#[derive(Clone, Debug)]
pub struct Unit {
    parts: Vec<Part>,
    /// Those of them that change while they are looked at.
    troubled: Vec<usize>,
    /// Resistances between points that are no segments: isolation, shorts, leaks.
    between: Vec<([usize; 2], Ohms)>,
    /// Semiconductors that are no segments: anode and cathode.
    junctions: Vec<([usize; 2], Junction)>,
    /// What makes up the bulk capacitance: ends, capacitance, resistance in series.
    capacitors: Vec<([usize; 2], Farads, Ohms)>,
    battery: Option<([usize; 2], Volts)>,
    charge: Volts,
    state: StateId,
    /// The unit's own temperature.
    warmth: Celsius,
    chance: Rng,
}

/// A segment in the flesh.
#[derive(Clone, Debug)]
struct Part {
    ends: [usize; 2],
    closed: Option<Vec<StateId>>,
    at_20c: Ohms,
    /// Real over 20 °C resistance at the unit's temperature.
    warm: f64,
    open: Ohms,
    trouble: Trouble,
    /// Inductance that is worth following; zero else.
    inductance: Henries,
    /// Conducts from the first end to the second only.
    junction: Option<Junction>,
}

/// A unit's parts in a network.
#[derive(Clone, Debug, Default)]
pub struct Connected {
    /// The battery's branch and its voltage.
    pub battery: Option<(Branch, Volts)>,
    /// The capacitors' branches.
    pub capacitors: Vec<Branch>,
    /// Inductances.
    pub inductances: Vec<Inductance>,
    /// Junctions.
    pub junctions: Vec<Placed>,
}

/// Faults that are more than another resistance.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Trouble {
    None,
    /// Good and bad by turns.
    Flaky {
        high: Ohms,
        bad: bool,
        until_us: u64,
        /// Each bad turn lasts so long, µs; of a contact that is as often bad as good, any time.
        lasts_us: Option<u64>,
    },
    /// An insulating film until it is broken down.
    Film {
        broken: bool,
    },
}

/// What a unit's resistances really are.
#[derive(Clone, PartialEq, Debug)]
pub struct Truth {
    /// Temperature of the unit.
    pub unit: Celsius,
    /// By segment while it conducts, at 20 °C. A flaky contact counts as good, a film as whole.
    pub at_20c: Vec<Ohms>,
    /// The same at the unit's temperature.
    pub resistance: Vec<Ohms>,
    /// By entry of the board's isolation list, in its state: everything between the two points.
    pub isolation: Vec<Ohms>,
}

impl Truth {
    /// What a segment has while it conducts, at 20 °C.
    pub fn segment_at_20c(&self, id: SegmentId) -> Ohms {
        self.at_20c[id.index()]
    }
}

impl Unit {
    /// Draws a unit of this board on a bed of this temperature and puts the faults into it.
    pub fn new(board: &Board, faults: &[Injected], kind: Parts, bed: Celsius, rng: &mut Rng) -> Self {
        let limits = LimitSet::of_board(board);
        let drawn = |id: SegmentId, rng: &mut Rng| match kind {
            Parts::Usual => usual(board.segment(id), limits.of(id), rng),
            Parts::Hostile => healthy::resistance(board, board.segment(id), rng),
        };
        let mut unit = Self {
            parts: board.segment_ids().map(|id| part(board.segment(id), drawn(id, rng), rng)).collect(),
            troubled: Vec::new(),
            between: isolation(board, kind, rng),
            junctions: Vec::new(),
            capacitors: capacitors(board),
            battery: None,
            charge: Volts::ZERO,
            state: StateId::new(0),
            warmth: bed,
            chance: rng.fork(),
        };
        unit.warm_up(board, kind, faults, bed);
        unit.give_coils_and_junctions(board);
        unit.absorb(kind, faults);
        let rails = [board.supply.from.index(), board.supply.ret.index()];
        for fault in faults {
            match *fault {
                Injected::Segment(id, SegmentFault::Rebuilt) => {
                    if let Some(part) = unit.parts.get_mut(id.index()) {
                        let rebuilt = healthy::rebuilt_via(board, board.segment(id), &mut unit.chance.fork());
                        part.at_20c = rebuilt.unwrap_or(part.at_20c);
                    }
                }
                Injected::Segment(id, fault) => {
                    unit.break_part(id.index(), (board.segment(id), limits.of(id)), fault)
                }
                Injected::Bridge([a, b], resistance) => {
                    unit.between.push(([a.index(), b.index()], resistance))
                }
                Injected::Wire([a, b], awg, length_mm) => {
                    let wire = healthy::fitted_wire(awg, length_mm, &mut unit.chance.fork());
                    let warm = 1.0 + healthy::ALPHA_COPPER * (unit.warmth.0 - 20.0);
                    unit.between.push(([a.index(), b.index()], wire * warm));
                }
                Injected::Junction([a, b], kind) => {
                    let junction = Junction::new(kind, &mut unit.chance.clone());
                    unit.junctions.push(([a.index(), b.index()], junction));
                }
                Injected::Battery(voltage) => unit.battery = Some((rails, voltage)),
                Injected::Charge(voltage) => unit.charge = voltage,
                _ => {}
            }
        }
        unit
    }

    /// Draws what is no resistance, from a stream of its own: boards without it draw as ever.
    fn give_coils_and_junctions(&mut self, board: &Board) {
        let mut rng = Rng::new(self.chance.clone().unit().to_bits() ^ 0x1DC7);
        for (part, segment) in self.parts.iter_mut().zip(&board.segments) {
            let inductance = healthy::inductance(segment, &mut rng);
            if inductance >= LEAST_INDUCTANCE {
                part.inductance = inductance;
            }
            let kind = match segment.kind {
                SegmentKind::Diode { max_forward, .. } if max_forward > SILICON_ABOVE => Kind::Silicon,
                SegmentKind::Diode { .. } => Kind::Schottky,
                SegmentKind::Transistor { .. } => Kind::Body,
                _ => continue,
            };
            part.junction = Some(Junction::new(kind, &mut rng));
        }
    }

    /// Gives every bulk capacitor a memory: parts of it that charge slowly, so much of the whole.
    fn absorb(&mut self, kind: Parts, faults: &[Injected]) {
        let stated = faults.iter().rev().find_map(|fault| match fault {
            Injected::Absorption(share) => Some(*share),
            _ => None,
        });
        let mut rng = Rng::new(self.chance.clone().unit().to_bits() ^ 0xAB50);
        let share = stated.unwrap_or_else(|| kind.figures().absorption.draw(&mut rng));
        if share <= 0.0 {
            return;
        }
        let slow = self.capacitors.iter().flat_map(|&(ends, capacitance, _)| {
            ABSORPTION_SECONDS.map(|seconds| {
                let part = capacitance * (share / ABSORPTION_SECONDS.len() as f64);
                (ends, part, Seconds(seconds) / part)
            })
        });
        let slow: Vec<_> = slow.collect();
        self.capacitors.extend(slow);
    }

    /// Do currents in it swing, or run one way only? Then its network is more than resistors and capacitors.
    pub fn swings(&self) -> bool {
        self.is_inductive()
            || !self.junctions.is_empty()
            || self.parts.iter().any(|part| part.junction.is_some())
    }

    /// Has it an inductance that is worth following?
    pub fn is_inductive(&self) -> bool {
        self.parts.iter().any(|part| part.inductance > Henries::ZERO)
    }

    /// Brings the unit to its temperature.
    fn warm_up(&mut self, board: &Board, kind: Parts, faults: &[Injected], bed: Celsius) {
        let mut rng = Rng::new(self.chance.clone().unit().to_bits());
        let stated = faults.iter().rev().find_map(|fault| match fault {
            Injected::Warmer(kelvin) => Some(*kelvin),
            _ => None,
        });
        self.warmth.0 = bed.0 + stated.unwrap_or(kind.figures().unit_kelvin).draw(&mut rng);
        for (part, segment) in self.parts.iter_mut().zip(&board.segments) {
            let coefficient = match kind {
                Parts::Usual => healthy::usual_coefficient(&segment.kind),
                Parts::Hostile => healthy::coefficient(&segment.kind, &mut rng),
            };
            part.warm = 1.0 + coefficient * (self.warmth.0 - 20.0);
        }
    }

    fn break_part(&mut self, index: usize, (segment, limits): (&Segment, &Limits), fault: SegmentFault) {
        let part = &mut self.parts[index];
        part.trouble = match fault {
            SegmentFault::Open => {
                (part.at_20c, part.warm) = (OPEN, 1.0);
                Trouble::None
            }
            SegmentFault::Resistance(resistance) => {
                part.at_20c = resistance;
                Trouble::None
            }
            SegmentFault::OneBarrelOpen => {
                if let SegmentKind::Via { count: count @ 2.., .. } = segment.kind {
                    part.at_20c.0 *= f64::from(count) / f64::from(count - 1);
                }
                Trouble::None
            }
            SegmentFault::Rebuilt => Trouble::None,
            SegmentFault::Film => Trouble::Film { broken: false },
            SegmentFault::Flaky => {
                let high = (20.0 * limits.max).max(Ohms(1.0)) * self.chance.between(1.0, 3.0);
                let until_us = self.chance.waiting(FLAKY_US) as u64;
                Trouble::Flaky { high, bad: false, until_us, lasts_us: None }
            }
            SegmentFault::Drops(time) => {
                let until_us = self.chance.waiting(DROPS_EVERY_US) as u64;
                let lasts_us = Some((time.0 * 1e6) as u64);
                Trouble::Flaky { high: OPEN, bad: false, until_us, lasts_us }
            }
        };
        self.troubled.retain(|&other| other != index);
        if part.trouble != Trouble::None {
            self.troubled.push(index);
        }
    }

    /// Puts the unit into a state. Contacts that move wipe, and their films form anew.
    pub fn place(&mut self, state: StateId) {
        self.state = state;
        for &i in &self.troubled {
            if let Trouble::Film { broken } = &mut self.parts[i].trouble {
                *broken = false;
            }
        }
    }

    /// Adds the unit to a network whose node for point 0 is `first`.
    pub fn connect(&self, network: &mut Network, first: Node, displaced: &[Displaced]) -> Connected {
        let (mut inductances, mut junctions) = (Vec::new(), Vec::new());
        for (at, part) in self.parts.iter().enumerate() {
            let mut ends = part.ends.map(|point| first + point);
            let mut left = part.resistance_now(self.state);
            for pin in displaced.iter().filter(|pin| pin.segment == at) {
                let end = usize::from(part.ends[0] != pin.point);
                let skipped = pin.skipped.min(left / 4.0);
                network.resistor(ends[end], pin.node, skipped);
                (ends[end], left) = (pin.node, left - skipped);
            }
            if part.inductance > Henries::ZERO {
                let coil = Inductance { between: [network.node(), ends[1]], henries: part.inductance };
                network.resistor(coil.between[0], ends[1], coil.loss());
                ends[1] = coil.between[0];
                inductances.push(coil);
            }
            if let Some(junction) = part.junction {
                ends[1] = behind(network, &mut junctions, junction, ends[1]);
            }
            network.resistor(ends[0], ends[1], left);
        }
        for &([a, b], junction) in &self.junctions {
            let anode = behind(network, &mut junctions, junction, first + b);
            network.resistor(first + a, anode, JUNCTION_SERIES);
        }
        let mut join = |[a, b]: [usize; 2], of: Ohms| network.resistor(first + a, first + b, of);
        for &(ends, resistance) in &self.between {
            join(ends, resistance);
        }
        let battery = self.battery.map(|(ends, voltage)| (join(ends, BATTERY), voltage));
        let capacitors = self.capacitors.iter().map(|&(ends, _, series)| join(ends, series)).collect();
        Connected { battery, capacitors, inductances, junctions }
    }

    /// The unit's capacitors, charged as they are when it is put down, with what an inductive unit makes matter beside them; no
    /// current.
    pub fn charges(&self, first: Node) -> Charges {
        let capacitor = |&([a, b], capacitance, series): &([usize; 2], Farads, Ohms)| Capacitor {
            between: [first + a, first + b],
            capacitance,
            series,
            voltage: self.charge,
        };
        let damper = self.is_inductive().then(FrontEnd::damper);
        let coils = self.parts.iter().filter(|part| part.inductance > Henries::ZERO).count();
        Charges {
            capacitors: self.capacitors.iter().map(capacitor).chain(damper).collect(),
            currents: vec![Amps::ZERO; coils],
            junctions: Vec::new(),
        }
    }

    /// Does anything in the unit drive a current by itself, charge apart?
    pub fn has_battery(&self) -> bool {
        self.battery.is_some()
    }

    /// Is there a film that voltage could still break?
    pub fn has_film(&self) -> bool {
        self.troubled.iter().any(|&i| self.parts[i].trouble == Trouble::Film { broken: false })
    }

    /// When a contact next changes by itself.
    pub fn changes_at(&self) -> Option<u64> {
        self.troubled.iter().filter_map(|&i| self.parts[i].turns_at()).min()
    }

    /// Lets contacts change that are due. Gives those that did, by segment, and whether they are good now.
    pub fn change(&mut self, now_us: u64) -> Vec<(SegmentId, bool)> {
        let mut changed = Vec::new();
        for &i in &self.troubled {
            if let Trouble::Flaky { bad, until_us, lasts_us, .. } = &mut self.parts[i].trouble
                && *until_us <= now_us
            {
                *bad = !*bad;
                *until_us = now_us
                    + match *lasts_us {
                        None => 1 + self.chance.waiting(FLAKY_US) as u64,
                        Some(lasts_us) if *bad => lasts_us.max(1),
                        Some(_) => 1 + self.chance.waiting(DROPS_EVERY_US) as u64,
                    };
                changed.push((SegmentId::new(i), !*bad));
            }
        }
        changed
    }

    /// Breaks films that the node voltages are too much for. Returns whether any broke.
    pub fn strain(&mut self, at: &[Volts], first: Node) -> bool {
        let mut changed = false;
        for &i in &self.troubled {
            let part = &mut self.parts[i];
            let [a, b] = part.ends;
            if let Trouble::Film { broken: broken @ false } = &mut part.trouble
                && (at[first + a] - at[first + b]).abs() > FILM_BREAKS
            {
                (*broken, changed) = (true, true);
            }
        }
        changed
    }

    /// What everything really is.
    pub fn truth(&self, board: &Board) -> Truth {
        let closed =
            |part: &Part| if part.trouble == Trouble::None { part.at_20c } else { part.quiet_resistance() };
        let isolation = board.isolation.iter().map(|entry| {
            let mut unit = self.clone();
            unit.place(entry.state);
            let [a, b] = entry.between.map(|point| point.index());
            unit.resistance_between(a, b, board.points.len())
        });
        Truth {
            unit: self.warmth,
            at_20c: self.parts.iter().map(closed).collect(),
            resistance: self.parts.iter().map(|part| closed(part) * part.warm).collect(),
            isolation: isolation.collect(),
        }
    }

    fn resistance_between(&self, a: usize, b: usize, points: usize) -> Ohms {
        // Point b becomes ground: its node swaps its place with node 0.
        let node = |point: usize| {
            if point == b {
                0
            } else if point == 0 {
                b
            } else {
                point
            }
        };
        let mut network = Network::new(points);
        let parts = self.parts.iter().map(|part| {
            let one_way = part.junction.is_some();
            (part.ends, if one_way { part.open } else { part.resistance_now(self.state) })
        });
        for ([from, to], resistance) in parts.chain(self.between.iter().copied()) {
            network.resistor(node(from), node(to), resistance);
        }
        let mut sources = super::network::Sources::default();
        let current = Amps(1.0);
        sources.current(node(a), current);
        network.factor().solve(&sources)[node(a)] / current
    }
}

impl Part {
    fn resistance_now(&self, state: StateId) -> Ohms {
        match &self.closed {
            Some(states) if !states.contains(&state) => self.open,
            _ => match self.trouble {
                Trouble::Flaky { high, bad: true, .. } => high,
                Trouble::Film { broken: false } => FILM,
                _ => self.at_20c * self.warm,
            },
        }
    }

    /// Its resistance while conducting and left alone.
    fn quiet_resistance(&self) -> Ohms {
        if matches!(self.trouble, Trouble::Film { .. }) { FILM } else { self.at_20c }
    }

    fn turns_at(&self) -> Option<u64> {
        match self.trouble {
            Trouble::Flaky { until_us, .. } => Some(until_us),
            _ => None,
        }
    }
}

/// A segment of this resistance at 20 °C.
fn part(segment: &Segment, at_20c: Ohms, rng: &mut Rng) -> Part {
    Part {
        ends: [segment.from.index(), segment.to.index()],
        closed: segment.closed.clone(),
        at_20c,
        warm: 1.0,
        open: Ohms(rng.decades(1e9, 1e10)),
        trouble: Trouble::None,
        inductance: Henries::ZERO,
        junction: None,
    }
}

/// Puts a junction before a cathode, with what leaks beside it; gives its anode.
fn behind(network: &mut Network, junctions: &mut Vec<Placed>, junction: Junction, cathode: Node) -> Node {
    let anode = network.node();
    network.resistor(anode, cathode, junction::BESIDE);
    junctions.push(Placed { between: [anode, cathode], junction, against: Volts::ZERO });
    anode
}

/// A healthy segment of usual parts, clear of its limits by 15 % of the upper one or of the distance between the two.
fn usual(segment: &Segment, limits: &Limits, rng: &mut Rng) -> Ohms {
    let (typical, max) = (segment.expected.typical.0, limits.max.0);
    let spread = rng.normal();
    let drawn = match segment.kind {
        // Etching and plating; a via group stays far from looking like one with a barrel less.
        _ if segment.kind.is_copper() => typical * (1.0 + (0.04 * spread).clamp(-0.08, 0.08)),
        // Legs and bond wires, whatever the limit in volts is.
        SegmentKind::Diode { .. } | SegmentKind::Transistor { .. } => {
            return Ohms(0.04 * (1.0 + 0.1 * spread));
        }
        SegmentKind::Shunt { resistance } => resistance.0 * (1.0 + (0.003 * spread).clamp(-0.008, 0.008)),
        // Parts and contacts: what is high for a healthy one lies two standard deviations up.
        _ => {
            let two_sigma = libm::log((segment.expected.high.0 / typical).clamp(1.0, 2.0));
            typical * libm::exp(two_sigma / 2.0 * spread.clamp(-2.0, 2.0))
        }
    };
    let margin = 0.15 * (max - limits.min.unwrap_or_default().0);
    let low = limits.min.map_or(0.0, |min| min.0 + margin);
    Ohms(drawn.max(low).min(max - margin))
}

/// Healthy isolation: 5 to 50 MΩ of laminate and flux, and at least twenty times what is asked; on a hostile bench 0.5 to
/// 100 MΩ, and at least five times.
fn isolation(board: &Board, kind: Parts, rng: &mut Rng) -> Vec<([usize; 2], Ohms)> {
    let mut between: Vec<([usize; 2], Ohms)> = Vec::new();
    for entry in &board.isolation {
        let mut ends = entry.between.map(|point| point.index());
        ends.sort_unstable();
        let ohms = match kind {
            Parts::Usual => Ohms(rng.decades(5e6, 50e6)).max(20.0 * entry.min),
            // Residue and damp on laminate: half a megohm is still a clean board.
            Parts::Hostile => Ohms(rng.decades(0.5e6, 100e6)).max(5.0 * entry.min),
        };
        match between.iter_mut().find(|(known, _)| *known == ends) {
            Some((_, known)) => *known = known.max(ohms),
            None => between.push((ends, ohms)),
        }
    }
    between
}

/// The bulk capacitance, shared by the loads.
fn capacitors(board: &Board) -> Vec<([usize; 2], Farads, Ohms)> {
    let supply = &board.supply;
    if supply.bulk <= Farads::ZERO {
        return Vec::new();
    }
    let each = supply.bulk / supply.to.len() as f64;
    supply.to.iter().map(|to| ([to.index(), supply.ret.index()], each, SERIES)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::virtual_bench::network::GROUND;

    const ROOM: Celsius = Celsius(23.0);

    fn boards() -> Vec<Board> {
        ["tide-gauge-head", "trail-counter", "greenhouse-valve-driver"]
            .map(|name| format!("{}/../fixtures/{name}/board.toml", env!("CARGO_MANIFEST_DIR")))
            .map(|path| crate::board::read(path.as_ref()).unwrap())
            .to_vec()
    }

    fn unit(board: &Board, faults: &[Injected], seed: u64) -> Unit {
        Unit::new(board, faults, Parts::Usual, ROOM, &mut Rng::new(seed))
    }

    #[test]
    fn healthy_units_keep_clear_of_their_limits() {
        for board in boards() {
            let limits = LimitSet::of_board(&board);
            for seed in 0..200 {
                let truth = unit(&board, &[], seed).truth(&board);
                for (id, &Ohms(ohms)) in board.segment_ids().zip(&truth.at_20c) {
                    let (segment, limits) = (board.segment(id), limits.of(id));
                    let (low, high) = (limits.min.unwrap_or_default().0, limits.max.0);
                    let inside = low + 0.149 * (high - low) * f64::from(u8::from(low > 0.0))
                        ..=high - 0.149 * (high - low);
                    assert!(inside.contains(&ohms), "{}: {ohms} is not in {inside:?}", segment.name);
                    if segment.kind.is_copper() {
                        assert!((ohms / segment.expected.typical.0 - 1.0).abs() <= 0.12, "{}", segment.name);
                    }
                }
                for (entry, ohms) in board.isolation.iter().zip(&truth.isolation) {
                    assert!(*ohms > 5.0 * entry.min && *ohms < Ohms(1e8), "{ohms:?}");
                }
            }
        }
    }

    #[test]
    fn everything_follows_the_air_as_its_metal_does() {
        let board = &boards()[0];
        let truth = Unit::new(board, &[], Parts::Usual, Celsius(33.0), &mut Rng::new(1)).truth(board);
        for (i, segment) in board.segments.iter().enumerate() {
            let ratio = truth.resistance[i] / truth.at_20c[i];
            let expected = 1.0 + 13.0 * healthy::usual_coefficient(&segment.kind);
            assert!((ratio - expected).abs() < 1e-12, "{}", segment.name);
            assert!(!segment.kind.is_copper() || (ratio - 1.051_09).abs() < 1e-12, "{}", segment.name);
        }
    }

    #[test]
    fn a_fault_changes_its_segment_alone() {
        let board = &boards()[0];
        let via =
            board.segments.iter().position(|s| matches!(s.kind, SegmentKind::Via { count: 2, .. })).unwrap();
        let id = SegmentId::new(via);
        let good = unit(board, &[], 4).truth(board).at_20c;
        let faults = [
            (SegmentFault::OneBarrelOpen, 2.0 * good[via]),
            (SegmentFault::Resistance(Ohms(0.01)), Ohms(0.01)),
            (SegmentFault::Open, Ohms(1e9)),
        ];
        for (fault, expected) in faults {
            let mut bad = unit(board, &[Injected::Segment(id, fault)], 4).truth(board).at_20c;
            assert!((bad[via] / expected - 1.0).abs() < 1e-12);
            bad[via] = good[via];
            assert_eq!(bad, good);
        }
    }

    #[test]
    fn switches_conduct_only_in_their_states() {
        let board = &boards()[0];
        let switch = board.segments.iter().position(|s| s.closed.is_some()).unwrap();
        let mut unit = unit(board, &[], 1);
        for state in 0..board.states.len() {
            unit.place(StateId::new(state));
            let closed = board.segments[switch].conducts_in(StateId::new(state));
            let ohms = unit.parts[switch].resistance_now(unit.state);
            assert_eq!(ohms < Ohms(10.0), closed);
            assert!(closed || ohms >= Ohms(1e9));
        }
    }

    #[test]
    fn a_flaky_contact_jumps_within_most_five_milliseconds() {
        let board = &boards()[0];
        let id = board.segment_named("power switch").unwrap();
        let mut unit = unit(board, &[Injected::Segment(id, SegmentFault::Flaky)], 1);
        unit.place(StateId::new(1));
        let (mut jumped, mut bad) = (0, 0);
        let windows = 400;
        for window in 0..windows {
            let before = unit.parts[id.index()].resistance_now(unit.state);
            let mut jumps = false;
            for now_us in (window * 5_000..(window + 1) * 5_000).step_by(50) {
                jumps |= !unit.change(now_us).is_empty();
            }
            jumped += u32::from(jumps);
            bad += u32::from(before >= 20.0 * LimitSet::of_board(board).of(id).max);
        }
        assert!(jumped > 340, "{jumped}");
        assert!((100..300).contains(&bad), "{bad}");
    }

    #[test]
    fn a_film_breaks_down_once_and_forms_anew_when_the_contact_moves() {
        let board = &boards()[0];
        let id = board.segment_named("power switch").unwrap();
        let mut unit = unit(board, &[Injected::Segment(id, SegmentFault::Film)], 1);
        unit.place(StateId::new(1));
        let mut at = vec![Volts::ZERO; board.points.len()];
        let [from, _] = unit.parts[id.index()].ends;
        at[from] = Volts(0.02);
        assert!(!unit.strain(&at, GROUND) && unit.has_film());
        assert_eq!(unit.parts[id.index()].resistance_now(unit.state), FILM);
        at[from] = Volts(0.3);
        assert!(unit.strain(&at, GROUND) && !unit.has_film());
        assert!(unit.parts[id.index()].resistance_now(unit.state) < Ohms(1.0));
        unit.place(StateId::new(0));
        unit.place(StateId::new(1));
        assert_eq!(unit.parts[id.index()].resistance_now(unit.state), FILM);
    }
}
