//! Resistance from a ratio shot: R = Rm · V_A / V_B, in delta mode over current reversals.

use copperwalk_core::delta::Delta;
use copperwalk_wire::{
    Ratio, Shot,
    codes::{ENDS_GAIN, decode},
    hardware::RM_OHMS,
};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::{Malformed, saturated, uncertainty::Budget, voltage};
use crate::{
    meter::{
        EMF_STANDARD, GAIN_RATIO_STANDARD, LEAKAGE,
        noise::{code_step, conversion_noise},
    },
    quantity::{Amps, Ohms, Volts},
};

/// A spread less probable than this under noise alone is a contact that moves; probability. At most one in a
/// million quiet shots is called moving for nothing.
const FLICKER_PROBABILITY: f64 = 1e-6;
/// A spread less probable than this under noise alone means that the noise table is too low here, and the
/// spread itself is used; probability. One in a thousand quiet shots states more uncertainty than it has.
const DISTURBED_PROBABILITY: f64 = 1e-3;
/// A current of at most so many standard deviations of its own reading is none; no unit. Noise alone exceeds
/// it twice in 10⁹ shots.
const FLOWS_SIGMAS: f64 = 6.0;
/// The sense voltage varies (highest half-cycle over lowest) by at least so many times what the current
/// varies by where the piece itself moves; no unit. A contact elsewhere varies both alike, but pair A and
/// pair B are converted one after the other, and it may move between the two.
const OWN_MOTION: f64 = 1.5;
/// A contact that makes and breaks varies the sense voltage (highest half-cycle over lowest) by at least
/// this; no unit. Less is slow, a capacitor that charges, say: it adds to the uncertainty, but nothing moves.
const LEAST_MOTION: f64 = 1.1;

/// What a ratio shot says.
#[derive(Clone, PartialEq, Debug)]
pub struct Reading {
    /// Resistance between the sense contacts. Meaningless unless `flows`.
    pub resistance: Ohms,
    /// Its uncertainty before any temperature part.
    pub budget: Budget,
    /// Delta-mode voltage between the sense contacts, positive when it falls from force+ to force-.
    pub voltage: Volts,
    /// Current.
    pub current: Amps,
    /// Is there a current at all?
    pub flows: bool,
    /// A code of pair A stood at the end of its range: `resistance` is the least it can be.
    pub over_range: bool,
    /// What moved while it was read, if anything did.
    pub motion: Option<Motion>,
    /// Contact check of sense+ and sense-, codes, if the shot made one.
    pub contacts: Option<[i32; 2]>,
    /// Drop of the force- contact (forward) and the force+ contact (reversed), if asked for.
    pub end_drops: Option<[Volts; 2]>,
}

/// Something in the loop changed during the shot by more than noise can.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Motion {
    /// The resistance between the sense contacts: lowest and highest of single half-cycles.
    Here([Ohms; 2]),
    /// Only the current: some other piece of the loop moves, and this reading is of little use.
    Elsewhere,
}

/// Reads a ratio shot. `swapped`: sense+ stands nearer force-.
pub fn read(shot: &Shot, codes: &[i32], swapped: bool) -> Result<Reading, Malformed> {
    let codes = decode(shot, codes)?.ratio()?;
    let ratio = codes.method;
    let halves: Vec<Half> = codes
        .half_cycles
        .iter()
        .zip([1.0, -1.0].into_iter().cycle())
        .map(|(&[a, b], sign)| Half {
            sign,
            sense: voltage(a, ratio.gain_a).0 * if swapped { -1.0 } else { 1.0 },
            drop: voltage(b, ratio.gain_b).0,
            over: saturated(a),
        })
        .collect();

    // The very sums the controller decided by.
    let mut delta = Delta::default();
    codes.half_cycles.iter().for_each(|&[a, b]| delta.add(a, b));
    let sense_volts = delta.mean_a() * code_step(ratio.gain_a).0 * if swapped { -1.0 } else { 1.0 };
    let drop_volts = delta.mean_b() * code_step(ratio.gain_b).0;
    let [sigma_a, sigma_b] = [ratio.gain_a, ratio.gain_b].map(|gain| conversion_noise(gain, ratio.rate).0);
    // A delta-mode triple (1, −2, 1)/4 has a variance of 6/16 of one code's.
    let shrink = (0.375 / f64::from(delta.triples())).sqrt();
    let quotient = sense_volts / drop_volts;
    let spread = scatter(&halves, sigma_a);
    let disturbed = if spread.probability < DISTURBED_PROBABILITY { spread.factor.max(1.0) } else { 1.0 };
    let ohms = RM_OHMS * quotient;
    let noise = RM_OHMS * shrink * (disturbed * sigma_a).hypot(quotient * sigma_b) / drop_volts.abs();
    let amps = drop_volts / RM_OHMS;
    Ok(Reading {
        resistance: Ohms(ohms),
        budget: budget(Ohms(ohms), Ohms(noise), Amps(amps), &ratio),
        voltage: Volts(sense_volts),
        current: Amps(amps),
        flows: drop_volts.abs() > FLOWS_SIGMAS * shrink * sigma_b,
        over_range: halves.iter().any(|half| half.over),
        motion: motion(&halves, &spread),
        contacts: codes.contacts,
        end_drops: codes.ends.map(|ends| ends.map(|code| voltage(code, ENDS_GAIN))),
    })
}

