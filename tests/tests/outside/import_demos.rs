//! Imported layouts against the outside world: three supply paths on demonstration boards of Debian's `kicad-demos` 6.0.11, whose
//! copper was computed for this project by finite elements with another program. Its conventions: 35 µm of copper at 20 °C, the
//! whole end pad one potential, rims of other plated holes one potential on each layer, barrels plated with 25 µm outside the
//! finished hole. Nothing of the boards is kept here; install the package to run this (`tests/run` does).

use std::path::{Path, PathBuf};

use copperwalk::import::{self, Request, cut, layout::Layout, net::Net, sheet};
use copperwalk::quantity::Amps;

fn demo(name: &str) -> PathBuf {
    let path = Path::new("/usr/share/kicad/demos").join(name);
    assert!(path.is_file(), "{} is missing: install Debian's kicad-demos", path.display());
    path
}

fn pad(layout: &Layout, name: &str) -> usize {
    layout.pads.iter().position(|pad| layout.pad_name(pad) == name).unwrap_or_else(|| panic!("no pad {name}"))
}

/// What the copper between two pads of one net reads, all of it taken together, mΩ.
fn piece(layout: &Layout, from: &str, to: &str) -> f64 {
    let (from, to) = (pad(layout, from), pad(layout, to));
    let net = Net::of(layout, layout.pads[from].net.unwrap());
    let spot = |pad| net.spots_of_pad(pad).next().unwrap();
    let stretch = cut::between(&net, spot(from), spot(to));
    1e3 * sheet::solve(layout, &net, &stretch, 0.002, Amps(0.1)).unwrap().resistance.0
}

/// Board, from, to, and mΩ by finite elements.
const PIECES: [(&str, &str, &str, f64); 5] = [
    ("pic_programmer/pic_programmer.kicad_pcb", "P1.2", "D1.2", 10.9609),
    ("pic_programmer/pic_programmer.kicad_pcb", "D1.1", "U3.1", 32.5143),
    ("complex_hierarchy/complex_hierarchy.kicad_pcb", "P2.1", "D1.2", 4.9186),
    ("complex_hierarchy/complex_hierarchy.kicad_pcb", "D1.1", "U2.3", 10.2555),
    // Through a filled zone.
    ("pic_programmer/pic_programmer.kicad_pcb", "U3.2", "P1.1", 1.3305),
];

#[test]
fn copper_reads_what_finite_elements_say() {
    let mut far = Vec::new();
    for (board, from, to, published) in PIECES {
        let layout = import::read(&demo(board)).unwrap();
        let found = piece(&layout, from, to);
        let apart = found / published - 1.0;
        println!(
            "{board} {from} to {to}: {found:.4} mΩ, finite elements {published} mΩ, {:+.3} %",
            100.0 * apart
        );
        if apart.abs() > 0.005 {
            far.push(format!("{from} to {to}: {found} instead of {published}"));
        }
    }
    assert!(far.is_empty(), "{far:#?}");
}

fn imported(board: &str, from: &str, to: &str, ret: &str) -> import::Imported {
    let request = Request { from: from.into(), to: vec![to.into()], ret: ret.into(), through: Vec::new() };
    import::import(&demo(board), &request).unwrap_or_else(|error| panic!("{board}: {error}"))
}

/// The whole way: its parts, its points, its sum.
#[test]
fn supply_paths_are_found_and_cut() {
    for (board, from, to, ret, diode, copper_mohm) in [
        ("pic_programmer/pic_programmer.kicad_pcb", "P1.2", "U3.1", "P1.1", "diode D1", 43.4752),
        ("complex_hierarchy/complex_hierarchy.kicad_pcb", "P2.1", "U2.3", "P2.2", "diode D1", 15.1741),
    ] {
        let imported = imported(board, from, to, ret);
        println!("{}", imported.text);
        let board = imported.board.as_ref().unwrap();
        assert!(board.segment_named(diode).is_some(), "{}", imported.text);
        assert_eq!(board.point(board.supply.from).name, from);
        let graph = copperwalk::board::graph::Graph::of(board);
        let way = graph.path(board.supply.from, board.supply.to[0]).unwrap();
        let sum: f64 = way
            .iter()
            .map(|id| board.segment(*id))
            .filter(|segment| segment.kind.is_copper())
            .map(|segment| segment.expected.typical.0 * 1e3)
            .sum();
        // Pads in the middle count as one potential when the way is cut at them: less than the whole by a few percent.
        assert!((0.9..1.02).contains(&(sum / copper_mohm)), "{sum} mΩ of {copper_mohm} mΩ");
        assert!(imported.questions.len() >= 2);
    }
}
