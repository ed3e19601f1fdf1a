//! Paragraphs and tables in columns of a fixed width.

use unicode_width::UnicodeWidthStr;

use super::Screen;
use crate::report::text::{clean, cut, wrap};
use crate::verdict::Verdict;

/// Columns of the longest line of running text: an eye that goes back further misses the next line. Tables use
/// whatever width there is.
pub const MEASURE: usize = 100;

/// Appends a paragraph: `first` before the first line, as many blanks before the others.
pub fn paragraph(out: &mut String, first: &str, text: &str, width: usize) {
    let (indent, width) = (first.width(), width.min(MEASURE));
    for (i, line) in wrap(&clean(text), width.saturating_sub(indent)).iter().enumerate() {
        match i {
            0 => out.push_str(first),
            _ => out.extend(std::iter::repeat_n(' ', indent)),
        }
        out.push_str(line);
        out.push('\n');
    }
}

/// A column of a table.
pub struct Column {
    head: &'static str,
    right: bool,
    gives: bool,
}

impl Column {
    /// A name: gives way, wraps and is cut where room is short.
    pub const fn name(head: &'static str) -> Self {
        Self { head, right: false, gives: true }
    }

    /// A word that keeps its width.
    pub const fn word(head: &'static str) -> Self {
        Self { head, right: false, gives: false }
    }

    /// A figure that keeps its width, flush right.
    pub const fn figure(head: &'static str) -> Self {
        Self { head, right: true, gives: false }
    }
}

/// One cell, with the verdict whose colour it may take.
pub struct Cell {
    text: String,
    tint: Option<Verdict>,
}

impl Cell {
    /// A verdict: mark and word.
    pub fn verdict(verdict: Verdict) -> Self {
        Self::tinted(verdict, super::verdict(verdict))
    }

    /// A text in the colour of a verdict.
    pub fn tinted(verdict: Verdict, text: String) -> Self {
        Self { text, tint: Some(verdict) }
    }
}

impl<T: AsRef<str>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self { text: clean(text.as_ref()).into_owned(), tint: None }
    }
}

/// Blanks between columns.
const GAP: &str = "  ";

/// A name is never squeezed below this; then the other columns give way too.
const NARROW: usize = 10;

/// A cell that needs more lines than this is cut.
const LINES: usize = 3;

/// Appends a table that fits the screen. A column in which no row has anything is left out.
pub fn table<const N: usize>(out: &mut String, screen: Screen, columns: &[Column; N], rows: &[[Cell; N]]) {
    let natural = |i: usize| match rows.iter().map(|row| row[i].text.width()).max().unwrap_or(0) {
        0 => 0,
        widest => widest.max(columns[i].head.width()),
    };
    let shown: Vec<usize> = (0..N).filter(|&i| natural(i) > 0).collect();
    let widths = squeeze(
        shown.iter().map(|&i| natural(i)).collect(),
        |k| columns[shown[k]].gives,
        screen.width.saturating_sub(GAP.len() * shown.len().saturating_sub(1)),
    );
    let mut line = |cells: &mut dyn Iterator<Item = (&str, Option<Verdict>)>| {
        let mut text = String::new();
        for (k, (cell, tint)) in cells.enumerate() {
            let pad = " ".repeat(widths[k].saturating_sub(cell.width()));
            let cell = match tint {
                Some(verdict) if !cell.is_empty() => screen.tint(verdict, cell),
                _ => cell.to_owned(),
            };
            let gap = if k == 0 { "" } else { GAP };
            match columns[shown[k]].right {
                true => text.extend([gap, &pad, &cell]),
                false => text.extend([gap, &cell, &pad]),
            }
        }
        out.push_str(text.trim_end());
        out.push('\n');
    };
    let heads: Vec<_> = shown.iter().zip(&widths).map(|(&i, &width)| cut(columns[i].head, width)).collect();
    let rules: Vec<_> = widths.iter().map(|&width| "─".repeat(width)).collect();
    line(&mut heads.iter().map(|head| (head.as_ref(), None)));
    line(&mut rules.iter().map(|rule| (rule.as_str(), None)));
    for row in rows {
        let cells: Vec<_> =
            shown.iter().zip(&widths).map(|(&i, &width)| lines_of(&row[i].text, width)).collect();
        for n in 0..cells.iter().map(Vec::len).max().unwrap_or(0) {
            line(
                &mut shown
                    .iter()
                    .zip(&cells)
                    .map(|(&i, lines)| (lines.get(n).map_or("", String::as_str), row[i].tint)),
            );
        }
    }
}

/// Takes columns off the widest until all fit: first off those that give way, then off any.
fn squeeze(mut widths: Vec<usize>, gives: impl Fn(usize) -> bool, room: usize) -> Vec<usize> {
    while widths.iter().sum::<usize>() > room {
        let widest = |only_giving: bool, least: usize| {
            let able = (0..widths.len()).filter(|&k| widths[k] > least && (gives(k) || !only_giving));
            able.max_by_key(|&k| (widths[k], k))
        };
        let Some(k) = widest(true, NARROW).or_else(|| widest(false, 2)) else { break };
        widths[k] -= 1;
    }
    widths
}

/// A cell's lines: wrapped, and cut where even that is too long. A figure too wide for its column is broken at its
/// no-break blanks, never inside its digits.
fn lines_of(text: &str, width: usize) -> Vec<String> {
    let glued = text.split(' ').all(|word| word.width() <= width);
    let mut lines = if glued { wrap(text, width) } else { wrap(&text.replace('\u{a0}', " "), width) };
    if lines.len() > LINES {
        let rest = lines[LINES - 1..].join(" ");
        lines.truncate(LINES - 1);
        lines.push(cut(&rest, width).into_owned());
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_never_broken_inside_its_digits() {
        assert_eq!(lines_of("7.567\u{a0}±\u{a0}0.015\u{a0}mΩ", 12), ["7.567 ±", "0.015 mΩ"]);
        assert_eq!(lines_of("7.567\u{a0}±\u{a0}0.015\u{a0}mΩ", 18), ["7.567 ± 0.015 mΩ"]);
    }

    #[test]
    fn names_give_way_before_figures() {
        let mut out = String::new();
        let rows = [["a name of many long words that goes on".into(), "12.345 mΩ".into(), Cell::from("")]];
        let columns = [Column::name("segment"), Column::figure("at 20 °C"), Column::word("class")];
        table(&mut out, Screen { width: 32, colour: false }, &columns, &rows);
        assert_eq!(
            out,
            "\
segment                 at 20 °C
─────────────────────  ─────────
a name of many long    12.345 mΩ
words that goes on
"
        );
    }
}
