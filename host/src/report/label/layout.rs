//! Room on one label for a code and the text under it or beside it.

use super::{Code, LabelError, code128, qr};
use crate::report::pdf::MM;
use crate::report::pdf::font::{Face, Fonts, LEADING, Line};
use crate::report::pdf::page::{INK, Page};

/// Blank edge of a label, mm: what a printer may be off by on a sheet of labels that are cut already; from experience.
const EDGE_MM: f32 = 1.5;
/// Smallest module of a QR code, mm: four dots of a printer of 300 dots per inch, which hand scanners and telephones read.
const QR_MODULE_MM: f32 = 0.33;
/// Largest, mm: more is no easier to read.
const QR_LARGEST_MM: f32 = 1.0;
/// Narrowest bar, mm: three dots of the same printer.
const BAR_MM: f32 = 0.25;
/// Widest narrow bar, mm.
const BAR_WIDEST_MM: f32 = 0.5;
/// Height of bars, mm: at least this, and this share of their length (ISO/IEC 15417, from memory).
const BARS_HIGH_MM: f32 = 5.0;
const BARS_HIGH_SHARE: f32 = 0.15;
/// And at most, mm.
const BARS_HIGHEST_MM: f32 = 18.0;
/// Type sizes, points, the largest that fits is taken. Six points is the smallest that is read without a glass.
const SIZES: [f32; 8] = [18.0, 15.0, 13.0, 11.0, 9.5, 8.0, 7.0, SMALLEST];
const SMALLEST: f32 = 6.0;
/// Narrowest column of text beside a code, points.
const BESIDE: f32 = 14.0 * MM;
/// Between code and text, points; a code's own blank edge comes on top.
const GAP: f32 = 0.5 * MM;

/// What stands where on one label. Places in points from its top left corner.
pub struct Layout {
    /// Dark rectangles: left, top, width, height.
    dark: Vec<[f32; 4]>,
    /// Lines of text, each with the place where its baseline begins.
    lines: Vec<(Line, [f32; 2])>,
}

impl Layout {
    /// Finds room on a label of this width and height, mm.
    pub fn of(serial: &str, code: Code, label_mm: [f32; 2]) -> Result<Self, LabelError> {
        let inside = |edge: f32| (edge - 2.0 * EDGE_MM) * MM;
        let inner = label_mm.map(inside);
        // What is asked for is said to a tenth of a millimetre, and must do as it is said.
        let tenths = label_mm.map(|edge| (edge * 10.0).floor() / 10.0);
        let short = || serial.chars().take(64).collect::<String>();
        let (layout, needs) = match code {
            Code::Qr => {
                let square = qr::square(serial).ok_or_else(|| LabelError::TooLong { serial: short() })?;
                (with_square(serial, &square, inner), square_needs(serial, &square, tenths.map(inside)))
            }
            Code::Code128 => {
                let bars = code128::bars(serial).ok_or_else(|| LabelError::NotAscii { serial: short() })?;
                (with_bars(serial, &bars, inner), bars_need(serial, &bars, tenths.map(inside)))
            }
        };
        let needed = |edge: usize| {
            if needs[edge] <= inside(tenths[edge]) {
                tenths[edge]
            } else {
                ((needs[edge] / MM + 2.0 * EDGE_MM) * 10.0 + 0.01).ceil() / 10.0
            }
        };
        layout.ok_or_else(|| LabelError::TooSmall {
            serial: short(),
            code,
            needs: [needed(0), needed(1)],
            label: label_mm,
        })
    }

    /// Draws the label with its top left corner at a place.
    pub fn draw(&self, page: &mut Page, fonts: &mut Fonts, [x, y]: [f32; 2]) {
        page.fill_all(
            self.dark.iter().map(|[left, top, width, height]| [x + left, y + top, *width, *height]),
            [0.0; 3],
        );
        for (line, [left, baseline]) in &self.lines {
            page.text(fonts, line, [x + left, y + baseline], INK);
        }
    }
}

/// Height of so many lines.
fn high(lines: usize, size: f32) -> f32 {
    lines as f32 * size * LEADING
}

fn text(serial: &str, size: f32, width: f32) -> Vec<Line> {
    Line::wrap(serial, Face::Bold, size, width)
}

/// Lines centred in a column that begins at `left` and `top`, points inside the blank edge.
fn centred(lines: Vec<Line>, [left, top]: [f32; 2], width: f32) -> Vec<(Line, [f32; 2])> {
    let edge = EDGE_MM * MM;
    let place = |(i, line): (usize, Line)| {
        let x = edge + left + (width - line.width).max(0.0) / 2.0;
        let y = edge + top + high(i + 1, line.size) - line.size * 0.28;
        (line, [x, y])
    };
    lines.into_iter().enumerate().map(place).collect()
}

