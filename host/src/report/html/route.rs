//! A wire's route on one face of the board's drawing: keep-outs hatched, the wire with its bends, where it is held down, and the holes it
//! passes through.
//!
//! Places come from the drawing's own view, so the back is mirrored as the hand holds it, and a route lies where the drawing has the copper.

use maud::{Markup, html};

use super::gauge::unit;
use crate::board::Face;
use crate::report::text::clean;
use crate::route::{Obstacle, Piece, Relief, Route, Task};

/// A route on a face. `view` leads from the board's millimetres, seen from the front, to the drawing's coordinates: lengths have to grow
/// alike in both directions.
pub fn layer(task: &Task, route: &Route, face: Face, view: &dyn Fn([f64; 2]) -> [f64; 2]) -> Markup {
    let scale = scale(view);
    let width = (task.wire.insulated_mm * scale).max(2.0);
    let legs: Vec<String> =
        route.legs.iter().filter(|leg| leg.face == face).map(|leg| path(&leg.pieces, view)).collect();
    let keep_outs = task.keep_outs.iter().enumerate().filter(|(_, keep_out)| keep_out.side == face);
    let passes = format!("passes to the {}", face.other().word());
    let holes = route.passages.iter().filter_map(|hole| task.holes.get(*hole));
    // Which end is soldered on this face: the first leg begins at one, the last ends at the other.
    let ends = [(&task.from, route.legs.first()), (&task.to, route.legs.last())];
    let here =
        ends.into_iter().filter(|(_, leg)| leg.is_some_and(|leg| leg.face == face)).map(|(end, _)| end);
    html! {
        g class="route" {
            @for (number, keep_out) in keep_outs {
                path class="keep-out" d=(polygon(&keep_out.polygon, view)) {
                    title { (Obstacle::KeepOut { index: number, why: keep_out.why.clone() }) }
                }
            }
            @for leg in &legs {
                path class="wire-edge" d=(leg) stroke-width=(unit(width + 2.0)) {}
                path class="wire" d=(leg) stroke-width=(unit(width)) {}
            }
            @for relief in route.reliefs.iter().filter(|relief| relief.face == face) { (dot(relief, view)) }
            @for hole in holes {
                @let [x, y] = view(hole.at).map(unit);
                g class="passage" {
                    title { (clean(&hole.name)) ": the wire " (passes) }
                    circle cx=(x) cy=(y) r=(unit((hole.drill_mm * scale / 2.0).max(width * 0.75))) {}
                }
            }
            @for end in here {
                @let [x, y] = view(end.at).map(unit);
                g class="wire-end" {
                    title { "the wire is soldered to " (clean(&end.name)) }
                    circle cx=(x) cy=(y) r=(unit(width.max(4.0))) {}
                    text class="label" x=(x) y=(y) dy="-12" { (clean(&end.name)) }
                }
            }
        }
    }
}

