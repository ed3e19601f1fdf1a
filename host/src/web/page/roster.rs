//! A list of units on a page: found by a form, a screenful at a time, with boxes to do something with several at once.

use axum::{extract::State, response::Redirect};
use maud::{Markup, html};

use super::{
    link,
    paged::{self, Wanted},
    sheet::{Head, heads},
};
use crate::{
    records::{
        status::{Said, Status},
        summary::UnitLine,
    },
    report::{figures, html as report, words},
    web::{app::App, extract::Form, problem::Problem},
};

/// The form that says which units are shown; `lots` is false where the page is a lot's own.
pub fn filter(wanted: &Wanted, lots: bool) -> Markup {
    html! {
        form class="filter" method="get" {
            label { span { "Serial number has" } input name="text" value=[wanted.text()] spellcheck="false"; }
            @if lots {
                label { span { "Lot" } input name="lot" value=[wanted.lot()] spellcheck="false"; }
            }
            label {
                span { "Verdict" }
                select name="verdict" {
                    option value="" { "any" }
                    @for verdict in paged::VERDICTS {
                        option value=(words::verdict(verdict)) selected[wanted.is(verdict)] { (words::verdict(verdict)) }
                    }
                }
            }
            label {
                span { "Status" }
                select name="status" {
                    option value="" { "any" }
                    @for status in Status::ALL {
                        option value=(words::status(status)) selected[wanted.stands(status)] { (words::status(status)) }
                    }
                }
            }
            label {
                span { "Sorted by" }
                select name="order" {
                    @for (_, order) in paged::ORDERS { option value=(order) selected[wanted.is_by(order)] { (order) } }
                }
            }
            button type="submit" { "Show" }
        }
    }
}

/// The units of one page of the list, with what can be done with those that are ticked; `here` is the page's own address.
pub fn roster(units: &[UnitLine], wanted: &Wanted, here: &str, lots: bool) -> Markup {
    let shown = paged::cut(units, wanted.page);
    html! {
        p class="small" { (words::counted(units.len(), "unit", "units")) }
        form class="roster" method="post" action="/units" {
            input type="hidden" name="back" value=(here);
            div class="scroller" role="region" aria-label="Units" tabindex="0" {
                table {
                    thead {
                        tr {
                            th scope="col" { "Select" }
                            th scope="col" { "Serial number" }
                            @if lots { th scope="col" { "Lot" } }
                            (heads(&[Head::Text("Status"), Head::Text("Verdict"), Head::Text("Most likely"), Head::Figure("Sweeps"), Head::Figure("Repairs"), Head::Text("Board"), Head::Text("Last sweep")]))
                        }
                    }
                    tbody { @for line in shown { (row(line, lots)) } }
                }
            }
            div class="bulk" {
                p { "With the selected units:" }
                label {
                    span { "Status" }
                    select name="status" {
                        @for said in Said::ALL { option value=(words::status(said.into())) { (words::status(said.into())) } }
                    }
                }
                button type="submit" { "Set the status" }
                button type="submit" formaction="/api/v1/labels.pdf" formmethod="get" { "Print labels" }
            }
            details { summary { "Sheet of labels" } (sheet_of_labels()) }
        }
        (paged::ways(wanted.page, units.len(), &|page| wanted.address(page)))
    }
}

/// How labels are laid out: the fields of `labels.pdf`, with what it takes where nothing is said.
fn sheet_of_labels() -> Markup {
    let number = |name: &str, words: &str, value: &str, least: &str| {
        html! { label { span { (words) } input type="number" name=(name) value=(value) min=(least) step="any"; } }
    };
    html! {
        div class="filter" {
            (number("rows", "Labels from top to bottom", "8", "1"))
            (number("columns", "Labels from left to right", "3", "1"))
            (number("margin_mm", "Margin, mm", "10", "0"))
            label { span { "Code" } select name="code" { option value="qr" { "QR" } option value="code-128" { "Code 128" } } }
            label { span { "Paper" } select name="paper" { option value="a4" { "A4" } option value="letter" { "letter" } } }
        }
    }
}

fn row(line: &UnitLine, lots: bool) -> Markup {
    let unit = &line.unit;
    let swept = unit.swept.as_ref();
    let remark = words::remark(unit);
    html! {
        tr {
            td { input type="checkbox" name="serial" value=(unit.serial) aria-label={ "Select " (unit.serial) }; }
            th scope="row" { a href=(link::unit(&unit.serial)) { (unit.serial) } }
            @if lots { td { @if let Some(lot) = &line.lot { a href=(link::lot(lot)) { (lot) } } } }
            td { (words::status(unit.status)) }
            td {
                @match unit.now() {
                    Some(now) => { (report::verdict(now)) @if unit.won_back() { " " span class="small" { (words::WON_BACK) } } },
                    None => "not swept yet",
                }
            }
            td {
                @if let Some(fault) = swept.and_then(|swept| swept.fault.as_ref()) {
                    (fault.place) ": " (remark.unwrap_or(words::class(fault.class)))
                }
            }
            td class="count" { (swept.map_or(0, |swept| swept.sweeps)) }
            td class="count" { (unit.repairs) }
            td { @if let Some(swept) = swept { (swept.board) ", " (swept.revision) } }
            td { @if let Some(swept) = swept { (figures::time(swept.last_us)) } }
        }
    }
}

/// Sets the status of the units that are ticked.
pub async fn status(
    State(app): State<App>,
    Form(sent): Form<Vec<(String, String)>>,
) -> Result<Redirect, Problem> {
    let first =
        |key: &str| sent.iter().find(|(known, _)| known == key).map_or("", |(_, value)| value.as_str());
    let said = said(first("status"))?;
    let mut ticked = 0;
    for (_, serial) in sent.iter().filter(|(key, _)| key == "serial") {
        app.status(serial, said).await?;
        ticked += 1;
    }
    if ticked == 0 {
        return Err(Problem::bad_request("no unit is selected; go back and tick some"));
    }
    Ok(Redirect::to(&link::here_only(first("back"))))
}

/// The status that a word of the forms stands for.
pub fn said(word: &str) -> Result<Said, Problem> {
    let known = Said::ALL.into_iter().find(|said| words::status((*said).into()) == word);
    known.ok_or_else(|| Problem::bad_request(format!("{word:?} is no status; choose one of the list")))
}
