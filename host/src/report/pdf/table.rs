//! Tables that go on over pages, with their head on each.

use super::flow::{BODY, Flow, SIDE, SMALL};
use super::font::{Face, Line};
use super::page::{COPPER, INK, RULE, SOFT, WASH};
use super::sign;
use crate::report::words;
use crate::verdict::Verdict;

/// One column.
#[derive(Clone, Copy)]
pub struct Column {
    head: &'static str,
    kind: Kind,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// Names and sentences: broken into lines where there is no room.
    Words,
    /// Figures with their units: at the right edge, never broken.
    Figure,
    /// Verdicts: as wide as they are.
    Verdict,
    /// A bar: takes a share of what is left.
    Bar,
}

impl Column {
    /// Names and sentences, broken into lines where there is no room.
    pub const fn words(head: &'static str) -> Self {
        Self { head, kind: Kind::Words }
    }

    /// Figures, at the right edge.
    pub const fn figure(head: &'static str) -> Self {
        Self { head, kind: Kind::Figure }
    }

    /// Verdicts.
    pub const fn verdict(head: &'static str) -> Self {
        Self { head, kind: Kind::Verdict }
    }

    /// Bars.
    pub const fn bar(head: &'static str) -> Self {
        Self { head, kind: Kind::Bar }
    }
}

/// What stands in a row under a column.
pub enum Cell {
    /// Text.
    Text(String),
    /// Text that the row is known by.
    Name(String),
    /// Shape and word of a verdict.
    Verdict(Verdict),
    /// A bar, in parts of the longest: the whole of it, and the part of it that is full.
    Bar {
        /// Length, 0 to 1.
        whole: f32,
        /// Of that, full.
        full: f32,
    },
}

impl From<String> for Cell {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

/// One row.
pub struct Row {
    /// A cell for each column.
    pub cells: Vec<Cell>,
    /// On a ground of its own, because it is not as it should be.
    pub marked: bool,
}

/// Between a cell's edge and what is in it.
const PAD: f32 = 3.5;
/// Above and below the lines of a row.
const ROW: f32 = 2.1;
/// Width of a shape with the gap behind it.
const SHAPE: f32 = 11.5;
/// Kept free before a verdict, so that it stands apart from a figure at its left.
const APART: f32 = 6.0;
/// Least width of a column of words, and of one of bars.
const LEAST: f32 = 56.0;

impl Flow {
    /// A table over the whole width.
    pub fn table(&mut self, columns: &[Column], rows: &[Row]) {
        let widths = widths(columns, rows, self.width());
        let mut at = SIDE;
        let places: Vec<[f32; 2]> = widths
            .iter()
            .map(|width| {
                let place = [at, *width];
                at += width;
                place
            })
            .collect();
        self.table_head(columns, &places);
        let leading = Line::of("", Face::Regular, BODY).leading();
        let height = |lines: usize| lines as f32 * leading + 2.0 * ROW;
        let rows: Vec<(&Row, Vec<Vec<Line>>, usize)> = rows
            .iter()
            .map(|row| {
                let cells = row.cells.iter().zip(&places);
                let cells: Vec<_> = cells.map(|(cell, [_, width])| lines(cell, row.marked, *width)).collect();
                let count = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
                (row, cells, count)
            })
            .collect();
        for (i, (row, cells, count)) in rows.iter().enumerate() {
            let count = *count;
            // The last row takes the one before it along to the next page: it does not stand there alone.
            let wanted = match &rows[i + 1..] {
                [(.., last)] => height(count) + height(*last),
                _ => height(count),
            };
            if self.room() < wanted && wanted + 3.0 * leading <= self.whole() {
                self.turn();
                self.table_head(columns, &places);
            }
            // A row higher than a page goes on over pages line by line.
            let mut from = 0;
            while from < count {
                let fit = ((self.room() - 2.0 * ROW) / leading).floor().max(0.0) as usize;
                if fit == 0 {
                    self.turn();
                    self.table_head(columns, &places);
                }
                let to = (from + fit.max(1)).min(count);
                self.table_row(row, columns, cells, &places, from..to);
                from = to;
            }
        }
    }

