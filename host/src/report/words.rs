//! How verdicts, classes and findings are said, in every report alike.

use crate::measurement::{ByHand, Manner, Method, Purpose};
use crate::quantity::{Amps, engineering, si};
use crate::records::burn_in::BurnIn;
use crate::records::status::Status;
use crate::records::summary::{
    Counts, Event, LotSummary, ParetoRow, PastSweep, Photo, Promise, Repair, StartEntry, StatusSaid,
    UnitHistory, UnitState, Void, WatchEntry,
};
use crate::report::remedies;
use crate::report::watch::WatchSheet;
use crate::sweep::{Advice, Judgement, Sweep, UnitFault};
use crate::verdict::{Class, Verdict};

/// What the readings of a void measurement are good for.
pub fn void_readings(manner: Manner) -> &'static str {
    match manner {
        Manner::Sweep | Manner::Hunt => "a help to find the bench fault; they prove nothing about the unit",
        Manner::ByHand => "what was answered before the hunt ended; it proves nothing about the unit yet",
    }
}

/// The word for a verdict.
pub fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail => "fail",
        Verdict::Unproven => "unproven",
        Verdict::Void => "void",
    }
}

/// The shape for a verdict in text: one column wide in any font that has it, and told apart without colour.
pub fn mark(verdict: Verdict) -> char {
    match verdict {
        Verdict::Pass => '✓',
        Verdict::Fail => '✗',
        Verdict::Unproven => '?',
        Verdict::Void => '⊘',
    }
}

/// The word for a class, as a person reads it.
pub fn class(class: Class) -> &'static str {
    match class {
        Class::Ok => "ok",
        Class::Open => "open",
        Class::High => "high",
        Class::Low => "low",
        Class::Flaky => "flaky",
        Class::Shorted => "shorted",
        Class::Leaky => "leaky",
        Class::Film => "film",
        Class::RedundancyLost => "redundancy lost",
        Class::NotReached => "not reached",
        Class::Junction => "junction",
        Class::NotJudgedUnpowered => "not judged unpowered",
        Class::Bypassed => "bypassed",
    }
}

/// Why a run is made that no good unit needs; `None` for those that every unit gets.
pub fn purpose(purpose: Purpose) -> Option<&'static str> {
    match purpose {
        Purpose::Plan => None,
        Purpose::Bleed => Some("discharging the unit"),
        Purpose::DrySurvey => {
            Some("the path reads too high end to end: every segment by itself, dry-circuit")
        }
        Purpose::LoadSurvey => Some("the same segments under load current"),
        Purpose::PastPin => Some("past a pin without contact"),
        Purpose::Reforce => Some("on both sides of the open"),
        Purpose::Look => Some("the next look"),
        Purpose::Proof => Some("the segment by itself"),
        Purpose::FullBudget => Some("more samples of what is undecided"),
        Purpose::Diagnosis => Some("checking pins and relays"),
    }
}

/// What a class says about a place: `via pair` + `is open`.
fn says(class: Class) -> &'static str {
    match class {
        Class::Ok => "is good",
        Class::Open => "is open",
        Class::High => "reads high",
        Class::Low => "reads low",
        Class::Flaky => "comes and goes",
        Class::Shorted => "is shorted",
        Class::Leaky => "leaks",
        Class::Film => "has a film on its contact",
        Class::RedundancyLost => "has lost one of its parallel plated holes",
        Class::NotReached => "could not be reached",
        Class::Junction => "conducts like a junction",
        Class::NotJudgedUnpowered => "is not judged unpowered",
        Class::Bypassed => "is bypassed by a wire",
    }
}

/// The faults booked on the unit. A void sweep books none, whatever it saw: the bench was at fault.
pub fn booked(judgement: &Judgement) -> &[UnitFault] {
    match judgement.verdict {
        Verdict::Void => &[],
        _ => &judgement.faults,
    }
}

