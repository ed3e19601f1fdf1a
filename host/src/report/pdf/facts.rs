//! Facts as pairs side by side: a small label, and what it is.

use super::flow::{BODY, Flow, SIDE, SMALL};
use super::font::{Face, Line};
use super::page::{INK, SOFT};

impl Flow {
    /// Facts as pairs. A pair without a value is left out.
    pub fn facts(&mut self, pairs: &[(&str, Option<String>)]) {
        const GAP: f32 = 14.0;
        let pairs: Vec<_> = pairs.iter().filter_map(|(name, value)| Some((*name, value.as_ref()?))).collect();
        let in_a_row = if pairs.len() == 4 { 4 } else { 3 };
        let width = (self.width() + GAP) / in_a_row as f32;
        for row in pairs.chunks(in_a_row) {
            let cells: Vec<_> = row
                .iter()
                .map(|(name, value)| {
                    let label = Line::of(name, Face::Regular, SMALL);
                    (label, Line::wrap(value, Face::Regular, BODY + 0.6, width - GAP))
                })
                .collect();
            let height = |(label, lines): &(Line, Vec<Line>)| {
                label.leading() + lines.iter().map(Line::leading).sum::<f32>() + 4.0
            };
            let row_height = cells.iter().map(height).fold(0.0, f32::max);
            self.keep(row_height);
            for (i, (label, lines)) in cells.iter().enumerate() {
                let left = SIDE + i as f32 * width;
                let mut y = self.y + label.leading() - SMALL * 0.28;
                self.page.text(&mut self.fonts, label, [left, y], SOFT);
                for line in lines {
                    y += line.leading();
                    self.page.text(&mut self.fonts, line, [left, y], INK);
                }
            }
            self.y += row_height;
        }
    }
}
