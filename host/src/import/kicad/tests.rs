//! Small boards, invented for these tests, one for each thing that the versions of the format do differently.

use super::*;
use crate::import::layout::Pad;

const OLD: &str = r#"(kicad_pcb (version 4) (host pcbnew 4.0.7)
  (general (thickness 1.6))
  (layers (0 Top signal) (31 Bottom signal) (44 Edge.Cuts user))
  (setup (via_drill 0.6))
  (net 0 "") (net 1 GND) (net 2 "/a{slash}b")
  (net_class Default "" (via_dia 0.9) (via_drill 0.5))
  (module R_0805 (layer Top) (at 10 20 90)
    (fp_text reference R1 (at 0 0) (layer F.SilkS)) (fp_text value 0R05 (at 0 1) (layer F.Fab))
    (pad 1 smd rect (at -1 0 90) (size 1 1.3) (layers Top F.Paste) (net 1 GND))
    (pad 2 smd rect (at 1 0 90) (size 1 1.3) (layers Top F.Paste) (net 2 "/a{slash}b")))
  (gr_line (start 0 0) (end 30 0) (layer Edge.Cuts) (width 0.1)) (gr_line (start 30 0) (end 30 30) (layer Edge.Cuts) (width 0.1))
  (gr_line (start 30 30) (end 0 30) (layer Edge.Cuts) (width 0.1)) (gr_arc (start 0 15) (end 0 30) (angle 180) (layer Edge.Cuts) (width 0.1))
  (segment (start 10 21) (end 20 21) (width 0.4) (layer Top) (net 1))
  (via (at 20 21) (size 0.9) (layers Top Bottom) (net 1))
  (zone (net 1) (net_name GND) (layer Bottom) (min_thickness 0.2) (fill yes)
    (polygon (pts (xy 15 15) (xy 25 15) (xy 25 25) (xy 15 25)))
    (filled_polygon (pts (xy 15 15) (xy 25 15) (xy 25 25) (xy 15 25))))
)"#;

fn pads(layout: &Layout) -> Vec<(String, &Pad)> {
    layout.pads.iter().map(|pad| (layout.pad_name(pad), pad)).collect()
}

fn near([ax, ay]: [f64; 2], [bx, by]: [f64; 2]) -> bool {
    (ax - bx).hypot(ay - by) < 1e-6
}

#[test]
fn version_4_names_layers_anew_and_leaves_drills_to_the_class() {
    let layout = read(OLD).unwrap();
    assert_eq!(layout.layers.iter().map(|layer| layer.name.as_str()).collect::<Vec<_>>(), ["Top", "Bottom"]);
    assert_eq!(layout.nets, ["", "GND", "/a/b"]);
    assert_eq!(layout.vias[0].drill_mm, 0.5);
    assert_eq!((layout.vias[0].layers, layout.tracks[0].layer, layout.fills[0].layer), ([0, 1], 0, 1));
    // Turned by 90 degrees counter-clockwise as seen: pad 1, left of the middle, comes to lie below it.
    let [(one, first), (two, second)] = &pads(&layout)[..] else { panic!() };
    assert_eq!((one.as_str(), two.as_str()), ("R1.1", "R1.2"));
    assert!(near([second.at[0] - first.at[0], second.at[1] - first.at[1]], [0.0, 2.0]));
    let [[lx, ly], [hx, hy]] = first.copper[0].bounds().corners();
    assert!((hx - lx - 1.3).abs() < 1e-9 && (hy - ly - 1.0).abs() < 1e-9, "the pad's angle is absolute");
    // The fill is drawn with a pen of 0.2 mm.
    assert_eq!(layout.fills[0].copper.radius(), 0.1);
    // The edge's arc bulges to one side by its radius; the origin lies at the lower left.
    let outline = layout.outline.as_ref().unwrap();
    let [[lx, ly], [hx, hy]] = crate::import::region::Bounds::of(outline).corners();
    assert!(
        lx.abs() < 1e-9 && ly.abs() < 1e-9 && (hy - 30.0).abs() < 0.01 && (hx - 45.0).abs() < 0.01,
        "{hx} {hy}"
    );
}

