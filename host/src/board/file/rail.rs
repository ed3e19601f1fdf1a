//! `[[rail]]`: a voltage that a good board has at a point while it is under power.

use super::{Names, Placed};
use crate::board::PointId;
use crate::document::{Item, Told};
use crate::quantity::Volts;

/// Either way: some displays want a rail below ground.
const MOST: Volts = Volts(60.0);

/// A `[[rail]]`.
pub(in crate::board) struct RailDraft {
    pub name: Result<Placed<String>, Told>,
    pub at: Result<PointId, Told>,
    pub voltage: Result<[Volts; 2], Told>,
}

/// Reads one rail.
///
/// # Errors
/// It is not even a table.
pub(super) fn read(item: &Item<'_>, names: &Names<'_>) -> Result<RailDraft, Told> {
    let table = item.table("a [[rail]]", "write it as [[rail]]")?;
    table.only(&["name", "at", "voltage"]);
    let name = table.must("name", r#"name = "3.3 V rail""#).and_then(|item| {
        let value = item.name()?.to_owned();
        Ok(Placed { value, span: item.span })
    });
    let example = r#"voltage = ["3.2 V", "3.4 V"]"#;
    let voltage = table.must("voltage", example).and_then(|item| {
        let [low, high] = item.pair(example)?;
        let (low, high) = (low.volts(-MOST, MOST), high.volts(-MOST, MOST));
        let (low, high) = (low?, high?);
        match low < high {
            true => Ok([low, high]),
            false => Err(item
                .refuse("the lowest voltage of the rail is not below the highest", "write the lowest first")),
        }
    });
    let at = table.must("at", r#"the point it is read at, such as at = "reg.in""#);
    Ok(RailDraft { name, at: at.and_then(|item| names.point(&item)), voltage })
}
