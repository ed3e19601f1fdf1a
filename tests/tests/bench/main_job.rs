//! The main job, in numbers: truth, coverage, false alarms, faults named, bench faults never booked on a unit.
//!
//! Run with `--nocapture` to see the figures, and with `COPPERWALK_LONG=1` for a thousand units each; each test also holds them to what is asked. Bench and unit are drawn from
//! the seed by `virtual_bench`; what is true of a unit is asked from the model, never from the code under test.

use copperwalk::quantity::{Celsius, Ohms};
use copperwalk::{
    board::SegmentId,
    judge,
    plan::{self, Sampling},
    sweep::Sweep,
    verdict::{Class, Verdict},
    virtual_bench::Spec,
};
use copperwalk_tests::{
    attack::times,
    campaign::{Bed, chain, in_parallel},
    cases::Cases,
};

/// One reading against the truth.
struct Compared {
    truth: f64,
    error: f64,
    covered: bool,
}

fn compare(kind: &str, range: (f64, f64), most: f64, sampling: Sampling, boards: usize) -> Vec<Compared> {
    in_parallel(boards, |number| {
        let mut cases = Cases::new(number as u64 * 7919 + range.0.to_bits());
        let bed = Bed::new(chain(kind, &cases.values(6, range.0, range.1, most)), sampling);
        let (sweep, truth) = bed.sweep(&Spec::new(number as u64));
        assert_ne!(sweep.judgement.verdict, Verdict::Void, "{:?}", sweep.judgement.bench_faults);
        (0..bed.fixture.board.segments.len())
            .filter_map(|at| {
                let row = &sweep.judgement.segments[at];
                let (read, judged, u95) = (row.resistance?, row.at_20c?, row.u95?);
                Some(Compared {
                    truth: truth.resistance[at].0,
                    error: (read - truth.resistance[at]).abs().0,
                    covered: (judged - truth.at_20c[at]).abs() <= u95,
                })
            })
            .collect::<Vec<_>>()
    })
    .into_iter()
    .flatten()
    .collect()
}

/// Errors over what is promised: the largest but for one in a thousand, which noise may take beyond.
fn worst_share(readings: &[Compared], absolute: f64, relative: f64) -> f64 {
    let mut shares: Vec<f64> = readings.iter().map(|r| r.error / absolute.max(relative * r.truth)).collect();
    shares.sort_by(f64::total_cmp);
    shares[shares.len() - 1 - shares.len() / 1000]
}

fn coverage(readings: &[Compared]) -> f64 {
    readings.iter().filter(|r| r.covered).count() as f64 / readings.len() as f64
}

#[test]
fn readings_are_true_and_their_intervals_cover_the_truth() {
    for sampling in [Sampling::Full, Sampling::Quick] {
        let load = compare("fuse", (0.3e-3, 5.0), 7.0, sampling, 700);
        let dry = compare("connector", (10e-3, 10.0), 11.0, sampling, 700);
        let (load_worst, dry_worst) = (worst_share(&load, 0.05e-3, 0.0025), worst_share(&dry, 0.5e-3, 0.003));
        println!(
            "{sampling:?}: {} readings under load, worst {:.0} % of 0.05 mΩ or 0.25 %; {} dry, worst {:.0} % of \
             0.5 mΩ or 0.3 %; coverage {:.2} % and {:.2} %",
            load.len(),
            100.0 * load_worst,
            dry.len(),
            100.0 * dry_worst,
            100.0 * coverage(&load),
            100.0 * coverage(&dry),
        );
        assert!(load.len() >= 4000 && dry.len() >= 4000, "enough readings: {} {}", load.len(), dry.len());
        if sampling == Sampling::Full {
            assert!(load_worst <= 1.0, "under load: {load_worst}");
            assert!(dry_worst <= 1.0, "dry: {dry_worst}");
        }
        let all = (coverage(&load) * load.len() as f64 + coverage(&dry) * dry.len() as f64)
            / (load.len() + dry.len()) as f64;
        for (name, covered) in [("all", all), ("load", coverage(&load)), ("dry", coverage(&dry))] {
            // The budget allows for parts at their published worst, and these are usual ones.
            assert!(covered >= 0.95, "{sampling:?} {name}: {covered}");
        }
    }
}

