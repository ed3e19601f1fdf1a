//! The sheet every page is printed on.

use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");

/// A whole page. `kicker` says what kind of sheet it is, `body` is everything inside.
pub fn page(kicker: &str, title: &str, body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta name="generator" content={ "copperwalk " (env!("CARGO_PKG_VERSION")) };
                title { (title) " · " (kicker) }
                // The style sheet is our own file, never a person's text.
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    (body)
                    footer { "Copperwalk " (env!("CARGO_PKG_VERSION")) ". This sheet needs nothing from elsewhere." }
                }
            }
        }
    }
    .into_string()
}

/// The head of a sheet: what it is, whose it is.
pub fn head(kicker: &str, title: &str) -> Markup {
    html! {
        p class="kicker" { "Copperwalk" span { (kicker) } }
        h1 { (title) }
    }
}

/// Facts as pairs. A pair without a value is left out.
pub fn facts(pairs: &[(&str, Option<String>)]) -> Markup {
    html! {
        dl class="facts" {
            @for (name, value) in pairs {
                @if let Some(value) = value {
                    div { dt { (name) } dd { (value) } }
                }
            }
        }
    }
}

/// A part of the sheet with its heading in the margin.
pub fn part(heading: &str, body: &Markup) -> Markup {
    html! {
        section {
            h2 { (heading) }
            div class="part" { (body) }
        }
    }
}

/// A table that scrolls inside its own frame where the screen is too narrow, by keyboard too.
pub fn scroller(label: &str, table: &Markup) -> Markup {
    html! { div class="scroller" role="region" aria-label=(label) tabindex="0" { (table) } }
}

/// The patterns drawings refer to. Once per page.
pub fn patterns() -> Markup {
    html! {
        svg class="patterns" width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                pattern id="hatch" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)" {
                    path class="hatch" d="M0 0V5" {}
                }
                pattern id="hatch-fail" width="5" height="5" patternUnits="userSpaceOnUse"
                    patternTransform="rotate(-45)" {
                    path class="hatch-fail" d="M0 0V5" {}
                }
            }
        }
    }
}
