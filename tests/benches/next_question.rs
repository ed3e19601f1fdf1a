//! CPU time a person or a bed waits for the next question, on a path of 128 segments with pairs of faults among the hypotheses.
//!
//! Asked: 20 ms. The hunt on the bed is timed whole, the modelled bench and the judgement with it.

use std::time::{Duration, Instant};

use copperwalk::{
    board::Board,
    by_hand::{Next, Said, Session, answer::Instrument},
    hypothesis::{Look, Rates},
    limits::LimitSet,
    measurement::Purpose,
    plan::Sampling,
    virtual_bench::Spec,
};
use copperwalk_tests::{boards::ladder, campaign::Bed};
use criterion::{Criterion, criterion_group, criterion_main};

const SEGMENTS: usize = 128;
const BROKEN: &str = "s77";

/// A hunt by hand for one open segment: how many questions, and the longest wait for one.
fn by_hand(board: &Board, limits: &LimitSet) -> (u32, Duration) {
    let broken = board.segment_named(BROKEN).expect("the ladder has it");
    let mut session = Session::new(board, limits, Rates::table(), Instrument::typed(), false);
    let (mut questions, mut longest) = (0, Duration::ZERO);
    let mut begun = Instant::now();
    loop {
        let next = session.next();
        longest = longest.max(begun.elapsed());
        match next {
            Next::Zero => {
                session.zeroed(Said::parse("0.2 ohm").expect("a reading")).expect("leads of 0.2 Ω");
                begun = Instant::now();
            }
            Next::Ask(asking) => {
                let look = Look::two_points(board, asking.probe.state, asking.probe.points);
                let stops = look.is_none_or(|look| look.way().contains(&broken));
                let shown = if stops { "ol" } else { "0.5 ohm" };
                questions += 1;
                // What the answer makes of the hypotheses belongs to the wait.
                begun = Instant::now();
                session
                    .answered(&asking, Said::parse(shown).expect("an answer"), shown)
                    .expect("no contradiction");
            }
            Next::Done(_) => return (questions, longest),
        }
    }
}

fn questions(criterion: &mut Criterion) {
    let fixture = ladder(SEGMENTS).expect("the ladder's files are in order");
    let limits = LimitSet::of_board(&fixture.board);
    let (asked, longest) = by_hand(&fixture.board, &limits);
    println!("by hand: {asked} questions, {longest:.1?} for the slowest of them");
    criterion.bench_function(&format!("by hand, {SEGMENTS} segments, {asked} questions"), |bencher| {
        bencher.iter(|| by_hand(&fixture.board, &limits));
    });

    let bed = Bed::new(fixture.clone(), Sampling::Quick);
    let spec = Spec::new(1).fault(format!("{BROKEN}=open"));
    let (hunt, _) = bed.hunt(&spec);
    let looks = hunt.measurement.runs.iter().filter(|run| run.purpose == Purpose::Look).count();
    criterion.bench_function(&format!("on the bed, {SEGMENTS} segments, {looks} looks"), |bencher| {
        bencher.iter(|| bed.hunt(&spec));
    });
}

criterion_group!(benches, questions);
criterion_main!(benches);
