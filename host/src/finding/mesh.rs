//! What is found about the segments of a mesh: what Kirchhoff's law says of each, and whether the currents add up.
//!
//! Contacts go by what was read dry, all else by what was read under load, as on a series path; each excitation makes an estimate of the
//! whole mesh of its own. Where the voltages are off by more than their errors, current takes a path that the board file does not have.
//! Then no value of the mesh can be trusted, and none of its segments passes.

use std::collections::BTreeSet;

use copperwalk_wire::Source;

use super::{
    open::{self, Open},
    segment::{self, Doubt, MOTION_RATIO, Value, doubtful_class},
    warmth::{self, Warmth},
};
use crate::{
    board::{Board, PointId, SegmentId, StateId, graph::Mesh, placement},
    evidence::{Evidence, MeshReading, RunEvidence},
    fixture::Fixture,
    limits::{LimitSet, Limits},
    measure::{
        kirchhoff::{self, Estimate, Linear, Shared},
        ratio::{Motion, Reading},
        uncertainty::{Budget, Edges},
    },
    mesh,
    meter::Meter,
    plan::{
        Plan, Stage, aim,
        mesh::{Current, by_mesh},
    },
    quantity::Ohms,
    verdict::{self, Class, Verdict},
};

/// Residuals less probable than this under the errors of the readings are another path's; probability. Most errors are bounded by their
/// published worst case, so that whole meshes are far rarer than this called wrong for nothing.
const UNACCOUNTED_PROBABILITY: f64 = 1e-5;
/// A conductance that is not told from nothing is at most so many standard deviations above what it seems to be; no unit.
const SIGMAS: f64 = 3.0;
/// Standard deviation of a rectangle over its half width.
const RECTANGLE: f64 = 0.577_350_269_189_625_8;

/// One mesh in one state.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The state.
    pub state: StateId,
    /// The mesh.
    pub mesh: Mesh,
    /// What is found about those of its segments that this state measures.
    pub segments: Vec<segment::Finding>,
    /// Two points that something seems to join which the board file does not have.
    pub unaccounted: Option<[PointId; 2]>,
    /// What each excitation says.
    sights: Vec<Sight>,
}

/// What the readings with one excitation say.
#[derive(Clone, Debug)]
struct Sight {
    source: Source,
    estimate: Estimate,
    errors: Errors,
}

/// What a plan's meshes are found to be.
pub fn find(fixture: &Fixture, limits: &LimitSet, plan: &Plan, evidence: &Evidence) -> Vec<Finding> {
    plan.stages.iter().flat_map(|stage| find_in(fixture, limits, stage, evidence)).collect()
}

/// The same of one state.
pub fn find_in(fixture: &Fixture, limits: &LimitSet, stage: &Stage, evidence: &Evidence) -> Vec<Finding> {
    let scene =
        Scene { fixture, limits, state: stage.state, evidence, warmth: warmth::of(fixture, evidence) };
    by_mesh(stage).into_iter().filter_map(|currents| scene.mesh(&currents)).collect()
}

impl Finding {
    /// What the mesh is from one of its points to another, where its currents add up and everything on the way is told.
    pub fn between(&self, from: PointId, to: PointId) -> Option<(Ohms, Budget)> {
        if self.unaccounted.is_some() || self.segments.iter().any(|finding| finding.value.is_none()) {
            return None;
        }
        let ends = [self.mesh.node(from)?, self.mesh.node(to)?];
        let sight = self.sights.iter().find(|sight| sight.source == Source::Load).or(self.sights.first())?;
        let found = sight.estimate.between(ends);
        Some((Ohms(found.value), sight.errors.budget(&found)))
    }
}

