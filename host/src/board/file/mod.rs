//! A board file read into a [`Draft`]: every value with its place, names resolved as far as they go.
//!
//! Nothing here stops at a mistake. What could not be read is an `Err(Told)` in the draft, and the rules that
//! judge the whole ([`super::rules`]) run on what is there.

mod check;
mod heading;
mod hole;
mod isolation;
mod keep_out;
mod point;
mod polygon;
mod pour;
mod power;
mod rail;
mod segment;
mod state;
mod supply;

use std::ops::Range;

use super::{KeepOut, PointId, State, StateId};
use crate::document::{Item, Sheet, Table, Told};
use crate::quantity::Ohms;

pub(super) use check::CheckDraft;
pub(super) use heading::Heading;
use hole::HoleDraft;
pub(super) use isolation::IsolationDraft;
pub(super) use point::PointDraft;
pub(super) use power::PowerDraft;
pub(super) use rail::RailDraft;
pub(super) use segment::SegmentDraft;
pub(super) use supply::SupplyDraft;

/// Format this program reads.
const FORMAT: u32 = 1;
/// Points or segments a file may have. Larger boards are not measured on one bed; this only stops nonsense.
const MOST_ITEMS: usize = 2000;
/// Checks a file may have. Somebody answers each on every unit; a longer list is not answered with care.
const MOST_CHECKS: usize = 50;
/// Keep-outs a file may have: more than parts on a board that pins and wires go round.
const MOST_KEEP_OUTS: usize = 500;
/// Holes that a wire may be led through; each could be one end of a passage.
const MOST_HOLES: usize = 50;
/// Rails a file may have. Somebody reads each on every unit.
const MOST_RAILS: usize = 50;
/// The isolation range of the meter proves up to this.
const ISOLATION_MOST: Ohms = Ohms(200e3);

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
    /// Are points and segments listed? If not, their lists are empty.
    pub listed: bool,
    pub points: Vec<PointDraft>,
    pub segments: Vec<Result<SegmentDraft, Told>>,
    pub isolation: Vec<Result<IsolationDraft, Told>>,
    pub checks: Vec<Result<CheckDraft, Told>>,
    pub keep_outs: Vec<Result<KeepOut, Told>>,
    pub holes: Vec<Result<HoleDraft, Told>>,
    /// `None`: the file says nothing of power.
    pub power: Option<Result<PowerDraft, Told>>,
    pub rails: Vec<Result<RailDraft, Told>>,
}

/// Names that other parts of the file refer to.
pub(super) struct Names<'d> {
    pub points: Result<Vec<&'d str>, Told>,
    pub states: Result<Vec<String>, Told>,
}

impl Names<'_> {
    /// The point an item names.
    pub fn point(&self, item: &Item<'_>) -> Result<PointId, Told> {
        item.known("point", self.points.as_ref().map_err(|told| *told)?).map(PointId::new)
    }

    /// The state an item names.
    pub fn state(&self, item: &Item<'_>) -> Result<StateId, Told> {
        let names: Vec<&str> =
            self.states.as_ref().map_err(|told| *told)?.iter().map(String::as_str).collect();
        item.known("state", &names).map(StateId::new)
    }
}

