//! The sheet every page is printed on.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::report::text::{clean, cut};

/// In the head of every page of this program, whatever its version: by this a page is known again.
pub const MARK: &str = r#"<meta name="generator" content="copperwalk "#;

/// The style sheet of every report.
pub const STYLE: &str = include_str!("style.css");

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
                title { (cut(&clean(title), 60)) " · " (kicker) }
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

/// The body of a report. Escaping keeps names from being markup; this keeps them from turning the line they stand in.
pub fn body(body: &Markup) -> Markup {
    PreEscaped(body.0.split('\n').map(clean).collect::<Vec<_>>().join("\n"))
}

/// The head of a sheet: what it is, whose it is, and the way back.
pub fn head(kicker: &str, title: &str, way_back: &Markup) -> Markup {
    html! {
        p class="kicker" { "Copperwalk" span { (kicker) } }
        (way_back)
        h1 { (title) }
    }
}

/// Facts as pairs. A pair without a value is left out.
pub fn facts(pairs: &[(&str, Option<Markup>)]) -> Markup {
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

/// A table that scrolls inside its own frame where the screen is too narrow, by keyboard too; shades at its edges show
/// that there is more. On a telephone each row is a card instead.
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// The colours of one scheme: `--name: #rrggbb`.
    fn colours(block: &str) -> BTreeMap<&str, [f64; 3]> {
        let pairs =
            block.split(['{', ';', '}']).filter_map(|rule| rule.trim().strip_prefix("--")?.split_once(": #"));
        let channel = |hex: &str, at: usize| u8::from_str_radix(&hex[at..at + 2], 16).unwrap();
        pairs
            .filter(|(_, hex)| hex.len() == 6)
            .map(|(name, hex)| (name, [0, 2, 4].map(|at| f64::from(channel(hex, at)) / 255.0)))
            .collect()
    }

    /// Contrast ratio after WCAG 2.1, "relative luminance" and "contrast ratio" (formulas from memory).
    fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
        let luminance = |colour: [f64; 3]| {
            let [r, g, b] =
                colour.map(|c| if c <= 0.03928 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) });
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    #[test]
    fn black_on_white_has_the_published_contrast() {
        assert!((contrast([0.0; 3], [1.0; 3]) - 21.0).abs() < 1e-9);
    }

    /// WCAG 2.1, 1.4.3: text against its ground at least 4.5 to 1.
    #[test]
    fn text_can_be_read_in_both_schemes() {
        let blocks: Vec<_> = STYLE.match_indices(":root {").map(|(at, _)| &STYLE[at..]).collect();
        let schemes = blocks.iter().map(|block| colours(&block[..block.find('}').unwrap()]));
        let schemes: Vec<_> = schemes.filter(|scheme| scheme.len() > 10).collect();
        assert!(schemes.len() >= 2);
        for scheme in schemes {
            for ground in ["paper", "wash"] {
                for text in ["ink", "soft", "pass", "fail", "unproven", "void", "link"] {
                    let ratio = contrast(scheme[text], scheme[ground]);
                    assert!(ratio >= 4.5, "{text} on {ground}: {ratio:.2}");
                }
            }
        }
    }
}
