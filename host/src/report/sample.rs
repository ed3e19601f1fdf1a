//! Invented sweeps of the example boards, for the tests of every report. Nothing here was measured.

use copperwalk_wire::message::{RunEnd, ShotEnd};
use copperwalk_wire::{Contacts, Gain, Input, Method, Rate, Shot, Source};

use crate::board::{self, Board, Segment};
use crate::fault::method::{At, Method as RepairMethod};
use crate::hypothesis::Rates;
use crate::limits::{LimitOrigin, LimitSet, Limits};
use crate::measurement::{self, Basis, BedBasis, Manner, Measurement, Purpose, Run, RunShot};
use crate::plan::{Role, Sampling};
use crate::quantity::{Celsius, Ohms};
use crate::records::status::Status;
use crate::records::summary::{
    Counts, Event, LotSummary, Note, ParetoRow, PastSweep, Place, Repair, SweepId, Swept, UnitHistory,
    UnitState,
};
use crate::sweep::{
    Advice, BenchFault, ClosureRow, IsolationRow, Judgement, LimitsUsed, SegmentRow, StandardRow, Sweep,
    ThermometerRow, UnitFault,
};
use crate::trade::book::{Book, Came, Cost, Dealing, Stand, Suspected, UnitBook, Usual};
use crate::trade::{Assessed, Terms, assess};
use crate::verdict::{Class, Verdict};

/// A serial number nobody should be able to do harm with.
pub const NASTY: &str = "<script>alert('x')</script>\"&/../\u{1b}[31m\u{202e}日本語";

/// The example in which current goes one way.
pub fn board() -> Board {
    board::parse("board.toml", include_str!("../../../fixtures/tide-gauge-head/board.toml")).unwrap()
}

/// The example with two loads and a return that branches.
pub fn branching_board() -> Board {
    board::parse("board.toml", include_str!("../../../fixtures/greenhouse-valve-driver/board.toml")).unwrap()
}

/// The example with a shunt in its return and an outline that is no rectangle.
pub fn small_board() -> Board {
    board::parse("board.toml", include_str!("../../../fixtures/trail-counter/board.toml")).unwrap()
}

/// A unit without a fault.
pub fn good() -> Sweep {
    good_on(&board())
}

/// A unit of any board without a fault.
pub fn good_on(board: &Board) -> Sweep {
    let isolation =
        |name: String, ends: [board::PointId; 2], is_switch, state: board::StateId, min| IsolationRow {
            reason: None,
            name,
            between: ends.map(|end| board.point(end).name.clone()),
            is_switch,
            state: board.state(state).name.clone(),
            resistance: None,
            u95: None,
            at_least: Some(Ohms(212_000.0)),
            min,
            verdict: Verdict::Pass,
            class: Class::Ok,
            method: Some(measurement::Method::FourWire),
            still_charging: false,
        };
    let switches = board.segments.iter().filter_map(|segment| {
        let min = segment.open_min?;
        Some(isolation(segment.name.clone(), [segment.from, segment.to], true, board::StateId::new(0), min))
    });
    let isolation = board.isolation.iter().map(|row| {
        let [a, b] = row.between.map(|end| &board.point(end).name);
        isolation(format!("{a}~{b}"), row.between, false, row.state, row.min)
    });
    let measurement = Measurement {
        serial: "TG-0042".to_owned(),
        lot: Some("spring clear-out".to_owned()),
        manner: Manner::Sweep,
        basis: Basis {
            board: board.name.clone(),
            revision: board.revision.clone(),
            board_hash: board.hash.clone(),
            bed: Some(BedBasis {
                fixture: "bed 1".to_owned(),
                fixture_hash: "a07e".repeat(16),
                plan_hash: "5bd2".repeat(16),
            }),
        },
        started_us: 1_790_000_000_000_000,
        repaired_us: None,
        wires: Vec::new(),
        bench_name: "virtual bench, seed 7".to_owned(),
        sampling: Sampling::Quick,
        proof: None,
        runs: ["off", "on"].map(run).to_vec(),
        rates: Rates::table(),
        by_hand: None,
    };
    let limits = LimitSet::of_board(board);
    let judgement = Judgement {
        program: "0.1.0".to_owned(),
        limits: LimitsUsed::of_board(&board.hash),
        air: Some(Celsius(23.1)),
        proof: None,
        verdict: Verdict::Pass,
        bench_faults: vec![],
        segments: board.segment_ids().map(|id| healthy(board, board.segment(id), limits.of(id))).collect(),
        isolation: switches.chain(isolation).collect(),
        thermometers: vec![ThermometerRow {
            name: "plate".to_owned(),
            resistance: Some(Ohms(1091.0)),
            temperature: Some(Celsius(23.4)),
            u95_kelvin: Some(0.57),
            counts: true,
        }],
        standards: vec![StandardRow {
            name: "1R".to_owned(),
            stated: Ohms(1.0),
            tolerance: 0.001,
            resistance: Some(Ohms(1.000_21)),
            u95: Some(Ohms(0.000_64)),
            verdict: Verdict::Pass,
        }],
        closures: vec![ClosureRow {
            from: "cell+".to_owned(),
            to: "reg.in".to_owned(),
            whole: Ohms(0.261_1),
            sum: Ohms(0.261_0),
            u95: Ohms(0.000_4),
            agrees: true,
        }],
        faults: vec![],
        notes: vec![],
        steps: vec![],
    };
    Sweep { measurement, judgement }
}

