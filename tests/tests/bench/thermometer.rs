//! The thermometer of a bed: what it is worth where bed and meter differ, and what becomes of a sweep without it.

use copperwalk::{
    job::Subject,
    judge::judge,
    plan::Sampling,
    quantity::Celsius,
    sweep::Sweep,
    verdict::Verdict,
    virtual_bench::{Parts, Spec, Truth},
};
use copperwalk_tests::{
    attack::times,
    campaign::{Bed, in_parallel},
};

/// The example whose bed has a thermometer, and the same without. Its pins stand on their points: on short copper, where they stand
/// would hide what temperature does.
fn beds() -> [Bed; 2] {
    let mut with = Bed::example("trail-counter", Sampling::Quick).fixture;
    with.pins.iter_mut().for_each(|pins| pins.off_mm = 0.0);
    let mut without = with.clone();
    without.thermometers.clear();
    [with, without].map(|fixture| Bed::new(fixture, Sampling::Quick))
}

/// Of each piece of copper: is the truth inside its interval, and how wide is that over the value?
fn copper(bed: &Bed, sweep: &Sweep, truth: &Truth) -> Vec<(bool, f64)> {
    let board = &bed.fixture.board;
    let rows = sweep.judgement.segments.iter();
    rows.filter_map(|row| {
        let id = board.segment_named(&row.name).filter(|id| board.segment(*id).kind.is_copper())?;
        let (read, u95) = (row.at_20c?, row.u95?);
        Some(((read - truth.segment_at_20c(id)).abs() <= u95, u95 / read))
    })
    .collect()
}

/// A bed that stands three kelvin above the meter, and on it a unit within a kelvin of the bed, on benches whose every part is at its
/// worst.
#[test]
fn a_warm_bed_is_no_error_where_a_thermometer_reads_it() {
    let beds = beds();
    let [with, without] = [0, 1].map(|which| {
        let bed = &beds[which];
        let seen: Vec<(bool, f64)> = in_parallel(times(60, 1_000), |number| {
            let spec = Spec { parts: Parts::Hostile, ..Spec::new(number as u64) }.fault("bed=+3 K");
            let (sweep, truth) = bed.sweep(&spec);
            copper(bed, &sweep, &truth)
        })
        .into_iter()
        .flatten()
        .collect();
        let share = seen.iter().filter(|(inside, _)| *inside).count() as f64 / seen.len() as f64;
        let mut widths: Vec<f64> = seen.iter().map(|(_, width)| *width).collect();
        widths.sort_by(f64::total_cmp);
        let middle = widths[widths.len() / 2];
        println!(
            "{} thermometers: {} values, {:.1} % covered, ±{:.2} % in the middle",
            1 - which,
            seen.len(),
            100.0 * share,
            100.0 * middle
        );
        (share, middle)
    });
    assert!(with.0 >= 0.95, "{with:?}");
    assert!(without.0 < with.0 && with.1 < without.1, "{with:?} {without:?}");
}

#[test]
fn a_reading_says_which_thermometer_it_stands_on() {
    let [bed, _] = beds();
    for celsius in [10.0, 23.0, 37.0] {
        let (sweep, _) = bed.sweep(&Spec { air: Celsius(celsius), ..Spec::new(5) });
        let [row] = &sweep.judgement.thermometers[..] else { panic!("{:?}", sweep.judgement.thermometers) };
        let (read, u95) = (row.temperature.unwrap().0, row.u95_kelvin.unwrap());
        assert!((read - celsius).abs() <= u95 && u95 < 0.8, "{celsius} °C: {row:?}");
        assert!(row.counts && row.name == "plate");
    }
}

/// The meter's own sensor stands in: the unit passes with wider intervals, and a note names the thermometer.
#[test]
fn a_broken_thermometer_costs_width_and_no_sweep() {
    let [bed, without] = beds();
    let (bare, truth) = without.sweep(&Spec::new(7));
    let expected = copper(&without, &bare, &truth);
    for fault in ["plate=open", "plate=short", "plate=+70 K"] {
        let (sweep, truth) = bed.sweep(&Spec::new(7).fault(fault));
        assert_eq!(sweep.judgement.verdict, Verdict::Pass, "{fault}: {:?}", sweep.judgement.bench_faults);
        let [row] = &sweep.judgement.thermometers[..] else { panic!("{fault}") };
        assert!(!row.counts && row.temperature.is_none(), "{fault}: {row:?}");
        let notes = &sweep.judgement.notes;
        assert!(
            notes.iter().any(|note| note.starts_with("thermometer plate is not counted")),
            "{fault}: {notes:?}"
        );
        for ((inside, width), (_, bare)) in copper(&bed, &sweep, &truth).into_iter().zip(&expected) {
            assert!(inside && (width / bare - 1.0).abs() < 0.1, "{fault}: {width} instead of {bare}");
        }
    }
}

#[test]
fn a_thermometer_that_contradicts_the_meters_sensor_voids_the_sweep() {
    let [bed, _] = beds();
    for (fault, void) in
        [("plate=+4 K", false), ("plate=+6 K", true), ("plate=-6 K", true), ("bed=+6 K", true)]
    {
        let (sweep, _) = bed.sweep(&Spec::new(8).fault(fault));
        let judgement = &sweep.judgement;
        assert_eq!(judgement.verdict == Verdict::Void, void, "{fault}: {:?}", judgement.bench_faults);
        assert!(judgement.faults.is_empty(), "{fault}: nothing is booked on the unit");
        assert_eq!(
            judgement.bench_faults.iter().any(|found| found.part == "thermometer plate"),
            void,
            "{fault}"
        );
    }
}

/// A unit that is swept while it is warm from the iron: its intervals hold, the sweep says to let it rest, and judging it again says
/// the same.
#[test]
fn a_unit_warm_from_a_repair_is_stated_with_wider_intervals() {
    for bed in beds() {
        for (minutes, kelvin, noted) in
            [(0.5, 15.0, true), (2.0, 8.0, true), (8.0, 1.0, true), (20.0, 0.0, false)]
        {
            let started_us = 3_600_000_000;
            let repaired_us = Some(started_us - (60e6 * minutes) as i64);
            let subject = Subject { repaired_us, ..Subject::new("warm", None, started_us) };
            let spec = Spec::new(11).fault(format!("unit=+{kelvin} K"));
            let (sweep, truth) = bed.sweep_of(subject, &spec, None);
            for (inside, width) in copper(&bed, &sweep, &truth) {
                assert!(inside, "{minutes} min, +{kelvin} K: ±{:.1} %", 100.0 * width);
            }
            let notes = &sweep.judgement.notes;
            assert_eq!(
                notes.iter().any(|note| note.contains("let it rest")),
                noted,
                "{minutes} min: {notes:?}"
            );
            let again = judge(&bed.fixture, &bed.plan.limits, &bed.plan, &sweep.measurement).unwrap();
            assert_eq!(again, sweep.judgement);
        }
    }
}
