//! The modelled bench end to end: the real controller logic, shots over the wire, codes back, against the truth.

use copperwalk::quantity::Ohms;
use copperwalk::{
    board::{PointId, StateId},
    fixture::{self, Fixture},
    link::Session,
    virtual_bench::{Spec, VirtualBench, trace::Change},
};
use copperwalk_tests::boards::ladder;
use copperwalk_wire::{
    Contacts, Gain, Method, Rate, Ratio, Shot, Source,
    hardware::{PLAN_CAPACITY, RM_OHMS},
    message::{Fault, RunEnd},
};

fn example(name: &str) -> Fixture {
    let path = format!("{}/../fixtures/{name}/fixture.toml", env!("CARGO_MANIFEST_DIR"));
    fixture::read(path.as_ref()).unwrap()
}

/// A bench whose controller has been greeted.
fn greeted(fixture: &Fixture, spec: &Spec) -> Session<VirtualBench> {
    Session::open(VirtualBench::new(fixture, spec).unwrap()).unwrap()
}

/// Puts the unit into a state.
fn place(bench: &mut Session<VirtualBench>, state: StateId) {
    bench.transport_mut().place(state);
}

/// Runs a plan and gives the codes of every shot, and how the run ended.
fn run(bench: &mut Session<VirtualBench>, shots: &[Shot]) -> (Vec<Vec<i32>>, RunEnd) {
    let report = bench.run(shots).unwrap();
    (report.shots.into_iter().map(|shot| shot.codes).collect(), report.end)
}

fn contacts(force_plus: u16, force_minus: u16, sense_plus: u16, sense_minus: u16) -> Contacts {
    Contacts {
        force_plus: Some(force_plus),
        force_minus: Some(force_minus),
        sense_plus: Some(sense_plus),
        sense_minus: Some(sense_minus),
    }
}

fn residual(fixture: &Fixture) -> Shot {
    let [from, ret] = [fixture.board.supply.from, fixture.board.supply.ret].map(|point| fixture.pins(point));
    let contacts = contacts(from.force.unwrap(), ret.force.unwrap(), from.sense.unwrap(), ret.sense.unwrap());
    Shot { contacts, source: Source::Off, method: Method::Residual }
}

fn ratio(source: Source, contacts: Contacts, gain_a: Gain, gain_b: Gain, triples: u8) -> Shot {
    let method = Method::Ratio(Ratio {
        gain_a,
        gain_b,
        rate: Rate::Sps1000,
        contact_check: true,
        ends: false,
        triples_min: triples,
        wait_us: 0,
        triples_max: triples,
        stop: None,
        gate: None,
    });
    Shot { contacts, source, method }
}

/// Ohms from the codes of a ratio shot: contact check first, then triples of halves of A, B.
fn ohms(codes: &[i32], gain_a: Gain, gain_b: Gain) -> f64 {
    let (mut a, mut b) = (0.0, 0.0);
    for (i, triple) in codes[2..].chunks_exact(6).enumerate() {
        let delta =
            |k: usize| f64::from(triple[k]) - 2.0 * f64::from(triple[k + 2]) + f64::from(triple[k + 4]);
        let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
        a += sign * delta(0);
        b += sign * delta(1);
    }
    RM_OHMS * a / b * f64::from(gain_b.factor()) / f64::from(gain_a.factor())
}

/// The built-in 1 Ω standard, dry and under load, on twenty benches: Rm is good to 0.1 %, the standard too, two gains
/// to 0.01 % each, and noise averages over four triples.
#[test]
fn a_standard_reads_its_value_on_every_bench() {
    let fixture = example("tide-gauge-head");
    let standard = &fixture.standards[0];
    let [plus, minus] = standard.force;
    let at = contacts(plus, minus, standard.sense[0], standard.sense[1]);
    let plan = [
        residual(&fixture),
        ratio(Source::Dry, at, Gain::X128, Gain::X64, 4),
        ratio(Source::Load, at, Gain::X16, Gain::X1, 4),
    ];
    for seed in 0..20 {
        let mut bench = greeted(&fixture, &Spec::new(seed));
        let (codes, why) = run(&mut bench, &plan);
        assert_eq!(why, RunEnd::Complete, "seed {seed}");
        let dry = ohms(&codes[1], Gain::X128, Gain::X64);
        let load = ohms(&codes[2], Gain::X16, Gain::X1);
        assert!((dry / standard.resistance.0 - 1.0).abs() < 3e-3, "seed {seed}: {dry}");
        assert!((load / standard.resistance.0 - 1.0).abs() < 2.5e-3, "seed {seed}: {load}");
    }
}

