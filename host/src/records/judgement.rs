//! Judgements: a row each and nine lists, under digests.
//!
//! The faults are under the row's own digest, the other lists under one that stands in the row: so a list of units, which
//! shows verdicts and faults only, is checked without reading every segment.

use std::collections::HashMap;

use sqlx::Row as _;

use super::database::{Connection, Row};
use super::digest::Digest;
use super::head::Altered;
use super::ledger::{Line, Units};
use super::list;
use super::rows::{verdict_word, word};
use super::value::Value;
use crate::quantity::Celsius;
use crate::sweep::{Judgement, LimitsUsed, UnitFault};
use crate::verdict::Verdict;

/// A judgement with what its row says besides.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Judged {
    pub measurement: i64,
    /// Among those of its measurement, from 1.
    pub number: i64,
    pub made_us: i64,
    pub judgement: Judgement,
}

/// A judgement's own row.
struct Sheet {
    id: i64,
    measurement: i64,
    number: i64,
    made_us: i64,
    program: String,
    limits: LimitsUsed,
    air: Option<Celsius>,
    proof: Option<String>,
    verdict: Verdict,
    lists: Vec<u8>,
}

const COLUMNS: [&str; 11] = [
    "measurement_id",
    "number",
    "made_us",
    "program",
    "limits_origin",
    "limits_hash",
    "celsius",
    "proof_hash",
    "verdict",
    "lists",
    "digest",
];

impl Sheet {
    fn of(judged: &Judged) -> Self {
        let judgement = &judged.judgement;
        Self {
            id: 0,
            measurement: judged.measurement,
            number: judged.number,
            made_us: judged.made_us,
            program: judgement.program.clone(),
            limits: judgement.limits.clone(),
            air: judgement.air,
            proof: judgement.proof.clone(),
            verdict: judgement.verdict,
            lists: lists(judgement),
        }
    }

    fn values(&self) -> Vec<Value<'_>> {
        vec![
            self.measurement.into(),
            self.number.into(),
            self.made_us.into(),
            Value::from(&self.program),
            Value::from(&self.limits.origin),
            Value::from(&self.limits.hash),
            self.air.into(),
            self.proof.as_deref().into(),
            verdict_word(self.verdict).into(),
            Value::from(&self.lists),
        ]
    }

    fn digest(&self, faults: &[UnitFault]) -> Vec<u8> {
        Digest::of("judgement/1").values(self.values()).list(faults).finish()
    }

    fn read(row: &Row) -> Result<Self, sqlx::Error> {
        Ok(Self {
            id: row.try_get("judgement_id")?,
            measurement: row.try_get("measurement_id")?,
            number: row.try_get("number")?,
            made_us: row.try_get("made_us")?,
            program: row.try_get("program")?,
            limits: LimitsUsed { origin: row.try_get("limits_origin")?, hash: row.try_get("limits_hash")? },
            air: row.try_get::<Option<_>, _>("celsius")?.map(Celsius),
            proof: row.try_get("proof_hash")?,
            verdict: word(row, "verdict")?,
            lists: row.try_get("lists")?,
        })
    }

    fn altered(&self) -> Altered {
        Altered { sweep: self.measurement, what: "judgement" }
    }
}

/// The digest over every list but the faults.
fn lists(judgement: &Judgement) -> Vec<u8> {
    Digest::of("lists/1")
        .list(&judgement.segments)
        .list(&judgement.isolation)
        .list(&judgement.thermometers)
        .list(&judgement.standards)
        .list(&judgement.closures)
        .list(&judgement.bench_faults)
        .list(&judgement.notes)
        .list(&judgement.steps)
        .finish()
}