fn budget(reading: Ohms, noise: Ohms, current: Amps, ratio: &Ratio) -> Budget {
    let size = reading.abs();
    Budget {
        noise,
        rm: size * copperwalk_wire::hardware::RM_TOLERANCE,
        gain: if ratio.gain_a == ratio.gain_b { Ohms::ZERO } else { size * GAIN_RATIO_STANDARD },
        emf: EMF_STANDARD / current.abs(),
        leakage: Ohms(size.0 * size.0 / LEAKAGE.0),
        temperature: Ohms::ZERO,
    }
}

/// One half-cycle.
struct Half {
    /// +1 forward, −1 reversed.
    sign: f64,
    /// Pair A, volt.
    sense: f64,
    /// Pair B, volt.
    drop: f64,
    over: bool,
}

/// How the half-cycles of pair A scatter about "signal times sign, plus offset, plus drift".
struct Scatter {
    /// Probability of at least this spread under noise alone.
    probability: f64,
    /// Spread over the expected one.
    factor: f64,
    /// Fitted offset in the middle of the shot, volt.
    offset: f64,
}

fn scatter(halves: &[Half], sigma: f64) -> Scatter {
    let quiet = Scatter { probability: 1.0, factor: 1.0, offset: 0.0 };
    let count = halves.len();
    let freedom = count.saturating_sub(3);
    if freedom == 0 {
        return quiet;
    }
    let middle = (count as f64 - 1.0) / 2.0;
    let design = DMatrix::from_fn(count, 3, |row, column| match column {
        0 => halves[row].sign,
        1 => 1.0,
        _ => row as f64 - middle,
    });
    let values = DVector::from_iterator(count, halves.iter().map(|half| half.sense));
    let normal = design.transpose() * &design;
    let Some(fit) = normal.cholesky().map(|factor| factor.solve(&(design.transpose() * &values))) else {
        return quiet;
    };
    let chi_square = (values - design * &fit).norm_squared() / (sigma * sigma);
    let probability = ChiSquared::new(freedom as f64).map_or(1.0, |chi| chi.sf(chi_square));
    Scatter { probability, factor: (chi_square / freedom as f64).sqrt(), offset: fit[1] }
}

