//! One unit: every sweep with its rows, and what people wrote down, in order.
//!
//! A sweep's rows never change once they are written, so the tables are read one after the other without a
//! transaction: what is written meanwhile belongs to sweeps that were not asked for.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use sqlx::Row as _;

use super::database::{Connection, Row};
use super::rows::{Line, PackedRun, whole, word};
use super::summary::{Event, Note, PastSweep, Repair, SweepId, Trend, UnitHistory};
use super::{Error, Files, Store, raw};
use crate::measurement::{Basis, BenchWork, Measurement, Run};
use crate::sweep::{IsolationRow, Judgement, LimitsUsed, SegmentRow, Sweep};
use crate::verdict::Verdict;

const EVERY: RangeInclusive<i64> = i64::MIN..=i64::MAX;

impl Store {
    /// Everything kept about one unit.
    ///
    /// # Errors
    /// An unknown serial number, with those that look like it; a damaged store.
    pub async fn unit(&self, serial: &str) -> Result<UnitHistory, Error> {
        let read = async {
            let mut connection = self.pool.acquire().await?;
            let sweeps = sweeps(&mut connection, serial, EVERY).await?;
            let entries = logbook(&mut connection, serial).await?;
            Ok((sweeps, entries))
        };
        let (sweeps, entries) = read.await.map_err(|error| self.said(&error))?;
        let lot = sweeps.iter().rev().find_map(|sweep| sweep.lot.clone());
        if sweeps.is_empty() {
            return Err(self.unknown_unit(serial).await);
        }
        Ok(UnitHistory { serial: serial.into(), lot, events: in_order(sweeps, entries) })
    }

    /// A whole sweep again, raw codes included, as it was stored.
    ///
    /// # Errors
    /// An unknown number; raw codes of another layout; a damaged store.
    pub async fn sweep(&self, id: SweepId) -> Result<Sweep, Error> {
        let read = async {
            let mut connection = self.pool.acquire().await?;
            let serial: Option<String> = sqlx::query_scalar("SELECT serial FROM sweep WHERE sweep_id = $1")
                .bind(id.0)
                .fetch_optional(&mut *connection)
                .await?;
            let Some(serial) = serial else { return Ok(None) };
            let only = id.0..=id.0;
            let past = sweeps(&mut connection, &serial, only.clone()).await?.pop();
            let runs = by_sweep::<PackedRun>(&mut connection, &serial, &only).await?.remove(&id.0);
            Ok(past.map(|past| (serial, past, runs.unwrap_or_default())))
        };
        let found = read.await.map_err(|error| self.said(&error))?;
        let (serial, past, runs) = found.ok_or_else(|| self.unknown_sweep(id))?;
        let runs = runs.into_iter().map(|run| self.unpack(id, run)).collect::<Result<_, _>>()?;
        Ok(past.whole(serial, runs))
    }

    /// The board and fixture files a sweep was judged by.
    ///
    /// # Errors
    /// An unknown number; a damaged store.
    pub async fn files(&self, id: SweepId) -> Result<Files, Error> {
        let row = sqlx::query(
            "SELECT board.source AS board, fixture.source AS fixture
             FROM sweep JOIN board USING (board_hash) JOIN fixture USING (fixture_hash) WHERE sweep_id = $1",
        );
        let row = row.bind(id.0).fetch_optional(&self.pool).await.map_err(|error| self.said(&error))?;
        let files = |row: Row| Ok(Files { board: row.try_get("board")?, fixture: row.try_get("fixture")? });
        files(row.ok_or_else(|| self.unknown_sweep(id))?).map_err(|error: sqlx::Error| self.said(&error))
    }

    fn unknown_sweep(&self, id: SweepId) -> Error {
        Error::UnknownSweep { path: self.path.clone(), id }
    }

    fn unpack(&self, sweep: SweepId, run: PackedRun) -> Result<Run, Error> {
        if run.layout != raw::LAYOUT {
            return Err(Error::RawLayout { sweep, found: run.layout, known: raw::LAYOUT });
        }
        let damaged = |what: &str, error: &dyn std::error::Error| Error::Damaged {
            path: self.path.clone(),
            reason: format!("{what} of sweep {sweep}: {error}"),
        };
        let shots = raw::unpack(&run.shots).map_err(|error| damaged("raw codes", &error))?;
        let end = serde_json::from_str(&run.ended).map_err(|error| damaged("end of a run", &error))?;
        Ok(Run {
            state: run.state,
            purpose: run.purpose,
            end,
            closures: run.closures,
            device_us: run.device_us,
            shots,
        })
    }
}

