//! The board from both sides: outline, points, segments, and the faults where they lie.
//!
//! The front is seen as the board file's coordinates say (x to the right, y up). The back is seen as a person sees it
//! who flips the board about its vertical axis: left and right change places, up stays up. A board file knows where a
//! segment begins and ends, not which way its copper runs, so segments are straight lines.

use std::cmp::Reverse;
use std::f64::consts::PI;

use maud::{Markup, html};
use unicode_width::UnicodeWidthStr;

use super::backdrop::{Backdrop, Picture};
use super::gauge::unit;
use super::mark::Sign;
use super::place::{Places, Rect};
use super::route;
use super::strip::fault_sign;
use super::symbol::{HALF, symbol};
use crate::board::{self, Board, Point, PointId, PointKind, Pour, Segment, SegmentId, SegmentKind, Side};
use crate::by_hand::place::Face;
use crate::fitted;
use crate::remedy::Wiring;
use crate::report::text::{clean, cut};
use crate::report::words;
use crate::sweep::{Sweep, UnitFault};

/// Both sides, first the one where more faults show.
pub fn board(sweep: &Sweep, board: &Board, photos: &Backdrop) -> Markup {
    let marks = marks(sweep, board);
    let mut sides = [
        (View::new(board, Side::Front, photos), "Front"),
        (View::new(board, Side::Back, photos), "Back, as seen when flipped about the vertical axis"),
    ];
    sides.sort_by_key(|(view, _)| Reverse(marks.iter().filter(|mark| view.shows(mark)).count()));
    html! {
        div class="map" {
            div class="sides" { @for (view, caption) in &sides { (view.figure(caption, &marks)) } }
            p class="small" {
                "Numbers are those of the table. A line joins the two points of a segment and does not show which way \
                 the copper runs; dashed where the file does not tell the side."
            }
        }
    }
}

/// Both sides of a board of which nothing has been measured.
pub fn blank(board: &Board, photos: &Backdrop) -> Markup {
    html! {
        div class="sides" {
            (View::new(board, Side::Front, photos).figure("Front", &[]))
            (View::new(board, Side::Back, photos).figure("Back, as seen when flipped about the vertical axis", &[]))
        }
    }
}

/// One face with the two tips of a person on it: `A` and `B`, those on the other face left out.
pub fn tips(board: &Board, points: [PointId; 2], face: Face, photos: &Backdrop) -> Markup {
    let (side, caption) = match face {
        Face::Front => (Side::Front, "Front"),
        Face::Back => (Side::Back, "Back, as seen when flipped about the vertical axis"),
    };
    let view = View::new(board, side, photos);
    let [width, height] = view.sheet();
    let seen = board.points.iter().filter(|point| face.reaches(point));
    let marked = points.into_iter().zip(["A", "B"]).filter(|(id, _)| face.reaches(board.point(*id)));
    html! {
        figure {
            figcaption { (caption) }
            svg class="board" viewBox={ "0 0 " (unit(width)) " " (unit(height)) } role="img" aria-label=(caption) {
                (view.laminate())
                (view.photo())
                @for point in seen { (view.pad(point)) }
                @for (id, letter) in marked {
                    @let [x, y] = view.point(id).map(unit);
                    g class="tip" transform={ "translate(" (x) " " (y) ")" } {
                        title { (letter) ": " (board.point(id).name) }
                        circle r="12" {}
                        text x="0" y="-17" text-anchor="middle" { (letter) " " (board.point(id).name) }
                    }
                }
            }
        }
    }
}

/// The faces that a wire lies on, with the wire, what it keeps out of and where it is held down.
pub fn wired(board: &Board, wiring: &Wiring, photos: &Backdrop) -> Markup {
    let mut faces: Vec<board::Face> = wiring.route.legs.iter().map(|leg| leg.face).collect();
    faces.dedup();
    html! {
        div class="sides" {
            @for face in faces {
                @let (side, caption) = match face {
                    board::Face::Front => (Side::Front, "Front"),
                    board::Face::Back => (Side::Back, "Back, as seen when flipped about the vertical axis"),
                };
                @let view = View::new(board, side, photos);
                @let [width, height] = view.sheet();
                figure {
                    figcaption { (caption) }
                    svg class="board" viewBox={ "0 0 " (unit(width)) " " (unit(height)) } role="img" aria-label={ "the wire on the " (face.word()) } {
                        (view.laminate())
                        (view.photo())
                        @for point in board.points.iter().filter(|point| point.side.touches(face)) { (view.pad(point)) }
                        (route::layer(&wiring.task, &wiring.route, face, &|at| view.at(at)))
                    }
                }
            }
        }
    }
}

