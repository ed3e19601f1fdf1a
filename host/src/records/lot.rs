//! Many units at a glance: how a lot stands, and the lists of lots and of units.
//!
//! The database gives one row per sweep, judgement and fault; everything else is worked out here, in one pass over them,
//! by rules that stand in [`super::summary`] and in [`fold`].

use std::collections::{BTreeMap, HashMap, HashSet};

use sqlx::Connection as _;

use super::ledger::{Ledger, Line, Units};
use super::logbook::{self, Entry};
use super::near::near;
use super::rows::class_word;
use super::summary::{Counts, Event, LotLine, LotSummary, ParetoRow, Place, SweepId, UnitLine, UnitState};
use super::{Error, Store, head, judgement, text};
use crate::sweep::UnitFault;
use crate::verdict::Verdict;

/// A sweep at a glance.
struct Glance {
    id: i64,
    serial: String,
    lot: Option<String>,
    board: String,
    revision: String,
    started_us: i64,
    verdict: Verdict,
    faults: Vec<Shown>,
}

/// A fault at a glance.
struct Shown {
    place: Place,
    probability: f64,
}

impl Shown {
    fn of(fault: UnitFault) -> Self {
        Self { place: Place { place: fault.place, class: fault.class }, probability: fault.probability }
    }
}

