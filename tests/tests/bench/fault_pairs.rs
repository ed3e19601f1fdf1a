//! Two faults at once, every pair of kinds on every example board: each is named, or its place is listed as not judged
//! with the reason, and nothing passes that is not proven.
//!
//! Run with `--no-capture` for the table of pairs. Draws a pair and board: 4, or 20 with `COPPERWALK_LONG=1`.

use std::{collections::BTreeMap, fmt::Write};

use copperwalk::{
    board::{Segment, SegmentKind},
    fixture::Fixture,
    plan::Sampling,
    sweep::Sweep,
    verdict::Verdict,
    virtual_bench::{Spec, Truth},
};
use copperwalk_tests::attack::times;
use copperwalk_tests::campaign::{Bed, in_parallel};
use copperwalk_tests::cases::Cases;

/// A kind of fault, of the unit or of the bench.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Kind {
    Open,
    High,
    Low,
    Film,
    Flaky,
    OneBarrel,
    Short,
    Leak,
    SensePin,
    ForcePin,
}

impl Kind {
    const ALL: [Self; 10] = [
        Self::Open,
        Self::High,
        Self::Low,
        Self::Film,
        Self::Flaky,
        Self::OneBarrel,
        Self::Short,
        Self::Leak,
        Self::SensePin,
        Self::ForcePin,
    ];

    fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::High => "high",
            Self::Low => "low",
            Self::Film => "film",
            Self::Flaky => "flaky",
            Self::OneBarrel => "one barrel",
            Self::Short => "short",
            Self::Leak => "leak",
            Self::SensePin => "sense pin",
            Self::ForcePin => "force pin",
        }
    }

    fn of_the_bench(self) -> bool {
        matches!(self, Self::SensePin | Self::ForcePin)
    }

    /// Is a segment one that can have this fault?
    fn suits(self, segment: &Segment) -> bool {
        match self {
            Self::Open | Self::High => true,
            Self::Low => segment.stated.min.is_some(),
            Self::Film => segment.kind.is_contact(),
            // Contacts and what cracks.
            Self::Flaky => segment.kind.is_contact() || matches!(segment.kind, SegmentKind::Via { .. }),
            Self::OneBarrel => matches!(segment.kind, SegmentKind::Via { count: 2.., .. }),
            Self::Short | Self::Leak | Self::SensePin | Self::ForcePin => false,
        }
    }
}

/// A fault at its place.
#[derive(Clone, PartialEq, Debug)]
struct Placed {
    kind: Kind,
    /// Name of the segment, `a~b`, or name of the point.
    place: String,
    /// As the modelled bench takes it.
    spec: String,
}

/// Draws a place for a fault; `None` where the board has none.
fn draw(kind: Kind, Bed { fixture, plan, .. }: &Bed, cases: &mut Cases) -> Option<Placed> {
    let (board, limits) = (&fixture.board, &plan.limits);
    let placed = |place: &str, what: String| {
        Some(Placed { kind, place: place.to_owned(), spec: format!("{place}{what}") })
    };
    match kind {
        Kind::Short | Kind::Leak => {
            let entry = cases.choose(&board.isolation)?;
            let place = entry.between.map(|point| board.point(point).name.as_str()).join("~");
            let ohms = if kind == Kind::Short {
                cases.decades(0.5, 20.0)
            } else {
                entry.min.0 * cases.decades(0.05, 0.6).max(200.0 / entry.min.0)
            };
            placed(&place, format!("={ohms:.3} ohm"))
        }
        Kind::SensePin | Kind::ForcePin => {
            let (line, has): (_, fn(&copperwalk::fixture::Pins) -> bool) = match kind {
                Kind::SensePin => ("sense", |pins| pins.sense.is_some()),
                _ => ("force", |pins| pins.force.is_some()),
            };
            let points: Vec<_> =
                fixture.pins.iter().zip(&board.points).filter(|(pins, _)| has(pins)).collect();
            let (_, point) = cases.choose(&points)?;
            let what = if cases.unit() < 0.5 { "open" } else { "5 kohm" };
            placed(&point.name, format!(":{line}={what}"))
        }
        _ => {
            let ids: Vec<_> = board.segment_ids().filter(|&id| kind.suits(board.segment(id))).collect();
            let &id = cases.choose(&ids)?;
            let (segment, limits) = (board.segment(id), limits.of(id));
            let what = match kind {
                Kind::Open => "open".to_owned(),
                Kind::High => format!("{:.6} ohm", limits.max.0 * cases.decades(1.3, 30.0)),
                Kind::Low => format!("{:.6} ohm", limits.min?.0 * (0.1 + 0.6 * cases.unit())),
                Kind::Film => "film".to_owned(),
                Kind::Flaky => "flaky".to_owned(),
                _ => "one barrel open".to_owned(),
            };
            placed(&segment.name, format!("={what}"))
        }
    }
}

