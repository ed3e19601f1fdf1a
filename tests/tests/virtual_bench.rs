//! The modelled bench end to end: the real controller logic, shots over the wire, codes back, against the truth.

use std::time::Duration;

use copperwalk::{
    fixture::{self, Fixture},
    link::Link,
    virtual_bench::{Spec, VirtualBench},
};
use copperwalk_wire::{
    Contacts, FromBench, Gain, Method, PROTOCOL, Rate, Ratio, Shot, Source, ToBench, hardware::RM_OHMS,
    message::RunEnd,
};

const PATIENCE: Duration = Duration::from_secs(5);

fn example(name: &str) -> Fixture {
    let path = format!("{}/../fixtures/{name}/fixture.toml", env!("CARGO_MANIFEST_DIR"));
    fixture::read(path.as_ref()).unwrap()
}

/// Runs a plan and gives the codes of every shot, and how the run ended.
fn run(bench: &mut VirtualBench, shots: &[Shot]) -> (Vec<Vec<i32>>, RunEnd) {
    bench.send(ToBench::Hello { protocol: PROTOCOL }).unwrap();
    assert!(matches!(bench.receive(PATIENCE).unwrap().body, FromBench::Hello(_)));
    bench.send(ToBench::Plan { shots: shots.len() as u16 }).unwrap();
    assert_eq!(bench.receive(PATIENCE).unwrap().body, FromBench::Done);
    for (index, &shot) in shots.iter().enumerate() {
        bench.send(ToBench::Shot { index: index as u16, shot }).unwrap();
    }
    bench.send(ToBench::Run).unwrap();
    assert_eq!(bench.receive(PATIENCE).unwrap().body, FromBench::Done);
    let mut codes = vec![Vec::new(); shots.len()];
    loop {
        match bench.receive(PATIENCE).unwrap().body {
            FromBench::Codes { shot, codes: more, .. } => codes[usize::from(shot)].extend(more),
            FromBench::Shot { .. } => {}
            FromBench::Ended { why, .. } => return (codes, why),
            other => panic!("{other:?}"),
        }
    }
}

fn contacts(force_plus: u8, force_minus: u8, sense_plus: u8, sense_minus: u8) -> Contacts {
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
        proof: true,
        ends: false,
        triples_min: triples,
        wait_us: 0,
        triples_max: triples,
        stop: None,
        gate: None,
    });
    Shot { contacts, source, method }
}

/// Ohms from the codes of a ratio shot: proof codes first, then triples of halves of A, B.
fn ohms(codes: &[i32], gain_a: Gain, gain_b: Gain) -> f64 {
    let (mut a, mut b) = (0.0, 0.0);
    for (i, triple) in codes[2..].chunks_exact(6).enumerate() {
        let fold =
            |k: usize| f64::from(triple[k]) - 2.0 * f64::from(triple[k + 2]) + f64::from(triple[k + 4]);
        let sign = if i % 2 == 0 { 1.0 } else { -1.0 };
        a += sign * fold(0);
        // B keeps its sign whatever the reversal: sum, not alternate.
        b += f64::from(triple[1]) + 2.0 * f64::from(triple[3]) + f64::from(triple[5]);
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
        let mut bench = VirtualBench::new(&fixture, &Spec::new(seed)).unwrap();
        let (codes, why) = run(&mut bench, &plan);
        assert_eq!(why, RunEnd::Complete, "seed {seed}");
        let dry = ohms(&codes[1], Gain::X128, Gain::X64);
        let load = ohms(&codes[2], Gain::X16, Gain::X1);
        assert!((dry / standard.ohms - 1.0).abs() < 3e-3, "seed {seed}: {dry}");
        assert!((load / standard.ohms - 1.0).abs() < 2.5e-3, "seed {seed}: {load}");
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
        run(&mut VirtualBench::new(&fixture, &spec).unwrap(), &plan).0
    };
    assert_eq!(codes(1, 2), codes(1, 2));
    assert_ne!(codes(1, 2), codes(2, 2), "another bench");
    let truth = |unit_seed| {
        VirtualBench::new(&fixture, &Spec { unit_seed, ..Spec::new(5) }).unwrap().truth().ohms_20c
    };
    assert_eq!(truth(1), truth(1));
    assert_ne!(truth(1), truth(2), "another unit");
}