/// Was anything read in a sweep? A bench fault may stop one before its first reading.
pub fn anything_read(judgement: &Judgement) -> bool {
    let segments = judgement.segments.iter().map(|row| (row.verdict, row.class));
    let isolation = judgement.isolation.iter().map(|row| (row.verdict, row.class));
    segments.chain(isolation).any(|(verdict, class)| was_read(verdict, class))
}

/// Does a row of a sweep hold a reading, or a conclusion from one?
pub fn was_read(verdict: Verdict, class: Class) -> bool {
    (verdict, class) != (Verdict::Void, Class::NotReached)
}

/// What is to be said beside a unit that passes: it has lost something that fails nothing.
pub fn remark(unit: &UnitState) -> Option<&'static str> {
    let swept = unit.swept.as_ref().filter(|swept| swept.now == Verdict::Pass)?;
    let fault = swept.fault.as_ref()?;
    Some(class(fault.class))
}

/// A fault in one clause: `via pair is open`.
pub fn finding(fault: &UnitFault) -> String {
    format!("{} {}", fault.place, says(fault.class))
}

/// What came of watching a segment, in a sentence or two.
pub fn watched(sheet: &WatchSheet) -> String {
    let name = &sheet.segment;
    let said = match sheet.verdict {
        Verdict::Fail => format!("{name} {}.", says(sheet.class)),
        Verdict::Pass => format!("Nothing was seen of {name}. That it never comes and goes is not proven by it."),
        Verdict::Void if sheet.pin_count > 0 => {
            "A sense pin left its pad, and the segment was not seen to move: clean the pins, press the board down, and watch \
             again."
                .into()
        }
        Verdict::Void if sheet.unwatched_ms == 0.0 => {
            format!("It broke off before anything was seen ({}): watch again.", sheet.ended)
        }
        Verdict::Void => {
            "The line to the controller had no room for a time, so that an interruption may have been missed: watch again with \
             fewer programs running."
                .into()
        }
        Verdict::Unproven => format!(
            "The path was interrupted, not at {name} or too shortly to tell: watch the segments beside it, and look at the pins."
        ),
    };
    let high = sheet.ohms > sheet.max_ohms;
    let beside = if high { " It reads above its limit all the while: sweep the unit." } else { "" };
    format!("{said}{beside}")
}

/// A watch in the history of a unit.
pub fn watch_entry(entry: &WatchEntry) -> String {
    let WatchEntry { segment, state, watched_ms, dropouts, longest_us, steps, noises, .. } = entry;
    let mut seen = Vec::new();
    if *dropouts > 0 {
        let longest_ms = *longest_us as f64 / 1e3;
        seen.push(format!("{dropouts} dropout{}, the longest {longest_ms:.1} ms", plural(*dropouts)));
    }
    if *steps > 0 {
        seen.push(format!("{steps} step{}", plural(*steps)));
    }
    if *noises > 0 {
        seen.push("excess noise".into());
    }
    let seen = if seen.is_empty() { "nothing seen of it".into() } else { seen.join("; ") };
    format!("{segment} watched for {} s in state {state}: {seen}", watched_ms / 1000)
}

/// A first power in the history of a unit.
pub fn start_entry(entry: &StartEntry) -> String {
    let StartEntry { supply, golden, voltage, steady, inrush, verdict, because, .. } = entry;
    let amps = |amps: Amps| si(amps.0, 3, "A");
    let mut said = format!("First power from {supply}, up to {}", si(voltage.0, 3, "V"));
    if let Some(steady) = steady {
        said.push_str(&format!("; {} at rest", amps(*steady)));
    }
    if let Some(inrush) = inrush {
        said.push_str(&format!(", {} at most on the way", amps(*inrush)));
    }
    if *golden {
        said.push_str("; a golden unit");
    }
    if !because.is_empty() {
        let so = if *verdict == Verdict::Void { "broken off" } else { "reason" };
        said.push_str(&format!("; {so}: {because}"));
    }
    said.push('.');
    said
}

