//! Many units at a glance: how a lot stands, and the lists of lots and of units.
//!
//! The database gives one row per sweep, judgement, fault and entry; everything else is worked out here, unit by unit, by
//! rules that stand in [`super::summary`], [`super::status`] and [`Member`].

use std::collections::{BTreeMap, HashSet};

use sqlx::Connection as _;

use super::ledger::{Ledger, Line, Units};
use super::logbook::{self, Entry};
use super::near::near;
use super::rows::class_word;
use super::status::{Status, Step};
use super::summary::{
    Counts, Event, LotLine, LotSummary, ParetoRow, Place, SweepId, Swept, UnitLine, UnitState,
};
use super::{Error, Store, head, judgement, text};
use crate::measurement::Basis;
use crate::sweep::UnitFault;
use crate::trade::Dealing;
use crate::verdict::Verdict;

/// A sweep at a glance.
pub(super) struct Glance {
    id: i64,
    /// Its place in the unit's history.
    pub entry: i64,
    pub basis: Basis,
    started_us: i64,
    pub verdict: Verdict,
    pub faults: Vec<Shown>,
}

/// A fault at a glance.
pub(super) struct Shown {
    pub place: Place,
    pub probability: f64,
    pub alternative: Option<u8>,
}

/// A repair at a glance.
pub(super) struct Repaired {
    /// Its place in the unit's history.
    pub entry: i64,
    pub place: String,
    pub action: String,
    /// Name of the wire that it fitted, if it did.
    pub wire: Option<String>,
}

impl Shown {
    fn of(fault: UnitFault) -> Self {
        Self {
            place: Place { place: fault.place, class: fault.class },
            probability: fault.probability,
            alternative: fault.alternative,
        }
    }
}

/// What there is of a unit.
#[derive(Default)]
pub(super) struct Past {
    /// In the order of writing.
    pub sweeps: Vec<Glance>,
    /// In the order of writing.
    pub repairs: Vec<Repaired>,
    /// What was written down about its trade: place in the history, time, and what. In the order of writing.
    pub dealings: Vec<(i64, i64, Dealing)>,
    /// What bears on where it stands, each with its place in the history.
    steps: Vec<(i64, Step)>,
    /// Lots that were named, likewise.
    lots: Vec<(i64, String)>,
}

impl Past {
    /// The lot it belongs to.
    pub fn lot(&self) -> Option<String> {
        self.lots.iter().max_by_key(|(entry, _)| *entry).map(|(_, lot)| lot.clone())
    }

    /// Where it stands in the work.
    pub fn status(&self) -> Status {
        let mut steps = self.steps.clone();
        steps.sort_by_key(|(entry, _)| *entry);
        Status::after(steps.into_iter().map(|(_, step)| step))
    }
}

/// A unit as the pass over its past leaves it.
#[derive(Debug)]
pub(super) struct Member {
    pub line: UnitLine,
    void_sweeps: u32,
    /// Number and start of the first and of the last sweep, void or not.
    span: Option<[(i64, i64); 2]>,
    /// Where it ever failed, on which board, and whether the last judged sweep still showed it.
    failed: Vec<(String, Place, bool)>,
}

impl Store {
    /// How a lot stands.
    ///
    /// # Errors
    /// A lot that no unit belongs to, with names that look like it; a damaged store.
    pub async fn lot(&self, lot: &str) -> Result<LotSummary, Error> {
        self.see_members(lot).await?;
        let mut members = self.members(Units::of_lot(lot)).await?;
        members.retain(|member| member.line.lot.as_deref() == Some(lot));
        match summary(lot, &members.iter().collect::<Vec<_>>()) {
            Some(summary) => Ok(summary),
            None => Err(self.unknown_lot(lot).await),
        }
    }

    /// Every lot that a unit belongs to, in the order of their first sweeps; those of which no unit has been swept come
    /// last, by name.
    pub async fn lots(&self) -> Result<Vec<LotLine>, Error> {
        Ok(lines(&self.members(Units::ALL).await?))
    }

    /// The name of every lot that a unit was ever received or swept in.
    pub async fn lot_names(&self) -> Result<Vec<String>, Error> {
        let names = sqlx::query_scalar("SELECT DISTINCT lot FROM lot_unit ORDER BY lot");
        names.fetch_all(&self.pool).await.map_err(|error| self.said(&error))
    }

    /// Every unit, in the order of their serial numbers.
    pub async fn units(&self) -> Result<Vec<UnitLine>, Error> {
        let members = self.members(Units::ALL).await?;
        Ok(members.into_iter().map(|member| member.line).collect())
    }

