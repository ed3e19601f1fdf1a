//! The shapes of the verdicts as the HTML pages have them: disc with tick, square with cross, diamond with question mark,
//! broken ring with bar. In a box of 24 by 24 units round the origin.

use pdf_writer::Content;
use pdf_writer::types::{LineCapStyle, LineJoinStyle};

use super::page::{Colour, FAIL, PASS, Page, UNPROVEN, VOID, WHITE};
use crate::verdict::Verdict;

/// The colour of a verdict. It repeats what shape and word say.
pub fn colour(verdict: Verdict) -> Colour {
    match verdict {
        Verdict::Pass => PASS,
        Verdict::Fail => FAIL,
        Verdict::Unproven => UNPROVEN,
        Verdict::Void => VOID,
    }
}

/// Draws the shape of a verdict round a place, `size` points high.
pub fn draw(page: &mut Page, verdict: Verdict, centre: [f32; 2], size: f32) {
    let [r, g, b] = colour(verdict);
    page.inside(centre, size / 24.0, |content| {
        content.set_fill_rgb(r, g, b).set_stroke_rgb(WHITE[0], WHITE[1], WHITE[2]);
        content
            .set_line_width(2.6)
            .set_line_cap(LineCapStyle::RoundCap)
            .set_line_join(LineJoinStyle::RoundJoin);
        match verdict {
            Verdict::Pass => {
                circle(content, 10.5);
                content.fill_nonzero();
                content.move_to(-5.0, 0.5).line_to(-1.5, 4.0).line_to(5.2, -4.0).stroke();
            }
            Verdict::Fail => {
                content.rect(-10.0, -10.0, 20.0, 20.0).fill_nonzero();
                content.move_to(-4.6, -4.6).line_to(4.6, 4.6).move_to(4.6, -4.6).line_to(-4.6, 4.6).stroke();
            }
            Verdict::Unproven => {
                content.move_to(0.0, -11.8).line_to(11.8, 0.0).line_to(0.0, 11.8).line_to(-11.8, 0.0);
                content.close_path().fill_nonzero();
                content.move_to(-2.9, -2.4).cubic_to(-2.9, -4.0, -1.6, -5.3, 0.0, -5.3);
                content.cubic_to(1.6, -5.3, 2.9, -4.0, 2.9, -2.4).cubic_to(2.9, -0.3, 0.0, 0.0, 0.0, 2.4);
                content.move_to(0.0, 5.4).line_to(0.0, 5.8).stroke();
            }
            Verdict::Void => {
                content.set_stroke_rgb(r, g, b).set_line_width(3.0).set_line_cap(LineCapStyle::ButtCap);
                content.set_dash_pattern([7.7, 2.56], 0.0);
                circle(content, 9.8);
                content.stroke();
                content.set_dash_pattern([], 0.0).move_to(-5.2, 0.0).line_to(5.2, 0.0).stroke();
            }
        }
    });
}

/// A circle of four curves.
pub(super) fn circle(content: &mut Content, r: f32) {
    // Where a curve's handle stands for a quarter of a circle: 4/3 (√2 - 1).
    let k = 0.552_285 * r;
    content.move_to(r, 0.0).cubic_to(r, k, k, r, 0.0, r).cubic_to(-k, r, -r, k, -r, 0.0);
    content.cubic_to(-r, -k, -k, -r, 0.0, -r).cubic_to(k, -r, r, -k, r, 0.0).close_path();
}
