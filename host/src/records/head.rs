//! A measurement's own row: everything about it but its codes.

use sqlx::Row as _;

use super::Error;
use super::database::{Connection, Row};
use super::digest::Digest;
use super::ledger::Units;
use super::list;
use super::raw::Unpacked;
use super::rows::{whole, word};
use super::value::Value;
use crate::measurement::{Basis, BedBasis, BenchWork, Manner, Measurement};
use crate::plan::Sampling;
use crate::proof::Proof;

/// A measurement without its codes, as its row has it.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Head {
    pub id: i64,
    pub serial: String,
    pub entry: i64,
    pub lot: Option<String>,
    pub manner: Manner,
    pub basis: Basis,
    pub sampling: Sampling,
    pub started_us: i64,
    pub repaired_us: Option<i64>,
    pub bench_name: String,
    /// Hash of the bench's latest proof.
    pub proof: Option<String>,
    pub work: BenchWork,
    /// What a hunt took for how often something is wrong, JSON; none where the table alone counted.
    pub rates: Option<String>,
    /// Wires fitted to the unit before it, JSON; none where there were none.
    pub wires: Option<String>,
    pub raw_hash: Vec<u8>,
}

const COLUMNS: [&str; 20] = [
    "measurement_id",
    "serial",
    "entry",
    "lot",
    "manner",
    "board_hash",
    "fixture_hash",
    "plan_hash",
    "sampling",
    "started_us",
    "repaired_us",
    "bench_name",
    "proof_hash",
    "shots",
    "closures",
    "device_us",
    "rates",
    "wires",
    "raw_hash",
    "digest",
];

/// Everything of a head, and the names that stand in its files' rows. Where a file is missing the names are empty, and
/// the digest shows it.
const SELECT: &str = "SELECT measurement_id, serial, entry, lot, manner, board.name AS board, board.revision AS revision,
       board_hash, fixture.name AS fixture, fixture_hash, plan_hash, sampling, started_us, repaired_us, bench_name,
       proof_hash, shots, closures, device_us, rates, wires, raw_hash, digest
     FROM measurement LEFT JOIN board USING (board_hash) LEFT JOIN fixture USING (fixture_hash)";