/// What the errors of an estimate are made of: by reading, in their order.
#[derive(Clone, Debug)]
struct Errors {
    /// Noise, as far as it scatters.
    noise: Vec<f64>,
    /// Half widths that readings share with no others.
    edges: Vec<Edges>,
    /// Common mode, by current: it turns round with the current and is the same for all sense pins that it passes on its way.
    common_mode: Vec<Shared>,
    /// Where sense pins stand, by pin and segment.
    placement: Vec<Shared>,
    /// Rm and the gains: shares of every reading.
    scale: [f64; 2],
    /// Noise of the measurement, and what a verdict keeps from its limit.
    rest: Budget,
}

impl Errors {
    /// The budget of what is linear in the readings.
    fn budget(&self, found: &Linear) -> Budget {
        let each = |of: &dyn Fn(&Edges) -> Ohms| {
            let parts = found.weights.iter().zip(&self.edges);
            Ohms(parts.map(|(weight, edges)| (weight * of(edges).0).powi(2)).sum::<f64>().sqrt())
        };
        let shared = |all: &[Shared]| {
            let parts = all.iter().map(|shared| dot(&found.weights, shared).powi(2));
            Ohms(parts.sum::<f64>().sqrt() / RECTANGLE)
        };
        let noise = found.weights.iter().zip(&self.noise).map(|(weight, noise)| (weight * noise).powi(2));
        // What is not known scatters no less where the noise is small.
        let scatter = noise.sum::<f64>().sqrt().hypot(found.unknown);
        let [rm, gain] = self.scale.map(|share| Ohms(share * found.value.abs()));
        Budget {
            noise: Ohms(scatter) / self.rest.spread.factor,
            edges: Edges {
                rm,
                gain,
                linearity: each(&|edges| edges.linearity),
                common_mode: shared(&self.common_mode),
                emf: each(&|edges| edges.emf),
                hum: each(&|edges| edges.hum),
                leakage: each(&|edges| edges.leakage),
                placement: shared(&self.placement),
                temperature: Ohms::ZERO,
            },
            ..self.rest
        }
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

struct Scene<'r> {
    fixture: &'r Fixture,
    limits: &'r LimitSet,
    state: StateId,
    evidence: &'r Evidence,
    warmth: Warmth,
}

impl Scene<'_> {
    fn board(&self) -> &Board {
        &self.fixture.board
    }

    fn mesh(&self, currents: &[&Current]) -> Option<Finding> {
        let (mesh, wanted) = (&currents.first()?.mesh, &currents.first()?.wanted);
        let runs = || self.evidence.in_state(self.state);
        let seen: Vec<&MeshReading> = runs()
            .flat_map(RunEvidence::meshes)
            .filter(|seen| mesh.segments.contains(&seen.segment))
            .collect();
        let sights: Vec<Sight> = [Source::Dry, Source::Load, Source::Wide]
            .into_iter()
            .filter_map(|source| self.sight(mesh, currents, source, &seen))
            .collect();
        let unaccounted = sights
            .iter()
            .filter(|sight| sight.estimate.probability() < UNACCOUNTED_PROBABILITY)
            .find_map(|sight| sight.estimate.joined)
            .map(|ends| ends.map(|node| mesh.points[node]));
        let opens = open::opens(runs());
        let moved = seen.iter().any(|seen| seen.reading.motion.is_some());
        let shaken = seen.iter().any(|seen| matches!(seen.reading.motion, Some(Motion::Here(_))));
        let unsettled = seen.iter().any(|seen| !seen.reading.settled);
        let all: Vec<_> =
            wanted.iter().map(|&id| self.segment(mesh, id, &seen, &opens, &sights, unaccounted)).collect();
        let opened = all.iter().any(|finding| finding.class == Class::Open);
        let mover = all.iter().find(|finding| finding.class == Class::Flaky).map(|finding| finding.segment);
        let said = |finding: segment::Finding| {
            let doubt = finding.doubt.map(|doubt| match doubt {
                Doubt::LittleCurrent if opened => Doubt::NotReached,
                _ if mover.is_some() => Doubt::Disturbed(mover),
                Doubt::LittleCurrent | Doubt::NotReached if moved => Doubt::Disturbed(None),
                Doubt::LittleCurrent | Doubt::NotReached if unsettled => Doubt::Unsettled,
                doubt => doubt,
            });
            // One segment that comes and goes sends the current another way each time: readings from quiet moments contradict each
            // other, and what a fit makes of them is of no segment in particular.
            let fitted = finding.located.is_none() && finding.class != Class::Flaky;
            if shaken && fitted {
                return segment::Finding {
                    verdict: Verdict::Unproven,
                    class: if finding.value.is_some() { Class::Ok } else { Class::NotReached },
                    doubt: Some(Doubt::Disturbed(mover)),
                    ..finding
                };
            }
            segment::Finding { doubt, ..finding }
        };
        let unaccounted = unaccounted.filter(|_| !shaken);
        let segments = all.into_iter().map(said).collect();
        Some(Finding { state: self.state, mesh: mesh.clone(), segments, unaccounted, sights })
    }

