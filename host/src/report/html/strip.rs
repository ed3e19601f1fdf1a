//! The supply path drawn as strips: one cell per segment, in the order current takes.

use maud::{Markup, html};

use super::gauge::gauge;
use super::mark::{self, Sign};
use super::path::{Strip, strips};
use super::symbol::symbol;
use crate::board::{Board, PointId, SegmentId};
use crate::report::{figures, words};
use crate::sweep::{Sweep, UnitFault};
use crate::verdict::{Class, Verdict};

/// Every strip of the board with the readings of a sweep.
pub fn path(sweep: &Sweep, board: &Board) -> Markup {
    let strips = strips(board);
    html! {
        @for (i, strip) in strips.iter().enumerate() {
            @let branch = i > 0 && strips[..i].iter().any(|earlier| touches(earlier, strip.from));
            @let end = strip.steps.last().map_or(strip.from, |(_, to)| *to);
            h3 {
                @if branch { "Branch from " } @else if strip.from == board.supply.ret { "Return from " } @else { "From " }
                b { (board.point(strip.from).name) } " to " b { (board.point(end).name) }
            }
            ol class={ "strip" @if branch { " branch" } } {
                @for (from, (segment, to)) in froms(strip).zip(&strip.steps) {
                    (cell(sweep, board, *segment, from, (*to == end).then_some(end)))
                }
            }
        }
    }
}

/// The point each step starts from.
fn froms(strip: &Strip) -> impl Iterator<Item = PointId> {
    std::iter::once(strip.from).chain(strip.steps.iter().map(|(_, to)| *to))
}

fn touches(strip: &Strip, point: PointId) -> bool {
    strip.from == point || strip.steps.iter().any(|(_, to)| *to == point)
}

/// One segment: the point it starts from, its symbol on the copper, its name, and each state's reading. The last one
/// of a strip shows its end, too.
fn cell(sweep: &Sweep, board: &Board, id: SegmentId, from: PointId, end: Option<PointId>) -> Markup {
    let segment = board.segment(id);
    let fault = words::booked(&sweep.judgement).iter().find(|fault| fault.place == segment.name);
    let rows: Vec<_> = sweep.judgement.segments.iter().filter(|row| row.name == segment.name).collect();
    let broken = fault.is_some_and(|fault| fault.class == Class::Open);
    let sign = fault.map(|fault| fault_sign(sweep, fault));
    let doubt = rows.iter().map(|row| row.verdict).find(|verdict| *verdict != Verdict::Pass);
    let frame = match (sign, doubt) {
        (Some(sign), _) => format!("cell faulty {}", sign.class()),
        (None, Some(verdict)) => format!("cell doubtful {}", Sign::Verdict(verdict).class()),
        (None, None) => "cell".to_owned(),
    };
    html! {
        li class=(frame) {
            (node(board, from, "node"))
            @if let Some(end) = end { (node(board, end, "node to")) }
            svg class="symbol" viewBox="-28 -12 56 24" aria-hidden="true" { (symbol(&segment.kind, broken)) }
            p class="name" { span class="number" { (id.0 + 1) } " " (segment.name) }
            p class="kind" { (segment.kind.word()) }
            @if let (Some(fault), Some(sign)) = (fault, sign) {
                p class="flag" { (sign.icon()) (words::class(fault.class)) }
            }
            @for row in &rows {
                div class="row" {
                    (gauge(row))
                    p class="value" { (figures::segment(row)) }
                    p class="small" {
                        (figures::segment_limit(row))
                        @if row.limit_derived { "*" }
                        @if rows.len() > 1 { " · " (row.state) }
                    }
                    (mark::verdict(row.verdict))
                }
            }
            @if rows.is_empty() { p class="small" { "not measured" } }
        }
    }
}

/// A point on the copper. The supply's ends and loads are square.
fn node(board: &Board, point: PointId, class: &str) -> Markup {
    let supply = &board.supply;
    let square = point == supply.from || point == supply.ret || supply.to.contains(&point);
    html! { span class={ (class) @if square { " square" } } { span { (board.point(point).name) } } }
}

/// The shape a fault is marked with: that of the worst verdict at its place.
pub fn fault_sign(sweep: &Sweep, fault: &UnitFault) -> Sign {
    let segments =
        sweep.judgement.segments.iter().filter(|row| row.name == fault.place).map(|row| row.verdict);
    let isolation =
        sweep.judgement.isolation.iter().filter(|row| row.name == fault.place).map(|row| row.verdict);
    let verdicts: Vec<_> = segments.chain(isolation).collect();
    match () {
        () if verdicts.contains(&Verdict::Fail) => Sign::Verdict(Verdict::Fail),
        () if verdicts.contains(&Verdict::Unproven) => Sign::Verdict(Verdict::Unproven),
        () if verdicts.is_empty() => Sign::Verdict(Verdict::Fail),
        () => Sign::Remark,
    }
}
