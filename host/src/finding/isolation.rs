//! What is found about isolation between two points, and about switches that must read open.

use crate::{
    board::{Board, PointId, SegmentId, StateId},
    evidence::{Evidence, Observation},
    measure::isolation::Isolation,
    plan::{Plan, forest::Forest},
    quantity::{Ohms, Volts},
    verdict::{self, Class, Verdict},
};

/// An isolation below this is a short.
const SHORT: Ohms = Ohms(100.0);
/// Resistance in the dry range over that in the isolation range from which on it is a semiconductor's and no resistor's; no unit. A
/// junction's current changes threefold with every 30 to 50 mV, and the two ranges lie 180 mV apart.
const KNEE: f64 = 3.0;
/// The dry range puts 18 mV across what insulates; with less than this something was not in touch.
const STANDS: Volts = Volts(5e-3);
/// Two leaks whose values agree to this ratio may be one and the same leak.
const ALIKE: f64 = 0.7;

/// Which isolation.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Barrier {
    /// An entry of the board's list.
    Between(usize),
    /// A switch that must read open.
    Switch(SegmentId),
}

impl Barrier {
    /// Its name for people: `a~b`, or the switch's.
    pub fn name(self, board: &Board) -> String {
        match self {
            Self::Switch(id) => board.segment(id).name.clone(),
            Self::Between(index) => {
                board.isolation[index].between.map(|point| board.point(point).name.as_str()).join("~")
            }
        }
    }
}

/// One isolation in one state.
#[derive(Clone, PartialEq, Debug)]
pub struct Finding {
    /// Which.
    pub barrier: Barrier,
    /// Its two points.
    pub between: [PointId; 2],
    /// The state.
    pub state: StateId,
    /// The reading, if there is one.
    pub reading: Option<Isolation>,
    /// Least resistance allowed.
    pub min: Ohms,
    /// Verdict.
    pub verdict: Verdict,
    /// `ok`, `leaky`, `shorted`, `junction` or `not_reached`.
    pub class: Class,
    /// Why nothing is proven; `None` unless the verdict is unproven.
    pub doubt: Option<Doubt>,
}

/// Why an isolation is neither proven good nor proven bad.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Doubt {
    /// It was not read.
    NotReached,
    /// A capacitor was still charging when the time was up.
    Charging,
    /// The bounds hold the limit.
    Straddles,
    /// It conducts one way only, or only above some tenths of a volt.
    Junction,
    /// It was read past this leak, round by way of the bulk capacitor.
    MaskedBy(Barrier),
}

/// Every isolation the plan's states ask for: switches first, then the board's list, state after state.
pub fn find(board: &Board, plan: &Plan, evidence: &Evidence) -> Vec<Finding> {
    let mut findings = Vec::new();
    for stage in &plan.stages {
        let state = stage.state;
        let seen = |wanted: Barrier| {
            evidence.in_state(state).flat_map(|run| &run.observations).find_map(|seen| match seen {
                Observation::Isolation(at, reading) if wanted == Barrier::Between(*at) => Some(reading),
                Observation::OpenSwitch(id, reading) if wanted == Barrier::Switch(*id) => Some(reading),
                _ => None,
            })
        };
        for id in board.segment_ids() {
            let segment = board.segment(id);
            if let (false, Some(min)) = (segment.conducts_in(state), segment.open_min) {
                let barrier = Barrier::Switch(id);
                let between = [segment.from, segment.to];
                findings.push(judge(barrier, between, state, min, seen(barrier)));
            }
        }
        for (index, entry) in board.isolation.iter().enumerate().filter(|(_, entry)| entry.state == state) {
            let barrier = Barrier::Between(index);
            let mut finding = judge(barrier, entry.between, state, entry.min, seen(barrier));
            if finding.verdict == Verdict::Fail && is_junction(evidence, index, &finding) {
                // What conducts forward through a semiconductor and what leaks beside it look alike. Only the file can say that
                // good units are so.
                finding.class = Class::Junction;
                (finding.verdict, finding.doubt) = match entry.junction {
                    true => (Verdict::Pass, None),
                    false => (Verdict::Unproven, Some(Doubt::Junction)),
                };
            }
            findings.push(finding);
        }
    }
    mask_ambiguous(board, &mut findings);
    findings
}

