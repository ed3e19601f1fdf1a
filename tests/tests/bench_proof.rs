//! Proving a bench: what is found of its meter against what it was drawn with, every fault of bed and matrix by name, and what a
//! proof does to the intervals of sweeps.

use std::fmt;

use copperwalk::{
    meter::proven::Found,
    plan::Sampling,
    proof::Proof,
    prove::{ProveError, Wanted},
    virtual_bench::{Parts, Spec},
};
use copperwalk_tests::{
    attack::times,
    campaign::{Bed, certified, chain, in_parallel, mixed},
    cases::Cases,
};

const METER: Wanted = Wanted { plate: false, seatings: 0 };
const PLATE: Wanted = Wanted { plate: true, seatings: 0 };

fn tide_gauge() -> Bed {
    let bed = Bed::example("tide-gauge-head", Sampling::Quick);
    Bed::new(certified(&bed.fixture), Sampling::Quick)
}

fn faults(proof: &Proof) -> Vec<String> {
    proof.figures().faults.iter().map(|fault| format!("{}: {}", fault.part, fault.what)).collect()
}

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

/// One value as it was measured, against the truth: how far off in intervals, and the interval without a proof over that with
/// one.
struct Reading {
    kind: String,
    off: f64,
    narrower: f64,
    width: f64,
}

#[test]
fn a_proven_bench_states_narrower_intervals_that_cover_the_truth() {
    let beds = times(250, 3_400);
    let all: Vec<Reading> = in_parallel(beds, |number| {
        let fixture = mixed(&mut Cases::new(number as u64));
        let bed = Bed::new(certified(&fixture), Sampling::Quick);
        let spec = Spec { parts: Parts::Hostile, ..Spec::new(number as u64) };
        let proof = bed.prove(&spec, METER).unwrap();
        let (without, truth) = bed.sweep(&spec);
        let (with, _) = bed.sweep_by(&spec, Some(proof));
        let rows = with.judgement.segments.iter().zip(&without.judgement.segments);
        rows.filter_map(|(with, without)| {
            let id = bed.fixture.board.segment_named(&with.name)?;
            let (read, u95) = (with.at_20c?, with.u95?);
            Some(Reading {
                kind: with.kind.clone(),
                off: (read - truth.segment_at_20c(id)) / u95,
                narrower: without.u95? / u95,
                width: u95 / read,
            })
        })
        .collect::<Vec<_>>()
    })
    .into_iter()
    .flatten()
    .collect();
    let covered = Share::count(all.iter().map(|reading| reading.off.abs() <= 1.0));
    println!("proven bench: intervals cover {covered}");
    for kind in ["trace", "fuse", "inductor", "connector", "joint"] {
        let of_kind: Vec<&Reading> = all.iter().filter(|reading| reading.kind == kind).collect();
        let covered = Share::count(of_kind.iter().map(|reading| reading.off.abs() <= 1.0));
        let middle = |of: fn(&Reading) -> f64| {
            let mut all: Vec<f64> = of_kind.iter().map(|reading| of(reading)).collect();
            all.sort_by(f64::total_cmp);
            all[all.len() / 2]
        };
        println!(
            "  {kind}: {covered}; interval ±{:.3} %, {:.2} times narrower",
            100.0 * middle(|reading| reading.width),
            middle(|reading| reading.narrower)
        );
    }
    assert!((0.94..=0.98).contains(&covered.value()), "{covered}");
}

/// Shunts hardly follow their temperature, and of half an ohm and more neither noise nor common mode counts: what is left is
/// gain and Rm.
#[test]
fn where_gain_and_rm_dominate_intervals_are_three_times_narrower() {
    let all: Vec<(f64, f64)> = in_parallel(times(60, 600), |number| {
        let mut cases = Cases::new(number as u64);
        let values: Vec<f64> = (0..6).map(|_| cases.decades(0.3, 1.5)).collect();
        let bed = Bed::new(certified(&chain("shunt", &values)), Sampling::Quick);
        let spec = Spec { parts: Parts::Hostile, ..Spec::new(number as u64) };
        let proof = bed.prove(&spec, METER).unwrap();
        let (without, truth) = bed.sweep(&spec);
        let (with, _) = bed.sweep_by(&spec, Some(proof));
        let rows = with.judgement.segments.iter().zip(&without.judgement.segments);
        rows.filter_map(|(with, without)| {
            let id = bed.fixture.board.segment_named(&with.name)?;
            let (read, u95) = (with.at_20c?, with.u95?);
            Some(((read - truth.segment_at_20c(id)) / u95, without.u95? / u95))
        })
        .collect::<Vec<_>>()
    })
    .into_iter()
    .flatten()
    .collect();
    let covered = Share::count(all.iter().map(|(off, _)| off.abs() <= 1.0));
    let mut narrower: Vec<f64> = all.iter().map(|(_, narrower)| *narrower).collect();
    narrower.sort_by(f64::total_cmp);
    println!(
        "shunts: intervals cover {covered}, in the middle {:.2} times narrower, at least {:.2}",
        narrower[narrower.len() / 2],
        narrower[0]
    );
    assert!(narrower[narrower.len() / 2] >= 3.0);
}

