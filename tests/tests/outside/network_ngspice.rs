//! The bench's own network, relays, pins, front end and unit, against ngspice on random states of the matrix.
//!
//! Debian's package `ngspice` is needed; without it these tests fail rather than pass unseen.

use copperwalk::quantity::{Amps, Ohms};
use std::{fmt::Write as _, process::Command};

use copperwalk::{
    fixture::{self, Fixture},
    random::Rng,
    virtual_bench::{
        Line, Models, Spec,
        network::{GROUND, Network, Node, Sources},
    },
};

const STATES: u64 = 30;

/// A bench in a random position: relays, sources, clamps, polarity, burn-out, and a unit with faults.
fn random_models(fixture: &Fixture, rng: &mut Rng) -> Models {
    let mut chance = |p: f64| rng.unit() < p;
    let mut spec = Spec::new(0);
    let board = &fixture.board;
    if chance(0.3) {
        spec = spec.fault(format!("{}=open", board.segments[1].name));
    }
    if chance(0.3) {
        let [a, b] = [board.supply.to[0], board.supply.ret].map(|point| &board.point(point).name);
        spec = spec.fault(format!("{a}~{b}=2 ohm"));
    }
    if chance(0.3) {
        spec = spec.fault("battery=3 V");
    }
    spec.unit_seed = (rng.unit() * 1e9) as u64;
    spec.bench_seed = (rng.unit() * 1e9) as u64;
    let mut models = Models::new(fixture, &spec).unwrap();
    let states: Vec<_> = board.state_ids().collect();
    models.place(states[(rng.unit() * states.len() as f64) as usize]);

    // One force pin and one to three sense pins on each rail, whatever the rules of the controller say.
    let (force, sense) = (usize::from(fixture.force_channels), usize::from(fixture.sense_channels));
    let mut bits = vec![0u8; (2 * (force + sense) + 1).div_ceil(8)];
    let mut close = |relay: usize| bits[relay / 8] |= 1 << (relay % 8);
    let mut pick = |n: usize| (rng.unit() * n as f64) as usize;
    let forced: Vec<usize> = fixture.pins.iter().filter_map(|pins| pins.force.map(usize::from)).collect();
    let sensed: Vec<usize> = fixture.pins.iter().filter_map(|pins| pins.sense.map(usize::from)).collect();
    for rail in 0..2 {
        close(2 * forced[pick(forced.len())] + rail);
        for _ in 0..=pick(2) {
            close(2 * (force + sensed[pick(sensed.len())]) + rail);
        }
    }
    if pick(4) == 0 {
        close(2 * (force + sense));
    }
    models.advance(1_000);
    models.set_line(Line::ShiftClear, true);
    for byte in bits.iter().rev() {
        models.chain_byte(*byte);
    }
    models.chain_latch();
    models.set_line(Line::OutputEnable, false);
    models.set_line(Line::Reverse, pick(2) == 0);
    models.set_line(Line::DryClamp, pick(2) == 0);
    models.set_line(Line::IsolationClamp, pick(2) == 0);
    models.set_line(Line::LoadEnable, pick(3) == 0);
    let (burnout, idac) = ((pick(2)) as u8, if pick(2) == 0 { 0x06 } else { 0 });
    models.adc_select();
    for byte in [0x43, 0x80, burnout, idac, 0xA0] {
        models.adc_byte(byte);
    }
    // All contacts rest, the current source is up, and a conversion has let the compliance be found.
    models.advance(3_000);
    models.adc_byte(0x08);
    models.advance(60_000);
    models
}

/// Nodes with a way to ground.
fn grounded(network: &Network) -> Vec<bool> {
    let mut reached = vec![false; network.nodes()];
    reached[GROUND] = true;
    for _ in 0..network.nodes() {
        for (_, a, b, _) in network.branches() {
            if reached[a] || reached[b] {
                (reached[a], reached[b]) = (true, true);
            }
        }
    }
    reached
}

