//! Inductances, capacitors and junctions of the modelled bench against ngspice, as time passes: random units and positions of the
//! matrix, a source switched on, and every node compared at several times after it.
//!
//! Debian's package `ngspice` is needed; without it these tests fail rather than pass unseen.

use std::{
    fmt::Write as _,
    process::{Command, Stdio},
};

use copperwalk::{
    quantity::{Amps, Ohms, Volts},
    random::Rng,
    virtual_bench::{
        Line, Models, Spec,
        network::{GROUND, Network, Sources},
        transient::{Charges, Transient},
    },
};
use copperwalk_tests::boards;

const UNITS: u64 = 20;
/// When the voltages are compared, µs after the source has been switched.
const TIMES_US: [u64; 6] = [5, 20, 80, 300, 1_000, 4_000];
/// Share by which they may differ …
const ALLOWED: f64 = 1e-3;
/// … of this at least.
const LEAST_VOLTS: f64 = 10e-3;

/// A bench and a unit in a random position, about to be driven.
fn random_models(rng: &mut Rng) -> (Models, bool) {
    let mut pick = |n: usize| (rng.unit() * n as f64) as usize;
    let choke = ["22 uH", "100 uH", "470 uH", "2.2 mH", "10 mH"][pick(5)];
    let fixture = boards::buoy_lamp(choke).unwrap();
    let mut spec = Spec::new(0);
    for fault in [
        "lamp.in~cell-=schottky",
        "cell-~lamp.in=silicon",
        "cell+~cell-=body diode",
        "lamp.in~cell-=50 ohm",
        "absorption=5 %",
        "reverse guard=0.2 ohm",
    ] {
        if pick(3) == 0 {
            spec = spec.fault(fault);
        }
    }
    (spec.unit_seed, spec.bench_seed) = (pick(1_000_000) as u64, pick(1_000_000) as u64);
    let mut models = Models::new(&fixture, &spec).unwrap();
    // Two forced points, in either order.
    let forced: Vec<usize> = fixture.pins.iter().filter_map(|pins| pins.force.map(usize::from)).collect();
    let plus = pick(forced.len());
    let minus = (plus + 1 + pick(forced.len() - 1)) % forced.len();
    let relays = 2 * (usize::from(fixture.force_channels) + usize::from(fixture.sense_channels)) + 1;
    let mut bits = vec![0u8; relays.div_ceil(8)];
    for relay in [2 * forced[plus], 2 * forced[minus] + 1] {
        bits[relay / 8] |= 1 << (relay % 8);
    }
    models.advance(1_000);
    models.set_line(Line::ShiftClear, true);
    for byte in bits.iter().rev() {
        models.chain_byte(*byte);
    }
    models.chain_latch();
    models.set_line(Line::OutputEnable, false);
    models.set_line(Line::Reverse, pick(2) == 0);
    let load = pick(2) == 0;
    models.set_line(Line::DryClamp, !load && pick(2) == 0);
    models.set_line(Line::IsolationClamp, false);
    models.advance(5_000);
    (models, load)
}

/// Switches the load source on, or the ADC's.
fn drive(models: &mut Models, load: bool) {
    if load {
        return models.set_line(Line::LoadEnable, true);
    }
    models.adc_select();
    for byte in [0x43, 0x80, 0, 0x06, 0xA0] {
        models.adc_byte(byte);
    }
    // It starts 200 µs later.
    models.advance(models.now_us() + 200);
}