#[test]
fn copper_is_referred_to_20_degrees_whatever_the_air() {
    let bed = Bed::example("greenhouse-valve-driver", Sampling::Quick);
    for celsius in [8.0, 23.0, 37.0] {
        let inside: Vec<bool> = in_parallel(60, |number| {
            let spec = Spec { air: Celsius(celsius), ..Spec::new(number as u64) };
            let (sweep, truth) = bed.sweep(&spec);
            assert_eq!(sweep.judgement.verdict, Verdict::Pass, "{celsius} °C, {number}");
            sweep
                .judgement
                .segments
                .iter()
                .map(|row| {
                    let truth = truth.segment_at_20c(bed.fixture.board.segment_named(&row.name).unwrap());
                    (row.at_20c.unwrap() - truth).abs() <= row.u95.unwrap()
                })
                .collect::<Vec<_>>()
        })
        .concat();
        let share = inside.iter().filter(|&&inside| inside).count() as f64 / inside.len() as f64;
        println!("{celsius} °C: {} values at 20 °C, {:.2} % covered", inside.len(), 100.0 * share);
        assert!(share >= 0.95, "{celsius} °C: {share}");
    }
}

#[test]
fn good_units_raise_no_alarm() {
    let beds = Bed::examples(Sampling::Quick);
    let sweeps = in_parallel(times(400, 1000), |number| {
        let (sweep, _) = beds[number % beds.len()].sweep(&Spec::new(number as u64));
        (sweep.judgement.verdict, sweep.measurement.work().device_us, sweep.judgement.segments.len())
    });
    let count = |verdict| sweeps.iter().filter(|(v, ..)| *v == verdict).count();
    let slowest = sweeps.iter().filter(|(.., segments)| *segments == 12).map(|(_, us, _)| *us).max().unwrap();
    println!(
        "good: {} pass, {} fail, {} unproven, {} void; slowest 12-segment sweep {:.0} ms of device time",
        count(Verdict::Pass),
        count(Verdict::Fail),
        count(Verdict::Unproven),
        count(Verdict::Void),
        slowest as f64 / 1e3
    );
    assert!(count(Verdict::Fail) <= 1);
    assert_eq!(count(Verdict::Void), 0);
    assert!(count(Verdict::Unproven) <= 1, "a good unit is proven good");
    // The waits for the load current to go and for the reversal are a fifth of it.
    assert!(slowest <= 600_000);
}

/// Is this place named, and nothing else more probable?
fn named_first(sweep: &Sweep, place: &str) -> bool {
    sweep.judgement.faults.first().is_some_and(|fault| fault.place == place)
}

#[test]
fn single_faults_are_named() {
    let beds = Bed::examples(Sampling::Quick);
    let every: Vec<(usize, SegmentId)> = beds
        .iter()
        .enumerate()
        .flat_map(|(bed, b)| b.fixture.board.segment_ids().map(move |id| (bed, id)))
        .collect();
    let outcomes = in_parallel(times(400, 1000), |number| {
        let (bed, id) = every[number % every.len()];
        let bed = &beds[bed];
        let (segment, limits) = (bed.fixture.board.segment(id), bed.plan.limits.of(id));
        // Open, twice the limit, and further above it, in turn over every segment.
        let fault = match (number / every.len()) % 4 {
            0 => "open".to_owned(),
            1 => format!("{} ohm", 2.0 * limits.max.0),
            2 => format!("{} ohm", 6.0 * limits.max.0),
            _ => "330 ohm".to_owned(),
        };
        let spec = Spec::new(number as u64).fault(format!("{}={fault}", segment.name));
        let (sweep, _) = bed.sweep(&spec);
        let named = named_first(&sweep, &segment.name)
            && sweep.judgement.faults[1..].iter().all(|f| f.probability < 0.5);
        if !named || sweep.judgement.verdict != Verdict::Fail {
            println!(
                "{} {}={fault}: {:?} {:?} {:?}",
                bed.fixture.board.name,
                segment.name,
                sweep.judgement.verdict,
                sweep.judgement.bench_faults,
                sweep.judgement.faults
            );
        }
        (sweep.judgement.verdict, named)
    });
    let passed = outcomes.iter().filter(|(verdict, _)| *verdict == Verdict::Pass).count();
    let void = outcomes.iter().filter(|(verdict, _)| *verdict == Verdict::Void).count();
    let named = outcomes.iter().filter(|(_, named)| *named).count();
    println!("one fault: {passed} pass, {void} void, {named} of {} named", outcomes.len());
    assert_eq!((passed, void), (0, 0));
    assert!(named * 1000 >= 995 * outcomes.len());
}

