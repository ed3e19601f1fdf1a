//! A golden unit, seated again and again: what the bed can judge.

use std::collections::BTreeMap;

use super::ProveError;
use crate::{
    fixture::Fixture,
    job::{Job, Subject},
    link::{Session, Transport},
    operator::Operator,
    plan::Plan,
    proof::{Figures, Proof, Repeat},
    quantity::Ohms,
    statistics::variance::OneWay,
    sweep::{SegmentRow, Sweep},
    verdict::Verdict,
};

/// Sweeps of each seating: with two the scatter within a seating is told from that between them.
const SWEEPS: usize = 2;
/// Seatings that it takes at least.
pub const LEAST_SEATINGS: usize = 3;
/// Coverage factor of a standard deviation (GUM, JCGM 100, 6.2).
const COVERAGE: f64 = 2.0;

/// Sweeps of the unit as it lies, by what the proof has found so far.
pub fn sweeps<T: Transport>(
    session: &mut Session<T>,
    operator: &mut dyn Operator,
    fixture: &Fixture,
    plan: &Plan,
    figures: &mut Figures,
) -> Result<Vec<Sweep>, ProveError> {
    let proof = Proof::new(figures)?;
    let mut job = Job { session, operator, fixture, plan };
    let mut sweeps = Vec::new();
    for _ in 0..SWEEPS {
        let subject = Subject::new("golden", None, figures.made_us);
        let sweep = job.sweep(subject, Some(proof.clone()), &mut |_| ())?;
        let work = sweep.measurement.work();
        figures.shots += work.shots;
        figures.device_us += work.device_us;
        match sweep.judgement.verdict {
            Verdict::Fail => return Err(ProveError::NotGolden(said(&sweep))),
            Verdict::Void => return Err(ProveError::NotGolden(bench_said(&sweep))),
            Verdict::Pass | Verdict::Unproven => sweeps.push(sweep),
        }
    }
    Ok(sweeps)
}

fn said(sweep: &Sweep) -> String {
    let fault = sweep.judgement.faults.first();
    fault.map_or_else(|| "fail".into(), |fault| format!("fail: {}", fault.place))
}

fn bench_said(sweep: &Sweep) -> String {
    let fault = sweep.judgement.bench_faults.first();
    fault.map_or_else(|| "void".into(), |fault| format!("void: {} {}", fault.part, fault.what))
}

/// How well each segment repeats, in the order of the rows: by analysis of variance, seatings as groups.
pub fn repeats(groups: &[Vec<Sweep>]) -> Vec<Repeat> {
    let mut order = Vec::new();
    let mut rows: BTreeMap<(&str, &str), Vec<Vec<&SegmentRow>>> = BTreeMap::new();
    for (seating, sweeps) in groups.iter().enumerate() {
        for row in sweeps.iter().flat_map(|sweep| &sweep.judgement.segments) {
            let key = (row.name.as_str(), row.state.as_str());
            let of = rows.entry(key).or_insert_with(|| {
                order.push(key);
                vec![Vec::new(); groups.len()]
            });
            if let Some(of) = of.get_mut(seating) {
                of.push(row);
            }
        }
    }
    order.into_iter().filter_map(|key| repeat(rows.get(&key)?)).collect()
}

fn repeat(seatings: &[Vec<&SegmentRow>]) -> Option<Repeat> {
    let values: Vec<Vec<f64>> = seatings
        .iter()
        .map(|rows| rows.iter().filter_map(|row| row.at_20c.map(|ohms| ohms.0)).collect())
        .collect();
    let groups: Vec<&[f64]> = values.iter().map(Vec::as_slice).collect();
    let components = OneWay::of(&groups)?.components();
    let all: Vec<&&SegmentRow> = seatings.iter().flatten().collect();
    let count = values.iter().map(Vec::len).sum::<usize>() as f64;
    let mean = Ohms(values.iter().flatten().sum::<f64>() / count);
    let stated = all.iter().filter_map(|row| row.u95).fold(Ohms::ZERO, Ohms::max);
    // The stated uncertainty has the scatter within a seating in it.
    let u95 = stated.hypot(COVERAGE * Ohms(components.between));
    let row = all.first()?;
    let room = row.min.map_or(row.max - mean, |min| (row.max - mean).min(mean - min));
    Some(Repeat {
        segment: row.name.clone(),
        state: row.state.clone(),
        mean,
        within: Ohms(components.within),
        between: Ohms(components.between),
        u95,
        ratio: room / u95,
    })
}
