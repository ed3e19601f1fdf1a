//! Whole hunts by a simulated person with a two-wire meter, beside the two ways people go without advice.

use super::{
    answer::{Instrument, Said},
    choose::probe_at,
    judge,
    probe::{Hold, Probe, Stance},
    session::{Asking, Done, Effort, Next, Outcome, Session},
};
use crate::{
    board::{self, Board, PointId, SegmentId, StateId},
    hypothesis::{Defect, Look, Rates},
    limits::LimitSet,
    measurement::{Basis, ByHand, Manner, Measurement, Method},
    plan::{Sampling, forest::Forest},
    quantity::Ohms,
    random::Rng,
    verdict::{Class, Verdict},
};

const BOARDS: [&str; 3] = [
    include_str!("../../../fixtures/tide-gauge-head/board.toml"),
    include_str!("../../../fixtures/trail-counter/board.toml"),
    include_str!("../../../fixtures/greenhouse-valve-driver/board.toml"),
];
/// What the leads of the simulated meter read.
const LEADS: f64 = 0.2;

/// A unit with one fault: a segment with another resistance.
struct Unit<'b> {
    board: &'b Board,
    fault: Option<(SegmentId, f64)>,
    /// Two nets that conduct.
    short: Option<[PointId; 2]>,
}

impl Unit<'_> {
    fn resistance(&self, id: SegmentId) -> f64 {
        match self.fault {
            Some((at, ohms)) if at == id => ohms,
            _ => self.board.segment(id).expected.typical.0,
        }
    }

    fn between(&self, state: StateId, points: [PointId; 2]) -> f64 {
        match Look::two_points(self.board, state, points) {
            Some(look) => look.way().iter().map(|&id| self.resistance(id)).sum(),
            None => self.short.map_or(f64::INFINITY, |[a, b]| {
                let way = |from, to| {
                    let look = (from != to).then(|| Look::two_points(self.board, state, [from, to]));
                    match look {
                        None => Some(0.0),
                        Some(look) => {
                            look.map(|look| look.way().iter().map(|&id| self.resistance(id)).sum::<f64>())
                        }
                    }
                };
                let round = |near, far| Some(1.0 + way(points[0], near)? + way(far, points[1])?);
                round(a, b).or_else(|| round(b, a)).unwrap_or(f64::INFINITY)
            }),
        }
    }

    /// What the meter shows, in tenths of an ohm up to 200 Ω, with three digits above.
    fn shows(&self, state: StateId, points: [PointId; 2], rng: &mut Rng) -> String {
        let ohms = self.between(state, points) + LEADS + 0.03 * rng.normal();
        match ohms {
            ohms if ohms > 20e6 => "> 20 Mohm".into(),
            ohms if ohms >= 200.0 => format!("{:.2} kohm", ohms / 1e3),
            ohms => format!("{:.1} ohm", ohms.max(0.0)),
        }
    }
}

/// A hunt to its end: what was read, why it ended, and what it cost.
fn hunt(unit: &Unit<'_>, limits: &LimitSet, rng: &mut Rng) -> (ByHand, Done, Effort) {
    let mut session = Session::new(unit.board, limits, Rates::table(), Instrument::typed(), false);
    loop {
        match session.next() {
            Next::Zero => session.zeroed(Said::parse("0.2 ohm").unwrap()).unwrap(),
            Next::Ask(asking) => {
                let shown = unit.shows(asking.probe.state, asking.probe.points, rng);
                session.answered(&asking, Said::parse(&shown).unwrap(), &shown).unwrap();
            }
            Next::Done(done) => {
                let effort = session.effort();
                return (session.finish(false), done, effort);
            }
        }
    }
}

fn measurement(board: &Board, by_hand: ByHand) -> Measurement {
    Measurement {
        serial: "A-1".into(),
        lot: None,
        started_us: 0,
        repaired_us: None,
        wires: Vec::new(),
        bench_name: "typed".into(),
        manner: Manner::ByHand,
        rates: Rates::table(),
        basis: Basis::of(board, None),
        sampling: Sampling::Quick,
        proof: None,
        runs: Vec::new(),
        by_hand: Some(by_hand),
    }
}

