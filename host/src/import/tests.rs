//! From small invented layouts to segments: one for each thing that trips an importer.

use super::*;
use crate::board::{PointKind, SegmentKind, Side};
use crate::quantity::engineering;

/// A board of 60 × 40 mm: plug J1 (pads 1 and 2), load U1 (pads 1 and 2), their return joined by a track on the back, and what is
/// added. Net 1 is the return's, 2 the supply's, 3 another.
fn layout(items: &str) -> Layout {
    let text = format!(
        r#"(kicad_pcb (version 20221018) (generator pcbnew) (general (thickness 1.6))
  (layers (0 "F.Cu" signal) (1 "In1.Cu" signal) (31 "B.Cu" signal) (44 "Edge.Cuts" user))
  (net 0 "") (net 1 "GND") (net 2 "/IN") (net 3 "/OUT")
  (gr_rect (start 0 0) (end 60 40) (layer "Edge.Cuts") (width 0.1))
  {} {}
  (segment (start 5 30) (end 55 30) (width 1) (layer "B.Cu") (net 1))
  {items})"#,
        part("J1", "plug", &[(1, 5.0, 10.0, true, 2), (2, 5.0, 30.0, true, 1)]),
        part("U1", "load", &[(1, 55.0, 10.0, true, 2), (2, 55.0, 30.0, true, 1)]),
    );
    kicad::read(&text).unwrap_or_else(|error| panic!("{error:?}"))
}

