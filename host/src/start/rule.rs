//! When a first power stops, and whose fault that is.

use super::{plan::Plan, question::Sign};
use crate::{
    quantity::{Amps, Volts, si},
    supply::{Reading, Trip},
    verdict::Verdict,
};

/// What a supply shows may be off what was set by this share and so much, before it counts as another voltage: set-up and read-back of cheap ones
/// together (common practice).
const VOLTAGE_SHARE: f64 = 0.03;
const VOLTAGE_FLOOR: Volts = Volts(0.05);
/// From this share of the limit on the limit acts.
const AT_LIMIT: f64 = 0.9;
/// More than this share above the limit is a limit that does not hold.
const BEYOND_LIMIT: f64 = 1.1;

/// Why it ended before everything was looked at.
#[derive(Clone, PartialEq, Debug)]
pub enum End {
    /// It draws too much.
    OverCurrent {
        /// At this set voltage.
        at: Volts,
        /// So much.
        current: Amps,
        /// At most so much was allowed for.
        most: Amps,
    },
    /// The supply switched itself off.
    Tripped {
        /// At this set voltage.
        at: Volts,
        /// Why.
        trip: Trip,
    },
    /// The limit acts, and the voltage does not come up.
    Sags {
        /// This was set.
        at: Volts,
        /// This is there.
        voltage: Volts,
        /// And so much flows.
        current: Amps,
    },
    /// Nothing flows at full voltage.
    NoLoad {
        /// At this set voltage.
        at: Volts,
    },
    /// Somebody noticed something.
    Noticed(Sign),
    /// Somebody wanted it to end.
    Asked,
    /// The supply gives another voltage than it was told, and its limit is not the reason.
    OtherVoltage {
        /// This was set.
        at: Volts,
        /// This is there.
        voltage: Volts,
    },
    /// The supply's limit does not hold.
    LimitFails {
        /// So much flows.
        current: Amps,
        /// This is the limit.
        limit: Amps,
    },
    /// The supply refused, or contact with it was lost; in its own words.
    Supply {
        /// What it said.
        why: String,
        /// Is nothing known of it any more?
        lost: bool,
    },
    /// Nobody answered.
    Nobody {
        /// Why, in words.
        why: String,
        /// Was it Ctrl-C?
        cancelled: bool,
    },
}

impl End {
    /// Is the unit charged with it?
    pub fn verdict(&self) -> Verdict {
        match self {
            Self::OverCurrent { .. }
            | Self::Tripped { .. }
            | Self::Sags { .. }
            | Self::NoLoad { .. }
            | Self::Noticed(_) => Verdict::Fail,
            Self::Asked
            | Self::OtherVoltage { .. }
            | Self::LimitFails { .. }
            | Self::Supply { .. }
            | Self::Nobody { .. } => Verdict::Void,
        }
    }

    /// In a sentence, without its full stop.
    pub fn in_words(&self) -> String {
        let volts = |volts: &Volts| si(volts.0, 3, "V");
        let amps = |amps: &Amps| si(amps.0, 3, "A");
        match self {
            Self::OverCurrent { at, current, most } => format!(
                "it draws {} at {}, and a good one no more than {}: look for a short, a part the wrong way round, a latched chip",
                amps(current),
                volts(at),
                amps(most)
            ),
            Self::Tripped { at, trip: Trip::OverVoltage } => {
                format!(
                    "the supply's over-voltage trip acted at {}: voltage came from somewhere else",
                    volts(at)
                )
            }
            Self::Tripped { at, trip } => {
                let which = if *trip == Trip::OverCurrent {
                    "over-current trip acted"
                } else {
                    "output went off by itself"
                };
                format!("the supply's {which} at {}: look for a short", volts(at))
            }
            Self::Sags { at, voltage, current } => format!(
                "the voltage sags to {} of {}: the current limit acts at {}",
                volts(voltage),
                volts(at),
                amps(current)
            ),
            Self::NoLoad { at } => format!(
                "no load seen at {}: it draws nothing that the supply can tell from zero; look whether the clips sit, the switch is on, and the path \
                 reads through to the load",
                volts(at)
            ),
            Self::Noticed(sign) => format!("{}, said whoever stood beside it", sign.in_words()),
            Self::Asked => "stopped as asked".into(),
            Self::OtherVoltage { at, voltage } => {
                format!(
                    "the supply gives {} where {} is set: do not use it before it is mended",
                    volts(voltage),
                    volts(at)
                )
            }
            Self::LimitFails { current, limit } => {
                format!(
                    "the supply gives {} above its limit of {}: do not use it before it is mended",
                    amps(current),
                    amps(limit)
                )
            }
            Self::Supply { why, .. } | Self::Nobody { why, .. } => why.clone(),
        }
    }
}

