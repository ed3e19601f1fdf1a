//! Hunts on the modelled bench, against what is known of each unit and against the sweep.

use std::time::Instant;

use copperwalk::{
    board::SegmentId,
    hypothesis::{Belief, Defect, Hypothesis, Rates, words},
    judge,
    measurement::{Measurement, Purpose},
    plan::{self, Role, Sampling},
    sweep::Sweep,
    verdict::Verdict,
    virtual_bench::Spec,
};
use copperwalk_tests::{
    attack, boards,
    campaign::{Bed, in_parallel},
    cases::Cases,
};

/// Shots that read something of the unit; contact checks, standards, hum and the like apart.
fn shots(measurement: &Measurement) -> usize {
    let runs = measurement.runs.iter().filter(|run| run.purpose != Purpose::Diagnosis);
    let reads = |role: &Role| {
        matches!(
            role,
            Role::EndToEnd { .. }
                | Role::Between { .. }
                | Role::Segment { .. }
                | Role::Survey { .. }
                | Role::PastPin { .. }
                | Role::Isolation(_)
                | Role::OpenSwitch(_)
        )
    };
    runs.flat_map(|run| &run.shots).filter(|shot| reads(&shot.role)).count()
}

/// How many of them were made before the place that is wrong was read by itself.
fn shots_to_locate(measurement: &Measurement) -> usize {
    let located = measurement.runs.iter().rposition(|run| run.purpose == Purpose::Proof);
    let runs = measurement.runs[..located.unwrap_or(measurement.runs.len())].to_vec();
    shots(&Measurement { runs, ..measurement.clone() })
}

/// What became of one drawn fault.
struct Outcome {
    right: bool,
    verdict: Verdict,
    locate: usize,
    shots: usize,
    closures: u32,
    device_us: u64,
}

/// A fault that keeps the unit from working: a segment open, or a resistance that the path has no room for.
fn hunted(bed: &Bed, id: SegmentId, kind: usize, seed: u64) -> Outcome {
    let segment = bed.fixture.board.segment(id);
    let fault = match kind {
        0 => "open",
        1 => "330 ohm",
        2 => "12 ohm",
        _ => "4700 ohm",
    };
    let (hunt, _) = bed.hunt(&Spec::new(seed).fault(format!("{}={fault}", segment.name)));
    let right = hunt.judgement.verdict == Verdict::Fail
        && hunt.judgement.faults.first().is_some_and(|first| first.place == segment.name);
    if !right {
        tell(&format!("{} {}={fault}", bed.fixture.board.name, segment.name), &hunt);
    }
    let work = hunt.measurement.work();
    Outcome {
        right,
        verdict: hunt.judgement.verdict,
        locate: shots_to_locate(&hunt.measurement),
        shots: shots(&hunt.measurement),
        closures: work.closures,
        device_us: work.device_us,
    }
}

/// The boards that hunts are tried on: the examples, ladders of 8 to 128 segments, and 20 that branch by chance.
fn beds() -> Vec<Bed> {
    let made = |fixture: Result<_, copperwalk::problem::Problems>| {
        Bed::new(fixture.unwrap_or_else(|problems| panic!("{problems}")), Sampling::Quick)
    };
    let ladders = [8, 16, 32, 64, 128].map(|segments| made(boards::ladder(segments)));
    let branching = (0..20).map(|seed| made(boards::branching(seed)));
    Bed::examples(Sampling::Quick).into_iter().chain(ladders).chain(branching).collect()
}