/// Ladders of more segments than a byte can count: their beds parse, and every segment reads its value through its own two
/// relays, in as many runs as the controller's memory asks for.
#[test]
fn segments_beyond_the_256th_channel_read_their_values() {
    for segments in [300, 1000] {
        let fixture = ladder(segments).unwrap();
        let mut bench = greeted(&fixture, &Spec::new(3));
        let truth = bench.transport().truth().resistance;
        let pins = |index: usize| fixture.pins(fixture.board.point_named(&format!("p{index}")).unwrap());
        let sense = |index: usize| pins(index).sense.unwrap();
        let (from, to) = (pins(0).force.unwrap(), pins(segments).force.unwrap());
        let began = std::time::Instant::now();
        let walk: Vec<usize> = (0..segments).collect();
        let mut device_us = 0;
        for part in walk.chunks(usize::from(PLAN_CAPACITY) - 1) {
            let segment = |&index: &usize| {
                let ends = contacts(from, to, sense(index), sense(index + 1));
                ratio(Source::Load, ends, Gain::X128, Gain::X1, 2)
            };
            let plan: Vec<_> = [residual(&fixture)].into_iter().chain(part.iter().map(segment)).collect();
            let report = bench.run(&plan).unwrap();
            device_us += report.device_us;
            assert_eq!(report.end, RunEnd::Complete, "{segments}");
            for (&index, shot) in part.iter().zip(&report.shots[1..]) {
                let (read, is) = (ohms(&shot.codes, Gain::X128, Gain::X1), truth[index].0);
                // Noise of two triples under load: 0.7 µV · √(3/16) / 50 mA = 6 µΩ.
                let near = (read - is).abs() < 0.005 * is + 40e-6;
                assert!(near, "segment {index} of {segments}: {read} of {is}");
            }
        }
        println!("{segments} segments: {device_us} µs of device time, {:?} here", began.elapsed());
    }
}

#[test]
fn the_same_seed_gives_the_same_codes() {
    let fixture = example("tide-gauge-head");
    let supply = [fixture.board.supply.from, fixture.board.supply.ret].map(|point| fixture.pins(point));
    let [from, ret] = supply;
    let at = contacts(from.force.unwrap(), ret.force.unwrap(), from.sense.unwrap(), ret.sense.unwrap());
    let plan = [residual(&fixture), ratio(Source::Dry, at, Gain::X1, Gain::X1, 3)];
    let codes = |bench_seed, unit_seed| {
        let spec = Spec { bench_seed, unit_seed, ..Spec::new(0) };
        run(&mut greeted(&fixture, &spec), &plan).0
    };
    assert_eq!(codes(1, 2), codes(1, 2));
    assert_ne!(codes(1, 2), codes(2, 2), "another bench");
    let truth =
        |unit_seed| VirtualBench::new(&fixture, &Spec { unit_seed, ..Spec::new(5) }).unwrap().truth().at_20c;
    assert_eq!(truth(1), truth(1));
    assert_ne!(truth(1), truth(2), "another unit");
}

/// Force from one end of a path to the other, sense two points on it.
fn walk(fixture: &Fixture, force: [PointId; 2], sense: [PointId; 2]) -> Contacts {
    let [force_plus, force_minus] = force.map(|point| fixture.pins(point).force);
    let [sense_plus, sense_minus] = sense.map(|point| fixture.pins(point).sense);
    Contacts { force_plus, force_minus, sense_plus, sense_minus }
}

/// Residual check, then every segment of the tide gauge's path dry and under load, with the switch on.
fn path_plan(fixture: &Fixture) -> Vec<Shot> {
    let board = &fixture.board;
    let force = [board.supply.from, board.supply.to[0]];
    let shots = board.segments.iter().flat_map(|segment| {
        let at = walk(fixture, force, [segment.from, segment.to]);
        [ratio(Source::Dry, at, Gain::X16, Gain::X64, 6), ratio(Source::Load, at, Gain::X16, Gain::X1, 6)]
    });
    std::iter::once(residual(fixture)).chain(shots).collect()
}