/// A unit as the pass over its sweeps leaves it.
struct Member {
    lot: Option<String>,
    unit: UnitState,
    void_sweeps: u32,
    /// Number and start of the first and of the last sweep, void or not.
    span: [(i64, i64); 2],
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
        members.retain(|member| member.lot.as_deref() == Some(lot));
        match summary(lot, members) {
            Some(summary) => Ok(summary),
            None => Err(self.unknown_lot(lot).await),
        }
    }

    /// Every lot that a unit belongs to, in the order they were begun.
    pub async fn lots(&self) -> Result<Vec<LotLine>, Error> {
        let mut lines: Vec<(LotLine, i64)> = Vec::new();
        let mut places = HashMap::new();
        for member in self.members(Units::ALL).await? {
            let Some(lot) = member.lot else { continue };
            let [_, (last, last_us)] = member.span;
            let place = *places.entry(lot.clone()).or_insert(lines.len());
            if place == lines.len() {
                lines.push((LotLine { lot, now: Counts::default(), last_us }, last));
            }
            if let Some((line, latest)) = lines.get_mut(place) {
                line.now.add(member.unit.now);
                if last > *latest {
                    (*latest, line.last_us) = (last, last_us);
                }
            }
        }
        Ok(lines.into_iter().map(|(line, _)| line).collect())
    }

    /// The name of every lot that a unit was ever swept in.
    pub async fn lot_names(&self) -> Result<Vec<String>, Error> {
        let names = sqlx::query_scalar("SELECT DISTINCT lot FROM lot_unit ORDER BY lot");
        names.fetch_all(&self.pool).await.map_err(|error| self.said(&error))
    }

    /// Every unit, in the order they were first swept.
    pub async fn units(&self) -> Result<Vec<UnitLine>, Error> {
        let members = self.members(Units::ALL).await?;
        Ok(members.into_iter().map(|member| UnitLine { lot: member.lot, unit: member.unit }).collect())
    }

    /// Members of a scope, every row as it was written and none missing.
    async fn members(&self, units: Units<'_>) -> Result<Vec<Member>, Error> {
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let heads = head::of_units(&mut snapshot, units).await?;
            let glances = judgement::at_a_glance(&mut snapshot, units).await?;
            let entries = logbook::of_units(&mut snapshot, units).await?;
            Ok((heads, glances, entries, Ledger::of(&mut snapshot, units).await?))
        };
        let (heads, mut glances, entries, mut ledger) = read.await.map_err(|error| self.said(&error))?;
        let mut repairs = HashMap::<String, u32>::new();
        let mut voids = HashSet::new();
        for Entry { serial, entry, kind, event } in self.as_written(entries)? {
            ledger.strike(Line { serial: &serial, entry, judgement: 0, kind });
            match event {
                Event::Repair(_) => *repairs.entry(serial).or_default() += 1,
                Event::Void(void) => drop(voids.insert(void.sweep.0)),
                Event::Note(_) | Event::Sweep(_) => {}
            }
        }
        let mut sweeps = Vec::new();
        for head in heads.map_err(|altered| altered.error(&self.path))? {
            let judged = glances.remove(&head.id).ok_or_else(|| self.unjudged(SweepId(head.id)))?;
            let judged = judged.map_err(|altered| altered.error(&self.path))?;
            ledger.strike_measurement(&head.serial, head.entry, judged.number);
            let verdict = if voids.contains(&head.id) { Verdict::Void } else { judged.verdict };
            sweeps.push(Glance {
                id: head.id,
                serial: head.serial,
                lot: head.lot,
                board: head.basis.board,
                revision: head.basis.revision,
                started_us: head.started_us,
                verdict,
                faults: judged.faults.into_iter().map(Shown::of).collect(),
            });
        }
        ledger.settle().map_err(|serial| self.odd_unit(&serial))?;
        Ok(fold(sweeps, &repairs))
    }

    /// Do the measurements and the list of a lot's units say the same?
    async fn see_members(&self, lot: &str) -> Result<(), Error> {
        let sql = "SELECT (SELECT count(*) FROM (SELECT serial FROM measurement WHERE lot = $1
                                                EXCEPT SELECT serial FROM lot_unit WHERE lot = $1))
                        + (SELECT count(*) FROM (SELECT serial FROM lot_unit WHERE lot = $1
                                                EXCEPT SELECT serial FROM measurement WHERE lot = $1))";
        let odd: i64 = sqlx::query_scalar(sql)
            .bind(lot)
            .fetch_one(&self.pool)
            .await
            .map_err(|error| self.said(&error))?;
        if odd == 0 {
            return Ok(());
        }
        Err(Error::Altered { path: self.path.clone(), what: format!("the list of units of lot {lot:?}") })
    }

    async fn unknown_lot(&self, lot: &str) -> Error {
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

/// One pass over the sweeps in the order of writing. Units come out in the order of their first sweep.
fn fold(sweeps: Vec<Glance>, repairs: &HashMap<String, u32>) -> Vec<Member> {
    let mut members: Vec<Member> = Vec::new();
    let mut places = HashMap::<String, usize>::new();
    for sweep in sweeps {
        let place = match places.get(&sweep.serial) {
            Some(place) => *place,
            None => {
                places.insert(sweep.serial.clone(), members.len());
                members.push(Member::new(&sweep, repairs.get(&sweep.serial).copied().unwrap_or_default()));
                members.len() - 1
            }
        };
        if let Some(member) = members.get_mut(place) {
            member.take(sweep);
        }
    }
    members
}

impl Member {
    fn new(sweep: &Glance, repairs: u32) -> Self {
        let unit = UnitState {
            serial: sweep.serial.clone(),
            board: String::new(),
            revision: String::new(),
            sweeps: 0,
            repairs,
            first: Verdict::Void,
            now: Verdict::Void,
            last_sweep: SweepId(sweep.id),
            last_us: sweep.started_us,
            fault: None,
        };
        let start = (sweep.id, sweep.started_us);
        Self { lot: None, unit, void_sweeps: 0, span: [start; 2], failed: Vec::new() }
    }

    fn take(&mut self, sweep: Glance) {
        let shown = sweep.faults;
        let unit = &mut self.unit;
        unit.sweeps += 1;
        self.span[1] = (sweep.id, sweep.started_us);
        self.lot = sweep.lot.or(self.lot.take());
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
        unit.board.clone_from(&sweep.board);
        unit.revision = sweep.revision;
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
                .find(|(board, place, _)| *board == sweep.board && *place == fault.place)
            {
                Some((_, _, still)) => *still = true,
                None => self.failed.push((sweep.board.clone(), fault.place, true)),
            }
        }
    }
}

fn summary(lot: &str, members: Vec<Member>) -> Option<LotSummary> {
    let (_, first_us) = members.iter().map(|member| member.span[0]).min()?;
    let (_, last_us) = members.iter().map(|member| member.span[1]).max()?;
    let mut summary = LotSummary {
        lot: lot.into(),
        first_us,
        last_us,
        sweeps: 0,
        void_sweeps: 0,
        first: Counts::default(),
        now: Counts::default(),
        pareto: pareto(&members),
        units: Vec::with_capacity(members.len()),
    };
    for member in members {
        summary.sweeps += member.unit.sweeps;
        summary.void_sweeps += member.void_sweeps;
        summary.first.add(member.unit.first);
        summary.now.add(member.unit.now);
        summary.units.push(member.unit);
    }
    Some(summary)
}

/// Most units first; among equals those with more still to repair, then by name.
fn pareto(members: &[Member]) -> Vec<ParetoRow> {
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