/// A fault on the drawing.
struct Mark<'a> {
    fault: &'a UnitFault,
    sign: Sign,
    ends: [PointId; 2],
    /// `None` for a leak or a short, which lies wherever its two points meet.
    segment: Option<SegmentId>,
}

/// The faults with a place on the board.
fn marks<'a>(sweep: &'a Sweep, board: &Board) -> Vec<Mark<'a>> {
    let locate = |fault: &'a UnitFault| {
        let segment = board.segment_named(&fault.place);
        let ends = match segment.map(|id| board.segment(id)) {
            Some(segment) => [segment.from, segment.to],
            None => {
                let row = sweep.judgement.isolation.iter().find(|row| row.name == fault.place);
                let named = row.map(|row| [row.between[0].as_str(), row.between[1].as_str()]);
                let named = named.or_else(|| fitted::ends(&fault.place));
                let [a, b] = named.or_else(|| fault.place.split_once('~').map(|(a, b)| [a, b]))?;
                [board.point_named(a)?, board.point_named(b)?]
            }
        };
        Some(Mark { fault, sign: fault_sign(sweep, fault), ends, segment })
    };
    words::booked(&sweep.judgement).iter().filter_map(locate).collect()
}

/// How sure the file is that something lies on a side.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Lies {
    Here,
    Perhaps,
    Elsewhere,
}

/// Where a segment lies, seen from a side: where its ends are. A via is on both. Between two points that reach both
/// sides, or from one side to the other, nobody can tell.
fn lies(board: &Board, ends: [PointId; 2], via: bool, side: Side) -> Lies {
    let [a, b] = ends.map(|end| board.point(end).side);
    match (a, b) {
        _ if via => Lies::Here,
        (Side::Both, Side::Both) | (Side::Front, Side::Back) | (Side::Back, Side::Front) => Lies::Perhaps,
        (Side::Both, only) | (only, _) if only == side => Lies::Here,
        _ => Lies::Elsewhere,
    }
}

/// Room round the board for lettering.
const MARGIN: f64 = 26.0;
/// The board is drawn to fit this.
const FIT: [f64; 2] = [408.0, 330.0];

/// One side of the board on a sheet.
struct View<'a> {
    board: &'a Board,
    side: Side,
    /// A photo of this side.
    picture: Option<&'a Picture>,
    /// Lowest and highest coordinates, mm.
    low: [f64; 2],
    high: [f64; 2],
    /// Units per mm.
    scale: f64,
}

impl<'a> View<'a> {
    fn new(board: &'a Board, side: Side, photos: &'a Backdrop) -> Self {
        let picture = photos.of(if side == Side::Back { Face::Back } else { Face::Front });
        let places = board.outline.iter().chain(board.points.iter().map(|point| &point.at));
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for place in places {
            for axis in 0..2 {
                low[axis] = low[axis].min(place[axis]);
                high[axis] = high[axis].max(place[axis]);
            }
        }
        let [width, height] = [0, 1].map(|axis| (high[axis] - low[axis]).max(1.0));
        Self { board, side, picture, low, high, scale: (FIT[0] / width).min(FIT[1] / height) }
    }

    /// Size of the sheet.
    fn sheet(&self) -> [f64; 2] {
        [0, 1].map(|axis| (self.high[axis] - self.low[axis]) * self.scale + 2.0 * MARGIN)
    }

