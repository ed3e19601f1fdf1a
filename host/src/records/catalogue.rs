//! Every unit at a glance, kept in memory: for a program that is asked for lists all day long.
//!
//! It follows the store. Each question first looks whether the tables have grown (five numbers), and reads again only the
//! units that something was written about; every row is checked when it is read, as in [`Store::units`], and not again
//! until its unit grows. [`Store::check`] looks at everything on the disk.

use std::collections::{BTreeMap, HashSet};

use sqlx::Row as _;
use tokio::sync::{RwLock, RwLockReadGuard};

use super::ledger::Units;
use super::lot::{self, Member};
use super::summary::{LotLine, LotSummary, SweepId, UnitLine};
use super::{Error, Of, Store, list};

/// With more units to read again than these, all are read in one go.
const FEW: usize = 64;

/// The units of a store, as of the latest question.
#[derive(Debug)]
pub struct Catalogue {
    store: Store,
    known: RwLock<Known>,
}

#[derive(Debug, Default)]
struct Known {
    /// As far as these have been read.
    read: Tips,
    members: BTreeMap<String, Member>,
}

/// The highest number in each table that bears on how a unit stands. Tables are only ever added to.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
struct Tips([i64; 5]);

impl Tips {
    const TABLES: [&str; 5] = ["measurement", "judgement", "repair", "correction", "status"];

    async fn of(store: &Store) -> Result<Self, Error> {
        let columns = Self::TABLES.map(|table| format!("(SELECT coalesce(max({table}_id), 0) FROM {table})"));
        let row = list::query(format!("SELECT {}", columns.join(", ")));
        let read = async {
            let row = row.fetch_one(&store.pool).await?;
            let mut tips = [0; 5];
            for (column, tip) in tips.iter_mut().enumerate() {
                *tip = row.try_get(column)?;
            }
            Ok(Self(tips))
        };
        read.await.map_err(|error: sqlx::Error| store.said(&error))
    }

    /// The units that something was written about since.
    async fn grown_since(self, store: &Store) -> Result<Vec<String>, Error> {
        let sql = "SELECT serial FROM measurement WHERE measurement_id > $1
                   UNION SELECT serial FROM judgement JOIN measurement USING (measurement_id) WHERE judgement_id > $2
                   UNION SELECT serial FROM repair WHERE repair_id > $3
                   UNION SELECT serial FROM correction WHERE correction_id > $4
                   UNION SELECT serial FROM status WHERE status_id > $5";
        let query = self.0.into_iter().fold(sqlx::query_scalar(sql), |query, tip| query.bind(tip));
        query.fetch_all(&store.pool).await.map_err(|error| store.said(&error))
    }
}

impl Catalogue {
    /// Of this store; nothing is read yet.
    pub fn of(store: Store) -> Self {
        Self { store, known: RwLock::default() }
    }

    /// The units that are wanted, in the order of their serial numbers.
    ///
    /// # Errors
    /// As [`Store::units`].
    pub async fn units(&self, wanted: impl Fn(&UnitLine) -> bool) -> Result<Vec<UnitLine>, Error> {
        let known = self.now().await?;
        Ok(known.members.values().map(|member| &member.line).filter(|line| wanted(line)).cloned().collect())
    }

    /// How a lot stands.
    ///
    /// # Errors
    /// As [`Store::lot`].
    pub async fn lot(&self, lot: &str) -> Result<LotSummary, Error> {
        self.store.see_members(lot).await?;
        let known = self.now().await?;
        let members: Vec<&Member> =
            known.members.values().filter(|member| member.line.lot.as_deref() == Some(lot)).collect();
        match lot::summary(lot, &members) {
            Some(summary) => Ok(summary),
            None => Err(self.store.unknown_lot(lot).await),
        }
    }

    /// The lots, in the order of [`Store::lots`].
    ///
    /// # Errors
    /// As [`Store::lots`].
    pub async fn lots(&self) -> Result<Vec<LotLine>, Error> {
        Ok(lot::lines(self.now().await?.members.values()))
    }

