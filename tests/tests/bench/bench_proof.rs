//! Proving a bench: what is found of its meter against what it was drawn with, every fault of bed and matrix by name, and what a
//! proof does to the intervals of sweeps.

use copperwalk::{
    board::StateId,
    fixture::{self, Fixture},
    link::Session,
    operator::{Lying, Operator, Unattended, Watch},
    plan::Sampling,
    proof::{FIT_RATIO, Fault, Figures, Proof},
    prove::{ProveError, Prover, Wanted},
    verdict::Verdict,
    virtual_bench::{Parts, Spec, VirtualBench},
};
use copperwalk_tests::{
    attack::times,
    campaign::{Bed, PROVEN_US, certified, chain, in_parallel, mixed},
    cases::Cases,
    share::Share,
};
use jiff::Timestamp;

const METER: Wanted = Wanted { plate: false, seatings: 0 };
const PLATE: Wanted = Wanted { plate: true, seatings: 0 };

fn tide_gauge() -> Bed {
    let bed = Bed::example("tide-gauge-head", Sampling::Quick);
    Bed::new(certified(&bed.fixture), Sampling::Quick)
}

fn faults(proof: &Proof) -> Vec<String> {
    proof.figures().faults.iter().map(|fault| format!("{}: {}", fault.part, fault.what)).collect()
}

/// One value as it was measured, against the truth: how far off in intervals, and the interval without a proof over that with
/// one.
struct Reading {
    kind: String,
    off: f64,
    narrower: f64,
    width: f64,
}

/// Every value of a hostile bench with this fixture on it, once proven, beside what it states without the proof.
fn with_and_without_proof(number: usize, fixture: &Fixture) -> Vec<Reading> {
    let bed = Bed::new(certified(fixture), Sampling::Quick);
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
    .collect()
}

#[test]
fn a_proven_bench_states_narrower_intervals_that_cover_the_truth() {
    let beds = times(250, 3_400);
    let all: Vec<Reading> =
        in_parallel(beds, |number| with_and_without_proof(number, &mixed(&mut Cases::new(number as u64))))
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
    let all: Vec<Reading> = in_parallel(times(60, 600), |number| {
        let mut cases = Cases::new(number as u64);
        let values: Vec<f64> = (0..6).map(|_| cases.decades(0.3, 1.5)).collect();
        with_and_without_proof(number, &chain("shunt", &values))
    })
    .into_iter()
    .flatten()
    .collect();
    let covered = Share::count(all.iter().map(|reading| reading.off.abs() <= 1.0));
    let mut narrower: Vec<f64> = all.iter().map(|reading| reading.narrower).collect();
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
    let benches = times(60, 2_000);
    let found: Vec<Vec<String>> = in_parallel(benches, |number| {
        let parts = if number % 2 == 0 { Parts::Usual } else { Parts::Hostile };
        faults(&bed.prove(&Spec { parts, ..Spec::new(number as u64) }, PLATE).unwrap())
    });
    let unfit: Vec<_> = found.iter().enumerate().filter(|(_, faults)| !faults.is_empty()).collect();
    println!("{} of {benches} benches unfit", unfit.len());
    assert!(unfit.is_empty(), "{unfit:?}");
}

