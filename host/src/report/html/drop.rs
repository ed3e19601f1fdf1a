//! What a supply path costs: a stacked bar of everything that is lost on the way to a load, and a table of the parts.
//!
//! Parts are told apart by their numbers and by hatching every other one; colour only repeats that.

use maud::{Markup, html};

use super::gauge::unit;
use super::mark::{self, Sign};
use super::page::{body, facts, head, page, part, patterns, scroller};
use super::sweep::finding;
use crate::quantity::Volts;
use crate::report::drop as said;
use crate::verdict::Verdict;
use crate::voltage_drop::{DropSheet, LoadDrop, Part, PartSide};

/// Left and right end of the bar, its top and its height, in units of the drawing; a letter is so wide.
const LEFT: f64 = 4.0;
const RIGHT: f64 = 716.0;
const TOP: f64 = 18.0;
const HEIGHT: f64 = 30.0;
const LETTER: f64 = 6.5;

/// The page of one board, or of one unit.
pub fn drop(sheet: &DropSheet) -> String {
    let title = sheet.unit.as_ref().map_or(&sheet.board, |unit| &unit.serial);
    page("voltage drop", title, &drop_body(sheet))
}

/// The same without the sheet, to stand in another page.
pub fn drop_body(sheet: &DropSheet) -> Markup {
    let title = sheet.unit.as_ref().map_or(&sheet.board, |unit| &unit.serial);
    body(&html! {
        (patterns())
        header { (head("voltage drop", title, &html! {})) }
        (finding(sheet.verdict, "headline large", &said::headline(sheet)))
        (facts(&[
            ("Board", Some(html! { (sheet.board) ", revision " (sheet.revision) })),
            ("Figures", Some(html! { (said::stands_on(sheet)) })),
            ("Load", Some(html! { (said::conditions(sheet)) })),
            ("Needed", Some(html! { (said::needed(sheet)) })),
        ]))
        (part("What the path costs", &costs(sheet)))
        @if !sheet.notes.is_empty() {
            (part("Notes", &html! { ul { @for note in &sheet.notes { li { (note) } } } }))
        }
    })
}

/// Every load: its bar, what is found, its table.
pub fn costs(sheet: &DropSheet) -> Markup {
    html! {
        @for load in &sheet.loads {
            h3 { (load.load) " in state " (load.state) ", back from " (load.back) }
            p { (mark::verdict(load.verdict)) " " (said::finding(sheet, load)) }
            (bar(sheet, load))
            (table(load))
            p class="small" {
                "At full load " (load.load) " has " (said::at_load(load.lowest)) " to " (said::at_load(load.highest))
                " in all conditions; at the lowest supply and " (format!("{:.0}", load.worst_at.0)) "\u{a0}°C "
                (said::combined(load)) " if the errors are independent. "
                @for line in said::advice(load) { (line) " " }
            }
        }
        @if sheet.loads.is_empty() { p { (said::headline(sheet)) } }
    }
}

/// Millivolts from left to right: the parts one after the other, what may be lost as a tall line, what is beyond it hatched, and the whisker of
/// the whole.
fn bar(sheet: &DropSheet, load: &LoadDrop) -> Markup {
    let allowed = said::allowed(sheet);
    let most = sheet.supply[0] - load.lowest;
    // Three times what is allowed fills the bar: more is an arrow.
    let full = (most.max(load.drop).max(allowed) * 1.04).min(allowed.max(Volts(1e-6)) * 3.0);
    let x = |volts: Volts| LEFT + (volts / full).clamp(0.0, 1.0) * (RIGHT - LEFT);
    let mut ends = Vec::new();
    let mut lost = Volts::ZERO;
    for part in &load.parts {
        ends.push([lost, lost + part.drop]);
        lost = lost + part.drop;
    }
    let text = format!(
        "{} lost of {} that may be lost: {}",
        said::lost(load.drop),
        said::lost(allowed),
        load.parts
            .iter()
            .map(|part| format!("{} {}", said::name(part), said::lost(part.drop)))
            .collect::<Vec<_>>()
            .join(", ")
    );
    let middle = sheet.supply[0] - load.middle;
    let (limit, bottom) = (x(allowed), TOP + HEIGHT);
    let sign = Sign::Verdict(load.verdict);
    html! {
        svg class={ "stack " (sign.class()) } viewBox="0 0 720 74" role="img" aria-label=(text) {
            rect class="allowed" x=(LEFT) y=(TOP) width=(unit(limit - LEFT)) height=(HEIGHT) {}
            rect class="beyond" x=(unit(limit)) y=(TOP) width=(unit(RIGHT - limit)) height=(HEIGHT) {}
            @for (i, (part, [from, to])) in load.parts.iter().zip(&ends).enumerate() {
                (piece(part, [x(*from), x(*to)], i % 2 == 1))
            }
            path class="limit" d={ "M" (unit(limit)) " " (TOP - 6.0) "V" (bottom + 6.0) } {}
            @if limit > (LEFT + RIGHT) / 2.0 {
                text class="at end" x=(unit(limit - 4.0)) y="11" { (said::needed(sheet)) }
            } @else {
                text class="at" x=(unit(limit + 4.0)) y="11" { (said::needed(sheet)) }
            }
            @if load.drop > full {
                path class={ "arrow " (sign.class()) } d="M694 33H712M705 26.5 713.5 33 705 39.5" {}
            } @else {
                path class="whisker" d={
                    "M" (unit(x(middle - load.u95))) " 58H" (unit(x(most.max(middle + load.u95))))
                    "M" (unit(x(middle - load.u95))) " 54V62M" (unit(x(middle + load.u95))) " 54V62M" (unit(x(most))) " 51V65"
                } {}
            }
            @let worst = format!("at most {}", said::lost(most));
            @if x(most) + LETTER * worst.len() as f64 <= RIGHT && load.drop <= full {
                text class="at" x=(unit(x(most) + 4.0)) y="62" { (worst) }
            }
            text class="at" x=(LEFT) y="71" { "0\u{a0}V lost" }
            text class="at end" x=(RIGHT) y="71" { (said::lost(full)) }
        }
    }
}

