//! The page of one lot.

use std::cmp::Reverse;

use maud::{Markup, html};

use super::gauge::unit;
use super::mark::{self, Sign};
use super::page::{facts, head, page, part, patterns, scroller};
use crate::records::summary::{LotSummary, ParetoRow, Place, UnitState};
use crate::report::{figures, words};
use crate::verdict::Verdict;

/// The page of one lot. `link` gives the address of a unit's page, if it has one.
pub fn lot(lot: &LotSummary, link: impl Fn(&str) -> Option<String>) -> String {
    let body = html! {
        (patterns())
        header {
            (head("lot report", &lot.lot))
            (facts(&[
                ("Units", Some(lot.units.len().to_string())),
                ("Sweeps", Some(lot.sweeps.to_string())),
                ("First sweep", Some(figures::time(lot.first_us))),
                ("Last sweep", Some(figures::time(lot.last_us))),
            ]))
        }
        (part("Yield", &yields(lot)))
        @if !lot.pareto.is_empty() { (part("Where units failed", &pareto(&lot.pareto))) }
        (part("Repair first", &first(lot, &link)))
        (part("Every unit", &units(&lot.units, &link)))
    };
    page("lot report", &lot.lot, &body)
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
                    }
                }
            }
        }
        p { (words::lot_remarks(lot)) }
        p class="small" { (words::YIELD) }
    }
}

fn pareto(rows: &[ParetoRow]) -> Markup {
    let most = f64::from(rows.iter().map(|row| row.units).max().unwrap_or(1).max(1));
    let table = html! {
        table class="pareto" {
            thead {
                tr {
                    th scope="col" { "Place" }
                    th scope="col" class="wide" { "Full: failing still. Hatched: repaired" }
                    th scope="col" class="figure" { "Units" }
                    th scope="col" class="figure" { "Still" }
                    th scope="col" class="figure" { "Up to here" }
                    th scope="col" { "Board" }
                }
            }
            tbody {
                @for (row, so_far) in rows.iter().zip(words::running_shares(rows)) {
                    @let (whole, still) = (f64::from(row.units) / most * 200.0, f64::from(row.still) / most * 200.0);
                    tr {
                        th scope="row" { (row.place) span class="kind" { (words::class(row.class)) } }
                        td class="wide" {
                            svg class="bar" viewBox="0 0 200 14" preserveAspectRatio="none" aria-hidden="true" {
                                rect class="done" width=(unit(whole)) height="14" {}
                                rect class="still" width=(unit(still)) height="14" {}
                            }
                        }
                        td class="figure" { (row.units) }
                        td class="figure" { (row.still) }
                        td class="figure" { (figures::share(Some(so_far))) }
                        td class="line" { (row.board) }
                    }
                }
            }
        }
    };
    scroller("Where units failed", &table)
}

/// Units that wait for the same repair, the largest group first: the iron is set up once.
fn first(lot: &LotSummary, link: &impl Fn(&str) -> Option<String>) -> Markup {
    let mut groups: Vec<(&str, &Place, Vec<&UnitState>)> = Vec::new();
    for unit in lot.units.iter().filter(|unit| matches!(unit.now, Verdict::Fail | Verdict::Unproven)) {
        let Some(place) = &unit.fault else { continue };
        match groups.iter_mut().find(|(board, known, _)| *board == unit.board && *known == place) {
            Some((.., units)) => units.push(unit),
            None => groups.push((&unit.board, place, vec![unit])),
        }
    }
    groups.sort_by_key(|(.., units)| Reverse(units.len()));
    let again: Vec<&UnitState> = lot
        .units
        .iter()
        .filter(|unit| unit.now == Verdict::Void || (unit.now != Verdict::Pass && unit.fault.is_none()))
        .collect();
    html! {
        @if groups.is_empty() { p { "No unit waits for a repair." } }
        ol class="groups" {
            @for (board, place, units) in &groups {
                li {
                    b { (place.place) } " " (words::class(place.class)) " on " (board) ", " (words::counted(units.len(), "unit", "units"))
                    ": " (names(units, link))
                }
            }
        }
        @if !again.is_empty() { p { "To be swept again: " (names(&again, link)) } }
    }
}

fn names(units: &[&UnitState], link: &impl Fn(&str) -> Option<String>) -> Markup {
    html! {
        @for (i, unit) in units.iter().enumerate() {
            @if i > 0 { ", " }
            (name(&unit.serial, link))
        }
    }
}

fn name(serial: &str, link: &impl Fn(&str) -> Option<String>) -> Markup {
    html! {
        @match link(serial) {
            Some(address) => { a href=(address) { (serial) } }
            None => { (serial) }
        }
    }
}

fn units(units: &[UnitState], link: &impl Fn(&str) -> Option<String>) -> Markup {
    let table = html! {
        table {
            thead {
                tr {
                    th scope="col" { "Unit" }
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
                    tr class=(Sign::Verdict(unit.now).class()) {
                        th scope="row" { (name(&unit.serial, link)) }
                        td { (mark::verdict(unit.now)) @if unit.won_back() { span class="won" { (words::WON_BACK) } } }
                        td { @if let Some(fault) = &unit.fault { (fault.place) " " (words::class(fault.class)) } }
                        td { (mark::verdict(unit.first)) }
                        td class="figure" { (unit.sweeps) }
                        td class="figure" { (unit.repairs) }
                        td class="line" { (unit.board) " " (unit.revision) }
                        td class="figure" { (figures::day(unit.last_us)) }
                    }
                }
            }
        }
    };
    scroller("Every unit", &table)
}