/// The states in the order they are walked; of the examples the first is off, the second on.
fn in_order(fixture: &Fixture) -> Vec<StateId> {
    fixture.board.state_ids().collect()
}

fn on(fixture: &Fixture, spec: &Spec) -> Session<VirtualBench> {
    let mut bench = greeted(fixture, spec);
    place(&mut bench, in_order(fixture)[1]);
    bench
}

/// Where a segment stands in the file.
fn place_in_file(fixture: &Fixture, name: &str) -> usize {
    fixture.board.segments.iter().position(|segment| segment.name == name).unwrap()
}

/// Ohms of a segment of the path, dry and under load.
fn dry_and_load(fixture: &Fixture, codes: &[Vec<i32>], name: &str) -> [f64; 2] {
    let i = 1 + 2 * place_in_file(fixture, name);
    [ohms(&codes[i], Gain::X16, Gain::X64), ohms(&codes[i + 1], Gain::X16, Gain::X1)]
}

#[test]
fn every_segment_reads_what_it_is() {
    let fixture = example("tide-gauge-head");
    let plan = path_plan(&fixture);
    for seed in 0..5 {
        let mut bench = on(&fixture, &Spec::new(seed));
        let (codes, why) = run(&mut bench, &plan);
        assert_eq!(why, RunEnd::Complete);
        let truth = bench.transport().truth().resistance;
        for (segment, Ohms(truth)) in fixture.board.segments.iter().zip(truth) {
            let [dry, load] = dry_and_load(&fixture, &codes, &segment.name);
            // One millisecond of noise at gain 16 is 3 µV: 5 mΩ dry, 60 µΩ at 50 mA, less by delta mode.
            assert!((load - truth).abs() < 60e-6 + 2.5e-3 * truth, "{}: {load} {}", segment.name, truth);
            assert!((dry - truth).abs() < 4e-3 + 3e-3 * truth, "{}: {dry} {}", segment.name, truth);
        }
    }
}

/// The relays' coils, over whole runs, only ever change while no source and no burn-out current is on.
#[test]
fn relays_move_cold() {
    let fixture = example("tide-gauge-head");
    let plan = path_plan(&fixture);
    for faults in [vec![], vec!["tail trace=open"], vec!["power switch=film"], vec!["lid=70 ms"]] {
        let spec = faults.iter().fold(Spec::new(3), |spec, fault| spec.fault(*fault));
        let mut bench = on(&fixture, &spec);
        bench.transport_mut().keep_trace(true);
        run(&mut bench, &plan);
        let (mut excited, mut burnout, mut driven, mut moved) = (false, false, 0i32, 0);
        for event in bench.transport_mut().trace() {
            match event.what {
                Change::Excitation { on } => excited = on,
                Change::Burnout { on } => burnout = on,
                Change::Relay { on, .. } => {
                    assert!(!excited && !burnout, "{event:?} {faults:?}");
                    driven += if on { 1 } else { -1 };
                    moved += 1;
                }
                Change::Reverse { .. } | Change::Placed(_) | Change::Contact { .. } => {}
            }
        }
        assert!(
            moved >= 8 && driven == 0 && !excited && !burnout,
            "{faults:?}: {moved} moved, {driven} driven"
        );
    }
}

#[test]
fn a_film_reads_high_dry_until_the_load_has_broken_it() {
    let fixture = example("tide-gauge-head");
    let force = [fixture.board.supply.from, fixture.board.supply.to[0]];
    let switch = fixture.board.segment(fixture.board.segment_named("power switch").unwrap());
    let at = walk(&fixture, force, [switch.from, switch.to]);
    let dry = ratio(Source::Dry, at, Gain::X64, Gain::X128, 6);
    let plan = [residual(&fixture), dry, ratio(Source::Load, at, Gain::X16, Gain::X1, 3), dry];
    let mut bench = on(&fixture, &Spec::new(2).fault("power switch=film"));
    let mut dry_readings = || {
        let (codes, _) = run(&mut bench, &plan);
        let readings = [1, 3].map(|i| ohms(&codes[i], Gain::X64, Gain::X128));
        in_order(&fixture).into_iter().for_each(|state| place(&mut bench, state));
        readings
    };
    for _ in 0..2 {
        let [before, after] = dry_readings();
        assert!((before / 330.0 - 1.0).abs() < 0.01 && after < 1.0, "{before} {after}");
    }
}