fn plural(count: u64) -> &'static str {
    if count == 1 { "" } else { "s" }
}

/// Least probability of a fault that is called proven, and of one that is called likely.
const PROVEN: f64 = 0.95;
const LIKELY: f64 = 0.5;

/// How certain a fault is, in a word. No percentage: it is reckoned from a reading's own interval and from rates by kind, and how often
/// such a number comes true has not been counted.
pub fn certainty(fault: &UnitFault) -> &'static str {
    match fault.probability {
        probability if probability >= PROVEN => "proven",
        probability if probability >= LIKELY => "likely",
        _ => "possible",
    }
}

/// What a headline is made from, of a sweep or of what the record store keeps of one.
pub struct Outcome<'a> {
    verdict: Verdict,
    faults: &'a [UnitFault],
    verdicts: Vec<Verdict>,
    meter_checked: bool,
    manner: Manner,
}

impl<'a> From<&'a Judgement> for Outcome<'a> {
    fn from(judgement: &'a Judgement) -> Self {
        let segments = judgement.segments.iter().map(|row| row.verdict);
        Self {
            verdict: judgement.verdict,
            faults: &judgement.faults,
            verdicts: segments.chain(judgement.isolation.iter().map(|row| row.verdict)).collect(),
            meter_checked: meter_checked(judgement),
            manner: Manner::Sweep,
        }
    }
}

impl<'a> From<&'a Sweep> for Outcome<'a> {
    fn from(sweep: &'a Sweep) -> Self {
        Self { manner: sweep.measurement.manner, ..(&sweep.judgement).into() }
    }
}

impl<'a> From<&'a PastSweep> for Outcome<'a> {
    fn from(sweep: &'a PastSweep) -> Self {
        Self { manner: sweep.manner, ..(&sweep.judgement).into() }
    }
}

/// Has a check standard of the fixture read what it should, so that the meter's readings can be trusted?
pub fn meter_checked(judgement: &Judgement) -> bool {
    judgement.standards.iter().any(|row| row.verdict == Verdict::Pass)
}

/// What a past sweep comes to; with its board where the unit was not always swept as the same.
pub fn told(unit: &UnitHistory, past: &PastSweep) -> String {
    let comes_to = match &past.voided {
        Some(void) => format!("Declared void: {}.", void.because.trim_end_matches('.')),
        None => headline(&past.into()),
    };
    match unit.boards().as_slice() {
        [_] => comes_to,
        _ => format!("As {}, revision {}: {comes_to}", past.basis.board, past.basis.revision),
    }
}

/// A correction in a sentence.
pub fn correction(void: &Void) -> String {
    format!("Sweep {} is void: {}.", void.sweep, void.because.trim_end_matches('.'))
}

/// What a sweep comes to, in a sentence or two.
pub fn headline(outcome: &Outcome<'_>) -> String {
    let readings = |counts: fn(Verdict) -> bool| {
        let count = outcome.verdicts.iter().filter(|verdict| counts(**verdict)).count();
        counted(count, "reading is", "readings are")
    };
    let doubtful = || readings(|verdict| verdict != Verdict::Pass);
    let headline = match (outcome.verdict, outcome.faults) {
        (Verdict::Void, _) if outcome.manner == Manner::ByHand => {
            "The hunt was ended before it was decided; nothing counts for or against the unit.".to_owned()
        }
        (Verdict::Void, _) => "The bench was at fault; nothing counts against the unit.".to_owned(),
        (Verdict::Pass, []) => {
            let all_read = outcome.verdicts.iter().all(|verdict| *verdict == Verdict::Pass);
            match outcome.manner {
                Manner::Hunt if !all_read => {
                    "Shown good end to end: every path is within its limit. Single segments were not read."
                        .to_owned()
                }
                _ => "Every segment is proven inside its limits.".to_owned(),
            }
        }
        (Verdict::Pass, faults) => format!("Inside its limits, with a remark: {}.", findings(faults, false)),
        (Verdict::Fail, []) => {
            format!("{} outside the limits.", readings(|verdict| verdict == Verdict::Fail))
        }
        (Verdict::Fail, faults) => sentence(&findings(faults, true)),
        (Verdict::Unproven, []) => format!("Nothing is proven bad, but {} not proven good.", doubtful()),
        (Verdict::Unproven, faults) => {
            format!("{} not proven good. Most likely: {}.", doubtful(), findings(faults, false))
        }
    };
    // A void sweep says what is wrong with the bench; the meter is then the least of it.
    if outcome.meter_checked || outcome.manner == Manner::ByHand || outcome.verdict == Verdict::Void {
        headline
    } else {
        format!("{headline} Meter not checked: the fixture has no check standard.")
    }
}