/// What is put into bench and bed, and the words that the first fault has to have. Every other bench is a hostile one.
const FAULTS: [(&str, &[&str]); 21] = [
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
    ("plate=open", &["thermometer plate", "no temperature"]),
    ("plate=short", &["thermometer plate", "no temperature"]),
    ("plate=+30 K", &["thermometer plate", "apart"]),
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

/// The tide gauge's bed with another text for some of its words.
fn altered(from: &str, to: &str) -> Bed {
    let fixture = tide_gauge().fixture;
    let text = fixture.source.replace(from, to);
    assert_ne!(text, fixture.source);
    let fixture = fixture::parse("altered/fixture.toml", &text, fixture.board.clone()).unwrap();
    Bed::new(fixture, Sampling::Quick)
}

#[test]
fn what_keeps_from_a_proof_is_said_with_its_remedy() {
    let spec = Spec::new(1);
    let refused = |bed: &Bed, spec: &Spec| bed.prove(spec, PLATE).unwrap_err();
    let future = refused(&altered("from = \"2026-03-01\"", "from = \"2026-12-01\""), &spec);
    assert_eq!(
        future.to_string(),
        "the certificate of standard \"1R\" is dated 2026-12-01, and today is 2026-09-21: correct the date, or this \
         computer's clock"
    );
    let past = refused(&altered("due = \"2027-03-01\"", "due = \"2026-09-20\""), &spec);
    assert!(past.to_string().contains("was due on 2026-09-20") && past.is_input(), "{past}");
    let bare = refused(&Bed::new(chain("fuse", &[0.1, 0.2]), Sampling::Quick), &spec);
    assert!(matches!(bare, ProveError::NoStandard(_)) && bare.is_input(), "{bare}");
    let lid = refused(&tide_gauge(), &spec.clone().fault("lid=3 s"));
    assert!(matches!(lid, ProveError::Lid) && !lid.is_input(), "{lid}");
    let dead = refused(&tide_gauge(), &spec.clone().fault("1R=+900 %"));
    assert!(matches!(dead, ProveError::Standard(_)), "{dead}");
    let failing = tide_gauge().prove(&spec.fault("cell fuse=open"), Wanted { plate: false, seatings: 3 });
    assert!(failing.unwrap_err().to_string().contains("cell fuse"));
}

/// Somebody who lays nothing.
struct Idle;

impl Operator for Idle {
    fn place(&mut self, _: StateId, _: &str, _: &mut dyn Watch) -> Result<(), Unattended> {
        Ok(())
    }
}

#[test]
fn a_plate_that_is_not_there_is_named() {
    let bed = tide_gauge();
    let mut bench = VirtualBench::new(&bed.fixture, &Spec::new(1)).unwrap();
    bench.lay(Lying::Nothing);
    let mut session = Session::open(bench).unwrap();
    let mut prover =
        Prover { session: &mut session, operator: &mut Idle, fixture: &bed.fixture, plan: &bed.plan };
    let at = Timestamp::from_microsecond(PROVEN_US).unwrap();
    assert!(matches!(prover.prove(PLATE, at, &mut |_| {}), Err(ProveError::NoPlate)));
}

#[test]
fn a_sweep_says_what_it_stands_on_and_a_fixture_may_ask_for_a_proof() {
    const DAY_US: i64 = 86_400_000_000;
    let spec = Spec::new(4);
    let proof = tide_gauge().prove(&spec, METER).unwrap();
    let dated = |made_us| Proof::new(&Figures { made_us, ..proof.figures().clone() }).unwrap();
    let failed = {
        let fault = Fault { part: "a pin".into(), what: "is bent".into() };
        Proof::new(&Figures { faults: vec![fault], ..proof.figures().clone() }).unwrap()
    };
    let other = Proof::new(&Figures { bed_hash: "another".into(), ..proof.figures().clone() }).unwrap();
    let cases = [
        (Some(proof.clone()), None),
        (Some(dated(PROVEN_US - 29 * DAY_US)), None),
        (Some(dated(PROVEN_US - 31 * DAY_US)), Some("more than 30 days old")),
        (Some(dated(PROVEN_US + DAY_US)), Some("dated later than this sweep")),
        (Some(failed), Some("found it unfit")),
        (Some(other), Some("have changed since")),
        (None, Some("nobody has proven")),
    ];
    let ask = |without: &str| {
        let rule = format!("[proof]\nwithout = \"{without}\"\n\n[[standard]]\nname = \"1R\"");
        altered("[[standard]]\nname = \"1R\"", &rule)
    };
    let (notice, void, silent) = (ask("notice"), ask("void"), tide_gauge());
    for (proof, said) in cases {
        let holds = said.is_none();
        let (by_notice, _) = notice.sweep_by(&spec, proof.clone());
        let told = by_notice.judgement.notes.iter().any(|note| said.is_some_and(|said| note.contains(said)));
        assert_eq!(told, !holds, "{said:?}: {:?}", by_notice.judgement.notes);
        assert_eq!(by_notice.judgement.verdict, Verdict::Pass);
        let (by_void, _) = void.sweep_by(&spec, proof.clone());
        let fault = by_void.judgement.bench_faults.first();
        assert_eq!(
            fault.map(|fault| fault.part.as_str()),
            (!holds).then_some("proof of the bench"),
            "{said:?}"
        );
        assert!(fault.is_none_or(|fault| said.is_some_and(|said| fault.what.contains(said))), "{fault:?}");
        let (by_none, _) = silent.sweep_by(&spec, proof.clone());
        assert_eq!(by_none.judgement.notes, Vec::<String>::new(), "{said:?}");
        assert_eq!(by_none.judgement.proof, proof.filter(|_| holds).map(|proof| proof.hash()));
    }
}

#[test]
fn a_golden_unit_says_which_limits_the_bed_can_judge() {
    let bed = tide_gauge();
    let repeats = |parts, seed| {
        let spec = Spec { parts, ..Spec::new(seed) };
        bed.prove(&spec, Wanted { plate: false, seatings: 4 }).unwrap().figures().repeats.clone()
    };
    let usual = repeats(Parts::Usual, 5);
    assert_eq!(usual.len(), bed.fixture.board.segments.len());
    assert!(usual.iter().all(|row| row.ratio >= FIT_RATIO), "{usual:?}");
    // A board that lies a tenth of a millimetre this way or that, against one held to hundredths: over some benches and their
    // traces, on which where a pin stands is what counts.
    let between = |parts| {
        let of_seed = |seed| repeats(parts, seed).into_iter().filter(|row| row.segment.contains("trace"));
        let shares: Vec<f64> = (10..18).flat_map(of_seed).map(|row| row.between / row.mean).collect();
        (shares.iter().map(|share| share * share).sum::<f64>() / shares.len() as f64).sqrt()
    };
    let (calm, worn) = (between(Parts::Usual), between(Parts::Hostile));
    println!(
        "traces from seating to seating: {:.2} % of the reading usually, {:.2} % hostile",
        100.0 * calm,
        100.0 * worn
    );
    assert!(worn > 2.0 * calm, "{calm} {worn}");
}

/// Every channel of the larger bench leads to a pin.
#[test]
fn a_whole_bench_is_proven_within_a_minute_of_bench_time() {
    let mut fixture = chain("fuse", &[0.05; 40]);
    let mut text = fixture.source.clone();
    for point in 1..8 {
        let (bare, forced) = (
            format!("\"p{point}\" = {{ sense = {point} }}"),
            format!("\"p{point}\" = {{ force = {}, sense = {point} }}", point + 2),
        );
        assert!(text.contains(&bare));
        text = text.replace(&bare, &forced);
    }
    fixture = fixture::parse("whole/fixture.toml", &text, fixture.board.clone()).unwrap();
    let bed = Bed::new(certified(&fixture), Sampling::Quick);
    let pins = bed
        .fixture
        .pins
        .iter()
        .map(|pins| usize::from(pins.force.is_some()) + usize::from(pins.sense.is_some()));
    assert_eq!(pins.sum::<usize>(), 10 + 42);
    let proof = bed.prove(&Spec::new(1), PLATE).unwrap();
    let seconds = proof.figures().device_us as f64 * 1e-6;
    println!("64 channels: {} readings in {seconds:.1} s of bench time", proof.figures().shots);
    assert!(faults(&proof).is_empty() && seconds <= 60.0, "{seconds} s, {:?}", faults(&proof));
}

#[test]
fn a_certificate_is_checked_where_it_is_written() {
    let written = |from: &str, to: &str| {
        let fixture = tide_gauge().fixture;
        let text = fixture.source.replace(from, to);
        fixture::parse("fixture.toml", &text, fixture.board).unwrap_err().to_string()
    };
    for (from, to, said) in [
        ("due = \"2027-03-01\"", "due = \"2025-03-01\"", "due before it was made"),
        ("due = \"2027-03-01\"", "due = \"1 March\"", "year, month, day"),
        ("\"1.00021 ohm\"", "\"1.3 ohm\"", "30 % off its value"),
        ("uncertainty = \"0.01 %\"", "uncertainty = 0.01", "has no unit"),
        ("read = \"proof\"", "read = \"never\"", "proof"),
    ] {
        let problems = written(from, to);
        assert!(problems.contains(said), "{to}: {problems}");
    }
}
