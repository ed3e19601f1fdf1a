//! Resistance from a ratio shot: R = Rm · V_A / V_B, in delta mode over current reversals.

use copperwalk_core::{delta::Delta, timing};
use copperwalk_wire::{
    Shot, Source,
    codes::{ENDS_GAIN, decode},
    hardware::{LOAD_COMPLIANCE_VOLTS, RM_OHMS},
    message::ShotEnd,
};
use nalgebra::{DMatrix, DVector};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use super::{
    Malformed,
    hum::Hum,
    saturated,
    uncertainty::{Budget, Edges, Noise},
    voltage,
};
use crate::{
    meter::{
        Meter, WAKE_US, looks,
        noise::{MOST_FACTOR, code_step, conversion_noise},
    },
    quantity::{Amps, Ohms, Seconds, Volts},
};

/// Least isolation between the sense lines; R over this is the relative error it can cause.
const LEAKAGE: Ohms = Ohms(1e9);
/// A thermal EMF bends by at most this over time, V/s²: that of two relay contacts whose warming coils add up to 50 µV each
/// with a time constant of 0.3 s or more (two alloy leads of 40 µV/K that differ by a kelvin and a quarter).
const EMF_BEND: f64 = 2.0 * 50e-6 / (0.3 * 0.3);

/// A spread less probable than this under noise alone is a contact that moves; probability. At most one in a
/// million quiet shots is called moving for nothing.
const FLICKER_PROBABILITY: f64 = 1e-6;
/// A spread less probable than this under noise alone means that the noise table is too low here, and the
/// spread itself is used; probability. One in a thousand quiet shots states more uncertainty than it has.
const DISTURBED_PROBABILITY: f64 = 1e-3;
/// What is left of a sine of unknown phase is most often near its peak (an arcsine distribution): 95 % of it lie within 0.997 of
/// the peak, and of a rectangle only within 0.95. A rectangle so many times as wide does for both.
const ARCSINE: f64 = 1.05;
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

/// A current that stands differs between half-cycles by at most this, relative: pair A, read a conversion earlier, is then
/// right to as much …
const SETTLED_SHARE: f64 = 50e-6;
/// … and so many standard deviations of the noisiest converter; no unit. Noise alone exceeds it once in a million.
const SETTLED_SIGMAS: f64 = 5.0;

/// What a ratio shot says.
#[derive(Clone, PartialEq, Debug)]
pub struct Reading {
    /// Resistance between the sense contacts. Meaningless unless `flows`.
    pub resistance: Ohms,
    /// Its uncertainty before placement and temperature, as far as the surroundings are known: see [`Reading::weigh`].
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
    /// Did the current stand by the time it was read? While it is on its way, pair A and pair B are of different currents.
    pub settled: bool,
    /// Contact check of sense+ and sense-, codes, if the shot made one.
    pub contacts: Option<[i32; 2]>,
    /// Drop of the force- contact (forward) and the force+ contact (reversed), if asked for.
    pub end_drops: Option<[Volts; 2]>,
    /// What it was made of.
    pub half_cycles: HalfCycles,
}

/// The half-cycles of a reading, kept to weigh it by what others say.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct HalfCycles {
    /// About signal, offset and drift.
    scatter: Scatter,
    halves: Vec<Half>,
    /// From one to the next.
    period: Seconds,
    /// Standard deviation of one conversion of pair A by the table.
    sigma: Volts,
}

/// What the readings of a whole measurement say of the surroundings that a single one cannot know.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Surroundings {
    /// Noise against the table.
    pub noise: Noise,
    /// Hum in the sense loop, if it was looked for.
    pub hum: Option<Hum>,
}

impl Default for Surroundings {
    fn default() -> Self {
        Self::UNKNOWN
    }
}

impl Surroundings {
    /// Noise as in the table, and nobody listened for hum.
    pub const UNKNOWN: Self = Self { noise: Noise::TABLE, hum: None };
}

/// Something in the loop changed during the shot by more than noise can.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Motion {
    /// The resistance between the sense contacts: lowest and highest of single half-cycles.
    Here([Ohms; 2]),
    /// Only the current: some other piece of the loop moves, and this reading is of little use.
    Elsewhere,
}

