//! Hunts on the modelled bench, against what is known of each unit and against the sweep.

use copperwalk::{
    board::SegmentId,
    hypothesis::{Belief, Rates},
    measurement::{Measurement, Purpose},
    plan::{Role, Sampling},
    sweep::Sweep,
    verdict::Verdict,
    virtual_bench::Spec,
};
use copperwalk_tests::{
    attack, boards,
    campaign::{Bed, in_parallel},
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

#[test]
fn every_single_fault_is_located_in_few_looks() {
    let mut beds = Bed::examples(Sampling::Quick);
    for segments in [8, 16, 32, 64, 128] {
        beds.push(Bed::new(
            boards::ladder(segments).unwrap_or_else(|problems| panic!("{problems}")),
            Sampling::Quick,
        ));
    }
    for seed in 0..20 {
        beds.push(Bed::new(
            boards::branching(seed).unwrap_or_else(|problems| panic!("{problems}")),
            Sampling::Quick,
        ));
    }
    let (mut all, mut right, mut passed) = (0, 0, 0);
    for bed in &beds {
        let board = &bed.fixture.board;
        let ids: Vec<SegmentId> = board.segment_ids().collect();
        let count = attack::times(16, 4 * ids.len()).min(4 * ids.len());
        let outcomes = in_parallel(count, |number| {
            let drawn = number * 4 * ids.len() / count;
            hunted(bed, ids[drawn % ids.len()], drawn / ids.len(), number as u64)
        });
        let mean =
            |of: &dyn Fn(&Outcome) -> f64| outcomes.iter().map(of).sum::<f64>() / outcomes.len() as f64;
        let (sweep, _) = bed.sweep(&Spec::new(1));
        let sweep = (shots(&sweep.measurement), sweep.measurement.work());
        let entropy = Belief::new(board, &bed.plan.limits, &Rates::table(), &[]).entropy();
        let locate = mean(&|outcome| outcome.locate as f64);
        println!(
            "{:>24} {:>3} segments, {:.1} bits: located after {locate:.2}, {:.2} shots in all, {:.1} closures, {:.0} ms; \
             a sweep {} shots, {} closures, {:.0} ms",
            board.name,
            ids.len(),
            entropy,
            mean(&|outcome| outcome.shots as f64),
            mean(&|outcome| f64::from(outcome.closures)),
            mean(&|outcome| outcome.device_us as f64 / 1e3),
            sweep.0,
            sweep.1.closures,
            sweep.1.device_us as f64 / 1e3,
        );
        all += outcomes.len();
        right += outcomes.iter().filter(|outcome| outcome.right).count();
        passed += outcomes.iter().filter(|outcome| outcome.verdict == Verdict::Pass).count();
        let bound = ((ids.len() + 1) as f64).log2().ceil() + 2.0;
        println!(
            "    bound {:.1} and {bound}: {}",
            entropy + 2.0,
            if locate <= bound.min(entropy + 2.0) { "kept" } else { "MISSED" }
        );
    }
    println!("{right} of {all} right, {passed} pass");
}

#[test]
fn the_next_question_comes_at_once_on_a_large_board() {
    let bed = Bed::new(boards::ladder(128).unwrap_or_else(|problems| panic!("{problems}")), Sampling::Quick);
    let begun = std::time::Instant::now();
    let (hunt, _) = bed.hunt(&Spec::new(1).fault("s77=open"));
    println!("{:?} for {} runs", begun.elapsed(), hunt.measurement.runs.len());
    tell("ladder", &hunt);
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
