//! The statistics behind watching a segment, against printed tables and against simulation.
//!
//! Tables: D. C. Montgomery, *Introduction to Statistical Quality Control*, "ARL Performance of the Tabular Cusum with k = 1/2 and h = 4
//! or h = 5" and "Values of k and the Corresponding Values of h That Give ARL0 = 370" (after Hawkins); percentage points of the F
//! distribution as in any statistical table. All of them from memory.

use copperwalk::{
    disturbance::{
        Observer, Pair,
        rates::{self, FALSE_ALARMS_AN_HOUR},
    },
    meter::{conversion_us, noise::conversion_noise},
    plan::aim::{WATCH_GAINS, WATCH_RATE, dry_current},
    quantity::{Ohms, Volts},
    random::Rng,
    statistics::cusum::Cusum,
};
use copperwalk_tests::attack::times;

/// Mean number of values until the sums alarm, over so many runs, of values that are off their target by `shift` standard deviations.
fn run_length(allowance: f64, threshold: f64, shift: f64, runs: usize, rng: &mut Rng) -> f64 {
    let mut values = 0;
    for _ in 0..runs {
        let mut sums = Cusum::new(threshold);
        loop {
            values += 1;
            if sums.take(shift + rng.normal(), allowance).is_some() {
                break;
            }
        }
    }
    values as f64 / runs as f64
}

#[test]
fn cumulative_sums_have_the_average_run_lengths_of_the_tables() {
    let mut rng = Rng::new(1954);
    let runs = times(4_000, 100_000);
    // A run length's standard deviation is about its mean: three standard errors.
    let tolerance = 3.0 / (runs as f64).sqrt() + 0.005;
    for (allowance, threshold, shift, published) in [
        (0.5, 4.0, 0.0, 168.0),
        (0.5, 4.0, 0.25, 74.2),
        (0.5, 4.0, 0.5, 26.6),
        (0.5, 4.0, 1.0, 8.38),
        (0.5, 4.0, 2.0, 3.34),
        (0.5, 5.0, 0.0, 465.0),
        (0.5, 5.0, 0.5, 38.0),
        (0.5, 5.0, 1.0, 10.4),
        (0.5, 5.0, 2.0, 4.01),
        (0.5, 4.77, 0.0, 370.0),
        (0.25, 8.01, 0.0, 370.0),
        (1.0, 2.52, 0.0, 370.0),
    ] {
        let found = run_length(allowance, threshold, shift, runs, &mut rng);
        println!("k {allowance} h {threshold} shift {shift}: {found:.2}, published {published}");
        assert!((found / published - 1.0).abs() < tolerance, "k {allowance} h {threshold} {shift}: {found}");
    }
}

#[test]
fn ratios_of_variances_have_the_percentage_points_of_the_tables() {
    for (ratio, freedom, learned, published) in [
        (2.98, 10.0, 10.0, 0.05),
        (2.35, 10.0, 20.0, 0.05),
        (3.37, 10.0, 20.0, 0.01),
        (2.03, 30.0, 60.0, 0.01),
        (5.08, 10.0, 20.0, 0.001),
    ] {
        let found = rates::of_variance(ratio, freedom, learned);
        assert!((found / published - 1.0).abs() < 0.02, "{ratio} {freedom} {learned}: {found}");
    }
}

/// The threshold of a step comes from a bound: false alarms are no more than stated, and not a hundred times fewer.
#[test]
fn steps_between_levels_alarm_no_more_often_than_stated() {
    let mut rng = Rng::new(2);
    let stated = 1e-3;
    for allowance in [0.0, 0.5, 2.0] {
        // The bound for an hour is that of a block times the blocks; here for a thousandth, which can be counted.
        let threshold = rates::of_step_at(allowance, stated);
        let (mut sums, mut before, mut alarms) = (Cusum::new(threshold), rng.normal(), 0);
        let levels = 400_000;
        for _ in 0..levels {
            let level = rng.normal();
            alarms += usize::from(sums.take(level - before, allowance).is_some());
            before = level;
        }
        let rate = alarms as f64 / f64::from(levels);
        println!("allowance {allowance}: {rate:.2e} of {stated:.0e} stated");
        assert!(rate < 1.1 * stated, "{allowance}: {rate}");
    }
}

/// Hours of a contact that does nothing but what its converter's noise does, under a limit so low that the statistics alone decide.
#[test]
fn false_alarms_on_a_quiet_contact_are_no_more_than_stated() {
    let hours = times(2, 400);
    let (mut alarms, mut rng) = ([0_u64; 3], Rng::new(3));
    let period_us = f64::from(conversion_us(WATCH_RATE));
    let noise = WATCH_GAINS.map(|gain| conversion_noise(gain, WATCH_RATE).0);
    let (rest, limit) = (Ohms(2e-3), Ohms(1e-6));
    let current = dry_current(rest).0;
    let pairs = (3.6e9 / (2.0 * period_us)) as usize;
    // Every half an hour is a watch of its own, the longest there is: the levels are learned anew.
    for _ in 0..2 * hours {
        let mut observer = Observer::new(rest, limit);
        for pair in 0..pairs / 2 {
            let sense = Volts(current * rest.0 + noise[0] * rng.normal());
            let drop = Volts(current * 10.0 + noise[1] * rng.normal());
            let at_us = (2.0 * period_us * pair as f64) as u64;
            observer.take(Pair { at_us, sense, drop }, period_us).unwrap();
            if pair % 100_000 == 0 {
                observer.looks();
            }
        }
        let watched = observer.finish(period_us, 0);
        let of = [watched.counts.iter().sum(), watched.steps.len() as u64, watched.noises.len() as u64];
        alarms = std::array::from_fn(|test| alarms[test] + of[test]);
    }
    let all: u64 = alarms.iter().sum();
    println!("{hours} hours: {} dropouts, {} steps, {} times of noise", alarms[0], alarms[1], alarms[2]);
    let stated = FALSE_ALARMS_AN_HOUR * hours as f64;
    assert!((all as f64) < stated + 3.0 * stated.sqrt(), "{alarms:?} in {hours} hours");
}
