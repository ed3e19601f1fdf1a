//! The judgement of a hunt by hand: what its touches prove, made anew from them by any later program and any limit set.

use super::{
    answer::InWords,
    bounds::{self, Bound, ROOM, Reading},
    session::same_place,
    weigh::Weigher,
};
use crate::{
    board::{Board, SegmentId, StateId, assumed},
    fault::{MOST, NAMED, advice},
    finding::isolation::{self, Barrier},
    hypothesis::{Defect, Place, Rates},
    limits::{LimitOrigin, LimitSet},
    measurement::{ByHand, Measurement, Method, Touch},
    quantity::{Ohms, engineering},
    sweep::{
        Answered, Asked, BenchFault, IsolationRow, Judgement, LimitsUsed, SegmentRow, StepRow, UnitFault,
    },
    verdict::{self, Class, Verdict, worst},
};

/// Above this a path counts as open, where no number was read.
const OPEN: Ohms = Ohms(1e3);
/// Something is wrong rather than not.
const MORE_LIKELY_WRONG: f64 = 0.5;

/// Why a measurement is no hunt by hand of this board.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum JudgeError {
    #[error("it was not made by hand")]
    NotByHand,
    #[error("it names {what} {name:?}, which the board does not have")]
    Unknown { what: &'static str, name: String },
}

/// Judges what was read by hand on a unit of this board by these limits.
///
/// # Errors
/// Names that the board does not have.
pub fn judge(board: &Board, limits: &LimitSet, measurement: &Measurement) -> Result<Judgement, JudgeError> {
    let by_hand = measurement.by_hand.as_ref().ok_or(JudgeError::NotByHand)?;
    known(board, by_hand)?;
    let touches = &by_hand.touches;
    let readings = bounds::readings(board, touches);
    let bounds = bounds::of_segments(board, &readings);
    let (steps, weigher) = steps(board, limits, &measurement.rates, touches);
    let void = by_hand.stopped;
    let mut segments: Vec<SegmentRow> = board
        .segment_ids()
        .map(|id| segment(board, limits, id, &bounds[id.index()], &readings, touches))
        .collect();
    let mut isolation: Vec<IsolationRow> = isolations(board, touches);
    let parts = segments.iter().map(|row| row.verdict).chain(isolation.iter().map(|row| row.verdict));
    let verdict = if void { Verdict::Void } else { worst(parts) };
    let mut notes = notes(board, touches, &readings);
    notes.extend(assumed::note(&board.assumed, &board.supply));
    notes.extend(measurement.rates.in_words());
    let faults = if void { Vec::new() } else { faults(board, &weigher, &mut segments, &isolation) };
    if void {
        segments.iter_mut().for_each(|row| (row.verdict, row.reason) = (Verdict::Void, None));
        isolation.iter_mut().for_each(|row| (row.verdict, row.reason) = (Verdict::Void, None));
    } else if faults.is_empty() && verdict == Verdict::Unproven {
        notes.push(NOTHING_FOUND.into());
    }
    Ok(Judgement {
        program: env!("CARGO_PKG_VERSION").into(),
        limits: LimitsUsed { origin: limits.origin().into(), hash: limits.hash().into() },
        air: None,
        proof: None,
        verdict,
        bench_faults: void.then(stopped).into_iter().collect(),
        segments,
        isolation,
        thermometers: Vec::new(),
        standards: Vec::new(),
        closures: Vec::new(),
        faults,
        notes,
        steps,
    })
}

/// Does anything that was read prove a fault of the unit?
pub fn proves_a_fault(board: &Board, limits: &LimitSet, touches: &[Touch]) -> bool {
    let bounds = bounds::of_segments(board, &bounds::readings(board, touches));
    board.segment_ids().any(|id| verdict_of(board, limits, id, &bounds[id.index()]) == Verdict::Fail)
        || isolations(board, touches).iter().any(|row| row.verdict == Verdict::Fail)
}

/// What is proven of a segment at 20 °C. Nobody knows the unit's temperature: copper may be off by what rooms differ.
fn at_20c(board: &Board, id: SegmentId, bound: &Bound) -> [f64; 2] {
    let room = if board.segment(id).kind.is_copper() { ROOM } else { 0.0 };
    [bound.low / (1.0 + room), bound.high * (1.0 + room)]
}

