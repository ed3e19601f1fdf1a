//! Voltages at the loads of a branching board, with wires that make loops of it, against ngspice.
//!
//! Debian's package `ngspice` is needed; without it these tests fail rather than pass unseen.

use std::fmt::Write as _;
use std::process::{Command, Stdio};

use copperwalk::{
    board::{self, Board, PointId},
    quantity::{Celsius, Ohms, Volts},
    voltage_drop::{Conditions, LoadVoltage, Network, Range, Standing, Value, Wire},
};

const BOARD: &str = include_str!("../../../fixtures/greenhouse-valve-driver/board.toml");
const SOURCE: f64 = 0.25;

/// Numbers from 0 to 1 (Knuth's MMIX generator, from memory).
struct Draw(u64);

impl Draw {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// From 0.3 mΩ to 3 Ω, every decade alike.
    fn ohms(&mut self) -> f64 {
        3e-4 * 10f64.powf(4.0 * self.unit())
    }
}

fn node(board: &Board, point: PointId) -> usize {
    let name = &board.point(point).name;
    board.points.iter().position(|known| known.name == *name).unwrap() + 1
}

/// Voltage between a load and the point its current comes back from, by ngspice.
fn by_ngspice(
    board: &Board,
    ohms: &[Option<f64>],
    wires: &[(PointId, PointId, f64)],
    found: &LoadVoltage,
) -> f64 {
    let mut text = String::from("* a supply path\n");
    let closed = |at: usize| board.segments[at].conducts_in(found.state);
    for (i, (segment, ohms)) in board.segments.iter().zip(ohms).enumerate() {
        if let (Some(ohms), true) = (ohms, closed(i)) {
            let _ = writeln!(text, "R{i} {} {} {ohms:e}", node(board, segment.from), node(board, segment.to));
        }
    }
    for (i, (from, to, ohms)) in wires.iter().enumerate() {
        let _ = writeln!(text, "RW{i} {} {} {ohms:e}", node(board, *from), node(board, *to));
    }
    let supply = &board.supply;
    let (load, back) = (node(board, found.load), node(board, found.back));
    let _ =
        writeln!(text, "VS cell 0 {}\nRS cell {} {SOURCE}", supply.voltage[0].0, node(board, supply.from));
    // The return terminal is the cell's other one; what hangs in the air is held by a gigaohm.
    let _ = writeln!(text, "VR {} 0 0\nIL {load} {back} {}", node(board, supply.ret), supply.load.0);
    for point in 1..=board.points.len() {
        let _ = writeln!(text, "RG{point} {point} 0 1e12");
    }
    let _ = writeln!(
        text,
        ".control\nset numdgt=12\nop\nlet found = v({load})-v({back})\nprint found\nquit\n.endc\n.end"
    );
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("path.cir");
    std::fs::write(&file, &text).unwrap();
    let output =
        Command::new("ngspice").arg("-b").arg(&file).stdin(Stdio::null()).output().unwrap_or_else(|error| {
            panic!("ngspice cannot be run ({error}): install it, on Debian with `apt install ngspice`")
        });
    let said = String::from_utf8_lossy(&output.stdout);
    let volts = said.lines().find_map(|line| line.trim().strip_prefix("found = ")?.trim().parse().ok());
    volts.unwrap_or_else(|| panic!("ngspice said:\n{said}{}", String::from_utf8_lossy(&output.stderr)))
}

/// Asked for: within 0.1 %. Ten boards with random resistances and open segments, without wires and with up to three.
#[test]
fn loads_on_branches_and_loops_follow_ngspice() {
    let text =
        BOARD.replace("bulk = \"220 uF\"", "bulk = \"220 uF\"\nsource = \"0.25 ohm\"\nbrown_out = \"8 V\"");
    let board = board::parse("board.toml", &text).unwrap();
    let conditions = Conditions { temperature: [Celsius(20.0); 2] };
    let network = Network { board: &board, conditions };
    let mut draw = Draw(7);
    let mut worst = 0f64;
    for round in 0..10 {
        let mut ohms: Vec<Option<f64>> = board.segments.iter().map(|_| Some(draw.ohms())).collect();
        let point = |name: &str| board.point_named(name).unwrap();
        let ends =
            [("vg1.f", "choke.in"), ("node", "drv.in"), ("in-", "radio.gnd"), ("choke.in", "bead.out")];
        let wires: Vec<_> =
            ends[..round % 5].iter().map(|(from, to)| (point(from), point(to), draw.ohms())).collect();
        // What the first wire passes by may be open.
        if !wires.is_empty() && round % 2 == 0 {
            ohms[board.segments.iter().position(|segment| segment.name == "back bus").unwrap()] = None;
        }
        let exact = |ohms: f64| Range::reading(Ohms(ohms), Ohms(0.0));
        let value = |ohms: &Option<f64>| Value {
            range: exact(ohms.unwrap_or(1.0)),
            standing: if ohms.is_some() { Standing::Known } else { Standing::Open },
        };
        let values: Vec<_> = ohms.iter().map(value).collect();
        let laid: Vec<_> =
            wires.iter().map(|&(from, to, ohms)| Wire { from, to, range: exact(ohms) }).collect();
        let found = network.loads(&values, &laid);
        // The last wire leads round the switch: then the loads are supplied in both states.
        assert_eq!(found.len(), if wires.len() > 3 { 4 } else { 2 });
        for load in &found {
            assert!(load.cut.is_empty());
            let theirs = by_ngspice(&board, &ohms, &wires, load);
            for ours in [load.lowest, load.middle] {
                // Of what is lost, which is harder than of what is left.
                let lost = board.supply.voltage[0] - ours;
                worst = worst.max(((ours - Volts(theirs)) / lost).abs());
            }
        }
    }
    println!("voltages lost differ from ngspice by {worst:.1e} at most, relative");
    assert!(worst < 1e-3, "{worst}");
}