/// Drawing units per millimetre.
fn scale(view: &dyn Fn([f64; 2]) -> [f64; 2]) -> f64 {
    let [a, b] = [[0.0, 0.0], [0.0, 1.0]].map(view);
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Pieces as the data of an SVG path: lines and arcs of circles.
fn path(pieces: &[Piece], view: &dyn Fn([f64; 2]) -> [f64; 2]) -> String {
    let Some(first) = pieces.first() else { return String::new() };
    // The drawing's y runs down. Where it shows the board as it is, a turn to the left is one to the left on the screen, which SVG calls sweep 0.
    let [o, x, y] = [[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]].map(view);
    let mirrored = (x[0] - o[0]) * (y[1] - o[1]) - (x[1] - o[1]) * (y[0] - o[0]) > 0.0;
    let scale = scale(view);
    let mut data = format!("M{}", pair(view(first.from())));
    for piece in pieces {
        let to = pair(view(piece.to()));
        match piece {
            Piece::Straight { .. } => data += &format!("L{to}"),
            Piece::Bend { radius_mm, turn, .. } => {
                let radius = fine(radius_mm * scale);
                let large = u8::from(turn.abs() > std::f64::consts::PI);
                let sweep = u8::from((*turn > 0.0) == mirrored);
                data += &format!("A{radius} {radius} 0 {large} {sweep} {to}");
            }
        }
    }
    data
}

fn polygon(corners: &[[f64; 2]], view: &dyn Fn([f64; 2]) -> [f64; 2]) -> String {
    let corners: Vec<String> = corners.iter().map(|at| pair(view(*at))).collect();
    format!("M{}Z", corners.join("L"))
}

fn dot(relief: &Relief, view: &dyn Fn([f64; 2]) -> [f64; 2]) -> Markup {
    let [x, y] = view(relief.at).map(unit);
    html! {
        g class="relief" {
            title { "hold the wire down here, " (relief.why.words()) }
            circle cx=(x) cy=(y) r="3" {}
        }
    }
}

/// Hundredths: bends have to meet straight pieces without a step that shows.
fn fine(value: f64) -> f64 {
    // Adding 0 makes of a negative zero a plain one.
    (value * 100.0).round() / 100.0 + 0.0
}

fn pair([x, y]: [f64; 2]) -> String {
    format!("{} {}", fine(x), fine(y))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::board::{KeepOut, Side};
    use crate::route::{End, Hole, Wire, shortest};

    fn task() -> Task {
        let end = |name: &str, at, side| End { name: name.into(), at, side, pad_mm: None };
        Task {
            outline: vec![[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]],
            keep_outs: vec![KeepOut {
                side: Face::Front,
                polygon: vec![[10.0, 8.0], [14.0, 8.0], [14.0, 25.0], [10.0, 25.0]],
                height_mm: None,
                why: "a screw boss & <its> washer".into(),
            }],
            thickness_mm: 1.6,
            wire: Wire {
                insulated_mm: 0.8,
                conductor_mm: 0.4,
                bend_mm: 1.0,
                clearance_mm: 0.6,
                edge_mm: 0.5,
                relief_mm: 10.0,
                slack_share: 0.05,
                slack_mm: 0.0,
            },
            from: end("cell+", [4.0, 10.0], Side::Front),
            to: end("reg.in", [35.0, 12.0], Side::Back),
            holes: vec![Hole { name: "vent".into(), at: [22.0, 12.0], drill_mm: 2.0 }],
            passage_mm: 5.0,
        }
    }

    #[test]
    fn both_faces_show_their_part() {
        let (task, view) = (task(), |[x, y]: [f64; 2]| [10.0 * x, 300.0 - 10.0 * y]);
        let route = shortest(&task).unwrap();
        let mirrored = |[x, y]: [f64; 2]| [400.0 - 10.0 * x, 300.0 - 10.0 * y];
        let front = layer(&task, &route, Face::Front, &view).into_string();
        let back = layer(&task, &route, Face::Back, &mirrored).into_string();
        assert!(front.contains("vent: the wire passes to the back"), "{front}");
        assert!(back.contains("vent: the wire passes to the front"), "{back}");
        assert!(front.contains("soldered to cell+") && !front.contains("reg.in"), "{front}");
        assert!(
            front.contains("a screw boss &amp; &lt;its&gt; washer") && !back.contains("keep-out"),
            "{back}"
        );
        assert!(front.contains("class=\"relief\""));
    }

    /// Round below a post, from left to right: a turn to the left, counterclockwise as the front is seen and clockwise on the mirrored back.
    #[test]
    fn a_bend_turns_as_it_is_seen() {
        let bend = Piece::Bend { centre: [0.0, 0.0], radius_mm: 2.0, from: [0.0, -2.0], turn: 1.0 };
        assert_eq!(path(&[bend], &|[x, y]| [x, -y]), "M0 2A2 2 0 0 0 1.68 1.08");
        assert_eq!(path(&[bend], &|[x, y]| [-x, -y]), "M0 2A2 2 0 0 1 -1.68 1.08");
    }
}
