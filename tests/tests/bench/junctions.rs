//! Diodes, transistors without power, and junctions in a unit's insulation, swept on the modelled bench.

use copperwalk::{
    plan::Sampling,
    sweep::{IsolationRow, SegmentRow, Sweep},
    verdict::{Class, Verdict},
    virtual_bench::Spec,
};
use copperwalk_tests::{
    boards::buoy_lamp,
    campaign::{Bed, in_parallel},
};

fn bed() -> Bed {
    Bed::new(buoy_lamp("22 uH").unwrap(), Sampling::Quick)
}

fn sweep(faults: &[&str], seed: u64) -> Sweep {
    let spec = faults.iter().fold(Spec::new(seed), |spec, fault| spec.fault(*fault));
    bed().sweep(&spec).0
}

fn row<'s>(sweep: &'s Sweep, name: &str) -> &'s SegmentRow {
    sweep.judgement.segments.iter().find(|row| row.name == name).unwrap()
}

fn insulation(sweep: &Sweep) -> &IsolationRow {
    &sweep.judgement.isolation[0]
}

#[test]
fn good_units_pass_and_name_what_the_first_power_up_has_to_show() {
    let sweeps = in_parallel(40, |seed| sweep(&[], seed as u64));
    for sweep in sweeps {
        let judgement = &sweep.judgement;
        assert_eq!(judgement.verdict, Verdict::Pass, "{judgement:#?}");
        let diode = row(&sweep, "blocking diode");
        assert_eq!((diode.verdict, diode.class), (Verdict::Pass, Class::Ok), "{diode:?}");
        let transistor = row(&sweep, "reverse guard");
        assert_eq!(
            (transistor.verdict, transistor.class),
            (Verdict::Unproven, Class::NotJudgedUnpowered),
            "{transistor:?}"
        );
        assert!(transistor.reason.as_ref().unwrap().starts_with("Not judged unpowered: "), "{transistor:?}");
        assert!(
            judgement.notes.iter().any(|note| note.contains("at the first power-up")),
            "{:?}",
            judgement.notes
        );
        // Everything beside and between the two is read.
        for name in ["cell trace", "main fuse", "choke", "lamp trace"] {
            assert_eq!(row(&sweep, name).verdict, Verdict::Pass, "{:?}", row(&sweep, name));
        }
    }
}

#[test]
fn broken_diodes_and_transistors_are_named() {
    for (fault, name, class) in [
        ("blocking diode=open", "blocking diode", Class::Open),
        ("choke.out~d.out=0.05 ohm", "blocking diode", Class::Shorted),
        ("choke.out~d.out=5 kohm", "blocking diode", Class::Leaky),
        ("blocking diode=6 ohm", "blocking diode", Class::High),
        ("reverse guard=open", "reverse guard", Class::Open),
        ("q.in~q.out=0.1 ohm", "reverse guard", Class::Shorted),
        ("lamp trace=open", "lamp trace", Class::Open),
        ("main fuse=2 ohm", "main fuse", Class::High),
    ] {
        for seed in 0..6 {
            let sweep = sweep(&[fault], seed);
            let (judgement, row) = (&sweep.judgement, row(&sweep, name));
            assert_eq!((row.verdict, row.class), (Verdict::Fail, class), "{fault}, {seed}: {row:?}");
            assert_eq!(judgement.verdict, Verdict::Fail);
            let first = &judgement.faults[0];
            assert_eq!(
                (first.place.as_str(), first.class),
                (name, class),
                "{fault}, {seed}: {:?}",
                judgement.faults
            );
        }
    }
}

/// A force pin that does not touch leaves nothing known of the diode, and is never the diode's fault.
#[test]
fn a_missing_force_contact_is_no_open_diode() {
    for fault in ["choke.out:force=open", "d.out:force=open"] {
        let sweep = sweep(&[fault], 3);
        let row = row(&sweep, "blocking diode");
        assert_ne!(row.verdict, Verdict::Fail, "{fault}: {row:?} {:?}", sweep.judgement.bench_faults);
        assert_ne!(sweep.judgement.verdict, Verdict::Pass, "{fault}");
    }
}

#[test]
fn a_semiconductor_in_the_insulation_is_a_junction_and_no_leak() {
    for (faults, verdict, class) in [
        // Forward for the reading, backwards for it, and both ways at once.
        (&["lamp.in~cell-=schottky"][..], Verdict::Unproven, Class::Junction),
        (&["cell-~lamp.in=schottky"], Verdict::Pass, Class::Ok),
        (&["lamp.in~cell-=schottky", "cell-~lamp.in=schottky"], Verdict::Unproven, Class::Junction),
        (&["lamp.in~cell-=5 kohm"], Verdict::Fail, Class::Leaky),
        (&["lamp.in~cell-=10 ohm"], Verdict::Fail, Class::Shorted),
        // A leak beside a junction is a leak both ways.
        (&["lamp.in~cell-=5 kohm", "cell-~lamp.in=silicon"], Verdict::Fail, Class::Leaky),
        (&["lamp.in~cell-=silicon", "cell-~lamp.in=silicon"], Verdict::Pass, Class::Ok),
    ] {
        for seed in 0..4 {
            let sweep = sweep(faults, seed);
            let found = insulation(&sweep);
            assert_eq!((found.verdict, found.class), (verdict, class), "{faults:?}, {seed}: {found:?}");
            assert_eq!(found.reason.is_some(), verdict == Verdict::Unproven, "{found:?}");
            assert_eq!(sweep.judgement.verdict, verdict, "{faults:?}, {seed}");
        }
    }
}

#[test]
fn a_board_file_may_say_that_good_units_have_a_junction_there() {
    let (board, fixture) = copperwalk_tests::boards::buoy_lamp_text("22 uH");
    let board = board.replace("min = \"20 kohm\"", "min = \"20 kohm\"\njunction = true");
    let board = copperwalk::board::parse("board.toml", &board).unwrap();
    let fixture = copperwalk::fixture::parse("fixture.toml", &fixture, board).unwrap();
    let bed = Bed::new(fixture, Sampling::Quick);
    for (fault, verdict, class) in [
        ("lamp.in~cell-=schottky", Verdict::Pass, Class::Junction),
        ("lamp.in~cell-=5 kohm", Verdict::Fail, Class::Leaky),
    ] {
        let (sweep, _) = bed.sweep(&Spec::new(2).fault(fault));
        let found = insulation(&sweep);
        assert_eq!((found.verdict, found.class), (verdict, class), "{fault}: {found:?}");
        assert_eq!(sweep.judgement.verdict, verdict);
    }
}
