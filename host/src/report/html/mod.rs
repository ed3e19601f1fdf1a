//! Self-contained HTML pages: one per sweep, per unit and per lot, and one of the bench's health. No script, no font,
//! no image from elsewhere; a page can be mailed, printed and opened in ten years.
//!
//! Each report is a body that stands in any page ([`sweep_body`], [`unit_body`], [`lot_body`], [`health_body`], [`drop_body`], all
//! under [`STYLE`]) and a whole page of its own ([`sweep()`], [`unit()`], [`lot()`], [`health()`], [`drop()`]).
//!
//! `page` is the sheet every page is printed on, `mark` the shapes of the verdicts, `links` the ways between reports.
//! The sweep page draws the supply path as strips (`path` lays it out, `strip` draws it, `gauge` is the scale of a
//! reading, `chart` a course of readings) and the board from both sides (`drawing`, with `place` finding room for the
//! lettering, over photos if there are any: `backdrop`). All text goes through `maud`, which escapes it.

use maud::{Markup, html};

use crate::board::Board;
use crate::verdict::Verdict;

mod backdrop;
mod chart;
mod drawing;
mod drop;
mod gauge;
mod health;
mod links;
mod lot;
mod mark;
mod page;
mod path;
mod place;
mod question;
mod remedies;
mod route;
mod steps;
mod strip;
mod sweep;
mod symbol;
mod trade;
mod unit;

pub use backdrop::{Backdrop, Picture};
pub use drop::{drop, drop_body};
pub use health::{health, health_body, left_out};
pub use links::Links;
pub use lot::{lot, lot_body};
pub use mark::verdict;
pub use page::{MARK, STYLE};
pub use question::question;
pub use remedies::{remedies, remedies_body};
pub use sweep::{sweep, sweep_body};
pub use unit::{unit, unit_body};

/// A board of which nothing has been measured, from both sides and as strips: for a page that marks segments as they are read.
pub fn blank_board(board: &Board, photos: &Backdrop) -> Markup {
    html! { (page::patterns()) (drawing::blank(board, photos)) (strip::blank(board)) }
}

/// The shape of a verdict.
pub fn verdict_sign(verdict: Verdict) -> Markup {
    mark::Sign::Verdict(verdict).icon()
}

#[cfg(test)]
mod tests {
    use super::Links;
    use crate::records::summary::Place;
    use crate::report::sample;
    use crate::sweep::Sweep;
    use crate::verdict::Class;
    use std::collections::BTreeSet;

    fn pages() -> Vec<String> {
        let (nasty, nasty_board) = sample::nasty();
        let strange = || Some("a/\"b\".html?x=<y>&z".to_owned());
        let links =
            Links { lot: &|_| strange(), unit: &|_| strange(), sweep: &|_, _| strange(), ..Links::NONE };
        let mut strange_lot = sample::lot();
        strange_lot.units[1].serial = sample::NASTY.to_owned();
        let mut strange_trade = sample::assessed();
        strange_trade.as_mut().unwrap().triage[0].serial = sample::NASTY.to_owned();
        let mut strange_unit = sample::history();
        strange_unit.serial = sample::NASTY.to_owned();
        let mut strange_health = crate::report::health::tests::wandered();
        strange_health.standards[0].name = sample::NASTY.to_owned();
        strange_health.left_out[0].why = sample::NASTY.to_owned();
        vec![
            super::sweep(&sample::good(), &sample::board(), &Links::NONE),
            super::sweep(&sample::good_on(&sample::small_board()), &sample::small_board(), &Links::NONE),
            super::sweep(&sample::open_via(), &sample::board(), &Links::NONE),
            super::sweep(&sample::several(), &sample::board(), &Links::NONE),
            super::sweep(&sample::branch_dead(), &sample::branching_board(), &Links::NONE),
            super::sweep(&sample::void(), &sample::board(), &Links::NONE),
            super::sweep(&sample::unproven(), &sample::branching_board(), &Links::NONE),
            super::sweep(&nasty, &nasty_board, &links),
            super::lot(&strange_lot, &strange_trade, &links),
            super::lot(&sample::lot(), &sample::assessed(), &Links::NONE),
            super::unit(&strange_unit, &links),
            super::unit(&sample::history(), &Links::NONE),
            super::health(&strange_health, 0),
        ]
    }

    /// Every tag of a page: name, and whether it closes.
    fn tags(page: &str) -> impl Iterator<Item = (&str, bool)> {
        let body = page.split("</style>").nth(1).unwrap();
        body.split('<').skip(1).map(|piece| {
            let inside = piece.split_once('>').expect("a tag that never ends").0;
            let name = inside.trim_start_matches('/').split_whitespace().next().unwrap();
            (name, inside.starts_with('/'))
        })
    }

    #[test]
    fn every_tag_is_closed_by_its_own() {
        for page in pages() {
            let mut open = vec!["html", "head"];
            for (name, closes) in tags(&page) {
                match closes {
                    true => assert_eq!(open.pop(), Some(name)),
                    false => open.push(name),
                }
            }
            assert!(open.is_empty(), "{open:?} stay open");
        }
    }

