//! `records check`: is every row as it was written, and the file sound? Names what is wrong and counts what is good.

use std::collections::BTreeSet;

use serde::Serialize;
use sqlx::Row as _;

use super::database::{Connection, Row};
use super::head;
use super::judgement::{self, Which};
use super::ledger::{self, Units};
use super::list::KEYS;
use super::stored::{self, packed};
use super::{Error, PhotoId, Store, SweepId, logbook, open, photo, trade};
use crate::hash;

/// What `records check` found.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize)]
pub struct Findings {
    /// Sweeps that are whole: measurement, raw codes and all judgements as they were written.
    pub whole_sweeps: u64,
    /// Judgements of those.
    pub judgements: u64,
    /// Units of which everything that people wrote down is as it was written.
    pub whole_units: u64,
    /// Photos whose pictures are as they were written.
    pub photos: u64,
    /// Board and fixture files that are as they were written.
    pub files: u64,
    /// Proofs of benches that are as they were written.
    pub proofs: u64,
    /// Sweeps that are not whole.
    pub altered_sweeps: Vec<i64>,
    /// What is wrong, a sentence each. Empty: nothing is.
    pub wrong: Vec<String>,
}

impl Findings {
    /// Books a sweep: with its number of judgements, or what is wrong with it.
    fn sweep(&mut self, id: i64, result: Result<u64, &str>) {
        match result {
            Ok(judgements) => {
                self.whole_sweeps += 1;
                self.judgements += judgements;
            }
            Err(what) => {
                self.altered_sweeps.push(id);
                self.wrong.push(format!("sweep {id}: {what}"));
            }
        }
    }

    /// Is nothing wrong?
    pub fn sound(&self) -> bool {
        self.wrong.is_empty()
    }
}

impl Store {
    /// Walks the whole store.
    ///
    /// # Errors
    /// A store that cannot be read at all. What can be read is checked, and what cannot is a finding.
    pub async fn check(&self) -> Result<Findings, Error> {
        let mut findings = Findings::default();
        let mut connection = self.reading().await?;
        self.check_database(&mut connection, &mut findings).await;
        self.check_files(&mut connection, &mut findings).await;
        self.check_ledger(&mut connection, &mut findings).await;
        self.check_photos(&mut connection, &mut findings).await;
        let numbers = stored::numbers(&mut connection).await;
        drop(connection);
        match numbers {
            Ok(ids) => {
                for part in ids.chunks(KEYS) {
                    self.check_sweeps(part, &mut findings).await;
                }
            }
            Err(error) => findings.wrong.push(format!("the list of sweeps cannot be read: {error}")),
        }
        match self.serials().await {
            Ok(serials) => self.check_units(&serials, &mut findings).await,
            Err(error) => findings.wrong.push(format!("the list of units cannot be read: {error}")),
        }
        Ok(findings)
    }

    /// SQLite's own checks, and the tables' definitions against those of a new store.
    async fn check_database(&self, connection: &mut Connection, findings: &mut Findings) {
        match sqlx::query_scalar::<_, String>("PRAGMA integrity_check").fetch_all(&mut *connection).await {
            Ok(lines) => {
                findings.wrong.extend(
                    lines.into_iter().filter(|line| line != "ok").map(|line| format!("file: {line}")),
                );
            }
            Err(error) => findings.wrong.push(format!("file: {error}")),
        }
        let broken = |row: Row| {
            Ok(format!("{} row without its {}", row.try_get::<String, _>(0)?, row.try_get::<String, _>(2)?))
        };
        match sqlx::query("PRAGMA foreign_key_check").try_map(broken).fetch_all(&mut *connection).await {
            Ok(lines) => findings.wrong.extend(lines),
            Err(error) => findings.wrong.push(format!("references: {error}")),
        }
        match open::altered_now(&self.path, &self.pool).await {
            Ok(altered) => findings.wrong.extend(altered.map(|name| open::words_for_altered(&name))),
            Err(error) => findings.wrong.push(format!("definitions: {error}")),
        }
    }

    async fn check_files(&self, connection: &mut Connection, findings: &mut Findings) {
        for (what, select) in [
            ("board", "SELECT board_hash, source FROM board"),
            ("fixture", "SELECT fixture_hash, source FROM fixture"),
            ("proof", "SELECT proof_hash, source FROM proof"),
        ] {
            let pair = |row: Row| Ok((row.try_get::<String, _>(0)?, row.try_get::<String, _>(1)?));
            match sqlx::query(select).try_map(pair).fetch_all(&mut *connection).await {
                Ok(files) => {
                    for (hash, source) in files {
                        match (hash::of(source) == hash, what) {
                            (true, "proof") => findings.proofs += 1,
                            (true, _) => findings.files += 1,
                            (false, _) => findings
                                .wrong
                                .push(format!("the text of {what} file {hash} is not what its hash says")),
                        }
                    }
                }
                Err(error) => findings.wrong.push(format!("the {what} files cannot be read: {error}")),
            }
        }
    }

