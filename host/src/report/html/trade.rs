//! A lot's trade on its page.

use maud::{Markup, html};

use super::links::Links;
use super::page::{facts, part, scroller};
use crate::report::trade;
use crate::trade::triage::{Act, Item};
use crate::trade::{Assessed, Assessment};

/// What a lot cost and earned, what to repair next, what another is worth, and whether to stop; nothing where nobody has written
/// anything down about money.
pub fn trade(found: &Assessed, links: &Links<'_>) -> Markup {
    match found {
        Err(error) => part("What it cost and earned", &html! { p { (error.to_string()) } }),
        Ok(found) if found.is_of_money() => money(found, links),
        Ok(_) => html! {},
    }
}

fn money(found: &Assessment, links: &Links<'_>) -> Markup {
    let lines = trade::account(&found.account);
    let lines: Vec<(&str, Option<Markup>)> =
        lines.into_iter().map(|(what, amount)| (what, Some(html! { (amount) }))).collect();
    html! {
        @if !lines.is_empty() { (part("What it cost and earned", &facts(&lines))) }
        @if found.price.is_none() { p { (trade::NO_PRICE) } }
        @if !found.triage.is_empty() { (part(trade::TRIAGE, &triage(&found.triage, links))) }
        @if let Some(worth) = &found.worth {
            (part("What another such lot is worth", &html! {
                p { (trade::worth(worth)) }
                p class="small" { (trade::WORTH_BASIS) }
            }))
        }
        @if let Some(stop) = &found.stop {
            (part("Stop here?", &html! { p { (trade::stop(stop, trade::first(found))) } }))
        }
    }
}

fn triage(items: &[Item], links: &Links<'_>) -> Markup {
    let table = html! {
        table class="cards" {
            thead {
                tr {
                    th scope="col" { "Unit" }
                    th scope="col" { "What to do" }
                    th scope="col" class="figure" { "Chance" }
                    th scope="col" class="figure" { "Minutes" }
                    th scope="col" class="figure" { "Gain" }
                    th scope="col" class="figure" { "In an hour" }
                }
            }
            tbody {
                @for item in items {
                    tr {
                        th scope="row" { (links.to_unit(&item.serial)) }
                        td data-label="what to do" {
                            @if !item.chosen && item.act != Act::Leave { "not in the hours given: " }
                            @if item.act == Act::Repair && !item.tries.is_empty() { (trade::tries(item)) }
                            @else { (trade::act(item.act)) }
                        }
                        @if item.act == Act::Leave {
                            td colspan="4" { "no repair is expected to pay" }
                        } @else {
                            td class="figure" data-label="chance" {
                                @if item.act != Act::Spares { (trade::percent(item.chance)) }
                            }
                            td class="figure" data-label="minutes" { (format!("{:.0}", item.minutes)) }
                            td class="figure" data-label="gain" { (item.gain.to_string()) }
                            td class="figure" data-label="in an hour" {
                                @if let Some(rate) = &item.gain_per_hour { (rate.to_string()) }
                            }
                        }
                    }
                }
            }
        }
    };
    html! {
        (scroller(trade::TRIAGE, &table))
        p class="small" { (trade::TRIAGE_BASIS) }
    }
}