/// Reads the whole file.
///
/// # Errors
/// The file is no TOML, or of a format that this program does not know: then nothing in it can be judged.
pub(super) fn read(sheet: &Sheet) -> Result<Draft, Told> {
    let document = sheet.document()?;
    let root = Table::root(sheet, &document);
    root.format(FORMAT)?;
    root.only(&[
        "format",
        "board",
        "supply",
        "states",
        "points",
        "segment",
        "isolation",
        "check",
        "keep_out",
        "hole",
        "power",
        "rail",
    ]);

    let heading = part(&root, "board").map(|table| heading::read(&table));
    let states = state::read(&root);
    let points = part(&root, "points").and_then(|table| some("points", table.items(), sheet));
    let segments = root.tables("segment").and_then(|items| some("segments", items, sheet));
    let state_names = states.as_ref().map(|all| all.iter().map(|state| state.name.clone()).collect());
    let names = Names {
        points: points.as_ref().map(|all| all.iter().map(|(name, ..)| *name).collect()).map_err(|told| *told),
        states: state_names.map_err(|told| *told),
    };
    let laminate = heading.as_ref().map_err(|told| *told).and_then(|heading| heading.laminate);
    let assumed = heading.as_ref().map(|heading| heading.assumed.clone()).unwrap_or_default();
    let edge = heading.as_ref().ok().and_then(|heading| heading.outline.as_deref().ok());
    // A list that is none has been told of; then there is nothing to read.
    let isolation = root.tables("isolation").unwrap_or_default();
    let checks = root.tables("check");
    let checks =
        checks.and_then(|all| few(all, MOST_CHECKS, "checks are more than anybody answers with care"));
    let keep_outs = root.tables("keep_out");
    let keep_outs = keep_outs
        .and_then(|all| few(all, MOST_KEEP_OUTS, "keep-outs are more than pins and wires can be led round"));
    let holes = root.tables("hole");
    let holes = holes.and_then(|all| few(all, MOST_HOLES, "holes are more than a wire can choose from"));
    let rails = root.tables("rail");
    let rails = rails.and_then(|all| few(all, MOST_RAILS, "rails are more than anybody reads with care"));
    let listed = points.is_ok() && segments.is_ok();
    let points: Vec<_> = points
        .into_iter()
        .flatten()
        .map(|(name, span, item)| point::read(sheet, name, span, &item, edge))
        .collect();
    let around = segment::Around { names: &names, points: &points, laminate, assumed: &assumed };
    let supply = part(&root, "supply").map(|table| supply::read(&table, &names));
    let power = root.item("power").map(|item| {
        let table = item.table("[power]", "write it as a table")?;
        Ok(power::read(&table, &names, supply.as_ref().map_err(|told| *told)))
    });
    Ok(Draft {
        supply,
        power,
        rails: rails.unwrap_or_default().iter().map(|item| rail::read(item, &names)).collect(),
        listed,
        segments: segments.iter().flatten().map(|item| segment::read(item, &around)).collect(),
        points,
        isolation: isolation.iter().map(|item| isolation::read(item, &names)).collect(),
        checks: checks.unwrap_or_default().iter().map(check::read).collect(),
        keep_outs: keep_outs.unwrap_or_default().iter().map(keep_out::read).collect(),
        holes: holes.unwrap_or_default().iter().map(|item| hole::read(item, edge)).collect(),
        heading,
        states,
    })
}

/// A list of points or segments that has some, and not more than a bench can reach.
fn some<T>(what: &str, items: Vec<T>, sheet: &Sheet) -> Result<Vec<T>, Told> {
    match items.len() {
        0 => Err(sheet.refuse(None, format!("there are no {what}"), "a supply path has some")),
        count if count > MOST_ITEMS => {
            let message = format!("{count} {what} are more than a bench can reach");
            Err(sheet.refuse(None, message, format!("at most {MOST_ITEMS}")))
        }
        _ => Ok(items),
    }
}

/// A list of at most so many; one that is too long is told of at the first that is too many.
fn few<'d>(all: Vec<Item<'d>>, most: usize, too_many: &str) -> Result<Vec<Item<'d>>, Told> {
    match all.get(most) {
        Some(beyond) => Err(beyond.refuse(format!("{} {too_many}", all.len()), format!("at most {most}"))),
        None => Ok(all),
    }
}

/// A table that must be there.
fn part<'d>(root: &Table<'d>, key: &'static str) -> Result<Table<'d>, Told> {
    let header = format!("[{key}]");
    root.must(key, &format!("the table `{header}`"))?.table(header, "write it as a table")
}