    /// What the steady readings with one excitation say.
    fn sight(
        &self,
        mesh: &Mesh,
        currents: &[&Current],
        source: Source,
        seen: &[&MeshReading],
    ) -> Option<Sight> {
        let counts = |seen: &&&MeshReading| {
            let reading = &seen.reading;
            let steady = reading.motion.is_none() && reading.settled && !reading.over_range;
            seen.source == source && reading.flows && steady && seen.touches == [true; 2]
        };
        let ports = |forced: [PointId; 2]| {
            let current = currents.iter().find(|current| [current.path.from, current.path.to] == forced)?;
            Some(current.ports)
        };
        let read: Vec<Read<'_>> = seen
            .iter()
            .filter(counts)
            .filter_map(|&seen| {
                let ports = ports(seen.forced)?;
                let [a, b] = seen.ends.map(|end| mesh.node(end));
                let [p, q] = ports.map(|port| mesh.node(port.at));
                let led = ports.map(|port| port.at != port.forced);
                Some(Read { seen, between: [a?, b?], current: [p?, q?], led })
            })
            .collect();
        let first = read.first()?;
        let circuit = mesh::circuit(self.board(), mesh);
        let healthy = mesh::healthy(self.board(), mesh);
        let meter: &Meter = self.evidence.meter();
        let (size, edges) = (first.seen.reading.resistance.abs(), &first.seen.reading.budget.edges);
        let gain = if size > Ohms::ZERO { edges.gain / size } else { 0.0 };
        let budgets = || read.iter().map(|read| read.seen.reading.budget);
        let looks = budgets().map(|budget| budget.looks).fold(0.0, f64::max);
        let mut errors = Errors {
            noise: budgets().map(|budget| budget.scatter().0).collect(),
            edges: budgets().map(|budget| budget.edges).collect(),
            common_mode: common_mode(&read),
            placement: Vec::new(),
            scale: [meter.rm.half, gain],
            rest: Budget {
                spread: self.evidence.surroundings().noise,
                looks,
                ..Budget::of_noise(Ohms::ZERO)
            },
        };
        let readings: Vec<kirchhoff::Reading> = read
            .iter()
            .zip(&errors.noise)
            .map(|(read, noise)| {
                let Edges { linearity, emf, hum, leakage, .. } = read.seen.reading.budget.edges;
                let bounded = linearity.hypot(emf).hypot(hum).hypot(leakage).0 * RECTANGLE;
                kirchhoff::Reading {
                    current: read.current,
                    between: read.between,
                    ohms: read.seen.reading.resistance.0,
                    sigma: noise.hypot(bounded),
                }
            })
            .collect();
        // Where the currents run decides what a pin beside its point reads, so it is found out first by healthy currents.
        let mut siemens = healthy.clone();
        let mut estimate = None;
        for _ in 0..2 {
            let least = |(siemens, healthy): (&f64, &f64)| siemens.max(LEAST_CONDUCTANCE * healthy);
            siemens = siemens.iter().zip(&healthy).map(least).collect();
            errors.placement = self.placement(mesh, &circuit, &siemens, &read);
            let shared: Vec<Shared> = errors.common_mode.iter().chain(&errors.placement).cloned().collect();
            let found = kirchhoff::fit(&circuit, &healthy, &readings, &shared)?;
            siemens = found.siemens();
            estimate = Some(found);
        }
        Some(Sight { source, estimate: estimate?, errors })
    }

