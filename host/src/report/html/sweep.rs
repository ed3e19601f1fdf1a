//! The page of one sweep.

use copperwalk_wire::hardware::{DRY_AMPS, LOAD_AMPS, RM_OHMS};
use maud::{Markup, html};

use super::drawing;
use super::mark::{self, Sign};
use super::page::{facts, head, page, part, patterns, scroller};
use super::strip::{self, fault_sign};
use crate::board::Board;
use crate::quantity::Ohms;
use crate::report::caution::CAUTIONS;
use crate::report::{figures, words};
use crate::sweep::{BenchFault, IsolationRow, SegmentRow, Sweep};
use crate::verdict::Verdict;

/// The page of one sweep, drawn on the board it was judged by.
pub fn sweep(sweep: &Sweep, board: &Board) -> String {
    let void = sweep.judgement.verdict == Verdict::Void;
    let body = html! {
        (patterns())
        header {
            (head("sweep report", &sweep.measurement.serial))
            (finding(sweep.judgement.verdict, &words::headline(&sweep.into())))
            (facts(&[
                ("Board", Some(format!("{}, revision {}", sweep.measurement.basis.board, sweep.measurement.basis.revision))),
                ("Lot", sweep.measurement.lot.clone()),
                ("Swept", Some(figures::time(sweep.measurement.started_us))),
                ("Bench", Some(sweep.measurement.bench_name.clone())),
                ("Air", sweep.judgement.air.map(|air| format!("{:.1}\u{a0}°C", air.0))),
            ]))
        }
        @if void { (part("The bench", &bench_faults(&sweep.judgement.bench_faults))) }
        @if !words::booked(&sweep.judgement).is_empty() { (part("What to do", &advice(sweep))) }
        @if !sweep.judgement.notes.is_empty() {
            (part("Notes", &html! { ul { @for note in &sweep.judgement.notes { li { (note) } } } }))
        }
        (part("Supply path", &html! {
            @if void { p { "Readings of a void sweep help to find what is wrong with the bench. They prove nothing about the unit." } }
            (strip::path(sweep, board))
            p class="small" {
                "Each scale runs from zero; the upper limit is the tall line, what is beyond the limits is hatched, the \
                 whisker is the expanded uncertainty. An arrow stands for more than the scale holds."
                @if sweep.judgement.segments.iter().any(|row| row.limit_derived) { " " (words::DERIVED) }
            }
        }))
        (part("Board", &drawing::board(sweep, board)))
        (part("Readings", &html! {
            (segments(&sweep.judgement.segments, board))
            @if !sweep.judgement.isolation.is_empty() { (isolation(&sweep.judgement.isolation)) }
            @let reasons = words::reasons(&sweep.judgement);
            @if !reasons.is_empty() { h3 { "Why not proven" } ul { @for reason in reasons { li { (reason) } } } }
        }))
        (part("Checks", &checks(sweep)))
        (part("Cautions", &cautions()))
        (part("Method", &method()))
        (part("Judged by", &basis(sweep)))
    };
    page("sweep report", &sweep.measurement.serial, &body)
}

/// The verdict, large: shape, word, and what it comes to.
pub fn finding(verdict: Verdict, headline: &str) -> Markup {
    let sign = Sign::Verdict(verdict);
    html! {
        div class={ "finding " (sign.class()) } {
            (sign.icon())
            p class="word" { (words::verdict(verdict)) }
            p class="headline" { (headline) }
        }
    }
}

fn bench_faults(faults: &[BenchFault]) -> Markup {
    html! {
        @for fault in faults {
            div class="fault void" {
                h3 { (Sign::Verdict(Verdict::Void).icon()) (fault.part) }
                p { (words::sentence(&fault.what)) }
            }
        }
        p { "Put the bench right and sweep the unit again. Nothing in this sweep counts for or against it." }
    }
}

fn advice(sweep: &Sweep) -> Markup {
    html! {
        @for fault in words::booked(&sweep.judgement) {
            @let sign = fault_sign(sweep, fault);
            div class={ "fault " (sign.class()) } {
                h3 {
                    (sign.icon()) (words::finding(fault))
                    span class="probability" { (words::probability(fault.probability)) " probable" }
                }
                dl {
                    @for (name, text) in [
                        ("Cause", &fault.advice.cause),
                        ("Repair", &fault.advice.repair),
                        ("Take care", &fault.advice.caution),
                    ] {
                        @if !text.trim().is_empty() { dt { (name) } dd { (words::sentence(text)) } }
                    }
                }
            }
        }
    }
}

fn segments(rows: &[SegmentRow], board: &Board) -> Markup {
    let number = |name: &str| board.segment_named(name).map(|id| (id.0 + 1).to_string()).unwrap_or_default();
    let table = html! {
        table {
            caption { "Segments, at 20 °C" }
            thead {
                tr {
                    th scope="col" class="figure" { "No." }
                    th scope="col" { "Segment" }
                    th scope="col" { "Verdict" }
                    th scope="col" class="figure" { "Reading ± U" }
                    th scope="col" class="figure" { "Limit" }
                    th scope="col" class="figure" { "Healthy" }
                    th scope="col" { "State" }
                    th scope="col" { "Kind" }
                    th scope="col" { "Class" }
                }
            }
            tbody {
                @for row in rows {
                    tr class=(Sign::Verdict(row.verdict).class()) {
                        td class="figure" { (number(&row.name)) }
                        th scope="row" { (row.name) }
                        td { (mark::verdict(row.verdict)) }
                        td class="figure" { (figures::segment(row)) }
                        td class="figure" { (figures::segment_limit(row)) @if row.limit_derived { "*" } }
                        td class="figure" { "about " (figures::roughly(row.typical)) }
                        td { (row.state) }
                        td { (row.kind) }
                        td { (words::class(row.class)) }
                    }
                }
            }
        }
    };
    html! {
        (scroller("Segments", &table))
        @if rows.iter().any(|row| row.limit_derived) {
            p class="small" { (words::DERIVED) }
        }
    }
}