fn verdict_of(board: &Board, limits: &LimitSet, id: SegmentId, bound: &Bound) -> Verdict {
    let (limit, [low, high]) = (limits.of(id), at_20c(board, id, bound));
    if low > limit.max.0 || limit.min.is_some_and(|min| high < min.0) {
        Verdict::Fail
    } else if high <= limit.max.0 && limit.min.is_none_or(|min| low >= min.0) {
        Verdict::Pass
    } else {
        Verdict::Unproven
    }
}

/// What to do when two tips find nothing.
const NOTHING_FOUND: &str = "two tips found nothing wrong, and cannot prove limits of milliohms: sweep the unit on a bed, or read \
                             its segments with four wires";

fn stopped() -> BenchFault {
    BenchFault {
        part: "hunt by hand".into(),
        what: "it was ended before it was decided; `copperwalk hunt BOARD --by-hand --serial SN --resume` goes on from here"
            .into(),
    }
}

fn known(board: &Board, by_hand: &ByHand) -> Result<(), JudgeError> {
    for touch in &by_hand.touches {
        if board.state_named(&touch.state).is_none() {
            return Err(JudgeError::Unknown { what: "the state", name: touch.state.clone() });
        }
        for name in [&touch.from, &touch.to] {
            if board.point_named(name).is_none() {
                return Err(JudgeError::Unknown { what: "the point", name: name.clone() });
            }
        }
    }
    Ok(())
}

/// Every touch on the unit as a step, and what is left after the last.
fn steps<'b>(
    board: &'b Board,
    limits: &'b LimitSet,
    rates: &Rates,
    touches: &[Touch],
) -> (Vec<StepRow>, Weigher<'b>) {
    let mut weigher = Weigher::new(board, limits, rates);
    let mut open = weigher.entropy();
    let mut steps = Vec::new();
    for touch in touches.iter().filter(|touch| !touch.on_good_unit) {
        weigher.see(touch);
        let now = weigher.entropy();
        let good = touches.iter().find(|other| other.on_good_unit && same_place(other, touch));
        let good = good.map(|good| format!("; good unit: {}", InWords(good))).unwrap_or_default();
        steps.push(StepRow {
            asked: Asked {
                from: touch.from.clone(),
                to: touch.to.clone(),
                state: touch.state.clone(),
                what: what(board, touch),
            },
            answered: Answered { text: format!("{}{good}", InWords(touch)), resistance: touch.resistance },
            left: weigher.left(),
            bits: open - now,
        });
        open = now;
    }
    (steps, weigher)
}

/// What was looked for between two points.
fn what(board: &Board, touch: &Touch) -> String {
    let over = bounds::readings(board, std::slice::from_ref(touch)).pop();
    match over {
        Some(Reading { way, .. }) if way.len() == 1 => board.segment(way[0]).name.clone(),
        Some(Reading { way, .. }) => format!("{} segments", way.len()),
        None if touch.method.is_none() => "not reached".into(),
        None => "insulation".into(),
    }
}

fn segment(
    board: &Board,
    limits: &LimitSet,
    id: SegmentId,
    bound: &Bound,
    readings: &[Reading],
    touches: &[Touch],
) -> SegmentRow {
    let (segment, limit) = (board.segment(id), limits.of(id));
    let alone = bound.alone.and_then(|number| touches.get(number));
    let within = bound.within.and_then(|number| touches.get(number));
    let room = if segment.kind.is_copper() { ROOM } else { 0.0 };
    let [low, high] = at_20c(board, id, bound);
    let verdict = verdict_of(board, limits, id, bound);
    let class = match verdict {
        Verdict::Fail if low > limit.max.0 && (high.is_infinite() || low > OPEN.0) => Class::Open,
        Verdict::Fail if low > limit.max.0 => Class::High,
        Verdict::Fail => Class::Low,
        _ if bound.high.is_finite() => Class::Ok,
        _ => Class::NotReached,
    };
    let value = alone.and_then(|touch| Some((touch.resistance?, touch.at_most?)));
    let state = alone.or(within).and_then(|touch| board.state_named(&touch.state));
    let state = state.or_else(|| board.state_ids().filter(|state| segment.conducts_in(*state)).last());
    let reading = alone.or(within);
    SegmentRow {
        name: segment.name.clone(),
        kind: segment.kind.word().into(),
        state: board.state(state.unwrap_or(StateId::new(0))).name.clone(),
        resistance: value.map(|(resistance, _)| resistance),
        at_20c: value.map(|(resistance, _)| resistance),
        u95: value.map(|(resistance, most)| (most - resistance).abs() + room * resistance),
        min: limit.min,
        max: limit.max,
        limit_derived: limit.origin == LimitOrigin::Derived,
        typical: segment.expected.typical,
        verdict,
        class,
        method: reading.filter(|_| class != Class::NotReached).and_then(|touch| touch.method),
        reason: (verdict == Verdict::Unproven).then(|| reason(board, id, bound, reading, readings, touches)),
    }
}

