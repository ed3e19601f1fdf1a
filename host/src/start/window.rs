//! What a good unit draws at rest: as the board file states it, or as golden units drew it.

use crate::{
    board::{Board, Power},
    learn::Claim,
    quantity::{Amps, Volts},
    records::{self, Records, summary::Event},
    statistics::{
        sample,
        tolerance::{self, Sides},
    },
    verdict::Verdict,
};

/// Share of good units within the window, and how certain that is: those of limits that are learnt.
pub const CLAIM: Claim = Claim { coverage: 0.99, confidence: 0.95 };
/// Voltages are the same within this share.
const SAME_VOLTAGE: f64 = 0.01;

/// A window.
#[derive(Clone, PartialEq, Debug)]
pub struct Window {
    /// The least.
    pub least: Amps,
    /// The most.
    pub most: Amps,
    /// Where it is from, in words.
    pub origin: String,
}

impl Window {
    /// As the board file states it.
    pub fn stated(power: &Power) -> Option<Self> {
        let [least, most] = power.idle?;
        Some(Self { least, most, origin: "board file".into() })
    }

    /// Of the currents that so many golden units drew: mean and tolerance limits. `None`: too few.
    pub fn of(currents: &[Amps]) -> Option<Self> {
        let drawn: Vec<f64> = currents.iter().map(|current| current.0).collect();
        if drawn.len() < CLAIM.least() {
            return None;
        }
        let factor = tolerance::factor(Sides::Two, drawn.len(), CLAIM.coverage, CLAIM.confidence)?;
        let (mean, deviation) = (sample::mean(&drawn)?, sample::deviation(&drawn)?);
        Some(Self {
            least: Amps(mean - factor * deviation).max(Amps::ZERO),
            most: Amps(mean + factor * deviation),
            origin: format!("{} golden units", drawn.len()),
        })
    }

    /// As golden units of the board drew it at this voltage, by the records: the last start of each that was marked as golden, held what else was
    /// asked of it, and was not repaired.
    ///
    /// # Errors
    /// A store that cannot be read.
    pub fn learnt(records: &Records, board: &Board, at: Volts) -> Result<Option<Self>, records::Error> {
        let mut currents = Vec::new();
        for serial in records.golden_starts(&board.name, &board.revision)? {
            let unit = records.unit(&serial)?;
            if unit.events.iter().any(|event| matches!(event, Event::Repair(_))) {
                continue;
            }
            let last = unit.events.iter().rev().find_map(|event| match event {
                Event::Started(start) if start.golden => Some(start),
                _ => None,
            });
            currents.extend(last.and_then(|start| {
                let same = (start.voltage - at).abs() <= SAME_VOLTAGE * at.abs();
                let counts = !matches!(start.verdict, Verdict::Fail | Verdict::Void);
                start.steady.filter(|_| same && counts)
            }));
        }
        Ok(Self::of(&currents))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_is_learnt_from_enough_units_and_from_no_fewer() {
        let drawn = |count: u32| -> Vec<Amps> {
            (0..count).map(|number| Amps(5e-3 + 1e-4 * f64::from(number % 5))).collect()
        };
        let need = CLAIM.least();
        let need = u32::try_from(need).unwrap();
        assert_eq!(Window::of(&drawn(need - 1)), None);
        let window = Window::of(&drawn(need)).unwrap();
        assert!(window.least < Amps(5.0e-3) && window.most > Amps(5.4e-3), "{window:?}");
        assert_eq!(window.origin, format!("{need} golden units"));
    }

    /// 20 values, two-sided, 99 % coverage at 95 % confidence: k = 3.6210 (the integral of ISO 16269-6 by scipy 1.x's quadrature).
    #[test]
    fn twenty_units_give_the_factor_of_the_standard() {
        let drawn: Vec<Amps> = (0..20).map(|number| Amps(f64::from(number))).collect();
        // Mean 9.5 and standard deviation √35 of 0 … 19.
        let window = Window::of(&drawn).unwrap();
        assert!((window.most.0 - (9.5 + 3.6210 * 35f64.sqrt())).abs() < 0.002, "{window:?}");
        assert_eq!(window.least, Amps::ZERO);
    }
}