/// Everything as ngspice reads it, from these charges on.
fn netlist(
    network: &Network,
    sources: &Sources,
    charges: &Charges,
    branches: &[copperwalk::virtual_bench::network::Branch],
    transient: &Transient,
) -> String {
    let mut text = String::from("* one unit of the modelled bench\n");
    for (i, (branch, a, b, Ohms(ohms))) in network.branches().enumerate() {
        let force: f64 = sources.forces().iter().filter(|(of, _)| *of == branch).map(|(_, v)| v.0).sum();
        let capacitor = branches.iter().position(|of| *of == branch).map(|at| &charges.capacitors[at]);
        let _ = match (capacitor, force) {
            (Some(of), _) => writeln!(
                text,
                "R{i} {a} x{i} {ohms:.17e}\nC{i} x{i} {b} {:.17e} IC={:.17e}",
                of.capacitance.0, of.voltage.0
            ),
            (None, 0.0) => writeln!(text, "R{i} {a} {b} {ohms:.17e}"),
            (None, _) => writeln!(text, "R{i} {a} x{i} {ohms:.17e}\nV{i} x{i} {b} DC {force:.17e}"),
        };
    }
    for (i, (node, Amps(amps))) in sources.currents().iter().enumerate() {
        let _ = writeln!(text, "I{i} 0 {node} DC {amps:.17e}");
    }
    for (i, (coil, amps)) in transient.inductances().iter().zip(&charges.currents).enumerate() {
        let [a, b] = coil.between;
        let _ = writeln!(text, "L{i} {a} {b} {:.17e} IC={:.17e}", coil.henries.0, amps.0);
    }
    for (i, placed) in transient.junctions().iter().enumerate() {
        let [a, b] = placed.between;
        // ngspice's own thermal voltage at 27 °C.
        let emission = placed.junction.slope.0 / 0.025_864_9;
        let _ = writeln!(
            text,
            "D{i} {a} y{i} junction{i}\nVy{i} y{i} {b} DC {:.17e}\n.model junction{i} D(IS={:.17e} N={emission:.17e})",
            placed.against.0, placed.junction.saturation.0
        );
    }
    for node in (0..network.nodes()).filter(|&node| node != GROUND) {
        let _ = writeln!(text, "Rfloat{node} {node} 0 1e17");
    }
    let last = TIMES_US[TIMES_US.len() - 1];
    text.push_str(".options reltol=1e-4 abstol=1e-10 vntol=1e-6 chgtol=1e-12 gmin=1e-15 method=gear\n");
    let _ = writeln!(text, ".control\nset numdgt=12\ntran 0.05u {last}.5u 0 2u uic");
    for node in 1..network.nodes() {
        for at in TIMES_US {
            let _ = writeln!(text, "meas tran v_{node}_{at} FIND v({node}) AT={at}u");
        }
    }
    text.push_str("quit\n.endc\n.end\n");
    text
}

/// By node and time: the voltage.
fn ngspice(netlist: &str) -> Vec<(usize, u64, f64)> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("unit.cir");
    std::fs::write(&file, netlist).unwrap();
    let output =
        Command::new("ngspice").arg("-b").arg(&file).stdin(Stdio::null()).output().unwrap_or_else(|error| {
            panic!("ngspice cannot be run ({error}): install it, on Debian with `apt install ngspice`")
        });
    let text = String::from_utf8_lossy(&output.stdout);
    let found: Vec<_> = text
        .lines()
        .filter_map(|line| {
            let (name, volts) = line.trim().strip_prefix("v_")?.split_once('=')?;
            let (node, at) = name.trim().split_once('_')?;
            Some((node.parse().ok()?, at.parse().ok()?, volts.trim().parse().ok()?))
        })
        .collect();
    assert!(!found.is_empty(), "ngspice said:\n{text}{}", String::from_utf8_lossy(&output.stderr));
    found
}

#[test]
fn random_units_with_inductances_and_junctions_follow_ngspice() {
    let mut rng = Rng::new(71);
    let (mut compared, mut worst, mut moving) = (0, 0.0_f64, 0);
    let mut off = Vec::new();
    for unit in 0..UNITS {
        let (mut models, load) = random_models(&mut rng);
        drive(&mut models, load);
        let start_us = models.now_us();
        let branches = {
            models.transient();
            models.capacitor_branches().to_vec()
        };
        let (network, sources, charges, transient) = models.transient();
        let transient = transient.expect("a unit with a choke");
        let text = netlist(network, &sources, charges, &branches, transient);
        let nodes = network.nodes();
        let theirs = ngspice(&text);
        assert_eq!(theirs.len(), (nodes - 1) * TIMES_US.len(), "unit {unit}:\n{text}");
        let mut course = Vec::new();
        for at_us in TIMES_US {
            models.advance(start_us + at_us);
            models.transient();
            let (_, _, ours): (_, _, Vec<Volts>) = models.snapshot();
            course.push(ours);
        }
        for (node, at_us, volts) in theirs {
            let step = TIMES_US.iter().position(|at| *at == at_us).unwrap();
            let ours = course[step][node].0;
            let error = (ours - volts).abs() / volts.abs().max(LEAST_VOLTS);
            if error > ALLOWED {
                off.push(format!("unit {unit}, node {node} after {at_us} µs: {ours} V, ngspice {volts} V"));
            }
            (compared, worst) = (compared + 1, worst.max(error));
            moving += usize::from((course[0][node].0 - course[TIMES_US.len() - 1][node].0).abs() > 0.05);
        }
    }
    println!("{UNITS} units: {compared} voltages agree to {worst:.1e}");
    assert!(off.is_empty(), "{} differ by more than {ALLOWED}:\n{}", off.len(), off.join("\n"));
    assert!(moving > 500, "{moving} of {compared} voltages moved");
}