/// How a fault came out.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Told {
    /// Among the faults, or among the bench's.
    Named,
    /// Its place is listed as not judged, with the reason.
    NotJudged,
    /// Neither.
    Silent,
}

fn told(sweep: &Sweep, fixture: &Fixture, fault: &Placed) -> Told {
    let void = sweep.judgement.verdict == Verdict::Void;
    if fault.kind.of_the_bench() {
        let pin = format!("pin {}", fault.place);
        let named = sweep.judgement.bench_faults.iter().any(|found| found.part.contains(&pin))
            // A point on an island between two opens: whether the pin or the copper is dead cannot be told, and is said.
            || sweep.judgement.notes.iter().any(|note| note.contains(&pin));
        return if named {
            Told::Named
        } else if void {
            Told::NotJudged
        } else {
            Told::Silent
        };
    }
    if sweep.judgement.faults.iter().any(|found| found.place == fault.place) {
        return Told::Named;
    }
    // A reading that a group of barrels with thin plating explains as well as a lost barrel: nobody can tell.
    let explained = |name: &str| {
        let id = fixture.board.segment_named(name);
        let rows = sweep.judgement.segments.iter().filter(|row| row.name == name);
        let high = id.map(|id| fixture.board.segment(id).expected.high);
        fault.kind == Kind::OneBarrel
            && rows.clone().count() > 0
            && rows.clone().all(|row| {
                row.at_20c.zip(row.u95).zip(high).is_some_and(|((ohms, u95), high)| ohms - u95 <= high)
            })
    };
    if explained(&fault.place) {
        return Told::NotJudged;
    }
    let unjudged = |verdict, reason: &Option<String>| {
        verdict == Verdict::Void || (verdict == Verdict::Unproven && reason.is_some())
    };
    let rows = sweep.judgement.segments.iter().map(|row| (&row.name, row.verdict, &row.reason));
    let isolation = sweep.judgement.isolation.iter().map(|row| (&row.name, row.verdict, &row.reason));
    let mut listed = rows.chain(isolation).filter(|(name, ..)| **name == fault.place).peekable();
    let all = listed.peek().is_some() && listed.all(|(_, verdict, reason)| unjudged(verdict, reason));
    if void || all { Told::NotJudged } else { Told::Silent }
}

/// Rows that pass although the truth lies outside the limits.
fn wrongly_passed(sweep: &Sweep, truth: &Truth, fixture: &Fixture, faults: &[Placed]) -> Vec<String> {
    let board = &fixture.board;
    let segments = sweep.judgement.segments.iter().filter(|row| row.verdict == Verdict::Pass).filter(|row| {
        let Some(id) = board.segment_named(&row.name) else { return true };
        let true_value = truth.segment_at_20c(id);
        let moves = faults.iter().any(|fault| fault.kind == Kind::Flaky && fault.place == row.name);
        moves || true_value > row.max || row.min.is_some_and(|min| true_value < min)
    });
    segments.map(|row| row.name.clone()).collect()
}

struct Outcome {
    pair: [Kind; 2],
    told: [Told; 2],
    bad: Option<String>,
    blamed: usize,
}

