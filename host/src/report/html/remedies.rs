//! The page of what can be done about a unit: each proposal with what it promises and costs, and its wire on the board.

use maud::{Markup, html};

use super::links::{Links, way_back};
use super::mark;
use super::page::{body, head, page, part, patterns, scroller};
use super::{Backdrop, drawing};
use crate::board::Board;
use crate::remedy::{Proposal, Together, Wiring};
use crate::report::remedies::{self as told, Sheet};
use crate::report::{figures, words};

/// The page.
pub fn remedies(sheet: &Sheet<'_>, board: &Board, links: &Links<'_>) -> String {
    page("remedies", sheet.serial, &remedies_body(sheet, board, links))
}

/// The same without the sheet, to stand in another page.
pub fn remedies_body(sheet: &Sheet<'_>, board: &Board, links: &Links<'_>) -> Markup {
    let photos = (links.photos)(board);
    let remedies = sheet.remedies;
    let back = way_back(&[("unit", (links.unit)(sheet.serial), sheet.serial)]);
    body(&html! {
        (patterns())
        header {
            (head("remedies", sheet.serial, &back))
            p { (sheet.board) ", revision " (sheet.revision) "; by " (links.to_sweep(sheet.serial, sheet.sweep)) "." }
        }
        @if let Some(together) = &remedies.together { (part("For the whole path", &set(together, &remedies.proposals))) }
        (part("Proposals", &list(&remedies.proposals)))
        @for proposal in &remedies.proposals {
            (part(&format!("{}. {}", proposal.number, told::method(proposal.method)), &in_full(proposal, board, &photos)))
        }
        @if !remedies.excluded.is_empty() {
            (part("Not possible here", &html! {
                ul {
                    @for excluded in &remedies.excluded {
                        li { b { (excluded.place) ", " (told::method(excluded.method)) } ": " (words::sentence(&excluded.why)) }
                    }
                }
            }))
        }
    })
}

fn list(proposals: &[Proposal]) -> Markup {
    let table = html! {
        table class="cards" {
            caption { "The least effort for a cure first" }
            thead {
                tr {
                    th scope="col" { "Remedy" }
                    th scope="col" { "Where" }
                    th scope="col" class="figure" { "Cures" }
                    th scope="col" class="figure" { "Effort" }
                    th scope="col" { "Then" }
                }
            }
            tbody {
                @for proposal in proposals {
                    tr {
                        th scope="row" { span class="number" { (proposal.number) } " " (told::method(proposal.method)) }
                        td data-label="where" { (proposal.place) " " span class="kind" { (words::class(proposal.class)) } }
                        td class="figure" data-label="cures" { (figures::chance(proposal.chance)) }
                        td class="figure" data-label="effort" { (told::effort(proposal)) }
                        td data-label="then" { @if let Some(predicted) = &proposal.predicted { (mark::verdict(predicted.verdict)) } }
                    }
                }
            }
        }
    };
    html! {
        (scroller("Proposals", &table))
        p class="small" {
            "Cures: the fault is there and the repair works. Effort: minutes for each unit cured, its sweep included."
        }
    }
}

fn in_full(proposal: &Proposal, board: &Board, photos: &Backdrop) -> Markup {
    let needs = [proposal.tools.as_str(), &proposal.parts];
    let needs: Vec<&str> = needs.into_iter().filter(|text| !text.is_empty()).collect();
    let takes = format!(
        "{}; spoils the board in {}",
        told::minutes(proposal.minutes),
        figures::chance(proposal.spoils)
    );
    let chance =
        format!("there in {}; {}", figures::chance(proposal.probability), told::works(&proposal.works));
    let then = proposal.predicted.as_ref().map(told::prediction).unwrap_or_default();
    html! {
        div class="fault" {
            h3 { (proposal.place) " " (words::class(proposal.class)) }
            dl {
                @for (name, text) in [
                    ("Do", proposal.how.as_str()),
                    ("Cut", proposal.wire.as_ref().map_or("", |wiring| &wiring.cutting)),
                    ("Chance", &chance),
                    ("Takes", &takes),
                    ("Needs", &needs.join("; ")),
                    ("Then", &then),
                    ("Take care", &proposal.caution),
                ] {
                    @if !text.trim().is_empty() { dt { (name) } dd { (words::sentence(text)) } }
                }
            }
        }
        @if let Some(wiring) = &proposal.wire { (drawn(wiring, board, photos)) }
    }
}

fn drawn(wiring: &Wiring, board: &Board, photos: &Backdrop) -> Markup {
    html! {
        (drawing::wired(board, wiring, photos))
        p class="small" {
            "Hatched: where nothing may lie. Dots: where the wire is held down with adhesive. It lies across "
            (wiring.bypasses.join(", ")) "."
        }
    }
}

fn set(together: &Together, proposals: &[Proposal]) -> Markup {
    let chosen = together.numbers.iter().filter_map(|number| proposals.get(number.wrapping_sub(1)));
    html! {
        p {
            @if together.suffices { "The least effort that brings the whole path inside its budget:" }
            @else { "No combination is proven to bring the whole path inside its budget; the least effort:" }
        }
        ul { @for proposal in chosen { li { (proposal.number) ". " (proposal.place) ": " (told::method(proposal.method)) } } }
        p {
            "About " (format!("{:.0}", together.minutes)) " minutes with the sweep; all of it works in "
            (figures::chance(together.chance)) "."
        }
        ul {
            @for load in &together.loads {
                li {
                    (mark::verdict(load.verdict)) " " (load.load) " in state " (load.state) ": at least "
                    (format!("{:.3}", load.lowest.0)) "\u{a0}V at full load, "
                    (format!("{:.0}", load.margin.0 * 1e3)) "\u{a0}mV to spare"
                }
            }
        }
    }
}