    /// What a digest cannot show: rows that are missing, or were moved.
    async fn check_ledger(&self, connection: &mut Connection, findings: &mut Findings) {
        match ledger::odd_units(connection).await {
            Ok(odd) => findings.wrong.extend(odd.iter().map(|serial| {
                format!(
                    "unit {serial:?}: its ledger does not have what there is, or there is not what it has"
                )
            })),
            Err(error) => findings.wrong.push(format!("the ledger cannot be read: {error}")),
        }
        match ledger::odd_lot_trades(connection).await {
            Ok(odd) => findings.wrong.extend(odd.iter().map(|lot| {
                format!("lot {lot:?}: its ledger does not have what was said of it, or the other way round")
            })),
            Err(error) => findings.wrong.push(format!("the ledger of lots cannot be read: {error}")),
        }
        match trade::odd_entries(connection).await {
            Ok(odd) => findings.wrong.extend(
                odd.iter().map(|lot| format!("what was said of lot {lot:?} is not as it was written")),
            ),
            Err(error) => findings.wrong.push(format!("what was said of lots cannot be read: {error}")),
        }
        match ledger::odd_lots(connection).await {
            Ok(odd) => findings.wrong.extend(
                odd.iter()
                    .map(|lot| format!("lot {lot:?}: the list of its units is not what the sweeps say")),
            ),
            Err(error) => findings.wrong.push(format!("the lots cannot be read: {error}")),
        }
    }

    /// Pictures, one at a time: each may take a megabyte. The rows of their photos are checked with their units.
    async fn check_photos(&self, connection: &mut Connection, findings: &mut Findings) {
        let numbers = sqlx::query_scalar("SELECT photo_id FROM photo ORDER BY photo_id");
        let numbers: Vec<i64> = match numbers.fetch_all(&mut *connection).await {
            Ok(numbers) => numbers,
            Err(error) => return findings.wrong.push(format!("the list of photos cannot be read: {error}")),
        };
        for id in numbers {
            let hash = sqlx::query_scalar("SELECT jpeg_hash FROM photo WHERE photo_id = $1").bind(id);
            let read = async {
                let hash: Option<String> = hash.fetch_optional(&mut *connection).await?;
                Ok::<_, sqlx::Error>((hash, photo::jpeg(connection, PhotoId(id)).await?))
            };
            match read.await {
                Ok((Some(hash), Some(jpeg))) if hash::of(&jpeg) == hash => findings.photos += 1,
                Ok(_) => findings.wrong.push(format!("photo {id}: the picture is not as it was written")),
                Err(error) => findings.wrong.push(format!("photo {id}: {error}")),
            }
        }
    }

    async fn check_sweeps(&self, ids: &[SweepId], findings: &mut Findings) {
        match self.digests(ids).await {
            Ok(sweeps) => sweeps.into_iter().for_each(|(id, result)| findings.sweep(id, result)),
            // Something in this part cannot be read: find out which.
            Err(_) if ids.len() > 1 => {
                for id in ids {
                    match self.digests(&[*id]).await {
                        Ok(sweeps) => sweeps.into_iter().for_each(|(id, result)| findings.sweep(id, result)),
                        Err(error) => findings.sweep(id.0, Err(&error.to_string())),
                    }
                }
            }
            Err(error) => ids.iter().for_each(|id| findings.sweep(id.0, Err(&error.to_string()))),
        }
    }

    /// For each sweep how many judgements it has, or what does not fit its digest.
    async fn digests(&self, ids: &[SweepId]) -> Result<Vec<(i64, Result<u64, &'static str>)>, sqlx::Error> {
        let ids: Vec<i64> = ids.iter().map(|id| id.0).collect();
        let mut connection = self.pool.acquire().await?;
        let mut packed = packed(&mut connection, &ids).await?;
        let mut judgements = judgement::read(&mut connection, &ids, Which::All).await?;
        let heads = head::numbered(&mut connection, &ids).await?;
        let mut results: Vec<(i64, Result<u64, &'static str>)> = Vec::with_capacity(ids.len());
        for head in heads {
            let head = match head {
                Ok(head) => head,
                Err(altered) => {
                    results.push((altered.sweep, Err("the measurement is not as it was written")));
                    continue;
                }
            };
            let judged = judgements.remove(&head.id).unwrap_or_default();
            let result = if packed.remove(&head.id).is_none_or(|packed| packed.hash() != head.raw_hash) {
                Err("the raw readings are not as they were written")
            } else if judged.is_empty() {
                Err("it has no judgement")
            } else if judged.iter().any(Result::is_err) {
                Err("a judgement is not as it was written")
            } else {
                Ok(judged.len() as u64)
            };
            results.push((head.id, result));
        }
        let found: BTreeSet<i64> = results.iter().map(|(id, _)| *id).collect();
        let lost = ids.into_iter().filter(|id| !found.contains(id));
        results.extend(lost.map(|id| (id, Err("it is not found by its number"))));
        Ok(results)
    }

    /// What people wrote down, all at once; one unit after the other only where something cannot be read.
    async fn check_units(&self, serials: &[String], findings: &mut Findings) {
        match self.odd_entries(Units::ALL).await {
            Ok(odd) => {
                let units: BTreeSet<&str> = odd.iter().map(|odd| odd.serial.as_str()).collect();
                findings.whole_units += serials.len().saturating_sub(units.len()) as u64;
                findings
                    .wrong
                    .extend(odd.iter().map(|odd| format!("{} is not as it was written", odd.in_words())));
            }
            Err(_) => {
                for serial in serials {
                    match self.odd_entries(Units::one(serial)).await {
                        Ok(odd) if odd.is_empty() => findings.whole_units += 1,
                        Ok(odd) => findings.wrong.extend(
                            odd.iter().map(|odd| format!("{} is not as it was written", odd.in_words())),
                        ),
                        Err(error) => findings.wrong.push(format!("unit {serial:?}: {error}")),
                    }
                }
            }
        }
    }

    async fn odd_entries(&self, units: Units<'_>) -> Result<Vec<logbook::Odd>, sqlx::Error> {
        let mut connection = self.pool.acquire().await?;
        let entries = logbook::of_units(&mut connection, units).await?;
        Ok(entries.into_iter().filter_map(Result::err).collect())
    }
}
