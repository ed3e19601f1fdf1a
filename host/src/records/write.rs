//! Writing: a measurement with its first judgement in one transaction, a later judgement in another.

use std::path::PathBuf;

use serde::Serialize;
use sqlx::Connection as _;
use sqlx::pool::PoolConnection;

use super::database::{BEGIN, Connection, Database};
use super::head::Head;
use super::judgement::{self, Judged};
use super::ledger::{self, Line};
use super::stored::Packed;
use super::summary::SweepId;
use super::value::Value;
use super::{ANSWER, Error, Store, aside, list, near::near, proof, raw, runtime, text, wait};
use crate::board::Board;
use crate::fixture::Fixture;
use crate::hash;
use crate::hypothesis::Rates;
use crate::proof::Proof;
use crate::sweep::{Judgement, Sweep};

/// A sweep ready to be written: only its number and its place in the unit's history are missing.
pub(super) struct Parcel {
    pub head: Head,
    pub packed: Packed,
    /// Judgements in the order they were made, each with its time.
    pub judgements: Vec<(i64, Judgement)>,
    pub board: File,
    /// None by hand.
    pub fixture: Option<File>,
    pub proof: Option<Proof>,
}

/// A board or a fixture file; a fixture has no revision.
pub(super) struct File {
    pub hash: String,
    pub name: String,
    pub revision: Option<String>,
    pub source: String,
}

impl Store {
    /// Keeps a sweep, whole or not at all, and the files it stands on. When this returns it is on the disk.
    ///
    /// # Errors
    /// A serial number or lot that [`text`] refuses, a full disk. A store locked for too long: [`Error::Aside`], with
    /// the sweep in a file beside the store, from which the next opening for writing takes it in.
    pub async fn store(&self, sweep: &Sweep, fixture: &Fixture) -> Result<SweepId, Error> {
        self.keep(sweep, &fixture.board, Some(fixture)).await
    }

    /// The same of what was read by hand, which stands on a board alone.
    ///
    /// # Errors
    /// As [`Store::store`].
    pub async fn store_by_hand(&self, sweep: &Sweep, board: &Board) -> Result<SweepId, Error> {
        self.keep(sweep, board, None).await
    }

    async fn keep(&self, sweep: &Sweep, board: &Board, fixture: Option<&Fixture>) -> Result<SweepId, Error> {
        // Packed before the lock is taken: others may be waiting for it.
        let parcel = self.parcel(sweep, board, fixture)?;
        let mut connection = self.writing().await?;
        match put(&mut connection, &parcel, None).await {
            Ok(id) => Ok(id.unwrap_or(SweepId(0))),
            Err(error) => match self.after_failed_write(connection, &error).await {
                Error::Busy { path } => Err(Self::put_aside(path, &parcel)),
                error => Err(error),
            },
        }
    }