    fn table_head(&mut self, columns: &[Column], places: &[[f32; 2]]) {
        let cells: Vec<Vec<Line>> = columns
            .iter()
            .zip(places)
            .map(|(column, [_, width])| Line::wrap(column.head, Face::Regular, SMALL, width - 2.0 * PAD))
            .collect();
        let count = cells.iter().map(Vec::len).max().unwrap_or(0);
        let leading = Line::of("", Face::Regular, SMALL).leading();
        self.keep(count as f32 * leading + 4.0 * BODY);
        for ((column, [left, width]), lines) in columns.iter().zip(places).zip(&cells) {
            // Heads of one line stand on the line below, beside those of two.
            let first = count - lines.len();
            for (i, line) in lines.iter().enumerate() {
                let y = self.y + (first + i + 1) as f32 * leading - SMALL * 0.28;
                match column.kind {
                    Kind::Figure => self.page.text_to(&mut self.fonts, line, [left + width - PAD, y], SOFT),
                    Kind::Verdict => self.page.text(&mut self.fonts, line, [left + PAD + APART, y], SOFT),
                    _ => self.page.text(&mut self.fonts, line, [left + PAD, y], SOFT),
                }
            }
        }
        self.y += count as f32 * leading + 1.5;
        self.page.line([SIDE, self.y], [SIDE + self.width(), self.y], 0.8, INK);
    }

