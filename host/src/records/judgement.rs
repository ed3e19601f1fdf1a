//! Judgements: a row each and seven lists, under one digest.

use std::collections::HashMap;

use sqlx::Row as _;

use super::database::{Connection, Row};
use super::digest::Digest;
use super::head::Altered;
use super::list;
use super::rows::{verdict_word, word};
use super::value::Value;
use crate::sweep::{Judgement, LimitsUsed};

/// A judgement with what its row says besides.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Judged {
    pub measurement: i64,
    pub made_us: i64,
    pub judgement: Judgement,
}

const COLUMNS: [&str; 8] =
    ["measurement_id", "made_us", "program", "limits_origin", "limits_hash", "celsius", "verdict", "digest"];

impl Judged {
    fn values(&self) -> Vec<Value<'_>> {
        let judgement = &self.judgement;
        vec![
            self.measurement.into(),
            self.made_us.into(),
            Value::from(&judgement.program),
            Value::from(&judgement.limits.origin),
            Value::from(&judgement.limits.hash),
            judgement.celsius.into(),
            verdict_word(judgement.verdict).into(),
        ]
    }

    fn digest(&self) -> Vec<u8> {
        let judgement = &self.judgement;
        Digest::of("judgement/1")
            .values(self.values())
            .list(&judgement.segments)
            .list(&judgement.isolation)
            .list(&judgement.standards)
            .list(&judgement.closures)
            .list(&judgement.faults)
            .list(&judgement.bench_faults)
            .list(&judgement.notes)
            .finish()
    }
}

/// Writes a judgement whole.
pub(super) async fn write(connection: &mut Connection, judged: &Judged) -> Result<(), sqlx::Error> {
    let digest = judged.digest();
    let mut values = judged.values();
    values.push(Value::from(&digest));
    let id = list::insert(connection, "judgement", &COLUMNS, &values).await?;
    let judgement = &judged.judgement;
    list::write(connection, id, &judgement.segments).await?;
    list::write(connection, id, &judgement.isolation).await?;
    list::write(connection, id, &judgement.standards).await?;
    list::write(connection, id, &judgement.closures).await?;
    list::write(connection, id, &judgement.faults).await?;
    list::write(connection, id, &judgement.bench_faults).await?;
    list::write(connection, id, &judgement.notes).await
}

/// Which judgements of a measurement to read.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Which {
    Latest,
    All,
}

/// The judgements of these measurements, in the order they were made.
pub(super) async fn read(
    connection: &mut Connection,
    measurements: &[i64],
    which: Which,
) -> Result<HashMap<i64, Vec<Result<Judged, Altered>>>, sqlx::Error> {
    let select = format!("SELECT judgement_id, {} FROM judgement", COLUMNS.join(", "));
    let rows = list::rows(connection, &select, "measurement_id", measurements, "judgement_id").await?;
    let mut heads = HashMap::<i64, Vec<(i64, Row)>>::new();
    for row in rows {
        let (measurement, id) = (row.try_get("measurement_id")?, row.try_get("judgement_id")?);
        let heads = heads.entry(measurement).or_default();
        if which == Which::Latest {
            heads.clear();
        }
        heads.push((id, row));
    }
    let ids: Vec<i64> = heads.values().flatten().map(|(id, _)| *id).collect();
    let mut segments = list::read(connection, &ids).await?;
    let mut isolation = list::read(connection, &ids).await?;
    let mut standards = list::read(connection, &ids).await?;
    let mut closures = list::read(connection, &ids).await?;
    let mut faults = list::read(connection, &ids).await?;
    let mut bench_faults = list::read(connection, &ids).await?;
    let mut notes = list::read(connection, &ids).await?;
    let mut assemble = |id: i64, row: &Row| -> Result<Result<Judged, Altered>, sqlx::Error> {
        let judged = Judged {
            measurement: row.try_get("measurement_id")?,
            made_us: row.try_get("made_us")?,
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
        };
        let as_written = super::seal(|| judged.digest(), row.try_get("digest")?);
        Ok(if as_written {
            Ok(judged)
        } else {
            Err(Altered { sweep: judged.measurement, what: "judgement" })
        })
    };
    let mut judgements = HashMap::new();
    for (measurement, heads) in heads {
        let judged = heads.iter().map(|(id, row)| assemble(*id, row)).collect::<Result<Vec<_>, _>>()?;
        judgements.insert(measurement, judged);
    }
    Ok(judgements)
}
