//! How repairs have turned out so far: what the next sweep after each of them showed. The table of methods is where the counting begins.

use std::collections::HashMap;

use serde::Serialize;

use super::taken::Taken;
use crate::board::Board;
use crate::fault::method::{At, Method};
use crate::fitted;
use crate::statistics::beta::Beta;
use crate::verdict::Class;

/// A repair, the fault it was made for, and what the next sweep showed.
#[derive(Clone, PartialEq, Debug)]
pub struct Repaired {
    /// Where it was made.
    pub place: String,
    /// How the fault there looked; `None` where the sweep before it shows none.
    pub class: Option<Class>,
    /// What was done, as somebody wrote it.
    pub action: String,
    /// The proposal that was taken, if one was.
    pub taken: Option<Taken>,
    /// Where the next sweep that counts still showed faults; `None`: there was none yet.
    pub after: Option<Vec<String>>,
}

impl Repaired {
    /// Is the fault gone? `None` before it was swept again.
    pub fn cured(&self) -> Option<bool> {
        let wire = self.taken.as_ref().and_then(|taken| taken.wire.as_ref()).map(fitted::Wire::name);
        let still = |place: &String| *place == self.place || wire.as_ref() == Some(place);
        self.after.as_ref().map(|places| !places.iter().any(still))
    }

    /// What was done, as far as it is one of the methods that are counted.
    pub fn method(&self) -> Option<Method> {
        self.taken.as_ref().map(|taken| taken.method).or_else(|| Method::of_action(&self.action))
    }
}

/// How often each method worked on each kind of place, by the class of the fault.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Tally(HashMap<(At, Class, Method), Count>);

/// Repairs that were counted.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default, Serialize)]
pub struct Count {
    /// Repairs after which the fault was gone.
    pub worked: u32,
    /// Repairs after which it was not.
    pub failed: u32,
}

impl Tally {
    /// Counts repairs on units of a board; those that no sweep has followed are left out.
    pub fn of(board: &Board, repairs: &[Repaired]) -> Self {
        let mut tally = Self::default();
        for repair in repairs {
            let key = (At::of(board, &repair.place), repair.class, repair.method());
            let ((Some(at), Some(class), Some(method)), Some(cured)) = (key, repair.cured()) else {
                continue;
            };
            let count = tally.0.entry((at, class, method)).or_default();
            *if cured { &mut count.worked } else { &mut count.failed } += 1;
        }
        tally
    }

    /// Counted so far.
    pub fn count(&self, at: At, class: Class, method: Method) -> Count {
        self.0.get(&(at, class, method)).copied().unwrap_or_default()
    }

    /// The chance that the next one works, from the table's opinion and the count.
    pub fn chance(&self, prior: Beta, at: At, class: Class, method: Method) -> Beta {
        let Count { worked, failed } = self.count(at, class, method);
        prior.after(worked, failed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn repair(place: &str, action: &str, class: Option<Class>, after: Option<&[&str]>) -> Repaired {
        let after = after.map(|places| places.iter().map(ToString::to_string).collect());
        Repaired { place: place.into(), class, action: action.into(), taken: None, after }
    }

    #[test]
    fn repairs_are_counted_by_what_the_next_sweep_shows_at_their_place() {
        let board =
            crate::board::parse("board.toml", include_str!("../../../fixtures/tide-gauge-head/board.toml"))
                .unwrap();
        let film = Some(Class::Film);
        let tally = Tally::of(
            &board,
            &[
                repair("power switch", "cleaned", film, Some(&[])),
                repair("power switch", "clean", film, Some(&["cell fuse"])),
                repair("power switch", "clean", film, Some(&["power switch"])),
                // Not swept since; no fault before it; a method nobody knows; another kind of place.
                repair("power switch", "clean", film, None),
                repair("power switch", "clean", None, Some(&[])),
                repair("power switch", "prayed", film, Some(&[])),
                repair("cell fuse", "replaced", Some(Class::Open), Some(&[])),
            ],
        );
        assert_eq!(tally.count(At::Switch, Class::Film, Method::Clean), Count { worked: 2, failed: 1 });
        assert_eq!(tally.count(At::Fuse, Class::Open, Method::Replace), Count { worked: 1, failed: 0 });
        // Beta(8, 2) and two of three: 10/13.
        let chance = tally.chance(Beta { a: 8.0, b: 2.0 }, At::Switch, Class::Film, Method::Clean);
        assert!((chance.mean() - 10.0 / 13.0).abs() < 1e-12);
    }
}
