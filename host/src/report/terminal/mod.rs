//! What is shown on a terminal: tables that fit 80 columns, then everything a person at the bench needs to act.
//!
//! A verdict is a mark and a word. Colour repeats them, and only where it was asked for.

mod check;
mod layout;
mod list;
mod lot;
mod plan;
mod rejudged;
mod sweep;
mod unit;

pub use check::check;
pub use list::{lots, units};
pub use lot::lot;
pub use plan::plan;
pub use rejudged::rejudged;
pub use sweep::{recorded, sweep};
pub use unit::unit;

use super::{text, words};
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
}

/// Mark and word: `✗ fail`.
fn verdict(verdict: Verdict) -> String {
    format!("{} {}", words::mark(verdict), words::verdict(verdict))
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
    use crate::report::sample;
    use unicode_width::UnicodeWidthStr;

    fn everything(screen: Screen) -> [String; 8] {
        [
            sweep(&sample::good(), screen),
            sweep(&sample::open_via(), screen),
            sweep(&sample::several(), screen),
            sweep(&sample::unproven(), screen),
            sweep(&sample::void(), screen),
            sweep(&sample::nasty().0, screen),
            unit(&sample::history(), screen),
            lot(&sample::lot(), screen),
        ]
    }

    #[test]
    fn nothing_is_wider_than_the_screen() {
        for width in [40, 60, 80, 120] {
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
    fn colour_only_repeats_what_the_text_says() {
        let coloured = Screen { width: 80, colour: true };
        for (plain, coloured) in everything(Screen::PLAIN).iter().zip(everything(coloured)) {
            assert!(!plain.contains('\u{1b}'));
            assert!(coloured.contains('\u{1b}'));
            let mut stripped = coloured;
            for code in ["\u{1b}[31m", "\u{1b}[32m", "\u{1b}[33m", "\u{1b}[35m", "\u{1b}[0m"] {
                stripped = stripped.replace(code, "");
            }
            assert_eq!(*plain, stripped);
        }
    }
}
