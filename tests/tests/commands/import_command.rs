//! `copperwalk import` as people run it: an invented board from layout to a passing sweep, and what is refused.

use std::fs;

use copperwalk_tests::program::{Place, Ran};

/// An invented board: a plug, a fuse, a via to the back, a switch with three pads, and a load; its ground is a pour on the back.
const LAYOUT: &str = r#"(kicad_pcb (version 20221018) (generator pcbnew)
  (general (thickness 1.6))
  (title_block (title "bicycle lamp driver") (rev "C"))
  (layers (0 "F.Cu" signal) (31 "B.Cu" signal) (44 "Edge.Cuts" user))
  (setup (stackup (layer "F.Cu" (type "copper") (thickness 0.035)) (layer "dielectric 1" (type "core") (thickness 1.51))
    (layer "B.Cu" (type "copper") (thickness 0.035))))
  (net 0 "") (net 1 "GND") (net 2 "/IN") (net 3 "/FUSED") (net 4 "/ON")
  (footprint "plug" (layer "F.Cu") (at 5 10)
    (fp_text reference "J1" (at 0 0) (layer "F.SilkS")) (fp_text value "plug" (at 0 0) (layer "F.Fab"))
    (pad "1" thru_hole rect (at 0 0) (size 2 2) (drill 1) (layers "*.Cu" "*.Mask") (net 2 "/IN"))
    (pad "2" thru_hole circle (at 0 5) (size 2 2) (drill 1) (layers "*.Cu" "*.Mask") (net 1 "GND")))
  (footprint "fuse" (layer "F.Cu") (at 15 10)
    (fp_text reference "F1" (at 0 0) (layer "F.SilkS")) (fp_text value "1A" (at 0 0) (layer "F.Fab"))
    (pad "1" smd roundrect (at -1.5 0) (size 1 1.4) (layers "F.Cu" "F.Mask") (roundrect_rratio 0.25) (net 2 "/IN"))
    (pad "2" smd roundrect (at 1.5 0) (size 1 1.4) (layers "F.Cu" "F.Mask") (roundrect_rratio 0.25) (net 3 "/FUSED")))
  (footprint "switch" (layer "F.Cu") (at 35 10)
    (fp_text reference "SW1" (at 0 0) (layer "F.SilkS")) (fp_text value "SPDT" (at 0 0) (layer "F.Fab"))
    (pad "1" thru_hole circle (at -2.5 0) (size 1.6 1.6) (drill 0.8) (layers "*.Cu" "*.Mask"))
    (pad "2" thru_hole circle (at 0 0) (size 1.6 1.6) (drill 0.8) (layers "*.Cu" "*.Mask") (net 4 "/ON"))
    (pad "3" thru_hole circle (at 2.5 0) (size 1.6 1.6) (drill 0.8) (layers "*.Cu" "*.Mask") (net 3 "/FUSED")))
  (footprint "driver" (layer "F.Cu") (at 45 20)
    (fp_text reference "U1" (at 0 0) (layer "F.SilkS")) (fp_text value "driver" (at 0 0) (layer "F.Fab"))
    (pad "1" smd rect (at -2 0) (size 1 2) (layers "F.Cu" "F.Mask") (net 4 "/ON"))
    (pad "2" thru_hole circle (at 2 0) (size 1.6 1.6) (drill 0.8) (layers "*.Cu" "*.Mask") (net 1 "GND")))
  (gr_rect (start 0 0) (end 50 30) (stroke (width 0.1) (type solid)) (fill no) (layer "Edge.Cuts"))
  (segment (start 5 10) (end 13.5 10) (width 0.8) (layer "F.Cu") (net 2))
  (segment (start 16.5 10) (end 25 10) (width 0.8) (layer "F.Cu") (net 3))
  (via (at 25 10) (size 0.9) (drill 0.4) (layers "F.Cu" "B.Cu") (net 3))
  (segment (start 25 10) (end 28 7) (width 0.8) (layer "B.Cu") (net 3))
  (segment (start 28 7) (end 34.5 7) (width 0.8) (layer "B.Cu") (net 3))
  (segment (start 34.5 7) (end 37.5 10) (width 0.8) (layer "B.Cu") (net 3))
  (segment (start 35 10) (end 35 15) (width 0.8) (layer "F.Cu") (net 4))
  (segment (start 35 15) (end 43 20) (width 0.6) (layer "F.Cu") (net 4))
  (zone (net 1) (net_name "GND") (layer "B.Cu") (min_thickness 0.25) (filled_areas_thickness no) (fill yes)
    (polygon (pts (xy 2 12) (xy 48 12) (xy 48 28) (xy 2 28)))
    (filled_polygon (layer "B.Cu") (pts (xy 2 12) (xy 48 12) (xy 48 28) (xy 2 28)))))
"#;

const ASKED: [&str; 10] = [
    "import",
    "lamp.kicad_pcb",
    "--from",
    "J1.1",
    "--to",
    "U1.1",
    "--return",
    "J1.2",
    "--through",
    "SW1.3-2",
];

fn import(place: &Place, more: &[&str]) -> Ran {
    place.run(&[&ASKED[..], more].concat())
}

