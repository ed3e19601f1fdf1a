//! Methods of repair: which fit which fault, how often they cure it, how long they take, what they need and what they
//! put at risk.
//!
//! The figures are common practice of board repair, from memory, and no statistics: a starting opinion, which a lot's own
//! record soon outweighs. Each chance is therefore written as a beta distribution, in tries that worked and tries that did
//! not, and not as a percentage; what such a try weighs beside one that was counted is said where they are put together.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    board::{Board, SegmentKind},
    fitted,
    statistics::beta::Beta,
    verdict::Class,
};

/// What can be done about a fault.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// Clean a contact and work it; wash residue off a board.
    Clean,
    /// Reflow joints with fresh flux; bridge a scraped break with solder; wick a solder bridge away.
    Reflow,
    /// Fit another part.
    Replace,
    /// Solder a thin wire through the hole, on both sides.
    RebuildVia,
    /// Lead an insulated wire round what is broken.
    WireAround,
    /// Lay a wire beside copper that still carries, but reads too high.
    ParallelWire,
    /// Leave it as it is: it runs, with its redundancy lost.
    Leave,
}

impl Method {
    /// Every one, the gentlest first.
    pub const ALL: [Self; 7] = [
        Self::Leave,
        Self::Clean,
        Self::Reflow,
        Self::ParallelWire,
        Self::WireAround,
        Self::RebuildVia,
        Self::Replace,
    ];

    /// The word for it in records, JSON and on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::Reflow => "reflow",
            Self::Replace => "replace",
            Self::RebuildVia => "rebuild_via",
            Self::WireAround => "wire_around",
            Self::ParallelWire => "parallel_wire",
            Self::Leave => "leave",
        }
    }

    /// The method that the action of a repair means: its word, or what people write for it at the bench. `None` where it
    /// is none of them.
    pub fn of_action(action: &str) -> Option<Self> {
        let action = action.trim().to_lowercase().replace([' ', '-'], "_");
        if let Some(method) = Self::ALL.into_iter().find(|method| method.word() == action) {
            return Some(method);
        }
        Some(match action.as_str() {
            "cleaned" | "wash" | "washed" | "wash_and_dry" | "reseat" | "reseated" => Self::Clean,
            "reflowed" | "resolder" | "resoldered" | "bridge" | "bridged" | "clear_bridge" => Self::Reflow,
            "replaced" | "swap" | "swapped" | "exchange" | "exchanged" => Self::Replace,
            "rebuild" | "rebuilt" | "rebuilt_via" => Self::RebuildVia,
            "wire" | "wired" | "wired_around" | "jumper" => Self::WireAround,
            "wire_parallel" | "parallel" => Self::ParallelWire,
            "left" => Self::Leave,
            _ => return None,
        })
    }

    /// What it takes besides the iron or the brush that every bench has: tools, in words.
    pub fn tools(self) -> &'static str {
        match self {
            Self::Clean => "contact cleaner or isopropyl alcohol, a brush, lint-free cloth",
            Self::Reflow => "soldering iron, flux, thin solder, desoldering wick",
            Self::Replace => "soldering iron or hot air, flux, desoldering wick, tweezers",
            Self::RebuildVia => {
                "soldering iron with a fine tip, flux, a pin or drill bit to clear the hole, magnifier"
            }
            Self::WireAround | Self::ParallelWire => {
                "soldering iron with a fine tip, flux, wire stripper, scraper, adhesive"
            }
            Self::Leave => "none",
        }
    }
}

/// What a fault is at, as far as repairs differ.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // as in `SegmentKind`
pub enum At {
    Trace,
    Pour,
    Via,
    Joint,
    Fuse,
    Resettable,
    Ferrite,
    Inductor,
    Shunt,
    Switch,
    Connector,
    Wire,
    Diode,
    Transistor,
    /// Two nets that should be apart.
    Gap,
}

impl At {
    /// Every one.
    pub const ALL: [Self; 15] = [
        Self::Trace,
        Self::Pour,
        Self::Via,
        Self::Joint,
        Self::Fuse,
        Self::Resettable,
        Self::Ferrite,
        Self::Inductor,
        Self::Shunt,
        Self::Switch,
        Self::Connector,
        Self::Wire,
        Self::Diode,
        Self::Transistor,
        Self::Gap,
    ];