/// Every segment open, and with resistances that no path has room for. Shannon 1948: without luck no tree of yes and no needs fewer
/// answers than the entropy, on average; two more for the look end to end and for what may be wrong besides.
#[test]
fn every_single_fault_is_located_in_few_looks() {
    const KINDS: usize = 4;
    let (mut all, mut right) = (0, 0);
    for bed in &beds() {
        let board = &bed.fixture.board;
        let ids: Vec<SegmentId> = board.segment_ids().collect();
        let every = KINDS * ids.len();
        let count = attack::times(8, every).min(every);
        let outcomes = in_parallel(count, |number| {
            let drawn = number * every / count;
            hunted(bed, ids[drawn % ids.len()], drawn / ids.len(), number as u64)
        });
        let mean =
            |of: &dyn Fn(&Outcome) -> f64| outcomes.iter().map(of).sum::<f64>() / outcomes.len() as f64;
        let (sweep, _) = bed.sweep(&Spec::new(1));
        let sweep = (shots(&sweep.measurement), sweep.measurement.work());
        let bits = Belief::new(board, &bed.plan.limits, &Rates::table(), &[]).entropy();
        let locate = mean(&|outcome| outcome.locate as f64);
        let ms = mean(&|outcome| outcome.device_us as f64 / 1e3);
        println!(
            "{:>24} {:>3} segments, {bits:.1} bits: located after {locate:.2}, {:.2} shots in all, {:.1} closures, {ms:.0} ms; \
             a sweep {} shots, {} closures, {:.0} ms",
            board.name,
            ids.len(),
            mean(&|outcome| outcome.shots as f64),
            mean(&|outcome| f64::from(outcome.closures)),
            sweep.0,
            sweep.1.closures,
            sweep.1.device_us as f64 / 1e3,
        );
        // In a short run a board has eight units: their mean scatters by half a look.
        let scatter = if outcomes.len() < every { 0.6 } else { 0.0 };
        let bound = (bits + 2.0).min(((ids.len() + 1) as f64).log2().ceil() + 2.0) + scatter;
        assert!(locate <= bound, "{locate} over {bound}");
        if ids.len() == 128 {
            assert!(sweep.1.device_us as f64 >= 5e3 * ms);
        }
        assert!(outcomes.iter().all(|outcome| outcome.verdict == Verdict::Fail || !outcome.right));
        assert!(outcomes.iter().all(|outcome| outcome.verdict != Verdict::Pass));
        all += outcomes.len();
        right += outcomes.iter().filter(|outcome| outcome.right).count();
    }
    println!("{right} of {all} right");
    assert!(right * 1000 >= 995 * all);
}

#[test]
fn good_units_are_shown_good_at_once() {
    let (mut passed, mut all) = (0, 0);
    for bed in &beds() {
        let outcomes = in_parallel(attack::times(4, 100), |number| {
            let (hunt, _) = bed.hunt(&Spec::new(number as u64));
            if hunt.judgement.verdict != Verdict::Pass {
                tell(&bed.fixture.board.name, &hunt);
            }
            (hunt.judgement.verdict, shots(&hunt.measurement))
        });
        // One look for each stretch, one for each insulation: more cannot be left out.
        let stage = bed
            .plan
            .stages
            .iter()
            .max_by_key(|stage| plan::Stage::clone(stage).legs.iter().flat_map(|leg| &leg.shots).count());
        let least = stage.map_or(0, |stage| {
            let shots = stage.legs.iter().flat_map(|leg| &leg.shots);
            let counts = |role: &Role| {
                matches!(role, Role::EndToEnd { .. } | Role::Isolation(_) | Role::OpenSwitch(_))
            };
            shots.filter(|shot| counts(&shot.role)).count()
        });
        let mean = outcomes.iter().map(|(_, shots)| *shots as f64).sum::<f64>() / outcomes.len() as f64;
        println!("{:>24}: {mean:.2} shots, {least} stretches and insulations", bed.fixture.board.name);
        // A good unit near the end of what is usual may need another look.
        assert!(mean <= least.max(3) as f64 + 0.5, "{mean}");
        all += outcomes.len();
        passed += outcomes.iter().filter(|(verdict, _)| *verdict == Verdict::Pass).count();
        assert!(outcomes.iter().all(|(verdict, _)| !matches!(verdict, Verdict::Fail | Verdict::Void)));
    }
    println!("{passed} of {all} good units pass");
    assert!(passed * 1000 >= 995 * all);
}

#[test]
fn two_faults_are_found_where_both_can_be_reached() {
    let beds = Bed::examples(Sampling::Quick);
    let hidden: Vec<Vec<plan::Hidden>> =
        beds.iter().map(|bed| plan::hidden(&bed.plan, &bed.fixture)).collect();
    let outcomes = in_parallel(attack::times(60, 1000), |number| {
        let mut cases = Cases::new(number as u64 + 0x70FA);
        let (bed, pair, spec) = loop {
            let at = (cases.unit() * beds.len() as f64) as usize;
            let bed = &beds[at];
            let ids: Vec<_> = bed.fixture.board.segment_ids().collect();
            let pair = [(); 2].map(|()| ids[(cases.unit() * ids.len() as f64) as usize]);
            let open = [cases.unit() < 0.5, cases.unit() < 0.5];
            let hides = |a: SegmentId, b: SegmentId| {
                hidden[at].iter().any(|item| item.open == a && item.hides.contains(&b))
            };
            let blind = (open[0] && hides(pair[0], pair[1])) || (open[1] && hides(pair[1], pair[0]));
            if pair[0] != pair[1] && !blind {
                let faults = pair
                    .into_iter()
                    .zip(open)
                    .map(|(id, open)| format!("{}={}", bed.name(id), if open { "open" } else { "330 ohm" }));
                break (bed, pair, faults.fold(Spec::new(number as u64), Spec::fault));
            }
        };
        let (hunt, _) = bed.hunt(&spec);
        let named = |id: &SegmentId| hunt.judgement.faults.iter().any(|fault| fault.place == bed.name(*id));
        let right = pair.iter().all(named);
        if !right {
            tell(&format!("{:?}", spec.faults), &hunt);
        }
        (right, hunt.judgement.verdict)
    });
    let right = outcomes.iter().filter(|(right, _)| *right).count();
    println!("two faults: {right} of {} name both", outcomes.len());
    assert!(right * 100 >= 97 * outcomes.len());
    assert!(outcomes.iter().all(|(_, verdict)| *verdict != Verdict::Pass));
}

