//! One unit: every sweep with its latest judgement, and what people wrote down, in the order of writing.
//!
//! The tables are read one after the other in one transaction, so that they and the ledger say the same however much
//! is written meanwhile.

use std::collections::BTreeMap;

use sqlx::Connection as _;

use super::head::{self, Head};
use super::judgement::{self, Which};
use super::ledger::{Ledger, Line, Units};
use super::status::{Status, Step};
use super::summary::{Event, PastSweep, Photo, Promise, Repair, SweepId, Tick, Trend, UnitHistory};
use super::{Error, Store, logbook};
use crate::fitted::{self, Wire};
use crate::sweep::{IsolationRow, Judgement, SegmentRow};
use crate::verdict::Verdict;

impl Store {
    /// Everything kept about one unit.
    ///
    /// # Errors
    /// An unknown serial number, with those that look like it; a damaged store; a row that is not as it was written.
    pub async fn unit(&self, serial: &str) -> Result<UnitHistory, Error> {
        let units = Units::one(serial);
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let heads = head::of_units(&mut snapshot, units).await?;
            let ids: Vec<i64> = heads.iter().flatten().map(|head| head.id).collect();
            let judgements = judgement::read(&mut snapshot, &ids, Which::Latest).await?;
            let entries = logbook::of_units(&mut snapshot, units).await?;
            Ok((heads, judgements, entries, Ledger::of(&mut snapshot, units).await?))
        };
        let (heads, mut judgements, entries, mut ledger) = read.await.map_err(|error| self.said(&error))?;
        let heads = heads.map_err(|altered| altered.error(&self.path))?;
        let entries = self.as_written(entries)?;
        let mut events = BTreeMap::new();
        for logbook::Entry { entry, kind, event, .. } in entries {
            ledger.strike(Line { serial, entry, judgement: 0, kind });
            events.insert(entry, event);
        }
        for head in heads {
            let judged = judgements.remove(&head.id).and_then(|mut all| all.pop());
            let judged = judged.ok_or_else(|| self.unjudged(SweepId(head.id)))?;
            let judged = judged.map_err(|altered| altered.error(&self.path))?;
            ledger.strike_measurement(serial, head.entry, judged.number);
            events.insert(head.entry, Event::Sweep(Box::new(PastSweep::of(head, judged.judgement))));
        }
        ledger.settle().map_err(|serial| self.odd_unit(&serial))?;
        if events.is_empty() {
            return Err(self.unknown_unit(serial).await);
        }
        Ok(UnitHistory::of(serial, events))
    }

    /// A sweep without a judgement: nothing here writes one.
    pub(super) fn unjudged(&self, id: SweepId) -> Error {
        Error::Damaged { path: self.path.clone(), reason: format!("sweep {id} has no judgement") }
    }
}

impl PastSweep {
    fn of(head: Head, judgement: Judgement) -> Self {
        Self {
            id: SweepId(head.id),
            lot: head.lot,
            basis: head.basis,
            started_us: head.started_us,
            bench_name: head.bench_name,
            manner: head.manner,
            sampling: head.sampling,
            bench: head.work,
            voided: None,
            judgement,
        }
    }
}

impl Event {
    /// The lot it names.
    fn lot(&self) -> Option<&str> {
        match self {
            Self::Sweep(sweep) => sweep.lot.as_deref(),
            Self::Status(said) => said.lot.as_deref(),
            Self::Note(_)
            | Self::Repair(_)
            | Self::Void(_)
            | Self::Photo(_)
            | Self::Tick(_)
            | Self::Watch(_)
            | Self::Trade(_)
            | Self::Started(_) => None,
        }
    }

    /// What it says of where the unit stands. A sweep that was declared void has that verdict here.
    pub(super) fn step(&self) -> Option<Step> {
        match self {
            Self::Sweep(sweep) => Some(Step::Swept(sweep.judgement.verdict)),
            Self::Status(said) => Some(Step::Said(said.status)),
            Self::Repair(_) => Some(Step::Repaired),
            Self::Note(_)
            | Self::Void(_)
            | Self::Photo(_)
            | Self::Tick(_)
            | Self::Watch(_)
            | Self::Trade(_)
            | Self::Started(_) => None,
        }
    }
}

/// The latest answer to each check.
fn checklist(events: &[Event]) -> Vec<Tick> {
    let mut latest: Vec<Tick> = Vec::new();
    for event in events {
        let Event::Tick(tick) = event else { continue };
        match latest.iter_mut().find(|earlier| earlier.check == tick.check) {
            Some(earlier) => earlier.clone_from(tick),
            None => latest.push(tick.clone()),
        }
    }
    latest
}

impl UnitHistory {
    fn of(serial: &str, mut events: BTreeMap<i64, Event>) -> Self {
        let voids: Vec<_> = events
            .values()
            .filter_map(|event| match event {
                Event::Void(void) => Some(void.clone()),
                _ => None,
            })
            .collect();
        for event in events.values_mut() {
            if let Event::Sweep(sweep) = event
                && let Some(void) = voids.iter().find(|void| void.sweep == sweep.id)
            {
                sweep.judgement.verdict = Verdict::Void;
                sweep.voided = Some(void.clone());
            }
        }
        let events: Vec<Event> = events.into_values().collect();
        Self {
            serial: serial.into(),
            lot: events.iter().rev().find_map(Event::lot).map(Into::into),
            status: Status::after(events.iter().filter_map(Event::step)),
            checklist: checklist(&events),
            events,
        }
    }

