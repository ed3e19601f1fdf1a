//! The page of one lot.

use std::cmp::Reverse;

use maud::{Markup, html};

use super::gauge::unit;
use super::links::Links;
use super::mark::{self, Sign};
use super::page::{body, facts, head, page, part, patterns, scroller};
use super::trade::trade;
use crate::records::summary::{LotSummary, Place, UnitState};
use crate::report::{figures, words};
use crate::trade::Assessed;
use crate::verdict::Verdict;

/// Width of the longest bar, in units of its drawing.
const BAR: f64 = 200.0;

/// The page of one lot.
pub fn lot(lot: &LotSummary, found: &Assessed, links: &Links<'_>) -> String {
    let units = body(&part("Every unit", &units(&lot.units, links)));
    page("lot report", &lot.lot, &html! { (lot_body(lot, found, links)) (units) })
}

/// The same without the sheet and without the list of units: what stands in a page that has a list of its own.
pub fn lot_body(lot: &LotSummary, found: &Assessed, links: &Links<'_>) -> Markup {
    let time = |us| html! { (figures::time(us)) };
    body(&html! {
        (patterns())
        header {
            (head("lot report", &lot.lot, &html! {}))
            (facts(&[
                ("Units", Some(html! { (lot.units.len()) })),
                ("Sweeps", Some(html! { (lot.sweeps) })),
                ("First sweep", lot.first_us.map(time)),
                ("Last sweep", lot.last_us.map(time)),
            ]))
        }
        (part("Yield", &yields(lot)))
        (part("Repair first", &first(lot, links)))
        @if !lot.pareto.is_empty() { (part("Where units failed", &pareto(lot))) }
        (trade(found, links))
    })
}

fn yields(lot: &LotSummary) -> Markup {
    html! {
        div class="yields" {
            @for (name, counts) in [("Yield as they came", lot.first), ("Yield as they are now", lot.now)] {
                div {
                    p class="big" { (figures::share(counts.passed())) }
                    p {
                        (name)
                        @if let Some(between) = figures::share_interval(counts.passed_interval()) {
                            span class="interval" { "95\u{a0}% interval " (between) }
                        }
                    }
                    div class="parts" aria-hidden="true" {
                        @for (verdict, of) in words::COUNTED {
                            @let sign = Sign::Verdict(verdict);
                            @if of(counts) > 0 {
                                span class=(sign.class()) style={ "flex-grow:" (of(counts)) } { (sign.icon()) }
                            }
                        }
                    }
                    ul class="counts" {
                        @for (verdict, of) in words::COUNTED {
                            @if of(counts) > 0 { li { (mark::verdict(verdict)) " " (of(counts)) } }
                        }
                        @if counts.unswept > 0 { li { "not swept yet " (counts.unswept) } }
                    }
                }
            }
        }
        p { (words::lot_remarks(lot)) }
        p class="small" { (words::YIELD) }
    }
}

fn pareto(lot: &LotSummary) -> Markup {
    let rows = &lot.pareto;
    let full = figures::full_bar(lot);
    let length = |units: u32| unit(f64::from(units) / f64::from(full) * BAR);
    let table = html! {
        table class="cards pareto" {
            thead {
                tr {
                    th scope="col" { "Place" }
                    th scope="col" class="figure" { "Units" }
                    th scope="col" class="wide" { "Solid: still to repair. Hatched: repaired" }
                    th scope="col" class="figure" { "To repair" }
                    th scope="col" class="figure" { "Running share" }
                    th scope="col" { "Board" }
                }
            }
            tbody {
                @for (row, so_far) in rows.iter().zip(words::running_shares(rows)) {
                    tr {
                        th scope="row" { (row.place) " " span class="kind" { (words::class(row.class)) } }
                        td class="figure" data-label="units" { (row.units) }
                        td class="wide" {
                            svg class="bar" viewBox={ "0 0 " (BAR) " 14" } preserveAspectRatio="none" aria-hidden="true" {
                                path class="axis" d={ "M0 14H" (BAR) } {}
                                rect class="done" width=(length(row.units)) height="14" {}
                                rect class="still" width=(length(row.still)) height="14" {}
                            }
                        }
                        td class="figure" data-label="to repair" { (row.still) }
                        td class="figure" data-label="running share" { (figures::share(Some(so_far))) }
                        td class="line" data-label="board" { (row.board) }
                    }
                }
            }
        }
    };
    html! {
        (scroller("Where units failed", &table))
        p class="small" {
            "The places with most units come first. A bar over the whole width would be "
            (words::counted(full as usize, "unit", "units"))
            ". Running share: the units of this row and of those above it among all that failed somewhere."
        }
    }
}

