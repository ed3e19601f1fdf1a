//! Plans and orders against every plan and every order there is.

use super::super::odds::RepairOption;
use super::super::plan::{self, Outcome, SWEEP_MINUTES, Stake, Suspect};
use super::super::skill::Record;
use super::super::triage::{Act, Waiting, Way, choose, triage};
use crate::{fault::method::Method, random::Rng, statistics::beta::Beta};

fn suspect(rng: &mut Rng, probability: f64, options: usize) -> Suspect {
    let option = |rng: &mut Rng| {
        let chance = Beta { a: rng.between(0.2, 9.0), b: rng.between(0.2, 9.0) };
        RepairOption {
            method: Method::Clean,
            chance,
            record: Record { table: chance, worked: 0, failed: 0 },
            minutes: rng.between(1.0, 40.0),
            parts: rng.between(0.0, 8.0),
            spoils: rng.between(0.0, 0.1),
        }
    };
    Suspect { probability, options: (0..options).map(|_| option(rng)).collect() }
}

/// Net value of trying these in this order and then giving up: walked branch by branch, with the whole history of each.
fn walked(suspects: &[Suspect], order: &[(usize, usize)], stake: Stake, cured: f64) -> f64 {
    let given_up = stake.given_up().net(stake.hour);
    let mut value = 0.0;
    // Probability that one gets here, and with which fault; the last place is for a fault that no repair cures.
    let mut here: Vec<f64> = suspects.iter().map(|suspect| suspect.probability).collect();
    here.push(1.0 - here.iter().sum::<f64>());
    for &(at, option) in order {
        let repair = suspects[at].options[option];
        let reached: f64 = here.iter().sum();
        value -= reached * (repair.parts + stake.hour * (repair.minutes + SWEEP_MINUTES) / 60.0);
        value += here[at] * (1.0 - repair.spoils) * repair.chance.mean() * cured;
        here[at] *= 1.0 - repair.chance.mean();
        here.iter_mut().for_each(|share| *share *= 1.0 - repair.spoils);
    }
    value + here.iter().sum::<f64>() * given_up
}

/// Every order of every set.
fn orders<T: Copy>(of: &[T]) -> Vec<Vec<T>> {
    let mut all = vec![Vec::new()];
    for (at, first) in of.iter().enumerate() {
        let rest: Vec<T> = of.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, t)| *t).collect();
        all.extend(orders(&rest).into_iter().map(|mut order| {
            order.insert(0, *first);
            order
        }));
    }
    all
}

#[test]
fn no_plan_for_one_fault_is_better_than_the_best() {
    let mut rng = Rng::new(11);
    for _ in 0..300 {
        let stake = Stake {
            price: rng.between(5.0, 80.0),
            spares: rng.between(0.0, 20.0),
            hour: rng.between(0.0, 60.0),
        };
        let shares = [rng.between(0.1, 0.6), rng.between(0.05, 0.4)];
        let suspects = vec![suspect(&mut rng, shares[0], 2), suspect(&mut rng, shares[1], 2)];
        let all: Vec<(usize, usize)> = vec![(0, 0), (0, 1), (1, 0), (1, 1)];
        let values = orders(&all).into_iter().map(|order| walked(&suspects, &order, stake, stake.price));
        let best = values.fold(f64::NEG_INFINITY, f64::max);
        let plan = plan::best(std::slice::from_ref(&suspects), stake);
        assert!((plan.outcome.net(stake.hour) - best).abs() < 1e-9, "{plan:?} {best}");
        let steps: Vec<_> = plan.steps.iter().map(|step| (step.suspect, step.option)).collect();
        assert!((walked(&suspects, &steps, stake, stake.price) - best).abs() < 1e-9);
    }
}

#[test]
fn no_plan_for_two_faults_is_better_than_the_best() {
    let mut rng = Rng::new(12);
    for _ in 0..100 {
        let stake = Stake { price: rng.between(10.0, 90.0), spares: rng.between(0.0, 15.0), hour: 25.0 };
        let faults = vec![vec![suspect(&mut rng, 1.0, 3)], vec![suspect(&mut rng, 1.0, 3)]];
        let all: Vec<(usize, usize)> = vec![(0, 0), (0, 1), (0, 2)];
        let mut best = f64::NEG_INFINITY;
        for second in orders(&all) {
            let cured = walked(&faults[1], &second, stake, stake.price);
            for first in orders(&all) {
                best = best.max(walked(&faults[0], &first, stake, cured));
            }
        }
        let plan = plan::best(&faults, stake);
        assert!((plan.outcome.net(stake.hour) - best).abs() < 1e-9, "{plan:?} {best}");
    }
}