fn healthy(board: &Board, segment: &Segment, limits: &Limits) -> SegmentRow {
    let typical = segment.expected.typical;
    let warm = if segment.kind.is_copper() { 1.0122 } else { 1.0 };
    SegmentRow {
        reason: None,
        name: segment.name.clone(),
        kind: segment.kind.word().to_owned(),
        state: board.states.last().unwrap().name.clone(),
        resistance: Some(typical * 1.03 * warm),
        at_20c: Some(typical * 1.03),
        u95: Some(Ohms(20e-6) + typical * 0.0021),
        min: limits.min,
        max: limits.max,
        limit_derived: limits.origin == LimitOrigin::Derived,
        typical,
        verdict: Verdict::Pass,
        class: Class::Ok,
        method: Some(measurement::Method::FourWire),
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
            method: Method::Sample {
                input: Input::Sense,
                reversed: false,
                burnout: false,
                gain: Gain::X16,
                rate: Rate::Sps1000,
                count: 4,
            },
        },
        codes: codes.to_vec(),
        why: ShotEnd::Complete,
        from_us,
        to_us: from_us + 9_000,
    };
    Run {
        state: state.to_owned(),
        purpose: Purpose::Plan,
        end: RunEnd::Complete,
        closures: 16,
        device_us: 206_193,
        shots: vec![
            shot(Role::Residual, Source::Off, &[120, 118, 119, 121], 0),
            shot(Role::Isolation(0), Source::Load, &[80_120, 80_118, 80_119, 80_121], 12_000),
        ],
    }
}

fn set(sweep: &mut Sweep, name: &str, value: Option<Ohms>, verdict: Verdict, class: Class) {
    let row = sweep.judgement.segments.iter_mut().find(|row| row.name == name).unwrap();
    row.resistance = value;
    row.at_20c = value;
    row.u95 = value.map(|r| Ohms(20e-6) + r * 0.0024);
    row.verdict = verdict;
    row.class = class;
}

fn fault(place: &str, class: Class, probability: f64, advice: [&str; 3]) -> UnitFault {
    let [cause, repair, caution] = advice.map(str::to_owned);
    let advice = Advice { cause, repair, caution };
    UnitFault { place: place.to_owned(), class, probability, alternative: None, advice }
}

/// The via pair is open and hides nothing, because its neighbours can be forced.
pub fn open_via() -> Sweep {
    let mut sweep = good();
    sweep.judgement.verdict = Verdict::Fail;
    set(&mut sweep, "via pair 1", None, Verdict::Fail, Class::Open);
    sweep.judgement.faults = vec![fault(
        "via pair 1",
        Class::Open,
        0.993,
        [
            "Plating that cracked or was eaten by leaked electrolyte",
            "Scrape both ends bright, push a thin bare wire through the barrel, solder it on both sides and trim it flush",
            "Do not drill an inner-layer board: the barrel may join planes you cannot see",
        ],
    )];
    sweep.judgement.notes =
        vec!["One closure could not be made: the series is broken at via pair 1.".to_owned()];
    sweep.judgement.closures.clear();
    sweep
}

