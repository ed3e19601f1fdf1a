//! The supply path drawn as strips: one cell per segment, in the order current takes.

use maud::{Markup, html};

use super::gauge::gauge;
use super::mark::{self, Sign};
use super::path::{Strip, strips};
use super::symbol::symbol;
use crate::board::{Board, PointId, SegmentId};
use crate::report::{figures, words};
use crate::sweep::{SegmentRow, Sweep, UnitFault};
use crate::verdict::{Class, Verdict};

/// Every strip of the board with the readings of a sweep.
pub fn path(sweep: &Sweep, board: &Board) -> Markup {
    let strips = strips(board);
    html! {
        div class="strips" {
            @for (i, strip) in strips.iter().enumerate() {
                @let branch = i > 0 && strips[..i].iter().any(|earlier| touches(earlier, strip.from));
                // Short strips stand beside each other.
                div class={ @if branch { "branch" } } style={ "--cells:" (strip.steps.len()) } {
                    (one(sweep, board, strip, branch))
                }
            }
        }
    }
}

/// Every strip of a board of which nothing has been measured: `data-segment` names each segment, and what carries
/// `data-value` is where its reading goes.
pub fn blank(board: &Board) -> Markup {
    html! {
        @for strip in strips(board) {
            ol class="strip" {
                @for (from, (segment, to)) in froms(&strip).zip(&strip.steps) {
                    @let named = board.segment(*segment);
                    li class="cell" data-segment=(named.name) {
                        (node(board, from, "node"))
                        @if strip.steps.last().is_some_and(|(_, last)| last == to) { (node(board, *to, "node to")) }
                        svg class="symbol" viewBox="-28 -12 56 24" aria-hidden="true" { (symbol(&named.kind, false)) }
                        p class="name" { span class="number" { (segment.index() + 1) } " " (named.name) }
                        p class="value" data-value { "–" }
                    }
                }
            }
        }
    }
}

fn one(sweep: &Sweep, board: &Board, strip: &Strip, branch: bool) -> Markup {
    let end = strip.steps.last().map_or(strip.from, |(_, to)| *to);
    html! {
        h3 {
            @if branch { "Branch from " } @else if strip.from == board.supply.ret { "Return from " } @else { "From " }
            b { (board.point(strip.from).name) } " to " b { (board.point(end).name) }
        }
        ol class="strip" {
            @for (from, (segment, to)) in froms(strip).zip(&strip.steps) {
                (cell(sweep, board, *segment, from, (*to == end).then_some(end)))
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
/// of a strip shows its end, too. What passes, or was not reached, is folded to name and reading.
fn cell(sweep: &Sweep, board: &Board, id: SegmentId, from: PointId, end: Option<PointId>) -> Markup {
    let segment = board.segment(id);
    let fault = words::booked(&sweep.judgement).iter().find(|fault| fault.place == segment.name);
    let rows: Vec<_> = sweep.judgement.segments.iter().filter(|row| row.name == segment.name).collect();
    let broken = fault.is_some_and(|fault| fault.class == Class::Open);
    let sign = fault.map(|fault| fault_sign(sweep, fault));
    let doubt = rows.iter().find(|row| row.verdict != Verdict::Pass);
    let frame = match (sign, doubt) {
        (Some(sign), _) => format!("cell full faulty {}", sign.class()),
        (None, Some(row)) => {
            let full = if row.class == Class::NotReached { "" } else { " full" };
            format!("cell{full} doubtful {}", Sign::Verdict(row.verdict).class())
        }
        (None, None) => "cell".to_owned(),
    };
    let full = frame.starts_with("cell full");
    html! {
        li class=(frame) {
            (node(board, from, "node"))
            @if let Some(end) = end { (node(board, end, "node to")) }
            svg class="symbol" viewBox="-28 -12 56 24" aria-hidden="true" { (symbol(&segment.kind, broken)) }
            p class="name" { span class="number" { (id.index() + 1) } " " (segment.name) }
            @if let (Some(fault), Some(sign)) = (fault, sign) {
                p class="flag" { (sign.icon()) (words::class(fault.class)) }
            }
            @for row in &rows {
                @if full { (at_large(row, rows.len() > 1)) } @else { (folded(row, rows.len() > 1)) }
            }
            @if rows.is_empty() { p class="small" { "not measured" } }
        }
    }
}

/// A reading with its scale and limit.
fn at_large(row: &SegmentRow, several: bool) -> Markup {
    html! {
        div class="row" {
            (gauge(row))
            p class="value" { (figures::segment(row)) }
            p class="small" {
                (figures::segment_limit(row))
                @if row.limit_derived { "*" }
                @if several { " · " (row.state) }
            }
            (mark::verdict(row.verdict))
        }
    }
}

/// A reading that needs no second look.
fn folded(row: &SegmentRow, several: bool) -> Markup {
    let sign = Sign::Verdict(row.verdict);
    html! {
        p class={ "value " (sign.class()) } {
            (sign.icon())
            span class="unseen" { (words::verdict(row.verdict)) ": " }
            (figures::segment_in_short(row))
            @if several { " · " (row.state) }
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