fn way(rng: &mut Rng) -> Way {
    let outcome = Outcome { gain: rng.between(1.0, 60.0), minutes: rng.between(2.0, 50.0), cured: 0.5 };
    Way { act: Act::Repair, outcome, tries: Vec::new() }
}

const STAKE: Stake = Stake { price: 40.0, spares: 0.0, hour: 0.0 };

/// Expected gain until the work ends, at a minute that is as likely as any other within the horizon, where every repair takes half
/// or one and a half times its mean, either as likely: every outcome of all of them is walked.
fn expected(order: &[Way], horizon: f64) -> f64 {
    let outcomes = 1_usize << order.len();
    let mut sum = 0.0;
    for outcome in 0..outcomes {
        let mut clock = 0.0;
        for (at, way) in order.iter().enumerate() {
            clock += way.outcome.minutes * if outcome & (1 << at) == 0 { 0.5 } else { 1.5 };
            sum += way.outcome.gain * (1.0 - clock / horizon).max(0.0);
        }
    }
    sum / outcomes as f64
}

#[test]
fn no_order_of_a_small_lot_is_better_than_the_triage_list() {
    let mut rng = Rng::new(13);
    for units in 1..=6 {
        for _ in 0..12 {
            let waiting: Vec<Waiting> = (0..units)
                .map(|number| Waiting { serial: number.to_string(), ways: vec![way(&mut rng)] })
                .collect();
            let horizon = 1.5 * waiting.iter().map(|unit| unit.ways[0].outcome.minutes).sum::<f64>();
            let numbers: Vec<usize> = (0..units).collect();
            let all = orders(&numbers).into_iter().filter(|order| order.len() == units);
            let value = |order: &[usize]| {
                let ways: Vec<Way> = order.iter().map(|at| waiting[*at].ways[0].clone()).collect();
                expected(&ways, horizon)
            };
            let best = all.map(|order| value(&order)).fold(f64::NEG_INFINITY, f64::max);
            let items = triage(&waiting, STAKE, None, "EUR");
            let listed: Vec<usize> = items.iter().map(|item| item.serial.parse().unwrap()).collect();
            assert!((value(&listed) - best).abs() < 1e-9, "{listed:?}: {} of {best}", value(&listed));
        }
    }
}

#[test]
fn no_choice_for_the_hours_given_is_better_than_the_one_made() {
    let mut rng = Rng::new(14);
    for _ in 0..60 {
        let hour = rng.between(0.0, 30.0);
        let waiting: Vec<Waiting> = (0..6)
            .map(|number| {
                let ways = vec![way(&mut rng), way(&mut rng)];
                let ways = ways.into_iter().filter(|way| way.outcome.net(hour) > 0.0).collect();
                Waiting { serial: number.to_string(), ways }
            })
            .collect();
        let minutes = 90;
        let mut best = 0.0_f64;
        // One of three things with each of six units: leave it, or one of its ways.
        for number in 0..3_usize.pow(6) {
            let (mut value, mut used) = (0.0, 0.0);
            for (at, unit) in waiting.iter().enumerate() {
                let choice = number / 3_usize.pow(at as u32) % 3;
                let Some(way) = choice.checked_sub(1).and_then(|choice| unit.ways.get(choice)) else {
                    continue;
                };
                value += way.outcome.net(hour);
                used += way.outcome.minutes.ceil();
            }
            if used <= f64::from(minutes) {
                best = best.max(value);
            }
        }
        let chosen = choose(&waiting, minutes as usize, hour);
        let taken = || chosen.iter().zip(&waiting).filter_map(|(way, unit)| unit.ways.get((*way)?));
        let value: f64 = taken().map(|way| way.outcome.net(hour)).sum();
        let used: f64 = taken().map(|way| way.outcome.minutes.ceil()).sum();
        assert!(used <= f64::from(minutes) && (value - best).abs() < 1e-9, "{value} of {best}");
    }
}