/// A sweep in one line: unit, verdict, what it comes to.
pub fn in_short(sweep: &Sweep) -> String {
    let (serial, word) = (&sweep.measurement.serial, sweep.judgement.verdict);
    format!("{serial}: {} {}: {}", mark(word), verdict(word), headline(&sweep.into()))
}

/// The first findings, the rest counted. Faults that stand on the same evidence are one finding: either of them or
/// both, and not each by itself. Where they begin a sentence, words of ours begin with a capital; names keep their case.
fn findings(faults: &[UnitFault], begins: bool) -> String {
    const NAMED: usize = 3;
    let (first, rest) = faults.split_at(faults.len().min(NAMED));
    let mut named = Vec::new();
    for (i, fault) in first.iter().enumerate() {
        let same = |other: &&UnitFault| fault.alternative.is_some() && other.alternative == fault.alternative;
        if first[..i].iter().any(|earlier| same(&earlier)) {
            continue;
        }
        let others: Vec<_> = first[i + 1..].iter().filter(same).map(finding).collect();
        let [either, several] = match begins && named.is_empty() {
            true => ["Either or both", "One or more"],
            false => ["either or both", "one or more"],
        };
        named.push(match others.as_slice() {
            [] => finding(fault),
            [other] => format!("{either} of these: {}, {other}", finding(fault)),
            others => format!("{several} of these: {}, {}", finding(fault), others.join(", ")),
        });
    }
    if !rest.is_empty() {
        named.push(format!("{} more below", rest.len()));
    }
    named.join("; ")
}

/// Why rows are not proven, one line for each reason: names and reason.
pub fn reasons(judgement: &Judgement) -> Vec<String> {
    let segments = judgement.segments.iter().map(|row| (&row.name, &row.reason));
    let isolation = judgement.isolation.iter().map(|row| (&row.name, &row.reason));
    let mut groups: Vec<(&str, Vec<&str>)> = Vec::new();
    for (name, reason) in segments.chain(isolation) {
        let Some(reason) = reason else { continue };
        match groups.iter_mut().find(|(known, _)| known == reason) {
            Some((_, names)) => names.push(name),
            None => groups.push((reason, vec![name])),
        }
    }
    groups.iter().map(|(reason, names)| format!("{}: {}", names.join(", "), sentence(reason))).collect()
}

/// Advice as running text: cause, repair and caution, each a sentence.
pub fn advice(advice: &Advice) -> String {
    [&advice.cause, &advice.repair, &advice.caution]
        .into_iter()
        .filter(|part| !part.trim().is_empty())
        .map(|part| sentence(part))
        .collect::<Vec<_>>()
        .join(" ")
}

/// The text with a full stop, unless it ends like a sentence already. Names keep their case.
pub fn sentence(text: &str) -> String {
    let text = text.trim();
    match text.chars().last() {
        None => String::new(),
        Some('.' | '!' | '?' | '…') => text.to_owned(),
        Some(_) => format!("{text}."),
    }
}

