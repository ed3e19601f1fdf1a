//! The figures of a sweep against a bench that is not kind: every part of it drawn over its published worst case, with hum,
//! thermal voltages, worn and displaced pins, and units over their whole healthy band.
//!
//! The short run is in the suite; `COPPERWALK_LONG=1` runs whole, on a bench of usual parts too, and prints the figures of
//! `docs/what-is-promised.md`.

use copperwalk::{
    board::SegmentId,
    evidence::{Evidence, Observation},
    plan::Sampling,
    sweep::Sweep,
    verdict::Verdict,
    virtual_bench::{Parts, Spec, Truth},
};
use copperwalk_tests::{
    attack::times,
    campaign::{Bed, in_parallel, mixed},
    cases::Cases,
    share::Share,
};

/// The benches of a run.
fn benches() -> &'static [Parts] {
    &[Parts::Hostile, Parts::Usual][..times(1, 2)]
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
    for &parts in benches() {
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
        assert!(covered.value() >= 0.95, "{parts:?}: {covered}");
    }
}

/// Lies this segment's true value within its limits?
fn is_within(bed: &Bed, truth: &Truth, id: SegmentId) -> bool {
    let (limits, ohms) = (bed.plan.limits.of(id), truth.segment_at_20c(id));
    ohms <= limits.max && limits.min.is_none_or(|min| ohms >= min)
}

/// Is everything of the unit within its limits?
fn is_good(bed: &Bed, truth: &Truth) -> bool {
    let board = &bed.fixture.board;
    let conducts = board.segment_ids().all(|id| is_within(bed, truth, id));
    conducts && board.isolation.iter().zip(&truth.isolation).all(|(entry, ohms)| *ohms >= entry.min)
}

/// Sweeps units drawn at random; of those that are good, next to none may fail.
fn good_units_pass(beds: &[Bed], parts: Parts, units: usize) {
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
    for sweep in good.iter().filter(|sweep| sweep.judgement.verdict == Verdict::Void).take(10) {
        println!("  {}: {:?}", sweep.measurement.serial, sweep.judgement.bench_faults);
    }
    assert!(count(Verdict::Fail).hits * 2_000 <= units, "{parts:?}");
}

#[test]
fn good_units_raise_no_alarm() {
    let beds = Bed::examples(Sampling::Quick);
    benches().iter().for_each(|&parts| good_units_pass(&beds, parts, times(200, 4_000)));
}

/// Boards of others, with what the import assumes of them.
#[test]
fn good_units_of_imported_boards_raise_no_alarm() {
    let beds = Bed::imported(Sampling::Quick);
    benches().iter().for_each(|&parts| good_units_pass(&beds, parts, times(60, 2_000)));
}

/// Segments whose true value lies from 0.7 to 1.3 times their limit, as if somebody had sorted units with great care.
#[test]
fn what_lies_above_its_limit_does_not_pass() {
    for &parts in benches() {
        let beds = Bed::examples(Sampling::Quick);
        let units = times(900, 12_000);
        let seen = in_parallel(units, |number| {
            let bed = &beds[number % beds.len()];
            let mut cases = Cases::new(number as u64 ^ 0x11B1);
            let board = &bed.fixture.board;
            let ids: Vec<_> = board.segment_ids().filter(|&id| board.segment(id).closed.is_none()).collect();
            let id = *cases.choose(&ids).unwrap();
            let limits = bed.plan.limits.of(id);
            // Every third exactly at its limit.
            let times = if number % 3 == 0 { 1.0 } else { 0.7 + 0.6 * cases.unit() };
            let fault = format!("{}={} ohm", bed.name(id), times * limits.max.0);
            let (sweep, _) = bed.sweep(&spec(parts, number).fault(fault));
            let row = sweep.judgement.segments.iter().rfind(|row| row.name == bed.name(id));
            row.filter(|_| sweep.judgement.verdict != Verdict::Void).map(|row| {
                let wide = row.u95.map_or(0.0, |u95| u95 / limits.max);
                (times, wide, row.verdict)
            })
        });
        let judged: Vec<_> = seen.into_iter().flatten().collect();
        let passes = |among: &dyn Fn(f64, f64) -> bool| {
            let of = judged.iter().filter(|(times, wide, _)| among(*times, *wide));
            Share::count(of.map(|(.., verdict)| *verdict == Verdict::Pass))
        };
        let (at, beyond) = (passes(&|times, _| times == 1.0), passes(&|times, wide| times > 1.0 + wide));
        let fails_below = Share::count(
            judged.iter().filter(|(times, ..)| *times < 1.0).map(|(.., verdict)| *verdict == Verdict::Fail),
        );
        println!(
            "{parts:?}: passes at the limit {at}, beyond limit and interval {beyond}; fails below {fails_below}"
        );
        assert!(at.value() <= 0.025 + 2.0 * (0.025 / at.of as f64).sqrt(), "{parts:?}: {at}");
        assert_eq!(beyond.hits, 0, "{parts:?}: {beyond}");
        assert!(fails_below.value() <= 0.025, "{parts:?}: {fails_below}");
    }
}

