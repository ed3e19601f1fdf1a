//! Readings of one place over the life of a unit (placeholder until the record store's own lands).

use crate::records::summary::{Event, PastSweep, Trend, UnitHistory};
use crate::sweep::{IsolationRow, SegmentRow, Verdict};

fn sweeps(unit: &UnitHistory) -> impl Iterator<Item = &PastSweep> {
    unit.events.iter().filter_map(|event| match event {
        Event::Sweep(past) if past.verdict != Verdict::Void => Some(past.as_ref()),
        _ => None,
    })
}

fn collect<'h, Row>(
    unit: &'h UnitHistory,
    rows: impl Fn(&'h PastSweep) -> &'h [Row],
    same: impl Fn(&Row, &Row) -> bool,
) -> Vec<Trend<'h, Row>> {
    let mut trends: Vec<Trend<'h, Row>> = Vec::new();
    for past in sweeps(unit) {
        for row in rows(past) {
            let known = trends.iter_mut().find(|trend| {
                trend.board == past.basis.board && trend.readings.iter().any(|(_, other)| same(other, row))
            });
            match known {
                Some(trend) => trend.readings.push((past, row)),
                None => trends.push(Trend { board: &past.basis.board, readings: vec![(past, row)] }),
            }
        }
    }
    trends
}

pub fn segments(unit: &UnitHistory) -> Vec<Trend<'_, SegmentRow>> {
    collect(unit, |past| &past.segments, |a, b| a.name == b.name && a.state == b.state)
}

pub fn isolation(unit: &UnitHistory) -> Vec<Trend<'_, IsolationRow>> {
    collect(unit, |past| &past.isolation, |a, b| a.name == b.name && a.state == b.state)
}