/// The sweeps of a unit within a range of numbers, in order, with all their lists but the raw codes.
async fn sweeps(
    connection: &mut Connection,
    serial: &str,
    ids: RangeInclusive<i64>,
) -> Result<Vec<PastSweep>, sqlx::Error> {
    let heads = sqlx::query(
        "SELECT sweep_id, lot, board.name AS board, board.revision AS revision, board_hash,
                fixture.name AS fixture, fixture_hash, plan_hash, started_us, bench_name, sampling, program,
                limits_origin, limits_hash, celsius, verdict, shots, closures, device_us
         FROM sweep JOIN board USING (board_hash) JOIN fixture USING (fixture_hash)
         WHERE serial = $1 AND sweep_id BETWEEN $2 AND $3 ORDER BY sweep_id",
    );
    let heads = heads.bind(serial).bind(ids.start()).bind(ids.end()).fetch_all(&mut *connection).await?;
    let mut segments = by_sweep(connection, serial, &ids).await?;
    let mut isolation = by_sweep(connection, serial, &ids).await?;
    let mut standards = by_sweep(connection, serial, &ids).await?;
    let mut closures = by_sweep(connection, serial, &ids).await?;
    let mut faults = by_sweep(connection, serial, &ids).await?;
    let mut bench_faults = by_sweep(connection, serial, &ids).await?;
    let mut notes = by_sweep(connection, serial, &ids).await?;
    let assemble = |row: &Row| -> Result<PastSweep, sqlx::Error> {
        let id = row.try_get("sweep_id")?;
        Ok(PastSweep {
            id: SweepId(id),
            lot: row.try_get("lot")?,
            basis: Basis {
                board: row.try_get("board")?,
                revision: row.try_get("revision")?,
                board_hash: row.try_get("board_hash")?,
                fixture: row.try_get("fixture")?,
                fixture_hash: row.try_get("fixture_hash")?,
                plan_hash: row.try_get("plan_hash")?,
            },
            started_us: row.try_get("started_us")?,
            bench_name: row.try_get("bench_name")?,
            sampling: word(row, "sampling")?,
            judgement: Judgement {
                program: row.try_get("program")?,
                limits: LimitsUsed {
                    origin: row.try_get("limits_origin")?,
                    hash: row.try_get("limits_hash")?,
                },
                celsius: row.try_get("celsius")?,
                verdict: word(row, "verdict")?,
                bench_faults: bench_faults.remove(&id).unwrap_or_default(),
                segments: segments.remove(&id).unwrap_or_default(),
                isolation: isolation.remove(&id).unwrap_or_default(),
                standards: standards.remove(&id).unwrap_or_default(),
                closures: closures.remove(&id).unwrap_or_default(),
                faults: faults.remove(&id).unwrap_or_default(),
                notes: notes.remove(&id).unwrap_or_default(),
            },
            bench: BenchWork {
                shots: whole(row, "shots")?,
                closures: whole(row, "closures")?,
                device_us: whole(row, "device_us")?,
            },
        })
    };
    heads.iter().map(assemble).collect()
}

/// The rows of one table, each list under its sweep.
async fn by_sweep<L: Line + Send + Unpin>(
    connection: &mut Connection,
    serial: &str,
    ids: &RangeInclusive<i64>,
) -> Result<BTreeMap<i64, Vec<L>>, sqlx::Error> {
    let query = sqlx::query(L::SELECT).bind(serial).bind(*ids.start()).bind(*ids.end());
    // Read as the rows come: the database goes on looking meanwhile.
    let rows = query.try_map(|row: Row| Ok((row.try_get("sweep_id")?, L::read(&row)?)));
    let mut lists = BTreeMap::<i64, Vec<L>>::new();
    for (sweep, line) in rows.fetch_all(connection).await? {
        lists.entry(sweep).or_default().push(line);
    }
    Ok(lists)
}

