//! The page of one unit: what happened to it, and how it read before and after.

use maud::{Markup, html};

use super::links::{Links, way_back};
use super::mark::{self, Sign};
use super::page::{body, facts, head, page, part, patterns, scroller};
use super::sweep::finding;
use crate::records::summary::{Event, PastSweep, UnitHistory};
use crate::report::{figures, trade, words};
use crate::verdict::{Class, Verdict};

/// The page of one unit.
pub fn unit(unit: &UnitHistory, links: &Links<'_>) -> String {
    page("unit report", &unit.serial, &unit_body(unit, links))
}

/// The same without the sheet, to stand in another page.
pub fn unit_body(unit: &UnitHistory, links: &Links<'_>) -> Markup {
    let judged = unit.judged().next_back();
    let promises = unit.promises();
    let lot = unit.lot.as_deref();
    let back = way_back(&[("lot", lot.and_then(links.lot), lot.unwrap_or_default())]);
    let board = |past: &PastSweep| html! { (past.basis.board) ", revision " (past.basis.revision) };
    body(&html! {
        (patterns())
        header {
            (head("unit report", &unit.serial, &back))
            @match unit.sweeps().next() {
                Some(_) => (finding(judged.map_or(Verdict::Void, |past| past.judgement.verdict), "headline", &words::life(unit))),
                None => p { (words::life(unit)) },
            }
            (facts(&[
                ("Lot", lot.map(|lot| html! { (lot) })),
                ("Status", Some(html! { (words::status(unit.status)) })),
                ("Board", judged.map(board)),
            ]))
        }
        (part("History", &history(unit, links)))
        @if !promises.is_empty() {
            (part("Predicted and read", &html! { ul { @for promise in &promises { li { (words::promise(promise)) } } } }))
        }
        @if let Some(burn_in) = unit.burn_in() {
            (part("Burn-in", &html! { p { (mark::verdict(burn_in.verdict)) " " (words::sentence(&words::burn_in(&burn_in))) } }))
        }
        @if !unit.checklist.is_empty() { (part("Checklist", &checklist(unit))) }
        (part("Before and after", &before_and_after(unit)))
    })
}

fn history(unit: &UnitHistory, links: &Links<'_>) -> Markup {
    html! {
        ol class="history" {
            @for event in &unit.events {
                @match event {
                    Event::Sweep(past) => {
                        li class=(Sign::Verdict(past.judgement.verdict).class()) {
                            time { (figures::day(past.started_us)) } " "
                            (mark::verdict(past.judgement.verdict)) " "
                            (links.to_sweep(&unit.serial, past.id))
                            ": " (words::told(unit, past))
                            @for fault in &past.judgement.bench_faults { " " (fault.part) ": " (words::sentence(&fault.what)) }
                        }
                    }
                    Event::Note(note) => { li { time { (figures::day(note.at_us)) } " " b { "Note" } ": " (note.text) } }
                    Event::Void(void) => {
                        li { time { (figures::day(void.at_us)) } " " b { "Correction" } ": " (words::correction(void)) }
                    }
                    Event::Repair(repair) => {
                        li class="repair" { time { (figures::day(repair.at_us)) } " " b { "Repair" } ": " (words::repair(repair))
                            @if let (Some(_), Some(address)) = (&repair.taken, (links.remedies)(&unit.serial)) { " (" a href=(address) { "as proposed" } ")" }
                        }
                    }
                    Event::Status(said) => {
                        li { time { (figures::day(said.at_us)) } " " b { "Status" } ": " (words::said(said)) }
                    }
                    Event::Photo(photo) => {
                        li { time { (figures::day(photo.at_us)) } " " b { "Photo" } " " (words::photo(photo)) }
                    }
                    Event::Watch(watch) => {
                        li class=(Sign::Verdict(watch.verdict).class()) {
                            time { (figures::day(watch.at_us)) } " "
                            (mark::verdict(watch.verdict)) " " (words::watch_entry(watch))
                        }
                    }
                    Event::Trade(entry) => {
                        li { time { (figures::day(entry.at_us)) } " " b { "Trade" } ": " (trade::dealing(&entry.dealing)) }
                    }
                    Event::Started(start) => {
                        li class=(Sign::Verdict(start.verdict).class()) {
                            time { (figures::day(start.at_us)) } " "
                            (mark::verdict(start.verdict)) " " (words::start_entry(start))
                        }
                    }
                    // In the list of checks, the latest answer of each.
                    Event::Tick(_) => {}
                }
            }
        }
    }
}

fn checklist(unit: &UnitHistory) -> Markup {
    html! {
        ul {
            @for tick in &unit.checklist {
                li {
                    time { (figures::day(tick.at_us)) } " " (tick.check) ": " b { (words::answer(tick.done)) }
                    @if !tick.note.is_empty() { ", " (tick.note) }
                }
            }
        }
    }
}

fn before_and_after(unit: &UnitHistory) -> Markup {
    let row = |name: String,
               state: &str,
               limit: String,
               before: (String, Verdict, Class),
               after: (String, Verdict, Class)| {
        // What a wire bypasses is judged with the wire.
        let said = |verdict, class| match class {
            Class::Bypassed => html! { span class="kind" { (words::class(class)) } },
            _ => mark::verdict(verdict),
        };
        html! {
            tr class={ (Sign::Verdict(after.1).class()) @if before.1 != after.1 { " changed" } } {
                th scope="row" { (name) }
                td class="figure" data-label="first" { (before.0) }
                td { (said(before.1, before.2)) }
                td class="figure" data-label="latest" { (after.0) }
                td { (said(after.1, after.2)) }
                td class="figure" data-label="limit" { (limit) }
                td data-label="state" { (state) }
            }
        }
    };
    let table = html! {
        table class="cards pairs" {
            thead {
                tr {
                    th scope="col" { "Segment" }
                    th scope="col" class="figure" { "First reading" }
                    th scope="col" { "was" }
                    th scope="col" class="figure" { "Latest reading" }
                    th scope="col" { "is" }
                    th scope="col" class="figure" { "Limit" }
                    th scope="col" { "State" }
                }
            }
            tbody {
                @for trend in unit.segment_trends() {
                    @if let (Some(before), Some(after)) = (trend.before(), trend.after()) {
                        (row(
                            after.name.clone(),
                            &after.state,
                            figures::segment_limit(after),
                            (figures::segment(before), before.verdict, before.class),
                            (figures::segment(after), after.verdict, after.class),
                        ))
                    }
                }
                @for trend in unit.isolation_trends() {
                    @if let (Some(before), Some(after)) = (trend.before(), trend.after()) {
                        (row(
                            if after.is_switch { format!("{} (open)", after.name) } else { after.name.clone() },
                            &after.state,
                            figures::isolation_limit(after),
                            (figures::isolation(before), before.verdict, before.class),
                            (figures::isolation(after), after.verdict, after.class),
                        ))
                    }
                }
            }
        }
    };
    html! {
        (scroller("Before and after", &table))
        p class="small" { "Segments at 20 °C. Void sweeps are left out: they say nothing about the unit." }
    }
}
