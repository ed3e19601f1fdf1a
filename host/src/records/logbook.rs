//! What people write down about a unit: notes, repairs, and sweeps declared void. One statement each.

use sqlx::{Connection as _, Row as _};

use super::database::{BEGIN, Connection, Row};
use super::digest::Digest;
use super::ledger::{self, Line, Units};
use super::summary::{Event, Note, Repair, SweepId, Void};
use super::value::Value;
use super::{Error, Store, list, text};

/// An entry's table: its columns besides `serial`, `entry`, `at_us` and `digest`.
struct Table {
    name: &'static str,
    columns: &'static [&'static str],
}

const NOTE: Table = Table { name: "note", columns: &["text"] };
const REPAIR: Table = Table { name: "repair", columns: &["place", "action", "text"] };
const CORRECTION: Table = Table { name: "correction", columns: &["measurement_id", "because"] };

fn digest(table: &Table, serial: &str, entry: i64, at_us: i64, values: &[Value<'_>]) -> Vec<u8> {
    Digest::of(table.name)
        .values([serial.into(), entry.into(), at_us.into()])
        .values(values.iter().copied())
        .finish()
}

impl Store {
    /// Entries of which each is as it was written.
    pub(super) fn as_written(&self, entries: Vec<Result<Entry, Odd>>) -> Result<Vec<Entry>, Error> {
        let altered = |odd: Odd| Error::Altered { path: self.path.clone(), what: odd.in_words() };
        entries.into_iter().map(|entry| entry.map_err(altered)).collect()
    }

    /// Keeps an operator's note on a unit that has been swept.
    ///
    /// # Errors
    /// An unknown serial number, an empty or overlong text, and what [`Store::store`] says.
    pub async fn note(&self, serial: &str, at_us: i64, text: &str) -> Result<(), Error> {
        text::words("note", text)?;
        self.log(&NOTE, serial, at_us, &[text.into()]).await
    }

    /// Keeps a repair of a unit that has been swept: at which segment, point or `point~point`, what was done, and
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
        self.log(&REPAIR, serial, at_us, &[place.into(), action.into(), text.into()]).await
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
            let known: Option<i64> = sqlx::query_scalar("SELECT 1 FROM unit WHERE serial = $1")
                .bind(serial)
                .fetch_optional(&mut *transaction)
                .await?;
            if known.is_none() {
                return Ok(false);
            }
            let entry = ledger::next(&mut transaction, serial).await?;
            let digest = digest(table, serial, entry, at_us, values);
            let columns = [&["serial", "entry", "at_us"], table.columns, &["digest"]].concat();
            let head = [serial.into(), entry.into(), at_us.into()];
            let values = [&head, values, &[Value::from(&digest)]].concat();
            list::insert(&mut transaction, table.name, &columns, &values).await?;
            Line { serial, entry, judgement: 0, kind: table.name }.write(&mut transaction).await?;
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
    for table in [&NOTE, &REPAIR, &CORRECTION] {
        let sql = format!(
            "SELECT serial, entry, at_us, {}, digest FROM {} WHERE {{units}} ORDER BY serial, entry",
            table.columns.join(", "),
            table.name
        );
        for row in units.query(&sql).fetch_all(&mut *connection).await? {
            let serial: String = row.try_get("serial")?;
            entries.push(match event(table, &serial, &row)? {
                Some((entry, event)) => Ok(Entry { serial, entry, kind: table.name, event }),
                None => Err(Odd { serial, kind: table.name }),
            });
        }
    }
    Ok(entries)
}

/// An entry with its place; `None` when it does not fit its digest.
fn event(table: &Table, serial: &str, row: &Row) -> Result<Option<(i64, Event)>, sqlx::Error> {
    let (entry, at_us) = (row.try_get("entry")?, row.try_get("at_us")?);
    let text = |column: &str| row.try_get::<String, _>(column);
    let event = match table.name {
        "note" => Event::Note(Note { at_us, text: text("text")? }),
        "repair" => Event::Repair(Repair {
            at_us,
            place: text("place")?,
            action: text("action")?,
            text: text("text")?,
        }),
        _ => Event::Void(Void {
            at_us,
            sweep: SweepId(row.try_get("measurement_id")?),
            because: text("because")?,
        }),
    };
    let values = match &event {
        Event::Note(note) => vec![Value::from(&note.text)],
        Event::Repair(repair) => [&repair.place, &repair.action, &repair.text].map(Value::from).to_vec(),
        Event::Void(void) => vec![void.sweep.0.into(), Value::from(&void.because)],
        Event::Sweep(_) => Vec::new(),
    };
    let as_written = super::seal(|| digest(table, serial, entry, at_us, &values), row.try_get("digest")?);
    Ok(as_written.then_some((entry, event)))
}