/// Reads a ratio shot with this meter. `why`: its sampling stopped. `swapped`: sense+ stands nearer force-. `path`: resistance
/// between the two force rails, by which the common mode of the sense pins turns round with the current; where it is not
/// known, or was more before a film broke, it is what the source's reach leaves for the current that flows. `surroundings`: as far
/// as they are known by now.
pub fn read(
    meter: &Meter,
    shot: &Shot,
    codes: &[i32],
    why: ShotEnd,
    swapped: bool,
    path: Option<Ohms>,
    surroundings: &Surroundings,
) -> Result<Reading, Malformed> {
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
    let gain = meter.gain_ratio(ratio.gain_a, ratio.gain_b);
    let resistance = Ohms(RM_OHMS * quotient * (1.0 + meter.rm.middle - gain.middle));
    let noise = Ohms(RM_OHMS * shrink * sigma_a.hypot(quotient * sigma_b) / drop_volts.abs());
    let current = Amps(drop_volts / RM_OHMS);
    let most_path = reach(shot.source) / current.abs();
    let period = half_cycle(shot);
    let size = resistance.abs();
    let edges = Edges {
        rm: size * meter.rm.half,
        gain: size * gain.half,
        linearity: size * meter.linearity,
        common_mode: path.unwrap_or(most_path).min(most_path) * (meter.common_mode / 2.0),
        // The weights of a triple leave a quarter of what the EMF bends by in a half-cycle; triples of either sign alternate.
        emf: Volts(EMF_BEND * period.0 * period.0 / 4.0 / f64::from(delta.triples().max(1))) / current.abs(),
        leakage: Ohms(size.0 * size.0 / LEAKAGE.0),
        ..Edges::default()
    };
    let mut reading = Reading {
        resistance,
        budget: Budget { noise, spread: Noise::TABLE, looks: looks::factor_of(&ratio, why), edges },
        voltage: Volts(sense_volts),
        current,
        flows: drop_volts.abs() > FLOWS_SIGMAS * shrink * sigma_b,
        over_range: halves.iter().any(|half| half.over),
        motion: None,
        settled: settled(&halves, MOST_FACTOR * sigma_b),
        contacts: codes.contacts,
        end_drops: codes.ends.map(|ends| ends.map(|code| voltage(code, ENDS_GAIN))),
        half_cycles: HalfCycles { scatter: scatter(&halves), halves, period, sigma: Volts(sigma_a) },
    };
    reading.weigh(surroundings);
    Ok(reading)
}

/// The most that a source puts between the two force rails.
fn reach(source: Source) -> Volts {
    Volts(match source {
        Source::Load => LOAD_COMPLIANCE_VOLTS,
        // Behind the clamp less than 20 mV stand, whatever the parts' tolerances.
        Source::Off | Source::Dry => 20e-3,
        Source::Isolation => 200e-3,
        // The converter's own source reaches to 0.9 V below 3.3 V, and the unit stands on the bias node of 1 V.
        Source::Wide => 1.5,
    })
}

/// From the start of one half-cycle to that of the next, as the controller makes them.
pub fn half_cycle(shot: &Shot) -> Seconds {
    let micros = timing::half_cycle_us(shot) + u64::from(2 * WAKE_US);
    Seconds(micros as f64 * 1e-6)
}

impl Reading {
    /// Squared deviations of pair A's half-cycles over the variance that the table and this hum would give them, and their
    /// degrees of freedom.
    pub fn spread(&self, hum: Option<Hum>) -> (f64, f64) {
        // A sine has half its peak's square as variance.
        let hum = hum.map_or(0.0, |hum| hum.peak.0 * hum.peak.0 / 2.0);
        let HalfCycles { scatter, sigma, .. } = &self.half_cycles;
        (scatter.squares / (sigma.0 * sigma.0 + hum), scatter.freedom)
    }

    /// Says again how far to trust it and whether anything moved, now that the surroundings are known.
    pub fn weigh(&mut self, surroundings: &Surroundings) {
        let Surroundings { noise, hum } = *surroundings;
        let HalfCycles { scatter, halves, period, sigma } = &self.half_cycles;
        let (squares, freedom) = self.spread(hum);
        let disturbed = exceeded(squares / (noise.factor * noise.factor), freedom) < DISTURBED_PROBABILITY;
        self.budget.spread = if disturbed { Noise::pooled(squares, freedom) } else { noise };
        self.budget.edges.hum = hum.map_or(Ohms::ZERO, |hum| {
            Volts(ARCSINE * hum.left_by(halves.len(), *period)) / self.current.abs()
        });
        // A contact that moves makes what neither noise nor the peak of a sine can.
        let peak = hum.map_or(0.0, |hum| hum.peak.0);
        let variance = (noise.factor * sigma.0).powi(2) + peak * peak;
        let moves = exceeded(scatter.squares / variance, freedom) < FLICKER_PROBABILITY;
        self.motion = if moves { motion(halves, scatter.offset) } else { None };
    }
}

/// Probability of a chi-square at least so large.
fn exceeded(chi_square: f64, freedom: f64) -> f64 {
    ChiSquared::new(freedom).map_or(1.0, |chi| chi.sf(chi_square))
}

/// One half-cycle.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Half {
    /// +1 forward, −1 reversed.
    sign: f64,
    /// Pair A, volt.
    sense: f64,
    /// Pair B, volt.
    drop: f64,
    over: bool,
}

