//! Values inside a board file: places, lengths, angles, each with its bounds and a message that names it.
//!
//! The file's y axis points down and its angles turn counter-clockwise as seen; with y negated they are angles as usual.

use crate::import::region::At;
use crate::import::sexpr::{Expr, SyntaxError};

/// Coordinates and sizes beyond this are no board's, mm.
const FARTHEST_MM: f64 = 10_000.0;

/// A complaint about a list or word.
pub fn bad(expr: Expr<'_>, what: impl Into<String>) -> SyntaxError {
    SyntaxError { at: expr.start(), what: what.into() }
}

/// The list inside that begins with `name`.
///
/// # Errors
/// There is none.
pub fn need<'t>(expr: Expr<'t>, name: &str) -> Result<Expr<'t>, SyntaxError> {
    expr.find(name).ok_or_else(|| bad(expr, format!("`{}` has no `{name}`", head(expr))))
}

/// Two numbers behind the first word, as a place.
///
/// # Errors
/// They are missing, or farther away than any board reaches.
pub fn place(expr: Expr<'_>) -> Result<At, SyntaxError> {
    let mut numbers = expr.numbers();
    match (numbers.next(), numbers.next()) {
        (Some(x), Some(y)) if x.abs() <= FARTHEST_MM && y.abs() <= FARTHEST_MM => Ok([x, -y]),
        _ => Err(bad(expr, format!("`{}` wants two numbers, millimetres within a board", head(expr)))),
    }
}

/// The place that the list `name` inside gives.
///
/// # Errors
/// See [`need`] and [`place`].
pub fn place_of(expr: Expr<'_>, name: &str) -> Result<At, SyntaxError> {
    place(need(expr, name)?)
}

/// The third number of an `(at X Y ANGLE)`, degrees; 0 without one.
pub fn angle(at: Expr<'_>) -> f64 {
    at.numbers().nth(2).unwrap_or(0.0)
}

/// A length behind the first word of the list `name` inside; `None` if there is no such list.
///
/// # Errors
/// It is no length.
pub fn length_of(expr: Expr<'_>, name: &str) -> Result<Option<f64>, SyntaxError> {
    let Some(found) = expr.find(name) else { return Ok(None) };
    match found.numbers().next() {
        Some(length) if (0.0..=FARTHEST_MM).contains(&length) => Ok(Some(length)),
        _ => Err(bad(found, format!("`{name}` wants a length in millimetres"))),
    }
}

/// The places of a list of `(xy X Y)`, and of `(arc …)` among them.
///
/// # Errors
/// One is no place.
pub fn outline(points: Expr<'_>) -> Result<Vec<At>, SyntaxError> {
    let mut found = Vec::new();
    for point in points.values() {
        if point.is("xy") {
            found.push(place(point)?);
        } else if point.is("arc") {
            let ends = [place_of(point, "start")?, place_of(point, "mid")?, place_of(point, "end")?];
            let [start, mid, end] = ends;
            found.extend(crate::import::region::arc(start, mid, end));
        }
    }
    Ok(found)
}

/// First word of a list, for messages.
pub fn head(expr: Expr<'_>) -> String {
    crate::quantity::clip(&expr.head().unwrap_or_default())
}

/// Width of the pen: `(width W)`, or `(stroke (width W) …)` since version 7.
///
/// # Errors
/// It is no length.
pub fn pen(expr: Expr<'_>) -> Result<Option<f64>, SyntaxError> {
    match expr.find("stroke") {
        Some(stroke) => length_of(stroke, "width"),
        None => length_of(expr, "width"),
    }
}

/// A net's name as people write it: `{slash}` stands for a stroke, `{dblquote}` and the like for what a file cannot hold.
pub fn plain_name(name: &str) -> String {
    if !name.contains('{') {
        return name.to_owned();
    }
    let known = [
        ("{slash}", "/"),
        ("{backslash}", "\\"),
        ("{dblquote}", "\""),
        ("{quote}", "'"),
        ("{lt}", "<"),
        ("{gt}", ">"),
        ("{colon}", ":"),
        ("{bar}", "|"),
        ("{space}", " "),
        ("{tab}", " "),
        ("{return}", " "),
        ("{brace}", "{"),
    ];
    known.iter().fold(name.to_owned(), |name, (from, to)| name.replace(from, to))
}