    /// What each sense pin that stands beside its point along each of the segments there shifts the readings by. A pin stands along one of
    /// them only, so each has its share of the variance.
    fn placement(
        &self,
        mesh: &Mesh,
        circuit: &mesh::circuit::Circuit,
        siemens: &[f64],
        read: &[Read<'_>],
    ) -> Vec<Shared> {
        let board = self.board();
        let Some(solved) = circuit.with(siemens) else { return Vec::new() };
        let mut all = Vec::new();
        for (node, &point) in mesh.points.iter().enumerate() {
            let meeting = board.segments.iter().filter(|segment| [segment.from, segment.to].contains(&point));
            let share = (meeting.count() as f64).sqrt();
            let ohms = placement::beside(board, point, self.fixture.pins(point).off_mm).0 * RECTANGLE / share;
            // What flows away from the point, over the current that is sent in.
            let shared = |away: &dyn Fn(&Read<'_>) -> f64| -> Shared {
                let shift = |read: &Read<'_>| {
                    let pin = f64::from(u8::from(read.between[1] == node))
                        - f64::from(u8::from(read.between[0] == node));
                    if pin == 0.0 { 0.0 } else { pin * ohms * away(read) }
                };
                read.iter().map(shift).collect()
            };
            for (&[a, b], siemens) in circuit.branches.iter().zip(siemens) {
                let across = if a == node { b } else { a };
                if a == node || b == node {
                    all.push(shared(&|read| siemens * solved.transfer([node, across], read.current)));
                }
            }
            all.push(shared(&|read| match read.current.iter().position(|&port| port == node) {
                Some(0) if read.led[0] => -1.0,
                Some(1) if read.led[1] => 1.0,
                _ => 0.0,
            }));
        }
        all.retain(|shared| shared.iter().any(|shift| *shift != 0.0));
        all
    }

    fn segment(
        &self,
        mesh: &Mesh,
        id: SegmentId,
        seen: &[&MeshReading],
        opens: &[Open],
        sights: &[Sight],
        unaccounted: Option<[PointId; 2]>,
    ) -> segment::Finding {
        let (segment, limits) = (self.board().segment(id), self.limits.of(id));
        let finding = |value, verdict, class, doubt| {
            segment::Finding::new(id, self.state, value, verdict, class, doubt)
        };
        if let Some(open) = opens.iter().find(|open| open.segment == id) {
            return segment::Finding {
                located: Some(*open),
                ..finding(None, Verdict::Fail, Class::Open, None)
            };
        }
        let mut mine = seen.iter().filter(|seen| seen.segment == id);
        if mine.clone().any(|seen| is_flaky(&seen.reading, limits)) {
            return finding(None, Verdict::Fail, Class::Flaky, None);
        }
        // With a silent pin at its end, nothing tells a segment from its neighbour there.
        if !mine.any(|seen| seen.touches == [true; 2]) {
            return finding(None, Verdict::Unproven, Class::NotReached, Some(Doubt::NotReached));
        }
        let own = aim::source_for((segment, limits));
        let branch = mesh.segments.iter().position(|known| *known == id);
        let told = |source| {
            let sight = sights.iter().find(|sight| sight.source == source)?;
            Some(self.told(id, sight, branch?))
        };
        let Some(found) = told(own).or_else(|| sights.first().and_then(|sight| told(sight.source))) else {
            return finding(None, Verdict::Unproven, Class::NotReached, Some(Doubt::NotReached));
        };
        let (value, verdict, class, doubt) = match found {
            Told::Nothing => (None, Verdict::Unproven, Class::NotReached, Some(Doubt::LittleCurrent)),
            Told::Open => (None, Verdict::Fail, Class::Open, None),
            Told::Value(value) => {
                let verdict = verdict::judge(value.at_20c, value.budget.guard(), limits);
                let film = verdict == Verdict::Fail
                    && own == Source::Dry
                    && matches!(told(Source::Load), Some(Told::Value(loaded))
                        if verdict::judge(loaded.at_20c, loaded.budget.guard(), limits) == Verdict::Pass);
                let class = if film { Class::Film } else { doubtful_class(segment, limits, &value) };
                let doubt = (verdict == Verdict::Unproven).then_some(Doubt::Straddles);
                (Some(*value), verdict, class, doubt)
            }
        };
        match unaccounted {
            Some(ends) => finding(value, Verdict::Unproven, class, Some(Doubt::Unaccounted(ends))),
            None => finding(value, verdict, class, doubt),
        }
    }

