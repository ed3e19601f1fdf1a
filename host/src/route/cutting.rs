//! The list by which wires are cut, stripped and tinned.

use super::gauge::Stock;
use super::laid::Route;

/// One wire to be cut.
#[derive(Clone, PartialEq, Debug)]
pub struct Item {
    /// What is written on its flag. The colour says nothing, so that any spool does.
    pub label: String,
    /// The wire.
    pub stock: Stock,
    /// Length of the piece, whole millimetres, rounded up.
    pub length_mm: u32,
    /// Insulation off at the beginning and at the end, mm.
    pub strip_mm: [f64; 2],
    /// Bare conductor tinned at the beginning and at the end, mm.
    pub tin_mm: [f64; 2],
}

impl Item {
    /// What is cut for a route.
    pub fn new(label: &str, stock: Stock, route: &Route) -> Self {
        let cut = route.cut;
        let length_mm = cut.length_mm.ceil().clamp(0.0, f64::from(u32::MAX)) as u32;
        Self { label: label.to_owned(), stock, length_mm, strip_mm: cut.strip_mm, tin_mm: cut.tin_mm }
    }
}

/// The list as plain lines, one wire each, the longest first, so that what is left of a spool does for the shorter ones.
pub fn lines(items: &[Item]) -> Vec<String> {
    let mut sorted: Vec<&Item> = items.iter().collect();
    sorted.sort_by(|a, b| b.length_mm.cmp(&a.length_mm).then_with(|| a.label.cmp(&b.label)));
    let line = |item: &&Item| {
        let both = |[a, b]: [f64; 2]| match (a - b).abs() < 0.05 {
            true => format!("{a:.1} mm at both ends"),
            false => format!("{a:.1} mm at the first end and {b:.1} mm at the second"),
        };
        let Item { label, stock, length_mm, strip_mm, tin_mm } = item;
        format!(
            "{}: cut {length_mm} mm of AWG {} {}, any colour; strip {}; tin {}",
            crate::quantity::clip(label),
            stock.awg,
            stock.covering.words(),
            both(*strip_mm),
            both(*tin_mm),
        )
    };
    sorted.iter().map(line).collect()
}