    /// Members of a scope, every row as it was written and none missing.
    pub(super) async fn members(&self, units: Units<'_>) -> Result<Vec<Member>, Error> {
        let pasts = self.pasts(units).await?;
        Ok(pasts.into_iter().map(|(serial, past)| Member::of(serial, past)).collect())
    }

    /// What there is of the units of a scope, likewise.
    pub(super) async fn pasts(&self, units: Units<'_>) -> Result<BTreeMap<String, Past>, Error> {
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let heads = head::of_units(&mut snapshot, units).await?;
            let glances = judgement::at_a_glance(&mut snapshot, units).await?;
            let entries = logbook::of_units(&mut snapshot, units).await?;
            Ok((heads, glances, entries, Ledger::of(&mut snapshot, units).await?))
        };
        let (heads, mut glances, entries, mut ledger) = read.await.map_err(|error| self.said(&error))?;
        let mut pasts = BTreeMap::<String, Past>::new();
        let mut voids = HashSet::new();
        for Entry { serial, entry, kind, event } in self.as_written(entries)? {
            ledger.strike(Line { serial: &serial, entry, judgement: 0, kind });
            let past = pasts.entry(serial).or_default();
            past.steps.extend(event.step().map(|step| (entry, step)));
            match event {
                Event::Repair(repair) => {
                    let wire = repair.taken.and_then(|taken| taken.wire).map(|wire| wire.name());
                    past.repairs.push(Repaired { entry, place: repair.place, action: repair.action, wire });
                }
                Event::Trade(traded) => past.dealings.push((entry, traded.at_us, traded.dealing)),
                Event::Void(void) => drop(voids.insert(void.sweep.0)),
                Event::Status(said) => past.lots.extend(said.lot.map(|lot| (entry, lot))),
                Event::Note(_)
                | Event::Sweep(_)
                | Event::Photo(_)
                | Event::Tick(_)
                | Event::Watch(_)
                | Event::Started(_) => {}
            }
        }
        for head in heads.map_err(|altered| altered.error(&self.path))? {
            let judged = glances.remove(&head.id).ok_or_else(|| self.unjudged(SweepId(head.id)))?;
            let judged = judged.map_err(|altered| altered.error(&self.path))?;
            ledger.strike_measurement(&head.serial, head.entry, judged.number);
            let verdict = if voids.contains(&head.id) { Verdict::Void } else { judged.verdict };
            let past = pasts.entry(head.serial).or_default();
            past.steps.push((head.entry, Step::Swept(verdict)));
            past.lots.extend(head.lot.map(|lot| (head.entry, lot)));
            past.sweeps.push(Glance {
                id: head.id,
                entry: head.entry,
                basis: head.basis,
                started_us: head.started_us,
                verdict,
                faults: judged.faults.into_iter().map(Shown::of).collect(),
            });
        }
        ledger.settle().map_err(|serial| self.odd_unit(&serial))?;
        Ok(pasts)
    }

    /// Do measurements and receipts, and the list of a lot's units say the same?
    pub(super) async fn see_members(&self, lot: &str) -> Result<(), Error> {
        let sql = "WITH said AS (SELECT serial FROM measurement WHERE lot = $1
                                UNION SELECT serial FROM status WHERE lot = $1),
                   listed AS (SELECT serial FROM lot_unit WHERE lot = $1)
                   SELECT (SELECT count(*) FROM (SELECT * FROM said EXCEPT SELECT * FROM listed))
                        + (SELECT count(*) FROM (SELECT * FROM listed EXCEPT SELECT * FROM said))";
        let odd: i64 = sqlx::query_scalar(sql)
            .bind(lot)
            .fetch_one(&self.pool)
            .await
            .map_err(|error| self.said(&error))?;
        if odd == 0 {
            return Ok(());
        }
        Err(self.altered(format!("the list of units of lot {lot:?}")))
    }

    pub(super) async fn unknown_lot(&self, lot: &str) -> Error {
        if let Err(error) = text::lot(lot) {
            return error.into();
        }
        match self.lot_names().await {
            Ok(known) => {
                Error::UnknownLot { path: self.path.clone(), lot: lot.into(), near: near(lot, known) }
            }
            Err(error) => error,
        }
    }
}

impl Member {
    fn of(serial: String, past: Past) -> Self {
        let (status, lot) = (past.status(), past.lot());
        let repairs = u32::try_from(past.repairs.len()).unwrap_or(u32::MAX);
        let unit = UnitState { serial, status, repairs, swept: None };
        let line = UnitLine { lot, unit };
        let mut member = Self { line, void_sweeps: 0, span: None, failed: Vec::new() };
        past.sweeps.into_iter().for_each(|sweep| member.take(sweep));
        member
    }

