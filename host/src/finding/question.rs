//! A suspicion about the bench as a question: a few shots that tell the suspects apart, and a conclusion from their
//! answers.

use super::bench::BenchFinding;
use crate::{
    board::PointId,
    evidence::{Bus, ForceContact, Line, Observation, Potential, RelayAnswer, RunEvidence},
    fixture::Fixture,
    plan::{PlannedShot, Sampling, builder::Builder},
    quantity::Volts,
};

/// Potentials against a stuck bus that differ by less than this belong to points beyond the stuck relay: 0.2 mΩ
/// under load.
const SAME: Volts = Volts(10e-6);
/// A point at the same potential as a bus differs from it by offset and thermal EMF only.
const TOGETHER: Volts = Volts(0.5e-3);
/// Less than this between two candidates is noise; the smallest segments drop 20 µV under load.
const NO_DIFFERENCE: Volts = Volts(3e-6);
/// The least voltage by which a stuck force relay is not at the end it is compared with.
const ELSEWHERE: Volts = Volts(20e-6);

/// Something to find out about the bench.
#[derive(Clone, PartialEq, Debug)]
pub enum Question {
    /// A sense pin does not answer on one relay. At a forced point the force contact may be the one to blame, because
    /// it is what ties the unit to the bias node.
    Sense {
        /// Its point.
        point: PointId,
        /// On the + relay?
        plus: bool,
        /// Forced meanwhile.
        ends: (PointId, PointId),
        /// For a forced point: another one that the path joins to it.
        neighbour: Option<PointId>,
    },
    /// A force contact carries nothing, or badly.
    Force(ForceContact),
    /// A sense relay sticks.
    StuckSense {
        /// Of sense+?
        plus: bool,
        /// Stretches to send current along, one after the other: only where current flows are neighbouring points
        /// told apart.
        stretches: Vec<(PointId, PointId)>,
    },
    /// A force relay sticks.
    StuckForce {
        /// Of force+?
        plus: bool,
        /// The forced points of each tree of segments, nearest to its first one first.
        trees: Vec<Vec<PointId>>,
    },
    /// A sense contact of a check standard, by its channel.
    Standard(u16),
}

impl Question {
    /// The runs that answer it. Only a force contact's and a sense contact's may be asked before the unit is known to
    /// be without voltage: nothing is excited by the latter, and 20 mV at most by the former.
    pub fn rounds(&self, fixture: &Fixture) -> Vec<Vec<PlannedShot>> {
        let mut builder = Builder::new(fixture, Sampling::Quick);
        match self {
            &Self::Sense { point, plus, .. } => {
                builder.prove_sense(self.first_ends(), point, plus);
                builder.prove_sense(self.first_ends(), point, !plus);
                for ends in self.turned_ends().into_iter().chain(self.neighbour_ends()) {
                    builder.prove_sense(ends, point, plus);
                }
            }
            &Self::Force(ForceContact { point, .. }) => {
                // As before, then both contacts on their other relays.
                let (from, to) = self.first_ends();
                builder.prove_force(point, from, to);
                builder.prove_force(point, to, from);
            }
            Self::StuckSense { plus, stretches } => {
                // A run each: on a large board they would not fit the controller together.
                let round = |ends: &(PointId, PointId)| {
                    let mut builder = Builder::new(fixture, Sampling::Quick);
                    builder.seek_sense(*ends, *plus);
                    builder.finish()
                };
                return stretches.iter().map(round).collect();
            }
            Self::StuckForce { plus, trees } => {
                let round = |tree: &Vec<PointId>| {
                    let mut builder = Builder::new(fixture, Sampling::Quick);
                    if let Some(&end) = tree.first() {
                        builder.prove_alone(end, !plus);
                        builder.seek_force(*plus, end, tree);
                    }
                    builder.finish()
                };
                return trees.iter().map(round).collect();
            }
            Self::Standard(_) => return Vec::new(),
        }
        vec![builder.finish()]
    }

    /// What is forced when the contact is asked as before.
    fn first_ends(&self) -> (PointId, PointId) {
        match *self {
            Self::Sense { ends, .. } => ends,
            Self::Force(ForceContact { point, other, plus, .. }) if plus => (point, other),
            Self::Force(ForceContact { point, other, .. }) => (other, point),
            _ => (PointId::new(0), PointId::new(0)),
        }
    }

