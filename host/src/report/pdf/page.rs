//! One page, and what can be drawn on it. Places are points from the top left corner, x to the right and y down.

use pdf_writer::Content;
use pdf_writer::types::LineCapStyle;

use super::font::{Fonts, Line};
use super::paper::Paper;

/// A colour: red, green, blue, 0 to 1 each.
pub type Colour = [f32; 3];

const fn colour(hex: u32) -> Colour {
    [(hex >> 16 & 0xff) as f32 / 255.0, (hex >> 8 & 0xff) as f32 / 255.0, (hex & 0xff) as f32 / 255.0]
}

/// Text.
pub const INK: Colour = colour(0x1c_2430);
/// Text that stands back: labels, small print.
pub const SOFT: Colour = colour(0x56_5f6d);
/// Lines between rows.
pub const RULE: Colour = colour(0xd5_d0c2);
/// Ground behind what is to be noticed.
pub const WASH: Colour = colour(0xf6_f4ed);
/// The line at the head.
pub const COPPER: Colour = colour(0xa9_632f);
/// Paper.
pub const WHITE: Colour = colour(0xff_ffff);
/// The verdicts, as on the HTML pages.
pub const PASS: Colour = colour(0x22_633f);
/// See [`PASS`].
pub const FAIL: Colour = colour(0x9c_231d);
/// See [`PASS`].
pub const UNPROVEN: Colour = colour(0x7d_5300);
/// See [`PASS`].
pub const VOID: Colour = colour(0x5a_4690);

/// A rectangle: left, top, width, height.
pub type Area = [f32; 4];

/// A page that is being drawn on.
pub struct Page {
    height: f32,
    content: Content,
}

impl Page {
    /// An empty page.
    pub fn new(paper: Paper) -> Self {
        Self { height: paper.points()[1], content: Content::new() }
    }

    /// What was drawn, as a stream of operators.
    pub fn finish(self) -> Vec<u8> {
        self.content.finish().into_vec()
    }

    /// A line of text, its baseline beginning at a place.
    pub fn text(&mut self, fonts: &mut Fonts, line: &Line, [x, y]: [f32; 2], [r, g, b]: Colour) {
        if line.text().is_empty() {
            return;
        }
        let codes = fonts.encode(line);
        self.content.set_fill_rgb(r, g, b).begin_text().set_font(Fonts::name(line.face), line.size);
        self.content.set_text_matrix([1.0, 0.0, 0.0, 1.0, x, self.height - y]);
        self.content.show(pdf_writer::Str(&codes)).end_text();
    }

    /// The same ending at a place.
    pub fn text_to(&mut self, fonts: &mut Fonts, line: &Line, [x, y]: [f32; 2], colour: Colour) {
        self.text(fonts, line, [x - line.width, y], colour);
    }

    /// A straight line.
    pub fn line(&mut self, from: [f32; 2], to: [f32; 2], width: f32, [r, g, b]: Colour) {
        self.content.set_stroke_rgb(r, g, b).set_line_width(width).set_line_cap(LineCapStyle::ButtCap);
        self.content.move_to(from[0], self.height - from[1]).line_to(to[0], self.height - to[1]).stroke();
    }

    /// A filled rectangle.
    pub fn fill(&mut self, [x, y, width, height]: Area, [r, g, b]: Colour) {
        self.content.set_fill_rgb(r, g, b);
        self.content.rect(x, self.height - y - height, width, height).fill_nonzero();
    }

    /// Filled rectangles of one colour as one shape, so that no seam shows between neighbours.
    pub fn fill_all(&mut self, areas: impl IntoIterator<Item = Area>, [r, g, b]: Colour) {
        self.content.set_fill_rgb(r, g, b);
        let mut empty = true;
        for [x, y, width, height] in areas {
            self.content.rect(x, self.height - y - height, width, height);
            empty = false;
        }
        match empty {
            true => self.content.end_path(),
            false => self.content.fill_nonzero(),
        };
    }

    /// The outline of a rectangle, drawn inside it.
    pub fn frame(&mut self, [x, y, width, height]: Area, line: f32, [r, g, b]: Colour) {
        self.content.set_stroke_rgb(r, g, b).set_line_width(line);
        let [x, y, width, height] = [x + line / 2.0, y + line / 2.0, width - line, height - line];
        self.content.rect(x, self.height - y - height, width, height).stroke();
    }

    /// Draws with the operators themselves, in a system of `scale` points per unit round a place, y down.
    pub fn inside(&mut self, [x, y]: [f32; 2], scale: f32, draw: impl FnOnce(&mut Content)) {
        self.content.save_state().transform([scale, 0.0, 0.0, -scale, x, self.height - y]);
        draw(&mut self.content);
        self.content.restore_state();
    }
}