/// Units drawn from the very table that hunts reckon with: then what is said to be so with probability p is so in a share p of the cases. It
/// proves how readings are weighed, not the table.
#[test]
fn probabilities_on_the_way_are_those_of_the_draws() {
    let beds = Bed::examples(Sampling::Quick);
    let drawn = in_parallel(attack::times(120, 3000), |number| {
        let mut cases = Cases::new(number as u64 + 0xCA11B);
        let bed = &beds[number % beds.len()];
        let board = &bed.fixture.board;
        let belief = Belief::new(board, &bed.plan.limits, &Rates::table(), &[]);
        let prior = belief.posterior();
        let truth = loop {
            let mut left = cases.unit();
            let hypothesis = prior.iter().find(|(_, probability)| {
                left -= probability;
                left < 0.0
            });
            let Some((truth, _)) = hypothesis else { continue };
            // What the modelled bench cannot be told: a switch that stays closed.
            if truth.defects().all(|defect| !matches!(defect, Defect::StaysClosed(_) | Defect::SilentPin(_)))
            {
                break *truth;
            }
        };
        let spec = truth
            .defects()
            .fold(Spec::new(number as u64), |spec, defect| spec.fault(spelled(bed, defect, &mut cases)));
        let (hunt, _) = bed.hunt(&spec);
        let said = words::in_words(board, &truth);
        // The operator sees the words; a film and a contact too high are told apart by load current only.
        let alike = |what: &str| what == said || alike(bed, &truth).contains(&what.to_owned());
        if let Some(left) = hunt
            .judgement
            .steps
            .iter()
            .filter_map(|step| step.left.first())
            .find(|left| left.probability > 0.97 && !alike(&left.what))
        {
            println!(
                "{} {:?}: {} {:.3}, {:?} {} steps",
                board.name,
                spec.faults,
                left.what,
                left.probability,
                hunt.judgement.verdict,
                hunt.judgement.steps.len()
            );
        }
        // A hunt that became a sweep would count a hundred times.
        let steps = hunt.judgement.steps.iter().take(12).filter_map(|step| step.left.first());
        steps.map(|left| (left.probability, alike(&left.what))).collect::<Vec<_>>()
    });
    let steps: Vec<(f64, bool)> = drawn.into_iter().flatten().collect();
    let bounds = [0.0, 0.3, 0.5, 0.7, 0.9, 0.97, 1.01];
    let mut error = 0.0;
    for pair in bounds.windows(2) {
        let within: Vec<_> = steps.iter().filter(|(p, _)| (pair[0]..pair[1]).contains(p)).collect();
        if within.is_empty() {
            continue;
        }
        let said = within.iter().map(|(p, _)| p).sum::<f64>() / within.len() as f64;
        let so = within.iter().filter(|(_, right)| *right).count() as f64 / within.len() as f64;
        println!("said {said:.3}, so {so:.3} of {}", within.len());
        error += (said - so).abs() * within.len() as f64 / steps.len() as f64;
    }
    println!("expected calibration error {error:.3}");
    assert!(error < 0.12, "{error}");
}

/// A defect as the modelled bench is told it.
fn spelled(bed: &Bed, defect: Defect, cases: &mut Cases) -> String {
    let board = &bed.fixture.board;
    let name = defect.segment().map(|id| bed.name(id).to_owned()).unwrap_or_default();
    match defect {
        Defect::Open(_) => format!("{name}=open"),
        Defect::High(id) => {
            let (typical, max) = (board.segment(id).expected.typical.0, bed.plan.limits.of(id).max.0);
            format!("{name}={} ohm", typical + cases.decades((max - typical).max(1e-6), 1e6))
        }
        Defect::Film(_) => format!("{name}=film"),
        Defect::Flaky(_) => format!("{name}=flaky"),
        Defect::BarrelLost(_) => format!("{name}=one barrel open"),
        Defect::Low(id) => format!("{name}={} ohm", 0.5 * board.segment(id).expected.typical.0),
        Defect::Bridge(index) => {
            let [a, b] = board.isolation[index].between.map(|point| board.point(point).name.clone());
            format!("{a}~{b}={} ohm", cases.decades(1.0, 0.3 * board.isolation[index].min.0))
        }
        Defect::StaysClosed(_) | Defect::SilentPin(_) => String::new(),
    }
}