    /// At a forced point: the same with both force contacts on their other relays.
    fn turned_ends(&self) -> Option<(PointId, PointId)> {
        match *self {
            Self::Sense { point, ends, .. } if point == ends.0 || point == ends.1 => Some((ends.1, ends.0)),
            _ => None,
        }
    }

    /// At a forced point: the same with a neighbour forced instead.
    fn neighbour_ends(&self) -> Option<(PointId, PointId)> {
        match *self {
            Self::Sense { point, ends, neighbour: Some(neighbour), .. } => {
                Some(if point == ends.0 { (neighbour, ends.1) } else { (ends.0, neighbour) })
            }
            _ => None,
        }
    }

    /// The bench fault that the answers point to; none if what did not answer before does so now.
    pub fn conclude<'r>(&self, runs: impl Iterator<Item = &'r RunEvidence> + Clone) -> Option<BenchFinding> {
        let answers = Answers(runs.clone().flat_map(|run| &run.observations).collect());
        match *self {
            Self::Sense { point, plus, ends, .. } => {
                let answered = |ends, plus| answers.sense(point, plus, ends);
                let swapped = self.turned_ends().is_some_and(|ends| answered(ends, plus));
                let beside = self.neighbour_ends().is_some_and(|ends| answered(ends, plus));
                if answered(ends, plus) {
                    None
                } else if answered(ends, !plus) {
                    Some(BenchFinding::NeverCloses { point, line: Line::Sense, plus })
                } else if swapped {
                    Some(BenchFinding::NeverCloses { point, line: Line::Force, plus: point == ends.0 })
                } else if beside {
                    Some(BenchFinding::DirtyPin { point, line: Line::Force })
                } else {
                    Some(BenchFinding::DirtyPin { point, line: Line::Sense })
                }
            }
            Self::Force(ForceContact { point, plus, resistance, .. }) => {
                let (from, to) = self.first_ends();
                match resistance {
                    Some(resistance) => Some(BenchFinding::PoorForceContact { point, resistance }),
                    None if answers.force(point, (from, to)) => None,
                    None if answers.force(point, (to, from)) => {
                        Some(BenchFinding::NeverCloses { point, line: Line::Force, plus })
                    }
                    None => Some(BenchFinding::DirtyPin { point, line: Line::Force }),
                }
            }
            Self::StuckSense { plus, .. } => {
                let bus = if plus { Bus::SensePlus } else { Bus::SenseMinus };
                let seen: Vec<Potential> = answers.potentials(bus).collect();
                Some(BenchFinding::StuckRelay { bus, points: same_potential(&seen) })
            }
            Self::StuckForce { plus, .. } => {
                let bus = if plus { Bus::ForcePlus } else { Bus::ForceMinus };
                let found = runs.clone().find_map(|run| {
                    let answers = Answers(run.observations.iter().collect());
                    let end = answers.alone(!plus)?;
                    let seen: Vec<Potential> = answers.potentials(bus).collect();
                    Some(where_current_enters(end, &seen))
                });
                Some(BenchFinding::StuckRelay { bus, points: Vec::from_iter(found) })
            }
            Self::Standard(channel) => Some(BenchFinding::StandardContact { channel }),
        }
    }
}

/// What single relays answered.
struct Answers<'r>(Vec<&'r Observation>);

impl Answers<'_> {
    fn relays(&self) -> impl Iterator<Item = &RelayAnswer> {
        self.0.iter().filter_map(|seen| match seen {
            Observation::RelayAnswer(answer) => Some(answer),
            _ => None,
        })
    }

    fn sense(&self, point: PointId, plus: bool, ends: (PointId, PointId)) -> bool {
        let asked = (point, Line::Sense, plus, [Some(ends.0), Some(ends.1)]);
        self.relays().any(|a| (a.point, a.line, a.plus, a.forced) == asked && a.answers)
    }

    fn force(&self, point: PointId, ends: (PointId, PointId)) -> bool {
        let asked = (point, Line::Force, [Some(ends.0), Some(ends.1)]);
        self.relays().any(|a| (a.point, a.line, a.forced) == asked && a.answers)
    }

    /// The point through which alone, by the + or the - relay, a current flows.
    fn alone(&self, plus: bool) -> Option<PointId> {
        let alone = |a: &&RelayAnswer| a.line == Line::Force && a.forced.iter().flatten().count() == 1;
        self.relays().filter(alone).find(|a| a.plus == plus && a.answers).map(|a| a.point)
    }

    fn potentials(&self, bus: Bus) -> impl Iterator<Item = Potential> {
        self.0.iter().filter_map(move |seen| match seen {
            Observation::Potential(potential) if potential.bus == bus => Some(*potential),
            _ => None,
        })
    }
}