    /// Keeps another judgement of a measurement; from now on it is the latest.
    ///
    /// # Errors
    /// An unknown number; what [`Store::store`] says, but nothing is put aside: a judgement can be made again.
    pub async fn keep_judgement(
        &self,
        id: SweepId,
        judgement: &Judgement,
        made_us: i64,
    ) -> Result<(), Error> {
        let mut connection = self.writing().await?;
        let write = async {
            let mut transaction = connection.begin_with(BEGIN).await?;
            let known: Option<(String, i64, i64)> = sqlx::query_as(
                "SELECT serial, entry, (SELECT max(judgement) FROM ledger
                                        WHERE ledger.serial = measurement.serial AND ledger.entry = measurement.entry)
                 FROM measurement WHERE measurement_id = $1",
            )
            .bind(id.0)
            .fetch_optional(&mut *transaction)
            .await?;
            let Some((serial, entry, latest)) = known else { return Ok(false) };
            let number = latest + 1;
            let judged = Judged { measurement: id.0, number, made_us, judgement: judgement.clone() };
            judgement::write(&mut transaction, &serial, entry, &judged).await?;
            transaction.commit().await?;
            Ok(true)
        };
        match write.await {
            Ok(true) => Ok(()),
            Ok(false) => Err(self.unknown_sweep(id)),
            Err(error) => Err(self.after_failed_write(connection, &error).await),
        }
    }

    fn parcel(&self, sweep: &Sweep, board: &Board, fixture: Option<&Fixture>) -> Result<Parcel, Error> {
        let measurement = &sweep.measurement;
        let of_bed = fixture.map(|fixture| ("fixture", &fixture.hash, &fixture.source));
        for (what, hash, source) in [("board", &board.hash, &board.source)].into_iter().chain(of_bed) {
            if hash::of(source) != *hash {
                return Err(Error::Refused {
                    path: self.path.clone(),
                    reason: format!("the hash of the {what} file is not that of its text"),
                });
            }
        }
        let (format, runs) = raw::pack_all(fixture, measurement).map_err(|error| Error::Refused {
            path: self.path.clone(),
            reason: format!("the raw readings cannot be packed: {error}"),
        })?;
        let packed = Packed { format: format.into(), runs };
        let head = Head {
            id: 0,
            serial: text::serial(&measurement.serial)?,
            entry: 0,
            lot: measurement.lot.as_deref().map(text::lot).transpose()?,
            manner: measurement.manner,
            basis: measurement.basis.clone(),
            sampling: measurement.sampling,
            started_us: measurement.started_us,
            repaired_us: measurement.repaired_us,
            bench_name: measurement.bench_name.clone(),
            proof: measurement.proof.as_ref().map(Proof::hash),
            work: measurement.work(),
            rates: match measurement.rates == Rates::table() {
                true => None,
                false => Some(self.in_json("the rates of the lot", &measurement.rates)?),
            },
            wires: match measurement.wires.is_empty() {
                true => None,
                false => Some(self.in_json("the wires of the unit", &measurement.wires)?),
            },
            raw_hash: packed.hash(),
        };
        let file = |hash: &str, name: &str, revision: Option<&str>, source: &str| File {
            hash: hash.into(),
            name: name.into(),
            revision: revision.map(Into::into),
            source: source.into(),
        };
        // The first judgement is as old as its measurement: both are one act.
        let judgements = vec![(measurement.started_us, sweep.judgement.clone())];
        Ok(Parcel {
            head,
            packed,
            judgements,
            board: file(&board.hash, &board.name, Some(&board.revision), &board.source),
            fixture: fixture.map(|fixture| file(&fixture.hash, &fixture.name, None, &fixture.source)),
            proof: measurement.proof.clone(),
        })
    }

    /// A part of a measurement as its column keeps it.
    pub(super) fn in_json(&self, what: &str, part: &impl Serialize) -> Result<String, Error> {
        serde_json::to_string(part).map_err(|error| Error::Refused {
            path: self.path.clone(),
            reason: format!("{what} cannot be written down: {error}"),
        })
    }

    /// Puts a sweep into a file beside the locked store. On a thread of its own, which is waited for: the futures of
    /// sqlx's migrations do not go from one thread to another, and this is rare.
    fn put_aside(path: PathBuf, parcel: &Parcel) -> Error {
        let put = || wait(&runtime(&path)?, &path, ANSWER, aside::put(&path, parcel));
        let put = std::thread::scope(|scope| scope.spawn(put).join());
        let died =
            |_| Err(Error::Refused { path: path.clone(), reason: "the thread that wrote it died".into() });
        match put.unwrap_or_else(died) {
            Ok(file) => Error::Aside { path, file },
            Err(error) => Error::Lost { path, error: Box::new(error) },
        }
    }

    /// A connection to write with.
    pub(super) async fn writing(&self) -> Result<PoolConnection<Database>, Error> {
        let Some(writer) = &self.writer else {
            let reason = "it was opened for reading only".into();
            return Err(Error::Unwritable { path: self.path.clone(), reason });
        };
        writer.acquire().await.map_err(|error| self.said(&error))
    }

    /// What a failed write means. After some errors (a full disk) SQLite has rolled back on its own and the pool's
    /// count of open transactions is wrong; closing also ends whatever is still open.
    pub(super) async fn after_failed_write(
        &self,
        connection: PoolConnection<Database>,
        error: &sqlx::Error,
    ) -> Error {
        let _ = connection.close().await;
        self.said(error)
    }

    /// The error for a serial number nothing is kept under.
    pub(super) async fn unknown_unit(&self, serial: &str) -> Error {
        if let Err(error) = text::serial(serial) {
            return error.into();
        }
        match self.serials().await {
            Ok(known) => Error::UnknownUnit {
                path: self.path.clone(),
                serial: serial.into(),
                near: near(serial, known),
            },
            Err(error) => error,
        }
    }

    /// Every serial number.
    pub(super) async fn serials(&self) -> Result<Vec<String>, Error> {
        let all = sqlx::query_scalar("SELECT serial FROM unit ORDER BY serial").fetch_all(&self.pool).await;
        all.map_err(|error| self.said(&error))
    }
}