    /// A place on the board, in units of the sheet.
    fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let x = if self.side == Side::Back { self.high[0] - x } else { x - self.low[0] };
        [MARGIN + x * self.scale, MARGIN + (self.high[1] - y) * self.scale]
    }

    /// The board itself.
    fn laminate(&self) -> Markup {
        let outline: Vec<String> = self.board.outline.iter().map(|at| pair(self.at(*at))).collect();
        html! { polygon class="laminate" points=(outline.join(" ")) {} }
    }

    /// The photo of this side, where it lies on the board.
    fn photo(&self) -> Markup {
        let Some(Picture { address, window }) = self.picture else { return html! {} };
        let (a, b) = (self.at(window.low), self.at(window.high));
        html! {
            image class="photo" href=(address) x=(unit(a[0].min(b[0]))) y=(unit(b[1])) width=(unit((a[0] - b[0]).abs()))
                height=(unit((a[1] - b[1]).abs())) preserveAspectRatio="none" {}
        }
    }

    fn point(&self, id: PointId) -> [f64; 2] {
        self.at(self.board.point(id).at)
    }

    fn lies(&self, segment: &Segment) -> Lies {
        let via = matches!(segment.kind, SegmentKind::Via { .. });
        lies(self.board, [segment.from, segment.to], via, self.side)
    }

    /// Does a fault show on this side?
    fn shows(&self, mark: &Mark<'_>) -> bool {
        let via =
            mark.segment.is_some_and(|id| matches!(self.board.segment(id).kind, SegmentKind::Via { .. }));
        lies(self.board, mark.ends, via, self.side) != Lies::Elsewhere
    }

    fn figure(&self, caption: &str, marks: &[Mark<'_>]) -> Markup {
        let [width, height] = self.sheet();
        let marks: Vec<&Mark<'_>> = marks.iter().filter(|mark| self.shows(mark)).collect();
        let segments: Vec<(SegmentId, &Segment, Lies)> = self
            .board
            .segment_ids()
            .map(|id| (id, self.board.segment(id)))
            .map(|(id, segment)| (id, segment, self.lies(segment)))
            .filter(|(.., lies)| *lies != Lies::Elsewhere)
            .collect();
        let points: Vec<&Point> = self
            .board
            .points
            .iter()
            .filter(|point| point.side == self.side || point.side == Side::Both)
            .collect();
        let mut places = Places::new(Rect { x: 2.0, y: 2.0, width: width - 4.0, height: height - 4.0 });
        for point in &points {
            places.take(Rect::round(self.at(point.at), 13.0, 13.0));
        }
        for end in marks.iter().flat_map(|mark| mark.ends) {
            places.take(Rect::round(self.point(end), 26.0, 26.0));
        }
        for (_, segment, _) in &segments {
            places.take_line(self.point(segment.from), self.point(segment.to), 6.0);
        }
        // Numbers first: they must sit at their segments. Callouts have leaders and can go where there is room.
        let numbers: Vec<Markup> =
            segments.iter().map(|(id, segment, _)| self.number(*id, segment, &mut places)).collect();
        let callouts: Vec<Markup> = marks.iter().map(|mark| self.callout(mark, &mut places)).collect();
        let found: Vec<String> = marks.iter().map(|mark| words::finding(mark.fault)).collect();
        html! {
            figure {
                figcaption { (caption) }
                svg class="board" viewBox={ "0 0 " (unit(width)) " " (unit(height)) } role="img"
                    aria-label={ (caption) ": " @if found.is_empty() { "no fault marked" } @else { (found.join("; ")) } } {
                    (self.laminate())
                    (self.photo())
                    @for mark in &marks { (self.halo(mark)) }
                    @for (_, segment, lies) in &segments { (self.segment(segment, *lies)) }
                    @for point in &points { (self.pad(point)) }
                    @for number in &numbers { (number) }
                    @for id in self.named(&marks) { (self.name(id, &mut places)) }
                    @for callout in &callouts { (callout) }
                }
            }
        }
    }

    /// A segment's copper, or its symbol with leads.
    fn segment(&self, segment: &Segment, lies: Lies) -> Markup {
        let (from, to) = (self.point(segment.from), self.point(segment.to));
        let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
        let length = dx.hypot(dy);
        let dashed = if lies == Lies::Perhaps { " perhaps" } else { "" };
        let line = format!("M{} {}", pair(from), pair(to));
        html! {
            g data-segment=(segment.name) {
                title { (segment.name) ", " (segment.kind.word()) }
                @match &segment.kind {
                    SegmentKind::Trace { width_mm, .. } => {
                        path class={ "track" (dashed) } d=(line)
                            stroke-width=(unit((width_mm * self.scale).clamp(2.5, 9.0))) {}
                    }
                    SegmentKind::Pour { shape: Some(pour), .. } => {
                        path class={ "pour" (dashed) } d=(self.area(pour)) {}
                    }
                    SegmentKind::Via { .. } => {
                        path class="barrel" d=(line) {}
                        @for at in [from, to] { circle class="ring" cx=(unit(at[0])) cy=(unit(at[1])) r="7" {} }
                    }
                    kind => {
                        path class={ "thin" (dashed) } d=(line) {}
                        @if length > 8.0 {
                            @let size = (length / (2.0 * HALF) * 0.9).min(0.75);
                            // Symbols never stand on their head.
                            @let angle = (dy / dx).atan() * 180.0 / PI;
                            g class="part" transform={
                                "translate(" (pair(middle(from, to))) ") rotate(" (unit(if dx == 0.0 { 90.0 } else { angle }))
                                ") scale(" ((size * 100.0).round() / 100.0) ")"
                            } {
                                rect class="under" x="-18" y="-8" width="36" height="16" {}
                                (symbol(kind, false))
                            }
                        }
                    }
                }
            }
        }
    }

    /// A pour's outline and holes as one path.
    fn area(&self, pour: &Pour) -> String {
        let ring = |ring: &Vec<[f64; 2]>| {
            let corners: Vec<String> = ring.iter().map(|at| pair(self.at(*at))).collect();
            format!("M{}Z", corners.join("L"))
        };
        std::iter::once(&pour.outline).chain(&pour.holes).map(ring).collect()
    }

    fn pad(&self, point: &Point) -> Markup {
        let [x, y] = self.at(point.at).map(unit);
        html! {
            g class="pad" transform={ "translate(" (x) " " (y) ")" } {
                title { (point.name) }
                @match point.kind {
                    PointKind::Terminal => { rect x="-7" y="-7" width="14" height="14" rx="3" {} }
                    PointKind::Pad => { rect x="-4.5" y="-4.5" width="9" height="9" rx="1" {} }
                    PointKind::Via => { circle r="4.5" {} circle class="hole" r="2" {} }
                    PointKind::Leg => { circle r="5.5" {} circle class="hole" r="2.5" {} }
                    PointKind::Test => { circle r="4.5" {} }
                }
            }
        }
    }

    /// A segment's number, beside it.
    fn number(&self, id: SegmentId, segment: &Segment, places: &mut Places) -> Markup {
        let (from, to) = (self.point(segment.from), self.point(segment.to));
        let [dx, dy] = [to[0] - from[0], to[1] - from[1]];
        let length = dx.hypot(dy);
        let [nx, ny] = if length > 0.0 { [-dy / length, dx / length] } else { [0.0, -1.0] };
        let candidates = [13.0, -13.0, 20.0, -20.0, 27.0, -27.0].into_iter().flat_map(|away| {
            [0.5, 0.35, 0.65, 0.2, 0.8].map(|t| {
                let at = [from[0] + t * dx + away * nx, from[1] + t * dy + away * ny];
                // Beside a point there is no line to slide along: go round it.
                let at = if length > 1.0 { at } else { turn(from, at, (t - 0.5) * 4.0) };
                Rect::round(at, 16.0, 16.0)
            })
        });
        let Some(place) = places.best(candidates) else { return html! {} };
        let [x, y] = place.centre().map(unit);
        html! {
            g class="badge" transform={ "translate(" (x) " " (y) ")" } {
                circle r="8" {}
                text y="3.4" { (id.index() + 1) }
            }
        }
    }

    /// Points worth naming on this side: the supply's ends and loads, and the ends of what is marked.
    fn named(&self, marks: &[&Mark<'_>]) -> Vec<PointId> {
        let supply = &self.board.supply;
        let mut ids = vec![supply.from, supply.ret];
        ids.extend(&supply.to);
        ids.extend(marks.iter().flat_map(|mark| mark.ends));
        ids.sort();
        ids.dedup();
        ids.retain(
            |id| matches!(self.board.point(*id).side, side if side == self.side || side == Side::Both),
        );
        ids
    }

    fn name(&self, id: PointId, places: &mut Places) -> Markup {
        let name = label(&self.board.point(id).name, 16);
        let [x, y] = self.point(id);
        let (width, height) = (name.width() as f64 * 6.2 + 2.0, 12.0);
        let candidates = [13.0, 20.0].into_iter().flat_map(|away| {
            let side = away - 2.0 + width / 2.0;
            [
                [0.0, -away],
                [0.0, away],
                [side, 0.0],
                [-side, 0.0],
                [side, -away],
                [-side, -away],
                [side, away],
                [-side, away],
            ]
            .map(|[dx, dy]| Rect::round([x + dx, y + dy], width, height))
        });
        let Some(place) = places.best(candidates) else { return html! {} };
        let [x, y] = place.centre();
        html! { text class="label" x=(unit(x)) y=(unit(y + 3.8)) { (name) } }
    }

    /// What is at fault, hatched: a capsule round a segment; of a leak its two points and a dotted line between, because
    /// nobody knows where it runs.
    fn halo(&self, mark: &Mark<'_>) -> Markup {
        let (from, to) = (self.point(mark.ends[0]), self.point(mark.ends[1]));
        let line = format!("M{} {}", pair(from), pair(to));
        // A line of no length has no round ends in some renderers.
        let dot = |[x, y]: [f64; 2]| format!("M{} h.1", pair([x, y]));
        let shape = match mark.segment {
            Some(_) if from != to => line.clone(),
            _ => format!("{}{}", dot(from), dot(to)),
        };
        html! {
            g class={ "halo " (mark.sign.class()) } {
                @if mark.segment.is_none() { path class="bridge" d=(line) {} }
                path class="edge" d=(shape) {}
                path class="inside" d=(shape) {}
                path class="lines" d=(shape) {}
            }
        }
    }

    /// Shape, word and name of a fault, beside it.
    fn callout(&self, mark: &Mark<'_>, places: &mut Places) -> Markup {
        let from = middle(self.point(mark.ends[0]), self.point(mark.ends[1]));
        let text = label(&format!("{}: {}", words::class(mark.fault.class), mark.fault.place), 34);
        let (width, height) = (text.width() as f64 * 6.7 + 36.0, 22.0);
        let candidates = [30.0, 46.0, 64.0, 86.0].into_iter().flat_map(|away| {
            [0.0, 0.4, -0.4, 0.8, -0.8].into_iter().flat_map(move |slide| {
                [-away, away].map(|dy| Rect::round([from[0] + slide * width, from[1] + dy], width, height))
            })
        });
        let Some(place) = places.best(candidates) else { return html! {} };
        let edge = if place.y > from[1] { place.y } else { place.y + place.height };
        let foot = from[0].clamp(place.x + 6.0, place.x + place.width - 6.0);
        html! {
            g class={ "callout " (mark.sign.class()) } {
                path class="leader" d={ "M" (pair(from)) " " (pair([foot, edge])) } {}
                rect class="box" x=(unit(place.x)) y=(unit(place.y)) width=(unit(width)) height=(unit(height)) rx="3" {}
                g transform={ "translate(" (pair([place.x + 14.0, place.y + 11.0])) ") scale(.68)" } { (mark.sign.shape()) }
                text x=(unit(place.x + 26.0)) y=(unit(place.y + 15.0)) { (text) }
            }
        }
    }
}

fn label(text: &str, columns: usize) -> String {
    cut(&clean(text), columns).into_owned()
}

fn middle(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
}

/// A place turned about another.
fn turn([cx, cy]: [f64; 2], [x, y]: [f64; 2], radians: f64) -> [f64; 2] {
    let (sin, cos) = radians.sin_cos();
    let [dx, dy] = [x - cx, y - cy];
    [cx + dx * cos - dy * sin, cy + dx * sin + dy * cos]
}

fn pair([x, y]: [f64; 2]) -> String {
    format!("{} {}", unit(x), unit(y))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn the_back_is_mirrored_left_to_right_only() {
        let board = sample::board();
        let none = Backdrop::default();
        let (front, back) = (View::new(&board, Side::Front, &none), View::new(&board, Side::Back, &none));
        let [width, _] = front.sheet();
        for point in &board.points {
            let ([fx, fy], [bx, by]) = (front.at(point.at), back.at(point.at));
            assert!((fx + bx - width).abs() < 1e-9 && fy == by);
        }
        assert_eq!(front.at([0.0, 40.0]), [MARGIN, MARGIN], "upper left corner");
    }

    #[test]
    fn a_segment_is_drawn_on_the_side_of_its_ends() {
        let board = sample::board();
        let none = Backdrop::default();
        let on = |name: &str, side| {
            View::new(&board, side, &none).lies(board.segment(board.segment_named(name).unwrap()))
        };
        assert!(
            on("tail trace", Side::Back) == Lies::Here && on("tail trace", Side::Front) == Lies::Elsewhere
        );
        assert!(on("fuse feed", Side::Front) == Lies::Here && on("fuse feed", Side::Back) == Lies::Elsewhere);
        assert!(on("via pair 1", Side::Front) == Lies::Here && on("via pair 1", Side::Back) == Lies::Here);
        let [a, b] = [0, 2].map(PointId::new); // a terminal on the back, a via's pad on the back
        let mut turned = board.clone();
        turned.points[b.index()].side = Side::Front;
        assert!(lies(&turned, [a, b], false, Side::Front) == Lies::Perhaps);
    }

    #[test]
    fn a_fault_is_marked_by_shape_and_word_on_the_sides_where_it_lies() {
        let board_file = sample::board();
        let text = board(&sample::open_via(), &board_file, &Backdrop::default()).into_string();
        assert_eq!(text.matches("open: via pair 1").count(), 2, "a via shows on both sides");
        let mut sweep = sample::open_via();
        sweep.judgement.faults[0].place = "fuse feed".to_owned();
        let text = board(&sweep, &board_file, &Backdrop::default()).into_string();
        assert_eq!(text.matches("open: fuse feed").count(), 1);
    }

    #[test]
    fn a_void_sweep_marks_nothing_on_the_unit() {
        let mut sweep = sample::void();
        sweep.judgement.faults = sample::open_via().judgement.faults;
        assert!(!board(&sweep, &sample::board(), &Backdrop::default()).into_string().contains("halo"));
    }
}