#[test]
fn three_hundred_double_faults_are_named_where_both_can_be_reached() {
    let beds = Bed::examples(Sampling::Quick);
    // What an open hides, as `plan` tells it beforehand.
    let hidden: Vec<Vec<plan::Hidden>> =
        beds.iter().map(|bed| plan::hidden(&bed.plan, &bed.fixture)).collect();
    let hides = |bed: usize, open: SegmentId, other: SegmentId| {
        hidden[bed].iter().any(|item| item.open == open && item.hides.contains(&other))
    };
    let outcomes = in_parallel(300, |number| {
        let mut cases = Cases::new(number as u64 + 0xD0B1E);
        let (bed, a, b, open) = loop {
            let bed = (cases.unit() * beds.len() as f64) as usize;
            let ids: Vec<_> = beds[bed].fixture.board.segment_ids().collect();
            let mut draw = || ids[(cases.unit() * ids.len() as f64) as usize];
            let (a, b) = (draw(), draw());
            let open = [cases.unit() < 0.5, cases.unit() < 0.5];
            let blind = (open[0] && hides(bed, a, b)) || (open[1] && hides(bed, b, a));
            if a != b && !blind {
                break (bed, a, b, open);
            }
        };
        let bed = &beds[bed];
        let mut spec = Spec::new(number as u64);
        for (id, open) in [a, b].into_iter().zip(open) {
            let segment = bed.fixture.board.segment(id);
            spec = spec.fault(if open {
                format!("{}=open", segment.name)
            } else {
                format!("{}={} ohm", segment.name, 2.5 * bed.plan.limits.of(id).max.0)
            });
        }
        let (sweep, _) = bed.sweep(&spec);
        let named =
            [a, b].iter().all(|&id| sweep.judgement.faults.iter().any(|fault| fault.place == bed.name(id)));
        if !named {
            println!("{:?}: {:?} {:?}", spec.faults, sweep.judgement.verdict, sweep.judgement.faults);
        }
        (sweep.judgement.verdict, named)
    });
    let passed = outcomes.iter().filter(|(verdict, _)| *verdict == Verdict::Pass).count();
    let named = outcomes.iter().filter(|(_, named)| *named).count();
    println!("two faults: {passed} pass, {named} of {} name both", outcomes.len());
    assert_eq!(passed, 0);
    assert!(named * 100 >= 95 * outcomes.len());
}

