//! The figures of a sweep against a bench that is not kind: every part of it drawn over its published worst case, with hum,
//! thermal voltages, worn and displaced pins, and units over their whole healthy band.
//!
//! Each figure is printed for a bench of usual parts too. The short run is in the suite; `COPPERWALK_LONG=1` runs whole
//! and prints the figures of `docs/what-is-promised.md`.

use std::fmt;

use copperwalk::{
    plan::Sampling,
    sweep::Sweep,
    verdict::Verdict,
    virtual_bench::{Parts, Spec, Truth},
};
use copperwalk_tests::{
    attack::times,
    campaign::{Bed, EXAMPLES, in_parallel, mixed},
    cases::Cases,
};

const BENCHES: [Parts; 2] = [Parts::Usual, Parts::Hostile];

/// A share of cases.
#[derive(Clone, Copy, Default)]
struct Share {
    of: usize,
    hits: usize,
}

impl Share {
    fn count(cases: impl IntoIterator<Item = bool>) -> Self {
        cases.into_iter().fold(Self::default(), |share, hit| Self {
            of: share.of + 1,
            hits: share.hits + usize::from(hit),
        })
    }

    fn value(self) -> f64 {
        self.hits as f64 / self.of as f64
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.2} % ({} of {})", 100.0 * self.value(), self.hits, self.of)
    }
}

fn spec(parts: Parts, number: usize) -> Spec {
    Spec { parts, ..Spec::new(number as u64) }
}

/// One value at 20 °C against the truth.
struct Reading {
    kind: String,
    covered: bool,
    /// Interval over value.
    width: f64,
    /// How far off, in intervals.
    off: f64,
    truth: f64,
}

fn readings(bed: &Bed, sweep: &Sweep, truth: &Truth) -> Vec<Reading> {
    let rows = sweep.judgement.segments.iter();
    rows.filter_map(|row| {
        let id = bed.fixture.board.segment_named(&row.name)?;
        let (read, u95) = (row.at_20c?, row.u95?);
        let truth = truth.segment_at_20c(id);
        let off = (read - truth) / u95;
        Some(Reading {
            kind: row.kind.clone(),
            covered: off.abs() <= 1.0,
            width: u95 / read,
            off,
            truth: truth.0,
        })
    })
    .collect()
}

#[test]
fn stated_intervals_cover_the_truth() {
    let shares = BENCHES.map(|parts| {
        let boards = times(250, 3_400);
        let all: Vec<Reading> = in_parallel(boards, |number| {
            let bed = Bed::new(mixed(&mut Cases::new(number as u64)), Sampling::Quick);
            let (sweep, truth) = bed.sweep(&spec(parts, number));
            readings(&bed, &sweep, &truth)
        })
        .into_iter()
        .flatten()
        .collect();
        let covered = Share::count(all.iter().map(|reading| reading.covered));
        println!("{parts:?}: intervals cover {covered}");
        for kind in ["trace", "fuse", "inductor", "connector", "joint"] {
            let of_kind: Vec<&Reading> = all.iter().filter(|reading| reading.kind == kind).collect();
            let covered = Share::count(of_kind.iter().map(|reading| reading.covered));
            let mut widths: Vec<f64> = of_kind.iter().map(|reading| reading.width).collect();
            widths.sort_by(f64::total_cmp);
            let worst = of_kind.iter().max_by(|a, b| a.off.abs().total_cmp(&b.off.abs()));
            println!(
                "  {kind}: {covered}; interval in the middle ±{:.3} %; worst {:.2} intervals at {:.2e} Ω",
                100.0 * widths[widths.len() / 2],
                worst.map_or(0.0, |reading| reading.off),
                worst.map_or(0.0, |reading| reading.truth),
            );
        }
        covered
    });
    for (parts, covered) in BENCHES.iter().zip(shares) {
        assert!(covered.value() >= 0.95, "{parts:?}: {covered}");
    }
}

/// Is everything of the unit within its limits?
fn is_good(bed: &Bed, truth: &Truth) -> bool {
    let board = &bed.fixture.board;
    let conducts = board.segment_ids().zip(&truth.at_20c).all(|(id, ohms)| {
        let limits = bed.plan.limits.of(id);
        *ohms <= limits.max && limits.min.is_none_or(|min| *ohms >= min)
    });
    conducts && board.isolation.iter().zip(&truth.isolation).all(|(entry, ohms)| *ohms >= entry.min)
}

#[test]
fn good_units_raise_no_alarm() {
    for parts in BENCHES {
        let units = times(300, 4_000);
        let beds: Vec<Bed> = EXAMPLES.iter().map(|name| Bed::example(name, Sampling::Quick)).collect();
        let seen = in_parallel(units, |number| {
            let bed = &beds[number % beds.len()];
            let (sweep, truth) = bed.sweep(&spec(parts, number));
            (is_good(bed, &truth), sweep)
        });
        let good: Vec<&Sweep> = seen.iter().filter(|(good, _)| *good).map(|(_, sweep)| sweep).collect();
        let count = |verdict| Share::count(good.iter().map(|sweep| sweep.judgement.verdict == verdict));
        let slowest = good.iter().map(|sweep| sweep.measurement.work().device_us).max().unwrap_or(0);
        println!(
            "{parts:?}: {} good units: pass {}, fail {}, unproven {}, void {}; slowest {} ms",
            good.len(),
            count(Verdict::Pass),
            count(Verdict::Fail),
            count(Verdict::Unproven),
            count(Verdict::Void),
            slowest / 1000
        );
        for sweep in good.iter().filter(|sweep| sweep.judgement.verdict == Verdict::Fail).take(10) {
            let faults = sweep.judgement.faults.iter();
            let named: Vec<_> = faults.map(|fault| (&fault.place, fault.class, fault.probability)).collect();
            println!("  {}: {named:?}", sweep.measurement.serial);
        }
        for sweep in good.iter().filter(|sweep| sweep.judgement.verdict == Verdict::Unproven).take(25) {
            let segments = sweep.judgement.segments.iter().filter(|row| row.verdict != Verdict::Pass);
            let rows: Vec<_> =
                segments.map(|row| (&row.name, row.at_20c, row.u95, row.max, &row.reason)).collect();
            let isolation = sweep.judgement.isolation.iter().filter(|row| row.verdict != Verdict::Pass);
            let isolation: Vec<_> = isolation.map(|row| (&row.name, row.at_least, row.min)).collect();
            println!(
                "  {} {rows:?} {isolation:?} {:?}",
                sweep.measurement.work().device_us,
                sweep.judgement.notes
            );
        }
        for sweep in good.iter().filter(|sweep| sweep.judgement.verdict == Verdict::Void).take(10) {
            println!("  {}: {:?}", sweep.measurement.serial, sweep.judgement.bench_faults);
        }
        assert!(count(Verdict::Fail).hits * 2_000 <= units, "{parts:?}");
    }
}