/// What people wrote down, each entry under the sweep it came after, by time within it.
async fn logbook(
    connection: &mut Connection,
    serial: &str,
) -> Result<BTreeMap<i64, Vec<(i64, Event)>>, sqlx::Error> {
    let mut entries = BTreeMap::<i64, Vec<(i64, Event)>>::new();
    let notes = sqlx::query("SELECT after_sweep, at_us, text FROM note WHERE serial = $1 ORDER BY note_id");
    for row in notes.bind(serial).fetch_all(&mut *connection).await? {
        let note = Note { at_us: row.try_get("at_us")?, text: row.try_get("text")? };
        entries.entry(row.try_get("after_sweep")?).or_default().push((note.at_us, Event::Note(note)));
    }
    let repairs = sqlx::query(
        "SELECT after_sweep, at_us, place, action, text FROM repair WHERE serial = $1 ORDER BY repair_id",
    );
    for row in repairs.bind(serial).fetch_all(&mut *connection).await? {
        let repair = Repair {
            at_us: row.try_get("at_us")?,
            place: row.try_get("place")?,
            action: row.try_get("action")?,
            text: row.try_get("text")?,
        };
        entries.entry(row.try_get("after_sweep")?).or_default().push((repair.at_us, Event::Repair(repair)));
    }
    for list in entries.values_mut() {
        list.sort_by_key(|(at_us, _)| *at_us);
    }
    Ok(entries)
}

fn in_order(sweeps: Vec<PastSweep>, mut entries: BTreeMap<i64, Vec<(i64, Event)>>) -> Vec<Event> {
    let mut events = Vec::new();
    for sweep in sweeps {
        let after = entries.remove(&sweep.id.0).unwrap_or_default();
        events.push(Event::Sweep(Box::new(sweep)));
        events.extend(after.into_iter().map(|(_, event)| event));
    }
    events
}

impl PastSweep {
    fn whole(self, serial: String, runs: Vec<Run>) -> Sweep {
        Sweep {
            measurement: Measurement {
                serial,
                lot: self.lot,
                started_us: self.started_us,
                bench_name: self.bench_name,
                basis: self.basis,
                sampling: self.sampling,
                runs,
            },
            judgement: self.judgement,
        }
    }
}

impl UnitHistory {
    /// The sweeps, in order.
    pub fn sweeps(&self) -> impl DoubleEndedIterator<Item = &PastSweep> {
        self.events.iter().filter_map(|event| match event {
            Event::Sweep(sweep) => Some(&**sweep),
            Event::Note(_) | Event::Repair(_) => None,
        })
    }

    /// The sweeps that say something about the unit: all but the void ones.
    pub fn judged(&self) -> impl DoubleEndedIterator<Item = &PastSweep> {
        self.sweeps().filter(|sweep| sweep.judgement.verdict != Verdict::Void)
    }

    /// Each segment in each of its states over the judged sweeps: before and after. In the order they first appear.
    pub fn segment_trends(&self) -> Vec<Trend<'_, SegmentRow>> {
        self.trends(|sweep| &sweep.judgement.segments, |row| (&row.name, &row.state))
    }

    /// Each insulation and open switch over the judged sweeps.
    pub fn isolation_trends(&self) -> Vec<Trend<'_, IsolationRow>> {
        self.trends(|sweep| &sweep.judgement.isolation, |row| (&row.name, &row.state))
    }

    fn trends<'h, Row>(
        &'h self,
        rows: fn(&'h PastSweep) -> &'h [Row],
        name_and_state: fn(&'h Row) -> (&'h str, &'h str),
    ) -> Vec<Trend<'h, Row>> {
        let mut trends: Vec<Trend<'h, Row>> = Vec::new();
        let mut places = BTreeMap::new();
        for sweep in self.judged() {
            let board = sweep.basis.board.as_str();
            for row in rows(sweep) {
                let place = *places.entry((board, name_and_state(row))).or_insert(trends.len());
                match trends.get_mut(place) {
                    Some(trend) => trend.readings.push((sweep, row)),
                    None => trends.push(Trend { board, readings: vec![(sweep, row)] }),
                }
            }
        }
        trends
    }
}
