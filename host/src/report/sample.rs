//! An invented board and invented sweeps of it, for the tests of every report. Nothing here was measured.

use copperwalk_wire::{Contacts, Gain, Input, Method, Shot, Source};

use crate::board::{
    Board, Expected, Isolation, LimitOrigin, Limits, Point, PointId, PointKind, Segment, SegmentKind, Side,
    State, StateId, Supply,
};
use crate::plan::Role;
use crate::records::summary::{
    Counts, Event, LotSummary, Note, ParetoRow, PastSweep, Place, Repair, SweepId, UnitHistory, UnitState,
};
use crate::sweep::{
    Advice, Basis, BenchFault, BenchWork, Class, ClosureRow, Fault, IsolationRow, Run, RunShot, SegmentRow,
    StandardRow, Sweep, Verdict,
};

/// A serial number nobody should be able to do harm with.
pub const NASTY: &str = "<script>alert('x')</script>\"&/../\u{1b}[31m\u{202e}日本語";

/// A tide gauge head with a lamp branch: both sides, vias, a switch, two loads.
pub fn board() -> Board {
    use PointKind::{Leg, Pad, Terminal, Via};
    use Side::{Back, Both, Front};
    let points: [(&str, [f64; 2], Side, PointKind); 13] = [
        ("cell+", [6.0, 31.0], Back, Terminal),
        ("cell-", [6.0, 9.0], Back, Terminal),
        ("via.a", [16.0, 31.0], Both, Via),
        ("via.b", [16.0, 31.0], Both, Via),
        ("fuse.in", [22.0, 31.0], Front, Pad),
        ("fuse.out", [28.0, 31.0], Front, Pad),
        ("sw.in", [36.0, 34.0], Both, Leg),
        ("sw.out", [42.0, 34.0], Both, Leg),
        ("rail", [42.0, 24.0], Front, Pad),
        ("reg.in", [54.0, 24.0], Front, Pad),
        ("bead.in", [42.0, 14.0], Front, Pad),
        ("bead.out", [48.0, 14.0], Front, Pad),
        ("lamp+", [59.0, 6.0], Back, Terminal),
    ];
    let trace = |length_mm, width_mm| SegmentKind::Trace { length_mm, width_mm };
    let segments: [(&str, SegmentKind, &str, &str, f64, f64); 11] = [
        ("tail trace", trace(10.0, 1.2), "cell+", "via.a", 4.1e-3, 20e-3),
        (
            "via pair",
            SegmentKind::Via { count: 2, drill_mm: 0.3, plating_um: 20.0 },
            "via.a",
            "via.b",
            0.69e-3,
            2.5e-3,
        ),
        ("fuse feed", trace(6.0, 1.0), "via.b", "fuse.in", 2.9e-3, 15e-3),
        ("fuse", SegmentKind::Fuse { rating_amps: Some(0.5) }, "fuse.in", "fuse.out", 0.21, 0.4),
        ("switch feed", trace(8.6, 1.0), "fuse.out", "sw.in", 4.2e-3, 15e-3),
        ("power switch", SegmentKind::Switch, "sw.in", "sw.out", 0.03, 1.0),
        ("rail drop", trace(10.0, 1.5), "sw.out", "rail", 3.3e-3, 15e-3),
        ("regulator feed", trace(12.0, 1.0), "rail", "reg.in", 5.9e-3, 20e-3),
        ("lamp feed", trace(10.0, 0.6), "rail", "bead.in", 8.2e-3, 25e-3),
        ("bead", SegmentKind::Ferrite, "bead.in", "bead.out", 0.06, 0.15),
        ("lamp wire", SegmentKind::Wire { length_mm: 60.0, awg: 28 }, "bead.out", "lamp+", 12.8e-3, 40e-3),
    ];
    let id = |name: &str| PointId(points.iter().position(|p| p.0 == name).unwrap());
    Board {
        name: "tide gauge head (invented)".to_owned(),
        revision: "B".to_owned(),
        thickness_mm: 1.6,
        copper_um: 35.0,
        outline: vec![[0.0, 0.0], [64.0, 0.0], [64.0, 34.0], [58.0, 40.0], [0.0, 40.0]],
        supply: Supply {
            from: id("cell+"),
            to: vec![id("reg.in"), id("lamp+")],
            ret: id("cell-"),
            voltage: [2.0, 3.2],
            load_amps: 0.12,
            max_drop_volts: 0.15,
            bulk_farads: 47e-6,
        },
        states: ["off", "on"]
            .map(|name| State { name: name.to_owned(), prompt: format!("Slide the power switch to {name}") })
            .to_vec(),
        points: points
            .iter()
            .map(|(name, at, side, kind)| Point {
                name: (*name).to_owned(),
                at: *at,
                side: *side,
                kind: *kind,
            })
            .collect(),
        segments: segments
            .iter()
            .map(|(name, kind, from, to, typical_ohms, max_ohms)| Segment {
                name: (*name).to_owned(),
                kind: kind.clone(),
                from: id(from),
                to: id(to),
                closed: (*kind == SegmentKind::Switch).then(|| vec![StateId(1)]),
                expected: Expected { typical_ohms: *typical_ohms, high_ohms: typical_ohms * 1.4 },
                limits: Limits {
                    min_ohms: matches!(kind, SegmentKind::Fuse { .. }).then_some(0.1),
                    max_ohms: *max_ohms,
                    origin: match kind {
                        SegmentKind::Trace { .. } => LimitOrigin::Derived,
                        _ => LimitOrigin::Stated,
                    },
                },
                open_min_ohms: (*kind == SegmentKind::Switch).then_some(100e3),
            })
            .collect(),
        isolation: vec![Isolation { between: [id("reg.in"), id("cell-")], min_ohms: 5e3, state: StateId(1) }],
        source: String::new(),
        hash: "3f1c".repeat(16),
    }
}