#[test]
fn a_layout_becomes_a_board_that_passes_a_sweep() {
    let place = Place::new();
    place.file("lamp.kicad_pcb", LAYOUT);
    let ran = import(&place, &["-o", "board.toml"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    assert!(
        ran.out.contains("bicycle lamp driver") && ran.out.contains("Questions that the layout leaves open"),
        "{}",
        ran.out
    );
    let board = fs::read_to_string(place.0.path().join("board.toml")).unwrap();
    for part in [
        "name = \"J1 to F1\"\nkind = \"trace\"",
        "name = \"fuse F1\"\nkind = \"fuse\"",
        "rating = \"1.00 A\"",
        "name = \"F1 to via 1\"\nkind = \"trace\"",
        "name = \"via 1\"\nkind = \"via\"",
        "drill = \"0.45 mm\"",
        "name = \"via 1 to SW1\"\nkind = \"trace\"",
        "name = \"switch SW1\"\nkind = \"switch\"",
        // Two widths one after the other are no plain trace.
        "name = \"SW1 to U1\"\nkind = \"pour\"",
        "name = \"J1 to U1\"\nkind = \"pour\"",
        "thickness = \"1.545 mm\"",
        "In which position does SW1 conduct?",
    ] {
        assert!(board.contains(part), "{part} is missing in\n{board}");
    }
    assert_eq!(place.run(&["check", "board.toml"]).code, 0);
    place.file("fixture.toml", fixture(&board));
    let checked = place.run(&["check", "fixture.toml"]);
    assert_eq!(checked.code, 0, "{}{}", checked.out, checked.err);
    let planned = place.run(&["plan", "fixture.toml"]);
    assert_eq!(planned.code, 0, "{}{}", planned.out, planned.err);
    let swept = place.run(&["sweep", "fixture.toml", "--serial", "L-1", "--virtual"]);
    assert_eq!(swept.code, 0, "{}{}", swept.out, swept.err);
}

/// Force and sense pins for every point, each on channels of its own.
fn fixture(board: &str) -> String {
    let points = board.split("[points]\n").nth(1).unwrap().split("\n\n").next().unwrap();
    let names = points.lines().filter_map(|line| line.split_once(" = {").map(|(name, _)| name));
    let pins: Vec<String> =
        names.enumerate().map(|(i, name)| format!("{name} = {{ force = {i}, sense = {i} }}")).collect();
    format!(
        "format = 1\n[fixture]\nname = \"lamp bed\"\nboard = \"board.toml\"\n[controller]\nforce_channels = 16\n\
         sense_channels = 48\n[pins]\n{}\n[[standard]]\nname = \"1R\"\nforce = [14, 15]\nsense = [46, 47]\n\
         value = \"1.0000 ohm\"\ntolerance = \"0.1 %\"\n",
        pins.join("\n")
    )
}

#[test]
fn a_board_file_that_is_there_is_kept() {
    let place = Place::new();
    place.file("lamp.kicad_pcb", LAYOUT);
    place.file("board.toml", "# my notes\n");
    let ran = import(&place, &["-o", "board.toml"]);
    assert_eq!(ran.code, 2);
    assert!(
        ran.err.contains("board.toml is there already, and whoever wrote in it would lose that"),
        "{}",
        ran.err
    );
    assert_eq!(fs::read_to_string(place.0.path().join("board.toml")).unwrap(), "# my notes\n");
    assert_eq!(import(&place, &["-o", "board.toml", "--force"]).code, 0);
}

#[test]
fn what_is_refused_says_why_and_writes_nothing() {
    let unfilled = LAYOUT.replace("    (filled_polygon", "    (other");
    let broken = LAYOUT.replace("(segment (start 25 10) (end 28 7)", "(segment (start 26 9) (end 28 7)");
    let short = &LAYOUT[..LAYOUT.len() - 200];
    for (layout, from, to, ret, through, wanted) in [
        (
            LAYOUT,
            "J1.1",
            "U1.1",
            "J1.2",
            "",
            "between them stand SW1 (SPDT): if the current passes one, name its pads with --through",
        ),
        (LAYOUT, "J1", "U1.1", "J1.2", "SW1.3-2", "is no point of a layout; write the part's reference"),
        (LAYOUT, "J1.9", "U1.1", "J1.2", "SW1.3-2", "the layout has no pad \"J1.9\"; J1 has the pads 1, 2"),
        (LAYOUT, "J2.1", "U1.1", "J1.2", "SW1.3-2", "did you mean"),
        (LAYOUT, "SW1.1", "U1.1", "J1.2", "SW1.3-2", "belongs to no net"),
        (LAYOUT, "J1.1", "U1.1", "F1.1", "SW1.3-2", "supply and return must be apart"),
        (LAYOUT, "J1.1", "U1.2", "J1.2", "SW1.3-2", "name its other pad"),
        (LAYOUT, "J1.1", "U1.1", "J1.2", "SW1.3", "this is no pair of pads"),
        (LAYOUT, "J1.1", "U1.1", "J1.2", "SW1.3-7", "no part with these two pads"),
        (
            &unfilled,
            "J1.1",
            "U1.1",
            "J1.2",
            "SW1.3-2",
            "refill all zones in the layout program, save, and import again",
        ),
        (&broken, "J1.1", "U1.1", "J1.2", "SW1.3-2", "finish the layout, or name pads that are joined"),
        (short, "J1.1", "U1.1", "J1.2", "SW1.3-2", "the file ends inside the list that begins here"),
        (
            "format = 1\n",
            "J1.1",
            "U1.1",
            "J1.2",
            "",
            "is neither a KiCad board (.kicad_pcb) nor an IPC-D-356A netlist",
        ),
    ] {
        let place = Place::new();
        place.file("lamp.kicad_pcb", layout);
        let mut args =
            vec!["import", "lamp.kicad_pcb", "--from", from, "--to", to, "--return", ret, "-o", "board.toml"];
        if !through.is_empty() {
            args.extend(["--through", through]);
        }
        let ran = place.run(&args);
        assert_eq!(ran.code, 2, "{wanted}: {}", ran.out);
        let said = ran.err.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(wanted) && said.contains("nothing was written"), "{wanted}: {said}");
        assert!(!place.0.path().join("board.toml").exists());
    }
}

/// An invented board: a plug and a lamp, joined by a line on the front and one on the back.
const GERBER: [(&str, &str); 3] = [
    (
        "a",
        "%TF.FileFunction,Copper,L1,Top*%%FSLAX46Y46*MOMM*%%TA.AperFunction,ComponentPad*ADD10C,1.6*%\
         %TA.AperFunction,Conductor*ADD11C,0.5*%D10*%TO.P,J1,1*TO.N,IN*%X5000000Y5000000D03*%TO.P,J1,2*TO.N,GND*%Y15000000D03*\
         %TO.P,U1,1*TO.N,IN*%X45000000Y5000000D03*%TO.P,U1,2*TO.N,GND*%Y15000000D03*%TD.P*%D11*%TO.N,IN*%\
         X5000000Y5000000D02*X45000000D01*M02*",
    ),
    (
        "b",
        "%TF.FileFunction,Copper,L2,Bot*%%FSLAX46Y46*MOMM*%%TA.AperFunction,ComponentPad*ADD10C,1.6*%\
         %TA.AperFunction,Conductor*ADD11C,0.5*%D10*%TO.P,J1,1*TO.N,IN*%X5000000Y5000000D03*%TO.P,J1,2*TO.N,GND*%Y15000000D03*\
         %TO.P,U1,1*TO.N,IN*%X45000000Y5000000D03*%TO.P,U1,2*TO.N,GND*%Y15000000D03*%TD.P*%D11*\
         X5000000Y15000000D02*X45000000D01*M02*",
    ),
    (
        "c",
        "M48\n; #@! TF.FileFunction,Plated,1,2,PTH\nMETRIC\nT1C0.8\n%\nT1\nX5.0Y5.0\nX5.0Y15.0\nX45.0Y5.0\nX45.0Y15.0\nM30\n",
    ),
];

#[test]
fn a_folder_of_gerber_files_is_imported_and_what_it_lacks_is_named() {
    let ran = |changed: &[(&str, &str)]| {
        let place = Place::new();
        fs::create_dir(place.0.path().join("plots")).unwrap();
        for (name, text) in GERBER {
            let text = changed.iter().find(|(other, _)| *other == name).map_or(text, |(_, text)| text);
            place.file(&format!("plots/{name}"), text);
        }
        // What is no layer is passed over.
        fs::write(place.0.path().join("plots/picture.png"), [0x89, b'P', 0, 1]).unwrap();
        let args =
            ["import", "plots", "--from", "J1.1", "--to", "U1.1", "--return", "J1.2", "-o", "board.toml"];
        let ran = place.run(&args);
        let said = ran.err.split_whitespace().collect::<Vec<_>>().join(" ");
        (ran.code, said, fs::read_to_string(place.0.path().join("board.toml")).unwrap_or_default())
    };
    let (code, said, board) = ran(&[]);
    assert_eq!(code, 0, "{said}");
    assert!(board.contains("length = \"38.4 mm\"") && !board.contains("thickness ="), "{board}");
    // Attributes of another name say nothing of nets and pins.
    let [top, bottom] = [0, 1].map(|layer| GERBER[layer].1.replace("TO.", "TO.X"));
    let refusals: [(&[(&str, &str)], &str); 4] = [
        (&[("a", &top), ("b", &bottom)], "export them with X2 attributes and with netlist attributes"),
        (&[("b", "")], "lacks the Gerber file of copper layer L2"),
        (&[("c", "")], "no drill file for them"),
        (
            &[("a", "%TF.FileFunction,Copper,L1,Top*%%MOMM*%%SRX1000000Y1000000I1J1*%")],
            "plots/a:1: a repeat makes 1000000 × 1000000 copies",
        ),
    ];
    for (changed, wanted) in refusals {
        let (code, said, board) = ran(changed);
        assert_eq!((code, board.as_str()), (2, ""), "{wanted}");
        assert!(said.contains(wanted) && said.contains("nothing was written"), "{wanted}: {said}");
    }
}