const NEW: &str = r#"(kicad_pcb (version 20241229) (generator "pcbnew") (generator_version "9.0")
  (general (thickness 1.6))
  (layers (0 "F.Cu" signal) (4 "In1.Cu" power "ground") (6 "In2.Cu" signal) (2 "B.Cu" signal) (25 "Edge.Cuts" user))
  (setup (stackup (layer "F.Mask" (type "Top Solder Mask") (thickness 0.01))
    (layer "F.Cu" (type "copper") (thickness 0.07)) (layer "dielectric 1" (type "prepreg") (thickness 0.1) (material "x") addsublayer (thickness 0.2))
    (layer "In1.Cu" (type "copper") (thickness 0.035)) (layer "dielectric 2" (type "core") (thickness 1))
    (layer "In2.Cu" (type "copper") (thickness 0.035)) (layer "dielectric 3" (type "prepreg") (thickness 0.2))
    (layer "B.Cu" (type "copper") (thickness 0.07))))
  (net 0 "") (net 1 "GND")
  (footprint "x:y" (layer "B.Cu") (at 10 10 180)
    (property "Reference" "J1" (at 0 0 180) (layer "B.SilkS")) (property "Value" "plug" (at 0 0 180) (layer "B.Fab"))
    (pad "1" thru_hole oval (at 2 0 180) (size 3 2) (drill oval 1.6 0.8 (offset 0.5 0)) (layers "*.Cu" "*.Mask") (net 1 "GND"))
    (pad "2" smd roundrect (at 0 3 225) (size 2 1) (layers "B.Cu" "B.Mask") (roundrect_rratio 0.25) (net 1 "GND"))
    (pad "3" smd trapezoid (at 0 -3 180) (size 2 2) (rect_delta 0 1) (layers "B.Cu") (net 1 "GND"))
    (pad "4" smd roundrect (at 4 -3 180) (size 2 2) (layers "B.Cu") (roundrect_rratio 0) (chamfer_ratio 0.25) (chamfer top_left) (net 1 "GND"))
    (pad "5" smd custom (at 6 0 180) (size 0.5 0.5) (layers "B.Cu") (net 1 "GND") (options (clearance outline) (anchor circle))
      (primitives (gr_poly (pts (xy 0 0) (xy 2 0) (xy 2 1)) (width 0.1) (fill yes)) (gr_line (start 0 0) (end -2 0) (width 0.3))
        (gr_circle (center -2 0) (end -1.5 0) (width 0.2) (fill no)) (gr_rect (start 3 0) (end 4 1) (width 0) (fill yes))
        (gr_curve (pts (xy 0 0) (xy 0 1) (xy 1 1) (xy 1 2)) (width 0.2)) (gr_arc (start 0 0) (mid 1 1) (end 2 0) (width 0.2))))
    (pad "" np_thru_hole circle (at 0 8 180) (size 3 3) (drill 3) (layers "*.Cu" "*.Mask"))
    (pad "" smd rect (at 0 9 180) (size 1 1) (layers "B.Paste"))
    (fp_line (start 0 0) (end 1 1) (stroke (width 0.2) (type solid)) (layer "B.Cu")))
  (gr_rect (start 0 0) (end 30 20) (stroke (width 0.1) (type solid)) (fill no) (layer "Edge.Cuts"))
  (gr_poly (pts (xy 20 2) (xy 25 2) (xy 25 6)) (stroke (width 0.2) (type solid)) (fill yes) (layer "F.Cu") (net 1))
  (gr_text "copper" (at 5 5) (layer "F.Cu"))
  (arc (start 20 10) (mid 22 12) (end 20 14) (width 0.5) (layer "In1.Cu") (net 1))
  (via (at 20 10) (size 0.6) (drill 0.3) (layers "F.Cu" "B.Cu") (net 1))
  (via blind (at 21 10) (size 0.6) (drill 0.3) (layers "F.Cu" "In1.Cu") (net 1))
  (via micro (at 22 10) (size 0.4) (drill 0.1) (layers "B.Cu" "In2.Cu") (net 1))
  (zone (net 1) (net_name "GND") (layers "F.Cu" "In1.Cu") (connect_pads) (min_thickness 0.25) (fill yes)
    (polygon (pts (xy 1 1) (xy 5 1) (xy 5 5))) (filled_polygon (layer "In1.Cu") (pts (xy 1 1) (xy 5 1) (xy 5 5))))
  (zone (net 0) (net_name "") (layer "F.Cu") (keepout (tracks not_allowed)) (polygon (pts (xy 1 1) (xy 2 1) (xy 2 2))))
)"#;

