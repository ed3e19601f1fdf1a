//! What is found about diodes, and about transistors that have no power.
//!
//! The forward voltage rises with the current. So a limit at the supply's full load is proven kept by a reading at that current or at a
//! higher one, and proven broken by one at that current or at a lower one; what lies between waits for the first power-up. A transistor
//! without power shows its body diode: it conducts forward and must block backwards; what it drops when it is on, nobody can say.

use copperwalk_wire::Source;

use super::segment::{Doubt, Finding};
use crate::{
    board::{Board, SegmentId, SegmentKind, StateId},
    evidence::{Evidence, Observation},
    measure::one_way::OneWay,
    plan::Role,
    quantity::{Amps, Ohms, Volts},
    verdict::{Class, Verdict},
};

/// Backwards less than this is a short.
const SHORT: Ohms = Ohms(100.0);

/// What is found about one of them; `None` where the segment is of another kind.
pub fn find(board: &Board, evidence: &Evidence, id: SegmentId, state: StateId) -> Option<Finding> {
    let kind = &board.segment(id).kind;
    let max_reverse = kind.one_way()?;
    let readings: Vec<OneWay> = evidence
        .in_state(state)
        .flat_map(|run| &run.observations)
        .filter_map(|seen| match seen {
            Observation::OneWay(of, reading, touches) if *of == id && *touches == [true; 2] => Some(*reading),
            _ => None,
        })
        .collect();
    let at = |source| readings.iter().rev().find(|reading| reading.source == source);
    let (verdict, class, doubt, counts) = match at(Source::Wide) {
        None => (Verdict::Unproven, Class::NotReached, Some(Doubt::NotReached), None),
        Some(wide) => {
            let counts = at(Source::Load).filter(|load| load.conducts()).unwrap_or(wide);
            let (verdict, class, doubt) = judge(kind, board.supply.load, max_reverse, wide, counts);
            (verdict, class, doubt, Some(*counts))
        }
    };
    Some(Finding { one_way: counts, ..Finding::new(id, state, None, verdict, class, doubt) })
}

/// By the reading at a milliampere, and the one at the highest current.
fn judge(
    kind: &SegmentKind,
    load: Amps,
    max_reverse: Amps,
    wide: &OneWay,
    counts: &OneWay,
) -> (Verdict, Class, Option<Doubt>) {
    let unproven = |class, doubt| (Verdict::Unproven, class, Some(doubt));
    if !wide.is_driven_forward() || !wide.is_driven_backwards() {
        return unproven(Class::NotReached, Doubt::NotReached);
    }
    if !wide.conducts() {
        return (Verdict::Fail, Class::Open, None);
    }
    let [least, most] = wide.backwards;
    if least > max_reverse {
        let class = if wide.against / least < SHORT { Class::Shorted } else { Class::Leaky };
        return (Verdict::Fail, class, None);
    }
    if most > max_reverse {
        return unproven(Class::Ok, Doubt::Backwards);
    }
    let SegmentKind::Diode { max_forward, .. } = *kind else {
        return unproven(Class::NotJudgedUnpowered, Doubt::Unpowered);
    };
    let high = counts.forward + counts.u95;
    match () {
        () if least_at(load, wide, counts).is_some_and(|low| low - counts.u95 > max_forward) => {
            (Verdict::Fail, Class::High, None)
        }
        () if high <= max_forward && counts.current >= load => (Verdict::Pass, Class::Ok, None),
        () => unproven(Class::NotJudgedUnpowered, Doubt::Unpowered),
    }
}

/// The least that the forward voltage can be at this current: that at a smaller one, or the straight line between a smaller and a
/// larger one, above which a logarithm with a resistance in series always lies.
fn least_at(load: Amps, wide: &OneWay, counts: &OneWay) -> Option<Volts> {
    if counts.current <= load {
        return Some(counts.forward);
    }
    let share = (load - wide.current) / (counts.current - wide.current);
    (wide.current <= load).then(|| wide.forward + (counts.forward - wide.forward) * share)
}

/// Segments of this kind that a state's shots read.
pub fn planned(shots: impl Iterator<Item = Role>) -> Vec<SegmentId> {
    let mut found = Vec::new();
    for role in shots {
        if let Role::OneWay(id) = role
            && !found.contains(&id)
        {
            found.push(id);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(source: Source, forward: f64, milliamps: f64, leak: f64) -> OneWay {
        OneWay {
            source,
            forward: Volts(forward),
            u95: Volts(2e-3),
            current: Amps(milliamps * 1e-3),
            against: Volts(1.2),
            backwards: [Amps(leak - 8e-6), Amps(leak + 8e-6)],
            contacts: None,
        }
    }

    const DIODE: SegmentKind = SegmentKind::Diode { max_forward: Volts(0.4), max_reverse: Amps(100e-6) };

    #[test]
    fn a_forward_voltage_is_judged_only_as_far_as_its_current_reaches() {
        let wide = reading(Source::Wide, 0.2, 1.0, 0.0);
        for (forward, milliamps, load, verdict, class) in [
            (0.3, 50.0, 40e-3, Verdict::Pass, Class::Ok),
            (0.3, 50.0, 60e-3, Verdict::Unproven, Class::NotJudgedUnpowered),
            (0.397, 50.0, 40e-3, Verdict::Pass, Class::Ok),
            (0.399, 50.0, 40e-3, Verdict::Unproven, Class::NotJudgedUnpowered),
            (0.45, 50.0, 60e-3, Verdict::Fail, Class::High),
            (0.5, 50.0, 40e-3, Verdict::Fail, Class::High),
            // At less current it may well be below.
            (0.45, 50.0, 40e-3, Verdict::Unproven, Class::NotJudgedUnpowered),
        ] {
            let counts = reading(Source::Load, forward, milliamps, 0.0);
            let found = judge(&DIODE, Amps(load), Amps(100e-6), &wide, &counts);
            assert_eq!((found.0, found.1), (verdict, class), "{forward} V at {milliamps} mA, load {load} A");
        }
    }

    #[test]
    fn what_does_not_conduct_or_does_not_block_fails() {
        let cases = [
            (reading(Source::Wide, 1.3, 0.0, 0.0), Verdict::Fail, Class::Open),
            (reading(Source::Wide, 0.1, 0.0, 0.0), Verdict::Unproven, Class::NotReached),
            (reading(Source::Wide, 0.2, 1.0, 150e-6), Verdict::Fail, Class::Leaky),
            (reading(Source::Wide, 0.2, 1.0, 104e-6), Verdict::Unproven, Class::Ok),
            (
                OneWay { against: Volts(0.01), ..reading(Source::Wide, 0.01, 1.0, 1e-3) },
                Verdict::Fail,
                Class::Shorted,
            ),
        ];
        for (wide, verdict, class) in cases {
            let found = judge(&DIODE, Amps(1e-3), Amps(100e-6), &wide, &wide);
            assert_eq!((found.0, found.1), (verdict, class), "{wide:?}");
        }
    }
}