/// A repair: where, what, the wire if one was fitted, and more about it.
pub fn repair(repair: &Repair) -> String {
    let taken = repair.taken.as_ref();
    let action = taken.map_or(repair.action.as_str(), |taken| remedies::method(taken.method));
    let wire = taken
        .and_then(|taken| taken.wire.as_ref())
        .map(|wire| format!("AWG {}, {} mm, from {} to {}", wire.awg, wire.length_mm, wire.from, wire.to));
    let more: Vec<&str> = wire
        .as_deref()
        .into_iter()
        .chain(Some(repair.text.as_str()))
        .filter(|text| !text.is_empty())
        .collect();
    match more.is_empty() {
        true => format!("{}: {action}", repair.place),
        false => format!("{}: {action}; {}", repair.place, more.join("; ")),
    }
}

/// How far a burn-in has come.
pub fn burn_in(burn_in: &BurnIn) -> String {
    let watched = format!("watched for {:.0} s while it was moved, ", burn_in.watched_ms as f64 / 1e3);
    let seen = if burn_in.disturbed { "with findings" } else { "nothing seen" };
    let rested = match burn_in.rested_us {
        Some(rested) => format!("swept {:.0} min after it was last touched", rested as f64 / 60e6),
        None => "not swept since".to_owned(),
    };
    let whole = match burn_in.verdict {
        Verdict::Unproven => {
            "; it takes half a minute of watching and a sweep after a quarter of an hour of rest"
        }
        _ => "",
    };
    format!("Burn-in since the last repair: {watched}{seen}; {rested}{whole}")
}

/// What a repair promised, and what the next sweep that counts read there.
pub fn promise(promise: &Promise) -> String {
    let Promise { predicted, read, .. } = promise;
    let [low, high] = predicted.interval.map(engineering);
    let held = match read {
        None => "not read since".to_owned(),
        Some(read) if predicted.holds(*read) => format!("{} was read, as predicted", engineering(*read)),
        Some(read) => format!("{} was read, not as predicted", engineering(*read)),
    };
    format!("{}: {low} to {high} was predicted; {held}", predicted.row)
}

/// Where a unit stands in the work.
pub fn status(status: Status) -> &'static str {
    match status {
        Status::Received => "received",
        Status::Swept => "swept",
        Status::InRepair => "in repair",
        Status::Good => "good",
        Status::Scrapped => "scrapped",
        Status::Sold => "sold",
    }
}

/// What somebody said of where a unit stands.
pub fn said(said: &StatusSaid) -> String {
    let word = status(said.status.into());
    said.lot.as_ref().map_or(word.to_owned(), |lot| format!("{word} with lot {lot}"))
}

/// A photo: its number, its caption and its size.
pub fn photo(photo: &Photo) -> String {
    let caption = if photo.caption.is_empty() { String::new() } else { format!("{}, ", photo.caption) };
    format!("{}: {caption}{} × {} pixels", photo.id, photo.width_px, photo.height_px)
}

/// The answer to a check.
pub fn answer(done: bool) -> &'static str {
    if done { "yes" } else { "no" }
}

/// How a unit came in and how it stands, in a sentence. Void sweeps say nothing about a unit.
pub fn life(unit: &UnitHistory) -> String {
    let repairs = unit.events.iter().filter(|event| matches!(event, Event::Repair(_))).count();
    let verdicts: Vec<Verdict> = unit.judged().map(|sweep| sweep.judgement.verdict).collect();
    let came = |verdict| match verdict {
        Verdict::Pass => "passed",
        Verdict::Fail => "failed",
        Verdict::Unproven | Verdict::Void => "was unproven",
    };
    let stands = |verdict| match verdict {
        Verdict::Pass => "passes now",
        Verdict::Fail => "fails now",
        Verdict::Unproven | Verdict::Void => "is unproven now",
    };
    let story = match verdicts.as_slice() {
        [] if unit.sweeps().next().is_none() => "it has not been swept yet".to_owned(),
        [] => "nothing is known about it yet: every sweep was void".to_owned(),
        [only] => format!("it {}", came(*only)),
        [first, .., last] => format!("it {} when it came in and {}", came(*first), stands(*last)),
    };
    let work =
        [counted(unit.sweeps().count(), "sweep", "sweeps"), counted(repairs, "repair", "repairs")].join(", ");
    format!("{work}: {story}.")
}

