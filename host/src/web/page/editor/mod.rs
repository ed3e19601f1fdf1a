//! The board editor: a board is drawn over photos of its two sides, checked while it is drawn, and saved as files.
//!
//! The page is a frame; `editor.js` and the modules beside it fill it. `model.js` is the board with its steps, `view.js` draws both sides,
//! `tools.js` is pointer and keys, `forms.js` everything that is typed, `photo.js` the marks on a photo, `snap.js` a click refined by it, `api.js` what is
//! asked of the daemon.

use axum::{extract::State, response::Html};
use maud::{Markup, html};

use super::sheet;
use crate::{
    board::parts,
    quantity::Ohms,
    report::figures,
    web::{app::App, extract::Path, problem::Problem},
};

/// Tools, each with its key and what it is for.
const TOOLS: [(&str, &str, &str); 8] = [
    ("select", "1", "Choose"),
    ("path", "2", "Lay the path"),
    ("width", "3", "Measure a width"),
    ("outline", "4", "Board's edge"),
    ("pour", "5", "Outline a pour"),
    ("holes", "6", "Match holes"),
    ("hole", "7", "Hole in a pour"),
    ("keep_out", "8", "Keep pins out"),
];

/// Kinds of segments, each with its key.
const KINDS: [(&str, &str); 14] = [
    ("trace", "t"),
    ("via", "v"),
    ("joint", "j"),
    ("fuse", "f"),
    ("resettable", "r"),
    ("ferrite", "b"),
    ("inductor", "l"),
    ("shunt", "s"),
    ("switch", "k"),
    ("connector", "c"),
    ("wire", "w"),
    ("diode", "d"),
    ("transistor", "m"),
    ("pour", "u"),
];

/// A new board.
pub async fn new(State(app): State<App>) -> Html<String> {
    sheet::page("/boards", "New board", None, &frame(&app, ""))
}

/// A board of the fixtures' folder.
pub async fn edit(State(app): State<App>, Path(key): Path<String>) -> Result<Html<String>, Problem> {
    let folder = app.fixtures.folder().map(crate::daemon::drafts::list).unwrap_or_default();
    if !folder.contains(&key) {
        let detail = format!("there is no board {key:?} to be changed; there are: {}", folder.join(", "));
        return Err(Problem { near: folder, ..Problem::not_found(detail) });
    }
    Ok(sheet::page("/boards", &key, None, &frame(&app, &key)))
}

fn frame(app: &App, key: &str) -> Markup {
    html! {
        link rel="stylesheet" href="/static/editor.css";
        script type="module" src="/static/editor.js" {}
        main id="content" class="editor" data-key=(key) data-saves=(app.fixtures.folder().is_some()) data-usual=(usual()) {
            div class="bar" {
                h1 id="title" { @if key.is_empty() { "New board" } @else { (key) } }
                p id="state" class="small" role="status" { "Opening …" }
                span class="acts" {
                    button id="undo" type="button" { "Undo " kbd { "Ctrl Z" } }
                    button id="redo" type="button" { "Redo" }
                    button id="save" type="button" { "Save " kbd { "Ctrl S" } }
                }
            }
            @if app.fixtures.folder().is_none() {
                p class="complaint" {
                    "This daemon shows the built-in examples. A board can be drawn and checked here; to save it, start the daemon with "
                    code { "--fixtures FOLDER" } "."
                }
            }
            p id="trouble" class="complaint" role="alert" hidden {}
            div class="kit" role="toolbar" aria-label="Tools" {
                @for (name, key, words) in TOOLS {
                    button type="button" data-tool=(name) aria-pressed="false" { (words) " " kbd { (key) } }
                }
            }
            div class="kit kinds" role="toolbar" aria-label="Next stretch of the path" {
                @for (kind, key) in KINDS {
                    button type="button" data-part=(kind) aria-pressed="false" { (kind) " " kbd { (key) } }
                }
            }
            p id="hint" class="hint" {}
            div class="table" {
                div class="faces" {
                    @for (side, words) in [("front", "Front"), ("back", "Back")] {
                        figure {
                            figcaption {
                                b { (words) }
                                label class="load" { span { "Photo" } input type="file" id={ "photo-" (side) } accept="image/jpeg,image/png"; }
                                span id={ "fit-" (side) } class="small" {}
                            }
                            svg id={ "sheet-" (side) } class="sheet" tabindex="0" role="application"
                                aria-label={ (words) " of the board. Arrows move, Space clicks." } {}
                        }
                    }
                    div class="look" {
                        label class="inline" { input type="checkbox" id="flipped" checked; span { "Back as the hand holds it" } }
                        label class="inline" { input type="checkbox" id="photos" checked; span { "Photos" } }
                        button id="whole" type="button" { "Whole board " kbd { "0" } }
                        span id="where" class="small" {}
                    }
                }
                aside class="forms-beside" {
                    div class="tabs" role="tablist" aria-label="Forms" {
                        @for (name, words) in [("chosen", "Chosen"), ("board", "Board"), ("supply", "Supply and states"), ("problems", "Problems")] {
                            button type="button" role="tab" id={ "tab-" (name) } aria-controls={ "form-" (name) } aria-selected="false" { (words) }
                        }
                    }
                    @for name in ["chosen", "board", "supply", "problems"] {
                        section role="tabpanel" id={ "form-" (name) } aria-labelledby={ "tab-" (name) } tabindex="0" hidden {}
                    }
                }
            }
            dialog id="marking" aria-labelledby="marking-title" {}
        }
    }
}

/// What parts usually read, by kind, as JSON for the forms.
fn usual() -> String {
    let of = |expected: crate::board::Expected| {
        let range = |ohms: Ohms| figures::roughly(ohms);
        format!("{}, at most {}", range(expected.typical), range(expected.high))
    };
    let usual = [
        ("joint", of(parts::JOINT)),
        ("fuse", of(parts::fuse(None))),
        ("resettable", of(parts::resettable(None))),
        ("ferrite", of(parts::FERRITE)),
        ("inductor", of(parts::INDUCTOR)),
        ("switch", of(parts::SWITCH)),
        ("connector", of(parts::CONNECTOR)),
        ("transistor", of(parts::TRANSISTOR)),
    ];
    serde_json::Value::Object(
        usual.into_iter().map(|(kind, words)| (kind.to_owned(), words.into())).collect(),
    )
    .to_string()
}
