//! The page of one sweep.

use copperwalk_wire::hardware::{DRY_AMPS, LOAD_AMPS, RM_OHMS};
use maud::{Markup, html};

use super::drawing;
use super::drop;
use super::gauge::gauge;
use super::links::{Links, way_back};
use super::mark::{self, Sign};
use super::page::{body, facts, head, page, part, patterns, scroller};
use super::steps::steps;
use super::strip::{self, fault_sign};
use crate::board::Board;
use crate::limits::LimitSet;
use crate::measurement::{Manner, Measurement};
use crate::quantity::Ohms;
use crate::report::caution::CAUTIONS;
use crate::report::drop as said;
use crate::report::{figures, words};
use crate::sweep::{BenchFault, IsolationRow, Judgement, SegmentRow, Sweep};
use crate::verdict::{Class, Verdict};
use crate::voltage_drop::{Conditions, UnitRead, by_readings};

/// The page of one sweep, drawn on the board it was judged by.
pub fn sweep(sweep: &Sweep, board: &Board, links: &Links<'_>) -> String {
    let title = titles(sweep.measurement.manner).0;
    page(title, &sweep.measurement.serial, &sweep_body(sweep, board, links))
}

/// What the page is called, and what was done to the unit.
fn titles(manner: Manner) -> (&'static str, &'static str) {
    match manner {
        Manner::Sweep => ("sweep report", "Swept"),
        Manner::Hunt => ("hunt report", "Hunted"),
        Manner::ByHand => ("hunt report", "Hunted by hand"),
    }
}

/// The same without the sheet, to stand in another page.
pub fn sweep_body(sweep: &Sweep, board: &Board, links: &Links<'_>) -> Markup {
    let photos = (links.photos)(board);
    let judgement = &sweep.judgement;
    let void = judgement.verdict == Verdict::Void;
    let faulty = !words::booked(&sweep.judgement).is_empty();
    let by_hand = sweep.measurement.manner == Manner::ByHand;
    body(&html! {
        (patterns())
        header { (head(titles(sweep.measurement.manner).0, &sweep.measurement.serial, &back(sweep, links))) }
        div class={ "top" @if faulty { " mapped" } } {
            div {
                (finding(judgement.verdict, "headline large", &words::headline(&sweep.into())))
                (about(sweep))
                @if faulty { h2 { "What to do" } (advice(sweep)) }
            }
            // What to repair and where it lies belong side by side.
            @if faulty { (drawing::board(sweep, board, &photos)) }
        }
        @if void && by_hand { (part("The hunt", &ended(&judgement.bench_faults))) }
        @if void && !by_hand { (part("The bench", &bench_faults(&judgement.bench_faults))) }
        @if !judgement.notes.is_empty() {
            (part("Notes", &html! { ul { @for note in &judgement.notes { li { (note) } } } }))
        }
        @if !judgement.steps.is_empty() { (part("Path of questions", &steps(&judgement.steps))) }
        @if words::anything_read(judgement) {
            (part("Supply path", &supply_path(sweep, board)))
            @if !faulty { (part("Board", &drawing::board(sweep, board, &photos))) }
            // Without a brown-out voltage nothing is said of the loads that the limits do not say.
            @if !void && board.supply.brown_out.is_some() { (part("What the path costs", &path_costs(sweep, board))) }
        }
        // On paper these run in two columns.
        div class="details" {
            @if words::anything_read(judgement) { (part("Readings", &readings(judgement, board))) }
            @if !by_hand { (part("Checks", &checks(sweep))) }
            (part("Cautions", &cautions()))
            @if by_hand { (part("Method", &method_by_hand())) } @else { (part("Method", &method())) }
            (part("Judged by", &basis(sweep)))
        }
    })
}

fn back(sweep: &Sweep, links: &Links<'_>) -> Markup {
    let serial = sweep.measurement.serial.as_str();
    let lot = sweep.measurement.lot.as_deref();
    way_back(&[
        ("lot", lot.and_then(links.lot), lot.unwrap_or_default()),
        ("unit", (links.unit)(serial), serial),
    ])
}

