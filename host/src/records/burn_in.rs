//! A burn-in: a repaired unit is watched while it is flexed, and swept once more after it has lain still. A joint that holds at once may let go when it
//! is moved or cools.

use serde::Serialize;
use utoipa::ToSchema;

use super::summary::{Event, UnitHistory};
use crate::verdict::Verdict;

/// It was watched for so long at least, ms (common practice: half a minute of tapping and bending).
const WATCHED_MS: u64 = 30_000;
/// It lay still for so long at least before the last sweep, µs: a board has the air's temperature again after a quarter of an hour (the
/// time that sweeps take a unit for warm from the iron).
const RESTED_US: i64 = 900_000_000;

/// How far a burn-in has come since the last repair.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct BurnIn {
    /// For how long it was watched, ms, all times together.
    pub watched_ms: u64,
    /// Was anything seen meanwhile?
    pub disturbed: bool,
    /// Between the last time it was touched and the last sweep after it, µs; `None`: not swept since.
    pub rested_us: Option<i64>,
    /// The verdict of the whole: `unproven` until it was watched and has rested for long enough.
    pub verdict: Verdict,
}

impl UnitHistory {
    /// The burn-in since the last repair; `None` where the unit was not repaired, or not watched since.
    pub fn burn_in(&self) -> Option<BurnIn> {
        let repaired = self.events.iter().rposition(|event| matches!(event, Event::Repair(_)))?;
        let since = self.events.get(repaired..)?;
        let watches = || {
            since.iter().filter_map(|event| match event {
                Event::Watch(watch) => Some(watch),
                _ => None,
            })
        };
        let touched_us = watches().map(|watch| watch.at_us).max()?;
        let swept = since.iter().rev().find_map(|event| match event {
            Event::Sweep(past) if past.judgement.verdict != Verdict::Void && past.voided.is_none() => {
                Some(past)
            }
            _ => None,
        });
        let swept = swept.filter(|past| past.started_us >= touched_us);
        let watched_ms = watches().map(|watch| watch.watched_ms).sum();
        let disturbed = watches().any(|watch| watch.verdict != Verdict::Pass);
        let rested_us = swept.map(|past| past.started_us - touched_us);
        let verdict = match swept.map(|past| past.judgement.verdict) {
            _ if disturbed => Verdict::Fail,
            Some(Verdict::Fail) => Verdict::Fail,
            Some(Verdict::Pass) if watched_ms >= WATCHED_MS && rested_us >= Some(RESTED_US) => Verdict::Pass,
            _ => Verdict::Unproven,
        };
        Some(BurnIn { watched_ms, disturbed, rested_us, verdict })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::summary::{Repair, WatchEntry};
    use crate::report::sample;

    const MINUTE_US: i64 = 60_000_000;

    fn repair(at_us: i64) -> Event {
        let word = || "x".to_owned();
        Event::Repair(Repair { at_us, place: word(), action: word(), text: String::new(), taken: None })
    }

    fn watch(at_us: i64, watched_ms: u64, verdict: Verdict) -> Event {
        Event::Watch(WatchEntry {
            at_us,
            segment: "x".into(),
            state: "on".into(),
            bench_name: "bench".into(),
            watched_ms,
            dropouts: 0,
            longest_us: 0,
            steps: 0,
            noises: 0,
            verdict,
            sheet: String::new(),
        })
    }

    /// The last sweep of the sample, which passes, at this time.
    fn sweep(at_us: i64) -> Event {
        let past = sample::history().sweeps().next_back().cloned();
        Event::Sweep(Box::new(super::super::summary::PastSweep { started_us: at_us, ..past.unwrap() }))
    }

    fn found(events: Vec<Event>) -> Option<Verdict> {
        UnitHistory { events, ..sample::history() }.burn_in().map(|burn_in| burn_in.verdict)
    }

    #[test]
    fn it_takes_a_watch_without_a_finding_and_a_pass_after_a_quarter_of_an_hour() {
        let pass = Verdict::Pass;
        let late = 16 * MINUTE_US;
        assert_eq!(found(vec![sweep(0)]), None);
        assert_eq!(found(vec![repair(0), sweep(late)]), None);
        assert_eq!(found(vec![watch(0, 40_000, pass), repair(0)]), None, "before the repair");
        assert_eq!(found(vec![repair(0), watch(0, 40_000, pass), sweep(late)]), Some(pass));
        for short in [
            vec![repair(0), watch(0, 40_000, pass)],
            vec![repair(0), watch(0, 40_000, pass), sweep(14 * MINUTE_US)],
            vec![repair(0), watch(0, 20_000, pass), sweep(late)],
            vec![repair(0), sweep(late), watch(late, 40_000, pass)],
        ] {
            assert_eq!(found(short), Some(Verdict::Unproven));
        }
        assert_eq!(found(vec![repair(0), watch(0, 40_000, Verdict::Fail), sweep(late)]), Some(Verdict::Fail));
        // Two short ones are as good as one.
        let two = vec![repair(0), watch(0, 20_000, pass), watch(1, 20_000, pass), sweep(late)];
        assert_eq!(found(two), Some(pass));
    }
}