/// What the star beside a limit means.
pub const DERIVED: &str = "* No limit was stated: this is the segment's share of the supply's drop budget.";

/// What a yield is, and the interval beside it.
pub const YIELD: &str = "Yield is the share of units proven good among those about which something is known. The 95\u{a0}% \
                         interval (Wilson's score interval) is where the yield of any number of such units lies, as far as \
                         these tell.";

/// A unit that failed first and passes now.
pub const WON_BACK: &str = "repaired";

/// Picks a verdict's count.
pub type Count = fn(Counts) -> u32;

/// Every verdict with its count, in the order reports list them.
pub const COUNTED: [(Verdict, Count); 4] = [
    (Verdict::Pass, |counts| counts.pass),
    (Verdict::Fail, |counts| counts.fail),
    (Verdict::Unproven, |counts| counts.unproven),
    (Verdict::Void, |counts| counts.void),
];

/// What the figures of a lot do not say by themselves.
pub fn lot_remarks(lot: &LotSummary) -> String {
    let mut remarks = Vec::new();
    match lot.won_back().count() {
        0 => {}
        won => remarks.push(format!("{} repaired and passing.", counted(won, "unit", "units"))),
    }
    if lot.void_sweeps > 0 {
        let void = counted(lot.void_sweeps as usize, "sweep was", "sweeps were");
        remarks.push(format!("{void} void: the bench was at fault, and nothing counts against the unit."));
    }
    remarks.join(" ")
}

/// For each place where units failed the share of all failures up to it, 0 to 1.
pub fn running_shares(rows: &[ParetoRow]) -> impl Iterator<Item = f64> {
    let all = f64::from(rows.iter().map(|row| row.units).sum::<u32>().max(1));
    rows.iter().scan(0, move |so_far, row| {
        *so_far += row.units;
        Some(f64::from(*so_far) / all)
    })
}

/// `1 reading is`, `3 readings are`.
pub fn counted(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// How it was read by hand: `7 touches: 5 two-wire after zeroing, 2 continuity`.
fn read_by_hand(by_hand: &ByHand) -> String {
    let on_unit = || by_hand.touches.iter().filter(|touch| !touch.on_good_unit);
    let kinds = [Some(Method::FourWire), Some(Method::TwoWire), Some(Method::Continuity), None].map(|kind| {
        let count = on_unit().filter(|touch| touch.method == kind).count();
        (count > 0).then(|| format!("{count} {}", kind.map_or("not reached", method)))
    });
    let kinds: Vec<String> = kinds.into_iter().flatten().collect();
    format!("{}: {}", counted(on_unit().count(), "touch", "touches"), kinds.join(", "))
}

/// What kind of reading something is.
pub fn method(method: Method) -> &'static str {
    match method {
        Method::Continuity => "continuity",
        Method::TwoWire => "resistance, two-wire",
        Method::FourWire => "resistance, four-wire",
    }
}