/// Writes a judgement whole. `serial` and `entry` are those of its measurement.
pub(super) async fn write(
    connection: &mut Connection,
    serial: &str,
    entry: i64,
    judged: &Judged,
) -> Result<(), sqlx::Error> {
    let judgement = &judged.judgement;
    let sheet = Sheet::of(judged);
    let digest = sheet.digest(&judgement.faults);
    let mut values = sheet.values();
    values.push(Value::from(&digest));
    let id = list::insert(connection, "judgement", &COLUMNS, &values).await?;
    list::write(connection, id, &judgement.segments).await?;
    list::write(connection, id, &judgement.isolation).await?;
    list::write(connection, id, &judgement.thermometers).await?;
    list::write(connection, id, &judgement.standards).await?;
    list::write(connection, id, &judgement.closures).await?;
    list::write(connection, id, &judgement.faults).await?;
    list::write(connection, id, &judgement.bench_faults).await?;
    list::write(connection, id, &judgement.notes).await?;
    list::write(connection, id, &judgement.steps).await?;
    Line { serial, entry, judgement: judged.number, kind: "judgement" }.write(connection).await
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
    let rows =
        list::rows(connection, &select, "measurement_id", measurements, "measurement_id, number").await?;
    let mut sheets = Vec::<(Sheet, Row)>::new();
    for row in rows {
        let sheet = Sheet::read(&row)?;
        // In order: one of the same measurement is its predecessor.
        if which == Which::Latest
            && sheets.last().is_some_and(|(last, _)| last.measurement == sheet.measurement)
        {
            sheets.pop();
        }
        sheets.push((sheet, row));
    }
    let ids: Vec<i64> = sheets.iter().map(|(sheet, _)| sheet.id).collect();
    let mut segments = list::read(connection, &ids).await?;
    let mut isolation = list::read(connection, &ids).await?;
    let mut thermometers = list::read(connection, &ids).await?;
    let mut standards = list::read(connection, &ids).await?;
    let mut closures = list::read(connection, &ids).await?;
    let mut faults = list::read(connection, &ids).await?;
    let mut bench_faults = list::read(connection, &ids).await?;
    let mut notes = list::read(connection, &ids).await?;
    let mut steps = list::read(connection, &ids).await?;
    let mut judgements = HashMap::<i64, Vec<_>>::new();
    for (sheet, row) in sheets {
        let judgement = Judgement {
            program: sheet.program.clone(),
            limits: sheet.limits.clone(),
            air: sheet.air,
            proof: sheet.proof.clone(),
            verdict: sheet.verdict,
            bench_faults: bench_faults.remove(&sheet.id).unwrap_or_default(),
            segments: segments.remove(&sheet.id).unwrap_or_default(),
            isolation: isolation.remove(&sheet.id).unwrap_or_default(),
            thermometers: thermometers.remove(&sheet.id).unwrap_or_default(),
            standards: standards.remove(&sheet.id).unwrap_or_default(),
            closures: closures.remove(&sheet.id).unwrap_or_default(),
            faults: faults.remove(&sheet.id).unwrap_or_default(),
            notes: notes.remove(&sheet.id).unwrap_or_default(),
            steps: steps.remove(&sheet.id).unwrap_or_default(),
        };
        let as_written = super::seal(|| sheet.digest(&judgement.faults), row.try_get("digest")?)
            && super::seal(|| lists(&judgement), sheet.lists.clone());
        let judged = if as_written {
            let Sheet { measurement, number, made_us, .. } = sheet;
            Ok(Judged { measurement, number, made_us, judgement })
        } else {
            Err(sheet.altered())
        };
        judgements.entry(sheet.measurement).or_default().push(judged);
    }
    Ok(judgements)
}

/// The latest judgement of a measurement as lists of units show it.
pub(super) struct Glance {
    pub number: i64,
    pub verdict: Verdict,
    pub faults: Vec<UnitFault>,
}

/// The latest judgements of all measurements of some units, each under its measurement.
pub(super) async fn at_a_glance(
    connection: &mut Connection,
    units: Units<'_>,
) -> Result<HashMap<i64, Result<Glance, Altered>>, sqlx::Error> {
    const OF: &str = "measurement_id IN (SELECT measurement_id FROM measurement WHERE {units})";
    let columns = COLUMNS.join(", ");
    let rows =
        units.query(&format!("SELECT judgement_id, {columns} FROM judgement WHERE {OF} ORDER BY number"));
    let rows = rows.fetch_all(&mut *connection).await?;
    let columns = <UnitFault as super::rows::Line>::COLUMNS.join(", ");
    let lines = units.query(&format!(
        "SELECT judgement_id, {columns} FROM fault
         WHERE judgement_id IN (SELECT judgement_id FROM judgement WHERE {OF}) ORDER BY judgement_id, line"
    ));
    glances(&rows, list::gather(&lines.fetch_all(connection).await?)?)
}

/// The same of these measurements.
pub(super) async fn numbered_at_a_glance(
    connection: &mut Connection,
    measurements: &[i64],
) -> Result<HashMap<i64, Result<Glance, Altered>>, sqlx::Error> {
    let select = format!("SELECT judgement_id, {} FROM judgement", COLUMNS.join(", "));
    let rows =
        list::rows(connection, &select, "measurement_id", measurements, "measurement_id, number").await?;
    let ids = rows.iter().map(|row| row.try_get("judgement_id")).collect::<Result<Vec<i64>, _>>()?;
    let faults = list::read(connection, &ids).await?;
    glances(&rows, faults)
}

/// The last row of each measurement counts.
fn glances(
    rows: &[Row],
    mut faults: HashMap<i64, Vec<UnitFault>>,
) -> Result<HashMap<i64, Result<Glance, Altered>>, sqlx::Error> {
    let mut glances = HashMap::new();
    for row in rows {
        let sheet = Sheet::read(row)?;
        let faults = faults.remove(&sheet.id).unwrap_or_default();
        let as_written = super::seal(|| sheet.digest(&faults), row.try_get("digest")?);
        let Sheet { number, verdict, .. } = sheet;
        let glance = if as_written { Ok(Glance { number, verdict, faults }) } else { Err(sheet.altered()) };
        glances.insert(sheet.measurement, glance);
    }
    Ok(glances)
}
