//! Copper layers of a board file: names, aliases, order, thickness, depth.
//!
//! Up to version 5 a layer that was renamed appears under its new name everywhere; then its ordinal tells what it is (0 is the
//! front, 31 the back, those between count inwards). Since version 6 the first name is always the canonical one and a new name
//! stands behind the type. Ordinals changed with version 9, so where a name is canonical it alone counts.

use std::collections::HashMap;

use super::values::{bad, length_of};
use crate::import::layout::{COPPER_UM, CopperLayer, LayerId, THICKNESS_MM};
use crate::import::sexpr::{Expr, SyntaxError};

/// Most copper layers of a board.
const MOST_LAYERS: usize = 64;

/// The layers of a file by all their names.
pub struct Layers {
    ids: HashMap<String, LayerId>,
    /// Name of the layer that the edge is drawn on.
    pub edge: String,
    /// Front to back.
    pub copper: Vec<CopperLayer>,
    /// Does the file state the stack-up?
    pub stacked: bool,
}

/// Where a canonical name stands between front and back.
fn rank(name: &str) -> Option<u32> {
    match name {
        "F.Cu" => Some(0),
        "B.Cu" => Some(u32::MAX),
        _ => name.strip_prefix("In")?.strip_suffix(".Cu")?.parse().ok().filter(|n| (1..10_000).contains(n)),
    }
}

impl Layers {
    /// Reads the table of layers and the stack-up.
    ///
    /// # Errors
    /// There are no copper layers, or more than a board has.
    pub fn read(board: Expr<'_>, thickness_mm: Option<f64>) -> Result<Self, SyntaxError> {
        let table = board.find("layers").ok_or_else(|| bad(board, "the board has no list of layers"))?;
        let mut found: Vec<(u32, Vec<String>)> = Vec::new();
        let mut edge = "Edge.Cuts".to_owned();
        for row in table.values() {
            let ordinal = row.head().and_then(|word| word.parse::<u32>().ok());
            let mut words = row.values().filter_map(Expr::word);
            let (Some(ordinal), Some(name), Some(kind)) = (ordinal, words.next(), words.next()) else {
                continue;
            };
            if rank(&name).is_none() && !matches!(&*kind, "signal" | "power" | "mixed" | "jumper") {
                if ordinal == 44 && name != "Edge.Cuts" && board_has_no(table, "Edge.Cuts") {
                    edge = name.into_owned();
                }
                continue;
            }
            let rank = rank(&name).unwrap_or(if ordinal == 31 { u32::MAX } else { ordinal });
            let alias = words.next().map(|alias| alias.into_owned());
            found.push((rank, std::iter::once(name.into_owned()).chain(alias).collect()));
        }
        found.sort_by_key(|(rank, _)| *rank);
        if !(2..=MOST_LAYERS).contains(&found.len()) {
            return Err(bad(table, format!("{} copper layers are no board's", found.len())));
        }
        let (mut ids, mut copper) = (HashMap::new(), Vec::new());
        let last = found.len() - 1;
        for (id, (_, names)) in found.into_iter().enumerate() {
            let name = names.first().cloned().unwrap_or_default();
            // The front and the back go by their canonical names too, whatever they were renamed to.
            let canonical = match id {
                0 => Some("F.Cu".to_owned()),
                _ if id == last => Some("B.Cu".to_owned()),
                _ => None,
            };
            ids.extend(names.into_iter().chain(canonical).map(|name| (name, id)));
            copper.push(CopperLayer { name, copper_um: COPPER_UM, depth_mm: 0.0 });
        }
        let mut layers = Self { ids, edge, copper, stacked: false };
        layers.stack(board, thickness_mm)?;
        Ok(layers)
    }

    /// Thicknesses from the stack-up; without one the layers lie evenly through the board.
    fn stack(&mut self, board: Expr<'_>, thickness_mm: Option<f64>) -> Result<(), SyntaxError> {
        let rows = board.find("setup").and_then(|setup| setup.find("stackup"));
        let mut depth = 0.0;
        let mut seen = Vec::new();
        for row in rows.into_iter().flat_map(Expr::values).filter(|row| row.is("layer")) {
            let name = row.values().next().and_then(Expr::word).unwrap_or_default();
            // A dielectric may have several sheets, each with a thickness.
            let sheets = row.items().filter(|item| item.is("thickness"));
            let thickness: f64 = sheets.filter_map(|sheet| sheet.numbers().next()).sum();
            let thickness = thickness.clamp(0.0, 20.0);
            if let Some(id) = self.id(&name) {
                seen.push((id, depth + thickness / 2.0, thickness));
            }
            if !seen.is_empty() {
                depth += thickness;
            }
        }
        let in_order = seen.windows(2).all(|pair| matches!(pair, [(a, ..), (b, ..)] if a < b));
        self.stacked = seen.len() == self.copper.len() && in_order && depth > 0.0;
        if self.stacked {
            let front = seen.first().map_or(0.0, |(_, depth, _)| *depth);
            for (layer, (_, depth, thickness)) in self.copper.iter_mut().zip(seen) {
                layer.depth_mm = depth - front;
                if thickness > 0.0 {
                    layer.copper_um = thickness * 1e3;
                }
            }
        } else {
            let step = thickness_mm.unwrap_or(THICKNESS_MM) / (self.copper.len() - 1).max(1) as f64;
            for (i, layer) in self.copper.iter_mut().enumerate() {
                layer.depth_mm = step * i as f64;
            }
        }
        Ok(())
    }

    /// A copper layer by any of its names.
    pub fn id(&self, name: &str) -> Option<LayerId> {
        self.ids.get(name).copied()
    }

    /// Copper layers named in a list of layers; `*.Cu` and `F&B.Cu` are several.
    pub fn ids(&self, list: Expr<'_>) -> Vec<LayerId> {
        let back = self.copper.len() - 1;
        let mut ids: Vec<_> = list
            .values()
            .filter_map(Expr::word)
            .flat_map(|name| match &*name {
                "*.Cu" => (0..=back).collect(),
                "F&B.Cu" => vec![0, back],
                name => self.id(name).into_iter().collect(),
            })
            .collect();
        ids.sort_unstable();
        ids.dedup();
        ids
    }
}

fn board_has_no(table: Expr<'_>, name: &str) -> bool {
    table.values().all(|row| row.values().next().and_then(Expr::word).is_none_or(|found| found != name))
}

/// Thickness of the whole board as the file states it.
///
/// # Errors
/// It is no length.
pub fn thickness(board: Expr<'_>) -> Result<Option<f64>, SyntaxError> {
    let general = board.find("general").map(|general| length_of(general, "thickness")).transpose()?;
    Ok(general.flatten().filter(|mm| (0.05..=10.0).contains(mm)))
}
