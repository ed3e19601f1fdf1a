//! Isolation under a bulk capacitor: watch the current until it stands still.
//!
//! While the capacitor charges, its current adds to the leak, so the unit looks worse than it is. A good look
//! may therefore be believed early; a bad one only once the current no longer changes.

use copperwalk_wire::{Settle, codes::ZEROS};

/// Means of one window of pairs, in codes; the amplifier's zero is taken off B.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Window {
    /// Mean of pair A: the voltage over the unit.
    pub a: f64,
    /// Mean of pair B: the current through it.
    pub b: f64,
}

/// What two windows in a row show.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Progress {
    /// Insulating enough, whatever the capacitor still does.
    Passed,
    /// The current stands still: what is seen now is the unit.
    Still,
    /// Still charging.
    Charging,
}

/// Compares a window with the one before it. "Not falling" allows A the same noise `floor` as B.
pub fn progress(rule: &Settle, before: Window, now: Window) -> Progress {
    let floor = f64::from(rule.floor);
    let steady_voltage = now.a >= before.a - floor;
    // A over B, without dividing by a current that may be nothing at all.
    if now.a > 0.0 && now.a >= f64::from(rule.pass) * now.b && steady_voltage {
        Progress::Passed
    } else if (now.b - before.b).abs() <= f64::from(rule.slope) * now.b.abs() + floor {
        Progress::Still
    } else {
        Progress::Charging
    }
}

/// The pairs of a settle shot, gathered into windows.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Windows {
    zeros: i32,
    pairs: u8,
    a: i64,
    b: i64,
    /// Whole windows so far.
    windows: u16,
    last: Option<Window>,
    progress: Option<Progress>,
}

impl Windows {
    /// Adds one code of the converter's zero, of [`ZEROS`].
    pub const fn add_zero(&mut self, code: i32) {
        self.zeros = self.zeros.saturating_add(code);
    }

    /// Adds a code of pair A.
    pub const fn add_a(&mut self, code: i32) {
        self.a += code as i64;
    }

    /// Adds a code of pair B, by its sign as the current runs, which makes the pair whole, and with it perhaps the window.
    pub fn add_b(&mut self, code: i32, rule: &Settle) {
        self.b += i64::from(code);
        self.pairs += 1;
        if self.pairs < rule.window {
            return;
        }
        let count = f64::from(self.pairs);
        let zero = f64::from(self.zeros) / ZEROS as f64;
        let now = Window { a: self.a as f64 / count, b: self.b as f64 / count - zero };
        self.progress = self.last.map(|before| progress(rule, before, now));
        (self.pairs, self.a, self.b) = (0, 0, 0);
        self.windows += 1;
        self.last = Some(now);
    }

    /// No window is under way.
    pub const fn is_whole(&self) -> bool {
        self.pairs == 0
    }

    /// Whole windows so far.
    pub const fn windows(&self) -> u16 {
        self.windows
    }

    /// What the last two whole windows show; `None` before there are two.
    pub const fn progress(&self) -> Option<Progress> {
        self.progress
    }
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::{Gain, Rate};

    use super::*;

    const RULE: Settle = Settle {
        gain_a: Gain::X1,
        gain_b: Gain::X1,
        rate: Rate::Sps1000,
        window: 2,
        windows_max: 50,
        pass: 100.0,
        slope: 0.05,
        floor: 2.0,
        turned: false,
    };

    #[test]
    fn windows_are_compared_as_stated() {
        let window = |a, b| Window { a, b };
        for (before, now, expected) in [
            // Good enough at once, with voltage rising or level.
            (window(1_000.0, 20.0), window(2_000.0, 15.0), Progress::Passed),
            (window(2_000.0, 0.0), window(2_000.0, -0.5), Progress::Passed),
            // The voltage falls: no pass on the strength of that window.
            (window(2_000.0, 50.0), window(1_500.0, 10.0), Progress::Charging),
            // A leak: the current stands still.
            (window(1_000.0, 400.0), window(1_000.0, 390.0), Progress::Still),
            // A capacitor: it does not.
            (window(1_000.0, 400.0), window(1_100.0, 300.0), Progress::Charging),
            // No voltage and no current: nothing is proven by that ratio, only that it stands still.
            (window(0.0, 0.0), window(0.0, 0.0), Progress::Still),
        ] {
            assert_eq!(progress(&RULE, before, now), expected, "{before:?} {now:?}");
        }
    }

    /// An RC charge: B decays as exp(−t/τ) towards the leak, A rises accordingly.
    #[test]
    fn a_charging_capacitor_is_waited_for_and_its_leak_then_seen() {
        let run = |leak: f64| {
            let mut windows = Windows::default();
            (0..ZEROS).for_each(|_| windows.add_zero(10));
            for pair in 0..100 {
                let decay = (-f64::from(pair) / 8.0).exp();
                windows.add_a((100_000.0 * (1.0 - decay)) as i32);
                windows.add_b((50_000.0 * decay + leak + 10.0) as i32, &RULE);
                if matches!(windows.progress(), Some(Progress::Passed | Progress::Still)) {
                    break;
                }
            }
            (windows.progress(), windows.windows())
        };
        let (good, quick) = run(0.0);
        let (leaky, slow) = run(5_000.0);
        assert_eq!(good, Some(Progress::Passed));
        assert_eq!(leaky, Some(Progress::Still));
        assert!(quick > 5 && slow > 5, "{quick} {slow}");
    }
}
