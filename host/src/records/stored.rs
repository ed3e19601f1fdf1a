//! Whole measurements again, raw codes included: one for a report, many for judging again.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use sqlx::{Connection as _, Row as _};

use super::database::Connection;
use super::digest::Digest;
use super::files::Setup;
use super::head::{self, Head};
use super::judgement::{self, Judged, Which};
use super::summary::{PastJudgement, Place, SweepId, SweepLine, SweepView, Worked};
use super::{Error, Store, ledger, list, raw};
use crate::board::{self, Board};
use crate::fixture::Fixture;
use crate::hash;
use crate::measurement::Measurement;
use crate::proof::Proof;
use crate::sweep::{Judgement, Sweep};

/// Which sweeps are meant.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Of<'a> {
    /// Those of a unit.
    Unit(&'a str),
    /// Those of every unit that belongs to a lot.
    Lot(&'a str),
    /// All.
    All,
}

/// What there is of a sweep, by its number, or why it cannot be read.
pub type Numbered<T> = (SweepId, Result<T, Error>);

/// A measurement with its setup and its latest judgement.
#[derive(Clone, PartialEq, Debug)]
pub struct Stored {
    /// Its number.
    pub id: SweepId,
    /// What was measured.
    pub measurement: Measurement,
    /// The board, and the bed if there was one, read from the files kept with it.
    pub setup: Setup,
    /// The latest judgement.
    pub judgement: Judgement,
}

/// A measurement's codes, still packed.
pub(super) struct Packed {
    pub format: String,
    pub runs: Vec<u8>,
}

impl Packed {
    /// What its measurement's head says of it.
    pub fn hash(&self) -> Vec<u8> {
        Digest::of(&self.format).values([(&self.runs).into()]).finish()
    }
}

impl Store {
    /// The numbers of the sweeps that are meant: of a unit in the order of its history, else in their own order.
    ///
    /// # Errors
    /// An unknown unit or lot, with names that look like it; a damaged store.
    pub async fn numbers(&self, of: Of<'_>) -> Result<Vec<SweepId>, Error> {
        match of {
            Of::Unit(serial) => Ok(self.unit(serial).await?.sweeps().map(|sweep| sweep.id).collect()),
            Of::Lot(lot) => {
                let summary = self.lot(lot).await?;
                self.numbers_of(&summary.units.iter().map(|unit| unit.serial.as_str()).collect()).await
            }
            Of::All => {
                let mut connection = self.reading().await?;
                let read = async {
                    let mut snapshot = connection.begin().await?;
                    Ok((numbers(&mut snapshot).await?, ledger::measurements(&mut snapshot).await?))
                };
                let (all, kept) = read.await.map_err(|error: sqlx::Error| self.said(&error))?;
                if all.len() as i64 != kept {
                    let what = "the list of sweeps".into();
                    return Err(Error::Altered { path: self.path.clone(), what });
                }
                Ok(all)
            }
        }
    }

    /// The numbers of every sweep of these units, in their own order.
    pub(super) async fn numbers_of(&self, units: &HashSet<&str>) -> Result<Vec<SweepId>, Error> {
        let all = sqlx::query_as("SELECT measurement_id, serial FROM measurement ORDER BY measurement_id");
        let all: Vec<(i64, String)> = all.fetch_all(&self.pool).await.map_err(|error| self.said(&error))?;
        Ok(all
            .into_iter()
            .filter(|(_, serial)| units.contains(serial.as_str()))
            .map(|(id, _)| SweepId(id))
            .collect())
    }

    /// The boards that these sweeps stand on, each once. A board whose file is altered, or no longer read, is left out:
    /// [`Store::read`] tells of it at each of its sweeps.
    ///
    /// # Errors
    /// A damaged store.
    pub async fn boards(&self, ids: &[SweepId]) -> Result<Vec<Board>, Error> {
        let numbers: Vec<i64> = ids.iter().map(|id| id.0).collect();
        let mut connection = self.reading().await?;
        let read = async {
            let mut texts = BTreeMap::new();
            let select = "SELECT DISTINCT board_hash FROM measurement";
            for row in list::rows(&mut connection, select, "measurement_id", &numbers, "board_hash").await? {
                texts.entry(row.try_get::<String, _>("board_hash")?).or_insert_with(String::new);
            }
            for (hash, text) in &mut texts {
                let source = sqlx::query_scalar("SELECT source FROM board WHERE board_hash = $1").bind(hash);
                *text = source.fetch_one(&mut *connection).await?;
            }
            Ok(texts)
        };
        let texts: BTreeMap<String, String> = read.await.map_err(|error| self.said(&error))?;
        let whole = texts.into_iter().filter(|(hash, text)| hash::of(text) == *hash);
        Ok(whole.filter_map(|(_, text)| board::parse("board.toml", &text).ok()).collect())
    }

    /// Sweeps with all their material, in the order asked for. Ask for a few hundred at a time: all of them are held.
    ///
    /// # Errors
    /// A damaged store. What is wrong with a single sweep (an unknown number, an altered row, files or codes that this
    /// program no longer reads) stands in its place in the list.
    pub async fn read(&self, ids: &[SweepId]) -> Result<Vec<Result<Stored, Error>>, Error> {
        let numbers: Vec<i64> = ids.iter().map(|id| id.0).collect();
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let packed = packed(&mut snapshot, &numbers).await?;
            Ok((Latest::read(&mut snapshot, &numbers).await?, packed))
        };
        let (mut latest, mut packed) = read.await.map_err(|error| self.said(&error))?;
        let mut found = Vec::with_capacity(ids.len());
        for &id in ids {
            let stored = async {
                let (head, judgement) = latest.take(self, id)?;
                let packed = packed.remove(&id.0);
                let setup = self.setup(&mut connection, &head.basis).await?;
                let proof = self.named_proof(&mut connection, head.proof.as_deref()).await?;
                let measurement = self.unpack(head, proof, packed, setup.fixture())?;
                Ok(Stored { id, measurement, setup, judgement })
            };
            found.push(stored.await);
        }
        Ok(found)
    }

    /// The sweeps written last, so many of them, in the order of writing; each whole, or why it cannot be read.
    ///
    /// # Errors
    /// A damaged store.
    pub async fn latest(&self, most: usize) -> Result<Vec<Numbered<Stored>>, Error> {
        let mut numbers = self.numbers(Of::All).await?;
        let latest = numbers.split_off(numbers.len().saturating_sub(most));
        let read = self.read(&latest).await?;
        Ok(latest.into_iter().zip(read).collect())
    }

    /// What every bench has done in all its sweeps. A sum over rows as they stand: for the care of the bench, not for a
    /// proof.
    ///
    /// # Errors
    /// A damaged store.
    pub async fn worked(&self) -> Result<Vec<Worked>, Error> {
        let sql = "SELECT bench_name, count(*), coalesce(sum(closures), 0) FROM measurement
                   WHERE manner <> 'by_hand' GROUP BY bench_name ORDER BY bench_name";
        let rows: Vec<(String, i64, i64)> =
            sqlx::query_as(sql).fetch_all(&self.pool).await.map_err(|error| self.said(&error))?;
        let worked = |(bench_name, sweeps, closures): (String, i64, i64)| Worked {
            bench_name,
            sweeps: sweeps.unsigned_abs(),
            closures: closures.unsigned_abs(),
        };
        Ok(rows.into_iter().map(worked).collect())
    }

    /// Sweeps without their codes, in the order asked for. Ask for a few hundred at a time: all of them are held.
    ///
    /// # Errors
    /// As [`Store::read`].
    pub async fn views(&self, ids: &[SweepId]) -> Result<Vec<Result<SweepView, Error>>, Error> {
        let numbers: Vec<i64> = ids.iter().map(|id| id.0).collect();
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            Latest::read(&mut snapshot, &numbers).await
        };
        let mut latest = read.await.map_err(|error| self.said(&error))?;
        let view = |&id| {
            latest.take(self, id).map(|(head, judgement)| SweepView {
                id,
                serial: head.serial,
                manner: head.manner,
                basis: head.basis,
                started_us: head.started_us,
                bench_name: head.bench_name,
                bench: head.work,
                judgement,
            })
        };
        Ok(ids.iter().map(view).collect())
    }

    /// Sweeps at a glance, in the order asked for.
    ///
    /// # Errors
    /// A damaged store; an unknown number; a row that is not as it was written.
    pub async fn sweep_lines(&self, ids: &[SweepId]) -> Result<Vec<SweepLine>, Error> {
        let numbers: Vec<i64> = ids.iter().map(|id| id.0).collect();
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let heads = by_number(head::numbered(&mut snapshot, &numbers).await?);
            let glances = judgement::numbered_at_a_glance(&mut snapshot, &numbers).await?;
            Ok((heads, glances, ledger::numbers(&mut snapshot, &numbers).await?))
        };
        let (mut heads, mut glances, ledger) = read.await.map_err(|error| self.said(&error))?;
        let line = |&id: &SweepId| {
            let head = heads.remove(&id.0).ok_or_else(|| self.unknown_sweep(id))?;
            let head = head.map_err(|altered| altered.error(&self.path))?;
            let glance = glances.remove(&id.0).ok_or_else(|| self.unjudged(id))?;
            let glance = glance.map_err(|altered| altered.error(&self.path))?;
            self.see_judgements(id, &ledger, glance.number)?;
            let faults = glance.faults.into_iter();
            Ok(SweepLine {
                id,
                serial: head.serial,
                lot: head.lot,
                basis: head.basis,
                started_us: head.started_us,
                bench_name: head.bench_name,
                bench: head.work,
                verdict: glance.verdict,
                faults: faults.map(|fault| Place { place: fault.place, class: fault.class }).collect(),
            })
        };
        ids.iter().map(line).collect()
    }

    /// A whole sweep again, raw codes included, with its latest judgement.
    ///
    /// # Errors
    /// An unknown number; raw codes of another format; a damaged store; a row that is not as it was written.
    pub async fn sweep(&self, id: SweepId) -> Result<Sweep, Error> {
        let stored = self.read(&[id]).await?.pop().ok_or_else(|| self.unknown_sweep(id))??;
        Ok(Sweep { measurement: stored.measurement, judgement: stored.judgement })
    }

    /// Every judgement of a sweep, in the order they were made.
    ///
    /// # Errors
    /// Like [`Store::sweep`].
    pub async fn judgements(&self, id: SweepId) -> Result<Vec<PastJudgement>, Error> {
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let judged = judgement::read(&mut snapshot, &[id.0], Which::All).await?;
            Ok((judged, ledger::numbers(&mut snapshot, &[id.0]).await?))
        };
        let (mut judged, ledger) = read.await.map_err(|error: sqlx::Error| self.said(&error))?;
        let judged = judged.remove(&id.0).ok_or_else(|| self.unknown_sweep(id))?;
        self.see_judgements(id, &ledger, judged.len() as i64)?;
        judged
            .into_iter()
            .map(|judged| match judged {
                Ok(Judged { made_us, judgement, .. }) => Ok(PastJudgement { made_us, judgement }),
                Err(altered) => Err(altered.error(&self.path)),
            })
            .collect()
    }

    /// Does the ledger have a sweep and so many judgements of it, and no more?
    fn see_judgements(
        &self,
        id: SweepId,
        ledger: &HashMap<i64, BTreeSet<i64>>,
        latest: i64,
    ) -> Result<(), Error> {
        let kept = ledger.get(&id.0).into_iter().flatten().copied();
        if kept.eq(0..=latest) {
            return Ok(());
        }
        let what = format!("the list of judgements of sweep {id}");
        Err(Error::Altered { path: self.path.clone(), what })
    }

    /// The heads of sweeps, one for each number.
    pub(super) async fn heads<const N: usize>(
        &self,
        connection: &mut Connection,
        ids: [SweepId; N],
    ) -> Result<[Result<Head, Error>; N], Error> {
        let read = head::numbered(connection, &ids.map(|id| id.0)).await;
        let mut heads = read.map_err(|error| self.said(&error))?;
        Ok(ids.map(|id| {
            let is_it = |head: &Result<Head, head::Altered>| match head {
                Ok(head) => head.id == id.0,
                Err(altered) => altered.sweep == id.0,
            };
            let place = heads.iter().position(is_it).ok_or_else(|| self.unknown_sweep(id))?;
            heads.swap_remove(place).map_err(|altered| altered.error(&self.path))
        }))
    }

    pub(super) fn unknown_sweep(&self, id: SweepId) -> Error {
        Error::UnknownSweep { path: self.path.clone(), id }
    }

    fn unpack(
        &self,
        head: Head,
        proof: Option<Proof>,
        packed: Option<Packed>,
        fixture: Option<&Fixture>,
    ) -> Result<Measurement, Error> {
        let sweep = SweepId(head.id);
        let altered =
            || Error::Altered { path: self.path.clone(), what: format!("the raw readings of sweep {sweep}") };
        let packed = packed.ok_or_else(altered)?;
        if !super::seal(|| packed.hash(), head.raw_hash.clone()) {
            return Err(altered());
        }
        let read = raw::unpack_all(fixture, &packed.format, &packed.runs).map_err(|error| Error::Raw {
            path: self.path.clone(),
            sweep,
            error,
        })?;
        Ok(head.measurement(proof, read))
    }
}

