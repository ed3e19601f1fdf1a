//! `[power]`: how the board is first put under power, and what a good one draws.

use super::{Names, SupplyDraft};
use crate::board::StateId;
use crate::document::{Item, Table, Told};
use crate::quantity::{Amps, Seconds, Unit, Volts};

/// More current is no matter of a bench supply's first steps.
const MOST: Amps = Amps(100.0);
/// A step may be left alone for so long at most.
const LONGEST_S: f64 = 60.0;
/// Steps of the ramp, at most: each takes a settling time, or a question where the supply is set by hand.
const MOST_STEPS: u32 = 50;
/// Without a number of them.
const STEPS: u32 = 5;
/// A supply answers its new voltage within this (common practice: tens of milliseconds), and usual bulk capacitors are charged.
const SETTLE: Seconds = Seconds(0.3);
/// A program that starts and goes to rest takes about so long (common practice).
const WAIT: Seconds = Seconds(2.0);

/// `[power]`, as far as it stands by itself.
pub(in crate::board) struct PowerDraft {
    pub idle: Result<Option<[Amps; 2]>, Told>,
    pub inrush: Result<Option<Amps>, Told>,
    pub limit: Result<Option<Amps>, Told>,
    pub nominal: Result<Option<Volts>, Told>,
    pub steps: Result<u32, Told>,
    pub settle: Result<Seconds, Told>,
    pub wait: Result<Seconds, Told>,
    pub state: Result<Option<StateId>, Told>,
    pub hot: Result<String, Told>,
}

/// Reads `[power]`. `supply` is what stands in `[supply]`, against which some of it is held.
pub(super) fn read(table: &Table<'_>, names: &Names<'_>, supply: Result<&SupplyDraft, Told>) -> PowerDraft {
    table.only(&["idle", "inrush", "limit", "nominal", "steps", "settle", "wait", "state", "hot"]);
    let idle = table.item("idle").map(|item| idle(&item)).transpose();
    let above = idle.as_ref().ok().copied().flatten().map_or(Amps(1e-6), |[_, most]| most);
    let current = |key: &'static str| {
        let Some(item) = table.item(key) else { return Ok(None) };
        let current = item.amps(Amps(1e-6), MOST)?;
        if current < above {
            return Err(item.refuse(
                format!("`{key}` of [power] is below the highest `idle` current"),
                "a good board draws that much all the while: allow more",
            ));
        }
        Ok(Some(current))
    };
    let time = |key: &'static str, usual: Seconds| {
        let read = |item: Item<'_>| item.quantity(Unit::Second, 1e-3, LONGEST_S).map(Seconds);
        table.item(key).map_or(Ok(usual), read)
    };
    PowerDraft {
        inrush: current("inrush"),
        limit: current("limit"),
        nominal: table.item("nominal").map(|item| nominal(&item, supply)).transpose(),
        steps: table.item("steps").map_or(Ok(STEPS), |item| item.whole(1, MOST_STEPS)),
        settle: time("settle", SETTLE),
        wait: time("wait", WAIT),
        state: table.item("state").map(|item| names.state(&item)).transpose(),
        hot: table.item("hot").map_or(Ok(String::new()), |item| item.text().map(str::to_owned)),
        idle,
    }
}

fn idle(item: &Item<'_>) -> Result<[Amps; 2], Told> {
    let [low, high] = item.pair(r#"write the least and the most, such as ["2 mA", "9 mA"]"#)?;
    let (low, high) = (low.amps(Amps::ZERO, MOST), high.amps(Amps(1e-6), MOST));
    let (low, high) = (low?, high?);
    match low < high {
        true => Ok([low, high]),
        false => Err(item.refuse("the least idle current is not below the most", "write the least first")),
    }
}

fn nominal(item: &Item<'_>, supply: Result<&SupplyDraft, Told>) -> Result<Volts, Told> {
    let volts = item.volts(Volts::ZERO, Volts(60.0))?;
    let [low, high] = supply?.voltage?;
    if (low..=high).contains(&volts) {
        return Ok(volts);
    }
    let help = format!("from {} to {} belongs here", Unit::Volt.show(low.0), Unit::Volt.show(high.0));
    Err(item.refuse("`nominal` of [power] is no voltage of [supply]", help))
}