    /// When the last repair up to this time was noted, both in µs since 1970-01-01 UTC.
    pub fn repaired_before(&self, at_us: i64) -> Option<i64> {
        let repairs = self.events.iter().filter_map(|event| match event {
            Event::Repair(repair) => Some(repair.at_us),
            _ => None,
        });
        repairs.filter(|noted| *noted <= at_us).max()
    }

    /// What repairs promised, each held against the next sweep that counts.
    pub fn promises(&self) -> Vec<Promise> {
        let mut promises = Vec::new();
        for (index, event) in self.events.iter().enumerate() {
            let Event::Repair(Repair { at_us, taken: Some(taken), .. }) = event else { continue };
            let Some(predicted) = &taken.predicted else { continue };
            let next = self.events.iter().skip(index).find_map(|event| match event {
                Event::Sweep(past) if past.judgement.verdict != Verdict::Void && past.voided.is_none() => {
                    Some(past)
                }
                _ => None,
            });
            let row =
                next.and_then(|past| past.judgement.segments.iter().find(|row| row.name == predicted.row));
            let read = row.and_then(|row| row.at_20c);
            promises.push(Promise { at_us: *at_us, predicted: predicted.clone(), read });
        }
        promises
    }

    /// Does its last sweep name a fault that nothing was done about since?
    pub fn is_to_be_repaired(&self) -> bool {
        self.sweeps().next_back().is_some_and(|last| {
            let counts = last.judgement.verdict != Verdict::Void && last.voided.is_none();
            counts && !last.judgement.faults.is_empty() && !self.is_repaired_since(last.id)
        })
    }

    /// Was a repair noted after this sweep?
    pub fn is_repaired_since(&self, sweep: SweepId) -> bool {
        let after =
            self.events.iter().skip_while(|event| !matches!(event, Event::Sweep(past) if past.id == sweep));
        after.skip(1).any(|event| matches!(event, Event::Repair(_)))
    }

    /// The wires that repairs noted up to this time, µs since 1970-01-01 UTC, left on the unit, in the order of their first fitting. A
    /// wire fitted again between the same points takes the place of the one before.
    pub fn wires_before(&self, at_us: i64) -> Vec<Wire> {
        let repairs = self.events.iter().filter_map(|event| match event {
            Event::Repair(repair) if repair.at_us <= at_us => Some(repair),
            _ => None,
        });
        let mut wires: Vec<Wire> = Vec::new();
        for repair in repairs {
            if repair.action == fitted::REMOVED {
                wires.retain(|wire| wire.name() != repair.place);
            }
            let Some(wire) = repair.taken.as_ref().and_then(|taken| taken.wire.as_ref()) else { continue };
            match wires.iter_mut().find(|known| known.name() == wire.name()) {
                Some(known) => known.clone_from(wire),
                None => wires.push(wire.clone()),
            }
        }
        wires
    }

    /// The sweeps, in order.
    pub fn sweeps(&self) -> impl DoubleEndedIterator<Item = &PastSweep> {
        self.events.iter().filter_map(|event| match event {
            Event::Sweep(sweep) => Some(&**sweep),
            _ => None,
        })
    }

    /// The photos, in order.
    pub fn photos(&self) -> impl DoubleEndedIterator<Item = &Photo> {
        self.events.iter().filter_map(|event| match event {
            Event::Photo(photo) => Some(photo),
            _ => None,
        })
    }

    /// The boards it was swept as, by name and revision, in the order of its history.
    pub fn boards(&self) -> Vec<(&str, &str)> {
        let mut boards = Vec::new();
        for sweep in self.sweeps() {
            let board = (sweep.basis.board.as_str(), sweep.basis.revision.as_str());
            if !boards.contains(&board) {
                boards.push(board);
            }
        }
        boards
    }

    /// The sweeps that say something about the unit: all but the void ones.
    pub fn judged(&self) -> impl DoubleEndedIterator<Item = &PastSweep> {
        self.sweeps().filter(|sweep| sweep.judgement.verdict != Verdict::Void)
    }

    /// Each segment in each of its states over the judged sweeps: before and after. In the order they first appear.
    pub fn segment_trends(&self) -> Vec<Trend<'_, SegmentRow>> {
        self.trends(|sweep| &sweep.judgement.segments, |row| (&row.name, &row.state))
    }

    /// Each isolation and open switch over the judged sweeps.
    pub fn isolation_trends(&self) -> Vec<Trend<'_, IsolationRow>> {
        self.trends(|sweep| &sweep.judgement.isolation, |row| (&row.name, &row.state))
    }

    /// Rows of different boards, or revisions of one, are never one trend, whatever their names.
    fn trends<'h, Row>(
        &'h self,
        rows: fn(&'h PastSweep) -> &'h [Row],
        name_and_state: fn(&'h Row) -> (&'h str, &'h str),
    ) -> Vec<Trend<'h, Row>> {
        let mut trends: Vec<Trend<'h, Row>> = Vec::new();
        let mut places = BTreeMap::new();
        for sweep in self.judged() {
            let board = (sweep.basis.board.as_str(), sweep.basis.revision.as_str());
            for row in rows(sweep) {
                let place = *places.entry((board, name_and_state(row))).or_insert(trends.len());
                match trends.get_mut(place) {
                    Some(trend) => trend.readings.push((sweep, row)),
                    None => trends.push(Trend { board: board.0, readings: vec![(sweep, row)] }),
                }
            }
        }
        trends
    }
}
