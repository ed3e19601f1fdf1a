//! Limits learned from golden units, on a terminal.

use std::path::Path;

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title};
use crate::board::Board;
use crate::learn::{Learned, LearnedSegment, LeftOut};
use crate::limits::LimitSet;
use crate::quantity::Ohms;
use crate::report::{figures, words};
use crate::visible;

/// Every segment with what the golden units read and its limits, the units that do not count, and where the file is.
pub fn learned(learned: &Learned, board: &Board, file: &Path, screen: Screen) -> String {
    const COLUMNS: [Column; 5] = [
        Column::name("segment"),
        Column::figure("mean"),
        Column::figure("deviation"),
        Column::figure("limits"),
        Column::figure("learned"),
    ];
    let mut out = String::new();
    let units = words::counted(learned.units.len(), "golden unit", "golden units");
    let lot = learned.lot.as_ref().map(|lot| format!(" of lot {lot}")).unwrap_or_default();
    title(&mut out, &format!("{}, revision {}: {units}{lot}", learned.board, learned.revision), screen);
    let claim = &learned.claim;
    let holds = format!(
        "Each limit holds {} of good units with a confidence of {}; the uncertainty of the readings is part of their spread.",
        figures::percent(claim.coverage),
        figures::percent(claim.confidence)
    );
    paragraph(&mut out, "", &holds, screen.width);
    out.push('\n');
    let usual = LimitSet::of_board(board);
    let rows: Vec<[Cell; 5]> = learned
        .segments
        .iter()
        .map(|segment| {
            let before = board.segment_named(&segment.name).map(|id| usual.of(id));
            [
                (&segment.name).into(),
                figures::stated(segment.mean).into(),
                figures::roughly(segment.deviation).into(),
                before.map(|limits| between(limits.min, Some(limits.max))).unwrap_or_default().into(),
                between(segment.min, segment.max).into(),
            ]
        })
        .collect();
    table(&mut out, screen, &COLUMNS, &rows);
    remarks(&mut out, &learned.segments, screen);
    left_out(&mut out, &learned.left_out, screen);
    out.push('\n');
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let next = format!(
        "Written to {}. `limits = {name:?}` under [fixture] has sweeps judged by it; `copperwalk judge --limits` says what it would \
         change.",
        visible::path(file)
    );
    paragraph(&mut out, "", &next, screen.width);
    out
}

/// `12 mΩ to 25 mΩ`, `at most 25 mΩ`, `at least 12 mΩ`, or nothing.
fn between(min: Option<Ohms>, max: Option<Ohms>) -> String {
    match (min, max) {
        (Some(min), Some(max)) => format!("{} to {}", figures::stated(min), figures::stated(max)),
        (None, Some(max)) => format!("at most {}", figures::stated(max)),
        (Some(min), None) => format!("at least {}", figures::stated(min)),
        (None, None) => "as before".into(),
    }
}

fn remarks(out: &mut String, segments: &[LearnedSegment], screen: Screen) {
    let told: Vec<_> = segments.iter().filter(|segment| !segment.remark.is_empty()).collect();
    if told.is_empty() {
        return;
    }
    out.push('\n');
    for segment in told {
        paragraph(out, "  • ", &format!("{}: {}", segment.name, segment.remark), screen.width);
    }
}

fn left_out(out: &mut String, units: &[LeftOut], screen: Screen) {
    if units.is_empty() {
        return;
    }
    heading(out, "Left out", screen);
    for LeftOut { serial, why } in units {
        paragraph(out, "  • ", &format!("{serial}: {why}"), screen.width);
    }
}