/// Units that wait for the same repair together: the iron is set up once.
fn first(lot: &LotSummary, links: &Links<'_>) -> Markup {
    let mut groups: Vec<(&str, &Place, Vec<&UnitState>)> = Vec::new();
    let mut again: Vec<&UnitState> = Vec::new();
    for unit in lot.units.iter().filter(|unit| unit.status.is_here()) {
        let Some(swept) = &unit.swept else { continue };
        match (swept.now, &swept.fault) {
            (Verdict::Pass, _) => {}
            (Verdict::Fail | Verdict::Unproven, Some(place)) => {
                match groups.iter_mut().find(|(board, known, _)| *board == swept.board && *known == place) {
                    Some((.., units)) => units.push(unit),
                    None => groups.push((&swept.board, place, vec![unit])),
                }
            }
            (Verdict::Void, _) | (_, None) => again.push(unit),
        }
    }
    groups.sort_by_key(|(board, place, units)| (Reverse(units.len()), *board, &place.place));
    html! {
        @if groups.is_empty() {
            p { "No unit waits for a repair." }
        } @else {
            p class="small" {
                "Units with the same repair stand together. The repair that most units wait for comes first; of equal \
                 ones by board, then by name."
            }
        }
        ol class="groups" {
            @for (board, place, units) in &groups {
                li {
                    b { (place.place) } " " (words::class(place.class)) " on " (board) ", " (words::counted(units.len(), "unit", "units"))
                    ": " (names(units, links))
                }
            }
        }
        @if !again.is_empty() { p { "To be swept again: " (names(&again, links)) } }
    }
}

fn names(units: &[&UnitState], links: &Links<'_>) -> Markup {
    html! {
        @for (i, unit) in units.iter().enumerate() {
            @if i > 0 { ", " }
            (links.to_unit(&unit.serial))
        }
    }
}

fn units(units: &[UnitState], links: &Links<'_>) -> Markup {
    let table = html! {
        table class="cards" {
            thead {
                tr {
                    th scope="col" { "Unit" }
                    th scope="col" { "Status" }
                    th scope="col" { "Now" }
                    th scope="col" { "Where" }
                    th scope="col" { "Came in" }
                    th scope="col" class="figure" { "Sweeps" }
                    th scope="col" class="figure" { "Repairs" }
                    th scope="col" { "Board" }
                    th scope="col" class="figure" { "Last swept" }
                }
            }
            tbody {
                @for unit in units {
                    @let remark = words::remark(unit);
                    @match &unit.swept {
                        Some(swept) => {
                            tr class=(Sign::Verdict(swept.now).class()) {
                                th scope="row" { (links.to_unit(&unit.serial)) }
                                td data-label="status" { (words::status(unit.status)) }
                                td class="verdicts" {
                                    (mark::verdict(swept.now))
                                    @if let Some(remark) = remark { " " (mark::remark(remark)) }
                                    @if unit.won_back() { " " span class="repaired" { (words::WON_BACK) } }
                                }
                                td data-label="where" { @if let Some(fault) = &swept.fault {
                                        (fault.place) @if remark.is_none() { " " (words::class(fault.class)) }
                                    } }
                                td data-label="came in" { (mark::verdict(swept.first)) }
                                td class="figure" data-label="sweeps" { (swept.sweeps) }
                                td class="figure" data-label="repairs" { (unit.repairs) }
                                td class="line" data-label="board" { (swept.board) " " (swept.revision) }
                                td class="figure" data-label="last" { (figures::day(swept.last_us)) }
                            }
                        }
                        None => {
                            tr {
                                th scope="row" { (links.to_unit(&unit.serial)) }
                                td data-label="status" { (words::status(unit.status)) }
                                td colspan="7" { "not swept yet" }
                            }
                        }
                    }
                }
            }
        }
    };
    scroller("Every unit", &table)
}