/// Modules along an edge, the blank ones included.
fn modules(square: &qr::Square) -> f32 {
    square.side as f32 + 2.0 * qr::QUIET
}

/// Where code and text go: text below the code, or at its right.
#[derive(Clone, Copy)]
enum Text {
    Below,
    Beside,
}

/// The arrangement with the largest text that leaves the code large; where none does, the one with the largest code.
fn with_square(serial: &str, square: &qr::Square, inner: [f32; 2]) -> Option<Layout> {
    let [smallest, largest] = [QR_MODULE_MM, QR_LARGEST_MM].map(|module| module * MM * modules(square));
    let [width, height] = inner;
    let mut best: Option<(f32, Text, Vec<Line>)> = None;
    for size in SIZES {
        for arrangement in [Text::Beside, Text::Below] {
            let (side, lines) = match arrangement {
                Text::Below => {
                    let lines = text(serial, size, width);
                    (width.min(height - GAP - high(lines.len(), size)), lines)
                }
                Text::Beside => {
                    let room = height.min(width - GAP - column(serial, size, width)).min(largest);
                    let beside = |side: f32| text(serial, size, (width - GAP - side).max(1.0));
                    // A smaller code leaves the text a wider column.
                    let fits = |side: &f32| *side <= room && high(beside(*side).len(), size) <= height;
                    let side = [room, smallest].into_iter().find(fits).unwrap_or(0.0);
                    (side, beside(side))
                }
            };
            let side = side.min(largest);
            if side >= smallest && best.as_ref().is_none_or(|(known, ..)| side > *known) {
                best = Some((side, arrangement, lines));
            }
        }
        // Large enough to be read from a hand's length: a smaller text would not make it better.
        if best.as_ref().is_some_and(|(side, ..)| *side >= smallest * 1.5) {
            break;
        }
    }
    let (side, arrangement, lines) = best?;
    let tall = lines.first().map_or(0.0, |line| high(lines.len(), line.size));
    let (corner, lines) = match arrangement {
        Text::Below => {
            let top = (height - side - GAP - tall) / 2.0;
            ([(width - side) / 2.0, top], centred(lines, [0.0, top + side + GAP], width))
        }
        Text::Beside => {
            let column = width - side - GAP;
            ([0.0, (height - side) / 2.0], centred(lines, [side + GAP, (height - tall) / 2.0], column))
        }
    };
    Some(Layout { dark: dark(square, corner, side), lines })
}

/// Dark modules, neighbours in a row as one.
fn dark(square: &qr::Square, [left, top]: [f32; 2], side: f32) -> Vec<[f32; 4]> {
    let module = side / modules(square);
    let origin = EDGE_MM * MM + qr::QUIET * module;
    let mut dark = Vec::new();
    for (row, modules) in square.dark.chunks(square.side.max(1)).enumerate() {
        let mut column = 0;
        for run in modules.chunk_by(|a, b| a == b) {
            if run.first() == Some(&true) {
                let [x, y] = [left + column as f32 * module, top + row as f32 * module];
                dark.push([origin + x, origin + y, run.len() as f32 * module, module]);
            }
            column += run.len();
        }
    }
    dark
}

/// Width of the column of text beside a code.
fn column(serial: &str, size: f32, width: f32) -> f32 {
    Line::of(serial, Face::Bold, size).width.clamp(BESIDE, (width * 0.5).max(BESIDE))
}

/// Least size inside the blank edge: of the arrangements that a label of this width has room for, the lower one.
fn square_needs(serial: &str, square: &qr::Square, [width, _]: [f32; 2]) -> [f32; 2] {
    let side = QR_MODULE_MM * MM * modules(square);
    let lines = |width| high(text(serial, SMALLEST, width).len(), SMALLEST);
    let wide = width.max(side);
    let below = side + GAP + lines(wide);
    let beside = width - GAP - side;
    if beside >= column(serial, SMALLEST, width) {
        let beside = side.max(lines(beside));
        return [width, below.min(beside)];
    }
    [wide, below]
}