/// Why a segment is not proven.
fn reason(
    board: &Board,
    id: SegmentId,
    bound: &Bound,
    reading: Option<&Touch>,
    readings: &[Reading],
    touches: &[Touch],
) -> String {
    let segment = board.segment(id);
    if segment.kind.one_way().is_some() {
        return "A piece that conducts one way only is not judged with two tips.".into();
    }
    if !bound.touched {
        let ends = [segment.from, segment.to].map(|point| board.point(point).name.as_str());
        let mut skipped = touches.iter().filter(|touch| touch.method.is_none());
        let at = |touch: &&Touch| ends.contains(&touch.from.as_str()) || ends.contains(&touch.to.as_str());
        return if skipped.any(|touch| at(&touch)) {
            "It was not read: a point of it cannot be reached with a tip.".into()
        } else {
            "It was not read: what was asked before it decided the hunt.".into()
        };
    }
    if bound.high.is_infinite() {
        let over = readings.iter().filter(|reading| reading.way.contains(&id)).count();
        let one = if over == 1 { "The one touch" } else { "Every touch" };
        return format!("{one} over it found no current; which segment of the way stops it shows elsewhere.");
    }
    let limit = engineering(Ohms(bound.high));
    match reading.and_then(|touch| touch.method) {
        Some(Method::Continuity) => {
            format!("A beep shows that it conducts, not how well: it is at most {limit}.")
        }
        Some(Method::FourWire) => {
            format!("Four wires show that it is at most {limit}, which does not prove its limits.")
        }
        _ => format!("Two tips show that it is at most {limit}, which does not prove its limits."),
    }
}

/// Insulation and open switches.
fn isolations(board: &Board, touches: &[Touch]) -> Vec<IsolationRow> {
    let nets = board.isolation.iter().map(|entry| {
        let [a, b] = entry.between.map(|point| board.point(point).name.clone());
        let state = &board.state(entry.state).name;
        let between = |touch: &&Touch| {
            !touch.on_good_unit
                && touch.method.is_some()
                && touch.state == *state
                && ([&touch.from, &touch.to] == [&a, &b] || [&touch.from, &touch.to] == [&b, &a])
        };
        let touch = touches.iter().rfind(between);
        let (least, most) = touch.map_or((None, None), |touch| (touch.at_least, touch.at_most));
        let verdict = verdict::judge_isolation(least, most, entry.min);
        let class = match (touch, verdict) {
            (None, _) => Class::NotReached,
            (_, Verdict::Fail) if most.is_some_and(|most| most.0 < SHORTED * entry.min.0) => Class::Shorted,
            (_, Verdict::Fail) => Class::Leaky,
            _ => Class::Ok,
        };
        IsolationRow {
            name: format!("{a}~{b}"),
            between: [a.clone(), b.clone()],
            is_switch: false,
            state: state.clone(),
            resistance: touch.and_then(|touch| touch.resistance),
            u95: touch.and_then(|touch| Some((touch.at_most? - touch.resistance?).abs())),
            at_least: least,
            min: entry.min,
            verdict,
            class,
            method: touch.and_then(|touch| touch.method),
            still_charging: false,
            reason: (verdict == Verdict::Unproven).then(|| match (touch, least) {
                (None, _) => "It was not read: what was asked before it decided the hunt.".into(),
                (Some(_), Some(least)) => {
                    format!("The meter shows only that it is at least {}.", engineering(least))
                }
                (Some(_), None) => "Its bounds hold the limit.".into(),
            }),
        }
    });
    let switches = board.segments.iter().filter_map(|segment| {
        let min = segment.open_min?;
        let open = board.state_ids().find(|state| !segment.conducts_in(*state))?;
        Some(IsolationRow {
            name: segment.name.clone(),
            between: [segment.from, segment.to].map(|point| board.point(point).name.clone()),
            is_switch: true,
            state: board.state(open).name.clone(),
            resistance: None,
            u95: None,
            at_least: None,
            min,
            verdict: Verdict::Unproven,
            class: Class::NotReached,
            method: None,
            still_charging: false,
            reason: Some("A hunt by hand does not look for a switch that stays closed.".into()),
        })
    });
    switches.chain(nets).collect()
}

/// Insulation below this share of its limit is a short rather than a leak.
const SHORTED: f64 = 0.02;

