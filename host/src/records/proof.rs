//! Proofs of benches: kept as texts by their hash, found by bench and fixture.

use sqlx::Row as _;

use super::database::Connection;
use super::{Error, Store};
use crate::hash;
use crate::proof::Proof;

impl Store {
    /// Keeps a proof. When this returns it is on the disk.
    ///
    /// # Errors
    /// A store that is locked too long or cannot be written.
    pub async fn keep_proof(&self, proof: &Proof) -> Result<(), Error> {
        let mut connection = self.writing().await?;
        match write(&mut connection, proof).await {
            Ok(()) => Ok(()),
            Err(error) => Err(self.after_failed_write(connection, &error).await),
        }
    }

    /// The latest proof of a bench, by its controller's serial number, with this fixture on it.
    ///
    /// # Errors
    /// A damaged store; a proof that is not as it was written.
    pub async fn latest_proof(&self, bench: &str, fixture: &str) -> Result<Option<Proof>, Error> {
        let mut connection = self.reading().await?;
        let latest = sqlx::query_scalar(
            "SELECT proof_hash FROM proof WHERE bench = $1 AND fixture = $2
             ORDER BY made_us DESC, proof_hash LIMIT 1",
        );
        let latest: Option<String> = latest
            .bind(bench)
            .bind(fixture)
            .fetch_optional(&mut *connection)
            .await
            .map_err(|error| self.said(&error))?;
        self.named_proof(&mut connection, latest.as_deref()).await
    }

    /// The proof that a measurement names, if it names one.
    pub(super) async fn named_proof(
        &self,
        connection: &mut Connection,
        hash: Option<&str>,
    ) -> Result<Option<Proof>, Error> {
        match hash {
            Some(hash) => self.proof(connection, hash).await.map(Some),
            None => Ok(None),
        }
    }

    /// The proof with this hash.
    async fn proof(&self, connection: &mut Connection, hash: &str) -> Result<Proof, Error> {
        let altered = || self.altered(format!("the proof of a bench with hash {hash}"));
        let row = sqlx::query("SELECT bench, fixture, made_us, source FROM proof WHERE proof_hash = $1");
        let read = async {
            let Some(row) = row.bind(hash).fetch_optional(connection).await? else { return Ok(None) };
            let key: (String, String, i64) =
                (row.try_get("bench")?, row.try_get("fixture")?, row.try_get("made_us")?);
            Ok(Some((key, row.try_get::<String, _>("source")?)))
        };
        let (key, source) = read.await.map_err(|error| self.said(&error))?.ok_or_else(altered)?;
        if !super::seal(|| hash::of(&source).into_bytes(), hash.as_bytes().to_vec()) {
            return Err(altered());
        }
        let proof = Proof::parse(source).map_err(|_| altered())?;
        let figures = proof.figures();
        let (bench, fixture, made_us) = &key;
        match (bench, fixture, made_us) == (&figures.bench, &figures.fixture, &figures.made_us) {
            true => Ok(proof),
            false => Err(altered()),
        }
    }
}

/// Writes a proof that may be there already.
pub(super) async fn write(connection: &mut Connection, proof: &Proof) -> Result<(), sqlx::Error> {
    let figures = proof.figures();
    sqlx::query(
        "INSERT INTO proof (proof_hash, bench, fixture, made_us, source) VALUES ($1, $2, $3, $4, $5)
         ON CONFLICT DO NOTHING",
    )
    .bind(proof.hash())
    .bind(&figures.bench)
    .bind(&figures.fixture)
    .bind(figures.made_us)
    .bind(proof.text())
    .execute(connection)
    .await
    .map(drop)
}
