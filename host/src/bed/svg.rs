//! A plate as SVG at 1:1: its width and height are millimetres, as is whatever stands in it.

use std::fmt::Write as _;

use super::plate::{Plate, Use};
use crate::board::outline;

/// Half the length of the cross in a hole over its radius.
const CROSS: f64 = 1.5;
/// Height of labels, mm.
const TEXT_MM: f64 = 1.3;

/// One plate; `board` is the name shown in it.
pub fn of(plate: &Plate, board: &str) -> String {
    let [width, height] = plate.size_mm;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.3}mm\" height=\"{height:.3}mm\" viewBox=\"0 0 {width:.3} {height:.3}\" \
         font-family=\"sans-serif\">\n<title>{} plate for {}</title>\n<desc>1:1, millimetres; {}</desc>\n\
         <rect width=\"{width:.3}\" height=\"{height:.3}\" fill=\"#fffdf8\" stroke=\"#1c2430\" stroke-width=\"0.2\"/>\n",
        plate.level.word(),
        escaped(board),
        plate.view()
    );
    let edge: Vec<_> = plate.board_edge.iter().map(|[x, y]| format!("{x:.3},{:.3}", height - y)).collect();
    let _ = writeln!(
        svg,
        "<polygon points=\"{}\" fill=\"#f3e9d8\" stroke=\"#a9632f\" stroke-width=\"0.2\" stroke-dasharray=\"1.6 0.8\"/>",
        edge.join(" ")
    );
    for hole in &plate.holes {
        let ([x, y], radius) = ([hole.at[0], height - hole.at[1]], hole.drill_mm / 2.0);
        let (fill, line) = look(hole.what);
        let arm = radius * CROSS;
        let _ = writeln!(
            svg,
            "<g stroke=\"{line}\" stroke-width=\"0.12\"><title>{label}: x {:.3}, y {:.3}, drill {:.2}</title>\
             <circle cx=\"{x:.4}\" cy=\"{y:.4}\" r=\"{radius:.4}\" fill=\"{fill}\"/>\
             <path d=\"M{:.3} {y:.3}h{:.3}M{x:.3} {:.3}v{:.3}\" fill=\"none\"/></g>",
            hole.at[0],
            hole.at[1],
            hole.drill_mm,
            x - arm,
            2.0 * arm,
            y - arm,
            2.0 * arm,
            label = escaped(&hole.label),
        );
    }
    for (label, [x, y], what) in labels(plate) {
        let _ = writeln!(
            svg,
            "<text x=\"{x:.3}\" y=\"{:.3}\" font-size=\"{TEXT_MM}\" fill=\"{}\">{}</text>",
            height - y,
            look(what).1,
            escaped(label)
        );
    }
    let [low, _] = outline::bounds(&plate.board_edge);
    let _ = writeln!(
        svg,
        "<text x=\"{:.3}\" y=\"{:.3}\" font-size=\"3\" fill=\"#1c2430\">{} plate · {}</text>",
        low[0],
        height - 3.0,
        plate.level.word(),
        escaped(board)
    );
    svg.push_str("</svg>\n");
    svg
}

/// Fill and line of a hole.
fn look(what: Use) -> (&'static str, &'static str) {
    match what {
        Use::Pin => ("#ffffff", "#1c2430"),
        Use::Tooling => ("#dbe7f2", "#1f4e79"),
        Use::Stop => ("#e2ecdf", "#22633f"),
        Use::Post => ("#ece4f4", "#5a4690"),
        Use::Pillar => ("#eceae4", "#565f6d"),
    }
}

/// Labels with their lower left corners on the plate, mm, each beside its hole where no other hole or label is, if there is such a place.
pub fn labels(plate: &Plate) -> Vec<(&str, [f64; 2], Use)> {
    /// Width of a letter over its height (common practice for sans-serif faces).
    const LETTER: f64 = 0.56;
    let mut taken: Vec<[f64; 4]> = plate
        .holes
        .iter()
        .map(|hole| {
            let (r, [x, y]) = (hole.drill_mm / 2.0, hole.at);
            [x - r, y - r, x + r, y + r]
        })
        .collect();
    let mut labels = Vec::new();
    for hole in &plate.holes {
        let ([x, y], r) = (hole.at, hole.drill_mm / 2.0 * CROSS + 0.2);
        let (width, height) = (hole.label.chars().count() as f64 * LETTER * TEXT_MM, TEXT_MM * 0.75);
        let tries = [
            [x + r, y - height / 2.0],
            [x - r - width, y - height / 2.0],
            [x - width / 2.0, y + r],
            [x - width / 2.0, y - r - height],
            [x + r * 0.7, y + r * 0.7],
            [x - r * 0.7 - width, y + r * 0.7],
            [x + r * 0.7, y - r * 0.7 - height],
            [x - r * 0.7 - width, y - r * 0.7 - height],
        ];
        let area = |at: [f64; 2]| [at[0], at[1], at[0] + width, at[1] + height];
        let overlap = |at: &[f64; 2]| -> f64 {
            let a = area(*at);
            let part = |b: &[f64; 4]| {
                let side = |low: usize, high: usize| (a[high].min(b[high]) - a[low].max(b[low])).max(0.0);
                side(0, 2) * side(1, 3)
            };
            // What hangs over the edge of the plate is worse than any overlap on it.
            let [right, top] = plate.size_mm;
            let off = a[0] < 0.0 || a[1] < 0.0 || a[2] > right || a[3] > top;
            taken.iter().map(part).sum::<f64>() + if off { 1e3 } else { 0.0 }
        };
        let best = tries.into_iter().map(|at| (overlap(&at), at)).min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, at)) = best {
            taken.push(area(at));
            labels.push((hole.label.as_str(), at, hole.what));
        }
    }
    labels
}

/// A text as XML has it.
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
