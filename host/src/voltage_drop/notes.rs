//! What to know beside the figures, in sentences.

use super::capacity::RISE_KELVIN;
use super::sheet::{DropSheet, JudgedBy, LoadDrop, Part};
use crate::board::{Assumed, Board};
use crate::quantity::{Volts, si};

/// All of it, each thing once.
pub fn of(sheet: &DropSheet, board: &Board) -> Vec<String> {
    let mut notes = Vec::new();
    if sheet.judged_by == JudgedBy::MaxDrop {
        let max_drop = si(sheet.max_drop.0, 3, "V");
        notes.push(format!(
            "`brown_out` is not stated in [supply]: what is judged is that the path costs no more than max_drop, {max_drop}, at 20 °C"
        ));
    }
    if sheet.source.is_none() {
        notes.push(
            "`source`, the cell's own resistance, is not stated in [supply] and counts for nothing here; two alkaline cells have 0.3 to 0.6 Ω"
                .into(),
        );
    }
    if board.assumed.contains(&Assumed::Load) {
        notes.push("the load is assumed, and with it every figure here: measure it and state `load`".into());
    }
    if board.supply.to.len() > 1 {
        notes.push(format!(
            "each load is looked at as if it drew all of the {}: how they share it is not known, and this is the worst for each",
            si(sheet.load.0, 3, "A")
        ));
    }
    for load in &sheet.loads {
        about_reach(load, &mut notes);
    }
    let mut parts: Vec<&Part> = sheet.loads.iter().flat_map(|load| &load.parts).collect();
    parts.sort_by(|a, b| a.number.cmp(&b.number).then(b.current.total_cmp(&a.current)));
    parts.dedup_by_key(|part| part.number);
    for part in parts {
        let Some(capacity) = part.capacity.filter(|capacity| capacity.exceeded) else { continue };
        notes.push(format!(
            "{} carries {} at a rise of {RISE_KELVIN} K (IPC-2221) and gets {}: about {:.0} K warmer than the board round it",
            part.name,
            si(capacity.ipc2221.0, 3, "A"),
            si(part.current.0, 3, "A"),
            capacity.rise_kelvin
        ));
    }
    notes
}

/// Why a load's figures are not all the unit's.
fn about_reach(load: &LoadDrop, notes: &mut Vec<String>) {
    let mut note = |text: String| {
        if !notes.contains(&text) {
            notes.push(text);
        }
    };
    let names = |names: &[String]| names.join(", ");
    if !load.cut.is_empty() {
        note(format!(
            "open: {}. No current reaches {} until that is repaired; its figures are those with the limit in the place of what is open",
            names(&load.cut),
            load.load
        ));
    }
    if !load.not_read.is_empty() {
        note(format!(
            "not read: {}. Limits stand in their place, and nothing on a way with them is proven of this unit",
            names(&load.not_read)
        ));
    }
    if load.lowest < Volts::ZERO {
        note(format!(
            "by these resistances the path to {} would take more than the supply gives: the load does not get its current",
            load.load
        ));
    }
}