/// Does a two-wire meter see that this is not what it should be?
fn reads_bad(unit: &Unit<'_>, state: StateId, points: [PointId; 2], usual: f64) -> bool {
    unit.between(state, points) > usual + 1.0
}

/// Somebody who goes without advice: what it costs, probe by probe.
struct Walker<'b> {
    board: &'b Board,
    stance: Stance,
    effort: Effort,
}

impl Walker<'_> {
    fn probe(&mut self, unit: &Unit<'_>, state: StateId, points: [PointId; 2]) -> bool {
        let probe: Probe = probe_at(self.board, state, points, self.stance.hold, None);
        self.effort.questions += 1;
        self.effort.moves += self.stance.moves(&probe);
        self.effort.flips += u32::from(self.stance.flips(&probe));
        self.stance = Stance::after(&probe);
        let look = Look::two_points(self.board, state, points).unwrap();
        let usual = look.way().iter().map(|&id| self.board.segment(id).expected.typical.0).sum();
        reads_bad(unit, state, points, usual)
    }
}

/// The points of the way from the supply to each load.
fn ways(board: &Board) -> (StateId, Vec<Vec<PointId>>) {
    let state = board.state_ids().last().unwrap();
    let forest = Forest::new(board, state, &[]);
    let ways = board.supply.to.iter().map(|&to| {
        let steps = forest.path(board.supply.from, to).unwrap();
        std::iter::once(board.supply.from).chain(steps.iter().map(|step| step.to)).collect()
    });
    (state, ways.collect())
}

/// Segment after segment, in order, until one is bad.
fn in_order(unit: &Unit<'_>) -> Effort {
    let (state, ways) = ways(unit.board);
    let mut walker = Walker { board: unit.board, stance: Stance::START, effort: Effort::default() };
    let mut done: Vec<[PointId; 2]> = Vec::new();
    for way in ways {
        for pair in way.windows(2) {
            let pair = [pair[0], pair[1]];
            if !done.contains(&pair) {
                done.push(pair);
                if walker.probe(unit, state, pair) {
                    return walker.effort;
                }
            }
        }
    }
    walker.effort
}

/// End to end, then halves: one tip stays at the supply.
fn by_halves(unit: &Unit<'_>) -> Effort {
    let (state, ways) = ways(unit.board);
    let mut walker = Walker { board: unit.board, stance: Stance::START, effort: Effort::default() };
    for way in ways {
        let (first, last) = (way[0], way[way.len() - 1]);
        if !walker.probe(unit, state, [first, last]) {
            continue;
        }
        let (mut good, mut bad) = (0, way.len() - 1);
        while bad - good > 1 {
            let middle = (good + bad) / 2;
            if walker.probe(unit, state, [first, way[middle]]) {
                bad = middle;
            } else {
                good = middle;
            }
        }
        return walker.effort;
    }
    walker.effort
}

/// A fault by the table of rates that two tips can see: an open, or so many ohms that are not there in a good unit.
fn drawn(board: &Board, rng: &mut Rng) -> (SegmentId, f64) {
    let (_, ways) = ways(board);
    let on_way = |id: SegmentId| {
        let segment = board.segment(id);
        ways.iter().any(|way| way.contains(&segment.from) && way.contains(&segment.to))
    };
    let weights: Vec<(SegmentId, bool, f64)> = Rates::table()
        .weights(board)
        .into_iter()
        .filter_map(|(defect, weight)| match defect {
            Defect::Open(id) if on_way(id) => Some((id, true, weight)),
            Defect::High(id) if on_way(id) => Some((id, false, weight)),
            _ => None,
        })
        .collect();
    let mut at = rng.unit() * weights.iter().map(|(.., weight)| weight).sum::<f64>();
    let chosen = weights.iter().find(|(.., weight)| {
        at -= weight;
        at < 0.0
    });
    let &(id, open, _) = chosen.unwrap_or(&weights[0]);
    (id, if open { f64::INFINITY } else { 5.0 * 10_f64.powf(3.0 * rng.unit()) })
}