fn netlist(network: &Network, sources: &Sources, grounded: &[bool]) -> String {
    let mut text = String::from("* one state of the modelled bench\n");
    for (i, (branch, a, b, Ohms(ohms))) in network.branches().enumerate() {
        let force: f64 =
            sources.forces().iter().filter(|(of, _)| *of == branch).map(|(_, voltage)| voltage.0).sum();
        let _ = match force {
            0.0 => writeln!(text, "R{i} {a} {b} {ohms:.17e}"),
            _ => writeln!(text, "R{i} {a} x{i} {ohms:.17e}\nV{i} x{i} {b} DC {force:.17e}"),
        };
    }
    for (i, (node, Amps(amps))) in sources.currents().iter().enumerate() {
        let _ = writeln!(text, "I{i} 0 {node} DC {amps:.17e}");
    }
    // What floats, such as a check standard nobody uses, gets a definite voltage.
    for node in (0..grounded.len()).filter(|&node| !grounded[node]) {
        let _ = writeln!(text, "Rfloat{node} {node} 0 1e12");
    }
    text.push_str(".control\nset numdgt=16\nop\n");
    for node in (1..network.nodes()).filter(|&node| grounded[node]) {
        let _ = writeln!(text, "print v({node})");
    }
    text.push_str("quit\n.endc\n.end\n");
    text
}

fn ngspice(netlist: &str) -> Vec<(Node, f64)> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("bench.cir");
    std::fs::write(&file, netlist).unwrap();
    let output = Command::new("ngspice").arg("-b").arg(&file).output().unwrap_or_else(|error| {
        panic!("ngspice cannot be run ({error}): install it, on Debian with `apt install ngspice`")
    });
    let text = String::from_utf8_lossy(&output.stdout);
    let voltages: Vec<_> = text
        .lines()
        .filter_map(|line| line.trim().strip_prefix("v(")?.split_once(") = "))
        .map(|(node, volts)| (node.parse().unwrap(), volts.trim().parse().unwrap()))
        .collect();
    assert!(!voltages.is_empty(), "ngspice said:\n{text}{}", String::from_utf8_lossy(&output.stderr));
    voltages
}

/// ngspice's own rounding: its matrix holds sums of conductances, 1000 S for a milliohm of copper, to some 10⁻¹³ S.
/// Where a node hangs on megohms of isolation, that is more than a millionth. (For such states the voltages here
/// were compared with exact fractions once: they agree to 2·10⁻¹⁵.)
const NGSPICE_ROUNDS_SIEMENS: f64 = 1e-12;

/// Resistance of every node against ground.
fn ohms_to_ground(network: &Network) -> Vec<f64> {
    let factored = network.clone().factor();
    let ohms = |node| {
        let mut sources = Sources::default();
        sources.current(node, Amps(1.0));
        factored.solve(&sources)[node].0
    };
    (0..network.nodes()).map(ohms).collect()
}

#[test]
fn random_states_agree_with_ngspice() {
    let mut rng = Rng::new(2026);
    let (mut tied, mut floating) = ((0, 0f64), (0, 0f64));
    for name in ["tide-gauge-head", "trail-counter", "greenhouse-valve-driver"] {
        let path = format!("{}/../fixtures/{name}/fixture.toml", env!("CARGO_MANIFEST_DIR"));
        let fixture = fixture::read(path.as_ref()).unwrap();
        for state in 0..STATES / 3 {
            let mut models = random_models(&fixture, &mut rng);
            let (network, sources, ours) = models.snapshot();
            let grounded = grounded(network);
            let theirs = ngspice(&netlist(network, &sources, &grounded));
            assert_eq!(theirs.len(), grounded.iter().filter(|grounded| **grounded).count() - 1);
            let ohms = ohms_to_ground(network);
            for (node, volts) in theirs {
                let error = (ours[node].0 - volts).abs() / volts.abs().max(1e-6);
                let (group, allowed) = match ohms[node] * NGSPICE_ROUNDS_SIEMENS {
                    rounding if rounding < 1e-6 => (&mut tied, 1e-6),
                    rounding => (&mut floating, 10.0 * rounding),
                };
                assert!(
                    error <= allowed,
                    "{name}, state {state}, node {node} ({} Ω): {} V, ngspice {volts} V",
                    ohms[node],
                    ours[node].0
                );
                *group = (group.0 + 1, group.1.max(error));
            }
        }
    }
    let ((tied, worst), (floating, worst_floating)) = (tied, floating);
    println!(
        "{STATES} states: {tied} node voltages agree to {worst:.0e}, {floating} on megohms to {worst_floating:.0e}"
    );
    assert!(tied > 600, "{tied} compared");
}