#[test]
fn a_flaky_contact_is_seen_to_jump() {
    let fixture = example("tide-gauge-head");
    let mut bench = on(&fixture, &Spec::new(2).fault("power switch=flaky"));
    let (codes, _) = run(&mut bench, &path_plan(&fixture));
    let load = &codes[2 + 2 * place_in_file(&fixture, "power switch")][2..];
    let sizes = load.chunks_exact(2).map(|pair| (f64::from(pair[0]) / f64::from(pair[1])).abs());
    let (low, high) = sizes.fold((f64::MAX, 0f64), |(low, high), size| (low.min(size), high.max(size)));
    assert!(high > 3.0 * low, "{low} {high}");
}

/// What the residual check, which every excited run begins with, makes of a unit that lives, and of bad contacts. With
/// the switch on, the bulk capacitor takes the burn-out current of a unit whose force pin is missing: then the
/// current through Rm has to tell.
#[test]
fn faults_that_forbid_a_current_are_seen_before_any_flows() {
    let fixture = example("tide-gauge-head");
    let plan = path_plan(&fixture);
    let [off, on] = in_order(&fixture)[..] else { panic!("two states") };
    let cases = [
        (on, "battery=3.0 V", RunEnd::Residual),
        (off, "battery=3.0 V", RunEnd::Residual),
        (on, "charge=5 V", RunEnd::Residual),
        (on, "cell+:sense=5 kohm", RunEnd::NoContact),
        (on, "cell+:sense=open", RunEnd::NoContact),
        (on, "cell-:sense-=never closes", RunEnd::NoContact),
        (off, "cell+:force=open", RunEnd::NoContact),
    ];
    for (state, fault, end) in cases {
        let mut bench = greeted(&fixture, &Spec::new(3).fault(fault));
        place(&mut bench, state);
        bench.transport_mut().keep_trace(true);
        let (_, why) = run(&mut bench, &plan);
        assert_eq!(why, end, "{fault}");
        let excited =
            bench.transport_mut().trace().iter().any(|event| event.what == Change::Excitation { on: true });
        assert!(!excited, "{fault}");
    }
}

/// 47 µF at 5 V across the 100 Ω bleed: under 50 mV after ln(100) time constants, 21.6 ms.
#[test]
fn the_bleed_relay_empties_the_bulk_capacitor() {
    let fixture = example("tide-gauge-head");
    let at = residual(&fixture).contacts;
    let bleed = |millis| Shot { contacts: at, source: Source::Off, method: Method::Bleed { millis } };
    for (millis, end) in [(5, RunEnd::Residual), (40, RunEnd::Complete)] {
        let mut bench = on(&fixture, &Spec::new(3).fault("charge=5 V"));
        let (_, why) = run(&mut bench, &[bleed(millis), residual(&fixture)]);
        assert_eq!(why, end, "{millis} ms");
    }
}

#[test]
fn an_opened_lid_ends_the_run_with_everything_off() {
    let fixture = example("tide-gauge-head");
    let mut bench = on(&fixture, &Spec::new(3).fault("lid=100 ms"));
    bench.transport_mut().keep_trace(true);
    let (_, why) = run(&mut bench, &path_plan(&fixture));
    assert_eq!(why, RunEnd::Fault(Fault::Lid));
    let last = bench.transport_mut().trace().last().copied().unwrap();
    assert!(last.at_us < 100_000 + 10_000, "{last:?}");

    let mut bench = greeted(&fixture, &Spec::new(3).fault("lid=0 ms"));
    assert!(bench.status().unwrap().lid_open);
}

/// The operator and the clock stand still for a second of model time while a plan runs: heartbeats keep it running.
#[test]
fn waiting_is_not_silence() {
    let fixture = example("tide-gauge-head");
    let mut bench = greeted(&fixture, &Spec::new(1));
    let millis = 1_000;
    let shots = [Shot {
        contacts: residual(&fixture).contacts,
        source: Source::Off,
        method: Method::Bleed { millis },
    }];
    let report = bench.run(&shots).unwrap();
    assert_eq!(report.end, RunEnd::Complete);
    assert!(report.device_us > 1_000_000);
    assert_eq!(bench.status().unwrap().fault, None);
}
