//! What a first power comes to: each part judged with its guard band, the reasons in words.

use super::{machine::Machine, plan::Plan, rule::End, window::Window, within::Within};
use crate::{
    quantity::{Amps, si},
    report::start::{CheckRow, PieceRow, RailRow, StartSheet, StepRow},
    verdict::{self, Verdict},
};

/// Whose first power it is.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Subject {
    /// Serial number.
    pub serial: String,
    /// Board name.
    pub board: String,
    /// Board revision.
    pub revision: String,
    /// Is it known to be good?
    pub golden: bool,
}

/// Everything that was seen, judged. `supply` is what the supply calls itself, `alarm` what was rung for.
pub fn sheet(machine: &Machine, subject: Subject, supply: &str, alarm: Option<String>) -> StartSheet {
    let plan = machine.plan();
    let rails = rails(machine);
    let checks = checks(machine);
    let mut parts = Vec::new();
    if machine.end().is_none() {
        parts.push(steady(machine));
        parts.extend(rails.iter().map(|rail| (rail.verdict, rail_in_words(rail))));
        parts.extend(checks.iter().map(|check| match check.answer {
            Some(true) => (Verdict::Pass, String::new()),
            Some(false) => (Verdict::Fail, format!("check {:?} was answered with no", check.name)),
            None => (Verdict::Unproven, format!("check {:?} was not answered", check.name)),
        }));
    }
    parts.extend(inrush(machine));
    let judged = verdict::worst(parts.iter().map(|(verdict, _)| *verdict));
    let reasons =
        parts.into_iter().filter(|(verdict, _)| *verdict != Verdict::Pass).map(|(_, reason)| reason);
    let window = plan.window.as_ref();
    StartSheet {
        serial: subject.serial,
        board: subject.board,
        revision: subject.revision,
        state: plan.state[0].clone(),
        supply: supply.into(),
        golden: subject.golden,
        volts: plan.nominal(),
        limit_amps: plan.bounds.limit,
        over_voltage_volts: plan.bounds.over_voltage,
        over_current_amps: plan.bounds.over_current,
        steps: machine
            .steps()
            .iter()
            .map(|step| StepRow {
                set_volts: step.set,
                volts: step.reading.voltage,
                amps: step.reading.current,
                peak_amps: step.peak,
            })
            .collect(),
        inrush_amps: machine.inrush(),
        max_inrush_amps: plan.inrush,
        steady_amps: machine.steady(),
        u95_amps: machine.steady().map(|steady| plan.supply_within.of_amps(steady)),
        min_amps: window.map(|window| window.least),
        max_amps: window.map(|window| window.most),
        window: window.map(|window| window.origin.clone()),
        conducts: conducts(plan, &rails),
        rails,
        checks,
        alarm,
        verdict: machine.end().map_or(judged, End::verdict),
        reasons: machine.end().map(End::in_words).into_iter().chain(reasons).collect(),
    }
}

fn steady(machine: &Machine) -> (Verdict, String) {
    let plan = machine.plan();
    let Some(steady) = machine.steady() else {
        return (Verdict::Unproven, "the current at rest was not read".into());
    };
    let amps = |amps: Amps| si(amps.0, 3, "A");
    let Some(Window { least, most, origin }) = &plan.window else {
        let reason = format!(
            "{} at rest, and nothing says what a good one draws: state idle in [power], or start golden units with --golden",
            amps(steady)
        );
        return (Verdict::Unproven, reason);
    };
    let off_by = plan.supply_within.of_amps(steady);
    let verdict = verdict::inside(steady.0, off_by.0, Some(least.0), most.0);
    let window = format!("{} to {} ({origin})", amps(*least), amps(*most));
    let said = format!("{} ± {} at rest", amps(steady), amps(off_by));
    let reason = match verdict {
        Verdict::Fail => format!("{said}, outside {window}"),
        _ => format!("{said}, too near the edge of {window} for this supply to tell"),
    };
    (verdict, reason)
}

fn inrush(machine: &Machine) -> Option<(Verdict, String)> {
    let plan = machine.plan();
    let (peak, most) = (machine.inrush()?, plan.inrush?);
    let off_by = plan.supply_within.of_amps(peak);
    let verdict = verdict::inside(peak.0, off_by.0, None, most.0);
    let [peak, most] = [peak, most].map(|amps| si(amps.0, 3, "A"));
    Some((verdict, format!("{peak} while the voltage rose; the board file allows {most}")))
}

fn rails(machine: &Machine) -> Vec<RailRow> {
    let plan = machine.plan();
    let within = plan.meter_within.unwrap_or(Within::METER);
    let asked = plan.rails.iter().zip(machine.rails());
    let row = asked.map(|(rail, volts)| {
        let [low, high] = rail.voltage;
        let off_by = volts.map(|volts| within.of_volts(volts));
        let verdict = match (volts, off_by) {
            (Some(volts), Some(off_by)) => verdict::inside(volts.0, off_by.0, Some(low.0), high.0),
            _ => Verdict::Unproven,
        };
        RailRow {
            name: rail.name.clone(),
            at: rail.at.clone(),
            volts: *volts,
            u95_volts: off_by,
            min_volts: low,
            max_volts: high,
            verdict,
        }
    });
    row.collect()
}