/// Writes a parcel in one transaction. With the name of a file it lay in, nothing is written, and `None` given, if
/// that file has been taken in before.
pub(super) async fn put(
    connection: &mut Connection,
    parcel: &Parcel,
    file: Option<&str>,
) -> Result<Option<SweepId>, sqlx::Error> {
    let mut transaction = connection.begin_with(BEGIN).await?;
    if let Some(file) = file {
        let new = sqlx::query("INSERT INTO taken_in (file) VALUES ($1) ON CONFLICT DO NOTHING")
            .bind(file)
            .execute(&mut *transaction)
            .await?;
        if new.rows_affected() == 0 {
            return Ok(None);
        }
    }
    let head = &parcel.head;
    let Parcel { board, fixture, .. } = parcel;
    sqlx::query(
        "INSERT INTO board (board_hash, name, revision, source) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING",
    )
    .bind(&board.hash)
    .bind(&board.name)
    .bind(&board.revision)
    .bind(&board.source)
    .execute(&mut *transaction)
    .await?;
    if let Some(fixture) = fixture {
        sqlx::query(
            "INSERT INTO fixture (fixture_hash, name, source) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING",
        )
        .bind(&fixture.hash)
        .bind(&fixture.name)
        .bind(&fixture.source)
        .execute(&mut *transaction)
        .await?;
    }
    if let Some(kept) = &parcel.proof {
        proof::write(&mut transaction, kept).await?;
    }
    belongs(&mut transaction, &head.serial, head.lot.as_deref()).await?;
    // The number is under the digest, so it is taken before the row is written; the lock keeps others from it.
    let id: i64 = sqlx::query_scalar("SELECT coalesce(max(measurement_id), 0) + 1 FROM measurement")
        .fetch_one(&mut *transaction)
        .await?;
    let entry = ledger::next(&mut transaction, &head.serial).await?;
    Head { id, entry, ..head.clone() }.write(&mut transaction).await?;
    let serial = head.serial.as_str();
    Line { serial, entry, judgement: 0, kind: "measurement" }.write(&mut transaction).await?;
    let packed = &parcel.packed;
    let values = [id.into(), Value::from(&packed.format), Value::from(&packed.runs)];
    list::insert(&mut transaction, "raw", &["measurement_id", "format", "runs"], &values).await?;
    for (number, (made_us, judgement)) in (1..).zip(&parcel.judgements) {
        let judged = Judged { measurement: id, number, made_us: *made_us, judgement: judgement.clone() };
        judgement::write(&mut transaction, serial, entry, &judged).await?;
    }
    transaction.commit().await?;
    Ok(Some(SweepId(id)))
}

/// Makes a unit known, and a member of a lot where one is named.
pub(super) async fn belongs(
    connection: &mut Connection,
    serial: &str,
    lot: Option<&str>,
) -> Result<(), sqlx::Error> {
    sqlx::query("INSERT INTO unit (serial) VALUES ($1) ON CONFLICT DO NOTHING")
        .bind(serial)
        .execute(&mut *connection)
        .await?;
    if let Some(lot) = lot {
        sqlx::query("INSERT INTO lot_unit (lot, serial) VALUES ($1, $2) ON CONFLICT DO NOTHING")
            .bind(lot)
            .bind(serial)
            .execute(connection)
            .await?;
    }
    Ok(())
}