#[test]
fn advice_halves_the_touches_of_a_walk_and_turns_the_board_less_than_halving_does() {
    let long = std::env::var_os("COPPERWALK_LONG").is_some();
    let units = if long { 1_000 } else { 60 };
    let (mut draws, mut rng) = (Rng::new(11), Rng::new(12));
    let [mut advised, mut walked, mut halved] = [Effort::default(); 3];
    let mut right = 0;
    for number in 0..units {
        let board = board::parse("board.toml", BOARDS[number % BOARDS.len()]).unwrap();
        let limits = LimitSet::of_board(&board);
        let unit = Unit { board: &board, fault: Some(drawn(&board, &mut draws)), short: None };
        let (by_hand, _, effort) = hunt(&unit, &limits, &mut rng);
        let judgement = judge(&board, &limits, &measurement(&board, by_hand)).unwrap();
        let name = &board.segment(unit.fault.unwrap().0).name;
        right += u32::from(judgement.faults.first().is_some_and(|fault| fault.place == *name));
        for (sum, one) in
            [(&mut advised, effort), (&mut walked, in_order(&unit)), (&mut halved, by_halves(&unit))]
        {
            sum.questions += one.questions;
            sum.moves += one.moves;
            sum.flips += one.flips;
            sum.states += one.states;
        }
    }
    let each = |count: u32| f64::from(count) / units as f64;
    for (who, effort) in [("advised", advised), ("in order", walked), ("by halves", halved)] {
        println!(
            "{who}: {:.2} touches, {:.2} tips moved, {:.2} turns of the board a unit ({units} units)",
            each(effort.questions),
            each(effort.moves),
            each(effort.flips)
        );
    }
    println!("right: {right} of {units}");
    assert!(f64::from(right) >= 0.97 * units as f64, "{right} of {units}");
    assert!(2 * advised.questions <= walked.questions, "{advised:?} {walked:?}");
    assert!(advised.flips < halved.flips, "{advised:?} {halved:?}");
}

/// A path of so many segments, for the time that a choice takes.
fn long_board(segments: usize) -> String {
    let mut text = String::from(
        "format = 1\n[board]\nname = \"long\"\nrevision = \"A\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [300, 0], [300, 20], [0, 20]]\n[supply]\nfrom = \"p0\"\n",
    );
    text += &format!(
        "to = \"p{segments}\"\nreturn = \"gnd\"\nvoltage = [\"3 V\", \"4 V\"]\nload = \"100 mA\"\nmax_drop = \"3 V\"\n[points]\n"
    );
    for point in 0..=segments {
        let side = ["front", "back", "both"][point % 3];
        text +=
            &format!("p{point} = {{ at = [{}, 10], side = \"{side}\", kind = \"pad\" }}\n", 2 * point + 1);
    }
    text += "gnd = { at = [1, 3], side = \"front\", kind = \"terminal\" }\n";
    for at in 0..segments {
        let to = at + 1;
        text += &format!(
            "[[segment]]\nname = \"s{at}\"\nkind = \"trace\"\nfrom = \"p{at}\"\nto = \"p{to}\"\nlength = \"4 mm\"\nwidth = \"1 mm\"\nmax = \"20 mohm\"\n"
        );
    }
    text + &format!("[[isolation]]\nbetween = [\"p{segments}\", \"gnd\"]\nmin = \"5 kohm\"\n")
}

#[test]
fn one_open_of_128_segments_is_located_among_pairs_of_faults() {
    let board = board::parse("board.toml", &long_board(128)).unwrap();
    let limits = LimitSet::of_board(&board);
    let mut rng = Rng::new(3);
    let unit = Unit { board: &board, fault: Some((SegmentId::new(77), f64::INFINITY)), short: None };
    let (by_hand, done, effort) = hunt(&unit, &limits, &mut rng);
    println!("{effort:?}");
    assert_eq!(done, Done::Located);
    let judgement = judge(&board, &limits, &measurement(&board, by_hand)).unwrap();
    assert_eq!(judgement.faults[0].place, "s77");
}

fn gauge() -> Board {
    board::parse("board.toml", BOARDS[0]).unwrap()
}