/// Is what failed a semiconductor: does it hold its limit with the two sides exchanged, or conduct much less at a tenth of the voltage?
fn is_junction(evidence: &Evidence, index: usize, failed: &Finding) -> bool {
    let observations = || evidence.in_state(failed.state).flat_map(|run| &run.observations);
    let exchanged = observations().any(|seen| match seen {
        Observation::Exchanged(of, reading) => {
            *of == index && reading.driven && reading.at_least.is_some_and(|ohms| ohms >= failed.min)
        }
        _ => false,
    });
    let resistance = failed.reading.as_ref().and_then(|reading| reading.resistance);
    let below = observations().any(|seen| match (seen, resistance) {
        (Observation::Below(of, reading), Some(above)) if *of == index && reading.motion.is_none() => {
            let least = reading.resistance.abs() - reading.budget.guard();
            reading.voltage.abs() > STANDS && (!reading.flows || least > KNEE * above)
        }
        _ => false,
    });
    exchanged || below
}

fn judge(
    barrier: Barrier,
    between: [PointId; 2],
    state: StateId,
    min: Ohms,
    reading: Option<&Isolation>,
) -> Finding {
    let at_most = reading.and_then(|reading| reading.at_most);
    let verdict = verdict::judge_isolation(reading.and_then(|r| r.at_least), at_most, min);
    let class = match (reading, verdict) {
        (None, _) => Class::NotReached,
        (_, Verdict::Fail) if at_most.is_some_and(|ohms| ohms < SHORT) => Class::Shorted,
        (_, Verdict::Fail) => Class::Leaky,
        _ => Class::Ok,
    };
    let doubt = (verdict == Verdict::Unproven).then_some(match reading {
        None => Doubt::NotReached,
        Some(reading) if reading.still_charging => Doubt::Charging,
        Some(_) => Doubt::Straddles,
    });
    Finding { barrier, between, state, reading: reading.cloned(), min, verdict, class, doubt }
}

/// In a state where a switch is open, a leak across the switch and a leak across the supply look alike, because each
/// charges the bulk capacitor that the other one reaches by way of it. Of two that differ the lower one is the leak.
/// Two that agree are told apart by the state in which the switch is closed: there the supply's isolation is read
/// without the switch.
fn mask_ambiguous(board: &Board, findings: &mut [Finding]) {
    let fails = |at: &usize| matches!(findings[*at].class, Class::Leaky | Class::Shorted);
    let is_switch = |at: &usize| matches!(findings[*at].barrier, Barrier::Switch(_));
    let (switches, supplies): (Vec<usize>, Vec<usize>) =
        (0..findings.len()).filter(fails).partition(is_switch);
    for &switch in &switches {
        for &supply in &supplies {
            let ohms = |at: usize| findings[at].reading.as_ref().and_then(|reading| reading.resistance);
            let (Some(across), Some(beside)) = (ohms(switch), ohms(supply)) else { continue };
            if findings[switch].state != findings[supply].state || across < ALIKE * beside {
                continue;
            }
            let alike = beside >= ALIKE * across;
            let cleared = findings.iter().any(|other| {
                matches!(other.barrier, Barrier::Between(_))
                    && other.verdict == Verdict::Pass
                    && other.reading.as_ref().and_then(|r| r.at_least).is_some_and(|r| r > beside / ALIKE)
                    && covers(board, other, &findings[supply])
            });
            let (masked, blamed) = if alike && cleared { (supply, switch) } else { (switch, supply) };
            let by = findings[blamed].barrier;
            let finding = &mut findings[masked];
            finding.verdict = Verdict::Unproven;
            finding.class = Class::NotReached;
            finding.doubt = Some(Doubt::MaskedBy(by));
        }
    }
}

/// Are the points of `narrow` joined to those of `wide` in the state `wide` was read in?
pub fn covers(board: &Board, wide: &Finding, narrow: &Finding) -> bool {
    let forest = Forest::new(board, wide.state, &[]);
    let joined = |a: PointId, b: PointId| forest.tree(a).contains(&b);
    let ([a, b], [c, d]) = (wide.between, narrow.between);
    (joined(a, c) && joined(b, d)) || (joined(a, d) && joined(b, c))
}
