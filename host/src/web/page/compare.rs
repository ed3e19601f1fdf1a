//! Two sweeps of a unit side by side, with what changed between them.

use axum::{extract::State, response::Html};
use maud::{Markup, html};
use serde::Deserialize;

use super::{link, sheet};
use crate::{
    records::{
        SweepId,
        summary::{PastSweep, UnitHistory},
        text,
    },
    report::{figures, html as report},
    sweep::{IsolationRow, SegmentRow},
    verdict::Verdict,
    web::{
        app::App,
        extract::{Path, Query},
        problem::Problem,
    },
};

/// Which two.
#[derive(Clone, Copy, Deserialize)]
pub struct Two {
    first: i64,
    second: i64,
}

/// The page.
pub async fn compare(
    State(app): State<App>,
    Path(serial): Path<String>,
    Query(two): Query<Two>,
) -> Result<Html<String>, Problem> {
    let serial = text::serial(&serial)?;
    let history = app.store.unit(&serial).await?;
    let (first, second) = (one(&history, two.first)?, one(&history, two.second)?);
    let heading = |sweep: &PastSweep| {
        html! {
            a href=(link::sweep(sweep.id)) { "Sweep " (sweep.id) } " " (figures::time(sweep.started_us)) " "
            (report::verdict(sweep.judgement.verdict))
        }
    };
    let body = html! {
        main id="content" {
            p { a href=(link::unit(&serial)) { "Unit " (serial) } }
            h1 { "Two sweeps side by side" }
            @if first.basis.board_hash != second.basis.board_hash {
                p class="complaint" { "The board's file was another one at each of them: rows are put together by their names." }
            }
            div class="scroller" role="region" aria-label="Two sweeps" tabindex="0" {
                table class="pairs" {
                    thead {
                        tr {
                            th scope="col" { "Segment" }
                            th scope="col" { "State" }
                            th scope="col" class="count" { (heading(first)) }
                            th scope="col" class="count" { (heading(second)) }
                            th scope="col" class="count" { "Change" }
                            th scope="col" class="count" { "Limit" }
                        }
                    }
                    tbody { (rows(first, second)) }
                }
            }
            p class="small" {
                "Segments at 20 °C. Marked rows have another verdict in the second sweep. A change is given where it is \
                 larger than the uncertainties of both readings together."
            }
        }
    };
    Ok(sheet::page("/units", &format!("{serial}, two sweeps"), None, &body))
}

fn one(history: &UnitHistory, id: i64) -> Result<&PastSweep, Problem> {
    let found = history.sweeps().find(|sweep| sweep.id == SweepId(id));
    found.ok_or_else(|| Problem::not_found(format!("unit {} has no sweep {id}", history.serial)))
}

fn rows(first: &PastSweep, second: &PastSweep) -> Markup {
    html! {
        @for after in &second.judgement.segments {
            @let before = first.judgement.segments.iter().find(|row| row.name == after.name && row.state == after.state);
            (row(
                &after.name,
                &after.state,
                before.map(|row| (figures::segment(row), row.verdict)),
                (figures::segment(after), after.verdict),
                before.and_then(|before| change(before, after)),
                figures::segment_limit(after),
            ))
        }
        @for after in &second.judgement.isolation {
            @let same = |row: &&IsolationRow| row.name == after.name && row.state == after.state;
            @let before = first.judgement.isolation.iter().find(same);
            @let name = if after.is_switch { format!("{} (open)", after.name) } else { after.name.clone() };
            (row(
                &name,
                &after.state,
                before.map(|row| (figures::isolation(row), row.verdict)),
                (figures::isolation(after), after.verdict),
                None,
                figures::isolation_limit(after),
            ))
        }
    }
}

fn row(
    name: &str,
    state: &str,
    before: Option<(String, Verdict)>,
    after: (String, Verdict),
    change: Option<String>,
    limit: String,
) -> Markup {
    let changed = before.as_ref().is_some_and(|(_, verdict)| *verdict != after.1);
    html! {
        tr class=[changed.then_some("changed")] {
            th scope="row" { (name) }
            td { (state) }
            td class="count" { @if let Some((figure, verdict)) = &before { (figure) " " (report::verdict_sign(*verdict)) } @else { "not measured" } }
            td class="count" { (after.0) " " (report::verdict_sign(after.1)) }
            td class="count" { @if let Some(change) = change { (change) } }
            td class="count" { (limit) }
        }
    }
}

/// By how much a segment reads otherwise; `None` where that may be chance: within the root sum of the squares of both
/// expanded uncertainties (JCGM 100:2008, 5.1.2, uncorrelated readings).
fn change(before: &SegmentRow, after: &SegmentRow) -> Option<String> {
    let difference = after.at_20c?.0 - before.at_20c?.0;
    let u95 = before.u95?.0.hypot(after.u95?.0);
    (difference.abs() > u95).then(|| {
        let sign = if difference < 0.0 { "−" } else { "+" };
        format!("{sign}{}", figures::roughly(crate::quantity::Ohms(difference.abs())))
    })
}