#[test]
fn a_good_unit_does_not_pass_by_two_tips_and_each_row_says_why() {
    let board = gauge();
    let limits = LimitSet::of_board(&board);
    let unit = Unit { board: &board, fault: None, short: None };
    let (by_hand, done, ..) = hunt(&unit, &limits, &mut Rng::new(1));
    assert_eq!(done, Done::NothingTells);
    let judgement = judge(&board, &limits, &measurement(&board, by_hand)).unwrap();
    assert_eq!(judgement.verdict, Verdict::Unproven);
    assert!(judgement.faults.is_empty(), "{:?}", judgement.faults);
    for row in &judgement.segments {
        assert!(row.verdict == Verdict::Pass || row.reason.is_some(), "{row:?}");
        assert!(row.verdict != Verdict::Pass || row.max >= Ohms(0.3), "{row:?}");
    }
    assert!(judgement.notes.iter().any(|note| note.contains("two tips")), "{:?}", judgement.notes);
}

#[test]
fn a_beep_never_passes_a_limit_of_milliohms() {
    let board = gauge();
    let limits = LimitSet::of_board(&board);
    let mut session = Session::new(&board, &limits, Rates::table(), Instrument::typed(), false);
    session.zeroed(Said::Beep).unwrap();
    while let Next::Ask(asking) = session.next() {
        session.answered(&asking, Said::Beep, "beep").unwrap();
    }
    let by_hand = session.finish(false);
    assert!(by_hand.touches.iter().all(|touch| touch.method == Some(Method::Continuity)));
    let judgement = judge(&board, &limits, &measurement(&board, by_hand)).unwrap();
    assert!(judgement.segments.iter().all(|row| row.verdict != Verdict::Pass), "{:?}", judgement.segments);
}

#[test]
fn a_short_is_found_and_named() {
    let board = gauge();
    let limits = LimitSet::of_board(&board);
    let entry = &board.isolation[0];
    let unit = Unit { board: &board, fault: None, short: Some(entry.between) };
    let (by_hand, ..) = hunt(&unit, &limits, &mut Rng::new(1));
    let judgement = judge(&board, &limits, &measurement(&board, by_hand)).unwrap();
    assert_eq!(judgement.verdict, Verdict::Fail, "{:#?}", judgement.steps);
    // The path conducts: read from either of its ends, the short is the same.
    let fault = &judgement.faults[0];
    assert!(fault.place.ends_with("~cell-") && fault.class == Class::Shorted, "{fault:?}");
}

#[test]
fn what_cannot_be_reached_is_not_asked_again_and_is_named() {
    let board = gauge();
    let limits = LimitSet::of_board(&board);
    let mut session = Session::new(&board, &limits, Rates::table(), Instrument::typed(), false);
    session.zeroed(Said::Beep).unwrap();
    let Next::Ask(asking) = session.next() else { panic!() };
    let out_of_reach = asking.probe.points[1];
    let text = format!("skip {}", board.point(out_of_reach).name);
    session.answered(&asking, Said::parse(&text).unwrap(), &text).unwrap();
    while let Next::Ask(asking) = session.next() {
        assert!(!asking.probe.points.contains(&out_of_reach), "{asking:?}");
        session.answered(&asking, Said::Beep, "beep").unwrap();
    }
    let judgement = judge(&board, &limits, &measurement(&board, session.finish(false))).unwrap();
    assert!(judgement.notes.iter().any(|note| note.starts_with("not reached")), "{:?}", judgement.notes);
}