/// What was swept, when and on what.
fn about(sweep: &Sweep) -> Markup {
    let Measurement { basis, lot, started_us, bench_name, manner, .. } = &sweep.measurement;
    let by_hand = *manner == Manner::ByHand;
    facts(&[
        ("Board", Some(html! { (basis.board) ", revision " (basis.revision) })),
        ("Lot", lot.as_ref().map(|lot| html! { (lot) })),
        (titles(*manner).1, Some(html! { (figures::time(*started_us)) })),
        (if by_hand { "Meter" } else { "Bench" }, Some(html! { (bench_name) })),
        (if by_hand { "Read" } else { "Meter" }, Some(html! { (words::stands_on(sweep)) })),
        ("Bed", figures::bed(&sweep.judgement.thermometers).map(|bed| html! { (bed) })),
        ("Air", sweep.judgement.air.map(|air| html! { (format!("{:.1}", air.0)) "\u{a0}°C" })),
    ])
}

/// The verdict, large: shape, word, and what it comes to.
pub fn finding(verdict: Verdict, class: &str, headline: &str) -> Markup {
    let sign = Sign::Verdict(verdict);
    html! {
        div class={ "finding " (sign.class()) } {
            (sign.icon())
            p class="word" { (words::verdict(verdict)) }
            p class=(class) { (headline) }
        }
    }
}

fn supply_path(sweep: &Sweep, board: &Board) -> Markup {
    html! {
        @if sweep.judgement.verdict == Verdict::Void {
            p { "Readings: " (words::void_readings(sweep.measurement.manner)) "." }
        }
        (strip::path(sweep, board))
        p class="small" { "What passes is shown small; its scale stands in the table of readings." }
    }
}

/// The voltage that is left at the loads by these readings.
fn path_costs(sweep: &Sweep, board: &Board) -> Markup {
    let unit = UnitRead { serial: sweep.measurement.serial.clone(), sweep: None };
    let limits = LimitSet::of_board(board);
    let sheet = by_readings(board, &limits, unit, &sweep.judgement.segments, Conditions::default());
    html! {
        p { (said::conditions(&sheet)) "." }
        (drop::costs(&sheet))
        @if !sheet.notes.is_empty() { ul { @for note in &sheet.notes { li { (note) } } } }
    }
}

fn readings(judgement: &Judgement, board: &Board) -> Markup {
    let reasons = words::reasons(judgement);
    html! {
        (segments(&judgement.segments, board))
        @if !judgement.isolation.is_empty() { (isolation(&judgement.isolation)) }
        @if !reasons.is_empty() { h3 { "Why not proven" } ul { @for reason in reasons { li { (reason) } } } }
    }
}

