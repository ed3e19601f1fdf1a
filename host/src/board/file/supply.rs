//! `[supply]`: the ends of the path, and the budget.

use super::{Names, Placed};
use crate::board::PointId;
use crate::board::assumed::{self, Assumed};
use crate::document::{Item, Table, Told};
use crate::quantity::{Amps, Farads, Ohms, Volts, si};

/// `[supply]`.
pub(in crate::board) struct SupplyDraft {
    pub from: Result<Placed<PointId>, Told>,
    pub to: Result<Vec<Placed<PointId>>, Told>,
    pub ret: Result<Placed<PointId>, Told>,
    pub voltage: Result<[Volts; 2], Told>,
    pub load: Result<Amps, Told>,
    pub max_drop: Result<Placed<Volts>, Told>,
    pub source: Result<Option<Ohms>, Told>,
    pub brown_out: Result<Option<Volts>, Told>,
    pub bulk: Result<Farads, Told>,
    pub assumed: Vec<Assumed>,
}

/// Reads `[supply]`.
pub(super) fn read(table: &Table<'_>, names: &Names<'_>) -> SupplyDraft {
    table.only(&["from", "to", "return", "voltage", "load", "max_drop", "bulk", "source", "brown_out"]);
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
        let most = Volts(60.0);
        let (low, high) = (low.volts(Volts::ZERO, most), high.volts(Volts::ZERO, most));
        let (low, high) = (low?, high?);
        match low <= high {
            true => Ok([low, high]),
            false => {
                Err(item.refuse("the lowest supply voltage is above the highest", "write the lowest first"))
            }
        }
    });
    let assumed = [("load", Assumed::Load), ("max_drop", Assumed::MaxDrop)]
        .into_iter()
        .filter_map(|(key, what)| table.item(key).is_none().then_some(what));
    let load = table.item("load").map_or(Ok(assumed::LOAD), |item| item.amps(Amps(1e-6), Amps(100.0)));
    let max_drop = match table.item("max_drop") {
        Some(item) => {
            item.volts(Volts(1e-6), Volts(60.0)).map(|value| Placed { value, span: item.span.clone() })
        }
        // What is told of the budget is told at the table.
        None => voltage.map(|voltage| Placed { value: assumed::max_drop(voltage), span: table.span.clone() }),
    };
    let source = table.item("source").map(|item| source(&item, voltage, load)).transpose();
    let brown_out = table.item("brown_out").map(|item| brown_out(&item, voltage)).transpose();
    SupplyDraft {
        from: table.must("from", r#"from = "cell+""#).and_then(placed),
        to,
        ret: table.must("return", r#"return = "cell-""#).and_then(placed),
        voltage,
        load,
        max_drop,
        source,
        brown_out,
        assumed: assumed.collect(),
        bulk: table.item("bulk").map_or(Ok(Farads::ZERO), |item| item.farads(Farads::ZERO, Farads(10e-3))),
    }
}

/// A cell's internal resistance. One that costs more than half of the lowest voltage at full load is warned of.
fn source(
    item: &Item<'_>,
    voltage: Result<[Volts; 2], Told>,
    load: Result<Amps, Told>,
) -> Result<Ohms, Told> {
    let source = item.ohms(Ohms::ZERO, Ohms(1e3))?;
    if let (Ok([low, _]), Ok(load)) = (voltage, load)
        && source * load > low / 2.0
    {
        item.warn(
            format!(
                "at full load a source of this resistance costs {} of {}",
                si((source * load).0, 3, "V"),
                si(low.0, 3, "V")
            ),
            "check its resistance, or the load; fresh alkaline cells have 0.1 to 0.3 ohm each",
        );
    }
    Ok(source)
}

/// The lowest voltage with which the loads work. The supply has to be above it at least at its best.
fn brown_out(item: &Item<'_>, voltage: Result<[Volts; 2], Told>) -> Result<Volts, Told> {
    let brown_out = item.volts(Volts(1e-3), Volts(60.0))?;
    let [low, high] = voltage?;
    if brown_out >= high {
        let message = format!("`brown_out` is not below the highest supply voltage, {}", si(high.0, 3, "V"));
        return Err(item.refuse(message, "no unit would work: lower it, or correct `voltage`"));
    }
    if brown_out >= low {
        item.warn(
            format!(
                "`brown_out` is not below the lowest supply voltage, {}: there a load fails whatever the path costs",
                si(low.0, 3, "V")
            ),
            "lower it, or raise the lower end of `voltage`",
        );
    }
    Ok(brown_out)
}
