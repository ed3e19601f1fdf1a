//! Why there is no route: each reason with its remedy.

use std::fmt;

use crate::board::Face;

/// What stands in a wire's way.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Obstacle {
    /// The board's edge.
    Edge,
    /// A keep-out, by its number from 0 in the task's list, and why it is there.
    KeepOut {
        /// Its number.
        index: usize,
        /// Why it is there; empty where nothing is said.
        why: String,
    },
}

impl fmt::Display for Obstacle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Edge => f.write_str("the board's edge"),
            Self::KeepOut { index, why } if why.is_empty() => write!(f, "keep-out {}", index + 1),
            Self::KeepOut { index, why } => {
                write!(f, "keep-out {} ({})", index + 1, crate::quantity::clip(why))
            }
        }
    }
}

/// An end that no wire reaches on one of its faces, because something is too near.
#[derive(Clone, PartialEq, Debug)]
pub struct Cover {
    /// The end's name.
    pub end: String,
    /// The face.
    pub face: Face,
    /// What is too near.
    pub by: Obstacle,
    /// How far that is from the end, mm; 0 where it covers the end.
    pub has_mm: f64,
    /// How far it would have to be, mm.
    pub needs_mm: f64,
}

impl fmt::Display for Cover {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (end, face, by) = (crate::quantity::clip(&self.end), self.face.word(), &self.by);
        if self.has_mm > 0.0 {
            write!(
                f,
                "`{end}` is {:.2} mm from {by} on the {face}, and the wire needs {:.2} mm",
                self.has_mm, self.needs_mm
            )
        } else {
            write!(f, "{by} covers `{end}` on the {face}")
        }
    }
}

/// A closed ring of obstacles that parts two places: between any two neighbours in it there is no room for the wire.
#[derive(Clone, PartialEq, Debug)]
pub struct Ring {
    /// The face.
    pub face: Face,
    /// The two places that it parts, by their names.
    pub between: [String; 2],
    /// The obstacles of the ring.
    pub by: Vec<Obstacle>,
}

impl fmt::Display for Ring {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [a, b] = self.between.each_ref().map(|name| crate::quantity::clip(name));
        write!(f, "on the {} `{a}` and `{b}` are parted by {}", self.face.word(), listed(&self.by))
    }
}

/// A few things, and how many more.
pub(super) fn listed<T: fmt::Display>(all: &[T]) -> String {
    const MOST: usize = 8;
    let shown: Vec<String> = all.iter().take(MOST).map(T::to_string).collect();
    match all.len().saturating_sub(MOST) {
        0 => shown.join("; "),
        more => format!("{}; and {more} more", shown.join("; ")),
    }
}

/// Why there is no route.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum RouteError {
    /// A figure that none can be.
    #[error("{what} is {value}, so that no wire can be led: it has to be a number from {least} to {most}")]
    Figure {
        /// What it is of.
        what: String,
        /// What it is.
        value: f64,
        /// The least it may be.
        least: f64,
        /// The most it may be.
        most: f64,
    },
    /// A polygon without an inside.
    #[error("{what} is no area: give it three corners or more that do not lie on one line")]
    Flat {
        /// Which polygon.
        what: String,
    },
    /// A polygon that crosses itself.
    #[error(
        "{what} crosses itself where its edges {} and {} meet: put its corners in order round the edge",
        .edges[0] + 1, .edges[1] + 1
    )]
    Crossed {
        /// Which polygon.
        what: String,
        /// The two edges, by the number of their first corner from 0.
        edges: [usize; 2],
    },
    /// More than can be looked at in a bounded time.
    #[error(
        "{what} are {found}, and a wire is led round {most} at most: leave out what no wire comes near, or draw it with fewer corners"
    )]
    Many {
        /// What is too many.
        what: &'static str,
        /// How many there are.
        found: usize,
        /// How many may be.
        most: usize,
    },
    /// Nothing to lead.
    #[error("`{from}` and `{to}` lie at one place, so that no wire is needed between them: name two places")]
    SamePlace {
        /// One end.
        from: String,
        /// The other.
        to: String,
    },
    /// A pad that is too small for the conductor.
    #[error(
        "the pad of `{end}` is {pad_mm:.2} mm wide, and the conductor {conductor_mm:.2} mm thick: take a thinner wire, or a larger pad on the same copper"
    )]
    Pad {
        /// The end.
        end: String,
        /// The pad's least width.
        pad_mm: f64,
        /// The conductor's diameter.
        conductor_mm: f64,
    },
    /// Ends that no wire reaches. Never empty.
    #[error("no wire can lie at an end of this route: {}. Take a thinner wire, less clearance, or another place on the same copper", listed(.0))]
    Covered(Vec<Cover>),
    /// Proven: there is no way, however the wire is bent.
    #[error(
        "no way leads from `{from}` to `{to}`: {}{}. Take a thinner wire or less clearance, or name a hole that it may pass through",
        listed(.rings), closed(.holes)
    )]
    NoWay {
        /// Where the wire was to begin.
        from: String,
        /// Where it was to end.
        to: String,
        /// What parts places of the one from places of the other. Empty where no hole joins the two faces.
        rings: Vec<Ring>,
        /// Why holes cannot be passed through.
        holes: Vec<Shut>,
    },
    /// A way is there, but none was found for bends of this radius.
    #[error(
        "between `{from}` and `{to}` no route was found with bends of {bend_mm:.2} mm radius, and there is one for a wire that bends to {passes_mm:.2} mm: take a more supple wire, or move an end"
    )]
    Stiff {
        /// Where the wire was to begin.
        from: String,
        /// Where it was to end.
        to: String,
        /// The least radius that was asked.
        bend_mm: f64,
        /// A radius for which there is a route.
        passes_mm: f64,
    },
    /// The bound on work was reached.
    #[error(
        "looking for a route was given up after {most} lines of sight: join keep-outs that touch, and leave out what no wire comes near"
    )]
    Crowded {
        /// The bound.
        most: usize,
    },
}

/// A hole that the wire cannot pass through.
#[derive(Clone, PartialEq, Debug)]
pub enum Shut {
    /// The wire is too thick.
    Narrow {
        /// The hole.
        hole: String,
        /// Its diameter.
        drill_mm: f64,
        /// The wire's.
        insulated_mm: f64,
    },
    /// Something lies over it.
    Covered(Cover),
}

impl fmt::Display for Shut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Narrow { hole, drill_mm, insulated_mm } => {
                let hole = crate::quantity::clip(hole);
                write!(f, "`{hole}` is {drill_mm:.2} mm wide, and the wire {insulated_mm:.2} mm thick")
            }
            Self::Covered(cover) => cover.fmt(f),
        }
    }
}

fn closed(holes: &[Shut]) -> String {
    if holes.is_empty() { String::new() } else { format!("; of the holes: {}", listed(holes)) }
}
