//! Sweeps as they come from a bench, made up: for tests here, and for the benchmark, which includes this file.

use copperwalk_wire::{Contacts, Gain, Method, Rate, Ratio, Settle, Shot, Source, Stop};

use std::sync::LazyLock;

use crate::board::SegmentId;
use crate::fixture::Fixture;
use crate::hypothesis::Rates;
use crate::measurement::{self, Basis, BedBasis, Manner, Measurement, Purpose, Run, RunShot};
use crate::plan::{Role, Sampling};
use crate::quantity::{Celsius, Ohms};
use crate::sweep::{
    Advice, Answered, Asked, ClosureRow, IsolationRow, Judgement, Left, LimitsUsed, SegmentRow, StandardRow,
    StepRow, Sweep, ThermometerRow, UnitFault,
};
use crate::verdict::{Class, Verdict};
use copperwalk_wire::message::{self, RunEnd, ShotEnd};

/// The fixture of an example.
pub fn fixture() -> Fixture {
    static FIXTURE: LazyLock<Fixture> = LazyLock::new(|| {
        let board = include_str!("../../../fixtures/greenhouse-valve-driver/board.toml");
        let fixture = include_str!("../../../fixtures/greenhouse-valve-driver/fixture.toml");
        let board = crate::board::parse("board.toml", board).expect("an example");
        crate::fixture::parse("fixture.toml", fixture, board).expect("an example")
    });
    FIXTURE.clone()
}

/// Sweep number `number` of a whole job: same number, same sweep. 12 to 35 segments, about 600 raw codes. With
/// `broken`, that segment is open and what follows is not reached.
pub fn sweep(serial: &str, lot: Option<&str>, number: u32, broken: Option<usize>) -> Sweep {
    let mut random = Random(number);
    let count = 12 + random.below(24) as usize;
    let segments: Vec<SegmentRow> = (0..count).map(|index| segment(&mut random, index, broken)).collect();
    let fixture = fixture();
    let measurement = Measurement {
        serial: serial.into(),
        lot: lot.map(Into::into),
        // From 2024-05-01 on, one a minute.
        repaired_us: None,
        wires: Vec::new(),
        started_us: 1_714_521_600_000_000 + i64::from(number) * 60_000_000,
        bench_name: format!("virtual, seed {number}"),
        manner: Manner::Sweep,
        sampling: Sampling::Quick,
        proof: None,
        basis: Basis {
            board: fixture.board.name,
            revision: fixture.board.revision,
            board_hash: fixture.board.hash,
            bed: Some(BedBasis {
                fixture: fixture.name,
                fixture_hash: fixture.hash,
                plan_hash: "p".repeat(64),
            }),
        },
        runs: runs(&mut random, count),
        rates: Rates::table(),
        by_hand: None,
    };
    let judgement = Judgement {
        program: "0.1.0".into(),
        limits: LimitsUsed::of_board(&measurement.basis.board_hash),
        air: Some(Celsius(23.0 + random.unit())),
        proof: None,
        verdict: if broken.is_some() { Verdict::Fail } else { Verdict::Pass },
        bench_faults: Vec::new(),
        isolation: vec![IsolationRow {
            reason: None,
            name: "reg.in~cell-".into(),
            between: ["reg.in".into(), "cell-".into()],
            is_switch: false,
            state: "on".into(),
            resistance: None,
            u95: None,
            at_least: Some(Ohms(180e3)),
            min: Ohms(5e3),
            verdict: Verdict::Pass,
            class: Class::Ok,
            method: Some(measurement::Method::FourWire),
            still_charging: false,
        }],
        thermometers: vec![ThermometerRow {
            name: "plate".into(),
            resistance: Some(Ohms(1090.0 + random.unit())),
            temperature: Some(Celsius(23.0 + random.unit())),
            u95_kelvin: Some(0.6),
            counts: true,
        }],
        standards: vec![StandardRow {
            name: "1R".into(),
            stated: Ohms(1.0),
            tolerance: 1e-3,
            resistance: Some(Ohms(1.0 + 1e-4 * random.unit())),
            u95: Some(Ohms(2e-4)),
            verdict: Verdict::Pass,
        }],
        closures: vec![ClosureRow {
            from: "cell+".into(),
            to: "reg.in".into(),
            whole: Ohms(0.1 + random.unit()),
            sum: Ohms(0.1 + random.unit()),
            u95: Ohms(1e-3),
            agrees: true,
        }],
        faults: broken.map(|index| fault(&segments, index)).into_iter().collect(),
        notes: vec!["air 23.4 °C".into()],
        steps: vec![step(&mut random)],
        segments,
    };
    Sweep { measurement, judgement }
}

