//! Writing: a sweep in one transaction, a note or a repair in one statement. Nothing else ever writes.

use sqlx::Connection as _;

use super::database::{BEGIN, Connection, Query};
use super::rows::{Line, PackedRun, verdict_word};
use super::summary::SweepId;
use super::{Error, Store, near, text};
use crate::fixture::Fixture;
use crate::plan::Sampling;
use crate::sweep::Sweep;

impl Store {
    /// Keeps a sweep, whole or not at all, and the files it was judged by. When this returns it is on the disk.
    ///
    /// # Errors
    /// A serial number or lot that [`text`] refuses, a full disk, a store locked for too long.
    pub async fn store(&self, sweep: &Sweep, fixture: &Fixture) -> Result<SweepId, Error> {
        text::serial(&sweep.measurement.serial)?;
        if let Some(lot) = &sweep.measurement.lot {
            text::lot(lot)?;
        }
        // Packed before the lock is taken: others may be waiting for it.
        let runs: Vec<PackedRun> = sweep
            .measurement
            .runs
            .iter()
            .map(PackedRun::of)
            .collect::<Result<_, _>>()
            .map_err(|error| self.said(&error))?;
        let mut connection = self.pool.acquire().await.map_err(|error| self.said(&error))?;
        match put(&mut connection, sweep, fixture, &runs).await {
            Ok(id) => Ok(id),
            Err(error) => {
                // After some errors (a full disk) SQLite has rolled back on its own and the pool's count of open
                // transactions is wrong; closing also ends whatever is still open.
                let _ = connection.close().await;
                Err(self.said(&error))
            }
        }
    }

    /// Keeps an operator's note on a unit that has been swept.
    ///
    /// # Errors
    /// An unknown serial number, an empty or overlong text, and what [`Store::store`] says.
    pub async fn note(&self, serial: &str, at_us: i64, text: &str) -> Result<(), Error> {
        text::words("note", text)?;
        let entry = sqlx::query(
            "INSERT INTO note (serial, after_sweep, at_us, text)
             SELECT serial, max(sweep_id), $2, $3 FROM sweep WHERE serial = $1 GROUP BY serial",
        );
        self.log(serial, entry.bind(serial).bind(at_us).bind(text)).await
    }

    /// Keeps a repair of a unit that has been swept: at which segment or `point~point`, what was done, and more
    /// about it (may be empty).
    ///
    /// # Errors
    /// Like [`Store::note`].
    pub async fn repair(
        &self,
        serial: &str,
        at_us: i64,
        place: &str,
        action: &str,
        text: &str,
    ) -> Result<(), Error> {
        text::line("place of the repair", place, text::PLACE_CHARACTERS)?;
        text::line("repair", action, text::NAME_CHARACTERS)?;
        if !text.is_empty() {
            text::words("text of the repair", text)?;
        }
        let entry = sqlx::query(
            "INSERT INTO repair (serial, after_sweep, at_us, place, action, text)
             SELECT serial, max(sweep_id), $2, $3, $4, $5 FROM sweep WHERE serial = $1 GROUP BY serial",
        );
        self.log(serial, entry.bind(serial).bind(at_us).bind(place).bind(action).bind(text)).await
    }

    async fn log(&self, serial: &str, entry: Query<'_>) -> Result<(), Error> {
        let written = entry.execute(&self.pool).await.map_err(|error| self.said(&error))?;
        if written.rows_affected() == 0 {
            return Err(self.unknown_unit(serial).await);
        }
        Ok(())
    }

    /// The error for a serial number nothing is kept under.
    pub(super) async fn unknown_unit(&self, serial: &str) -> Error {
        if let Err(error) = text::serial(serial) {
            return error.into();
        }
        match sqlx::query_scalar("SELECT serial FROM unit ORDER BY serial").fetch_all(&self.pool).await {
            Ok(known) => Error::UnknownUnit {
                path: self.path.clone(),
                serial: serial.into(),
                near: near::near(serial, known),
            },
            Err(error) => self.said(&error),
        }
    }
}