#[test]
fn bench_faults_void_the_sweep_and_name_the_part() {
    let beds = Bed::examples(Sampling::Quick);
    let mut cases: Vec<(usize, String, String)> = Vec::new();
    for (at, bed) in beds.iter().enumerate() {
        for (pins, point) in bed.fixture.pins.iter().zip(&bed.fixture.board.points) {
            let mut add = |line: &str, what: &str| {
                cases.push((at, point.name.clone(), format!("{}:{line}={what}", point.name)));
            };
            if pins.sense.is_some() {
                for (line, what) in
                    [("sense", "5 kohm"), ("sense", "open"), ("sense+", "welded"), ("sense-", "welded")]
                {
                    add(line, what);
                }
            }
            if pins.force.is_some() {
                for (line, what) in [
                    ("force", "5 kohm"),
                    ("force", "40 ohm"),
                    ("force", "open"),
                    ("force+", "welded"),
                    ("force-", "welded"),
                ] {
                    add(line, what);
                }
            }
        }
    }
    let wrong: Vec<String> = in_parallel(cases.len(), |number| {
        let (bed, point, fault) = &cases[number];
        let (sweep, _) = beds[*bed].sweep(&Spec::new(number as u64).fault(fault.clone()));
        let named =
            sweep.judgement.bench_faults.iter().any(|fault| fault.part.contains(&format!("pin {point}")));
        let clean = sweep.judgement.faults.is_empty()
            && sweep.judgement.segments.iter().all(|row| row.verdict == Verdict::Void);
        // A force pin that this plan never closes cannot be missed.
        (sweep.judgement.verdict != Verdict::Void || !named || !clean).then(|| {
            format!(
                "{fault}: {:?} {:?} {:?}",
                sweep.judgement.verdict, sweep.judgement.bench_faults, sweep.judgement.faults
            )
        })
    })
    .into_iter()
    .flatten()
    .collect();
    // A pin that the plan of a good unit does not use may be anything: that unit passes, it never fails.
    let unused: Vec<_> = wrong.iter().filter(|text| text.contains(": Pass []")).collect();
    println!(
        "bench faults: {} of {} void with the part named; {} in parts not used",
        cases.len() - wrong.len(),
        cases.len(),
        unused.len()
    );
    wrong.iter().filter(|text| !unused.contains(text)).for_each(|text| println!("{text}"));
    assert_eq!(wrong.len(), unused.len());
    assert!(unused.iter().all(|text| text.contains(":force")), "{unused:?}");
}

#[test]
fn relays_that_never_close_are_named_where_they_are_used() {
    let beds = Bed::examples(Sampling::Quick);
    let mut named = 0;
    for (bed, seed) in beds.iter().zip(40..) {
        let points = bed.fixture.board.points.len();
        let outcomes = in_parallel(4 * points, |number| {
            let (point, line) = (number / 4, ["sense+", "sense-", "force+", "force-"][number % 4]);
            let pins = bed.fixture.pins[point];
            let there = if line.starts_with("sense") { pins.sense } else { pins.force };
            there?;
            let name = &bed.fixture.board.points[point].name;
            let (sweep, _) = bed.sweep(&Spec::new(seed).fault(format!("{name}:{line}=never closes")));
            assert!(
                matches!(sweep.judgement.verdict, Verdict::Pass | Verdict::Void),
                "{name}:{line} {:?}",
                sweep.judgement.faults
            );
            if sweep.judgement.verdict == Verdict::Pass {
                return None;
            }
            let part = &sweep.judgement.bench_faults[0].part;
            assert!(
                part.starts_with(&format!("relay {line} ")) && part.contains(&format!("pin {name})")),
                "{name}:{line} {part}"
            );
            Some(())
        });
        named += outcomes.iter().flatten().count();
    }
    println!("relays that never close: {named} named, none booked on a unit");
    assert!(named > 100);
}