    /// Of a place as faults name it: a segment's name, a fitted wire's, or `point~point`. `None` where the board has no such segment.
    pub fn of(board: &Board, place: &str) -> Option<Self> {
        match board.segment_named(place) {
            Some(id) => Some(Self::from(&board.segment(id).kind)),
            None if fitted::ends(place).is_some() => Some(Self::Wire),
            None => place.contains('~').then_some(Self::Gap),
        }
    }
}

impl From<&SegmentKind> for At {
    fn from(kind: &SegmentKind) -> Self {
        match kind {
            SegmentKind::Trace { .. } => Self::Trace,
            SegmentKind::Pour { .. } => Self::Pour,
            SegmentKind::Via { .. } => Self::Via,
            SegmentKind::Joint => Self::Joint,
            SegmentKind::Fuse { .. } => Self::Fuse,
            SegmentKind::Resettable { .. } => Self::Resettable,
            SegmentKind::Ferrite => Self::Ferrite,
            SegmentKind::Inductor => Self::Inductor,
            SegmentKind::Shunt { .. } => Self::Shunt,
            SegmentKind::Switch => Self::Switch,
            SegmentKind::Connector => Self::Connector,
            SegmentKind::Wire { .. } => Self::Wire,
            SegmentKind::Diode { .. } => Self::Diode,
            SegmentKind::Transistor { .. } => Self::Transistor,
        }
    }
}

/// How long a repair takes, minutes.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Minutes {
    /// When all goes well.
    pub least: f64,
    /// Mostly.
    pub usual: f64,
    /// When it resists.
    pub most: f64,
}

impl Minutes {
    /// The mean, by the three-point estimate (D. G. Malcolm et al., Operations Research 7 (1959) 646-669).
    pub fn mean(self) -> f64 {
        (self.least + 4.0 * self.usual + self.most) / 6.0
    }
}

/// A method as it is practised on one kind of place with one class of fault.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Practice {
    /// Which.
    pub method: Method,
    /// Chance that it cures the fault it is meant for; for [`Method::Leave`] that the unit serves as it is.
    pub cures: Beta,
    /// How long it takes, without the sweep after it.
    pub minutes: Minutes,
    /// Chance that the board is worse afterwards and is not saved: a lifted pad, a melted body, a torn trace.
    pub spoils: f64,
    /// What is used up, in words; empty for nothing worth counting.
    pub parts: &'static str,
}

/// A line of the table.
struct Row {
    at: &'static [At],
    class: &'static [Class],
    method: Method,
    /// Tries that worked and that did not.
    cures: [f64; 2],
    /// Least, usual and most.
    minutes: [f64; 3],
    parts: &'static str,
}

const fn row(
    at: &'static [At],
    class: &'static [Class],
    method: Method,
    cures: [f64; 2],
    minutes: [f64; 3],
    parts: &'static str,
) -> Row {
    Row { at, class, method, cures, minutes, parts }
}

/// How often a method ends a board that could otherwise be saved; from memory, like the table.
const fn spoils(method: Method) -> f64 {
    match method {
        Leave => 0.0,
        Clean => 0.002,
        Reflow | WireAround | ParallelWire => 0.01,
        Replace | RebuildVia => 0.03,
    }
}

use At::{
    Connector, Diode, Ferrite, Fuse, Gap, Inductor, Joint, Pour, Resettable, Shunt, Switch, Trace,
    Transistor, Via, Wire,
};
use Class::{Film, Flaky, High, Leaky, Low, Open, RedundancyLost, Shorted};
use Method::{Clean, Leave, ParallelWire, RebuildVia, Reflow, Replace, WireAround};

const WIRE: &str = "insulated wire";