/// A unit without a fault.
pub fn good() -> Sweep {
    let board = board();
    let isolation = |name: &str, between: [&str; 2], is_switch, state: &str, min_ohms| IsolationRow {
        name: name.to_owned(),
        between: between.map(str::to_owned),
        is_switch,
        state: state.to_owned(),
        ohms: None,
        u95_ohms: None,
        at_least_ohms: Some(212_000.0),
        min_ohms,
        verdict: Verdict::Pass,
        class: Class::Ok,
        still_charging: false,
    };
    Sweep {
        serial: "TG-0042".to_owned(),
        lot: Some("spring clear-out".to_owned()),
        basis: Basis {
            board: board.name.clone(),
            revision: board.revision.clone(),
            board_hash: board.hash.clone(),
            fixture: "tide gauge bed 1".to_owned(),
            fixture_hash: "a07e".repeat(16),
            plan_hash: "5bd2".repeat(16),
        },
        started_us: 1_790_000_000_000_000,
        bench_name: "virtual bench, seed 7".to_owned(),
        celsius: Some(23.1),
        verdict: Verdict::Pass,
        bench_faults: vec![],
        segments: board.segments.iter().map(healthy).collect(),
        isolation: vec![
            isolation("power switch", ["sw.in", "sw.out"], true, "off", 100e3),
            isolation("reg.in~cell-", ["reg.in", "cell-"], false, "on", 5e3),
        ],
        standards: vec![StandardRow {
            name: "1R".to_owned(),
            stated_ohms: 1.0,
            tolerance: 0.001,
            ohms: Some(1.000_21),
            u95_ohms: Some(0.000_64),
            verdict: Verdict::Pass,
        }],
        closures: vec![ClosureRow {
            from: "cell+".to_owned(),
            to: "reg.in".to_owned(),
            whole_ohms: 0.261_1,
            sum_ohms: 0.261_0,
            u95_ohms: 0.000_4,
            agrees: true,
        }],
        faults: vec![],
        notes: vec![],
        bench: BenchWork { shots: 23, closures: 31, device_us: 412_386 },
        runs: ["off", "on"].map(run).to_vec(),
    }
}