/// Whose motion it is. A foreign contact that moves scales the voltage just as it scales the current; the piece's own
/// moves the voltage by more.
fn motion(halves: &[Half], spread: &Scatter) -> Option<Motion> {
    if spread.probability >= FLICKER_PROBABILITY {
        return None;
    }
    let range = |values: &mut dyn Iterator<Item = f64>| {
        values.fold([f64::INFINITY, 0.0], |[low, high]: [f64; 2], v| [low.min(v), high.max(v)])
    };
    let volts = |half: &Half| (half.sense - spread.offset).abs();
    let [low_volts, high_volts] = range(&mut halves.iter().map(volts));
    if high_volts < LEAST_MOTION * low_volts {
        // More than noise, but no contact that makes and breaks: a capacitor on its way, say. The spread counts.
        return None;
    }
    let [low_drop, high_drop] = range(&mut halves.iter().map(|half| half.drop.abs()));
    if high_volts * low_drop < OWN_MOTION * high_drop * low_volts {
        return Some(Motion::Elsewhere);
    }
    let ohms = |half: &Half| RM_OHMS * volts(half) / half.drop.abs();
    Some(Motion::Here(range(&mut halves.iter().map(ohms)).map(Ohms)))
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::{Contacts, Gain, Method, Rate, Source};

    use super::*;

    const GAIN: Gain = Gain::X128;
    const RATE: Rate = Rate::Sps1000;

    /// Reads two triples of pair A and pair B, given in standard deviations of one conversion.
    fn reading(sense: [f64; 6], drop: [f64; 6]) -> Reading {
        let code = |sigmas: f64| (sigmas * (conversion_noise(GAIN, RATE) / code_step(GAIN))).round() as i32;
        let codes: Vec<i32> = sense.into_iter().zip(drop).flat_map(|(a, b)| [code(a), code(b)]).collect();
        let method = Method::Ratio(Ratio {
            gain_a: GAIN,
            gain_b: GAIN,
            rate: RATE,
            wait_us: 0,
            contact_check: false,
            ends: false,
            triples_min: 2,
            triples_max: 2,
            stop: None,
            gate: None,
        });
        read(&Shot { contacts: Contacts::default(), source: Source::Dry, method }, &codes, false).unwrap()
    }

    /// Six half-cycles of one signal, forward and reversed in turn.
    fn reversals(signal: f64) -> [f64; 6] {
        [1.0, -1.0, 1.0, -1.0, 1.0, -1.0].map(|sign| sign * signal)
    }

    /// A reading whose residuals about signal, offset and drift have just this chi-square; three degrees of
    /// freedom are left. The pattern is orthogonal to all three, so that the fit takes nothing of it.
    fn scattered(chi_square: f64) -> Reading {
        let mut sense = reversals(6.0);
        for (at, weight) in [(0, 1.0), (2, -2.0), (4, 1.0)] {
            sense[at] += weight * (chi_square / 6.0).sqrt();
        }
        reading(sense, reversals(10_000.0))
    }

    /// What moves where voltage and current vary by these factors and noise can be excluded.
    fn moved(volts: f64, amps: f64) -> Option<Motion> {
        let halves = [(1.0, 1.0), (volts, amps), (1.0, 1.0)].map(|(sense, drop)| Half {
            sign: 1.0,
            sense,
            drop,
            over: false,
        });
        motion(&halves, &Scatter { probability: 0.0, factor: 1.0, offset: 0.0 })
    }

    // Chi-square with three degrees of freedom in closed form, erfc(√(x/2)) + √(2x/π)·e^(−x/2), solved for x
    // at 5 % below and above either probability.

    #[test]
    fn a_spread_just_under_one_in_a_million_is_motion_and_one_just_over_is_not() {
        for (probability, chi_square, moves) in [(0.95e-6, 30.7707, true), (1.05e-6, 30.5642, false)] {
            let found = scattered(chi_square).motion;
            assert_eq!(matches!(found, Some(Motion::Here(_))), moves, "{probability}: {found:?}");
        }
    }

    #[test]
    fn a_spread_just_under_one_in_a_thousand_counts_itself_and_one_just_over_counts_the_table() {
        let table = scattered(0.0).budget.noise;
        // The factor is √(χ²/3).
        for (probability, chi_square, factor) in [(0.95e-3, 16.3748, 2.336), (1.05e-3, 16.1630, 1.0)] {
            let found = scattered(chi_square).budget.noise / table;
            assert!((found - factor).abs() < 0.005, "{probability}: {found}");
        }
    }

    #[test]
    fn a_current_just_above_six_standard_deviations_flows_and_one_just_below_does_not() {
        // Two triples average the noise of one conversion down to √(6/16/2) of it.
        let of_the_mean = (0.375_f64 / 2.0).sqrt();
        for (sigmas, flows) in [(5.9, false), (6.1, true), (-5.9, false), (-6.1, true)] {
            let found = reading(reversals(0.0), reversals(sigmas * of_the_mean));
            assert_eq!(found.flows, flows, "{sigmas} standard deviations");
        }
    }

    #[test]
    fn just_over_one_and_a_half_times_the_variation_of_the_current_is_motion_here_and_just_under_elsewhere() {
        for (amps, more, here) in
            [(1.0, 1.45, false), (1.0, 1.55, true), (3.0, 1.45, false), (3.0, 1.55, true)]
        {
            let found = moved(amps * more, amps);
            assert_eq!(matches!(found, Some(Motion::Here(_))), here, "{amps} {more}: {found:?}");
            assert_eq!(found == Some(Motion::Elsewhere), !here, "{amps} {more}: {found:?}");
        }
    }

    #[test]
    fn a_voltage_that_varies_by_just_over_a_tenth_moves_and_just_under_does_not() {
        for (factor, expected) in [(1.08, None), (1.12, Some(Motion::Elsewhere))] {
            assert_eq!(moved(factor, 1.0), expected, "{factor}");
        }
    }
}
