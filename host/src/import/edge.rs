//! The board's outline: the strokes of its edge joined end to end.

use super::region::At;
use crate::plane::{apart, area};

/// Ends so close are one corner, mm. Editors leave rounding, people leave a little more.
const JOINED_MM: f64 = 0.05;
/// Most corners a board file takes, with room to spare.
const MOST_CORNERS: usize = 400;
/// Most strokes that are joined; joining compares each with each.
const MOST_STROKES: usize = 5000;

/// A line of a drawing: its points, and whether it closes.
pub struct Stroke {
    /// Points, arcs as chords.
    pub points: Vec<At>,
    /// Is it a closed figure?
    pub closed: bool,
}

/// The largest closed figure of the strokes; `None` where there is none.
pub fn outline(strokes: Vec<Stroke>) -> Option<Vec<At>> {
    if strokes.len() > MOST_STROKES {
        return None;
    }
    let (closed, mut open): (Vec<_>, Vec<_>) = strokes.into_iter().partition(|stroke| stroke.closed);
    let mut figures: Vec<Vec<At>> = closed.into_iter().map(|stroke| stroke.points).collect();
    while let Some(first) = open.pop() {
        let mut chain = first.points;
        while let Some((at, turned)) = chain.last().and_then(|&end| continuing(&open, end)) {
            let mut next = open.swap_remove(at).points;
            if turned {
                next.reverse();
            }
            chain.extend(next.into_iter().skip(1));
        }
        let closes =
            matches!((chain.first(), chain.last()), (Some(a), Some(b)) if apart(*a, *b) <= JOINED_MM);
        if closes && chain.len() > 3 {
            chain.pop();
            figures.push(chain);
        }
    }
    let largest = figures.into_iter().max_by(|a, b| area(a).total_cmp(&area(b)))?;
    let outline = thinned(largest);
    (outline.len() > 2 && area(&outline) > 1.0).then_some(outline)
}

/// The stroke that begins or ends at a place, and whether it has to be turned round.
fn continuing(open: &[Stroke], end: At) -> Option<(usize, bool)> {
    open.iter().enumerate().find_map(|(i, stroke)| {
        let near = |at: Option<&At>| at.is_some_and(|at| apart(*at, end) <= JOINED_MM);
        if near(stroke.points.first()) {
            Some((i, false))
        } else {
            near(stroke.points.last()).then_some((i, true))
        }
    })
}

/// Corners that lie farthest from others are kept until there are few enough.
fn thinned(mut points: Vec<At>) -> Vec<At> {
    points.dedup_by(|a, b| apart(*a, *b) < 0.001);
    let mut least = 0.05;
    while points.len() > MOST_CORNERS {
        let count = points.len();
        points.dedup_by(|a, b| apart(*a, *b) < least);
        if points.len() == count || least > 1.0 {
            least *= 2.0;
        } else {
            least *= 1.3;
        }
        if least > 1e4 {
            break;
        }
    }
    points
}
