//! A reed relay: when its contact follows its coil, and what a closed contact adds to the circuit.
//!
//! Times are those of a small dry reed switch as published (Coto/Comus RI-02 data sheet: operate with bounce 0.30 ms
//! typical, bounce 0.10 ms typical, release 0.070 ms at most). Contact resistance is kept near 0.1 Ω for all that, a
//! little under the sheet's typical 0.12 Ω. The reed's own metal against copper makes a thermocouple (about 40 µV/K
//! for the alloys in use, M. Kidd's table): a cold relay has a few microvolts, and its warming coil adds a few
//! more over seconds.

use super::figures::{Figures, Spread};
use crate::quantity::{Ohms, Volts};
use crate::random::Rng;

/// Coil on until the contact first touches, µs.
const TOUCH_US: u64 = 200;
/// … until it bounces off …
const BOUNCE_US: u64 = 240;
/// … and until it rests.
const REST_US: u64 = 300;
/// Coil off until the contact opens, µs.
const RELEASE_US: u64 = 70;

/// What is wrong with a relay.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum RelayFault {
    /// The contact is welded shut.
    Welded,
    /// The contact never closes: coil or driver is dead.
    NeverCloses,
}

/// One relay.
#[derive(Clone, Debug)]
pub struct Relay {
    /// Resistance of the closed contact, over many closures.
    mean: Ohms,
    /// What is wrong with it.
    pub fault: Option<RelayFault>,
    cold: Volts,
    warm: Volts,
    warming_us: f64,
    driven: bool,
    changed_us: u64,
    /// Was the contact closed when the coil last changed?
    was_closed: bool,
    /// How warm the coil had made it at that moment, 0 to 1.
    was_warm: f64,
    /// What each closure adds to the contact's resistance, and what the latest one has added.
    closure: (Spread, Ohms),
    chance: Rng,
}

impl Relay {
    /// A healthy relay from the bag.
    pub fn new(figures: &Figures, rng: &mut Rng) -> Self {
        let mean = Ohms((0.1 + 0.015 * rng.normal()).max(0.05));
        Self {
            mean,
            fault: None,
            cold: Volts(figures.cold_volts.draw(rng)),
            warm: Volts(figures.warm_volts.draw(rng)),
            warming_us: 1e6 * figures.warming_seconds.draw(rng),
            driven: false,
            changed_us: 0,
            was_closed: false,
            was_warm: 0.0,
            closure: (figures.closure_ohms, Ohms::ZERO),
            // Of its own, so that how often it closes shifts nothing that others draw.
            chance: Rng::new(mean.0.to_bits()),
        }
    }

    /// Resistance of the contact as it last closed.
    pub fn resistance(&self) -> Ohms {
        self.mean + self.closure.1
    }

    /// Is the coil driven?
    pub fn driven(&self) -> bool {
        self.driven
    }

    /// Switches the coil.
    pub fn drive(&mut self, on: bool, now_us: u64) {
        if on != self.driven {
            self.was_closed = self.closed(now_us);
            self.was_warm = self.warmth(now_us);
            self.driven = on;
            self.changed_us = now_us;
            if on {
                self.closure.1 = Ohms(self.closure.0.draw(&mut self.chance));
            }
        }
    }

    /// Is the contact closed?
    pub fn closed(&self, now_us: u64) -> bool {
        match self.fault {
            Some(RelayFault::Welded) => return true,
            Some(RelayFault::NeverCloses) => return false,
            None => {}
        }
        match (self.driven, now_us.saturating_sub(self.changed_us)) {
            (true, 0..TOUCH_US) => self.was_closed,
            (true, since) => !(BOUNCE_US..REST_US).contains(&since),
            (false, since) => self.was_closed && since < RELEASE_US,
        }
    }

    /// When the contact next moves, if it is going to.
    pub fn moves_at(&self, now_us: u64) -> Option<u64> {
        let steps: &[u64] = if self.driven { &[TOUCH_US, BOUNCE_US, REST_US] } else { &[RELEASE_US] };
        steps.iter().map(|step| self.changed_us + step).find(|&at| at > now_us)
    }

    /// Thermal voltage of the closed contact.
    pub fn thermal_voltage(&self, now_us: u64) -> Volts {
        self.cold + self.warm * self.warmth(now_us)
    }

    fn warmth(&self, now_us: u64) -> f64 {
        let goal = f64::from(u8::from(self.driven));
        let since = now_us.saturating_sub(self.changed_us) as f64;
        goal + (self.was_warm - goal) * libm::exp(-since / self.warming_us)
    }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::hardware::wait;

    use super::*;

    #[test]
    fn a_contact_touches_bounces_rests_and_lets_go() {
        let mut relay = Relay::new(&Figures::USUAL, &mut Rng::new(1));
        relay.drive(true, 1_000);
        let closed: Vec<u64> = (1_000..1_400).filter(|&t| relay.closed(t)).collect();
        assert_eq!((closed[0], closed.len()), (1_200, 40 + 100));
        assert_eq!(relay.moves_at(1_000), Some(1_200));
        assert_eq!(relay.moves_at(1_240), Some(1_300));
        assert_eq!(relay.moves_at(1_300), None);
        relay.drive(false, 2_000);
        assert!(relay.closed(2_069) && !relay.closed(2_070));
    }

    #[test]
    fn the_waits_of_the_controller_cover_the_contact() {
        assert!(u64::from(wait::OPERATE_US) > REST_US && u64::from(wait::RELEASE_US) > RELEASE_US);
    }

    #[test]
    fn broken_relays_do_not_follow_their_coils() {
        let mut relay = Relay::new(&Figures::USUAL, &mut Rng::new(1));
        relay.fault = Some(RelayFault::Welded);
        assert!(relay.closed(0));
        relay.fault = Some(RelayFault::NeverCloses);
        relay.drive(true, 0);
        assert!(!relay.closed(1_000_000));
    }

    #[test]
    fn the_thermal_voltage_drifts_by_microvolts_over_seconds() {
        let mut rng = Rng::new(5);
        let mut drifts: Vec<f64> = (0..200)
            .map(|_| {
                let mut relay = Relay::new(&Figures::USUAL, &mut rng);
                relay.drive(true, 0);
                assert!((relay.thermal_voltage(0) - relay.thermal_voltage(1_000)).abs() < Volts(20e-9));
                (relay.thermal_voltage(30_000_000) - relay.thermal_voltage(0)).abs().0
            })
            .collect();
        drifts.sort_by(f64::total_cmp);
        assert!((1e-6..6e-6).contains(&drifts[100]), "{drifts:?}");
    }
}