#[test]
fn version_9_has_stack_up_blind_vias_slots_and_all_shapes_of_pads() {
    let layout = read(NEW).unwrap();
    assert!(layout.stacked);
    let depths: Vec<f64> = layout.layers.iter().map(|layer| layer.depth_mm).collect();
    for (found, wanted) in depths.iter().zip([0.0, 0.3525, 1.3875, 1.64]) {
        assert!((found - wanted).abs() < 1e-9, "{depths:?}");
    }
    assert_eq!(layout.layers[0].copper_um, 70.0);
    assert_eq!(layout.vias.iter().map(|via| via.layers).collect::<Vec<_>>(), [[0, 3], [0, 1], [2, 3]]);
    assert_eq!(layout.pads.len(), 5, "no copper, no pad");
    let slot = layout.pads[0].hole.as_ref().unwrap();
    assert_eq!((slot.radius(), slot.points().len()), (0.4, 2));
    // The hole stands where the pad is placed; the land is shifted, which way round by the pad's angle.
    let [[lx, _], [hx, _]] = layout.pads[0].copper[0].bounds().corners();
    assert!(((lx + hx) / 2.0 - (layout.pads[0].at[0] - 0.5)).abs() < 1e-9);
    assert_eq!((layout.pads[0].layers.len(), layout.pads[1].layers.clone()), (4, vec![3]));
    assert!(near(layout.pads[0].at, [8.0, 10.0]) && near(layout.pads[1].at, [10.0, 13.0]));
    assert_eq!(layout.pads[4].copper.len(), 7);
    assert_eq!(layout.pads[3].copper[0].points().len(), 5, "one corner is cut");
    let arc = &layout.tracks[0];
    assert!((arc.copper.length() - std::f64::consts::PI * 2.0).abs() < 0.01 && arc.layer == 1);
    assert_eq!(layout.unfilled, [(1, 0)]);
    assert_eq!((layout.fills.len(), layout.fills[1].copper.radius()), (2, 0.0));
    assert_eq!(layout.parts[0].reference, "J1");
    assert!(
        layout.notes.iter().any(|note| note.starts_with("2 pieces of copper belong to no net")),
        "{:?}",
        layout.notes
    );
}

#[test]
fn nets_may_be_named_where_they_are_used() {
    let named = NEW.replace("(net 0 \"\") (net 1 \"GND\")\n", "").replace("(net 1)", "(net \"GND\")");
    let named = named.replace("(net 1 \"GND\")", "(net \"GND\")").replace("(net 0)", "(net \"\")");
    let layout = read(&named.replace("20241229", "20260101")).unwrap();
    assert_eq!(layout.tracks[0].net, layout.pads[0].net.unwrap());
    assert!(layout.notes[0].contains("newer than 20241229"));
}

#[test]
fn fills_are_drawn_with_a_pen_only_where_the_version_says_so() {
    for (version, areas, radius) in [
        ("20171130", "", 0.1),
        ("20211014", "", 0.1),
        ("20211014", "(filled_areas_thickness no)", 0.0),
        ("20221018", "", 0.0),
    ] {
        let text = OLD.replace("(version 4)", &format!("(version {version})"));
        let text = text.replace("(min_thickness 0.2)", &format!("(min_thickness 0.2) {areas}"));
        assert_eq!(read(&text).unwrap().fills[0].copper.radius(), radius, "{version} {areas}");
    }
}

#[test]
fn what_cannot_be_understood_is_named_with_its_place() {
    for (from, to, wanted) in [
        ("(version 4)", "(version 3)", "formats from 4 on are known"),
        ("(version 4)", "(version)", "formats from 4 on are known"),
        ("(version 4)", "", "does not state its format's version"),
        (
            "(layer Top) (net 1))\n  (via",
            "(layer Top) (net 9))\n  (via",
            "on net 9, which the board does not list",
        ),
        ("(layer Top) (net 1))\n  (via", "(layer Mars) (net 1))\n  (via", "which is no copper layer"),
        ("smd rect (at -1", "smd blob (at -1", "a pad of shape `blob` is not known"),
        ("(start 10 21)", "(start 10)", "wants two numbers"),
        ("(start 10 21)", "(start 1e9 21)", "wants two numbers"),
        ("(width 0.4)", "", "has no `width`"),
        ("(31 Bottom signal)", "", "1 copper layers are no board's"),
    ] {
        assert!(OLD.contains(from), "{from}");
        let error = read(&OLD.replace(from, to)).unwrap_err();
        assert!(error.what.contains(wanted), "{}", error.what);
    }
}

#[test]
fn what_is_cut_off_is_refused_at_every_length() {
    for text in [OLD, NEW] {
        for end in 0..text.trim_end().len() {
            assert!(read(&text[..end]).is_err(), "{end}");
        }
    }
}

/// A word left out or put in anywhere: never a panic, whatever comes of it.
#[test]
fn no_damage_makes_it_panic() {
    let words: Vec<(usize, usize)> = NEW
        .split_inclusive([' ', '(', ')', '\n'])
        .scan(0, |at, word| {
            let from = *at;
            *at += word.len();
            Some((from, *at))
        })
        .collect();
    for (n, (from, to)) in words.into_iter().enumerate() {
        let put = ["", "(", ")", "nan ", "-1e308 ", "\"\" ", "99999999999 ", "(xy) "][n % 8];
        let text = format!("{}{put}{}", &NEW[..from], &NEW[to..]);
        let _ = read(&text);
    }
}
