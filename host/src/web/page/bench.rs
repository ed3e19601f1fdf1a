//! The page beside the bench: what to do now, what was found. For full hands: a scanner types, the lid starts, the bench sees
//! the switch; whatever it cannot see is said with Space, Enter or a pedal.

use axum::{
    extract::State,
    response::{Html, IntoResponse, Response},
};
use maud::{Markup, html};
use serde::Deserialize;

use super::{backdrop, sheet};
use crate::{
    report::{caution::CAUTIONS, html::blank_board},
    web::{api, app::App, extract::Query},
};

/// The page.
pub async fn bench(State(app): State<App>) -> Html<String> {
    let fixtures = app.fixtures.all();
    let body = html! {
        main id="content" class="bench" data-latest=(app.desk.feed().latest()) {
            form id="scan" class="scan" autocomplete="off" {
                label class="serial" {
                    span { "Serial number" }
                    input id="serial" name="serial" autofocus spellcheck="false" enterkeyhint="go"
                        placeholder="scan or type";
                }
                label { span { "Lot" } input id="lot" name="lot" spellcheck="false"; }
                label {
                    span { "Fixture" }
                    select id="fixture" name="fixture" {
                        @for known in &fixtures {
                            option value=(known.laid.fixture.name) { (known.laid.fixture.name) }
                        }
                    }
                }
                button type="submit" { "Sweep" }
            }
            (sheet::unusable(&app))
            section id="now" class="now" aria-live="polite" {
                p id="subject" class="subject" {}
                p id="before" class="before" {}
                p id="ask" class="ask" { "Connecting …" }
                p id="hint" class="hint" {}
                p id="trouble" class="complaint" role="alert" hidden {}
                progress id="progress" max="1" value="0" {}
                div class="actions" {
                    button id="confirm" type="button" hidden { "Done " kbd { "Space" } }
                    button id="cancel" type="button" hidden { "Cancel " kbd { "Esc" } }
                    button id="meant" type="button" hidden { "Sweep all the same" }
                }
            }
            section id="result" class="result" aria-live="assertive" {
                div class="shout" {
                    (signs())
                    p id="verdict" class="word" { "–" }
                }
                p id="headline" class="headline" {}
                div id="faults" {}
                p id="more" class="small" {}
            }
            section id="board" class="map" aria-label="Board and supply path" {}
            @if app.hands.is_some() {
                section id="hands" class="hands" {
                    h2 { "Virtual bench" }
                    p class="small" {
                        "No hardware is asked. A serial number is one invented unit, with its own fault or none; write a \
                         repair down for the place, and the fault is gone."
                    }
                    button id="lid" type="button" { "Close the lid" }
                    span id="states" {}
                }
            }
            section class="settings" {
                h2 { "Take care" }
                p { (CAUTIONS[0].full) }
                h2 { "Keys and sound" }
                p {
                    kbd { "Enter" } " or " kbd { "Space" } " in the empty field: done · " kbd { "Esc" } ": cancel · "
                    kbd { "F8" } ": sound " b id="sound" { "on" } " · pedal: "
                    button id="pedal" type="button" { "any key" }
                }
            }
        }
    };
    sheet::page("/", "Bench", Some("bench.js"), &body)
}

/// The shapes of all verdicts; the script shows the one that fits.
fn signs() -> Markup {
    use crate::{report::html::verdict_sign, verdict::Verdict};
    html! {
        @for verdict in [Verdict::Pass, Verdict::Fail, Verdict::Unproven, Verdict::Void] {
            span data-sign=(crate::report::words::verdict(verdict)) hidden { (verdict_sign(verdict)) }
        }
    }
}

/// Which board.
#[derive(Deserialize)]
pub struct Which {
    fixture: String,
}

/// A fixture's board from both sides, and its supply path, without readings.
pub async fn board(State(app): State<App>, Query(Which { fixture }): Query<Which>) -> Response {
    match app.fixtures.get(&fixture) {
        Some(known) => Html(
            blank_board(&known.laid.fixture.board, &backdrop::of(&app, &known.laid.fixture.board))
                .into_string(),
        )
        .into_response(),
        None => api::no_fixture(&app, &fixture).into_response(),
    }
}