    fn told(&self, id: SegmentId, sight: &Sight, branch: usize) -> Told {
        let (segment, limits) = (self.board().segment(id), self.limits.of(id));
        let conductance = sight.estimate.conductance(branch);
        let budget = sight.errors.budget(&conductance);
        let (siemens, half) = (conductance.value, budget.guard().0);
        if siemens > half {
            let resistance = sight.estimate.resistance(branch);
            let budget = sight.errors.budget(&resistance);
            // The reciprocal of an interval lies further above its middle than below.
            let wider = (1.0 - half / siemens).recip();
            let edges = Edges {
                placement: budget.edges.placement * wider,
                common_mode: budget.edges.common_mode * wider,
                ..budget.edges
            };
            let as_measured = Budget { noise: budget.noise * wider, edges, ..budget };
            return Told::Value(Box::new(Value::of(
                &segment.kind,
                Ohms(resistance.value),
                as_measured,
                self.warmth,
            )));
        }
        let most = sight.estimate.at_most(branch, SIGMAS);
        let least = Value::of(&segment.kind, Ohms(most.recip()), Budget::of_noise(Ohms::ZERO), self.warmth);
        if least.at_20c > limits.max { Told::Open } else { Told::Nothing }
    }
}

/// Did a segment itself come and go? No more than the whole current flows through it, so what stood across it for a moment over that
/// current is no more than it had then.
fn is_flaky(reading: &Reading, limits: &Limits) -> bool {
    matches!(reading.motion, Some(Motion::Here([low, high])) if high > limits.max && high > MOTION_RATIO * low)
}

/// What an estimate says of one segment.
enum Told {
    /// A value.
    Value(Box<Value>),
    /// Its conductance is not told from nothing, and too small for its limit.
    Open,
    /// Anything is possible.
    Nothing,
}

/// Where pins stand is reckoned with currents of at least so much of what a healthy segment conducts, no unit.
const LEAST_CONDUCTANCE: f64 = 1e-6;

/// A reading that counts.
struct Read<'r> {
    seen: &'r MeshReading,
    /// Nodes.
    between: [usize; 2],
    /// Nodes.
    current: [usize; 2],
    /// Is the current led to the port by a segment outside the mesh?
    led: [bool; 2],
}

/// By current: what the common mode adds to its readings. It does not turn round with the sense leads.
fn common_mode(read: &[Read<'_>]) -> Vec<Shared> {
    let currents: BTreeSet<[usize; 2]> = read.iter().map(|read| read.current).collect();
    let of = |current: [usize; 2]| -> Shared {
        let share = |read: &Read<'_>| {
            let sign = if read.seen.swapped { -1.0 } else { 1.0 };
            let half = read.seen.reading.budget.edges.common_mode.0 * RECTANGLE;
            if read.current == current { sign * half } else { 0.0 }
        };
        read.iter().map(share).collect()
    };
    currents.into_iter().map(of).collect()
}