/// Places that something is probably wrong at, most probable first; what rows prove is as certain as anything gets.
fn faults(
    board: &Board,
    weigher: &Weigher<'_>,
    segments: &mut [SegmentRow],
    isolation: &[IsolationRow],
) -> Vec<UnitFault> {
    let belief = weigher.belief();
    let mut faults = Vec::new();
    let wrong = 1.0 - belief.healthy() > MORE_LIKELY_WRONG;
    let proven = |id: SegmentId| segments.get(id.index()).is_some_and(|row| row.verdict == Verdict::Fail);
    for (place, probability) in belief.places() {
        match place {
            Place::Segment(id) => {
                let proven = proven(id);
                if !proven && (!wrong || probability < NAMED) {
                    continue;
                }
                let believed = belief.most_probable_at(place).map(class_of);
                let row = segments.get(id.index()).filter(|_| proven).map(|row| row.class);
                let class = row.or(believed).unwrap_or(Class::High);
                faults.push(UnitFault {
                    place: board.segment(id).name.clone(),
                    class,
                    probability: if proven { MOST } else { probability.min(MOST) },
                    alternative: None,
                    advice: advice::for_segment(board, id, class),
                });
            }
            Place::Bridge(index) => {
                let Some(entry) = board.isolation.get(index) else { continue };
                let barrier = Barrier::Between(index);
                let name = barrier.name(board);
                let row = isolation.iter().find(|row| !row.is_switch && row.name == name);
                let proven = row.is_some_and(|row| row.verdict == Verdict::Fail);
                if !proven && (!wrong || probability < NAMED) {
                    continue;
                }
                let class = row.filter(|_| proven).map_or(Class::Shorted, |row| row.class);
                let finding = isolation::Finding {
                    barrier,
                    between: entry.between,
                    state: entry.state,
                    reading: None,
                    min: entry.min,
                    verdict: Verdict::Fail,
                    class,
                    doubt: None,
                };
                faults.push(UnitFault {
                    place: name,
                    class,
                    probability: if proven { MOST } else { probability.min(MOST) },
                    alternative: None,
                    advice: advice::for_isolation(board, &finding),
                });
            }
            Place::Pin(_) => {}
        }
    }
    faults.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    faults
}

fn class_of(defect: Defect) -> Class {
    match defect {
        Defect::Open(_) => Class::Open,
        Defect::High(_) => Class::High,
        Defect::Film(_) => Class::Film,
        Defect::Flaky(_) => Class::Flaky,
        Defect::BarrelLost(_) => Class::RedundancyLost,
        Defect::Low(_) => Class::Low,
        Defect::StaysClosed(_) | Defect::Bridge(_) | Defect::SilentPin(_) => Class::Shorted,
    }
}

fn notes(board: &Board, touches: &[Touch], readings: &[Reading]) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some(pair) = bounds::contradiction(readings) {
        let [later, earlier] = pair.map(|number| touches.get(number).map(in_words).unwrap_or_default());
        notes.push(format!(
            "two answers contradict each other, also when asked again: {later}, and {earlier}; something comes and goes between \
             them: flex the board gently while the tips are held there"
        ));
    }
    let on_unit = touches.iter().filter(|touch| !touch.on_good_unit);
    for touch in on_unit {
        let good = touches.iter().find(|other| other.on_good_unit && same_place(other, touch));
        let apart = good.filter(|good| apart(touch, good));
        if let Some(good) = apart {
            notes.push(format!("{}; the good unit reads {} there", in_words(touch), InWords(good)));
        }
    }
    let skipped: Vec<String> = touches
        .iter()
        .filter(|touch| touch.method.is_none())
        .map(|touch| format!("{} to {}", touch.from, touch.to))
        .collect();
    if !skipped.is_empty() {
        notes.push(format!("not reached with the tips: {}", skipped.join(", ")));
    }
    if board.segments.iter().any(|segment| segment.kind.one_way().is_some()) {
        notes.push("a diode or a transistor in the path is not read with two tips".into());
    }
    notes
}

/// `cell+ to via.a: beep (continuity)`.
pub fn in_words(touch: &Touch) -> String {
    format!("{} to {}: {}", touch.from, touch.to, InWords(touch))
}

/// Do the bounds of two touches exclude each other?
fn apart(one: &Touch, other: &Touch) -> bool {
    let above = |high: &Touch, low: &Touch| match (high.at_least, low.at_most) {
        (Some(least), Some(most)) => least > most,
        _ => false,
    };
    above(one, other) || above(other, one)
}
