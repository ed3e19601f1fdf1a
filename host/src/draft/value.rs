//! Values between TOML and JSON, and how a table takes a changed value without losing what stands around it.

use serde_json::{Number, Value};
use toml_edit::{Array, InlineTable, Item, TableLike, Value as Toml};

use super::{DraftError, Keys};

/// How deep lists may lie in lists. An outline is two deep.
const DEEPEST: usize = 6;

/// Keys in the order in which a person writes them; any other comes behind them.
const ORDER: [&str; 39] = [
    "name",
    "revision",
    "thickness",
    "copper",
    "outline",
    "from",
    "kind",
    "to",
    "return",
    "voltage",
    "load",
    "max_drop",
    "bulk",
    "source",
    "brown_out",
    "at",
    "side",
    "polygon",
    "height",
    "why",
    "board",
    "limits",
    "force",
    "sense",
    "off",
    "between",
    "state",
    "closed",
    "length",
    "width",
    "layer",
    "count",
    "drill",
    "plating",
    "rating",
    "hold",
    "value",
    "awg",
    "typical",
];

/// A value as JSON. What JSON does not have (days, infinities) is a text.
pub(super) fn to_json(item: &Item) -> Value {
    match item {
        Item::None => Value::Null,
        Item::Value(value) => value_to_json(value),
        Item::Table(table) => Value::Object(keys(table)),
        Item::ArrayOfTables(tables) => tables.iter().map(|table| Value::Object(keys(table))).collect(),
    }
}

fn value_to_json(value: &Toml) -> Value {
    match value {
        Toml::String(text) => Value::from(text.value().as_str()),
        Toml::Integer(number) => Value::from(*number.value()),
        Toml::Float(number) => {
            Number::from_f64(*number.value()).map_or_else(|| number.value().to_string().into(), Value::Number)
        }
        Toml::Boolean(truth) => Value::from(*truth.value()),
        Toml::Datetime(time) => Value::from(time.value().to_string()),
        Toml::Array(values) => values.iter().map(value_to_json).collect(),
        Toml::InlineTable(table) => Value::Object(keys(table)),
    }
}

/// All keys of a table.
pub(super) fn keys(table: &dyn TableLike) -> Keys {
    table.iter().map(|(key, item)| (key.to_owned(), to_json(item))).collect()
}

/// A value for a file.
pub(super) fn to_toml(key: &str, value: &Value) -> Result<Toml, DraftError> {
    of_json(value, DEEPEST).ok_or_else(|| DraftError::NoValue { key: key.to_owned() })
}

fn of_json(value: &Value, deep: usize) -> Option<Toml> {
    let deeper = deep.checked_sub(1)?;
    Some(match value {
        Value::Null => return None,
        Value::Bool(truth) => Toml::from(*truth),
        Value::Number(number) => match number.as_i64() {
            Some(whole) => Toml::from(whole),
            None => Toml::from(number.as_f64()?),
        },
        Value::String(text) => Toml::from(text.as_str()),
        Value::Array(values) => {
            let values: Vec<Toml> =
                values.iter().map(|value| of_json(value, deeper)).collect::<Option<_>>()?;
            Toml::Array(values.into_iter().collect::<Array>())
        }
        Value::Object(keys) => {
            let mut table = InlineTable::new();
            for (key, value) in ordered(keys) {
                table.insert(key, of_json(value, deeper)?);
            }
            Toml::InlineTable(table)
        }
    })
}

/// Keys as a person would order them.
fn ordered(keys: &Keys) -> Vec<(&String, &Value)> {
    let mut all: Vec<_> = keys.iter().collect();
    // `kind` of a segment stands behind its name and before its ends, that of a point behind its side.
    let is_point = keys.contains_key("at");
    let place = |key: &str| match key {
        "kind" if is_point => ORDER.len(),
        "kind" => 1,
        _ => ORDER
            .iter()
            .position(|known| *known == key)
            .map_or(ORDER.len(), |at| at + 2 * usize::from(at > 0)),
    };
    all.sort_by_key(|(key, _)| place(key));
    all
}

/// Are they the same? Whole numbers and others of one value are.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Number(a), Value::Number(b)) => a.as_f64() == b.as_f64(),
        (Value::Array(a), Value::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b)),
        (Value::Object(a), Value::Object(b)) => {
            a.len() == b.len() && a.iter().all(|(key, a)| b.get(key).is_some_and(|b| same(a, b)))
        }
        (a, b) => a == b,
    }
}

/// Makes a table hold these keys: what is the same stays as it is written, with its comments; what is gone goes.
pub(super) fn update(table: &mut dyn TableLike, wanted: &Keys) -> Result<(), DraftError> {
    let gone: Vec<String> =
        table.iter().map(|(key, _)| key.to_owned()).filter(|key| !wanted.contains_key(key)).collect();
    for key in gone {
        table.remove(&key);
    }
    for (key, value) in ordered(wanted) {
        set(table, key, value)?;
    }
    Ok(())
}

/// Makes a table hold this value under this key.
pub(super) fn set(table: &mut dyn TableLike, key: &str, value: &Value) -> Result<(), DraftError> {
    match table.get_mut(key) {
        Some(item) if same(&to_json(item), value) => {}
        Some(item) => {
            let mut new = to_toml(key, value)?;
            if let Some(old) = item.as_value() {
                *new.decor_mut() = old.decor().clone();
            }
            *item = Item::Value(new);
        }
        None => {
            table.insert(key, Item::Value(to_toml(key, value)?));
        }
    }
    Ok(())
}