/// A part with pads: number, place, through-hole or on the front, net.
fn part(reference: &str, value: &str, pads: &[(u32, f64, f64, bool, u32)]) -> String {
    let pads = pads.iter().map(|(number, x, y, hole, net)| {
        let kind = if *hole { "thru_hole circle" } else { "smd rect" };
        let rest = if *hole { r#"(drill 0.8) (layers "*.Cu")"# } else { r#"(layers "F.Cu")"# };
        format!(r#"(pad "{number}" {kind} (at {x} {y}) (size 1.6 1.6) {rest} (net {net}))"#)
    });
    format!(
        r#"(footprint "f" (layer "F.Cu") (at 0 0) (fp_text reference "{reference}" (at 0 0) (layer "F.SilkS"))
        (fp_text value "{value}" (at 0 0) (layer "F.Fab")) {})"#,
        pads.collect::<String>()
    )
}

fn track(from: [f64; 2], to: [f64; 2], width: f64, layer: &str, net: u32) -> String {
    let ([ax, ay], [bx, by]) = (from, to);
    format!(r#"(segment (start {ax} {ay}) (end {bx} {by}) (width {width}) (layer "{layer}") (net {net}))"#)
}

fn via(at: [f64; 2], more: &str, layers: &str) -> String {
    let [x, y] = at;
    format!(r#"(via {more} (at {x} {y}) (size 0.8) (drill 0.4) (layers {layers}) (net 2))"#)
}

fn request(to: &[&str]) -> Request {
    let to = to.iter().map(|to| (*to).to_owned()).collect();
    Request { from: "J1.1".into(), to, ret: "J1.2".into(), through: Vec::new() }
}

fn imported(items: &[String]) -> Imported {
    finish(&layout(&items.concat()), "x.kicad_pcb", &request(&["U1.1"]))
        .unwrap_or_else(|error| panic!("{error}"))
}

fn board(imported: &Imported) -> &Board {
    imported.board.as_ref().unwrap_or_else(|| panic!("{}", imported.text))
}

/// Names of all segments but the return's, with their kinds.
fn segments(imported: &Imported) -> Vec<(String, &'static str)> {
    let board = board(imported);
    let all = board.segment_ids().map(|id| board.segment(id));
    let own = all.filter(|one| !board.point(one.from).name.ends_with(".2"));
    own.map(|one| (one.name.clone(), one.kind.word())).collect()
}

fn typical(imported: &Imported, name: &str) -> f64 {
    let board = board(imported);
    let id = board.segment_named(name).unwrap_or_else(|| panic!("{}", imported.text));
    board.segment(id).expected.typical.0
}

fn named(names: &[(&str, &'static str)]) -> Vec<(String, &'static str)> {
    names.iter().map(|(name, kind)| ((*name).to_owned(), *kind)).collect()
}

#[test]
fn a_pad_on_the_way_parts_a_track_and_each_part_has_its_own_length() {
    let way = track([5.0, 10.0], [55.0, 10.0], 0.8, "F.Cu", 2);
    let found = imported(&[way, part("C1", "10u", &[(1, 30.0, 10.0, false, 2), (2, 30.0, 14.0, false, 1)])]);
    assert_eq!(segments(&found), named(&[("J1 to C1", "trace"), ("C1 to U1", "trace")]));
    let id = board(&found).segment_named("J1 to C1").unwrap();
    let SegmentKind::Trace { length_mm, width_mm, .. } = board(&found).segment(id).kind else { panic!() };
    // From the edge of one pad to that of the next: 25 mm less two radii of 0.8 mm.
    assert!((length_mm - 23.4).abs() < 0.002 && (width_mm - 0.8).abs() < 1e-9, "{length_mm}");
    let point = board(&found).point(board(&found).point_named("C1.1").unwrap());
    assert_eq!((point.at, point.side, point.kind), ([30.0, 30.0], Side::Front, PointKind::Pad));
}

#[test]
fn ends_that_do_not_meet_join_by_their_widths_and_empty_tracks_do_no_harm() {
    let found = imported(&[
        track([5.0, 10.0], [30.0, 10.0], 0.8, "F.Cu", 2),
        track([29.9, 10.3], [55.0, 10.3], 0.8, "F.Cu", 2),
        track([20.0, 10.0], [20.0, 10.0], 0.8, "F.Cu", 2),
        // A second track on the same copper is counted once.
        track([10.0, 10.0], [15.0, 10.0], 0.4, "F.Cu", 2),
    ]);
    assert_eq!(segments(&found), named(&[("J1 to U1", "pour")]));
    let plain = board::expected::trace_resistance(48.4, 0.8, 35.0).0;
    assert!((typical(&found, "J1 to U1") / plain - 1.0).abs() < 0.03, "{}", found.text);
}

#[test]
fn vias_part_front_from_back_and_those_side_by_side_are_one_segment() {
    let both = r#""F.Cu" "B.Cu""#;
    let vias: String = [30.0, 31.0, 32.0].iter().map(|x| via([*x, 10.0], "", both)).collect();
    let found = imported(&[
        track([5.0, 10.0], [32.0, 10.0], 0.8, "F.Cu", 2),
        vias,
        track([30.0, 10.0], [55.0, 10.0], 0.8, "B.Cu", 2),
    ]);
    let names: Vec<_> = segments(&found).into_iter().map(|(name, _)| name).collect();
    assert_eq!(names.len(), 3, "{}", found.text);
    let id = board(&found).segment_named("via 1 and 2 beside it").unwrap_or_else(|| panic!("{}", found.text));
    let SegmentKind::Via { count, drill_mm, plating_um } = board(&found).segment(id).kind else { panic!() };
    assert_eq!((count, drill_mm, plating_um), (3, 0.45, 25.0));
    let sides = ["via 1 front", "via 1 back"]
        .map(|name| board(&found).point(board(&found).point_named(name).unwrap()).side);
    assert_eq!(sides, [Side::Front, Side::Back]);
}

/// Lands 0.03 mm apart with a track across both: less than a step of following it.
#[test]
fn lands_close_to_each_other_are_joined_by_the_track_between() {
    let found = imported(&[
        track([5.0, 10.0], [30.0, 10.0], 0.8, "F.Cu", 2),
        part("C1", "10u", &[(1, 30.0, 10.0, false, 2), (2, 30.0, 14.0, false, 1)]),
        track([30.0, 10.0], [31.23, 10.0], 0.8, "F.Cu", 2),
        via([31.23, 10.0], "", r#""F.Cu" "B.Cu""#),
        track([31.23, 10.0], [55.0, 10.0], 0.8, "B.Cu", 2),
    ]);
    assert!(found.board.is_some(), "{}", found.text);
}

#[test]
fn a_via_in_a_pad_may_be_the_only_way_on() {
    let found = imported(&[
        track([5.0, 10.0], [30.0, 10.0], 0.8, "F.Cu", 2),
        part("C1", "10u", &[(1, 30.0, 10.0, false, 2), (2, 30.0, 14.0, false, 1)]),
        via([30.2, 10.0], "", r#""F.Cu" "B.Cu""#),
        track([30.2, 10.0], [55.0, 10.0], 0.8, "B.Cu", 2),
    ]);
    assert_eq!(
        segments(&found),
        named(&[("J1 to C1", "trace"), ("via 1", "via"), ("via 1 to U1", "trace")]),
        "{}",
        found.text
    );
}

#[test]
fn blind_vias_are_touched_from_their_own_side_and_have_their_own_length() {
    let found = imported(&[
        track([5.0, 10.0], [20.0, 10.0], 0.8, "F.Cu", 2),
        via([20.0, 10.0], "blind", r#""F.Cu" "In1.Cu""#),
        track([20.0, 10.0], [40.0, 10.0], 0.8, "In1.Cu", 2),
        via([40.0, 10.0], "", r#""F.Cu" "B.Cu""#),
        track([40.0, 10.0], [55.0, 10.0], 0.8, "B.Cu", 2),
    ]);
    // The inner ends of the barrels are no place for a pin: barrel, inner track and barrel are one segment.
    let kinds: Vec<_> = segments(&found).into_iter().map(|(_, kind)| kind).collect();
    assert_eq!(kinds, ["trace", "pour", "trace"], "{}", found.text);
}

#[test]
fn two_ways_are_one_segment_that_reads_both_and_are_asked_about() {
    let round = |y: f64| {
        [
            track([5.0, 10.0], [5.0, y], 0.8, "F.Cu", 2),
            track([5.0, y], [55.0, y], 0.8, "F.Cu", 2),
            track([55.0, y], [55.0, 10.0], 0.8, "F.Cu", 2),
        ]
        .concat()
    };
    let one = imported(&[round(20.0)]);
    let found = imported(&[round(20.0), round(4.0)]);
    assert_eq!(segments(&found), named(&[("J1 to U1", "pour")]), "{}", found.text);
    assert!(
        found.questions.iter().any(|question| question.contains("copper runs two ways")),
        "{:#?}",
        found.questions
    );
    let (both, alone) = (typical(&found, "J1 to U1"), typical(&one, "J1 to U1"));
    assert!(both < 0.6 * alone && both > 0.3 * alone, "{both} {alone}");
}

#[test]
fn branches_share_what_lies_before_the_fork() {
    let items = [
        track([5.0, 10.0], [30.0, 10.0], 0.8, "F.Cu", 2),
        track([30.0, 10.0], [55.0, 10.0], 0.8, "F.Cu", 2),
        track([30.0, 10.0], [30.0, 20.0], 0.8, "F.Cu", 2),
        part("U2", "radio", &[(1, 30.0, 20.0, false, 2), (2, 30.0, 30.0, true, 1)]),
    ];
    let found = finish(&layout(&items.concat()), "x.kicad_pcb", &request(&["U1.1", "U2.1"])).unwrap();
    assert_eq!(board(&found).supply.to.len(), 2);
    assert!(
        board(&found).segment_named("J1 to U1").is_some()
            && board(&found).segment_named("J1 to U2").is_some()
    );
    let (long, short) = (typical(&found, "J1 to U1"), typical(&found, "J1 to U2"));
    assert!(long > short && short > 0.0, "{} {}", engineering(Ohms(long)), short);
}

#[test]
fn parts_are_passed_forwards_only_and_what_stands_between_is_named() {
    let way =
        [track([5.0, 10.0], [20.0, 10.0], 0.8, "F.Cu", 2), track([24.0, 10.0], [45.0, 10.0], 0.8, "F.Cu", 3)]
            .concat();
    let load = part("U3", "load", &[(1, 45.0, 10.0, false, 3), (2, 45.0, 30.0, true, 1)]);
    let with = |reference: &str, value: &str, pads: [u32; 2]| {
        let [first, second] = pads;
        let between =
            part(reference, value, &[(first, 20.0, 10.0, false, 2), (second, 24.0, 10.0, false, 3)]);
        finish(&layout(&[way.clone(), load.clone(), between].concat()), "x.kicad_pcb", &request(&["U3.1"]))
    };
    let diode = with("D1", "1N5819", [2, 1]).unwrap();
    assert!(diode.text.contains("max_forward = \"0.5 V\""), "{}", diode.text);
    let id = board(&diode).segment_named("diode D1").unwrap();
    assert_eq!(board(&diode).point(board(&diode).segment(id).from).name, "D1.2");
    assert!(
        with("D1", "1N5819", [1, 2]).unwrap_err().to_string().contains("nothing that is known to conduct")
    );
    assert!(with("C9", "10u", [1, 2]).unwrap_err().to_string().contains("nothing that is known to conduct"));
    assert!(
        with("JP1", "", [1, 2])
            .unwrap_err()
            .to_string()
            .contains("between them stand JP1: if the current passes one")
    );
    for (reference, value, word) in [
        ("F1", "500mA", "fuse"),
        ("F1", "PTC 0.2A", "resettable"),
        ("FB1", "", "ferrite"),
        ("L1", "10uH", "inductor"),
        ("R1", "0R05", "shunt"),
        ("R1", "0", "joint"),
        ("SW1", "", "switch"),
    ] {
        let found =
            with(reference, value, [1, 2]).unwrap_or_else(|error| panic!("{reference} {value}: {error}"));
        assert!(
            board(&found).segment_ids().any(|id| board(&found).segment(id).kind.word() == word),
            "{}",
            found.text
        );
    }
}

#[test]
fn one_reference_and_number_may_be_several_pads() {
    let found = imported(&[
        track([5.0, 10.0], [40.0, 10.0], 0.8, "F.Cu", 2),
        track([48.0, 14.0], [55.0, 10.0], 0.8, "F.Cu", 2),
        // Both pads 1 of the fuse are joined inside it; its copper arrives at one and leaves from the other of pad 2.
        part("F1", "1A", &[(1, 40.0, 10.0, false, 2), (1, 40.0, 14.0, false, 2), (2, 44.0, 14.0, false, 3)]),
        part("F2", "1A", &[(1, 46.0, 14.0, false, 3), (2, 48.0, 14.0, false, 2)]),
        track([44.0, 14.0], [46.0, 14.0], 0.8, "F.Cu", 3),
        track([40.0, 10.0], [48.0, 6.0], 0.8, "F.Cu", 2),
        track([48.0, 6.0], [48.0, 14.0], 0.8, "F.Cu", 2),
    ]);
    assert!(board(&found).supply.to.len() == 1, "{}", found.text);
}

/// A switch parts the supply from the load, so they are judged where it is closed; each load has its own isolation.
#[test]
fn each_load_is_apart_from_the_return() {
    let plain = imported(&[track([5.0, 10.0], [55.0, 10.0], 0.8, "F.Cu", 2)]);
    let isolation = &board(&plain).isolation;
    assert_eq!(isolation.len(), 1, "{}", plain.text);
    assert!(isolation.iter().all(|one| one.junction && one.min == Ohms(1e3)));
    assert!(plain.text.contains(r#"between = ["U1.1", "J1.2"]"#), "{}", plain.text);
    let switched = [
        track([5.0, 10.0], [20.0, 10.0], 0.8, "F.Cu", 2),
        part("SW1", "", &[(1, 20.0, 10.0, false, 2), (2, 24.0, 10.0, false, 3)]),
        track([24.0, 10.0], [45.0, 10.0], 0.8, "F.Cu", 3),
        part("U3", "load", &[(1, 45.0, 10.0, false, 3), (2, 45.0, 30.0, true, 1)]),
    ];
    let found = finish(&layout(&switched.concat()), "x.kicad_pcb", &request(&["U3.1"])).unwrap();
    assert!(found.text.contains("junction = true\nstate = \"on\""), "{}", found.text);
}

#[test]
fn a_netlist_without_conductors_asks_for_what_it_lacks() {
    let text = "\
P  UNITS CUST 1
317/IN              J1    -1    D0800PA00X+005000Y+030000X1600Y0000R000 S0
327/IN              F1    -1          A01X+020000Y+030000X1600Y1600R000 S0
327/OUT             F1    -2          A01X+024000Y+030000X1600Y1600R000 S0
327/OUT             U1    -1          A01X+045000Y+030000X1600Y1600R000 S0
317GND              U1    -2    D0800PA00X+045000Y+010000X1600Y0000R000 S0
317GND              J1    -2    D0800PA00X+005000Y+010000X1600Y0000R000 S0
999
";
    let found = finish(&ipc356::read(text).unwrap(), "x.ipc", &request(&["U1.1"])).unwrap();
    // Copper without a figure is no board yet: `check` names what is missing.
    assert_eq!((&found.board, found.text.matches("[[segment]]").count()), (&None, 4), "{}", found.text);
    let checked = board::parse("board.toml", &found.text).unwrap_err().to_string();
    assert!(checked.contains("typical") && !found.text.contains("typical ="), "{checked}");
    let asked = found.questions.iter().filter(|question| question.contains("write `typical`")).count();
    assert_eq!(asked, 3, "{:#?}", found.questions);
}

/// The invented board of the reader's tests, by hand: copper of 35 µm and 1/58 Ω mm²/m (IEC 60028, from memory), lengths from edge to
/// edge of the lands that the files draw.
#[test]
fn a_gerber_set_reads_what_a_hand_calculates() {
    let layout = gerber::tests::set(&[]).unwrap();
    let found = finish(&layout, "lamp", &request(&["U1.1"])).unwrap_or_else(|error| panic!("{error}"));
    let board = board(&found);
    let strip = |length: f64, width: f64| 1e-3 / 58.0 * length / (width * 0.035);
    let ring = std::f64::consts::PI * 0.425 * 0.025;
    for (name, kind, ohms) in [
        ("J1 to F1", "trace", strip(19.5 - 5.8, 0.8)),
        ("F1 to via 1", "trace", strip(39.6 - 24.5, 0.8)),
        ("via 1", "via", 1e-3 / 58.0 * 1.6 / ring),
        ("via 1 to U1", "trace", strip(54.2 - 40.4, 1.0)),
        ("J1 to U1", "trace", strip(54.2 - 5.8, 1.0)),
    ] {
        let id = board.segment_named(name).unwrap_or_else(|| panic!("{name}: {}", found.text));
        let segment = board.segment(id);
        let typical = segment.expected.typical.0;
        assert!((typical / ohms - 1.0).abs() < 2e-3, "{name}: {typical} instead of {ohms}\n{}", found.text);
        assert_eq!(segment.kind.word(), kind);
    }
    assert_eq!(board.segments.len(), 6, "{}", found.text);
    assert!(found.text.contains("2.00 A") && !found.text.contains("thickness = \"1.55"), "{}", found.text);
    assert!(found.questions.iter().any(|question| question.contains("How thick is the copper")));
}