/// Do the first and the last half-cycle hold the same current as the others of their polarity? The first comes from no current, the
/// others from its reverse: what is left of the way to the end differs, and so does what a capacitor takes that is still being
/// charged. The converter's offset stands on the two polarities with opposite signs, so these are not compared.
/// `sigma`: standard deviation of one conversion of pair B, volt.
fn settled(halves: &[Half], sigma: f64) -> bool {
    let stands = |at: usize, half: &Half| {
        let same = halves.iter().enumerate().filter(|(i, other)| *i != at && other.sign == half.sign);
        let (count, sum) = same.fold((0.0, 0.0), |(count, sum), (_, other)| (count + 1.0, sum + other.drop));
        let mean: f64 = sum / count;
        let noise = SETTLED_SIGMAS * sigma * (1.0_f64 + 1.0 / count).sqrt();
        count == 0.0 || (half.drop - mean).abs() <= SETTLED_SHARE * mean.abs() + noise
    };
    let mut ends = halves.iter().enumerate().take(1).chain(halves.iter().enumerate().skip(1).last());
    ends.all(|(at, half)| stands(at, half))
}

/// How the half-cycles of pair A scatter about "signal times sign, plus offset, plus drift".
#[derive(Clone, Copy, PartialEq, Debug, Default)]
struct Scatter {
    /// Sum of their squared deviations, V².
    squares: f64,
    /// Degrees of freedom.
    freedom: f64,
    /// Fitted offset in the middle of the shot, volt.
    offset: f64,
}

fn scatter(halves: &[Half]) -> Scatter {
    let quiet = Scatter::default();
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
    let squares = (values - design * &fit).norm_squared();
    Scatter { squares, freedom: freedom as f64, offset: fit[1] }
}

/// Whose motion it is. A foreign contact that moves scales the voltage just as it scales the current; the piece's own
/// moves the voltage by more.
fn motion(halves: &[Half], offset: f64) -> Option<Motion> {
    let range = |values: &mut dyn Iterator<Item = f64>| {
        values.fold([f64::INFINITY, 0.0], |[low, high]: [f64; 2], v| [low.min(v), high.max(v)])
    };
    let volts = |half: &Half| (half.sense - offset).abs();
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
    use copperwalk_wire::{Contacts, Gain, Method, Rate, Ratio};

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
        let shot = Shot { contacts: Contacts::default(), source: Source::Dry, method };
        read(
            &Meter::PUBLISHED,
            &shot,
            &codes,
            ShotEnd::Complete,
            false,
            Some(Ohms::ZERO),
            &Surroundings::UNKNOWN,
        )
        .unwrap()
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
        motion(&halves, 0.0)
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
        let table = scattered(0.0).budget.scatter();
        // The factor is √(χ²/3).
        for (probability, chi_square, factor) in [(0.95e-3, 16.3748, 2.336), (1.05e-3, 16.1630, 1.0)] {
            let found = scattered(chi_square).budget.scatter() / table;
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

    /// A first half-cycle or a last one that differs: by a share of the others, and by standard deviations.
    #[test]
    fn a_current_that_differs_by_just_under_50_ppm_stands_and_just_over_does_not() {
        for (share, stands) in [(48e-6, true), (52e-6, false), (-52e-6, false)] {
            for at in [0, 5] {
                // With an offset of the converter.
                let half = |sign: f64| Half { sign, sense: 0.0, drop: sign * 0.5 + 1e-3, over: false };
                let mut halves = [1.0, -1.0, 1.0, -1.0, 1.0, -1.0].map(half);
                halves[at].drop *= 1.0 + share;
                assert_eq!(settled(&halves, 0.0), stands, "{share} at {at}");
                // Half as much noise again as there is room for.
                assert!(settled(&halves, 2e-6), "{share} at {at}: less than five deviations of noise");
            }
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

    /// A film that was 328 Ω end to end and has broken under load: 50 mA leave no more than 20 Ω for the path, and at 90 dB half of
    /// 31.6 ppm of that, 316 µΩ.
    #[test]
    fn a_path_that_was_higher_before_counts_no_more_than_the_source_can_drive() {
        let ratio = Ratio {
            gain_a: Gain::X16,
            gain_b: Gain::X2,
            rate: RATE,
            wait_us: 0,
            contact_check: false,
            ends: false,
            triples_min: 1,
            triples_max: 1,
            stop: None,
            gate: None,
        };
        let shot = Shot { contacts: Contacts::default(), source: Source::Load, method: Method::Ratio(ratio) };
        let drop = (0.5 / code_step(Gain::X2).0) as i32;
        let codes = [1_000, drop, -1_000, -drop, 1_000, drop];
        let common_mode = |path| {
            let read = read(
                &Meter::PUBLISHED,
                &shot,
                &codes,
                ShotEnd::Complete,
                false,
                path,
                &Surroundings::UNKNOWN,
            )
            .unwrap();
            read.budget.edges.common_mode.0
        };
        for (path, expected) in [(Some(328.0), 316e-6), (None, 316e-6), (Some(2.0), 31.6e-6)] {
            let found = common_mode(path.map(Ohms));
            assert!((found / expected - 1.0).abs() < 1e-3, "{path:?}: {found}");
        }
    }
}