#[test]
fn an_answer_is_taken_back_and_contradictory_ones_are_asked_again() {
    let board = gauge();
    let limits = LimitSet::of_board(&board);
    let mut session = Session::new(&board, &limits, Rates::table(), Instrument::typed(), false);
    session.zeroed(Said::parse("0.2 ohm").unwrap()).unwrap();
    let Next::Ask(first) = session.next() else { panic!() };
    session.answered(&first, Said::parse("> 20 Mohm").unwrap(), "> 20 Mohm").unwrap();
    let Next::Ask(second) = session.next() else { panic!() };
    assert_eq!(session.answered(&second, Said::Again, "again").unwrap(), Outcome::TakenBack);
    let Next::Ask(again) = session.next() else { panic!() };
    assert_eq!(again.probe.points, first.probe.points);
    session.answered(&again, Said::parse("0.3 ohm").unwrap(), "0.3 ohm").unwrap();
    // A part of what conducts does not.
    let look = Look::two_points(&board, first.probe.state, first.probe.points).unwrap();
    let part = board.segment(look.way()[1]);
    let probe = probe_at(&board, first.probe.state, [part.from, part.to], session.stance().hold, None);
    let asking = Asking { probe, bits: 0.0, on_good_unit: false, again: false };
    let said = Said::parse("> 20 Mohm").unwrap();
    let outcome = session.answered(&asking, said, "> 20 Mohm").unwrap();
    assert!(matches!(outcome, Outcome::Contradicts([1, 0])), "{outcome:?}");
    let mut asked_again = Vec::new();
    for shown in ["> 20 Mohm", "0.3 ohm"] {
        let Next::Ask(asking) = session.next() else { panic!() };
        assert!(asking.again);
        asked_again.push(asking.probe.points);
        session.answered(&asking, Said::parse(shown).unwrap(), shown).unwrap();
    }
    assert_eq!(asked_again[0], probe.points, "the later one first");
    assert!(asked_again.contains(&first.probe.points), "{asked_again:?}");
    let judgement = judge(&board, &limits, &measurement(&board, session.finish(false))).unwrap();
    assert!(judgement.notes.iter().any(|note| note.contains("contradict")), "{:?}", judgement.notes);
}

#[test]
fn a_hunt_that_was_ended_goes_on_where_it_was() {
    let board = gauge();
    let limits = LimitSet::of_board(&board);
    let unit = Unit { board: &board, fault: Some((SegmentId::new(3), f64::INFINITY)), short: None };
    let mut rng = Rng::new(1);
    let mut session = Session::new(&board, &limits, Rates::table(), Instrument::typed(), false);
    session.zeroed(Said::Beep).unwrap();
    for _ in 0..2 {
        let Next::Ask(asking) = session.next() else { panic!() };
        let shown = unit.shows(asking.probe.state, asking.probe.points, &mut rng);
        session.answered(&asking, Said::parse(&shown).unwrap(), &shown).unwrap();
    }
    let by_hand = session.finish(true);
    let judgement = judge(&board, &limits, &measurement(&board, by_hand.clone())).unwrap();
    assert_eq!((judgement.verdict, judgement.steps.len()), (Verdict::Void, 2));
    assert!(judgement.bench_faults[0].what.contains("--resume"));
    let mut session = Session::new(&board, &limits, Rates::table(), Instrument::typed(), false);
    session.resume(by_hand.touches);
    assert_eq!(session.next(), Next::Zero, "the tips may be others");
    session.zeroed(Said::Beep).unwrap();
    let Next::Ask(does) = session.next() else { panic!() };
    assert!(session.touches().iter().all(|touch| touch.meter == "typed"));
    let asked = session
        .touches()
        .iter()
        .map(|touch| [&touch.from, &touch.to].map(|name| board.point_named(name).unwrap()));
    for points in asked {
        assert!(!points.iter().all(|point| does.probe.points.contains(point)), "{does:?}");
    }
    assert_eq!(session.stance().hold, Hold::Face(super::place::Face::Front));
}

#[test]
fn the_good_unit_is_read_at_the_same_points_and_compared() {
    let board = gauge();
    let limits = LimitSet::of_board(&board);
    let mut session = Session::new(&board, &limits, Rates::table(), Instrument::typed(), true);
    session.zeroed(Said::parse("0.2 ohm").unwrap()).unwrap();
    let Next::Ask(asking) = session.next() else { panic!() };
    session.answered(&asking, Said::parse("5.2 ohm").unwrap(), "5.2 ohm").unwrap();
    let Next::Ask(good) = session.next() else { panic!() };
    assert!(good.on_good_unit && good.probe.points == asking.probe.points);
    session.answered(&good, Said::parse("0.4 ohm").unwrap(), "0.4 ohm").unwrap();
    let Next::Ask(next) = session.next() else { panic!() };
    assert!(!next.on_good_unit);
    let judgement = judge(&board, &limits, &measurement(&board, session.finish(false))).unwrap();
    assert!(judgement.notes.iter().any(|note| note.contains("the good unit reads")), "{:?}", judgement.notes);
    assert_eq!(judgement.steps.len(), 1, "{:?}", judgement.steps);
}
