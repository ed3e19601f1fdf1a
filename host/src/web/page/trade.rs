//! Forms for trade: what went into a unit and what it brought, and what a lot cost.

use axum::{extract::State, response::Redirect};
use maud::{Markup, html};
use serde::de::DeserializeOwned;

use super::link;
use crate::{
    fault::method::Method,
    records::{status::Status, summary::UnitHistory},
    report::remedies,
    trade::Dealing,
    web::{
        app::App,
        dealing::NewCosts,
        extract::{Form, Path},
        problem::Problem,
    },
};

/// An amount, as somebody types it.
fn amount(name: &str, label: &str, example: &str, required: bool) -> Markup {
    html! {
        label { span { (label) } input name=(name) placeholder=(example) required[required] spellcheck="false" autocomplete="off"; }
    }
}

fn instead(words: &str) -> Markup {
    html! { label class="inline" { input type="checkbox" name="instead" value="true"; span { (words) } } }
}

/// What can be written down about a unit's trade. The page has its places in a list `places`, where it has a board.
pub fn of_unit(history: &UnitHistory) -> Markup {
    let here = link::unit(&history.serial);
    let is_sold = history.sold_for().is_some();
    html! {
        section class="adding" {
            h2 { "Trade" }
            div class="forms" {
                form method="post" action={ (here) "/work" } {
                    h3 { "Work that went into it" }
                    label { span { "Minutes" } input name="minutes" type="number" min="0" step="1" required; }
                    (amount("parts", "Parts used up", "1.20 EUR", false))
                    label {
                        span { "What the time went into" }
                        select name="method" {
                            option value="" { "the latest repair" }
                            @for method in Method::ALL { option value=(method.word()) { (remedies::method(method)) } }
                        }
                    }
                    (instead("In place of all work written down before"))
                    button type="submit" { "Write the work down" }
                }
                @if history.status != Status::Scrapped {
                    form method="post" action={ (here) "/sales" } {
                        h3 { @if is_sold { "What it was sold for" } @else { "Sold" } }
                        (amount("price", "The buyer paid", "45.00 EUR", true))
                        (amount("fees", "Selling cost", "3.53 EUR", false))
                        @if is_sold { input type="hidden" name="instead" value="true"; }
                        button type="submit" { @if is_sold { "Correct the sale" } @else { "Write the sale down" } }
                        p class="small" {
                            @if is_sold { "It counts in place of the sale written down before." }
                            @else { "The certificate for the buyer is below." }
                        }
                    }
                }
                @if is_sold {
                    form method="post" action={ (here) "/returns" } {
                        h3 { "Given back by the buyer" }
                        (amount("refund", "Paid back", "45.00 EUR", false))
                        label { span { "Because" } input name="because"; }
                        button type="submit" { "Write it down" }
                        p class="small" { "Sweep it before it is sold once more." }
                    }
                }
                form method="post" action={ (here) "/spares" } {
                    h3 { "A part taken off it" }
                    label { span { "Part" } input name="part" list="places" required spellcheck="false"; }
                    label { span { "For the unit, if for one" } input name="for" spellcheck="false"; }
                    label class="inline" { input type="checkbox" name="put_back" value="true"; span { "It was put back" } }
                    button type="submit" { "Write the part down" }
                }
            }
        }
    }
}

/// What can be said of a lot as a whole.
pub fn of_lot(lot: &str) -> Markup {
    html! {
        section class="adding" {
            h2 { "Write down" }
            div class="forms" {
                form method="post" action={ (link::lot(lot)) "/costs" } {
                    h3 { "What the lot cost" }
                    (amount("paid", "Paid for it", "120.00 EUR", false))
                    (amount("freight", "Freight", "18.50 EUR", false))
                    (amount("other", "Another cost", "4.00 EUR", false))
                    label { span { "What the other cost was for" } input name="other_name" placeholder="customs"; }
                    label { span { "Units bought" } input name="units" type="number" min="1" step="1"; }
                    button type="submit" { "Write the costs down" }
                    p class="small" { "What is left empty stays as it was. Of each item the latest statement counts." }
                }
                form method="post" action={ (link::lot(lot)) "/costs" } {
                    h3 { "What its units may bring" }
                    (amount("price", "A good unit, fees taken off", "45.00 EUR", false))
                    (amount("spares", "The spares of a unit", "3.00 EUR", false))
                    button type="submit" { "Write the worth down" }
                    p class="small" { "Sales outweigh it as they come in." }
                }
            }
        }
    }
}

/// Writes down what concerns a unit's trade: work, a sale, a return or a spare.
pub async fn deal<Sent>(
    State(app): State<App>,
    Path(serial): Path<String>,
    Form(sent): Form<Sent>,
) -> Result<Redirect, Problem>
where
    Sent: DeserializeOwned + TryInto<Dealing, Error = Problem>,
{
    let serial = app.deal(&serial, &sent.try_into()?).await?;
    Ok(Redirect::to(&link::unit(&serial)))
}

/// Writes down what a lot cost.
pub async fn costs(
    State(app): State<App>,
    Path(lot): Path<String>,
    Form(sent): Form<NewCosts>,
) -> Result<Redirect, Problem> {
    let lot = app.say_of_lot(&lot, &sent.said()?).await?;
    Ok(Redirect::to(&link::lot(&lot)))
}