/// What one reading says by itself, whenever it is taken.
pub fn at_once(plan: &Plan, set: Volts, reading: &Reading) -> Option<End> {
    if let Some(trip) = reading.tripped {
        return Some(End::Tripped { at: set, trip });
    }
    let limit = plan.bounds.limit;
    if reading.current > limit * BEYOND_LIMIT + plan.supply_within.of_amps(limit) {
        return Some(End::LimitFails { current: reading.current, limit });
    }
    (reading.voltage > set + off_by(set)).then_some(End::OtherVoltage { at: set, voltage: reading.voltage })
}

/// What a reading says once the step has had its time: the capacitors are charged.
pub fn settled(plan: &Plan, set: Volts, reading: &Reading, most: Amps) -> Option<End> {
    let at_limit = reading.current >= AT_LIMIT * plan.bounds.limit;
    if reading.voltage < set - off_by(set) {
        return Some(if at_limit {
            End::Sags { at: set, voltage: reading.voltage, current: reading.current }
        } else {
            End::OtherVoltage { at: set, voltage: reading.voltage }
        });
    }
    (reading.current > most).then_some(End::OverCurrent { at: set, current: reading.current, most })
}

/// What the current at rest says at full voltage: nothing that the supply can tell from zero, where a good board draws what it can tell.
pub fn at_rest(plan: &Plan, steady: Amps) -> Option<End> {
    let off_by = plan.supply_within.of_amps(steady);
    let tells = plan.window.as_ref().is_some_and(|window| window.least > off_by);
    (tells && steady <= off_by).then(|| End::NoLoad { at: plan.nominal() })
}

fn off_by(set: Volts) -> Volts {
    VOLTAGE_FLOOR.max(VOLTAGE_SHARE * set)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::start::sample;

    fn reading(volts: f64, amps: f64) -> Reading {
        Reading { voltage: Volts(volts), current: Amps(amps), tripped: None }
    }

    #[test]
    fn each_rule_stops_just_beyond_its_bound_and_not_before() {
        let plan = sample::plan();
        let at = Volts(2.0);
        let once = |volts, amps| at_once(&plan, at, &reading(volts, amps));
        // 2 V ± 60 mV; 120 mA limit, a tenth above it and 1.6 mA of the supply's own.
        assert_eq!(once(2.059, 0.1), None);
        assert!(matches!(once(2.061, 0.1), Some(End::OtherVoltage { .. })));
        assert_eq!(once(2.0, 0.1335), None);
        assert!(matches!(once(2.0, 0.1337), Some(End::LimitFails { .. })));
        let tripped = Reading { tripped: Some(Trip::OverCurrent), ..reading(0.0, 0.0) };
        assert!(matches!(at_once(&plan, at, &tripped), Some(End::Tripped { .. })));
        let then = |volts, amps| settled(&plan, at, &reading(volts, amps), plan.ceiling());
        assert_eq!(then(1.941, 0.02), None);
        assert!(matches!(then(1.939, 0.12), Some(End::Sags { .. })));
        // Low, and the limit is no reason for it: the supply, not the board.
        assert!(matches!(then(1.939, 0.05), Some(End::OtherVoltage { .. })));
        assert_eq!(then(2.0, 0.0269), None);
        assert!(matches!(then(2.0, 0.0271), Some(End::OverCurrent { .. })));
        // A good one draws 2 mA and more; the supply tells 1 mA from zero.
        assert_eq!(at_rest(&plan, Amps(1.1e-3)), None);
        assert!(matches!(at_rest(&plan, Amps(0.9e-3)), Some(End::NoLoad { .. })));
        // Where the supply cannot tell it, nothing is said.
        let coarse = Plan { supply_within: crate::start::Within::amps("3 mA").unwrap(), ..plan.clone() };
        assert_eq!(at_rest(&coarse, Amps(0.0)), None);
    }

    #[test]
    fn the_unit_is_charged_with_what_is_its_own() {
        let fails = [End::NoLoad { at: Volts(2.0) }, End::Noticed(Sign::Smoke)];
        assert!(fails.iter().all(|end| end.verdict() == Verdict::Fail));
        let voids = [
            End::Asked,
            End::OtherVoltage { at: Volts(2.0), voltage: Volts(2.3) },
            End::Supply { why: String::new(), lost: true },
            End::Nobody { why: String::new(), cancelled: true },
        ];
        assert!(voids.iter().all(|end| end.verdict() == Verdict::Void));
    }
}