#[test]
fn what_the_trade_knows_holds() {
    // Common practice. A healthy slide switch reads well under an ohm, hundreds of ohms mean a dirty one, an open one
    // must read open; of two vias in parallel one alone still carries the path.
    let bed = Bed::example("tide-gauge-head", Sampling::Quick);
    let row = |sweep: &Sweep, name: &str| {
        sweep.judgement.segments.iter().find(|row| row.name == name).unwrap().clone()
    };

    let (good, _) = bed.sweep(&Spec::new(5));
    assert!(row(&good, "power switch").resistance.unwrap() < Ohms(0.7));
    let open = good.judgement.isolation.iter().find(|row| row.is_switch).unwrap();
    assert!(open.at_least.unwrap() > Ohms(100e3) && open.state == bed.fixture.board.states[0].name);

    let (dirty, _) = bed.sweep(&Spec::new(5).fault("power switch=film"));
    let switch = row(&dirty, "power switch");
    assert!(
        (100.0..1000.0).contains(&switch.resistance.unwrap().0) && switch.class == Class::Film,
        "{switch:?}"
    );
    assert_eq!(dirty.judgement.verdict, Verdict::Fail);

    let (single, _) = bed.sweep(&Spec::new(5).fault("via pair 2=one barrel open"));
    assert_eq!(single.judgement.verdict, Verdict::Pass);
    assert_eq!(row(&single, "via pair 2").class, Class::RedundancyLost);
    assert!(single.judgement.faults.iter().any(|fault| fault.class == Class::RedundancyLost));
}

#[test]
fn shorts_leaks_and_flicker_are_told_apart() {
    let bed = Bed::example("tide-gauge-head", Sampling::Quick);
    for (fault, place, class) in [
        ("reg.in~cell-=2 ohm", "reg.in~cell-", Class::Shorted),
        ("reg.in~cell-=6 kohm", "reg.in~cell-", Class::Leaky),
        ("cell+~cell-=20 kohm", "cell+~cell-", Class::Leaky),
        ("sw.in~sw.out=30 kohm", "power switch", Class::Leaky),
        ("cell terminal joint=flaky", "cell terminal joint", Class::Flaky),
        ("cell fuse=20 mohm", "cell fuse", Class::Low),
        ("input ferrite=open", "input ferrite", Class::Open),
        ("tail trace=5 ohm", "tail trace", Class::High),
    ] {
        for seed in 0..8 {
            let (sweep, _) = bed.sweep(&Spec::new(seed).fault(fault));
            assert_eq!(sweep.judgement.verdict, Verdict::Fail, "{fault}, seed {seed}");
            assert!(named_first(&sweep, place), "{fault}, seed {seed}: {:?}", sweep.judgement.faults);
            assert_eq!(sweep.judgement.faults[0].class, class, "{fault}, seed {seed}");
        }
    }
}

#[test]
fn a_live_unit_is_never_excited() {
    let bed = Bed::example("tide-gauge-head", Sampling::Quick);
    let (battery, _) = bed.sweep(&Spec::new(1).fault("battery=3.0 V"));
    assert_eq!(battery.judgement.verdict, Verdict::Void);
    assert!(
        battery.judgement.bench_faults[0].what.contains("take the battery out"),
        "{:?}",
        battery.judgement.bench_faults
    );
    // A charged capacitor is bled first, and then the unit is swept like any other.
    let (charged, _) = bed.sweep(&Spec::new(1).fault("charge=5 V"));
    assert_eq!(charged.judgement.verdict, Verdict::Pass, "{:?}", charged.judgement.bench_faults);
}

#[test]
fn a_standard_that_is_off_voids_every_sweep() {
    for bed in Bed::examples(Sampling::Quick) {
        let (sweep, _) = bed.sweep(&Spec::new(3).fault("1R=1 %"));
        assert_eq!(sweep.judgement.verdict, Verdict::Void);
        assert!(
            sweep.judgement.bench_faults.iter().any(|fault| fault.part == "standard 1R"),
            "{:?}",
            sweep.judgement.bench_faults
        );
    }
}

#[test]
fn stored_codes_judge_the_same_again() {
    for (board, fault) in [
        ("trail-counter", "single via=open"),
        ("tide-gauge-head", "power switch=film"),
        ("tide-gauge-head", "cell+:sense=open"),
        ("greenhouse-valve-driver", "valve plug=flaky"),
    ] {
        let bed = Bed::example(board, Sampling::Quick);
        let (sweep, _) = bed.sweep(&Spec::new(11).fault(fault));
        let again = judge::judge(&bed.fixture, &bed.plan.limits, &bed.plan, &sweep.measurement).unwrap();
        assert_eq!(again, sweep.judgement, "{fault}");
    }
}
