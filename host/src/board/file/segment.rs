//! A `[[segment]]` of a board file: the keys each kind has, what it is expected to read, and whether its
//! stated limits make sense of that.

use super::{ISOLATION_MOST, Names, Placed, PointDraft, pour};
use crate::board::assumed::{self, Assumed};
use crate::board::expected::{Laminate, expected, inductance};
use crate::board::{Expected, Layer, PointId, SegmentKind, StateId, parts};
use crate::document::{Item, Table, Told};
use crate::quantity::{Amps, Henries, Ohms, Unit, Volts, clip, engineering};

/// An open switch insulates at least this well unless the file says otherwise.
const OPEN_MIN: Ohms = Ohms(100e3);
/// Stated resistances lie between these: the meter's ranges for segments.
const STATED: [Ohms; 2] = [Ohms(1e-6), Ohms(1e3)];
/// Stated inductances lie between these: the load source is stable up to 10 mH in series.
const INDUCTANCE: [Henries; 2] = [Henries(1e-9), Henries(10e-3)];
/// Stated forward voltages lie between these. A milliampere is driven through at most 1.3 V above the bias node.
const FORWARD: [Volts; 2] = [Volts(50e-3), Volts(1.2)];
/// Stated reverse currents lie between these: less is lost in the converter's offset, more is no blocking at a milliampere.
const REVERSE: [Amps; 2] = [Amps(20e-6), Amps(500e-6)];

/// A segment as far as it could be read.
pub(in crate::board) struct SegmentDraft {
    pub name: Result<Placed<String>, Told>,
    pub kind: Result<SegmentKind, Told>,
    pub ends: Result<[PointId; 2], Told>,
    pub closed: Result<Option<Vec<StateId>>, Told>,
    pub expected: Result<Expected, Told>,
    pub min: Result<Option<Ohms>, Told>,
    pub max: Result<Option<Ohms>, Told>,
    pub open_min: Result<Option<Ohms>, Told>,
    pub inductance: Result<Henries, Told>,
    pub assumed: Vec<Assumed>,
}

/// What a segment is read beside.
pub(super) struct Around<'a> {
    pub names: &'a Names<'a>,
    pub points: &'a [PointDraft],
    pub laminate: Result<Laminate, Told>,
    /// What of the board is assumed.
    pub assumed: &'a [Assumed],
}

/// Kinds by their words.
#[derive(Clone, Copy, PartialEq)]
enum Word {
    Trace,
    Pour,
    Via,
    Joint,
    Fuse,
    Resettable,
    Ferrite,
    Inductor,
    Shunt,
    Switch,
    Connector,
    Wire,
    Diode,
    Transistor,
}

/// Each kind's word and the keys it has besides [`COMMON_KEYS`].
const KINDS: [(&str, Word, &[&str]); 14] = [
    ("trace", Word::Trace, &["length", "width", "layer", "route"]),
    ("pour", Word::Pour, &["outline", "holes", "layer", "from_pad", "to_pad"]),
    ("via", Word::Via, &["count", "drill", "plating"]),
    ("joint", Word::Joint, &[]),
    ("fuse", Word::Fuse, &["rating"]),
    ("resettable", Word::Resettable, &["hold"]),
    ("ferrite", Word::Ferrite, &["inductance"]),
    ("inductor", Word::Inductor, &["inductance"]),
    ("shunt", Word::Shunt, &["value"]),
    ("switch", Word::Switch, &["closed", "open_min"]),
    ("connector", Word::Connector, &[]),
    ("wire", Word::Wire, &["length", "awg", "inductance"]),
    ("diode", Word::Diode, &["max_forward", "max_reverse"]),
    ("transistor", Word::Transistor, &["max_reverse"]),
];

const COMMON_KEYS: [&str; 7] = ["name", "kind", "from", "to", "typical", "min", "max"];

