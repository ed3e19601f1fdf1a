//! From one excitation to the next: what has to happen in which order, and how long to wait after each step.
//!
//! A unit may hold some millihenries. Their current must not be broken, so the load source goes off first, its current
//! dies through the freewheel diode, and only then the reversal switch turns or a relay moves. A milliampere may be
//! turned round while it flows: R56 and C14 across the force buses take what the inductance holds
//! (`hardware/spice/inductive.cir` shows both).
//!
//! This is pure: [`FrontEnd`](crate::front_end::FrontEnd) moves the pins, and [`timing`](crate::timing) foresees how long
//! it takes by the same steps.

use copperwalk_wire::{
    Source,
    hardware::wait::{
        IDAC_START_US, LOAD_QUIET_US, LOAD_TURN_US, QUIET_US, REVERSE_US, SETTLE_US, TURN_US, WIDE_US,
    },
};

use crate::front_end::{Clamp, Excitation};

/// What the front end drives the unit with, and whether load current of before may still flow.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Drive {
    excitation: Excitation,
    /// Waited since the load source went off, µs, up to `LOAD_QUIET_US`.
    waited_us: u32,
}

/// A step towards an excitation.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Step {
    /// What the unit is driven with after it.
    pub drive: Drive,
    /// How long to wait before anything else, µs.
    pub wait_us: u32,
    /// The excitation is the one that was wanted: after the wait its voltages stand still.
    pub there: bool,
}

impl Drive {
    /// No current, forward, and none of before.
    pub const OFF: Self = Self { excitation: Excitation::OFF, waited_us: LOAD_QUIET_US };

    /// What the unit is driven with.
    pub const fn excitation(&self) -> Excitation {
        self.excitation
    }

    /// With the source off and the idle clamp closed. The reversal switch stays: it moves once the current is gone.
    #[must_use]
    pub const fn off(self) -> Self {
        let waited_us = match self.excitation.source {
            Source::Load => 0,
            _ => self.waited_us,
        };
        let excitation =
            Excitation { source: Source::Off, clamp: Clamp::Isolation, reversed: self.excitation.reversed };
        Self { excitation, waited_us }
    }

    /// The same, so much later. Counts only while the source is off.
    #[must_use]
    pub fn after(self, micros: u32) -> Self {
        Self { waited_us: self.waited_us.saturating_add(micros).min(LOAD_QUIET_US), ..self }
    }

    /// With the source off: wait before a relay may move, µs. A sense contact carries no current and need not wait for the
    /// one through the unit.
    pub fn quiet_us(&self, force_moves: bool) -> u32 {
        if force_moves { QUIET_US.max(LOAD_QUIET_US - self.waited_us) } else { QUIET_US }
    }

    /// The next step towards this excitation.
    #[must_use]
    pub fn next(self, wanted: Excitation) -> Step {
        let Excitation { source, reversed, .. } = self.excitation;
        let turns = wanted.reversed != reversed;
        let stops =
            source != Source::Off && (wanted.source != source || (turns && matches!(source, Source::Load)));
        let before = if stops { self.off() } else { self };
        let gone_us = match wanted.source {
            Source::Load if turns => LOAD_TURN_US,
            Source::Load => 0,
            Source::Off | Source::Dry | Source::Wide | Source::Isolation => LOAD_QUIET_US,
        };
        if before.waited_us < gone_us {
            return before.step(gone_us - before.waited_us, false);
        }
        if before.excitation == wanted {
            return Step { drive: before, wait_us: 0, there: true };
        }
        if turns && wanted.source == Source::Load {
            // With the source on, the pair that still conducts would carry its current until it opens.
            let excitation = Excitation { reversed: wanted.reversed, ..before.excitation };
            return Self { excitation, ..before }.step(TURN_US, false);
        }
        let starts = wanted.source != before.excitation.source;
        let start_us = match wanted.source {
            Source::Dry | Source::Wide | Source::Isolation if starts => IDAC_START_US,
            _ => 0,
        };
        let wide_us = if wanted.source == Source::Wide { WIDE_US } else { 0 };
        let settle_us = if turns { REVERSE_US } else { SETTLE_US };
        Self { excitation: wanted, ..before }.step(start_us + wide_us + settle_us, true)
    }

    fn step(self, wait_us: u32, there: bool) -> Step {
        Step { drive: self.after(wait_us), wait_us, there }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use std::{vec, vec::Vec};

    use super::*;

    /// Every step from one excitation to another: source, polarity and wait.
    fn way(mut drive: Drive, wanted: Excitation) -> Vec<(Source, bool, u32)> {
        let mut steps = vec![];
        loop {
            let step = drive.next(wanted);
            drive = step.drive;
            let Excitation { source, reversed, .. } = drive.excitation();
            steps.push((source, reversed, step.wait_us));
            if step.there {
                return steps;
            }
        }
    }

    fn at(source: Source, reversed: bool) -> Drive {
        Drive { excitation: Excitation::of(source, reversed), ..Drive::OFF }
    }

    #[test]
    fn load_current_is_gone_before_it_comes_the_other_way() {
        let back = [(Source::Off, true, LOAD_TURN_US), (Source::Off, false, TURN_US)];
        let on = (Source::Load, false, SETTLE_US);
        assert_eq!(way(at(Source::Load, true), Excitation::of(Source::Load, false)), [back[0], back[1], on]);
        // What was waited for already is not waited for twice.
        let off = at(Source::Load, true).off();
        let rest = (Source::Off, true, LOAD_TURN_US - 300);
        assert_eq!(way(off.after(300), Excitation::of(Source::Load, false)), [rest, back[1], on]);
        assert_eq!(way(off.after(5_000), Excitation::of(Source::Load, false)), [back[1], on]);
        // The same way again needs no wait at all.
        let again = [(Source::Load, true, SETTLE_US)];
        assert_eq!(way(off, Excitation::of(Source::Load, true)), again);
    }

    #[test]
    fn no_other_source_and_no_check_begins_under_what_is_left_of_the_load_current() {
        for wanted in [Excitation::OFF, Excitation::REST, Excitation::of(Source::Dry, false)] {
            let steps = way(at(Source::Load, false), wanted);
            assert_eq!(steps[0], (Source::Off, false, LOAD_QUIET_US), "{wanted:?}");
        }
    }

    #[test]
    fn a_milliampere_is_turned_while_it_flows() {
        for (source, wide_us) in [(Source::Dry, 0), (Source::Isolation, 0), (Source::Wide, WIDE_US)] {
            let round = [(source, true, REVERSE_US + wide_us)];
            assert_eq!(way(at(source, false), Excitation::of(source, true)), round);
            let start = [(source, false, IDAC_START_US + SETTLE_US + wide_us)];
            assert_eq!(way(Drive::OFF, Excitation::of(source, false)), start);
        }
    }

    #[test]
    fn relays_of_the_force_buses_wait_for_the_load_current() {
        let off = at(Source::Load, false).off();
        assert_eq!((off.quiet_us(true), off.quiet_us(false)), (LOAD_QUIET_US, QUIET_US));
        assert_eq!(off.after(LOAD_QUIET_US - 1).quiet_us(true), QUIET_US);
        let dry = at(Source::Dry, false).off();
        assert_eq!((dry.quiet_us(true), dry.quiet_us(false)), (QUIET_US, QUIET_US));
    }
}