    fn table_row(
        &mut self,
        row: &Row,
        columns: &[Column],
        cells: &[Vec<Line>],
        places: &[[f32; 2]],
        part: std::ops::Range<usize>,
    ) {
        let leading = Line::of("", Face::Regular, BODY).leading();
        let height = part.len() as f32 * leading + 2.0 * ROW;
        if row.marked {
            self.page.fill([SIDE, self.y, self.width(), height], WASH);
        }
        let first = self.y + ROW + leading - BODY * 0.28;
        let middle = self.y + ROW + leading / 2.0;
        for (((cell, column), lines), [left, width]) in row.cells.iter().zip(columns).zip(cells).zip(places) {
            let begins = part.start == 0;
            let (indent, colour) = match cell {
                Cell::Verdict(verdict) if begins => {
                    sign::draw(&mut self.page, *verdict, [left + PAD + APART + 4.0, middle], 8.6);
                    (APART + SHAPE, sign::colour(*verdict))
                }
                Cell::Bar { whole, full } if begins => {
                    let room = width - 2.0 * PAD;
                    let [top, height] = [self.y + ROW + 1.5, leading - 3.0];
                    self.page.fill([left + PAD, top, room * full, height], COPPER);
                    self.page.frame([left + PAD, top, (room * whole).max(0.8), height], 0.8, COPPER);
                    (0.0, INK)
                }
                _ => (0.0, INK),
            };
            for (i, line) in lines.iter().skip(part.start).take(part.len()).enumerate() {
                let y = first + i as f32 * leading;
                match column.kind {
                    Kind::Figure => self.page.text_to(&mut self.fonts, line, [left + width - PAD, y], colour),
                    _ => self.page.text(&mut self.fonts, line, [left + PAD + indent, y], colour),
                }
            }
        }
        self.y += height;
        self.page.line([SIDE, self.y], [SIDE + self.width(), self.y], 0.4, RULE);
    }
}

/// A cell's lines in a column of this width.
fn lines(cell: &Cell, marked: bool, width: f32) -> Vec<Line> {
    let (text, face) = match cell {
        Cell::Text(text) => (text.as_str(), Face::Regular),
        Cell::Name(text) if marked => (text.as_str(), Face::Bold),
        Cell::Name(text) => (text.as_str(), Face::Regular),
        Cell::Verdict(verdict) => return vec![Line::of(words::verdict(*verdict), Face::Bold, BODY)],
        Cell::Bar { .. } => return vec![],
    };
    Line::wrap(text, face, BODY, width - 2.0 * PAD)
}

/// Width a cell would like to have.
fn natural(cell: &Cell, marked: bool) -> f32 {
    match cell {
        Cell::Text(text) => Line::of(text, Face::Regular, BODY).width,
        Cell::Name(text) => Line::of(text, if marked { Face::Bold } else { Face::Regular }, BODY).width,
        Cell::Verdict(verdict) => APART + SHAPE + Line::of(words::verdict(*verdict), Face::Bold, BODY).width,
        Cell::Bar { .. } => 2.0 * LEAST,
    }
}

/// Shares the width among the columns. Figures and verdicts get what they need, words what is left: those that need less
/// than an equal share only what they need, and where there is more than all need, every one of them more.
fn widths(columns: &[Column], rows: &[Row], whole: f32) -> Vec<f32> {
    let mut widths: Vec<f32> = columns
        .iter()
        .enumerate()
        .map(|(i, column)| {
            let head = match column.kind {
                // The head of a figure may stand in two lines.
                Kind::Figure => column
                    .head
                    .split(' ')
                    .map(|word| Line::of(word, Face::Regular, SMALL).width)
                    .fold(0.0, f32::max),
                _ => Line::of(column.head, Face::Regular, SMALL).width,
            };
            let cells = rows.iter().filter_map(|row| Some(natural(row.cells.get(i)?, row.marked)));
            cells.fold(head, f32::max) + 2.0 * PAD
        })
        .collect();
    let gives = |column: &Column| matches!(column.kind, Kind::Words | Kind::Bar);
    let fixed: f32 =
        columns.iter().zip(&widths).filter(|(column, _)| !gives(column)).map(|(_, width)| width).sum();
    let mut giving: Vec<usize> = (0..columns.len()).filter(|i| gives(&columns[*i])).collect();
    let mut left = (whole - fixed).max(LEAST * giving.len() as f32);
    let wanted: f32 = giving.iter().map(|i| widths[*i]).sum();
    if wanted <= left {
        let more = if wanted > 0.0 { left / wanted } else { 1.0 };
        giving.iter().for_each(|i| widths[*i] *= more);
    } else {
        giving.sort_by(|a, b| widths[*a].total_cmp(&widths[*b]));
        for (served, i) in giving.iter().enumerate() {
            widths[*i] = widths[*i].min(left / (giving.len() - served) as f32);
            left -= widths[*i];
        }
    }
    // Figures wider than the paper: everything gives way alike.
    let sum: f32 = widths.iter().sum();
    if sum > whole {
        widths.iter_mut().for_each(|width| *width *= whole / sum);
    }
    widths
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(texts: &[&str]) -> Row {
        Row { cells: texts.iter().map(|text| Cell::from(*text)).collect(), marked: false }
    }

    #[test]
    fn columns_share_the_whole_width_and_figures_are_not_broken() {
        let columns = [Column::words("Name"), Column::figure("Value"), Column::words("Remark")];
        let long = "word ".repeat(200);
        let table = |texts: &[&str]| widths(&columns, &[row(texts)], 500.0);
        for texts in [
            ["a", "12.345 ± 0.012 mΩ", "b"],
            [&long, "12.345 ± 0.012 mΩ", "b"],
            [&long, "12.345 ± 0.012 mΩ", &long],
        ] {
            let widths = table(&texts);
            assert!((widths.iter().sum::<f32>() - 500.0).abs() < 0.01, "{widths:?}");
            assert_eq!(Line::wrap(texts[1], Face::Regular, BODY, widths[1] - 2.0 * PAD).len(), 1);
        }
        assert!(table(&[&long, "1", "b"])[2] < 60.0, "a short one leaves its share to the long one");
        let far_too_wide = "9".repeat(300);
        assert!((table(&["a", &far_too_wide, "b"]).iter().sum::<f32>() - 500.0).abs() < 0.01);
    }
}
