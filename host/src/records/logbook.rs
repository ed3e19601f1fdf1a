//! What people write down about a unit: notes, repairs, sweeps declared void, where it stands in the work, photos (their
//! pictures are in `photo`) and answers to the checks of its board.

use std::collections::BTreeSet;

use sqlx::{Connection as _, Row as _};

use super::database::{BEGIN, Connection, Row};
use super::digest::Digest;
use super::ledger::{self, Line, Units};
use super::rows::{verdict_word, whole, word};
use super::status::Said;
use super::summary::{
    Event, Note, Photo, PhotoId, Repair, StartEntry, StatusSaid, SweepId, Tick, TradeEntry, Void, WatchEntry,
};
use super::value::Value;
use super::{Error, Store, list, text, trade, write};
use crate::quantity::{Amps, Volts};
use crate::remedy::Taken;

/// An entry's table: its columns besides `serial`, `entry`, `at_us` and `digest`.
pub(super) struct Table {
    name: &'static str,
    columns: &'static [&'static str],
}

const NOTE: Table = Table { name: "note", columns: &["text"] };
const REPAIR: Table = Table { name: "repair", columns: &["place", "action", "text", "taken"] };
const CORRECTION: Table = Table { name: "correction", columns: &["measurement_id", "because"] };
pub(super) const STATUS: Table = Table { name: "status", columns: &["status", "lot"] };
pub(super) const PHOTO: Table = Table {
    name: "photo",
    columns: &["photo_id", "caption", "width_px", "height_px", "length", "jpeg_hash"],
};
const TICK: Table = Table { name: "tick", columns: &["name", "done", "note"] };

const WATCH: Table = Table {
    name: "watch",
    columns: &[
        "segment",
        "state",
        "bench_name",
        "watched_ms",
        "dropouts",
        "longest_us",
        "steps",
        "noises",
        "verdict",
        "sheet",
    ],
};

/// Its columns and their values stand in [`super::trade`].
pub(super) const TRADE: Table = Table { name: "trade", columns: &trade::COLUMNS };
const START: Table = Table {
    name: "start",
    columns: &[
        "board_name",
        "revision",
        "supply_name",
        "golden",
        "volts",
        "steady_amps",
        "inrush_amps",
        "verdict",
        "because",
        "sheet",
    ],
};

const TABLES: [&Table; 9] = [&NOTE, &REPAIR, &CORRECTION, &STATUS, &PHOTO, &TICK, &WATCH, &TRADE, &START];

