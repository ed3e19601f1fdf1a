//! Two leads on each other's pins, named by what a golden unit reads.
//!
//! Every reading forces a current between two points and senses between two others. With the resistances that healthy segments have, each
//! exchange of two leads predicts other readings: a current that ends elsewhere, a voltage between other points. An exchange is named if what
//! was read fits no wiring as it should be and fits that one. What fits several exchanges is told as such.

use std::collections::BTreeMap;

use crate::{
    board::{Board, PointId, StateId},
    evidence::Line,
    plan::forest::Forest,
    quantity::Ohms,
};

/// A reading that was asked for, by the points as the fixture file has them: + first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Asked {
    /// Forced.
    pub force: [PointId; 2],
    /// Sensed.
    pub sense: [PointId; 2],
}

/// What was read; `None` where no current flowed.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Heard {
    /// What was asked for.
    pub asked: Asked,
    /// Voltage over current, positive when it falls from sense+ to sense-.
    pub ohms: Option<Ohms>,
}

/// Two leads of one kind that go to each other's pins.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Exchange {
    /// Force or sense.
    pub line: Line,
    /// The two points.
    pub points: [PointId; 2],
}

/// Noise of a dry reading and what pins stand beside their points, ohm: less than that is not told.
const FLOOR: f64 = 0.3e-3;
/// A reading fits a prediction within so many standard deviations.
const FITS: f64 = 3.0;
/// What a reading that flows where none should, or the other way round, is off by, in standard deviations; and no other counts for more.
const IMPOSSIBLE: f64 = 10.0;
/// A sense pin on copper that hangs together with neither the other nor the current reads anything but what it should: that fits, though not
/// well.
const FLOATING: f64 = 2.0;
/// Exchanges told of one bed: more are a bed that is wired anew.
const MOST: usize = 3;
/// Two explanations whose sums of squares differ by less than this are equally good.
const ALIKE: f64 = 4.0;

/// What the readings are explained by: nothing if they fit the wiring as it should be. Of each further exchange those that do equally well
/// stand together.
pub fn explain(board: &Board, state: StateId, heard: &[Heard]) -> Vec<Vec<Exchange>> {
    let model = Model { board, forest: Forest::new(board, state, &[]), heard };
    let mut made: Vec<Exchange> = Vec::new();
    let mut told = Vec::new();
    let mut now = model.misfit(&made);
    while now.worst > FITS && told.len() < MOST {
        let tries = model.exchanges().into_iter().filter(|one| !made.contains(one)).map(|one| {
            let with: Vec<Exchange> = made.iter().copied().chain([one]).collect();
            (model.misfit(&with), one)
        });
        let mut tries: Vec<(Misfit, Exchange)> = tries.collect();
        tries.sort_by(|a, b| a.0.sum.total_cmp(&b.0.sum).then(a.1.cmp(&b.1)));
        let Some(&(best, first)) = tries.first() else { return Vec::new() };
        // Something else is wrong than the wiring, if no exchange explains much.
        if best.sum > now.sum / 2.0 {
            return Vec::new();
        }
        told.push(
            tries.iter().take_while(|(one, _)| one.sum < best.sum + ALIKE).map(|(_, one)| *one).collect(),
        );
        made.push(first);
        now = best;
    }
    if now.worst > FITS { Vec::new() } else { told }
}

struct Model<'m> {
    board: &'m Board,
    forest: Forest,
    heard: &'m [Heard],
}

#[derive(Clone, Copy)]
struct Misfit {
    /// Of squares of deviations over their standard deviations.
    sum: f64,
    /// The largest deviation over its standard deviation.
    worst: f64,
}