fn isolation(rows: &[IsolationRow]) -> Markup {
    let table = html! {
        table {
            caption { "What must not conduct" }
            thead {
                tr {
                    th scope="col" { "Between" }
                    th scope="col" { "Verdict" }
                    th scope="col" class="figure" { "Reading ± U" }
                    th scope="col" class="figure" { "Limit" }
                    th scope="col" { "State" }
                    th scope="col" { "Class" }
                }
            }
            tbody {
                @for row in rows {
                    tr class=(Sign::Verdict(row.verdict).class()) {
                        th scope="row" { (row.name) @if row.is_switch { " (open)" } }
                        td { (mark::verdict(row.verdict)) }
                        td class="figure" { (figures::isolation(row)) }
                        td class="figure" { (figures::isolation_limit(row)) }
                        td { (row.state) }
                        td { (words::class(row.class)) }
                    }
                }
            }
        }
    };
    scroller("What must not conduct", &table)
}

/// What proves the bench: standards, closure, and the raw material.
fn checks(sweep: &Sweep) -> Markup {
    let runs = html! {
        table {
            caption { "Raw readings kept with the record" }
            thead {
                tr {
                    th scope="col" { "Run" }
                    th scope="col" { "State" }
                    th scope="col" class="figure" { "Shots" }
                    th scope="col" class="figure" { "Codes" }
                    th scope="col" class="figure" { "Device time" }
                }
            }
            tbody {
                @for run in &sweep.measurement.runs {
                    @let codes: usize = run.shots.iter().map(|shot| shot.codes.len()).sum();
                    @let micros = run.shots.last().map_or(0, |shot| shot.to_us);
                    tr {
                        th scope="row" { (run.purpose.word().replace('_', " ")) }
                        td { (run.state) }
                        td class="figure" { (run.shots.len()) }
                        td class="figure" { (codes) }
                        td class="figure" { (figures::duration(micros.into())) }
                    }
                }
            }
        }
    };
    html! {
        ul class="checks" {
            @for row in &sweep.judgement.standards {
                li {
                    (mark::verdict(row.verdict)) " Check standard " b { (row.name) } ": " (figures::standard(row))
                    ", stated " (figures::stated(row.stated)) " within " (figures::percent(row.tolerance)) "."
                }
            }
            @for row in &sweep.judgement.closures {
                @let verdict = if row.agrees { Verdict::Pass } else { Verdict::Unproven };
                li { (mark::verdict(verdict)) " Series " (figures::closure(row)) "." }
            }
            li { "The bench ran " (figures::work(&sweep.measurement.work())) "." }
        }
        @if !sweep.measurement.runs.is_empty() { (scroller("Raw readings", &runs)) }
    }
}

fn cautions() -> Markup {
    html! { ul class="cautions" { @for caution in &CAUTIONS { li { (caution.full) } } } }
}

fn method() -> Markup {
    let milliamps = |amps: f64| format!("{}\u{a0}mA", amps * 1e3);
    html! {
        p {
            b { "How it is measured. " }
            "Four-wire: current flows through one pair of pins, voltage is read across another, so pins, relays and \
             leads drop out. The reading is the ratio of the unit's voltage to the voltage over a "
            (figures::stated(Ohms(RM_OHMS))) " resistor that carries the same current, so the meter's reference cancels. \
             Current is reversed and reversed again, which removes thermal voltages, steady or drifting. Contacts are \
             read with about " (milliamps(DRY_AMPS)) " and at most 20\u{a0}mV, so that a film shows before it is broken \
             down; copper and fuses with " (milliamps(LOAD_AMPS)) ". Isolation sees less than 200\u{a0}mV."
        }
        p {
            b { "What ± means. " }
            "U is the expanded uncertainty at 95\u{a0}%, worked out after the Guide to the Expression of Uncertainty in \
             Measurement (JCGM\u{a0}100) from noise, the measuring resistor, gain, thermal voltages, leakage and \
             temperature. Copper is referred to 20\u{a0}°C with the coefficient of IEC\u{a0}60028; everything else is \
             judged as measured."
        }
        p {
            b { "What a verdict means. " }
            b { "Pass" } ": the reading with all of U is inside the limits. " b { "Fail" } ": it is outside with all of \
             U. " b { "Unproven" } ": U straddles the limit, or the segment could not be reached. " b { "Void" } ": the \
             bench was at fault, and nothing is said about the unit. What is not proven is never passed."
        }
    }
}

fn basis(sweep: &Sweep) -> Markup {
    let basis = &sweep.measurement.basis;
    html! {
        dl class="hashes" {
            @for (what, name, hash) in [
                ("Board file", basis.board.as_str(), &basis.board_hash),
                ("Fixture file", basis.fixture.as_str(), &basis.fixture_hash),
                ("Plan", "compiled from both", &basis.plan_hash),
            ] {
                div { dt { (what) span { (name) } } dd { code { (hash) } } }
            }
        }
        p class="small" { "SHA-256. The same three hashes mean the same limits, pins and shots." }
    }
}
