//! Many units at a glance: how a lot stands, and the lists of lots and of units.
//!
//! The database gives one short row per sweep and per fault; everything else is worked out here, in one pass over
//! them, by rules that stand in [`super::summary`] and in [`fold`].

use std::collections::{BTreeMap, HashMap};

use sqlx::Row as _;

use super::database::Row;
use super::near::near;
use super::rows::{class_word, whole, word};
use super::summary::{Counts, LotLine, LotSummary, ParetoRow, Place, SweepId, UnitLine, UnitState};
use super::{Error, Store, text};
use crate::verdict::Verdict;

/// Which units to look at. All three statements of a scope look at the same ones.
struct Scope {
    sweeps: &'static str,
    faults: &'static str,
    repairs: &'static str,
}

macro_rules! scope {
    ($serials:literal) => {
        Scope {
            sweeps: concat!(
                "SELECT measurement_id, serial, lot, name, revision, started_us,
                        CASE WHEN correction_id IS NULL THEN verdict ELSE 'void' END AS verdict
                 FROM (SELECT measurement_id, serial, lot, board_hash, started_us, entry FROM measurement
                       WHERE serial IN (",
                $serials,
                ")) JOIN board USING (board_hash)
                 JOIN (SELECT measurement_id, max(judgement_id) AS judgement_id FROM judgement
                       GROUP BY measurement_id) USING (measurement_id)
                 JOIN (SELECT judgement_id, verdict FROM judgement) USING (judgement_id)
                 LEFT JOIN (SELECT correction_id, measurement_id FROM correction) USING (measurement_id)
                 ORDER BY measurement_id"
            ),
            faults: concat!(
                "SELECT measurement_id, place, class, probability FROM fault
                 JOIN (SELECT measurement_id, max(judgement_id) AS judgement_id FROM judgement
                       WHERE measurement_id IN (SELECT measurement_id FROM measurement WHERE serial IN (",
                $serials,
                ")) GROUP BY measurement_id) USING (judgement_id) ORDER BY judgement_id, line"
            ),
            repairs: concat!(
                "SELECT serial, count(*) AS repairs FROM repair WHERE serial IN (",
                $serials,
                ") GROUP BY serial"
            ),
        }
    };
}

/// Every unit that was ever swept under a lot; those that went to another since are sorted out by [`fold`]'s caller.
const OF_LOT: Scope = scope!("SELECT serial FROM measurement WHERE lot = $1");
/// Every unit; the parameter is there so that both scopes are asked alike.
const ALL: Scope = scope!("SELECT serial FROM unit WHERE serial <> $1");

/// A sweep at a glance.
struct Glance {
    id: i64,
    serial: String,
    lot: Option<String>,
    board: String,
    revision: String,
    started_us: i64,
    verdict: Verdict,
}

/// A fault at a glance.
struct Shown {
    place: Place,
    probability: f64,
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
        let mut members = self.members(&OF_LOT, lot).await?;
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
        for member in self.members(&ALL, "").await? {
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

    /// Every unit, in the order they were first swept.
    pub async fn units(&self) -> Result<Vec<UnitLine>, Error> {
        let members = self.members(&ALL, "").await?;
        Ok(members.into_iter().map(|member| UnitLine { lot: member.lot, unit: member.unit }).collect())
    }

    async fn members(&self, scope: &Scope, parameter: &str) -> Result<Vec<Member>, Error> {
        let read = async {
            let mut connection = self.pool.acquire().await?;
            let sweeps = sqlx::query(scope.sweeps).bind(parameter).try_map(|row: Row| {
                Ok(Glance {
                    id: row.try_get("measurement_id")?,
                    serial: row.try_get("serial")?,
                    lot: row.try_get("lot")?,
                    board: row.try_get("name")?,
                    revision: row.try_get("revision")?,
                    started_us: row.try_get("started_us")?,
                    verdict: word(&row, "verdict")?,
                })
            });
            let sweeps = sweeps.fetch_all(&mut *connection).await?;
            let mut faults = HashMap::<i64, Vec<Shown>>::new();
            for row in &sqlx::query(scope.faults).bind(parameter).fetch_all(&mut *connection).await? {
                let place = Place { place: row.try_get("place")?, class: word(row, "class")? };
                let shown = Shown { place, probability: row.try_get("probability")? };
                faults.entry(row.try_get("measurement_id")?).or_default().push(shown);
            }
            let mut repairs = HashMap::<String, u32>::new();
            for row in &sqlx::query(scope.repairs).bind(parameter).fetch_all(&mut *connection).await? {
                repairs.insert(row.try_get("serial")?, whole(row, "repairs")?);
            }
            Ok(fold(sweeps, &mut faults, &repairs))
        };
        read.await.map_err(|error: sqlx::Error| self.said(&error))
    }

    async fn unknown_lot(&self, lot: &str) -> Error {
        if let Err(error) = text::lot(lot) {
            return error.into();
        }
        match sqlx::query_scalar("SELECT lot FROM lot ORDER BY lot").fetch_all(&self.pool).await {
            Ok(known) => {
                Error::UnknownLot { path: self.path.clone(), lot: lot.into(), near: near(lot, known) }
            }
            Err(error) => self.said(&error),
        }
    }
}

/// One pass over the sweeps in the order of writing. Units come out in the order of their first sweep.
fn fold(
    sweeps: Vec<Glance>,
    faults: &mut HashMap<i64, Vec<Shown>>,
    repairs: &HashMap<String, u32>,
) -> Vec<Member> {
    let mut members: Vec<Member> = Vec::new();
    let mut places = HashMap::<String, usize>::new();
    for sweep in sweeps {
        let shown = faults.remove(&sweep.id).unwrap_or_default();
        let place = match places.get(&sweep.serial) {
            Some(place) => *place,
            None => {
                places.insert(sweep.serial.clone(), members.len());
                members.push(Member::new(&sweep, repairs.get(&sweep.serial).copied().unwrap_or_default()));
                members.len() - 1
            }
        };
        if let Some(member) = members.get_mut(place) {
            member.take(sweep, shown);
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

    fn take(&mut self, sweep: Glance, shown: Vec<Shown>) {
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