impl Model<'_> {
    /// Every two leads of one kind that were used.
    fn exchanges(&self) -> Vec<Exchange> {
        let mut all = Vec::new();
        for line in [Line::Force, Line::Sense] {
            let of = |heard: &Heard| match line {
                Line::Force => heard.asked.force,
                Line::Sense => heard.asked.sense,
            };
            let mut points: Vec<PointId> = self.heard.iter().flat_map(of).collect();
            points.sort();
            points.dedup();
            for (at, &a) in points.iter().enumerate() {
                all.extend(points.iter().skip(at + 1).map(|&b| Exchange { line, points: [a, b] }));
            }
        }
        all
    }

    /// How badly the readings fit a bed with these exchanges.
    fn misfit(&self, exchanges: &[Exchange]) -> Misfit {
        let mut misfit = Misfit { sum: 0.0, worst: 0.0 };
        let mut ways = BTreeMap::new();
        for heard in self.heard {
            let real = |line: Line, point: PointId| {
                exchanges.iter().fold(point, |point, exchange| match exchange.points {
                    [a, b] if exchange.line == line && point == a => b,
                    [a, b] if exchange.line == line && point == b => a,
                    _ => point,
                })
            };
            let force = heard.asked.force.map(|point| real(Line::Force, point));
            let sense = heard.asked.sense.map(|point| real(Line::Sense, point));
            for force in [force, heard.asked.force] {
                ways.entry(force).or_insert_with(|| self.way(force));
            }
            let off = |force: [PointId; 2], sense: [PointId; 2]| match (
                ways.get(&force).and_then(Option::as_ref),
                heard.ohms,
            ) {
                (None, None) => Some(0.0),
                (Some(way), Some(ohms)) => self.off(way, sense, ohms),
                _ => Some(IMPOSSIBLE),
            };
            let as_wired = || off(heard.asked.force, heard.asked.sense).is_some_and(|off| off <= FITS);
            let off = match off(force, sense) {
                Some(off) => off.min(IMPOSSIBLE),
                None if as_wired() => IMPOSSIBLE,
                None => FLOATING,
            };
            misfit.sum += off * off;
            misfit.worst = misfit.worst.max(off);
        }
        misfit
    }

    /// The current's way: by segment, the point it enters at. `None` where none flows.
    fn way(&self, [from, to]: [PointId; 2]) -> Option<BTreeMap<usize, PointId>> {
        let steps = self.forest.path(from, to)?;
        Some(steps.into_iter().map(|step| (step.segment.index(), step.from)).collect())
    }

    /// How far a reading is from what is expected between two points, in standard deviations; `None` where one of them floats.
    fn off(&self, way: &BTreeMap<usize, PointId>, [plus, minus]: [PointId; 2], ohms: Ohms) -> Option<f64> {
        let steps = self.forest.path(plus, minus)?;
        let (mut expected, mut spread) = (0.0, FLOOR);
        for step in steps {
            let Some(&enters) = way.get(&step.segment.index()) else { continue };
            let healthy = self.board.segment(step.segment).expected;
            expected += if enters == step.from { healthy.typical.0 } else { -healthy.typical.0 };
            // What healthy ones read lies within `high`; below, as far.
            spread += (healthy.high - healthy.typical).0.abs();
        }
        Some((ohms.0 - expected).abs() / spread)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::examples::GREENHOUSE_VALVE_DRIVER;
    use crate::plan::stretch::cover;

    /// What the walks of a plan read with these leads exchanged, every segment a little off its typical value.
    fn heard(exchanges: &[Exchange]) -> (Board, StateId, Vec<Heard>) {
        let fixture = GREENHOUSE_VALVE_DRIVER.read().unwrap();
        let board = fixture.board.clone();
        let state = board.state_named("on").unwrap();
        let forest = Forest::new(&board, state, &[]);
        let wanted = board.segment_ids().filter(|&id| board.segment(id).conducts_in(state)).collect();
        let (stretches, _) = cover(&forest, &fixture, &wanted);
        let mut all = Vec::new();
        for stretch in &stretches {
            for step in &stretch.steps {
                let asked = Asked { force: [stretch.from, stretch.to], sense: [step.from, step.to] };
                all.push(Heard { asked, ohms: None });
            }
        }
        let model = Model { board: &board, forest, heard: &[] };
        for one in &mut all {
            let real = |line, point: PointId| {
                exchanges.iter().fold(point, |point, exchange| match exchange.points {
                    [a, b] if exchange.line == line && a == point => b,
                    [a, b] if exchange.line == line && b == point => a,
                    _ => point,
                })
            };
            let way = model.way(one.asked.force.map(|point| real(Line::Force, point)));
            one.ohms = way.map(|way| {
                let [plus, minus] = one.asked.sense.map(|point| real(Line::Sense, point));
                // What floats reads whatever it drifts to.
                let Some(steps) = model.forest.path(plus, minus) else { return Ohms(7.0) };
                let of = |step: &crate::plan::forest::Step| {
                    let enters = way.get(&step.segment.index()).copied();
                    let typical = 1.08 * board.segment(step.segment).expected.typical.0;
                    enters.map_or(0.0, |enters| if enters == step.from { typical } else { -typical })
                };
                Ohms(steps.iter().map(of).sum())
            });
        }
        (board, state, all)
    }

    #[test]
    fn a_bed_that_is_wired_well_is_not_blamed() {
        let (board, state, heard) = heard(&[]);
        assert!(heard.len() > 20);
        assert_eq!(explain(&board, state, &heard), Vec::<Vec<Exchange>>::new());
    }

    #[test]
    fn exchanged_leads_are_named() {
        let (board, ..) = heard(&[]);
        let exchange = |line, a: &str, b: &str| {
            let mut points = [a, b].map(|name| board.point_named(name).unwrap());
            points.sort();
            Exchange { line, points }
        };
        for (line, a, b) in [
            (Line::Sense, "choke.in", "choke.out"),
            (Line::Sense, "fa.in", "vs.out"),
            (Line::Sense, "t1", "g1"),
            (Line::Force, "in+", "in-"),
            (Line::Force, "drv.in", "radio.in"),
        ] {
            let made = exchange(line, a, b);
            let (board, state, heard) = heard(&[made]);
            let told = explain(&board, state, &heard);
            assert!(told.len() == 1 && told[0].contains(&made), "{a} {b}: {told:?}");
        }
        let both = [exchange(Line::Sense, "choke.in", "choke.out"), exchange(Line::Sense, "fb.in", "jp.out")];
        let (board, state, heard) = heard(&both);
        let told = explain(&board, state, &heard);
        assert!(
            told.len() == 2 && both.iter().all(|one| told.iter().any(|told| told.contains(one))),
            "{told:?}"
        );
    }

    /// A unit that is not golden is no reason to rewire a bed.
    #[test]
    fn a_broken_segment_is_no_exchange() {
        let (board, state, mut heard) = heard(&[]);
        let middle = heard.len() / 2;
        heard[middle].ohms = heard[middle].ohms.map(|ohms| ohms * 40.0 + Ohms(3.0));
        assert_eq!(explain(&board, state, &heard), Vec::<Vec<Exchange>>::new());
    }
}