fn healthy(segment: &Segment) -> SegmentRow {
    let typical = segment.expected.typical_ohms;
    let warm = if segment.kind.is_copper() { 1.0122 } else { 1.0 };
    SegmentRow {
        name: segment.name.clone(),
        kind: segment.kind.word().to_owned(),
        state: "on".to_owned(),
        ohms: Some(typical * 1.03 * warm),
        ohms_20c: Some(typical * 1.03),
        u95_ohms: Some(20e-6 + typical * 0.0021),
        min_ohms: segment.limits.min_ohms,
        max_ohms: segment.limits.max_ohms,
        limit_derived: segment.limits.origin == LimitOrigin::Derived,
        typical_ohms: typical,
        verdict: Verdict::Pass,
        class: Class::Ok,
    }
}

fn run(state: &str) -> Run {
    let shot = |role, source, codes: &[i32], from_us| RunShot {
        role,
        shot: Shot {
            contacts: Contacts {
                force_plus: Some(0),
                force_minus: Some(1),
                sense_plus: Some(0),
                sense_minus: Some(1),
            },
            source,
            method: Method::Look {
                input: Input::Sense,
                reversed: false,
                burnout: false,
                gain: Gain::X16,
                rate: copperwalk_wire::Rate::Sps1000,
                count: 4,
            },
        },
        codes: codes.to_vec(),
        from_us,
        to_us: from_us + 9_000,
    };
    Run {
        state: state.to_owned(),
        purpose: "walk".to_owned(),
        shots: vec![
            shot(Role::Residual, Source::Off, &[120, 118, 119, 121], 0),
            shot(Role::Insulation(0), Source::Load, &[80_120, 80_118, 80_119, 80_121], 12_000),
        ],
    }
}

fn set(sweep: &mut Sweep, name: &str, ohms: Option<f64>, verdict: Verdict, class: Class) {
    let row = sweep.segments.iter_mut().find(|row| row.name == name).unwrap();
    row.ohms = ohms;
    row.ohms_20c = ohms;
    row.u95_ohms = ohms.map(|r| 20e-6 + r * 0.0024);
    row.verdict = verdict;
    row.class = class;
}

fn fault(place: &str, class: Class, probability: f64, advice: [&str; 3]) -> Fault {
    let [cause, repair, caution] = advice.map(str::to_owned);
    Fault { place: place.to_owned(), class, probability, advice: Advice { cause, repair, caution } }
}

/// The via pair is open and hides nothing, because its neighbours can be forced.
pub fn open_via() -> Sweep {
    let mut sweep = good();
    sweep.verdict = Verdict::Fail;
    set(&mut sweep, "via pair", None, Verdict::Fail, Class::Open);
    sweep.faults = vec![fault(
        "via pair",
        Class::Open,
        0.993,
        [
            "Plating that cracked or was eaten by leaked electrolyte",
            "Scrape both ends bright, push a thin bare wire through the barrel, solder it on both sides and trim it flush",
            "Do not drill an inner-layer board: the barrel may join planes you cannot see",
        ],
    )];
    sweep.notes = vec!["One closure could not be made: the series is broken at via pair.".to_owned()];
    sweep.closures.clear();
    sweep
}