/// Bars above, text below them.
fn with_bars(serial: &str, bars: &[u8], [width, height]: [f32; 2]) -> Option<Layout> {
    let modules = bars.iter().map(|bar| f32::from(*bar)).sum::<f32>();
    for size in SIZES {
        let lines = text(serial, size, width);
        let tall = high(lines.len(), size);
        let room = height - GAP - tall;
        let widest = (width / (modules + 2.0 * code128::QUIET)).min(BAR_WIDEST_MM * MM);
        let module = widest.min(room / (modules * BARS_HIGH_SHARE));
        if module < BAR_MM * MM || room < BARS_HIGH_MM * MM {
            continue;
        }
        let long = modules * module;
        let bars_high = room.min(BARS_HIGHEST_MM * MM);
        let (left, top) = ((width - long) / 2.0, (room - bars_high) / 2.0);
        let edge = EDGE_MM * MM;
        let mut at = edge + left;
        let mut dark = Vec::new();
        for (i, bar) in bars.iter().enumerate() {
            let wide = f32::from(*bar) * module;
            if i % 2 == 0 {
                dark.push([at, edge + top, wide, bars_high]);
            }
            at += wide;
        }
        return Some(Layout { dark, lines: centred(lines, [0.0, top + bars_high + GAP], width) });
    }
    None
}

/// Least size inside the blank edge.
fn bars_need(serial: &str, bars: &[u8], [width, _]: [f32; 2]) -> [f32; 2] {
    let modules = bars.iter().map(|bar| f32::from(*bar)).sum::<f32>();
    let module = BAR_MM * MM;
    let wide = width.max((modules + 2.0 * code128::QUIET) * module);
    let bars_high = (BARS_HIGH_MM * MM).max(modules * module * BARS_HIGH_SHARE);
    [wide, bars_high + GAP + high(text(serial, SMALLEST, wide).len(), SMALLEST)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// What fits stays inside the label, and a label of the size that is asked for does.
        #[test]
        fn what_is_drawn_is_inside_and_what_is_asked_for_is_enough(
            serial in "[ -~]{1,64}", bars: bool, width in 3.0f32..120.0, height in 3.0f32..120.0
        ) {
            let code = if bars { Code::Code128 } else { Code::Qr };
            match Layout::of(&serial, code, [width, height]) {
                Ok(layout) => {
                    let inside = |x: f32, y: f32| {
                        let edge = EDGE_MM * MM - 0.01;
                        (edge..=width * MM - edge).contains(&x) && (edge..=height * MM - edge).contains(&y)
                    };
                    for [x, y, wide, high] in &layout.dark {
                        prop_assert!(inside(*x, *y) && inside(x + wide, y + high), "{x} {y} {wide} {high}");
                    }
                    for (line, [x, y]) in &layout.lines {
                        prop_assert!(inside(*x, y - line.size * 0.7), "{line:?}");
                        prop_assert!(inside(x + line.width - 0.05, y + line.size * 0.2), "{line:?}");
                    }
                    prop_assert!(layout.lines.iter().all(|(line, _)| line.size >= SMALLEST));
                }
                Err(LabelError::TooSmall { needs, .. }) => {
                    prop_assert!(needs[0] > width || needs[1] > height, "{needs:?}");
                    prop_assert!(Layout::of(&serial, code, needs).is_ok(), "{needs:?}");
                }
                Err(other) => prop_assert!(false, "{other}"),
            }
        }
    }

    /// The code may have to be smaller than its height allows, for the text beside it. Drawn by the test above.
    #[test]
    fn a_long_text_beside_a_code_gets_the_column_it_was_promised() {
        let serial = "A0!<A00D0W0\"MAakA00 AAA0!0!!a0Aa   AAA00AA 0 0000";
        let needs = match Layout::of(serial, Code::Qr, [31.616_276, 3.0]) {
            Err(LabelError::TooSmall { needs, .. }) => needs,
            _ => panic!("a label of 3 mm has no room"),
        };
        assert!(Layout::of(serial, Code::Qr, needs).is_ok(), "{needs:?}");
    }

    #[test]
    fn modules_and_bars_are_never_smaller_than_a_scanner_reads() {
        for edge in 10..80_u8 {
            let edge = f32::from(edge);
            if let Ok(layout) = Layout::of("TG-0042", Code::Qr, [edge, edge * 0.7]) {
                assert!(layout.dark.iter().all(|[.., high]| *high >= QR_MODULE_MM * MM * 0.999));
            }
            if let Ok(layout) = Layout::of("TG-0042", Code::Code128, [edge * 1.5, edge * 0.7]) {
                assert!(layout.dark.iter().all(|[_, _, wide, _]| *wide >= BAR_MM * MM * 0.999));
            }
        }
    }
}