/// Beyond the point where a current enters a path, nothing more drops: the nearest point with the whole drop. None
/// drops at all if it enters at the very end.
fn where_current_enters(end: PointId, seen: &[Potential]) -> PointId {
    let most = seen.iter().map(Potential::driven).fold(Volts::ZERO, Volts::max);
    if most < ELSEWHERE {
        return end;
    }
    let beyond = |potential: &&Potential| potential.driven() >= most - SAME;
    seen.iter().find(beyond).map_or(end, |potential| potential.point)
}

/// The points that stay at a bus's potential along whichever stretch the current runs. Usually one; a bulk
/// capacitor holds the points at its two ends together.
fn same_potential(seen: &[Potential]) -> Vec<PointId> {
    let mut points: Vec<PointId> = seen.iter().map(|potential| potential.point).collect();
    points.sort_unstable();
    points.dedup();
    let of = |point: PointId| seen.iter().filter(move |potential| potential.point == point);
    let apart = |point: PointId| of(point).map(Potential::driven).fold(Volts::ZERO, Volts::max);
    // Another tree of segments may float at any potential, and its middle may seem to stand still.
    points.retain(|&point| of(point).all(|potential| potential.most() < TOGETHER));
    let least = points.iter().map(|&point| apart(point)).fold(Volts(f64::INFINITY), Volts::min);
    points.retain(|&point| apart(point) < least + NO_DIFFERENCE);
    points
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::PointId;

    fn potential(point: usize, driven: f64, offset: f64) -> Potential {
        Potential {
            bus: Bus::SensePlus,
            point: PointId::new(point),
            forward: Volts(offset + driven),
            reversed: Volts(offset - driven),
        }
    }

    #[test]
    fn the_current_enters_where_nothing_more_drops() {
        // 50 mA through 1 mΩ a segment: 50 µV; the relay sticks at point 2.
        let seen = [potential(1, 50e-6, 0.0), potential(2, 100e-6, 0.0), potential(3, 100e-6, 0.0)];
        assert_eq!(where_current_enters(PointId::new(0), &seen), PointId::new(2));
        // Both sides of the two limits: 9.9 µV apart is the same point, 10.1 µV is not; 19.9 µV in all is the end.
        let near = [potential(1, 100e-6 - 9.9e-6, 0.0), potential(2, 100e-6, 0.0)];
        assert_eq!(where_current_enters(PointId::new(0), &near), PointId::new(1));
        let apart = [potential(1, 100e-6 - 10.1e-6, 0.0), potential(2, 100e-6, 0.0)];
        assert_eq!(where_current_enters(PointId::new(0), &apart), PointId::new(2));
        assert_eq!(where_current_enters(PointId::new(0), &[potential(1, 19.9e-6, 0.0)]), PointId::new(0));
        assert_eq!(where_current_enters(PointId::new(0), &[potential(1, 20.1e-6, 0.0)]), PointId::new(1));
    }

    #[test]
    fn a_stuck_sense_relay_sits_where_nothing_is_driven() {
        let seen = [potential(1, 0.1e-6, 20e-6), potential(2, 20e-6, 0.0), potential(3, 2.9e-6, 0.0)];
        assert_eq!(same_potential(&seen), [PointId::new(1), PointId::new(3)], "3 µV apart is noise");
        let seen = [potential(1, 0.0, 0.0), potential(2, 3.1e-6, 0.0)];
        assert_eq!(same_potential(&seen), [PointId::new(1)]);
        // A tree that floats half a millivolt away is no candidate.
        let seen = [potential(1, 5e-6, 0.0), potential(2, 0.0, 0.51e-3)];
        assert_eq!(same_potential(&seen), [PointId::new(1)]);
    }
}