/// Why a hunt by hand is void.
fn ended(faults: &[BenchFault]) -> Markup {
    html! {
        @for fault in faults { p { (words::sentence(&fault.what)) } }
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
                    span class="certainty" { (words::certainty(fault)) }
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

/// A verdict with its class, which says something only where it is not `ok`.
fn judged(verdict: Verdict, class: Class) -> Markup {
    html! {
        (mark::verdict(verdict))
        @match class {
            Class::Ok => {}
            Class::RedundancyLost => { " " (mark::remark(words::class(class))) }
            class => { " " span class="kind" { (words::class(class)) } }
        }
    }
}

fn segments(rows: &[SegmentRow], board: &Board) -> Markup {
    let number =
        |name: &str| board.segment_named(name).map(|id| (id.index() + 1).to_string()).unwrap_or_default();
    let several_states = rows.iter().any(|row| row.state != rows[0].state);
    let table = html! {
        table class="cards" {
            caption {
                "Segments, at 20 °C"
                @if let (false, Some(row)) = (several_states, rows.first()) { ", in state " (row.state) }
            }
            thead {
                tr {
                    th scope="col" { "Segment" }
                    th scope="col" { "Verdict" }
                    th scope="col" class="scale" { "Scale" }
                    th scope="col" class="figure" { "Reading ± U" }
                    th scope="col" class="figure" { "Limit" }
                    th scope="col" class="figure healthy" { "Healthy" }
                    @if several_states { th scope="col" { "State" } }
                }
            }
            tbody {
                @for row in rows {
                    tr class=(Sign::Verdict(row.verdict).class()) {
                        th scope="row" {
                            span class="number" { (number(&row.name)) } " " (row.name) " " span class="kind" { (row.kind) }
                        }
                        td class="verdicts" { (judged(row.verdict, row.class)) }
                        td class="scale" { (gauge(row)) }
                        td class="figure" data-label="reading" { (figures::segment(row)) }
                        td class="figure" data-label="limit" { (figures::segment_limit(row)) @if row.limit_derived { "*" } }
                        td class="figure healthy" data-label="healthy" { "about " (figures::roughly(row.typical)) }
                        @if several_states { td data-label="state" { (row.state) } }
                    }
                }
            }
        }
    };
    html! {
        (scroller("Segments", &table))
        p class="small" {
            span class="screen" {
                "Each scale runs from zero; the upper limit is the tall line, what is beyond the limits is hatched, the \
                 whisker is the expanded uncertainty. An arrow stands for more than the scale holds. "
            }
            @if rows.iter().any(|row| row.limit_derived) { (words::DERIVED) }
        }
    }
}

fn isolation(rows: &[IsolationRow]) -> Markup {
    let table = html! {
        table class="cards" {
            caption { "What must not conduct" }
            thead {
                tr {
                    th scope="col" { "Between" }
                    th scope="col" { "Verdict" }
                    th scope="col" class="figure" { "Reading ± U" }
                    th scope="col" class="figure" { "Limit" }
                    th scope="col" { "State" }
                }
            }
            tbody {
                @for row in rows {
                    tr class=(Sign::Verdict(row.verdict).class()) {
                        th scope="row" { (row.name) @if row.is_switch { " (open)" } }
                        td class="verdicts" { (judged(row.verdict, row.class)) }
                        td class="figure" data-label="reading" { (figures::isolation(row)) }
                        td class="figure" data-label="limit" { (figures::isolation_limit(row)) }
                        td data-label="state" { (row.state) }
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
        table class="cards" {
            caption { "Raw readings kept with the record" }
            thead {
                tr {
                    th scope="col" { "Pass" }
                    th scope="col" { "State" }
                    th scope="col" class="figure" { "Readings" }
                    th scope="col" class="figure" { "Conversions" }
                    th scope="col" class="figure" { "Bench time" }
                }
            }
            tbody {
                @for run in &sweep.measurement.runs {
                    @let conversions: usize = run.shots.iter().map(|shot| shot.codes.len()).sum();
                    @let micros = run.shots.last().map_or(0, |shot| shot.to_us);
                    tr {
                        th scope="row" { (words::purpose(run.purpose).unwrap_or("every segment, as planned")) }
                        td data-label="state" { (run.state) }
                        td class="figure" data-label="readings" { (run.shots.len()) }
                        td class="figure" data-label="conversions" { (conversions) }
                        td class="figure" data-label="bench time" { (figures::duration(micros.into())) }
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
        @if !sweep.measurement.runs.is_empty() { div class="screen" { (scroller("Raw readings", &runs)) } }
    }
}

fn cautions() -> Markup {
    html! { ul class="cautions" { @for caution in &CAUTIONS { li { (caution.full) } } } }
}

fn method_by_hand() -> Markup {
    html! {
        p {
            b { "How it is measured. " }
            "Two tips held on the points by a person. Continuity: a beep shows that the way conducts, by a threshold somewhere from 20 to              100\u{a0}Ω, and nothing of its resistance. Two-wire: the leads, as read with the tips together, are taken off, and the \
             contacts of the tips stay in the reading. Four-wire: current and voltage have contacts of their own."
        }
        p {
            b { "What is concluded. " }
            "No segment is below zero, so each is at most what any reading over it is, and at least what such a reading is less the most that \
             the others can be. A segment fails or passes by these bounds alone. Probabilities in the list of questions say where to look \
             next, and prove nothing."
        }
        p {
            b { "What a verdict means. " }
            b { "Pass" } ": the bounds are inside the limits. " b { "Fail" } ": they are outside. " b { "Unproven" } ": neither; two tips \
             seldom prove limits of milliohms. " b { "Void" } ": the hunt was ended before it was decided."
        }
    }
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
    let hashes = sweep.measurement.basis.hashes();
    html! {
        dl class="hashes" {
            @for (what, name, hash) in hashes {
                div { dt { (what) span { (name) } } dd { code { (hash) } } }
            }
        }
        p class="small" { "SHA-256. The same hashes mean the same limits, pins and readings." }
    }
}