/// One fault of each kind in turn at each segment in turn: named first, and none passes.
fn single_faults_are_found(beds: &[Bed], parts: Parts, units: usize) {
    let every: Vec<_> = (0..beds.len())
        .flat_map(|bed| beds[bed].fixture.board.segment_ids().map(move |id| (bed, id)))
        .collect();
    let seen = in_parallel(units, |number| {
        let (bed, id) = every[number % every.len()];
        let bed = &beds[bed];
        let max = bed.plan.limits.of(id).max.0;
        let segment = bed.fixture.board.segment(id);
        let name = &segment.name;
        let fault = match (number / every.len()) % 4 {
            0 => format!("{name}=open"),
            // What a diode has in series is below what a milliampere shows; it may be broken through.
            _ if segment.kind.one_way().is_some() => {
                let [from, to] = [segment.from, segment.to].map(|id| &bed.fixture.board.point(id).name);
                format!("{from}~{to}=0.05 ohm")
            }
            1 => format!("{name}={} ohm", 2.0 * max),
            2 => format!("{name}={} ohm", 6.0 * max),
            _ => format!("{name}=330 ohm"),
        };
        let (sweep, truth) = bed.sweep(&spec(parts, number).fault(fault.clone()));
        // A unit drawn over its whole band may have a second piece outside its limits.
        let mut ids = bed.fixture.board.segment_ids();
        let others = ids.any(|other| other != id && !is_within(bed, &truth, other));
        let named = sweep.judgement.faults.first().is_some_and(|fault| fault.place == *name);
        if !named && !others {
            let faults: Vec<_> =
                sweep.judgement.faults.iter().map(|fault| (&fault.place, fault.class)).collect();
            println!(
                "  {} {fault}: {:?} {faults:?} {:?}",
                sweep.measurement.serial, sweep.judgement.verdict, sweep.judgement.bench_faults
            );
        }
        (!others).then_some((named, sweep.judgement.verdict))
    });
    let single: Vec<_> = seen.into_iter().flatten().collect();
    let named = Share::count(single.iter().map(|(named, _)| *named));
    let passed = single.iter().filter(|(_, verdict)| *verdict == Verdict::Pass).count();
    println!("{parts:?}: single faults named first {named}; {passed} pass");
    assert!(named.value() >= 0.99, "{parts:?}: {named}");
    assert_eq!(passed, 0, "{parts:?}");
}

#[test]
fn single_faults_are_named_first() {
    let beds = Bed::examples(Sampling::Quick);
    benches().iter().for_each(|&parts| single_faults_are_found(&beds, parts, times(300, 4_000)));
}

#[test]
fn single_faults_of_imported_boards_are_named_first() {
    let beds = Bed::imported(Sampling::Quick);
    benches().iter().for_each(|&parts| single_faults_are_found(&beds, parts, times(100, 2_000)));
}

/// 50 or 60 Hz of any peak up to 20 µV, in any phase, on units that are good: nothing is booked on them. Louder is void and named.
#[test]
fn hum_is_not_booked_on_the_unit() {
    let beds = Bed::examples(Sampling::Quick);
    for peak in [1.5, 5.0, 10.0, 20.0] {
        let seen = in_parallel(times(60, 1_000), |number| {
            let bed = &beds[number % beds.len()];
            let (sweep, _) = bed.sweep(&Spec::new(number as u64).fault(format!("hum={peak} uV")));
            let work = sweep.measurement.work();
            // Nor is it taken for contacts that move: those of both ends are read.
            let evidence = Evidence::of(&bed.fixture, &sweep.measurement).unwrap();
            let all = || evidence.runs().iter().flat_map(|run| &run.observations);
            let read = |plus| {
                all().any(|seen| {
                    matches!(seen, Observation::ForceContact(contact) if contact.plus == plus && contact.resistance.is_some())
                })
            };
            assert!(read(true) && read(false), "unit {number}, hum of {peak} µV");
            (sweep.judgement.verdict, (sweep.judgement.segments.len() == 12).then_some(work.device_us))
        });
        let count = |verdict| seen.iter().filter(|(found, _)| *found == verdict).count();
        let slowest = seen.iter().filter_map(|(_, us)| *us).max().unwrap_or(0);
        println!(
            "hum of {peak} µV, {} good units: {} pass, {} unproven, {} fail, {} void; slowest 12-segment sweep {} ms",
            seen.len(),
            count(Verdict::Pass),
            count(Verdict::Unproven),
            count(Verdict::Fail),
            count(Verdict::Void),
            slowest / 1000
        );
        assert_eq!((count(Verdict::Fail), count(Verdict::Void)), (0, 0), "{peak} µV");
    }
    let (loud, _) = beds[0].sweep(&Spec::new(1).fault("hum=60 uV"));
    assert_eq!(loud.judgement.verdict, Verdict::Void);
    assert_eq!(loud.judgement.bench_faults[0].part, "hum", "{:?}", loud.judgement.bench_faults);
    assert!(loud.judgement.bench_faults[0].what.contains("twist"), "{:?}", loud.judgement.bench_faults);
}
