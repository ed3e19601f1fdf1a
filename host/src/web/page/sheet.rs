//! What every page of the daemon has: head, ways to the others, foot.

use axum::response::Html;
use maud::{DOCTYPE, Markup, html};

use crate::{visible::path as shown, web::app::App};

/// The pages, in the order of a working day.
const PAGES: [(&str, &str); 5] = [
    ("/", "Bench"),
    ("/units", "Units"),
    ("/lots", "Lots"),
    ("/boards", "Boards"),
    ("/health", "Bench health"),
];

/// A page. `here` is its own address among the pages; `script` names the script it needs.
pub fn page(here: &str, title: &str, script: Option<&str>, body: &Markup) -> Html<String> {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) " · Copperwalk" }
                link rel="stylesheet" href="/static/report.css";
                link rel="stylesheet" href="/static/page.css";
                link rel="icon" href="/static/icon.svg" type="image/svg+xml";
                @if let Some(script) = script { script src={ "/static/" (script) } defer {} }
            }
            body class="daemon" {
                a class="skip" href="#content" { "Skip to the content" }
                header class="masthead" {
                    p class="brand" { "Copperwalk" }
                    nav aria-label="Pages" {
                        @for (address, name) in PAGES {
                            a href=(address) aria-current=[(address == here).then_some("page")] { (name) }
                        }
                    }
                }
                (body)
            }
        }
    };
    Html(page.into_string())
}

/// The heading of a column.
#[derive(Clone, Copy)]
pub enum Head<'t> {
    /// Over words.
    Text(&'t str),
    /// Over figures, which stand to the right.
    Figure(&'t str),
}

/// The headings of a table, in order.
pub fn heads(heads: &[Head<'_>]) -> Markup {
    html! {
        @for head in heads {
            @match head {
                Head::Text(heading) => th scope="col" { (heading) },
                Head::Figure(heading) => th scope="col" class="count" { (heading) },
            }
        }
    }
}

/// Fixture files that cannot be used as they are, with what is wrong.
pub fn unusable(app: &App) -> Markup {
    let fixtures = app.fixtures.all();
    html! {
        @for known in fixtures.iter().filter(|known| known.problems.is_some()) {
            p class="complaint" {
                b { (known.laid.fixture.name) } " is used as it was last read; its file cannot be: "
                (known.problems.as_deref().unwrap_or_default())
            }
        }
        @for (path, why) in app.fixtures.unread() { p class="complaint" { (shown(&path)) ": " (why) } }
    }
}