async fn put(
    connection: &mut Connection,
    sweep: &Sweep,
    fixture: &Fixture,
    runs: &[PackedRun],
) -> Result<SweepId, sqlx::Error> {
    let mut transaction = connection.begin_with(BEGIN).await?;
    let board = &fixture.board;
    sqlx::query(
        "INSERT INTO board (board_hash, name, revision, source) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING",
    )
    .bind(&board.hash)
    .bind(&board.name)
    .bind(&board.revision)
    .bind(&board.source)
    .execute(&mut *transaction)
    .await?;
    sqlx::query(
        "INSERT INTO fixture (fixture_hash, name, source) VALUES ($1, $2, $3) ON CONFLICT DO NOTHING",
    )
    .bind(&fixture.hash)
    .bind(&fixture.name)
    .bind(&fixture.source)
    .execute(&mut *transaction)
    .await?;
    if let Some(lot) = &sweep.measurement.lot {
        sqlx::query("INSERT INTO lot (lot) VALUES ($1) ON CONFLICT DO NOTHING")
            .bind(lot)
            .execute(&mut *transaction)
            .await?;
    }
    sqlx::query("INSERT INTO unit (serial) VALUES ($1) ON CONFLICT DO NOTHING")
        .bind(&sweep.measurement.serial)
        .execute(&mut *transaction)
        .await?;
    let id = head(&mut transaction, sweep).await?;
    lines(&mut transaction, id, &sweep.judgement.segments).await?;
    lines(&mut transaction, id, &sweep.judgement.isolation).await?;
    lines(&mut transaction, id, &sweep.judgement.standards).await?;
    lines(&mut transaction, id, &sweep.judgement.closures).await?;
    lines(&mut transaction, id, &sweep.judgement.faults).await?;
    lines(&mut transaction, id, &sweep.judgement.bench_faults).await?;
    lines(&mut transaction, id, &sweep.judgement.notes).await?;
    lines(&mut transaction, id, runs).await?;
    transaction.commit().await?;
    Ok(SweepId(id))
}

/// The sweep's own row; gives its number.
async fn head(connection: &mut Connection, sweep: &Sweep) -> Result<i64, sqlx::Error> {
    let work = sweep.measurement.work();
    sqlx::query_scalar(
        "INSERT INTO sweep (serial, lot, board_hash, fixture_hash, plan_hash, started_us, bench_name,
                            sampling, program, limits_origin, limits_hash, celsius, verdict, shots, closures, device_us)
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16) RETURNING sweep_id",
    )
    .bind(&sweep.measurement.serial)
    .bind(&sweep.measurement.lot)
    .bind(&sweep.measurement.basis.board_hash)
    .bind(&sweep.measurement.basis.fixture_hash)
    .bind(&sweep.measurement.basis.plan_hash)
    .bind(sweep.measurement.started_us)
    .bind(&sweep.measurement.bench_name)
    .bind(match sweep.measurement.sampling {
        Sampling::Quick => "quick",
        Sampling::Full => "full",
    })
    .bind(&sweep.judgement.program)
    .bind(&sweep.judgement.limits.origin)
    .bind(&sweep.judgement.limits.hash)
    .bind(sweep.judgement.celsius)
    .bind(verdict_word(sweep.judgement.verdict))
    .bind(i64::from(work.shots))
    .bind(i64::from(work.closures))
    .bind(i64::try_from(work.device_us).map_err(|error| sqlx::Error::Encode(error.into()))?)
    .fetch_one(connection)
    .await
}

async fn lines<L: Line>(connection: &mut Connection, sweep: i64, lines: &[L]) -> Result<(), sqlx::Error> {
    for (number, line) in (0_i64..).zip(lines) {
        let query = sqlx::query(L::INSERT).bind(sweep).bind(number);
        line.bind(query).execute(&mut *connection).await?;
    }
    Ok(())
}