impl Head {
    fn values(&self) -> Vec<Value<'_>> {
        vec![
            self.id.into(),
            Value::from(&self.serial),
            self.entry.into(),
            self.lot.as_deref().into(),
            manner_word(self.manner).into(),
            Value::from(&self.basis.board_hash),
            self.basis.bed.as_ref().map(|bed| &bed.fixture_hash).into(),
            self.basis.bed.as_ref().map(|bed| &bed.plan_hash).into(),
            sampling_word(self.sampling).into(),
            self.started_us.into(),
            self.repaired_us.into(),
            Value::from(&self.bench_name),
            self.proof.as_deref().into(),
            self.work.shots.into(),
            self.work.closures.into(),
            Value::Whole(self.work.device_us as i64),
            self.rates.as_deref().into(),
            self.wires.as_deref().into(),
            Value::from(&self.raw_hash),
        ]
    }

    /// Over the row, and over the names of its files: those are not under the files' own hashes where they stand.
    fn digest(&self) -> Vec<u8> {
        let basis = &self.basis;
        let names = [&basis.board, &basis.revision].map(Value::from);
        let fixture = basis.bed.as_ref().map(|bed| &bed.fixture).into();
        Digest::of("measurement/1").values(self.values()).values(names).values([fixture]).finish()
    }

    pub async fn write(&self, connection: &mut Connection) -> Result<(), sqlx::Error> {
        let digest = self.digest();
        let mut values = self.values();
        values.push(Value::from(&digest));
        list::insert(connection, "measurement", &COLUMNS, &values).await.map(drop)
    }

    /// The head in a row, and whether it is as it was written.
    fn read(row: &Row) -> Result<(Self, bool), sqlx::Error> {
        let of_file = |column: &str| -> Result<String, sqlx::Error> {
            Ok(row.try_get::<Option<String>, _>(column)?.unwrap_or_default())
        };
        let head = Self {
            id: row.try_get("measurement_id")?,
            serial: row.try_get("serial")?,
            entry: row.try_get("entry")?,
            lot: row.try_get("lot")?,
            manner: word(row, "manner")?,
            basis: Basis {
                board: of_file("board")?,
                revision: of_file("revision")?,
                board_hash: row.try_get("board_hash")?,
                bed: match (row.try_get("fixture_hash")?, row.try_get("plan_hash")?) {
                    (Some(fixture_hash), Some(plan_hash)) => {
                        Some(BedBasis { fixture: of_file("fixture")?, fixture_hash, plan_hash })
                    }
                    _ => None,
                },
            },
            sampling: word(row, "sampling")?,
            started_us: row.try_get("started_us")?,
            repaired_us: row.try_get("repaired_us")?,
            bench_name: row.try_get("bench_name")?,
            proof: row.try_get("proof_hash")?,
            work: BenchWork {
                shots: whole(row, "shots")?,
                closures: whole(row, "closures")?,
                device_us: whole(row, "device_us")?,
            },
            rates: row.try_get("rates")?,
            wires: row.try_get("wires")?,
            raw_hash: row.try_get("raw_hash")?,
        };
        let as_written = super::seal(|| head.digest(), row.try_get("digest")?);
        Ok((head, as_written))
    }

    /// The measurement with its proof and what its raw readings are.
    pub fn measurement(self, proof: Option<Proof>, read: Unpacked) -> Measurement {
        Measurement {
            serial: self.serial,
            lot: self.lot,
            started_us: self.started_us,
            repaired_us: self.repaired_us,
            bench_name: self.bench_name,
            manner: self.manner,
            basis: self.basis,
            sampling: self.sampling,
            proof,
            // The digest holds the texts to what was written.
            rates: self.rates.and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default(),
            wires: self.wires.and_then(|text| serde_json::from_str(&text).ok()).unwrap_or_default(),
            runs: read.runs,
            by_hand: read.by_hand,
        }
    }
}

/// The heads of units, in the order of writing; each must be as it was written.
pub(super) async fn of_units(
    connection: &mut Connection,
    units: Units<'_>,
) -> Result<Result<Vec<Head>, Altered>, sqlx::Error> {
    let query = units.query(&format!("{SELECT} WHERE {{units}} ORDER BY measurement_id"));
    let rows = query.fetch_all(connection).await?;
    rows.iter().map(|row| Head::read(row).map(as_written)).collect()
}

/// The heads with these numbers, in the order of the numbers; those that are not there are left out.
pub(super) async fn numbered(
    connection: &mut Connection,
    ids: &[i64],
) -> Result<Vec<Result<Head, Altered>>, sqlx::Error> {
    let rows = list::rows(connection, SELECT, "measurement_id", ids, "measurement_id").await?;
    rows.iter().map(|row| Head::read(row).map(as_written)).collect()
}

fn as_written((head, as_written): (Head, bool)) -> Result<Head, Altered> {
    if as_written { Ok(head) } else { Err(Altered { sweep: head.id, what: "measurement" }) }
}

/// A row that does not fit its digest.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) struct Altered {
    pub sweep: i64,
    pub what: &'static str,
}

impl Altered {
    pub fn error(self, path: &std::path::Path) -> Error {
        Error::Altered { path: path.into(), what: format!("the {} of sweep {}", self.what, self.sweep) }
    }
}

fn manner_word(manner: Manner) -> &'static str {
    match manner {
        Manner::Sweep => "sweep",
        Manner::Hunt => "hunt",
        Manner::ByHand => "by_hand",
    }
}

fn sampling_word(sampling: Sampling) -> &'static str {
    match sampling {
        Sampling::Quick => "quick",
        Sampling::Full => "full",
    }
}