/// The table: common practice, from memory. Ten tries where the trade agrees; none weighs more, so that a lot's
/// own repairs soon have as much to say.
#[rustfmt::skip] // a table is read by its columns
const TABLE: &[Row] = &[
    // Contacts. Cleaning helps where dirt or tarnish is the cause, seldom where the metal is worn or bent.
    row(&[Switch], &[Film],                  Clean,   [8.0, 2.0], [4.0, 7.0, 12.0],   ""),
    row(&[Switch], &[High],                  Clean,   [7.0, 3.0], [4.0, 7.0, 12.0],   ""),
    row(&[Switch], &[Flaky],                 Clean,   [5.0, 5.0], [4.0, 7.0, 12.0],   ""),
    row(&[Switch], &[Open],                  Clean,   [3.0, 7.0], [4.0, 7.0, 12.0],   ""),
    row(&[Switch], &[Leaky],                 Clean,   [7.0, 3.0], [8.0, 12.0, 25.0],  ""),
    row(&[Switch], &[Flaky, Open],           Reflow,  [2.0, 8.0], [3.0, 5.0, 10.0],   ""),
    row(&[Switch], &[Shorted, Low],          Reflow,  [3.0, 7.0], [4.0, 8.0, 15.0],   ""),
    row(&[Switch], &[Film, High, Flaky, Open, Leaky, Shorted, Low],
                                             Replace, [9.0, 1.0], [10.0, 18.0, 35.0], "the same switch"),
    row(&[Connector], &[Film],               Clean,   [8.0, 2.0], [3.0, 6.0, 12.0],   ""),
    row(&[Connector], &[High],               Clean,   [7.0, 3.0], [3.0, 6.0, 12.0],   ""),
    row(&[Connector], &[Flaky, Open],        Clean,   [5.0, 5.0], [3.0, 6.0, 12.0],   ""),
    row(&[Connector], &[High, Flaky, Open],  Reflow,  [3.0, 7.0], [3.0, 5.0, 10.0],   ""),
    row(&[Connector], &[Low, Shorted, Leaky], Clean,  [5.0, 5.0], [4.0, 8.0, 15.0],   ""),
    row(&[Connector], &[Film, High, Flaky, Open, Low, Shorted, Leaky],
                                             Replace, [8.0, 2.0], [15.0, 25.0, 45.0], "the same connector"),

    // Joints. Fresh flux cures nearly all; what is left is a lifted pad, which a wire gets round.
    row(&[Joint], &[Open, High, Flaky],      Reflow,  [9.0, 1.0], [3.0, 5.0, 10.0],   ""),
    row(&[Joint], &[Film],                   Reflow,  [7.0, 3.0], [3.0, 5.0, 10.0],   ""),
    row(&[Joint], &[Film],                   Clean,   [4.0, 6.0], [4.0, 6.0, 10.0],   ""),
    row(&[Joint], &[Low, Shorted, Leaky],    Reflow,  [6.0, 4.0], [4.0, 8.0, 15.0],   ""),
    row(&[Joint], &[Open, Flaky],            WireAround, [8.0, 2.0], [8.0, 12.0, 25.0], WIRE),

    // Parts in series. Nothing that protects is ever bridged. A new fuse blows again where what blew the first is still there.
    row(&[Fuse], &[Open],                    Replace, [7.0, 3.0], [5.0, 10.0, 25.0],  "a fuse of the same rating and speed"),
    row(&[Fuse], &[High, Flaky],             Replace, [9.0, 1.0], [5.0, 10.0, 20.0],  "a fuse of the same rating and speed"),
    row(&[Fuse], &[High, Flaky],             Reflow,  [3.0, 7.0], [3.0, 5.0, 8.0],    ""),
    // A resettable fuse that tripped lately may come back by itself overnight.
    row(&[Resettable], &[High],              Leave,   [3.0, 7.0], [1.0, 2.0, 3.0],    ""),
    row(&[Resettable], &[Open, High, Flaky], Reflow,  [2.0, 8.0], [3.0, 5.0, 8.0],    ""),
    row(&[Resettable], &[Open, High, Flaky], Replace, [9.0, 1.0], [6.0, 10.0, 20.0],  "a resettable fuse of the same hold current"),
    row(&[Ferrite], &[Open],                 Reflow,  [4.0, 6.0], [3.0, 5.0, 8.0],    ""),
    row(&[Ferrite], &[High, Flaky],          Reflow,  [6.0, 4.0], [3.0, 5.0, 8.0],    ""),
    row(&[Ferrite], &[Open, High, Flaky],    Replace, [9.0, 1.0], [6.0, 10.0, 20.0],  "a bead of the same impedance and at least the same current"),
    row(&[Inductor], &[Open],                Reflow,  [3.0, 7.0], [3.0, 6.0, 12.0],   ""),
    row(&[Inductor], &[High, Flaky],         Reflow,  [6.0, 4.0], [3.0, 6.0, 12.0],   ""),
    row(&[Inductor], &[Open, High, Flaky],   Replace, [9.0, 1.0], [8.0, 14.0, 30.0],  "the same inductance and saturation current"),
    row(&[Shunt], &[Open],                   Reflow,  [3.0, 7.0], [3.0, 6.0, 10.0],   ""),
    row(&[Shunt], &[High, Flaky],            Reflow,  [5.0, 5.0], [3.0, 6.0, 10.0],   ""),
    row(&[Shunt], &[Low],                    Reflow,  [4.0, 6.0], [4.0, 8.0, 15.0],   ""),
    row(&[Shunt], &[Open, High, Flaky, Low], Replace, [9.0, 1.0], [6.0, 12.0, 25.0],  "the same value and power"),
    row(&[Fuse, Resettable, Ferrite, Inductor], &[Low], Reflow, [5.0, 5.0], [4.0, 8.0, 15.0], ""),
    row(&[Fuse, Resettable, Ferrite, Inductor], &[Low], Replace, [7.0, 3.0], [6.0, 12.0, 25.0], "the part that the parts list names"),
    row(&[Diode, Transistor], &[Open, High, Flaky], Reflow, [3.0, 7.0], [3.0, 6.0, 10.0], ""),
    row(&[Diode, Transistor], &[Shorted],    Reflow,  [2.0, 8.0], [4.0, 8.0, 15.0],   ""),
    row(&[Diode, Transistor], &[Leaky],      Clean,   [3.0, 7.0], [6.0, 10.0, 20.0],  ""),
    row(&[Diode, Transistor], &[Open, High, Low, Flaky, Shorted, Leaky],
                                             Replace, [9.0, 1.0], [8.0, 14.0, 30.0],  "the same type"),

    // Copper. A wire cures whatever the copper has, if both its ends are sound; scraping and bridging holds where the break is seen.
    row(&[Trace], &[Open],                   WireAround,   [9.0, 1.0], [8.0, 12.0, 25.0],  WIRE),
    row(&[Trace], &[Flaky],                  WireAround,   [9.0, 1.0], [8.0, 12.0, 25.0],  WIRE),
    row(&[Trace], &[High],                   ParallelWire, [9.0, 1.0], [8.0, 12.0, 25.0],  WIRE),
    row(&[Trace], &[Open, Flaky, High],      Reflow,       [5.0, 5.0], [6.0, 10.0, 20.0],  ""),
    row(&[Pour], &[Open, Flaky],             WireAround,   [8.0, 2.0], [8.0, 14.0, 30.0],  WIRE),
    row(&[Pour], &[High],                    ParallelWire, [8.0, 2.0], [8.0, 14.0, 30.0],  WIRE),
    row(&[Pour], &[Open, Flaky, High],       Reflow,       [5.0, 5.0], [6.0, 12.0, 25.0],  ""),
    row(&[Via], &[Open, Flaky, High, RedundancyLost],
                                             RebuildVia,   [8.0, 2.0], [6.0, 10.0, 25.0],  "a strand of bare wire"),
    row(&[Via], &[Open, Flaky],              WireAround,   [9.0, 1.0], [8.0, 14.0, 30.0],  WIRE),
    row(&[Via], &[High, RedundancyLost],     ParallelWire, [9.0, 1.0], [8.0, 14.0, 30.0],  WIRE),
    row(&[Via], &[RedundancyLost],           Leave,        [9.0, 1.0], [0.0, 0.0, 0.0],    ""),
    row(&[Wire], &[Open, High, Flaky],       Reflow,       [6.0, 4.0], [2.0, 4.0, 8.0],    ""),
    row(&[Wire], &[Open, High, Flaky],       Replace,      [9.5, 0.5], [5.0, 8.0, 15.0],   "wire of the same or a thicker gauge"),
    row(&[Wire], &[High],                    ParallelWire, [9.0, 1.0], [6.0, 10.0, 18.0],  WIRE),
    // Another path in parallel, most often a bridge of solder.
    row(&[Trace, Pour, Via, Wire], &[Low],   Reflow,       [6.0, 4.0], [4.0, 8.0, 20.0],   ""),

    // Between nets: bridges are seen and wicked away; else a capacitor is lifted and replaced, one after the other.
    row(&[Gap], &[Shorted],                  Reflow,       [4.0, 6.0], [5.0, 12.0, 30.0],  ""),
    row(&[Gap], &[Shorted],                  Replace,      [6.0, 4.0], [15.0, 30.0, 75.0], "a capacitor or regulator of the same type"),
    row(&[Gap], &[Leaky],                    Clean,        [7.0, 3.0], [8.0, 12.0, 25.0],  ""),
    row(&[Gap], &[Leaky],                    Replace,      [5.0, 5.0], [12.0, 25.0, 60.0], "a capacitor of the same type"),
];

