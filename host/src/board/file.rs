//! A board file read into a [`Draft`]: every value with its place, names resolved as far as they go.
//!
//! Nothing here stops at a mistake. What could not be read is an `Err(Told)` in the draft, and the rules that judge
//! the whole ([`super::rules`]) run on what is there.

use std::ops::Range;

use super::expected::Laminate;
use super::segment_file::{self, SegmentDraft};
use super::{Point, PointId, PointKind, Side, State, StateId, outline};
use crate::document::{Item, Sheet, Table, Told, check_name};
use crate::quantity::{Unit, clip};

/// Format this program reads.
const FORMAT: u32 = 1;
/// Points or segments a file may have: the matrix has at most 255 sense channels, so this only stops nonsense.
const MOST_ITEMS: usize = 1000;
/// Corners an outline may have.
const MOST_CORNERS: usize = 500;
/// The isolation range of the meter proves up to this, ohm.
pub(super) const ISOLATION_MOST_OHMS: f64 = 200e3;

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(super) struct Placed<T> {
    pub value: T,
    pub span: Range<usize>,
}

/// A board file as far as it could be read.
pub(super) struct Draft {
    pub heading: Result<Heading, Told>,
    pub supply: Result<SupplyDraft, Told>,
    pub states: Result<Vec<State>, Told>,
    pub points: Vec<PointDraft>,
    pub segments: Vec<Result<SegmentDraft, Told>>,
    pub isolation: Vec<Result<IsolationDraft, Told>>,
}

/// `[board]`.
pub(super) struct Heading {
    pub name: Result<String, Told>,
    pub revision: Result<String, Told>,
    pub laminate: Result<Laminate, Told>,
    pub outline: Result<Vec<[f64; 2]>, Told>,
}

/// `[supply]`.
pub(super) struct SupplyDraft {
    pub from: Result<Placed<PointId>, Told>,
    pub to: Result<Vec<Placed<PointId>>, Told>,
    pub ret: Result<Placed<PointId>, Told>,
    pub voltage: Result<[f64; 2], Told>,
    pub load_amps: Result<f64, Told>,
    pub max_drop_volts: Result<Placed<f64>, Told>,
    pub bulk_farads: Result<f64, Told>,
}

/// An entry of `[points]`; the name is known even when the rest is not.
pub(super) struct PointDraft {
    pub name: Placed<String>,
    pub point: Result<Point, Told>,
}

/// An `[[isolation]]`.
pub(super) struct IsolationDraft {
    pub span: Range<usize>,
    pub between: Result<[PointId; 2], Told>,
    pub min_ohms: Result<f64, Told>,
    pub state: Result<StateId, Told>,
}

/// Names that other parts of the file refer to.
pub(super) struct Names<'d> {
    pub points: Vec<&'d str>,
    pub states: Result<Vec<String>, Told>,
}

impl Names<'_> {
    /// The point an item names.
    pub fn point(&self, item: &Item<'_>) -> Result<PointId, Told> {
        item.known("point", &self.points).map(PointId)
    }

    /// The state an item names.
    pub fn state(&self, item: &Item<'_>) -> Result<StateId, Told> {
        let names: Vec<&str> =
            self.states.as_ref().map_err(|told| *told)?.iter().map(String::as_str).collect();
        item.known("state", &names).map(StateId)
    }
}

/// Reads the whole file.
///
/// # Errors
/// Something is missing or wrong that everything else hangs on: the format, the points, the segments.
pub(super) fn read(sheet: &Sheet) -> Result<Draft, Told> {
    let document = sheet.document()?;
    let root = Table::root(sheet, &document);
    root.format(FORMAT)?;
    root.only(&["format", "board", "supply", "states", "points", "segment", "isolation"]);

    let heading = part(&root, "board").map(|table| heading(&table));
    let states = states(&root);
    let points = part(&root, "points").map(|table| table.items());
    let segments = root.tables("segment");
    let (points, segments) = (points?, segments?);
    for (what, count) in [("points", points.len()), ("segments", segments.len())] {
        match count {
            0 => return Err(sheet.refuse(None, format!("there are no {what}"), "a supply path has some")),
            _ if count > MOST_ITEMS => {
                let message = format!("{count} {what} are more than a bench can reach");
                return Err(sheet.refuse(None, message, format!("at most {MOST_ITEMS}")));
            }
            _ => {}
        }
    }

    let state_names = states.as_ref().map(|all| all.iter().map(|state| state.name.clone()).collect());
    let names = Names {
        points: points.iter().map(|(name, ..)| *name).collect(),
        states: state_names.map_err(|told| *told),
    };
    let laminate = heading.as_ref().map_err(|told| *told).and_then(|heading| heading.laminate);
    let edge = heading.as_ref().ok().and_then(|heading| heading.outline.as_deref().ok());
    Ok(Draft {
        supply: part(&root, "supply").map(|table| supply(&table, &names)),
        points: points.into_iter().map(|(name, span, item)| point(sheet, name, span, &item, edge)).collect(),
        segments: segments.iter().map(|item| segment_file::read(item, &names, laminate)).collect(),
        isolation: root.tables("isolation")?.iter().map(|item| isolation(item, &names)).collect(),
        heading,
        states,
    })
}