/// Reads one segment.
///
/// # Errors
/// It is not even a table.
pub(super) fn read(item: &Item<'_>, around: &Around<'_>) -> Result<SegmentDraft, Told> {
    let Around { names, points, laminate, assumed } = *around;
    let untitled = item.table("a segment", "write it as [[segment]]")?;
    let name = untitled.must("name", r#"name = "tail trace""#).and_then(|item| {
        let value = item.name()?.to_owned();
        Ok(Placed { value, span: item.span })
    });
    let title = name.as_ref().map_or("a segment".into(), |name| format!("segment `{}`", clip(&name.value)));
    let table = item.table(title, "write it as [[segment]]")?;

    let words = KINDS.map(|(name, word, _)| (name, word));
    let word = table.must("kind", r#"kind = "trace""#).and_then(|item| item.choice(&words));
    // Of a kind that is not known, a key is wrong that no kind has.
    let own = KINDS.iter().filter(|(_, kind, _)| word.is_err() || word == Ok(*kind));
    // A diode's limit is in volts.
    let common = if word == Ok(Word::Diode) { &COMMON_KEYS[..4] } else { &COMMON_KEYS };
    table.only(&own.fold(common.to_vec(), |known, (_, _, keys)| [&known, *keys].concat()));
    let end = |key, example| table.must(key, example).and_then(|item| names.point(&item));
    let (from, to) = (end("from", r#"from = "cell+""#), end("to", r#"to = "via.a""#));
    let ends = from.and_then(|from| Ok([from, to?]));
    let places = ends.and_then(|[from, to]| Ok([place(points, from)?, place(points, to)?]));
    let kind = word.and_then(|word| read_kind(word, &table, places));
    let typical = table.item("typical").map(|item| stated(&item)).transpose();
    let mut assumed = assumed.to_vec();
    if word == Ok(Word::Via) && table.item("plating").is_none() {
        assumed.push(Assumed::Plating);
    }
    // What is stated is not derived from what is assumed.
    let widens = if matches!(typical, Ok(None)) { assumed.as_slice() } else { &[] };
    let expected = expect(&kind, laminate, typical, widens);
    let is_switch = word == Ok(Word::Switch);
    Ok(SegmentDraft {
        name,
        ends,
        closed: if is_switch { closed(&table, names).map(Some) } else { word.map(|_| None) },
        open_min: if is_switch { open_min(&table).map(Some) } else { word.map(|_| None) },
        min: min(&table, &expected),
        max: max(&table, &kind, &expected),
        inductance: match (&kind, table.item("inductance")) {
            (Ok(_), Some(item)) => item.henries(INDUCTANCE[0], INDUCTANCE[1]),
            (kind, _) => kind.as_ref().map(inductance).map_err(|told| *told),
        },
        kind,
        expected,
        assumed,
    })
}

#[allow(clippy::indexing_slicing)] // ids are handed out for the points of the file
fn place(points: &[PointDraft], id: PointId) -> Result<[f64; 2], Told> {
    points[id.index()].point.as_ref().map(|point| point.at).map_err(|told| *told)
}

fn stated(item: &Item<'_>) -> Result<Ohms, Told> {
    item.ohms(STATED[0], STATED[1])
}

fn expect(
    kind: &Result<SegmentKind, Told>,
    laminate: Result<Laminate, Told>,
    typical: Result<Option<Ohms>, Told>,
    assumed: &[Assumed],
) -> Result<Expected, Told> {
    let kind = kind.as_ref().map_err(|told| *told)?;
    Ok(assumed::widened(expected(kind, laminate?, typical?), kind, assumed))
}

/// `places` is where the ends lie.
fn read_kind(
    word: Word,
    table: &Table<'_>,
    places: Result<[[f64; 2]; 2], Told>,
) -> Result<SegmentKind, Told> {
    let length = || {
        let item = table.must("length", r#"length = "18 mm""#)?;
        item.quantity(Unit::Millimetre, 0.01, 5000.0)
    };
    let max_reverse =
        || table.item("max_reverse").map_or(Ok(parts::MAX_REVERSE), |item| item.amps(REVERSE[0], REVERSE[1]));
    let amps = |key| table.item(key).map(|item| item.amps(Amps(1e-3), Amps(100.0))).transpose();
    Ok(match word {
        Word::Trace => {
            let length_mm = length();
            let width = table.must("width", r#"width = "1.2 mm""#);
            let width_mm = width.and_then(|item| item.quantity(Unit::Millimetre, 0.02, 1000.0));
            let layer = layer(table);
            route(table)?;
            SegmentKind::Trace { length_mm: length_mm?, width_mm: width_mm?, layer: layer? }
        }
        Word::Pour => pour::read(table, places)?,
        Word::Via => barrels(table)?,
        Word::Wire => {
            let length_mm = length();
            let awg = table.must("awg", "awg = 26").and_then(|item| item.whole(0, 60));
            SegmentKind::Wire { length_mm: length_mm?, awg: awg? }
        }
        Word::Shunt => {
            let value = table.must("value", r#"value = "50 mohm""#)?;
            SegmentKind::Shunt { resistance: value.ohms(Ohms(1e-5), Ohms(100.0))? }
        }
        Word::Fuse => SegmentKind::Fuse { rating: amps("rating")? },
        Word::Resettable => SegmentKind::Resettable { hold: amps("hold")? },
        Word::Joint => SegmentKind::Joint,
        Word::Ferrite => SegmentKind::Ferrite,
        Word::Inductor => SegmentKind::Inductor,
        Word::Switch => SegmentKind::Switch,
        Word::Connector => SegmentKind::Connector,
        Word::Diode => {
            let max_forward = table.must("max_forward", r#"max_forward = "0.45 V""#);
            let max_forward = max_forward.and_then(|item| item.volts(FORWARD[0], FORWARD[1]));
            let max_reverse = max_reverse();
            SegmentKind::Diode { max_forward: max_forward?, max_reverse: max_reverse? }
        }
        Word::Transistor => SegmentKind::Transistor { max_reverse: max_reverse()? },
    })
}

/// The layer that copper lies on.
pub(super) fn layer(table: &Table<'_>) -> Result<Layer, Told> {
    let layers = [("outer", Layer::Outer), ("inner", Layer::Inner)];
    table.item("layer").map_or(Ok(Layer::default()), |item| item.choice(&layers))
}

/// The corners that copper goes round, for the page that draws it. Nothing is computed of them: `length` is what counts.
fn route(table: &Table<'_>) -> Result<(), Told> {
    const MOST_CORNERS: usize = 500;
    let Some(item) = table.item("route") else { return Ok(()) };
    let help = "write the corners between both ends in order, such as [[12.0, 8.5], [20.0, 8.5]]";
    let corners = item.list(help)?;
    if corners.len() > MOST_CORNERS {
        let message = format!("{} corners are more than a run of copper has", corners.len());
        return Err(item.refuse(message, format!("at most {MOST_CORNERS}")));
    }
    corners.iter().try_for_each(|corner| corner.place(help).map(drop))
}

fn barrels(table: &Table<'_>) -> Result<SegmentKind, Told> {
    let count = table.item("count").map_or(Ok(1), |item| item.whole(1, 100));
    let drill = table
        .must("drill", r#"drill = "0.3 mm""#)
        .and_then(|item| item.quantity(Unit::Millimetre, 0.05, 10.0));
    let plating = table.item("plating").map_or(Ok(assumed::PLATING_UM), |item| {
        let plating_um = item.quantity(Unit::Micrometre, 1.0, 200.0)?;
        match drill {
            Ok(drill_mm) if plating_um * 2e-3 >= drill_mm => Err(item.refuse(
                format!("plating of {plating_um} µm fills a hole of {drill_mm} mm"),
                "the plating grows inwards from the drilled wall: less than half the drill",
            )),
            _ => Ok(plating_um),
        }
    });
    Ok(SegmentKind::Via { count: count?, drill_mm: drill?, plating_um: plating? })
}

fn closed(table: &Table<'_>, names: &Names<'_>) -> Result<Vec<StateId>, Told> {
    let help = r#"closed = ["on"], the states it conducts in"#;
    let item = table.must("closed", help)?;
    let states: Vec<_> = item.list(help)?.iter().map(|item| names.state(item)).collect();
    if states.is_empty() {
        return Err(item.refuse(format!("{} never closes", table.title), help));
    }
    states.into_iter().collect()
}

fn open_min(table: &Table<'_>) -> Result<Ohms, Told> {
    table.item("open_min").map_or(Ok(OPEN_MIN), |item| item.ohms(Ohms(1.0), ISOLATION_MOST))
}

/// A lower limit is for what must not be bridged: a fuse, a shunt.
fn min(table: &Table<'_>, expected: &Result<Expected, Told>) -> Result<Option<Ohms>, Told> {
    let Some(item) = table.item("min") else { return Ok(None) };
    let min = stated(&item)?;
    if let Some(max) = table.item("max").and_then(|item| item.peek_ohms()).filter(|max| min > *max) {
        let message = format!("`min` of {} is above its `max`, {}", table.title, engineering(max));
        return Err(item.refuse(message, "write the smaller one as min"));
    }
    match expected {
        Ok(expected) if min > expected.typical => Err(item.refuse(
            format!(
                "`min` of {} is above the {} a healthy one reads",
                table.title,
                engineering(expected.typical)
            ),
            "lower it, or state `typical` for this part",
        )),
        _ => Ok(Some(min)),
    }
}

fn max(
    table: &Table<'_>,
    kind: &Result<SegmentKind, Told>,
    expected: &Result<Expected, Told>,
) -> Result<Option<Ohms>, Told> {
    let Some(item) = table.item("max") else { return Ok(None) };
    let max = stated(&item)?;
    let (Ok(kind), Ok(expected)) = (kind, expected) else { return Ok(Some(max)) };
    let (typical, high) = (engineering(expected.typical), engineering(expected.high));
    let (reason, remedy) = match kind.is_copper() {
        true => ("its geometry gives", "correct the geometry"),
        false => ("a healthy one reads", "state `typical` for this part"),
    };
    if max < expected.typical {
        let message = format!("`max` of {} is below the {typical} {reason}", table.title);
        return Err(item.refuse(message, format!("allow more than {high}, or {remedy}")));
    }
    if max < expected.high {
        let message = format!("`max` of {} is below the {high} a healthy one may read", table.title);
        item.warn(message, format!("allow more, or {remedy}; otherwise good units fail"));
    }
    Ok(Some(max))
}