/// Three things wrong at once, and one remark.
pub fn several() -> Sweep {
    let mut sweep = good();
    sweep.serial = "TG-0057".to_owned();
    sweep.verdict = Verdict::Fail;
    set(&mut sweep, "via pair", Some(1.42e-3), Verdict::Pass, Class::RedundancyLost);
    set(&mut sweep, "power switch", Some(331.0), Verdict::Fail, Class::High);
    set(&mut sweep, "bead", None, Verdict::Unproven, Class::NotReached);
    set(&mut sweep, "lamp wire", Some(0.0403), Verdict::Unproven, Class::Flaky);
    let row = &mut sweep.isolation[1];
    (row.ohms, row.u95_ohms, row.at_least_ohms) = (Some(1830.0), Some(24.0), Some(1806.0));
    (row.verdict, row.class) = (Verdict::Fail, Class::Leaky);
    sweep.faults = vec![
        fault(
            "power switch",
            Class::High,
            0.97,
            [
                "Oxide or dust on a slide contact that was not moved for years",
                "Work it twenty times, then a drop of contact cleaner; replace it if it stays above 1 Ω",
                "Let the cleaner dry before any voltage returns",
            ],
        ),
        fault(
            "reg.in~cell-",
            Class::Leaky,
            0.91,
            [
                "Flux or electrolyte residue between the rail and the return",
                "Wash the area with isopropyl alcohol and a brush, dry it warm, sweep again",
                "Alcohol burns: no iron and no flame until it has gone",
            ],
        ),
        fault(
            "via pair",
            Class::RedundancyLost,
            0.88,
            [
                "One of two barrels no longer conducts",
                "Add a wire through the dead barrel while the board is open",
                "The other one carries the load: no hurry, but do not forget it",
            ],
        ),
    ];
    sweep
}

/// Nothing proven bad, one reading too close to its limit.
pub fn unproven() -> Sweep {
    let mut sweep = good();
    sweep.serial = "TG-0061".to_owned();
    sweep.verdict = Verdict::Unproven;
    set(&mut sweep, "bead", Some(0.1499), Verdict::Unproven, Class::Ok);
    sweep
}

/// A dirty pin: nothing known about the unit.
pub fn void() -> Sweep {
    let mut sweep = good();
    sweep.serial = "TG-0063".to_owned();
    sweep.verdict = Verdict::Void;
    sweep.bench_faults = vec![BenchFault {
        part: "pin fuse.in (sense channel 4)".to_owned(),
        what: "it does not touch: clean or replace the pin, look for flux on the pad, then sweep again"
            .to_owned(),
    }];
    for name in ["fuse feed", "fuse"] {
        set(&mut sweep, name, None, Verdict::Void, Class::NotReached);
    }
    sweep
}

/// Everything a person may type, everywhere a person may type it.
pub fn nasty() -> (Sweep, Board) {
    let mut board = board();
    let mut sweep = several();
    sweep.serial = NASTY.to_owned();
    sweep.lot = Some("=HYPERLINK(\"x\")".to_owned());
    sweep.notes = vec![NASTY.to_owned(), "a".repeat(300)];
    board.segments[3].name = "fuse with a name that goes on and on & <b>never</b> \"ends\"".to_owned();
    sweep.segments[3].name = board.segments[3].name.clone();
    board.segments[5].name = "電源スイッチのとても長い名前がここにあります".to_owned();
    sweep.segments[5].name = board.segments[5].name.clone();
    sweep.faults[0].place = board.segments[5].name.clone();
    board.segments[6].name = "Unbrechbar".repeat(9);
    sweep.segments[6].name = board.segments[6].name.clone();
    sweep.segments[2].state = "position with a long name".to_owned();
    (sweep, board)
}

/// What the record store keeps of a sweep for `unit`.
fn past(id: i64, sweep: Sweep) -> Event {
    Event::Sweep(Box::new(PastSweep {
        id: SweepId(id),
        lot: sweep.lot,
        basis: sweep.basis,
        started_us: sweep.started_us + id * 3_600_000_000,
        bench_name: sweep.bench_name,
        celsius: sweep.celsius,
        verdict: sweep.verdict,
        bench_faults: sweep.bench_faults,
        segments: sweep.segments,
        isolation: sweep.isolation,
        standards: sweep.standards,
        closures: sweep.closures,
        faults: sweep.faults,
        notes: sweep.notes,
        bench: sweep.bench,
    }))
}