fn digest(table: &Table, serial: &str, entry: i64, at_us: i64, values: &[Value<'_>]) -> Vec<u8> {
    Digest::of(table.name)
        .values([serial.into(), entry.into(), at_us.into()])
        .values(values.iter().copied())
        .finish()
}

impl Store {
    /// Entries of which each is as it was written.
    pub(super) fn as_written(&self, entries: Vec<Result<Entry, Odd>>) -> Result<Vec<Entry>, Error> {
        entries.into_iter().map(|entry| entry.map_err(|odd| self.altered(odd.in_words()))).collect()
    }

    /// Receives units: from now on the records know them, and with `lot`, to which lot they belong. All of them, or
    /// none where one cannot be kept.
    ///
    /// # Errors
    /// A serial number or a lot that [`text`] refuses, and what [`Store::store`] says; nothing is put aside.
    pub async fn receive(&self, serials: &[String], lot: Option<&str>, at_us: i64) -> Result<(), Error> {
        let serials =
            serials.iter().map(|serial| text::serial(serial)).collect::<Result<BTreeSet<_>, _>>()?;
        let lot = lot.map(text::lot).transpose()?;
        let mut connection = self.writing().await?;
        let write = async {
            let mut transaction = connection.begin_with(BEGIN).await?;
            for serial in &serials {
                write::belongs(&mut transaction, serial, lot.as_deref()).await?;
                let values = [said_word(Said::Received).into(), lot.as_deref().into()];
                enter(&mut transaction, &STATUS, serial, at_us, &values).await?;
            }
            transaction.commit().await
        };
        match write.await {
            Ok(()) => Ok(()),
            Err(error) => Err(self.after_failed_write(connection, &error).await),
        }
    }

    /// Keeps where a unit that the records know stands in the work.
    ///
    /// # Errors
    /// Like [`Store::note`].
    pub async fn set_status(&self, serial: &str, at_us: i64, said: Said) -> Result<(), Error> {
        self.log(&STATUS, serial, at_us, &[said_word(said).into(), Value::Empty]).await
    }

    /// Keeps the answer to a check, and more about it (may be empty). That the check is one of the unit's board is for
    /// the caller to see to, as in [`Store::repair`].
    ///
    /// # Errors
    /// Like [`Store::note`].
    pub async fn tick(
        &self,
        serial: &str,
        at_us: i64,
        check: &str,
        done: bool,
        note: &str,
    ) -> Result<(), Error> {
        text::line("check", check, text::NAME_CHARACTERS)?;
        if !note.is_empty() {
            text::line("note", note, text::CAPTION_CHARACTERS)?;
        }
        self.log(&TICK, serial, at_us, &[check.into(), done.into(), note.into()]).await
    }

    /// Keeps what a segment of a unit that the records know did while it was watched.
    ///
    /// # Errors
    /// Like [`Store::note`].
    pub async fn keep_watch(&self, serial: &str, watch: &WatchEntry) -> Result<(), Error> {
        self.log(&WATCH, serial, watch.at_us, &watch_values(watch)).await
    }

    /// Keeps the first power of a unit that the records know.
    ///
    /// # Errors
    /// Like [`Store::note`].
    pub async fn keep_start(&self, serial: &str, start: &StartEntry) -> Result<(), Error> {
        self.log(&START, serial, start.at_us, &start_values(start)).await
    }

    /// Units of a board of which a first power is marked as that of a golden unit, in the order of their serial numbers.
    ///
    /// # Errors
    /// A store that cannot be read.
    pub async fn golden_starts(&self, board: &str, revision: &str) -> Result<Vec<String>, Error> {
        let mut connection = self.reading().await?;
        let sql = "SELECT DISTINCT serial FROM start WHERE board_name = $1 AND revision = $2 AND golden ORDER BY serial";
        let serials = sqlx::query_scalar(sql).bind(board).bind(revision).fetch_all(&mut *connection).await;
        serials.map_err(|error| self.said(&error))
    }

    /// Keeps an operator's note on a unit that the records know.
    ///
    /// # Errors
    /// An unknown serial number, an empty or overlong text, and what [`Store::store`] says.
    pub async fn note(&self, serial: &str, at_us: i64, text: &str) -> Result<(), Error> {
        text::words("note", text)?;
        self.log(&NOTE, serial, at_us, &[text.into()]).await
    }

    /// Keeps a repair of a unit that the records know: at which segment, point or `point~point`, what was done, and
    /// more about it (may be empty). That the place is one of the unit's board is for the caller to see to, with
    /// [`super::UnitHistory`] and [`Store::files`].
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
        self.log(&REPAIR, serial, at_us, &[place.into(), action.into(), text.into(), Value::Empty]).await
    }

    /// Keeps a repair that was proposed, with what was proposed, and more about it (may be empty).
    ///
    /// # Errors
    /// Like [`Store::note`].
    pub async fn take(&self, serial: &str, at_us: i64, taken: &Taken, text: &str) -> Result<(), Error> {
        if !text.is_empty() {
            text::words("text of the repair", text)?;
        }
        let written = self.in_json("the proposal", taken)?;
        let values =
            [taken.place.as_str().into(), taken.method.word().into(), text.into(), (&written).into()];
        self.log(&REPAIR, serial, at_us, &values).await
    }

    /// Declares a sweep void: it stays, and counts as void from now on.
    ///
    /// # Errors
    /// A sweep that is not this unit's or is declared void already; and like [`Store::note`].
    pub async fn void(&self, serial: &str, id: SweepId, at_us: i64, because: &str) -> Result<(), Error> {
        text::words("reason", because)?;
        let history = self.unit(serial).await?;
        let Some(sweep) = history.sweeps().find(|sweep| sweep.id == id) else {
            let known = history.sweeps().map(|sweep| sweep.id).collect();
            return Err(Error::NotOfUnit { path: self.path.clone(), serial: serial.into(), id, known });
        };
        if let Some(void) = &sweep.voided {
            return Err(Error::AlreadyVoid { id, because: void.because.clone() });
        }
        self.log(&CORRECTION, serial, at_us, &[id.0.into(), because.into()]).await
    }

    async fn log(&self, table: &Table, serial: &str, at_us: i64, values: &[Value<'_>]) -> Result<(), Error> {
        let mut connection = self.writing().await?;
        let write = async {
            let mut transaction = connection.begin_with(BEGIN).await?;
            if !is_known(&mut transaction, serial).await? {
                return Ok(false);
            }
            enter(&mut transaction, table, serial, at_us, values).await?;
            transaction.commit().await?;
            Ok(true)
        };
        match write.await {
            Ok(true) => Ok(()),
            Ok(false) => Err(self.unknown_unit(serial).await),
            Err(error) => Err(self.after_failed_write(connection, &error).await),
        }
    }
}

/// Do the records know this unit?
pub(super) async fn is_known(connection: &mut Connection, serial: &str) -> Result<bool, sqlx::Error> {
    let known = sqlx::query_scalar("SELECT 1 FROM unit WHERE serial = $1").bind(serial);
    let known: Option<i64> = known.fetch_optional(connection).await?;
    Ok(known.is_some())
}

/// Writes an entry, and its line in the ledger, within a transaction of the caller's.
pub(super) async fn enter(
    connection: &mut Connection,
    table: &Table,
    serial: &str,
    at_us: i64,
    values: &[Value<'_>],
) -> Result<(), sqlx::Error> {
    let entry = ledger::next(connection, serial).await?;
    let digest = digest(table, serial, entry, at_us, values);
    let columns = [&["serial", "entry", "at_us"], table.columns, &["digest"]].concat();
    let head = [serial.into(), entry.into(), at_us.into()];
    let values = [&head, values, &[Value::from(&digest)]].concat();
    list::insert(connection, table.name, &columns, &values).await?;
    Line { serial, entry, judgement: 0, kind: table.name }.write(connection).await
}

fn watch_values(watch: &WatchEntry) -> [Value<'_>; 10] {
    let count = |number: u64| Value::Whole(i64::try_from(number).unwrap_or(i64::MAX));
    [
        Value::from(&watch.segment),
        Value::from(&watch.state),
        Value::from(&watch.bench_name),
        count(watch.watched_ms),
        count(watch.dropouts),
        count(watch.longest_us),
        count(watch.steps),
        count(watch.noises),
        verdict_word(watch.verdict).into(),
        Value::from(&watch.sheet),
    ]
}

fn start_values(start: &StartEntry) -> [Value<'_>; 10] {
    [
        Value::from(&start.board),
        Value::from(&start.revision),
        Value::from(&start.supply),
        start.golden.into(),
        start.voltage.into(),
        start.steady.into(),
        start.inrush.into(),
        verdict_word(start.verdict).into(),
        Value::from(&start.because),
        Value::from(&start.sheet),
    ]
}

pub(super) fn said_word(said: Said) -> &'static str {
    match said {
        Said::Received => "received",
        Said::InRepair => "in_repair",
        Said::Scrapped => "scrapped",
        Said::Sold => "sold",
    }
}

/// An entry of a unit's history, as it was written.
pub(super) struct Entry {
    pub serial: String,
    pub entry: i64,
    /// Name of its table.
    pub kind: &'static str,
    pub event: Event,
}

/// An entry that does not fit its digest.
pub(super) struct Odd {
    pub serial: String,
    /// Name of its table.
    kind: &'static str,
}

impl Odd {
    pub fn in_words(&self) -> String {
        format!("a {} of unit {:?}", self.kind, self.serial)
    }
}

/// Everything people wrote down about some units.
pub(super) async fn of_units(
    connection: &mut Connection,
    units: Units<'_>,
) -> Result<Vec<Result<Entry, Odd>>, sqlx::Error> {
    let mut entries = Vec::new();
    for table in TABLES {
        let sql = format!("{} WHERE {{units}} ORDER BY serial, entry", select(table));
        for row in units.query(&sql).fetch_all(&mut *connection).await? {
            entries.push(entry(table, &row)?);
        }
    }
    Ok(entries)
}

/// The row of a photo.
pub(super) async fn photo(
    connection: &mut Connection,
    id: PhotoId,
) -> Result<Option<Result<Entry, Odd>>, sqlx::Error> {
    let row = list::query(format!("{} WHERE photo_id = $1", select(&PHOTO))).bind(id.0);
    row.fetch_optional(connection).await?.map(|row| entry(&PHOTO, &row)).transpose()
}

fn select(table: &Table) -> String {
    format!("SELECT serial, entry, at_us, {}, digest FROM {}", table.columns.join(", "), table.name)
}

fn entry(table: &Table, row: &Row) -> Result<Result<Entry, Odd>, sqlx::Error> {
    let serial: String = row.try_get("serial")?;
    Ok(match event(table, &serial, row)? {
        Some((entry, event)) => Ok(Entry { serial, entry, kind: table.name, event }),
        None => Err(Odd { serial, kind: table.name }),
    })
}

/// An entry with its place; `None` when it does not fit its digest.
fn event(table: &Table, serial: &str, row: &Row) -> Result<Option<(i64, Event)>, sqlx::Error> {
    let (entry, at_us) = (row.try_get("entry")?, row.try_get("at_us")?);
    let text = |column: &str| row.try_get::<String, _>(column);
    let written: Option<String> = if table.name == REPAIR.name { row.try_get("taken")? } else { None };
    let Ok(taken) = written.as_deref().map(serde_json::from_str::<Taken>).transpose() else {
        return Ok(None);
    };
    let event = match table.name {
        "note" => Event::Note(Note { at_us, text: text("text")? }),
        "repair" => Event::Repair(Repair {
            at_us,
            place: text("place")?,
            action: text("action")?,
            text: text("text")?,
            taken,
        }),
        "status" => {
            Event::Status(StatusSaid { at_us, status: word(row, "status")?, lot: row.try_get("lot")? })
        }
        "photo" => Event::Photo(Photo {
            at_us,
            id: PhotoId(row.try_get("photo_id")?),
            caption: text("caption")?,
            width_px: whole(row, "width_px")?,
            height_px: whole(row, "height_px")?,
            length: whole(row, "length")?,
            jpeg_hash: text("jpeg_hash")?,
        }),
        "tick" => {
            Event::Tick(Tick { at_us, check: text("name")?, done: row.try_get("done")?, note: text("note")? })
        }
        "watch" => Event::Watch(WatchEntry {
            at_us,
            segment: text("segment")?,
            state: text("state")?,
            bench_name: text("bench_name")?,
            watched_ms: whole(row, "watched_ms")?,
            dropouts: whole(row, "dropouts")?,
            longest_us: whole(row, "longest_us")?,
            steps: whole(row, "steps")?,
            noises: whole(row, "noises")?,
            verdict: word(row, "verdict")?,
            sheet: text("sheet")?,
        }),
        "trade" => Event::Trade(TradeEntry { at_us, dealing: trade::dealing(row)? }),
        "start" => Event::Started(StartEntry {
            at_us,
            board: text("board_name")?,
            revision: text("revision")?,
            supply: text("supply_name")?,
            golden: row.try_get("golden")?,
            voltage: Volts(row.try_get("volts")?),
            steady: row.try_get::<Option<f64>, _>("steady_amps")?.map(Amps),
            inrush: row.try_get::<Option<f64>, _>("inrush_amps")?.map(Amps),
            verdict: word(row, "verdict")?,
            because: text("because")?,
            sheet: text("sheet")?,
        }),
        _ => Event::Void(Void {
            at_us,
            sweep: SweepId(row.try_get("measurement_id")?),
            because: text("because")?,
        }),
    };
    let cells = match &event {
        Event::Trade(entry) => Some(trade::Cells::of(&entry.dealing)),
        _ => None,
    };
    let values = match &event {
        Event::Note(note) => vec![Value::from(&note.text)],
        Event::Repair(repair) => {
            let words = [&repair.place, &repair.action, &repair.text].map(Value::from);
            [words.as_slice(), &[written.as_deref().into()]].concat()
        }
        Event::Void(void) => vec![void.sweep.0.into(), Value::from(&void.because)],
        Event::Status(said) => vec![said_word(said.status).into(), said.lot.as_deref().into()],
        Event::Photo(photo) => vec![
            photo.id.0.into(),
            Value::from(&photo.caption),
            photo.width_px.into(),
            photo.height_px.into(),
            photo.length.into(),
            Value::from(&photo.jpeg_hash),
        ],
        Event::Tick(tick) => vec![Value::from(&tick.check), tick.done.into(), Value::from(&tick.note)],
        Event::Watch(watch) => watch_values(watch).to_vec(),
        Event::Trade(_) => cells.iter().flat_map(trade::Cells::values).collect(),
        Event::Started(start) => start_values(start).to_vec(),
        Event::Sweep(_) => Vec::new(),
    };
    let as_written = super::seal(|| digest(table, serial, entry, at_us, &values), row.try_get("digest")?);
    Ok(as_written.then_some((entry, event)))
}