fn by_number(heads: Vec<Result<Head, head::Altered>>) -> HashMap<i64, Result<Head, head::Altered>> {
    let number = |head: &Result<Head, head::Altered>| match head {
        Ok(head) => head.id,
        Err(altered) => altered.sweep,
    };
    heads.into_iter().map(|head| (number(&head), head)).collect()
}

/// Measurements with their latest judgements, of one moment.
struct Latest {
    heads: HashMap<i64, Result<Head, head::Altered>>,
    judgements: HashMap<i64, Vec<Result<Judged, head::Altered>>>,
    ledger: HashMap<i64, BTreeSet<i64>>,
}

impl Latest {
    async fn read(snapshot: &mut Connection, numbers: &[i64]) -> Result<Self, sqlx::Error> {
        Ok(Self {
            heads: by_number(head::numbered(snapshot, numbers).await?),
            judgements: judgement::read(snapshot, numbers, Which::Latest).await?,
            ledger: ledger::numbers(snapshot, numbers).await?,
        })
    }

    /// One of them; each is given once.
    fn take(&mut self, store: &Store, id: SweepId) -> Result<(Head, Judgement), Error> {
        let head = self.heads.remove(&id.0).ok_or_else(|| store.unknown_sweep(id))?;
        let head = head.map_err(|altered| altered.error(&store.path))?;
        let judged = self.judgements.remove(&id.0).and_then(|mut all| all.pop());
        let judged = judged.ok_or_else(|| store.unjudged(id))?;
        let judged = judged.map_err(|altered| altered.error(&store.path))?;
        store.see_judgements(id, &self.ledger, judged.number)?;
        Ok((head, judged.judgement))
    }
}

/// The number of every sweep there is, in their order.
pub(super) async fn numbers(connection: &mut Connection) -> Result<Vec<SweepId>, sqlx::Error> {
    let all = sqlx::query_scalar("SELECT measurement_id FROM measurement ORDER BY measurement_id");
    Ok(all.fetch_all(connection).await?.into_iter().map(SweepId).collect())
}

/// The packed codes of measurements.
pub(super) async fn packed(
    connection: &mut Connection,
    ids: &[i64],
) -> Result<HashMap<i64, Packed>, sqlx::Error> {
    let select = "SELECT measurement_id, format, runs FROM raw";
    let rows = list::rows(connection, select, "measurement_id", ids, "measurement_id").await?;
    rows.iter()
        .map(|row| {
            let packed = Packed { format: row.try_get("format")?, runs: row.try_get("runs")? };
            Ok((row.try_get("measurement_id")?, packed))
        })
        .collect()
}