/// Three things wrong at once, and one remark.
pub fn several() -> Sweep {
    let mut sweep = good();
    sweep.measurement.serial = "TG-0057".to_owned();
    sweep.judgement.verdict = Verdict::Fail;
    set(&mut sweep, "via pair 1", Some(Ohms(1.42e-3)), Verdict::Pass, Class::RedundancyLost);
    set(&mut sweep, "power switch", Some(Ohms(331.0)), Verdict::Fail, Class::High);
    set(&mut sweep, "input ferrite", None, Verdict::Unproven, Class::NotReached);
    set(&mut sweep, "cross trace", Some(Ohms(0.0115)), Verdict::Unproven, Class::Flaky);
    let row = &mut sweep.judgement.isolation[2];
    (row.resistance, row.u95, row.at_least) = (Some(Ohms(1830.0)), Some(Ohms(24.0)), Some(Ohms(1806.0)));
    (row.verdict, row.class) = (Verdict::Fail, Class::Leaky);
    sweep.judgement.faults = vec![
        fault(
            "power switch",
            Class::High,
            0.97,
            [
                "Oxide or dust on a slide contact that was not moved for years",
                "Work it twenty times, then a drop of contact cleaner; replace it if it stays above 300 mΩ",
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
            "via pair 1",
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

/// A branch of the big board is dead, and what lies behind it could not be reached.
pub fn branch_dead() -> Sweep {
    let mut sweep = good_on(&branching_board());
    sweep.measurement.serial = "GV-0007".to_owned();
    sweep.judgement.verdict = Verdict::Fail;
    set(&mut sweep, "radio fuse", None, Verdict::Fail, Class::Open);
    for name in ["radio via pair 1", "radio back trace"] {
        set(&mut sweep, name, None, Verdict::Unproven, Class::NotReached);
    }
    set(&mut sweep, "valve via pair 2", Some(Ohms(1.37e-3)), Verdict::Pass, Class::RedundancyLost);
    sweep.judgement.faults = vec![
        fault(
            "radio fuse",
            Class::Open,
            0.995,
            [
                "A blown fuse: something behind it drew too much, once or still",
                "Look for the short behind it first; then replace the fuse by one of the same rating and speed",
                "Never bridge it: the next fault would burn the copper",
            ],
        ),
        fault(
            "valve via pair 2",
            Class::RedundancyLost,
            0.9,
            [
                "One of two barrels no longer conducts",
                "Put a wire through the dead barrel while the board is open",
                "The other one carries the load: no hurry, but do not forget it",
            ],
        ),
    ];
    sweep
}

/// Nothing proven bad, one reading too close to its limit.
pub fn unproven() -> Sweep {
    let mut sweep = good();
    sweep.measurement.serial = "TG-0061".to_owned();
    sweep.judgement.verdict = Verdict::Unproven;
    set(&mut sweep, "input ferrite", Some(Ohms(0.1999)), Verdict::Unproven, Class::Ok);
    sweep
}

/// A dirty pin: nothing known about the unit.
pub fn void() -> Sweep {
    let mut sweep = good();
    sweep.measurement.serial = "TG-0063".to_owned();
    sweep.judgement.verdict = Verdict::Void;
    sweep.judgement.bench_faults = vec![BenchFault {
        part: "pin fuse.out (sense channel 4)".to_owned(),
        what: "it does not touch: clean or replace the pin, look for flux on the pad, then sweep again"
            .to_owned(),
    }];
    for name in ["cell fuse", "switch feed"] {
        set(&mut sweep, name, None, Verdict::Void, Class::NotReached);
    }
    sweep
}

/// Everything a person may type, everywhere a person may type it.
pub fn nasty() -> (Sweep, Board) {
    let mut board = board();
    let mut sweep = several();
    sweep.measurement.serial = NASTY.to_owned();
    sweep.measurement.lot = Some("=HYPERLINK(\"x\")".to_owned());
    sweep.judgement.notes = vec![NASTY.to_owned(), "a".repeat(300)];
    board.segments[4].name = "fuse with a name that goes on and on & <b>never</b> \"ends\"".to_owned();
    sweep.judgement.segments[4].name = board.segments[4].name.clone();
    board.segments[6].name = "電源スイッチのとても長い名前がここにあります".to_owned();
    sweep.judgement.segments[6].name = board.segments[6].name.clone();
    sweep.judgement.faults[0].place = board.segments[6].name.clone();
    board.segments[7].name = "Unbrechbar".repeat(9);
    sweep.judgement.segments[7].name = board.segments[7].name.clone();
    sweep.judgement.segments[2].state = "position with a long name".to_owned();
    (sweep, board)
}

/// Takes every reading out of a sweep, as when the bench stopped before the first.
pub fn nothing_read(sweep: &mut Sweep) {
    for row in &mut sweep.judgement.segments {
        (row.resistance, row.at_20c, row.u95) = (None, None, None);
        (row.verdict, row.class) = (Verdict::Void, Class::NotReached);
    }
    for row in &mut sweep.judgement.isolation {
        (row.resistance, row.u95, row.at_least) = (None, None, None);
        (row.verdict, row.class) = (Verdict::Void, Class::NotReached);
    }
}

/// What the record store keeps of a sweep for `unit`.
pub fn past(id: i64, sweep: Sweep) -> Event {
    Event::Sweep(Box::new(PastSweep {
        id: SweepId(id),
        bench: sweep.measurement.work(),
        lot: sweep.measurement.lot,
        manner: sweep.measurement.manner,
        basis: sweep.measurement.basis,
        started_us: sweep.measurement.started_us + id * 3_600_000_000,
        bench_name: sweep.measurement.bench_name,
        sampling: sweep.measurement.sampling,
        voided: None,
        judgement: sweep.judgement,
    }))
}

/// Came in with three faults, was voided once by a dirty pin, repaired, and is good now.
pub fn history() -> UnitHistory {
    let at_us = 1_790_005_000_000_000;
    UnitHistory {
        serial: "TG-0057".to_owned(),
        lot: Some("spring clear-out".to_owned()),
        status: Status::Good,
        checklist: Vec::new(),
        events: vec![
            past(1, several()),
            Event::Note(Note { at_us, text: "White crust round the regulator.".to_owned() }),
            Event::Repair(Repair {
                at_us,
                place: "power switch".to_owned(),
                action: "clean".to_owned(),
                text: "worked it twenty times, contact cleaner".to_owned(),
                taken: None,
            }),
            Event::Repair(Repair {
                at_us,
                place: "reg.in~cell-".to_owned(),
                action: "wash".to_owned(),
                text: String::new(),
                taken: None,
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
        status: match now {
            Pass => Status::Good,
            Void => Status::Received,
            Fail | Unproven => Status::Swept,
        },
        repairs: u32::from(first != now),
        swept: Some(Swept {
            board: "tide gauge head".to_owned(),
            revision: "B".to_owned(),
            sweeps: if first == now { 1 } else { 2 },
            first,
            now,
            last_sweep: SweepId(number),
            last_us: 1_790_000_000_000_000 + number * 60_000_000,
            fault: fault.map(|(place, class)| Place { place: place.to_owned(), class }),
        }),
    };
    let units = vec![
        unit(1, Pass, Pass, None),
        unit(2, Fail, Fail, Some(("via pair 1", Class::Open))),
        unit(3, Fail, Pass, None),
        unit(4, Fail, Fail, Some(("via pair 1", Class::Open))),
        unit(5, Unproven, Unproven, Some(("power switch", Class::Flaky))),
        unit(6, Fail, Pass, None),
        unit(7, Fail, Fail, Some(("reg.in~cell-", Class::Leaky))),
        unit(8, Void, Void, None),
    ];
    let count = |pick: fn(&UnitState) -> Option<Verdict>| {
        let mut counts = Counts::default();
        units.iter().for_each(|unit| counts.add(pick(unit)));
        counts
    };
    let row = |place: &str, class, units, still| ParetoRow {
        board: "tide gauge head".to_owned(),
        place: place.to_owned(),
        class,
        units,
        still,
    };
    LotSummary {
        lot: "spring clear-out".to_owned(),
        first_us: Some(1_790_000_000_000_000),
        last_us: Some(1_790_000_480_000_000),
        sweeps: 10,
        void_sweeps: 1,
        first: count(UnitState::first),
        now: count(UnitState::now),
        pareto: vec![
            row("via pair 1", Class::Open, 3, 2),
            row("power switch", Class::High, 1, 0),
            row("reg.in~cell-", Class::Leaky, 1, 1),
        ],
        units,
    }
}

/// The book of the same lot: one unit sold, one a donor.
pub fn book() -> Book {
    let money = |text: &str| crate::quantity::money::parse(text).unwrap();
    let mut units: Vec<UnitBook> = Vec::new();
    for state in lot().units {
        let mut unit = UnitBook::new(&state.serial);
        let fault = state.swept.as_ref().and_then(|swept| swept.fault.clone());
        let at = |place: &str| match place {
            "via pair 1" => At::Via,
            "power switch" => At::Switch,
            _ => At::Gap,
        };
        unit.stand = match state.status {
            Status::Good => Stand::Good,
            Status::Swept => Stand::Faulty,
            _ => Stand::Unswept,
        };
        unit.came = match (state.first(), &fault) {
            (Some(Verdict::Pass), _) => Some(Came::Good),
            (_, Some(fault)) => Some(Came::Faulty(Some(at(&fault.place)), fault.class)),
            (Some(Verdict::Fail), None) => Some(Came::Faulty(Some(At::Switch), Class::High)),
            _ => None,
        };
        unit.faults = fault
            .iter()
            .map(|fault| Suspected {
                place: fault.place.clone(),
                at: Some(at(&fault.place)),
                class: fault.class,
                probability: 0.99,
                alternative: None,
            })
            .collect();
        units.push(unit);
    }
    let sale = Dealing::Sale { price: money("45.00 EUR"), fees: Some(money("3.53 EUR")), instead: false };
    let work = Dealing::Work {
        minutes: 25,
        parts: Some(money("1.20 EUR")),
        method: Some(RepairMethod::Clean),
        instead: false,
    };
    let spare =
        Dealing::Spare { part: "slide switch".to_owned(), unit: Some("TG-0042".to_owned()), put_back: false };
    units[2].stand = Stand::Sold;
    units[2].take(1_790_000_500_000_000, &work);
    units[2].take(1_790_000_500_000_000, &sale);
    units[3].take(1_790_000_500_000_000, &spare);
    let cost = Cost { paid: Some(money("120.00 EUR")), freight: Some(money("18.50 EUR")), ..Cost::default() };
    let usual = [(At::Switch, Class::High, 0.5), (At::Via, Class::Open, 0.3)];
    let usual = usual.map(|(at, class, share)| Usual { at, class, share }).to_vec();
    Book { lot: lot().lot, cost, units, usual }
}

/// The same lot, assessed.
pub fn assessed() -> Assessed {
    assess(&book(), &Terms::default())
}

/// Every sample gives every report. With `$REPORT_SAMPLES` they are written there, to be looked at by eye.
#[test]
fn every_sample_gives_every_report() {
    use super::terminal::{Screen, lot as lot_text, sweep as sweep_text, unit as unit_text};
    let folder = std::env::var_os("REPORT_SAMPLES").map(std::path::PathBuf::from);
    let write = |name: &str, text: String| {
        assert!(text.lines().count() > 5, "{name}: {text}");
        if let Some(folder) = &folder {
            std::fs::write(folder.join(name), text).unwrap();
        }
    };
    let screen = Screen::PLAIN;
    let links = super::html::Links {
        lot: &|_| Some("lot.html".to_owned()),
        unit: &|_| Some("unit.html".to_owned()),
        sweep: &|_, id| Some(format!("{id}.html")),
        ..super::html::Links::NONE
    };
    for (name, of, drawn_on) in [
        ("good", good(), board()),
        ("open", open_via(), board()),
        ("several", several(), board()),
        ("unproven", unproven(), board()),
        ("void", void(), board()),
        ("nasty", nasty().0, nasty().1),
        ("branch", branch_dead(), branching_board()),
        ("small", good_on(&small_board()), small_board()),
    ] {
        write(&format!("{name}.txt"), sweep_text(&of, None, screen));
        write(&format!("{name}.json"), super::json::sweep(&of).unwrap());
        write(&format!("{name}.html"), super::html::sweep(&of, &drawn_on, &links));
    }
    write("unit.txt", unit_text(&history(), screen));
    write("lot.txt", lot_text(&lot(), screen));
    write("unit.html", super::html::unit(&history(), &links));
    write("lot.html", super::html::lot(&lot(), &assessed(), &links));
    write("trade.txt", super::terminal::trade(&assessed(), screen));
}