#[test]
fn a_bench_within_its_published_worst_cases_is_fit() {
    let bed = tide_gauge();
    let benches = times(120, 2_000);
    let found: Vec<Vec<String>> = in_parallel(benches, |number| {
        let parts = if number % 2 == 0 { Parts::Usual } else { Parts::Hostile };
        faults(&bed.prove(&Spec { parts, ..Spec::new(number as u64) }, PLATE).unwrap())
    });
    let unfit: Vec<_> = found.iter().enumerate().filter(|(_, faults)| !faults.is_empty()).collect();
    println!("{} of {benches} benches unfit", unfit.len());
    assert!(unfit.is_empty(), "{unfit:?}");
}

/// What is put into bench and bed, and the words that the first fault has to have. Every other bench is a hostile one.
const FAULTS: [(&str, &[&str]); 18] = [
    (
        "cell+:sense~tail.in:sense=touching",
        &["pin cell+ (sense channel 0)", "pin tail.in (sense channel 1)", "joined"],
    ),
    (
        "cell+:force~via1.b:sense=touching",
        &["pin cell+ (force channel 0)", "pin via1.b (sense channel 2)", "joined"],
    ),
    (
        "reg.in:force~cell-:sense=touching",
        &["pin reg.in (force channel 3)", "pin cell- (sense channel 13)", "joined"],
    ),
    (
        "cell+:force~sw.in:force=touching",
        &["pin cell+ (force channel 0)", "pin sw.in (force channel 1)", "joined"],
    ),
    ("sw.out:force+=welded", &["relay force+ of pin sw.out (force channel 2)", "welded"]),
    ("sw.out:force-=welded", &["relay force- of pin sw.out (force channel 2)", "welded"]),
    ("fuse.in:sense+=welded", &["relay sense+ of pin fuse.in (sense channel 4)", "welded"]),
    ("fuse.in:sense-=welded", &["relay sense- of pin fuse.in (sense channel 4)", "welded"]),
    ("via2.f:sense+=never closes", &["relay sense+ of pin via2.f (sense channel 8)", "does not close"]),
    ("reg.in:force-=never closes", &["relay force- of pin reg.in (force channel 3)", "does not close"]),
    ("cell+:force+=never closes", &["relay force+ of pin cell+ (force channel 0)", "does not close"]),
    ("via3.b:sense=open", &["pin via3.b (sense channel 10)", "does not touch"]),
    ("cell+:force=open", &["pin cell+ (force channel 0)", "does not touch"]),
    ("cell-:force=6 ohm", &["pin cell- (force channel 4)", "clean"]),
    ("noise=3", &["converter at gain", "typical"]),
    ("hum=60 uV", &["hum of", "twist"]),
    ("10m=+5 %", &["standard 10m", "reads"]),
    ("gain 16=+0.5 %", &["converter, gain 16", "%"]),
];

#[test]
fn every_fault_of_bench_and_bed_is_named_first_and_alone() {
    let bed = tide_gauge();
    let rounds = times(2, 20);
    let wrong: Vec<String> = in_parallel(rounds * FAULTS.len(), |number| {
        let (fault, words) = FAULTS[number % FAULTS.len()];
        let parts = if number % 2 == 0 { Parts::Usual } else { Parts::Hostile };
        let seed = (number / FAULTS.len()) as u64;
        let proof = bed.prove(&Spec { parts, ..Spec::new(seed) }.fault(fault), PLATE).unwrap();
        let found = faults(&proof);
        // Noise shows at every setting, a wrong gain in everything that is read with it.
        let alone = found.len() == 1 || ["noise", "gain"].iter().any(|many| fault.starts_with(many));
        let named = found.first().is_some_and(|first| words.iter().all(|word| first.contains(word)));
        (!named || !alone).then(|| format!("{fault}, seed {seed}: {found:?}"))
    })
    .into_iter()
    .flatten()
    .collect();
    assert!(wrong.is_empty(), "{} wrong: {wrong:#?}", wrong.len());
}

#[test]
fn dbg() {
    let bed = tide_gauge();
    for parts in [Parts::Usual, Parts::Hostile] {
        let spec = Spec { parts, ..Spec::new(3) };
        let started = std::time::Instant::now();
        let proof = bed.prove(&spec, Wanted { plate: true, seatings: 3 }).unwrap();
        let figures = proof.figures();
        println!("{:?} {:?}", started.elapsed(), figures.meter);
        println!("{} shots {} s {:?}", figures.shots, figures.device_us as f64 * 1e-6, faults(&proof));
        println!("{:?}", figures.standards);
        println!("{:?} {:?}", figures.noise, figures.hum);
        println!("{:?}", &figures.contacts[..4]);
        for r in &figures.repeats {
            println!("{r:?}");
        }
    }
}