fn step(random: &mut Random) -> StepRow {
    let left = |what: &str| Left { what: what.into(), probability: random.unit() };
    StepRow {
        left: ["via 1 open", "nothing wrong"].map(left).to_vec(),
        asked: Asked {
            from: "cell+".into(),
            to: "reg.in".into(),
            state: "on".into(),
            what: "end to end".into(),
        },
        answered: Answered { text: "1.2 ohm".into(), resistance: Some(Ohms(1.2)) },
        bits: 0.75,
    }
}

fn segment(random: &mut Random, index: usize, broken: Option<usize>) -> SegmentRow {
    const KINDS: [&str; 6] = ["trace", "via", "ferrite", "fuse", "switch", "joint"];
    let kind = KINDS[index % KINDS.len()];
    let ohms = Ohms(1e-3 + 20e-3 * random.unit());
    let (ohms, verdict, class) = match broken {
        Some(open) if index == open => (None, Verdict::Fail, Class::Open),
        Some(open) if index > open => (None, Verdict::Unproven, Class::NotReached),
        _ => (Some(ohms), Verdict::Pass, Class::Ok),
    };
    SegmentRow {
        reason: None,
        name: format!("{kind} {index}"),
        kind: kind.into(),
        state: "on".into(),
        resistance: ohms,
        at_20c: ohms.map(|ohms| ohms / 1.0118),
        u95: ohms.map(|ohms| Ohms(20e-6) + 1e-3 * ohms),
        min: (kind == "fuse").then_some(Ohms(5e-4)),
        max: Ohms(25e-3),
        limit_derived: index.is_multiple_of(2),
        typical: Ohms(9.8e-3),
        verdict,
        class,
        method: (class != Class::NotReached).then_some(measurement::Method::FourWire),
    }
}

fn fault(segments: &[SegmentRow], index: usize) -> UnitFault {
    UnitFault {
        alternative: None,
        place: segments[index].name.clone(),
        class: Class::Open,
        probability: 0.97,
        advice: Advice {
            cause: "the barrel has cracked away from its pads".into(),
            repair: "clear the hole and solder a wire through it, both sides".into(),
            caution: "take the battery out first; wear eye protection and vent the fumes".into(),
        },
    }
}

fn runs(random: &mut Random, segments: usize) -> Vec<Run> {
    let stop = Stop { lo: -1.0, hi: 2.5e-3, close: 2.5e-4, sigma_a: 2.0, sigma_b: 2.0, rel: 5e-4, k: 2.0 };
    let ratio = Method::Ratio(Ratio {
        gain_a: Gain::X128,
        gain_b: Gain::X2,
        rate: Rate::Sps1000,
        contact_check: true,
        ends: false,
        triples_min: 1,
        wait_us: 0,
        triples_max: 16,
        stop: Some(stop),
        gate: Some(0.5),
    });
    let settle = Method::Settle(Settle {
        gain_a: Gain::X4,
        gain_b: Gain::X64,
        rate: Rate::Sps600,
        window: 8,
        windows_max: 50,
        pass: 500.0,
        slope: 1e-3,
        floor: 4.0,
        turned: true,
    });
    let mut clock = 0;
    let mut shot = |role, source, method, count: usize| {
        let from_us = clock;
        clock += 1_500 + 1_036 * count as u32;
        let contacts = Contacts {
            force_plus: Some(random.below(16) as u16),
            force_minus: Some(random.below(16) as u16),
            sense_plus: Some(random.below(48) as u16),
            sense_minus: Some(random.below(48) as u16),
        };
        let codes = (0..count).map(|_| random.below(1 << 24) as i32 - (1 << 23)).collect();
        RunShot {
            role,
            shot: Shot { contacts, source, method },
            codes,
            why: ShotEnd::Decided,
            from_us,
            to_us: clock,
        }
    };
    let mut walk = vec![shot(Role::Residual, Source::Off, Method::Residual, 4)];
    let codes = 480 / segments;
    let segment = |(index, segment)| Role::Segment { segment, swapped: index % 2 == 1 };
    let ids = fixture().board.segment_ids().take(segments).enumerate();
    walk.extend(ids.map(|at: (usize, SegmentId)| shot(segment(at), Source::Load, ratio, codes)));
    let isolation = vec![
        shot(Role::Residual, Source::Off, Method::Residual, 4),
        shot(Role::Isolation(0), Source::Isolation, settle, 112),
    ];
    vec![
        Run {
            state: "on".into(),
            purpose: Purpose::Plan,
            end: RunEnd::Complete,
            closures: 41,
            device_us: 212_450,
            shots: walk,
        },
        Run {
            state: "on".into(),
            purpose: Purpose::FullBudget,
            end: RunEnd::Fault(message::Fault::Lid),
            closures: 20,
            device_us: 100_000,
            shots: isolation,
        },
    ]
}

/// A small generator whose quality does not matter: SplitMix64's output function over a counter.
struct Random(u32);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9);
        let mut z = u64::from(self.0).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 to `end` - 1.
    fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    /// 0 to 1.
    fn unit(&mut self) -> f64 {
        self.next() as f64 / u64::MAX as f64
    }
}
