//! What every page of the daemon has: head, ways to the others, foot.

use axum::response::Html;
use maud::{DOCTYPE, Markup, html};

/// The pages, in the order of a working day.
const PAGES: [(&str, &str); 1] = [("/", "Bench")];

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
                header class="top" {
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
