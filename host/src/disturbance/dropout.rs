//! Interruptions: which conversions are off their level, how long that lasted, and where the loop opened.
//!
//! Pair A rises when the watched segment opens, up to what the source has, and pair B, the current, falls. If something else in the loop
//! opens, both fall. If a sense pin leaves its pad, pair A goes anywhere while the current stands.

use copperwalk_wire::hardware::RM_OHMS;

use super::{
    MOTION_SHARE, Pair,
    levels::Levels,
    rates,
    watched::{Disturbance, Place},
};
use crate::quantity::{Ohms, Volts};

/// The current has fallen by this share where something else in the loop opens, or nearly so; no unit. A contact that varies by an
/// ohm is none of that.
const FALLEN: f64 = 0.1;
/// Where the segment opens, pair B falls by what pair A rises, over the rest of the loop. Of an interruption of two milliseconds
/// at least this share of that is seen in pair B, wherever it begins; no unit.
const FOLLOWS: f64 = 0.25;

/// Thresholds, about the present level.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Thresholds {
    /// Pair A above the level by more than this.
    rise: Volts,
    /// Below it by more than this: beyond no voltage at all.
    sink: Volts,
    /// Pair B below its level by more than this.
    fall: Volts,
    /// What noise alone does not exceed, in either pair.
    noise: [Volts; 2],
}

impl Thresholds {
    /// For a segment of this upper limit, at this level.
    pub fn new(levels: &Levels, level: Volts, limit: Ohms) -> Self {
        let sigmas = rates::of_conversion(levels.freedom);
        let noise = levels.noise.map(|sigma| sigmas * sigma);
        let [sense, drop] = noise;
        let moved =
            levels.sense_at(levels.resistance_at(level).max(Ohms::ZERO) + MOTION_SHARE * limit) - level;
        // Near the source's own voltage little is left to rise.
        let left = 0.5 * (levels.sense_at(Ohms(1e12)) - level);
        Self {
            rise: sense.max(moved.min(left)),
            sink: sense + (level - levels.shift).max(Volts::ZERO),
            fall: drop.max(FALLEN * levels.drop),
            noise,
        }
    }
}

/// Which conversions of a pair are off their level.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
struct Off {
    risen: bool,
    sunk: bool,
    fallen: bool,
}

impl Off {
    fn any(self) -> bool {
        self.risen || self.sunk || self.fallen
    }
}

/// Finds interruptions.
#[derive(Clone, Debug, Default)]
pub struct Interruptions {
    before: Option<Pair>,
    open: Option<Open>,
}

/// An interruption that lasts.
#[derive(Clone, Debug, Default)]
struct Open {
    from_us: u64,
    /// Pairs with something risen, sunk, fallen.
    risen: usize,
    sunk: usize,
    fallen: usize,
    /// What both conversions of every pair are off, in volts over the segment: rises of pair A; falls of pair B over Rm, which count
    /// by what the rest of the loop has over it.
    rises: Vec<f64>,
    falls: Vec<f64>,
    /// Did pair A fall with the current?
    sinks: bool,
}

impl Interruptions {
    /// Takes a pair, the level pair A has at present, and the thresholds there. Is it off, and did an interruption end with it?
    pub fn take(
        &mut self,
        pair: &Pair,
        levels: &Levels,
        level: Volts,
        thresholds: &Thresholds,
        period_us: f64,
    ) -> (bool, Option<Disturbance>) {
        let sense = pair.sense - level;
        let fall = levels.drop - pair.drop;
        let off = Off {
            risen: sense > thresholds.rise,
            sunk: sense < -thresholds.sink,
            fallen: fall > thresholds.fall,
        };
        let before = self.before.replace(*pair);
        if off.any() {
            let open = self.open.get_or_insert_with(|| {
                let mut open = Open { from_us: pair.at_us, ..Open::default() };
                // The pair before holds the beginning, if it was too little to be off.
                if let Some(before) = before {
                    open.add(before.sense - level, levels.drop - before.drop, levels, thresholds);
                }
                open
            });
            open.risen += usize::from(off.risen);
            open.sunk += usize::from(off.sunk);
            open.fallen += usize::from(off.fallen);
            open.add(sense, fall, levels, thresholds);
            return (true, None);
        }
        let ended = self.open.take().map(|mut open| {
            open.add(sense, fall, levels, thresholds);
            open.told(levels, period_us)
        });
        (false, ended)
    }

    /// When the interruption that lasts began.
    pub fn since_us(&self) -> Option<u64> {
        self.open.as_ref().map(|open| open.from_us)
    }

    /// Gives up the one that lasts: it is something else.
    pub fn give_up(&mut self) {
        self.open = None;
    }

    /// Watching ends: the interruption that lasts.
    pub fn finish(&mut self, levels: &Levels, period_us: f64) -> Option<Disturbance> {
        self.open.take().map(|open| open.told(levels, period_us))
    }
}

impl Open {
    fn add(&mut self, sense: Volts, fall: Volts, levels: &Levels, thresholds: &Thresholds) {
        let [of_sense, of_drop] = thresholds.noise;
        self.rises.push(if sense > of_sense { sense.0 } else { 0.0 });
        let fallen = if fall > of_drop { fall } else { Volts::ZERO };
        self.falls.push(fallen.0 * (levels.others / Ohms(RM_OHMS)));
        self.sinks |= sense < -of_sense;
    }

    fn told(&self, levels: &Levels, period_us: f64) -> Disturbance {
        let (rises, falls): (f64, f64) = (self.rises.iter().sum(), self.falls.iter().sum());
        let place = if self.risen > 0 {
            match () {
                () if falls >= FOLLOWS * rises => Place::Segment,
                // A conversion of the current lies between two that rose.
                () if self.risen > 1 => Place::Pin,
                () => Place::Unknown,
            }
        } else if self.sunk > 0 {
            if self.sunk > 1 { Place::Pin } else { Place::Unknown }
        } else if self.fallen > 1 || self.sinks {
            Place::Elsewhere
        } else {
            Place::Unknown
        };
        // A conversion that was covered whole is off by the most; the others in proportion.
        let whole = |values: &[f64]| values.iter().copied().fold(0.0, f64::max);
        let share = |values: &[f64], whole: f64| {
            if whole > 0.0 { values.iter().sum::<f64>() / whole } else { 0.0 }
        };
        let conversions = match place {
            Place::Segment => {
                let whole = whole(&self.rises).max(whole(&self.falls));
                share(&self.rises, whole) + share(&self.falls, whole)
            }
            Place::Elsewhere => {
                let gone = levels.drop.0 * (levels.others / Ohms(RM_OHMS));
                let most = whole(&self.falls);
                2.0 * share(&self.falls, if most > 0.8 * gone { gone } else { most })
            }
            Place::Pin => 2.0 * (self.risen + self.sunk) as f64,
            Place::Unknown => 1.0,
        };
        Disturbance { at_us: self.from_us, us: (conversions * period_us) as u64, place }
    }
}