fn piece(part: &Part, [from, to]: [f64; 2], hatched: bool) -> Markup {
    let label = part.number.map_or_else(|| "cell".to_owned(), |number| number.to_string());
    let wide = to - from;
    let class = if part.side == PartSide::Source { "piece cell" } else { "piece" };
    html! {
        // Thinner than a line there is nothing to see.
        @if wide > 0.1 {
            g {
                rect class=(class) x=(unit(from)) y=(TOP) width=(unit(wide)) height=(HEIGHT) {}
                @if hatched { rect class="beyond" x=(unit(from)) y=(TOP) width=(unit(wide)) height=(HEIGHT) {} }
                @if wide > LETTER * (label.len() as f64 + 1.0) {
                    text class="label" x=(unit((from + to) / 2.0)) y=(TOP + HEIGHT / 2.0 + 4.0) { (label) }
                }
            }
        }
    }
}

fn table(load: &LoadDrop) -> Markup {
    let limits_only = said::limits_only(load);
    let capacities = load.parts.iter().any(|part| part.capacity.is_some());
    let row = |part: &Part| {
        let warm = part.capacity.is_some_and(|capacity| capacity.exceeded);
        let origin = if limits_only { "" } else { said::origin(part) };
        html! {
            tr class=[warm.then_some(Sign::Verdict(Verdict::Fail).class())] {
                th scope="row" {
                    @if let Some(number) = part.number { span class="number" { (number) } " " }
                    (said::name(part)) " " span class="kind" { (part.kind) @if !origin.is_empty() { ", " (origin) } }
                }
                td class="figure" data-label="has" { (said::resistance(part)) }
                td class="figure" data-label="costs" { (said::lost(part.drop)) }
                td class="figure" data-label="share" { (said::share(part.share)) }
                td class="figure" data-label="heat" { (said::heat(part.heat_watts)) }
                @if capacities { td class="figure" data-label="carries" { (said::carries(part)) } }
            }
        }
    };
    let table = html! {
        table class="cards" {
            thead {
                tr {
                    th scope="col" { "Part" }
                    th scope="col" class="figure" { "Has" }
                    th scope="col" class="figure" { "Costs" }
                    th scope="col" class="figure" { "Share" }
                    th scope="col" class="figure" { "Heat" }
                    @if capacities { th scope="col" class="figure" { "Carries, 10\u{a0}K" } }
                }
            }
            tbody { @for part in &load.parts { (row(part)) } }
        }
    };
    scroller("What each part costs", &table)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board;
    use crate::limits::LimitSet;
    use crate::voltage_drop::{Conditions, by_limits};

    const BOARD: &str = include_str!("../../../../fixtures/greenhouse-valve-driver/board.toml");

    fn sheet(text: &str) -> DropSheet {
        let board = board::parse("board.toml", text).unwrap();
        by_limits(&board, &LimitSet::of_board(&board), Conditions::default())
    }

    #[test]
    fn every_part_stands_in_the_bar_by_number_and_in_the_table_by_name() {
        let sheet = sheet(BOARD);
        let text = drop(&sheet);
        assert_eq!(text.matches("<svg class=\"stack").count(), 2);
        for part in &sheet.loads[0].parts {
            assert!(text.contains(&format!("</span> {} ", part.name)), "{}", part.name);
        }
        assert!(text.contains(">17</text>"), "the shunt is wide enough for its number");
        assert!(!text.contains("NaN") && !text.contains("inf"));
        assert_eq!(
            text.matches("<th").count() - text.matches("<thead").count(),
            text.matches("<th scope=").count()
        );
    }

    #[test]
    fn a_path_that_takes_far_too_much_ends_in_an_arrow() {
        let mut sheet = sheet(BOARD);
        let load = &mut sheet.loads[0];
        load.parts[0].drop = Volts(1e6);
        load.drop = Volts(1e6);
        load.lowest = Volts(-1e6);
        let text = costs(&sheet).into_string();
        assert!(text.contains("class=\"arrow ") && text.contains("has none to"), "{text}");
    }
}