/// Words that say as much as those of the truth.
fn alike(bed: &Bed, truth: &Hypothesis) -> Vec<String> {
    let board = &bed.fixture.board;
    let defects: Vec<Defect> = truth.defects().collect();
    let as_well = |defect: Defect| match defect {
        // Load current that breaks through a film makes a contact that comes and goes.
        Defect::Film(id) => vec![Defect::High(id), Defect::Flaky(id)],
        Defect::High(id) => vec![Defect::Film(id), Defect::Open(id)],
        _ => Vec::new(),
    };
    match defects[..] {
        [one] => {
            as_well(one).into_iter().map(|other| words::in_words(board, &Hypothesis::one(other))).collect()
        }
        [one, two] => {
            let [mut first, mut second] = [as_well(one), as_well(two)];
            first.push(one);
            second.push(two);
            let pairs = first.iter().flat_map(|&a| second.iter().map(move |&b| Hypothesis::two(a, b)));
            pairs.map(|pair| words::in_words(board, &pair)).collect()
        }
        _ => Vec::new(),
    }
}

#[test]
fn a_bench_fault_makes_a_hunt_void_and_names_its_part() {
    let bed = Bed::example("tide-gauge-head", Sampling::Quick);
    for (fault, part) in [
        ("cell+:force=5 kohm", "cell+"),
        ("reg.in:sense=open", "reg.in"),
        ("cell-:force-=welded", "force"),
        ("battery=3.0 V", "voltage"),
    ] {
        let (hunt, _) = bed.hunt(&Spec::new(3).fault(fault));
        assert_eq!(hunt.judgement.verdict, Verdict::Void, "{fault}");
        assert!(
            hunt.judgement.bench_faults.iter().any(|fault| fault.part.contains(part)),
            "{fault}: {:?}",
            hunt.judgement.bench_faults
        );
        assert!(hunt.judgement.faults.is_empty());
    }
}

#[test]
fn a_stored_hunt_is_judged_the_same_again() {
    let bed = Bed::example("trail-counter", Sampling::Quick);
    let first = bed.fixture.board.segment_ids().next().unwrap();
    let (hunt, _) = bed.hunt(&Spec::new(5).fault(format!("{}=open", bed.name(first))));
    let again = judge::judge(&bed.fixture, &bed.plan.limits, &bed.plan, &hunt.measurement).unwrap();
    assert_eq!(again, hunt.judgement);
    assert!(!again.steps.is_empty());
    assert!(again.steps.iter().map(|step| step.bits).sum::<f64>() > 2.0, "{:?}", again.steps);
}

/// Twenty milliseconds are asked for; a test machine may be busy with something else.
#[test]
fn the_next_question_comes_at_once_on_a_large_board() {
    let fixture = boards::ladder(128).unwrap_or_else(|problems| panic!("{problems}"));
    let bed = Bed::new(fixture, Sampling::Quick);
    let begun = Instant::now();
    let (hunt, _) = bed.hunt(&Spec::new(1).fault("s77=open"));
    let looks = hunt.measurement.runs.iter().filter(|run| run.purpose == Purpose::Look).count();
    println!("{:?} for {looks} looks, the modelled bench and the judgement included", begun.elapsed());
    assert_eq!(hunt.judgement.faults.first().map(|fault| fault.place.as_str()), Some("s77"));
}

fn tell(name: &str, hunt: &Sweep) {
    println!(
        "== {name}: {:?} {} shots {:?}",
        hunt.judgement.verdict,
        shots(&hunt.measurement),
        hunt.measurement.work()
    );
    for run in &hunt.measurement.runs {
        let roles: Vec<String> = run.shots.iter().map(|s| format!("{:?}", s.role)).collect();
        println!("   {:?} {:?} {} us {}", run.purpose, run.end, run.device_us, roles.join(" | "));
    }
    for f in hunt.judgement.faults.iter().take(4) {
        println!("   -> {} {:?} {:.3}", f.place, f.class, f.probability);
    }
    println!("   {:?}", hunt.judgement.bench_faults);
}