fn one(bed: &Bed, pair: [Kind; 2], seed: u64) -> Option<Outcome> {
    let mut cases = Cases::new(seed.wrapping_mul(0x9E37) ^ (pair[0] as u64) << 40 ^ (pair[1] as u64) << 48);
    let first = draw(pair[0], bed, &mut cases)?;
    let second = (0..50).find_map(|_| draw(pair[1], bed, &mut cases).filter(|f| f.place != first.place))?;
    let faults = [first, second];
    let spec = faults.iter().fold(Spec::new(seed), |spec, fault| spec.fault(fault.spec.clone()));
    let (sweep, truth) = bed.sweep(&spec);
    let told = [told(&sweep, &bed.fixture, &faults[0]), told(&sweep, &bed.fixture, &faults[1])];
    let passed = wrongly_passed(&sweep, &truth, &bed.fixture, &faults);
    let harmless = faults.iter().all(|fault| fault.kind == Kind::OneBarrel || fault.kind == Kind::ForcePin);
    let unit_passes = sweep.judgement.verdict == Verdict::Pass && !harmless;
    let blamed: Vec<_> = sweep
        .judgement
        .faults
        .iter()
        .filter(|found| found.probability >= 0.5 && faults.iter().all(|fault| fault.place != found.place))
        .map(|found| found.place.clone())
        .collect();
    let unused = |fault: &Placed| fault.kind == Kind::ForcePin && sweep.judgement.bench_faults.is_empty();
    let silent = faults.iter().zip(told).any(|(fault, told)| told == Told::Silent && !unused(fault));
    let bad = (silent || !passed.is_empty() || unit_passes).then(|| {
        let mut text = format!(
            "{} seed {seed}: {} + {} -> {:?} told {told:?}",
            bed.fixture.board.name, faults[0].spec, faults[1].spec, sweep.judgement.verdict
        );
        let _ = write!(text, " wrongly passed {passed:?}");
        for fault in &sweep.judgement.faults {
            let _ = write!(text, "\n      fault {} {:?} {:.3}", fault.place, fault.class, fault.probability);
        }
        for fault in &sweep.judgement.bench_faults {
            let _ = write!(text, "\n      bench {}", fault.part);
        }
        for row in sweep.judgement.segments.iter().filter(|row| faults.iter().any(|f| f.place == row.name)) {
            let _ = write!(
                text,
                "\n      row {} {} {:?} ± {:?} max {:?} {:?} {:?} {:?}",
                row.name, row.state, row.resistance, row.u95, row.max, row.verdict, row.class, row.reason
            );
        }
        text
    });
    Some(Outcome { pair, told, bad, blamed: blamed.len() })
}

#[test]
fn every_pair_of_faults_is_named_or_listed_with_its_reason() {
    let draws = times(4, 20);
    let beds = Bed::examples(Sampling::Quick);
    let pairs: Vec<[Kind; 2]> = Kind::ALL
        .iter()
        .enumerate()
        .flat_map(|(at, &a)| Kind::ALL[at..].iter().map(move |&b| [a, b]))
        .collect();
    let jobs = pairs.len() * beds.len() * draws;
    let outcomes: Vec<Outcome> = in_parallel(jobs, |number| {
        let (pair, rest) = (number % pairs.len(), number / pairs.len());
        one(&beds[rest % beds.len()], pairs[pair], (rest / beds.len()) as u64 * 1_000 + number as u64)
    })
    .into_iter()
    .flatten()
    .collect();

    let mut table = BTreeMap::<[Kind; 2], [usize; 5]>::new();
    for outcome in &outcomes {
        let row = table.entry(outcome.pair).or_default();
        row[0] += 1;
        for told in outcome.told {
            row[1 + told as usize] += 1;
        }
        row[4] += outcome.blamed;
    }
    println!("{:>24}  sweeps  named  not judged  silent  blamed beside them", "pair");
    for (pair, [sweeps, named, unjudged, silent, blamed]) in table {
        let pair = format!("{} + {}", pair[0].word(), pair[1].word());
        println!("{pair:>24}  {sweeps:6}  {named:5}  {unjudged:10}  {silent:6}  {blamed:6}");
    }
    let bad: Vec<&String> = outcomes.iter().filter_map(|outcome| outcome.bad.as_ref()).collect();
    bad.iter().for_each(|text| println!("{text}"));
    println!("{} pairs of faults, {} told wrongly", outcomes.len(), bad.len());
    assert!(bad.is_empty());
}