/// Came in with three faults, was voided once by a dirty pin, repaired, and is good now.
pub fn history() -> UnitHistory {
    let at_us = 1_790_010_000_000_000;
    UnitHistory {
        serial: "TG-0057".to_owned(),
        lot: Some("spring clear-out".to_owned()),
        events: vec![
            past(1, several()),
            Event::Note(Note { at_us, text: "White crust round the regulator.".to_owned() }),
            Event::Repair(Repair {
                at_us,
                place: "power switch".to_owned(),
                action: "clean".to_owned(),
                text: "worked it twenty times, contact cleaner".to_owned(),
            }),
            Event::Repair(Repair {
                at_us,
                place: "reg.in~cell-".to_owned(),
                action: "wash".to_owned(),
                text: String::new(),
            }),
            past(2, void()),
            past(3, good()),
        ],
    }
}

/// Eight units, two of them won back.
pub fn lot() -> LotSummary {
    use Verdict::{Fail, Pass, Unproven, Void};
    let unit = |number: i64, first, now, fault: Option<(&str, Class)>| UnitState {
        serial: format!("TG-{:04}", 40 + number),
        board: "tide gauge head (invented)".to_owned(),
        revision: "B".to_owned(),
        sweeps: if first == now { 1 } else { 2 },
        repairs: u32::from(first != now),
        first,
        now,
        last_sweep: SweepId(number),
        last_us: 1_790_000_000_000_000 + number * 60_000_000,
        fault: fault.map(|(place, class)| Place { place: place.to_owned(), class }),
    };
    let units = vec![
        unit(1, Pass, Pass, None),
        unit(2, Fail, Fail, Some(("via pair", Class::Open))),
        unit(3, Fail, Pass, None),
        unit(4, Fail, Fail, Some(("via pair", Class::Open))),
        unit(5, Unproven, Unproven, Some(("power switch", Class::Flaky))),
        unit(6, Fail, Pass, None),
        unit(7, Fail, Fail, Some(("reg.in~cell-", Class::Leaky))),
        unit(8, Void, Void, None),
    ];
    let count = |pick: fn(&UnitState) -> Verdict| {
        let mut counts = Counts::default();
        units.iter().for_each(|unit| counts.add(pick(unit)));
        counts
    };
    let row = |place: &str, class, units, still| ParetoRow {
        board: "tide gauge head (invented)".to_owned(),
        place: place.to_owned(),
        class,
        units,
        still,
    };
    LotSummary {
        lot: "spring clear-out".to_owned(),
        first_us: 1_790_000_000_000_000,
        last_us: 1_790_000_480_000_000,
        sweeps: 10,
        void_sweeps: 1,
        first: count(|unit| unit.first),
        now: count(|unit| unit.now),
        pareto: vec![
            row("via pair", Class::Open, 3, 2),
            row("power switch", Class::High, 1, 0),
            row("reg.in~cell-", Class::Leaky, 1, 1),
        ],
        units,
    }
}

/// Writes every report of every sample to `$REPORT_SAMPLES`, to be looked at by eye.
#[test]
#[ignore = "writes files to look at; set REPORT_SAMPLES to a folder"]
fn write_samples() {
    use super::terminal::{Screen, lot as lot_text, sweep as sweep_text, unit as unit_text};
    let folder = std::path::PathBuf::from(std::env::var("REPORT_SAMPLES").unwrap());
    let write = |name: &str, text: String| std::fs::write(folder.join(name), text).unwrap();
    let screen = Screen::PLAIN;
    for (name, of) in [
        ("good", good()),
        ("open", open_via()),
        ("several", several()),
        ("unproven", unproven()),
        ("void", void()),
        ("nasty", nasty().0),
    ] {
        write(&format!("{name}.txt"), sweep_text(&of, screen));
        write(&format!("{name}.json"), super::json::sweep(&of).unwrap());
        let drawn_on = if name == "nasty" { nasty().1 } else { board() };
        write(&format!("{name}.html"), super::html::sweep(&of, &drawn_on));
    }
    write("unit.txt", unit_text(&history(), screen));
    write("lot.txt", lot_text(&lot(), screen));
    write("unit.html", super::html::unit(&history(), |past| Some(format!("{}.html", past.id))));
    write("lot.html", super::html::lot(&lot(), |serial| Some(format!("{}.html", super::file_stem(serial)))));
}