/// A table that must be there.
fn part<'d>(root: &Table<'d>, key: &'static str) -> Result<Table<'d>, Told> {
    let header = format!("[{key}]");
    root.must(key, &format!("the table `{header}`"))?.table(header, "write it as a table")
}

fn heading(table: &Table<'_>) -> Heading {
    table.only(&["name", "revision", "thickness", "copper", "outline"]);
    let name = table.must("name", r#"name = "…""#).and_then(|item| item.name());
    let revision = table.must("revision", r#"revision = "A""#).and_then(|item| item.name());
    let thickness = table
        .must("thickness", r#"thickness = "1.6 mm""#)
        .and_then(|item| item.quantity(Unit::Millimetre, 0.05, 10.0));
    let copper = table
        .must("copper", r#"copper = "35 um""#)
        .and_then(|item| item.quantity(Unit::Micrometre, 5.0, 500.0));
    let outline = table
        .must("outline", "outline = [[0, 0], [64, 0], [64, 40], [0, 40]]")
        .and_then(|item| read_outline(&item));
    Heading {
        name: name.map(str::to_owned),
        revision: revision.map(str::to_owned),
        laminate: thickness.and_then(|thickness_mm| Ok(Laminate { thickness_mm, copper_um: copper? })),
        outline,
    }
}

fn read_outline(item: &Item<'_>) -> Result<Vec<[f64; 2]>, Told> {
    let help = "write the corners in order, such as [[0, 0], [64, 0], [64, 40], [0, 40]]";
    let corners = item.list(help)?;
    if !(3..=MOST_CORNERS).contains(&corners.len()) {
        let message = format!("an outline of {} corners is no outline", corners.len());
        return Err(item.refuse(message, format!("from 3 to {MOST_CORNERS} corners belong here")));
    }
    let corners: Vec<_> = corners.iter().map(|corner| place(corner, help)).collect();
    let corners = corners.into_iter().collect::<Result<Vec<_>, _>>()?;
    if let Some((i, j)) = outline::crossing(&corners) {
        let message = format!("the outline crosses itself: the edges from corners {} and {}", i + 1, j + 1);
        return Err(item.refuse(message, "write the corners in order round the edge"));
    }
    if outline::area(&corners) < 1.0 {
        return Err(item.refuse("the outline encloses less than 1 mm²", "coordinates are millimetres"));
    }
    Ok(corners)
}

fn place(item: &Item<'_>, help: &str) -> Result<[f64; 2], Told> {
    let [x, y] = item.pair(help)?;
    let (x, y) = (x.millimetres(), y.millimetres());
    Ok([x?, y?])
}

/// Order is the order of the file; without `[states]` there is the one a unit lies in.
fn states(root: &Table<'_>) -> Result<Vec<State>, Told> {
    let Some(item) = root.item("states") else {
        return Ok(vec![State { name: "as placed".into(), prompt: String::new() }]);
    };
    let table = item.table("[states]", r#"write lines such as on = "Slide the switch to ON""#)?;
    let items = table.items();
    if !(1..=16).contains(&items.len()) {
        let message = format!("[states] has {} states", items.len());
        return Err(
            table.refuse(message, "from 1 to 16 belong here; leave [states] out if there is nothing to do")
        );
    }
    let states: Vec<_> = items
        .iter()
        .map(|(name, _, item)| {
            let name =
                check_name(name).map_err(|(what, help)| item.refuse(format!("the state {what}"), help));
            let prompt = item.text();
            Ok(State { name: name?.to_owned(), prompt: prompt?.to_owned() })
        })
        .collect();
    states.into_iter().collect()
}

fn point(
    sheet: &Sheet,
    name: &str,
    span: Range<usize>,
    item: &Item<'_>,
    edge: Option<&[[f64; 2]]>,
) -> PointDraft {
    let read = || {
        let table = item.table(
            format!("point `{}`", clip(name)),
            r#"write { at = [6.0, 31.0], side = "back", kind = "terminal" }"#,
        )?;
        table.only(&["at", "side", "kind"]);
        let known_name = check_name(name)
            .map_err(|(what, help)| sheet.refuse(Some(span.clone()), format!("the point {what}"), help));
        let at = table.must("at", "at = [x, y] in mm").and_then(|item| {
            let at = place(&item, "write [x, y] in mm, such as [6.0, 31.0]")?;
            match edge {
                None => Ok(at),
                Some(edge) if outline::contains(edge, at) => Ok(at),
                Some(_) => Err(item.refuse(
                    format!("point `{}` lies outside the outline", clip(name)),
                    "coordinates are millimetres, seen from the front, in the frame the outline is drawn in",
                )),
            }
        });
        let side = table.must("side", r#"side = "front", "back" or "both""#).and_then(|item| {
            item.choice(&[("front", Side::Front), ("back", Side::Back), ("both", Side::Both)])
        });
        let kind = table.must("kind", r#"kind = "pad""#).and_then(|item| {
            item.choice(&[
                ("terminal", PointKind::Terminal),
                ("pad", PointKind::Pad),
                ("via", PointKind::Via),
                ("leg", PointKind::Leg),
                ("test", PointKind::Test),
            ])
        });
        Ok(Point { name: known_name?.to_owned(), at: at?, side: side?, kind: kind? })
    };
    let point = read();
    PointDraft { name: Placed { value: name.to_owned(), span }, point }
}

fn supply(table: &Table<'_>, names: &Names<'_>) -> SupplyDraft {
    table.only(&["from", "to", "return", "voltage", "load", "max_drop", "bulk"]);
    let placed = |item: Item<'_>| names.point(&item).map(|value| Placed { value, span: item.span.clone() });
    let point_list = r#"name one point, or several as ["reg.in", "radio.in"]"#;
    let to = table.must("to", r#"to = "reg.in""#).and_then(|item| match item.is_list() {
        false => Ok(vec![placed(item)?]),
        true => {
            let loads = item.list(point_list)?;
            let loads: Vec<_> = loads.into_iter().map(placed).collect();
            match loads.is_empty() {
                true => Err(item.refuse("`to` of [supply] names no point", point_list)),
                false => loads.into_iter().collect(),
            }
        }
    });
    let voltage = table.must("voltage", r#"voltage = ["2.0 V", "3.2 V"]"#).and_then(|item| {
        let [low, high] = item.pair(r#"write the lowest and the highest, such as ["2.0 V", "3.2 V"]"#)?;
        let (low, high) = (low.quantity(Unit::Volt, 0.0, 60.0), high.quantity(Unit::Volt, 0.0, 60.0));
        let (low, high) = (low?, high?);
        match low <= high {
            true => Ok([low, high]),
            false => {
                Err(item.refuse("the lowest supply voltage is above the highest", "write the lowest first"))
            }
        }
    });
    SupplyDraft {
        from: table.must("from", r#"from = "cell+""#).and_then(placed),
        to,
        ret: table.must("return", r#"return = "cell-""#).and_then(placed),
        voltage,
        load_amps: table
            .must("load", r#"load = "120 mA""#)
            .and_then(|item| item.quantity(Unit::Ampere, 1e-6, 100.0)),
        max_drop_volts: table.must("max_drop", r#"max_drop = "150 mV""#).and_then(|item| {
            let value = item.quantity(Unit::Volt, 1e-6, 60.0)?;
            Ok(Placed { value, span: item.span })
        }),
        bulk_farads: table.item("bulk").map_or(Ok(0.0), |item| item.quantity(Unit::Farad, 0.0, 10e-3)),
    }
}

fn isolation(item: &Item<'_>, names: &Names<'_>) -> Result<IsolationDraft, Told> {
    let table = item.table("an [[isolation]]", "write it as [[isolation]]")?;
    table.only(&["between", "min", "state"]);
    let pair_help = r#"between = ["reg.in", "cell-"]"#;
    let between = table.must("between", pair_help).and_then(|item| {
        let [a, b] = item.pair(pair_help)?;
        let (first, second) = (names.point(&a), names.point(&b));
        match (first?, second?) {
            (first, second) if first == second => {
                Err(b.refuse("an insulation lies between two points", pair_help))
            }
            between => Ok(between.into()),
        }
    });
    let only_one_state = names.states.as_ref().is_ok_and(|states| states.len() == 1);
    let state = match table.item("state") {
        Some(item) => names.state(&item),
        None if only_one_state => Ok(StateId(0)),
        None => table.must("state", "the state it is judged in, such as state = \"on\"").map(|_| StateId(0)),
    };
    Ok(IsolationDraft {
        between,
        span: table.span.clone(),
        min_ohms: table
            .must("min", r#"min = "5 kohm""#)
            .and_then(|item| item.quantity(Unit::Ohm, 1.0, ISOLATION_MOST_OHMS)),
        state,
    })
}
