//! What is shown on a terminal: tables that fit its width, then everything a person at the bench needs to act, and of a
//! sweep its verdict last, where the eye is when the output has run through.
//!
//! A verdict is a mark and a word. Colour repeats them, and only where it was asked for.

mod bed;
mod check;
mod drop;
mod health;
mod layout;
mod learned;
mod list;
mod lot;
mod plan;
mod proof;
mod questions;
mod rejudged;
mod remedies;
mod start;
mod steps;
mod sweep;
mod trade;
mod unit;
mod watch;

pub use bed::bed;
pub use check::check;
pub use drop::drop;
pub use health::health;
pub use learned::learned;
pub use list::{lots, units};
pub use lot::lot;
pub use plan::plan;
pub use proof::proof;
pub use questions::questions;
pub use rejudged::rejudged;
pub use remedies::remedies;
pub use start::start;
pub use sweep::sweep;
pub use trade::{packing, trade};
pub use unit::unit;
pub use watch::{Strip, watch};

use super::{text, words};
use crate::records::summary::UnitState;
use crate::verdict::Verdict;

/// What the text is laid out for.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Screen {
    /// Columns; nothing is wider as long as there are at least forty.
    pub width: usize,
    /// May ANSI colours be used?
    pub colour: bool,
}

impl Screen {
    /// The usual 80 columns, no colour: for pipes and files.
    pub const PLAIN: Self = Self { width: 80, colour: false };

    /// A verdict's text, coloured if that was asked for.
    fn tint(self, verdict: Verdict, text: &str) -> String {
        let code = match verdict {
            _ if !self.colour => return text.to_owned(),
            Verdict::Pass => 32,
            Verdict::Fail => 31,
            Verdict::Unproven => 33,
            Verdict::Void => 35,
        };
        format!("\u{1b}[{code}m{text}\u{1b}[0m")
    }

    /// The same in bold.
    fn bold_tint(self, verdict: Verdict, text: &str) -> String {
        if self.colour { format!("\u{1b}[1m{}", self.tint(verdict, text)) } else { text.to_owned() }
    }
}

/// Mark and word: `✗ fail`.
fn verdict(verdict: Verdict) -> String {
    format!("{} {}", words::mark(verdict), words::verdict(verdict))
}

/// How a unit stands: its verdict, with what is to be said beside a pass; nothing while it has not been swept.
fn standing(unit: &UnitState) -> layout::Cell {
    match (unit.now(), words::remark(unit)) {
        (Some(now), Some(remark)) => layout::Cell::tinted(now, format!("{}, {remark}", verdict(now))),
        (Some(now), None) => layout::Cell::verdict(now),
        (None, _) => "".into(),
    }
}

/// Appends a title line, cut to the screen.
fn title(out: &mut String, line: &str, screen: Screen) {
    out.push_str(&text::cut(&text::clean(line), screen.width));
    out.push('\n');
}

/// Appends a heading after an empty line.
fn heading(out: &mut String, text: &str, screen: Screen) {
    out.push('\n');
    layout::paragraph(out, "", text, screen.width);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::records::summary::{Place, SweepId};
    use crate::report::sample;
    use crate::verdict::Class;
    use unicode_width::UnicodeWidthStr;

    fn everything(screen: Screen) -> [String; 8] {
        [
            sweep(&sample::good(), None, screen),
            sweep(&sample::open_via(), Some(SweepId(7)), screen),
            sweep(&sample::several(), None, screen),
            sweep(&sample::unproven(), None, screen),
            sweep(&sample::void(), None, screen),
            sweep(&sample::nasty().0, None, screen),
            unit(&sample::history(), screen),
            lot(&sample::lot(), screen),
        ]
    }

    #[test]
    fn nothing_is_wider_than_the_screen() {
        for width in [40, 60, 80, 120, 200] {
            for text in everything(Screen { width, colour: false }) {
                for line in text.lines() {
                    assert!(line.width() <= width, "{} > {width}: {line}", line.width());
                    assert!(!line.contains(char::is_control), "{line:?}");
                    assert_eq!(line.trim_end(), line);
                }
            }
        }
    }

    #[test]
    fn a_wide_screen_shows_names_whole_and_keeps_text_narrow_enough_to_read() {
        let mut several = sample::several();
        several.judgement.segments[0].name =
            "a name of as many letters as a name of a segment may have".to_owned();
        let text = sweep(&several, None, Screen { width: 160, colour: false });
        let row = text.lines().find(|line| line.starts_with("a name of as")).unwrap();
        assert!(row.starts_with(&several.judgement.segments[0].name) && row.ends_with("✓ pass"), "{row}");
        let advice = text.lines().skip_while(|line| !line.starts_with("What to do"));
        assert!(advice.clone().count() > 5);
        assert!(advice.into_iter().all(|line| line.width() <= layout::MEASURE), "{text}");
    }

    #[test]
    fn a_sweep_ends_with_its_verdict() {
        for (of, end) in [
            (sample::open_via(), ["✗ FAIL", "via pair 1 is open."]),
            (sample::good(), ["✓ PASS", "Every segment is proven inside its limits."]),
        ] {
            let text = sweep(&of, Some(SweepId(7)), Screen::PLAIN);
            let end = format!("━\n{}  {}\n{}\n", end[0], of.measurement.serial, end[1]);
            assert!(text.ends_with(&end), "{text}");
            assert!(text.contains("\nrecord    sweep 7\n"), "{text}");
        }
    }

    #[test]
    fn a_void_sweep_shows_what_was_read_and_no_table_of_nothing() {
        let mut void = sample::void();
        let text = sweep(&void, None, Screen::PLAIN);
        assert!(text.contains("fuse feed") && !text.contains("not reached"), "{text}");
        sample::nothing_read(&mut void);
        let text = sweep(&void, None, Screen::PLAIN);
        assert!(text.contains("Nothing was read.") && !text.contains("─────  "), "{text}");
    }

    #[test]
    fn a_unit_that_lost_a_via_passes_with_a_remark() {
        let mut lot_with = sample::lot();
        let swept = lot_with.units[0].swept.as_mut().unwrap();
        swept.fault = Some(Place { place: "via pair 2".into(), class: Class::RedundancyLost });
        let text = lot(&lot_with, Screen::PLAIN);
        assert!(text.contains("✓ pass, redundancy lost"), "{text}");
    }

    #[test]
    fn colour_only_repeats_what_the_text_says() {
        let coloured = Screen { width: 80, colour: true };
        for (plain, coloured) in everything(Screen::PLAIN).iter().zip(everything(coloured)) {
            assert!(!plain.contains('\u{1b}'));
            assert!(coloured.contains('\u{1b}'));
            let mut stripped = coloured;
            for code in ["\u{1b}[1m", "\u{1b}[31m", "\u{1b}[32m", "\u{1b}[33m", "\u{1b}[35m", "\u{1b}[0m"] {
                stripped = stripped.replace(code, "");
            }
            assert_eq!(*plain, stripped);
        }
    }
}