/// What the uncertainties of a sweep stand on.
pub fn stands_on(sweep: &Sweep) -> String {
    if let Some(by_hand) = &sweep.measurement.by_hand {
        return read_by_hand(by_hand);
    }
    match (&sweep.judgement.proof, &sweep.measurement.proof) {
        (Some(_), Some(proof)) => {
            format!("uncertainties by the bench proof of {}", super::figures::time(proof.figures().made_us))
        }
        _ => "uncertainties by the published worst cases of the bench's parts".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use unicode_width::UnicodeWidthChar;

    const VERDICTS: [Verdict; 4] = [Verdict::Pass, Verdict::Fail, Verdict::Unproven, Verdict::Void];

    #[test]
    fn every_verdict_has_its_own_word_and_its_own_shape_one_column_wide() {
        for a in VERDICTS {
            assert_eq!(mark(a).width(), Some(1));
            for b in VERDICTS.into_iter().filter(|b| *b != a) {
                assert_ne!(mark(a), mark(b));
                assert_ne!(verdict(a), verdict(b));
            }
        }
    }

    #[test]
    fn certainty_is_a_word_and_nothing_unknown_is_proven() {
        let of = |probability| {
            certainty(&UnitFault { probability, ..sample::several().judgement.faults[0].clone() })
        };
        let words = [0.96, 0.94, 0.51, 0.49, 0.0, f64::NAN].map(of);
        assert_eq!(words, ["proven", "likely", "likely", "possible", "possible", "possible"]);
    }

    #[test]
    fn alternatives_are_headlined_as_either_or_both() {
        let mut faults = sample::several().judgement.faults;
        faults.truncate(3);
        let each = |i: usize| finding(&faults[i]);
        let (a, b, c) = (each(0), each(1), each(2));
        assert_eq!(findings(&faults, true), format!("{a}; {b}; {c}"));
        faults[0].alternative = Some(0);
        faults[2].alternative = Some(0);
        assert_eq!(findings(&faults, false), format!("either or both of these: {a}, {c}; {b}"));
        assert_eq!(findings(&faults, true), format!("Either or both of these: {a}, {c}; {b}"));
        faults[1].alternative = Some(0);
        assert_eq!(findings(&faults, true), format!("One or more of these: {a}, {b}, {c}"));
        faults[0].alternative = None;
        let second = format!("{a}; either or both of these: {b}, {c}");
        assert_eq!(findings(&faults, true), second, "a name begins the sentence");
        faults[0].alternative = Some(0);
        faults[2].alternative = Some(1);
        faults.truncate(1);
        assert_eq!(findings(&faults, true), a, "alone it is no alternative");
    }

    #[test]
    fn a_verdict_by_a_meter_that_was_not_checked_says_so() {
        let mut sweep = sample::good();
        sweep.judgement.standards.clear();
        assert_eq!(
            headline(&(&sweep).into()),
            "Every segment is proven inside its limits. Meter not checked: the fixture has no check standard."
        );
        assert!(!meter_checked(&sweep.judgement) && meter_checked(&sample::good().judgement));
    }

    #[test]
    fn rows_with_the_same_reason_are_told_together() {
        let mut judgement = sample::good().judgement;
        for (at, reason) in
            [(0, "not reached past an open"), (2, "disturbed"), (4, "not reached past an open")]
        {
            judgement.segments[at].reason = Some(reason.to_owned());
        }
        assert_eq!(
            reasons(&judgement),
            ["cell terminal joint, cell fuse: not reached past an open.", "via pair 1: disturbed."]
        );
    }

    #[test]
    fn advice_reads_as_sentences() {
        let text = Advice {
            cause: "The barrel cracked".to_owned(),
            repair: "Put a wire through it. ".to_owned(),
            caution: String::new(),
        };
        assert_eq!(advice(&text), "The barrel cracked. Put a wire through it.");
    }

    #[test]
    fn a_headline_names_the_fault_and_a_void_sweep_blames_the_bench() {
        assert_eq!(headline(&(&sample::open_via()).into()), "via pair 1 is open.");
        assert_eq!(headline(&(&sample::good()).into()), "Every segment is proven inside its limits.");
        assert!(headline(&(&sample::void()).into()).contains("nothing counts against the unit"));
        assert!(headline(&(&sample::unproven()).into()).contains("not proven good"));
    }
}