fn rail_in_words(rail: &RailRow) -> String {
    let volts = |value: f64| si(value, 3, "V");
    let window = format!("{} to {}", volts(rail.min_volts.0), volts(rail.max_volts.0));
    match (rail.volts, rail.u95_volts, rail.verdict) {
        (Some(reads), Some(off_by), Verdict::Unproven) => format!(
            "rail {:?} reads {} ± {}, too near the edge of {window} for this meter to tell",
            rail.name,
            volts(reads.0),
            volts(off_by.0)
        ),
        (Some(reads), ..) => {
            format!("rail {:?} reads {} at {}, outside {window}", rail.name, volts(reads.0), rail.at)
        }
        (None, ..) => format!("rail {:?} was not read", rail.name),
    }
}

fn checks(machine: &Machine) -> Vec<CheckRow> {
    let asked = machine.plan().checks.iter().zip(machine.checks());
    asked.map(|([name, _], answer)| CheckRow { name: name.clone(), answer: *answer }).collect()
}

/// Of the pieces that cannot be judged unpowered those that a rail in its window shows to conduct.
fn conducts(plan: &Plan, rails: &[RailRow]) -> Vec<PieceRow> {
    let passed = plan.rails.iter().zip(rails).filter(|(_, row)| row.verdict == Verdict::Pass);
    let mut shown: Vec<PieceRow> = Vec::new();
    for (rail, _) in passed {
        for segment in &rail.shows {
            if shown.iter().all(|piece| piece.segment != *segment) {
                shown.push(PieceRow { segment: segment.clone(), rail: rail.name.clone() });
            }
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        quantity::Volts,
        start::{
            machine::Act,
            question::{Answer, Question},
            sample,
        },
        supply::Reading,
    };

    /// A unit that draws so much at rest, whose rail reads so much, and whose checks are answered so.
    fn judged(plan: Plan, amps: f64, rail: Option<f64>, check: Option<bool>) -> StartSheet {
        let mut machine = Machine::new(plan);
        loop {
            match machine.next() {
                Act::Over => break,
                Act::Ask(Question::Meter) => {
                    machine.answered(Answer::Within(Within::volts("10 mV").unwrap()));
                }
                Act::Ask(Question::Rail { .. }) => {
                    machine.answered(rail.map_or(Answer::Skip, |volts| Answer::Volts(Volts(volts))));
                }
                Act::Ask(Question::Check { .. }) => machine.answered(match check {
                    Some(true) => Answer::Yes,
                    Some(false) => Answer::No,
                    None => Answer::Skip,
                }),
                Act::Ask(_) => machine.answered(Answer::Yes),
                Act::Bound(_) | Act::On | Act::Set(_) => machine.done(),
                Act::Settle(_) => {
                    let current = Amps(if machine.set() < Volts(1.5) { 0.0 } else { amps });
                    machine.reads(Reading { voltage: machine.set(), current, tripped: None });
                    machine.settled();
                }
            }
        }
        let subject = Subject {
            serial: "A-1".into(),
            board: "tide gauge head".into(),
            revision: "B".into(),
            golden: false,
        };
        sheet(&machine, subject, "a supply", None)
    }

    #[test]
    fn every_part_has_a_guard_band_and_the_worst_counts() {
        let within = sample::plan();
        let good = judged(within.clone(), 5e-3, Some(2.58), Some(true));
        assert_eq!((good.verdict, good.reasons.len()), (Verdict::Pass, 0));
        for (amps, rail, check, verdict, reason) in [
            // 2 to 9 mA, told within 1 mA and half a per cent.
            (3.1e-3, Some(2.58), Some(true), Verdict::Pass, ""),
            (
                2.9e-3,
                Some(2.58),
                Some(true),
                Verdict::Unproven,
                "too near the edge of 2.00 mA to 9.00 mA (board file)",
            ),
            (8.1e-3, Some(2.58), Some(true), Verdict::Unproven, "too near the edge"),
            (10.2e-3, Some(2.58), Some(true), Verdict::Fail, "10.2 mA ± 1.05 mA at rest, outside"),
            (5e-3, Some(2.41), Some(true), Verdict::Pass, ""),
            (5e-3, Some(2.405), Some(true), Verdict::Unproven, "reads 2.40 V ± 10.0 mV, too near"),
            (
                5e-3,
                Some(2.3),
                Some(true),
                Verdict::Fail,
                "rail \"input\" reads 2.30 V at reg.in, outside 2.40 V to 3.20 V",
            ),
            (5e-3, None, Some(true), Verdict::Unproven, "rail \"input\" was not read"),
            (5e-3, Some(2.58), Some(false), Verdict::Fail, "check \"display lights\" was answered with no"),
            (5e-3, Some(2.58), None, Verdict::Unproven, "check \"display lights\" was not answered"),
        ] {
            let found = judged(within.clone(), amps, rail, check);
            assert_eq!(found.verdict, verdict, "{amps} {rail:?} {check:?}: {:?}", found.reasons);
            assert!(found.reasons.join("; ").contains(reason), "{:?}", found.reasons);
        }
    }

    #[test]
    fn without_a_window_nothing_is_proven_and_the_inrush_has_a_limit_of_its_own() {
        let open = judged(Plan { window: None, ..sample::plan() }, 5e-3, Some(2.58), Some(true));
        assert_eq!((open.verdict, open.window), (Verdict::Unproven, None));
        assert!(open.reasons[0].contains("with --golden"), "{:?}", open.reasons);
        let tight = Plan { inrush: Some(Amps(3e-3)), ..sample::plan() };
        let found = judged(tight, 5e-3, Some(2.58), Some(true));
        assert_eq!(found.verdict, Verdict::Fail);
        assert!(found.reasons[0].contains("5.00 mA while the voltage rose; the board file allows 3.00 mA"));
    }
}