    /// The numbers of the sweeps that are meant, in their own order.
    ///
    /// # Errors
    /// As [`Store::numbers`].
    pub async fn numbers(&self, of: Of<'_>) -> Result<Vec<SweepId>, Error> {
        let Of::Lot(lot) = of else { return self.store.numbers(of).await };
        let known = self.now().await?;
        let lines = known.members.values().map(|member| &member.line);
        let members =
            lines.filter(|line| line.lot.as_deref() == Some(lot)).map(|line| line.unit.serial.as_str());
        let members: HashSet<&str> = members.collect();
        if members.is_empty() {
            return Err(self.store.unknown_lot(lot).await);
        }
        self.store.numbers_of(&members).await
    }

    /// What there is now.
    async fn now(&self) -> Result<RwLockReadGuard<'_, Known>, Error> {
        let tips = Tips::of(&self.store).await?;
        {
            let known = self.known.read().await;
            if known.read == tips {
                return Ok(known);
            }
        }
        let mut known = self.known.write().await;
        // Whoever waited for the lock may find the work done. The tips are older than what is read after them: what is
        // written between is read again at the next question.
        if known.read != tips {
            let grown = known.read.grown_since(&self.store).await?;
            let members = if grown.len() > FEW {
                self.store.members(Units::ALL).await?
            } else {
                let mut members = Vec::with_capacity(grown.len());
                for serial in &grown {
                    members.extend(self.store.members(Units::one(serial)).await?);
                }
                members
            };
            known.members.extend(members.into_iter().map(|member| (member.line.unit.serial.clone(), member)));
            known.read = tips;
        }
        Ok(known.downgrade())
    }
}

#[cfg(test)]
mod tests {
    use tokio::runtime::Builder;

    use super::*;
    use crate::records::{sample, status::Said};

    /// Whatever is written, and by whichever program, the next question shows it as the store does.
    #[test]
    fn it_shows_what_the_store_shows_however_that_grows() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("records.sqlite");
        Builder::new_current_thread().enable_all().build().unwrap().block_on(async {
            let (store, other) = (Store::open(&path).await.unwrap(), Store::open(&path).await.unwrap());
            let catalogue = Catalogue::of(store.clone());
            let same = async || {
                assert_eq!(catalogue.units(|_| true).await.unwrap(), store.units().await.unwrap());
                assert_eq!(catalogue.lots().await.unwrap(), store.lots().await.unwrap());
                let ids = store.numbers(Of::All).await.unwrap();
                let (lines, views) =
                    (store.sweep_lines(&ids).await.unwrap(), store.views(&ids).await.unwrap());
                for ((line, view), whole) in lines.iter().zip(views).zip(store.read(&ids).await.unwrap()) {
                    let (view, whole) = (view.unwrap(), whole.unwrap());
                    assert_eq!((line.id, line.verdict), (whole.id, whole.judgement.verdict));
                    assert_eq!(view.judgement, whole.judgement);
                    assert_eq!(line.basis, whole.measurement.basis);
                }
                for line in store.lots().await.unwrap() {
                    assert_eq!(catalogue.lot(&line.lot).await.unwrap(), store.lot(&line.lot).await.unwrap());
                    let of = Of::Lot(&line.lot);
                    assert_eq!(catalogue.numbers(of).await.unwrap(), store.numbers(of).await.unwrap());
                }
            };
            same().await;
            let fixture = sample::fixture();
            let many: Vec<String> = (0..2 * FEW).map(|number| format!("R-{number}")).collect();
            other.receive(&many, Some("first"), 1).await.unwrap();
            same().await;
            let sweep = sample::sweep("R-7", Some("second"), 1, Some(3));
            let id = other.store(&sweep, &fixture).await.unwrap();
            same().await;
            other.keep_judgement(id, &sample::sweep("R-7", None, 2, None).judgement, 3).await.unwrap();
            same().await;
            other.repair("R-7", 4, "cell fuse", "replaced", "").await.unwrap();
            same().await;
            other.void("R-7", id, 5, "the wrong unit").await.unwrap();
            same().await;
            other.set_status("R-8", 6, Said::Sold).await.unwrap();
            same().await;
            assert!(matches!(catalogue.lot("no such lot").await, Err(Error::UnknownLot { .. })));
        });
    }
}