    #[test]
    fn no_text_becomes_markup_and_nothing_comes_from_elsewhere() {
        let known: BTreeSet<&str> = "a b body caption circle code dd defs desc div dl dt figcaption figure footer g h1 h2 \
                                     h3 head header html li main nav ol p path pattern polygon rect section span svg \
                                     table tbody td text th thead time title tr ul"
            .split_whitespace()
            .collect();
        for page in pages() {
            for (name, _) in tags(&page) {
                assert!(known.contains(name), "<{name}>");
            }
            for outside in
                ["http:", "https:", "//", "@import", "src=", "url(\"", "\u{1b}", "\u{202e}", "javascript"]
            {
                let page = page.replace("<!DOCTYPE html>", "").replace(&html_escaped(sample::NASTY), "");
                assert!(!page.contains(outside), "{outside}");
            }
        }
    }

    fn html_escaped(text: &str) -> String {
        maud::html! { (text) }.into_string()
    }

    #[test]
    fn no_number_is_broken_and_every_column_has_a_scope() {
        for page in pages() {
            assert!(!page.contains("NaN") && !page.contains("inf "));
            assert_eq!(
                page.matches("<th").count() - page.matches("<thead").count(),
                page.matches("<th scope=").count()
            );
            assert!(page.starts_with("<!DOCTYPE html><html lang=\"en\">"));
        }
    }

    #[test]
    fn a_page_says_the_verdict_in_words_and_shape() {
        let verdicts = [("fail", sample::open_via()), ("pass", sample::good()), ("void", sample::void())];
        for (word, of) in verdicts {
            let page = super::sweep(&of, &sample::board(), &Links::NONE);
            assert!(page.contains(&format!("<p class=\"word\">{word}</p>")));
            assert!(page.contains(&format!("<svg class=\"sign {word}\"")));
        }
    }

    #[test]
    fn a_failed_sweep_says_what_to_do_and_what_to_take_care_of() {
        let page = super::sweep(&sample::open_via(), &sample::board(), &Links::NONE);
        for text in [
            "Plating that cracked",
            "push a thin bare wire",
            "Do not drill",
            "local rules",
            "95\u{a0}%",
            "IEC\u{a0}60028",
        ] {
            assert!(page.contains(text), "{text}");
        }
        let sweep = sample::open_via();
        for (.., hash) in sweep.measurement.basis.hashes() {
            assert!(page.contains(hash));
        }
    }

    #[test]
    fn a_body_is_the_whole_report_without_the_sheet() {
        let (sweep, board) = (sample::several(), sample::board());
        let body = super::sweep_body(&sweep, &board, &Links::NONE).into_string();
        assert!(super::sweep(&sweep, &board, &Links::NONE).contains(&format!("<main>{body}<footer>")));
        assert!(!body.contains("<style") && !body.contains("<body"));
        let mut turned = sweep;
        turned.measurement.serial = "SN\u{202e}7".to_owned();
        let body = super::sweep_body(&turned, &board, &Links::NONE).into_string();
        assert!(body.contains("SN") && !body.contains('\u{202e}'));
    }

    #[test]
    fn a_sweep_leads_back_to_its_unit_and_its_lot_and_a_unit_to_its_lot() {
        let page = |name: &str| Some(format!("{name}.html"));
        let links = Links { lot: &page, unit: &page, ..Links::NONE };
        let (lot, unit) = ("<a href=\"spring clear-out.html\">", "<a href=\"TG-0042.html\">");
        let sweep = super::sweep(&sample::open_via(), &sample::board(), &links);
        assert!(sweep.contains(lot) && sweep.contains(unit));
        assert!(super::unit(&sample::history(), &links).contains(lot));
        for page in [
            super::sweep(&sample::open_via(), &sample::board(), &Links::NONE),
            super::unit(&sample::history(), &Links::NONE),
        ] {
            assert!(!page.contains("<nav") && !page.contains("<a "));
        }
    }

    #[test]
    fn a_unit_that_lost_a_via_passes_with_a_remark() {
        let mut lot = sample::lot();
        let swept = lot.units[0].swept.as_mut().unwrap();
        swept.fault = Some(Place { place: "via pair 2".to_owned(), class: Class::RedundancyLost });
        let page = super::lot(&lot, &sample::assessed(), &Links::NONE);
        let row = page.split("<tr").find(|row| row.contains("TG-0041</th>")).unwrap();
        assert!(row.contains("</svg>pass</span>") && row.contains("</svg>redundancy lost</span>"), "{row}");
    }

    #[test]
    fn a_void_sweep_in_which_nothing_was_read_shows_no_readings() {
        let mut sweep = sample::void();
        let body = |sweep: &Sweep| super::sweep_body(sweep, &sample::board(), &Links::NONE).into_string();
        assert!(body(&sweep).contains("Supply path"));
        sample::nothing_read(&mut sweep);
        let body = body(&sweep);
        assert!(
            body.contains("The bench") && !body.contains("Supply path") && !body.contains("Segments, at")
        );
    }

    #[test]
    fn a_lot_says_what_to_repair_first() {
        let page = super::lot(
            &sample::lot(),
            &sample::assessed(),
            &Links { unit: &|serial| Some(format!("{serial}.html")), ..Links::NONE },
        );
        let first = page.find("<b>via pair 1</b> open on tide gauge head, 2 units").unwrap();
        let then = page.find("<b>reg.in~cell-</b> leaky on tide gauge head, 1 unit").unwrap();
        assert!(first < then);
        assert!(page.contains("<a href=\"TG-0042.html\">TG-0042</a>"));
        assert!(page.contains("To be swept again: <a href=\"TG-0048.html\">"));
    }
}