    /// The next of its sweeps.
    fn take(&mut self, sweep: Glance) {
        let shown = sweep.faults;
        let start = (sweep.id, sweep.started_us);
        self.span = Some([self.span.map_or(start, |[first, _]| first), start]);
        let unit = self.line.unit.swept.get_or_insert_with(|| Swept {
            board: String::new(),
            revision: String::new(),
            sweeps: 0,
            first: Verdict::Void,
            now: Verdict::Void,
            last_sweep: SweepId(sweep.id),
            last_us: sweep.started_us,
            fault: None,
        });
        unit.sweeps += 1;
        let void = sweep.verdict == Verdict::Void;
        self.void_sweeps += u32::from(void);
        // A void sweep says nothing about the unit, unless there is nothing else to show.
        if void && unit.now != Verdict::Void {
            return;
        }
        if unit.first == Verdict::Void {
            unit.first = sweep.verdict;
        }
        unit.now = sweep.verdict;
        unit.last_sweep = SweepId(sweep.id);
        unit.last_us = sweep.started_us;
        unit.board.clone_from(&sweep.basis.board);
        unit.revision = sweep.basis.revision;
        unit.fault = shown.first().map(|fault| fault.place.clone());
        for (_, _, still) in &mut self.failed {
            *still = false;
        }
        if !matches!(sweep.verdict, Verdict::Fail | Verdict::Unproven) {
            return;
        }
        // A sweep may name several suspects. The first counts, and every other that is more likely than not.
        for (rank, fault) in shown.into_iter().enumerate() {
            if rank > 0 && fault.probability < 0.5 {
                continue;
            }
            match self
                .failed
                .iter_mut()
                .find(|(board, place, _)| *board == sweep.basis.board && *place == fault.place)
            {
                Some((_, _, still)) => *still = true,
                None => self.failed.push((sweep.basis.board.clone(), fault.place, true)),
            }
        }
    }
}

/// How a lot stands, by its members; `None` if it has none.
pub(super) fn summary(lot: &str, members: &[&Member]) -> Option<LotSummary> {
    if members.is_empty() {
        return None;
    }
    let [first_us, last_us] = span(members).map(|sweep| sweep.map(|(_, started_us)| started_us));
    let mut summary = LotSummary {
        lot: lot.into(),
        first_us,
        last_us,
        sweeps: 0,
        void_sweeps: 0,
        first: Counts::default(),
        now: Counts::default(),
        pareto: pareto(members),
        units: Vec::with_capacity(members.len()),
    };
    for member in members {
        let unit = &member.line.unit;
        summary.sweeps += unit.swept.as_ref().map_or(0, |swept| swept.sweeps);
        summary.void_sweeps += member.void_sweeps;
        summary.first.add(unit.first());
        summary.now.add(unit.now());
        summary.units.push(unit.clone());
    }
    Some(summary)
}

/// The list of lots, by all members.
pub(super) fn lines<'m>(members: impl IntoIterator<Item = &'m Member>) -> Vec<LotLine> {
    let mut lots = BTreeMap::<&str, Vec<&Member>>::new();
    for member in members {
        if let Some(lot) = &member.line.lot {
            lots.entry(lot).or_default().push(member);
        }
    }
    let mut lines: Vec<(Option<i64>, LotLine)> = Vec::with_capacity(lots.len());
    for (lot, members) in lots {
        let mut now = Counts::default();
        members.iter().for_each(|member| now.add(member.line.unit.now()));
        let [first, last] = span(&members);
        let line = LotLine { lot: lot.to_owned(), now, last_us: last.map(|(_, us)| us) };
        lines.push((first.map(|(id, _)| id), line));
    }
    lines.sort_by_key(|(first, _)| (first.is_none(), *first));
    lines.into_iter().map(|(_, line)| line).collect()
}

/// Number and start of the first and of the last sweep of any of them.
fn span(members: &[&Member]) -> [Option<(i64, i64)>; 2] {
    let spans = || members.iter().filter_map(|member| member.span);
    [spans().map(|[first, _]| first).min(), spans().map(|[_, last]| last).max()]
}

/// Most units first; among equals those with more still to repair, then by name.
fn pareto(members: &[&Member]) -> Vec<ParetoRow> {
    let mut rows = BTreeMap::<(&str, &str, &str), ParetoRow>::new();
    for (board, place, still) in members.iter().flat_map(|member| &member.failed) {
        let key = (board.as_str(), place.place.as_str(), class_word(place.class));
        let row = rows.entry(key).or_insert_with(|| ParetoRow {
            board: board.clone(),
            place: place.place.clone(),
            class: place.class,
            units: 0,
            still: 0,
        });
        row.units += 1;
        row.still += u32::from(*still);
    }
    let mut rows: Vec<ParetoRow> = rows.into_values().collect();
    rows.sort_by_key(|row| std::cmp::Reverse((row.units, row.still)));
    rows
}