/// What can be done about a fault of this class at such a place, in the order of the table; empty where the class is no
/// fault, or none that repairs are known for.
pub fn practices(at: At, class: Class) -> Vec<Practice> {
    TABLE
        .iter()
        .filter(|row| row.at.contains(&at) && row.class.contains(&class))
        .map(|row| Practice {
            method: row.method,
            cures: Beta { a: row.cures[0], b: row.cures[1] },
            minutes: Minutes { least: row.minutes[0], usual: row.minutes[1], most: row.minutes[2] },
            spoils: spoils(row.method),
            parts: row.parts,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_is_a_possible_one_and_said_once() {
        for at in At::ALL {
            for class in [Open, High, Low, Flaky, Shorted, Leaky, Film, RedundancyLost] {
                let found = practices(at, class);
                for (index, practice) in found.iter().enumerate() {
                    let what = format!("{at:?} {class:?} {:?}", practice.method);
                    let Beta { a, b } = practice.cures;
                    assert!(a > 0.0 && b > 0.0 && a + b <= 10.0, "{what}: weighs more than ten tries");
                    let Minutes { least, usual, most } = practice.minutes;
                    assert!(0.0 <= least && least <= usual && usual <= most, "{what}");
                    assert!(
                        found[..index].iter().all(|other| other.method != practice.method),
                        "{what} twice"
                    );
                }
            }
            assert!(practices(at, Class::Ok).is_empty() && practices(at, Class::NotReached).is_empty());
        }
    }

    /// Whatever a sweep can call faulty has a repair; the classes of a kind are those that
    /// [`crate::hypothesis::rate`] gives a share, and what isolation readings find.
    #[test]
    fn no_fault_is_without_a_method() {
        for at in At::ALL {
            let classes: &[Class] = match at {
                Gap => &[Shorted, Leaky],
                Switch => &[Open, High, Low, Film, Flaky, Shorted, Leaky],
                Connector | Joint => &[Open, High, Low, Film, Flaky],
                Diode | Transistor => &[Open, High, Shorted, Leaky],
                Via => &[Open, High, Low, Flaky, RedundancyLost],
                _ => &[Open, High, Low, Flaky],
            };
            for class in classes {
                assert!(!practices(at, *class).is_empty(), "{at:?} {class:?}");
            }
        }
    }

    /// What protects is never bridged with a wire, and no wire is laid where an end to end one would do nothing.
    #[test]
    fn only_copper_and_joints_are_wired_round() {
        for row in TABLE.iter().filter(|row| matches!(row.method, WireAround | ParallelWire)) {
            assert!(row.at.iter().all(|at| matches!(at, Trace | Pour | Via | Wire | Joint)));
        }
    }

    #[test]
    fn words_go_both_ways_and_the_bench_s_own_are_understood() {
        for method in Method::ALL {
            assert_eq!(Method::of_action(method.word()), Some(method));
        }
        for (action, method) in [
            ("Wash", Some(Clean)),
            ("rebuild via", Some(RebuildVia)),
            ("wire-around", Some(WireAround)),
            ("prayed", None),
        ] {
            assert_eq!(Method::of_action(action), method, "{action}");
        }
    }
}
