//! Routes whose lengths a formula gives, and what cannot be answered.

use std::f64::consts::PI;

use super::cutting::{Item, lines};
use super::gauge::{Covering, GAUGES, GaugeError, Need, Stock};
use super::*;
use crate::board::{Face, KeepOut, Side};
use crate::quantity::{Amps, Celsius, Ohms};

/// Reach 1 mm from keep-outs and from the edge.
const WIRE: Wire = Wire {
    insulated_mm: 1.0,
    conductor_mm: 0.5,
    bend_mm: 1.0,
    clearance_mm: 0.5,
    edge_mm: 0.5,
    relief_mm: 15.0,
    slack_share: 0.0,
    slack_mm: 0.0,
};

fn end(name: &str, at: [f64; 2]) -> End {
    End { name: name.into(), at, side: Side::Front, pad_mm: None }
}

fn keep_out(why: &str, polygon: &[[f64; 2]]) -> KeepOut {
    KeepOut { side: Face::Front, polygon: polygon.to_vec(), height_mm: None, why: why.into() }
}

fn rectangle(why: &str, [x0, y0]: [f64; 2], [x1, y1]: [f64; 2]) -> KeepOut {
    keep_out(why, &[[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
}

fn task(keep_outs: Vec<KeepOut>) -> Task {
    Task {
        outline: vec![[0.0, 0.0], [40.0, 0.0], [40.0, 30.0], [0.0, 30.0]],
        keep_outs,
        thickness_mm: 1.6,
        wire: WIRE,
        from: end("a", [5.0, 15.0]),
        to: end("b", [35.0, 15.0]),
        holes: Vec::new(),
        passage_mm: 10.0,
    }
}

#[test]
fn nothing_in_the_way_is_a_straight_line() {
    let route = shortest(&task(Vec::new())).unwrap();
    assert_eq!((route.middle_mm, route.least_mm, route.excess()), (30.0, 30.0, 0.0));
    assert_eq!(route.legs[0].pieces, [Piece::Straight { from: [5.0, 15.0], to: [35.0, 15.0] }]);
}

/// A string round a disc half way between its ends: 2·√(d² − r²) + 2·r·asin(r/d), any handbook of geometry. The disc is that about the one
/// corner of a triangle that is in the way.
#[test]
fn a_string_round_a_disc() {
    let post = keep_out("a post", &[[20.0, 15.0], [19.0, 28.0], [21.0, 28.0]]);
    let route = shortest(&task(vec![post])).unwrap();
    let (d, r) = (15.0_f64, 1.0_f64);
    let formula = 2.0 * (d * d - r * r).sqrt() + 2.0 * r * (r / d).asin();
    assert!((route.middle_mm - formula).abs() < 1e-5, "{} {formula}", route.middle_mm);
}

/// Corners of a shortest way are ends or corners of obstacles (de Berg et al., Computational Geometry, chapter 15, lemma 15.1, from memory): for a
/// thin wire without clearance over two triangles of sides 3, 4, 5 back to back, and round a wall, the lengths are whole numbers.
#[test]
fn a_thin_wire_bends_at_corners_of_obstacles() {
    let mut thin = task(vec![keep_out("", &[[9.0, 15.0], [13.0, 18.0], [17.0, 15.0], [13.0, 2.0]])]);
    thin.wire = Wire {
        insulated_mm: 0.01,
        conductor_mm: 0.01,
        bend_mm: 0.0,
        clearance_mm: 0.0,
        edge_mm: 0.0,
        ..WIRE
    };
    (thin.from.at, thin.to.at) = ([8.99, 15.0], [17.01, 15.0]);
    let route = shortest(&thin).unwrap();
    assert!((route.middle_mm - 10.0).abs() < 0.05, "{}", route.middle_mm);
    // 5 up along a wall's end, 12 across: sides 5, 12, 13 on either side of it.
    thin.keep_outs = vec![rectangle("", [19.99, 3.0], [20.01, 20.0])];
    (thin.from.at, thin.to.at) = ([8.0, 15.0], [32.0, 15.0]);
    let route = shortest(&thin).unwrap();
    assert!((route.middle_mm - 26.0).abs() < 0.03, "{}", route.middle_mm);
}

/// Round a long box: two quarter circles at least, and clear of the box all along.
#[test]
fn round_a_box_and_never_nearer_than_asked() {
    let route = shortest(&task(vec![rectangle("a bay", [15.0, 5.0], [25.0, 20.0])])).unwrap();
    // Up to the corner, about it, 10 mm along the box, and down again.
    let leg = (10.0_f64.hypot(5.0).powi(2) - 1.0).sqrt();
    let turn = 5.0_f64.atan2(10.0) + (1.0 / 10.0_f64.hypot(5.0)).asin();
    assert!((route.middle_mm - (2.0 * leg + 10.0 + 2.0 * turn)).abs() < 1e-5, "{}", route.middle_mm);
    let mut stiff = task(vec![rectangle("a bay", [15.0, 5.0], [25.0, 20.0])]);
    stiff.wire.bend_mm = 4.0;
    let wide = shortest(&stiff).unwrap();
    assert!(
        wide.middle_mm > route.middle_mm && wide.excess() < 0.01 && wide.least_mm == route.least_mm,
        "{}",
        wide.excess()
    );
    let bends = wide.legs[0].pieces.iter().filter_map(|piece| match piece {
        Piece::Bend { radius_mm, .. } => Some(*radius_mm),
        Piece::Straight { .. } => None,
    });
    assert!(bends.into_iter().all(|radius| radius >= 4.0));
}

/// A slot as wide as the wire needs is passed, one that is a hundredth of a millimetre narrower is not.
#[test]
fn a_slot_as_wide_as_the_wire_needs() {
    let slot = |width: f64| {
        task(vec![
            rectangle("lower", [18.0, -1.0], [22.0, 15.0 - width / 2.0]),
            rectangle("upper", [18.0, 15.0 + width / 2.0], [22.0, 31.0]),
        ])
    };
    assert!(shortest(&slot(2.0)).is_ok());
    let RouteError::NoWay { rings, .. } = shortest(&slot(1.99)).unwrap_err() else { panic!() };
    let by = |index, why: &str| Obstacle::KeepOut { index, why: why.into() };
    assert_eq!(rings[0].by, [Obstacle::Edge, by(0, "lower"), by(1, "upper")]);
}

#[test]
fn an_end_that_is_walled_in_says_by_what() {
    let walls = [
        rectangle("north", [30.0, 19.0], [39.0, 20.0]),
        rectangle("south", [30.0, 10.0], [39.0, 11.0]),
        rectangle("west", [29.0, 10.5], [30.0, 19.5]),
        rectangle("far off", [5.0, 25.0], [8.0, 28.0]),
    ];
    let error = shortest(&task(walls.to_vec())).unwrap_err();
    assert_eq!(
        error.to_string(),
        "no way leads from `a` to `b`: on the front `a` and `b` are parted by the board's edge; keep-out 1 (north); keep-out 2 \
         (south); keep-out 3 (west). Take a thinner wire or less clearance, or name a hole that it may pass through"
    );
    // A lid over the open side makes the ring one of keep-outs alone.
    let mut closed = walls.to_vec();
    closed.push(rectangle("east", [37.0, 10.5], [38.0, 19.5]));
    let RouteError::NoWay { rings, .. } = shortest(&task(closed)).unwrap_err() else { panic!() };
    assert_eq!(rings[0].by.len(), 4, "{rings:?}");
    // Through a hole on either side of the walls.
    let mut through = task(walls.to_vec());
    through.holes =
        [[33.0, 14.0], [20.0, 15.0]].map(|at| Hole { name: "vent".into(), at, drill_mm: 1.2 }).to_vec();
    let route = shortest(&through).unwrap();
    assert_eq!((route.passages.as_slice(), route.legs.len()), (&[1, 0][..], 3));
    let faces: Vec<Face> = route.legs.iter().map(|leg| leg.face).collect();
    assert_eq!(faces, [Face::Front, Face::Back, Face::Front]);
    let flat = 15.0 + 13.0_f64.hypot(1.0) + 2.0_f64.hypot(1.0);
    assert!(
        (route.middle_mm - flat - 2.0 * 1.6).abs() < 1e-9
            && (route.price_mm - route.middle_mm - 20.0).abs() < 1e-9
    );
    through.holes[0].drill_mm = 0.9;
    let error = shortest(&through).unwrap_err().to_string();
    assert!(error.contains("of the holes: `vent` is 0.90 mm wide, and the wire 1.00 mm thick"), "{error}");
}

#[test]
fn ends_that_are_covered_are_named() {
    let both = task(vec![rectangle("a display", [2.0, 10.0], [38.0, 20.0])]);
    let error = shortest(&both).unwrap_err();
    let RouteError::Covered(covers) = &error else { panic!("{error}") };
    assert_eq!(covers.len(), 2);
    assert!(error.to_string().contains("keep-out 1 (a display) covers `b` on the front"), "{error}");
    let near = shortest(&task(vec![rectangle("", [5.6, 14.0], [8.0, 16.0])])).unwrap_err().to_string();
    assert!(
        near.contains("`a` is 0.60 mm from keep-out 1 on the front, and the wire needs 1.00 mm"),
        "{near}"
    );
    let mut edge = task(Vec::new());
    edge.to.at = [45.0, 15.0];
    assert!(shortest(&edge).unwrap_err().to_string().contains("the board's edge covers `b`"));
    // On the other face it is free.
    let mut back = task(vec![rectangle("a display", [2.0, 10.0], [38.0, 20.0])]);
    (back.from.side, back.to.side) = (Side::Both, Side::Both);
    assert_eq!(shortest(&back).unwrap().legs[0].face, Face::Back);
}

/// A pad in a narrow place: the wire leaves straight and bends behind it, or it is said that it is too stiff.
#[test]
fn a_pad_in_a_narrow_place() {
    let mut narrow = task(vec![
        rectangle("left", [3.0, 8.0], [3.8, 20.0]),
        rectangle("right", [6.2, 8.0], [7.0, 20.0]),
        rectangle("top", [3.0, 19.0], [7.0, 20.0]),
    ]);
    narrow.wire.bend_mm = 4.0;
    let route = shortest(&narrow).unwrap();
    assert!(
        route.legs[0]
            .pieces
            .iter()
            .all(|piece| !matches!(piece, Piece::Bend { radius_mm, .. } if *radius_mm < 4.0))
    );
    assert!(matches!(route.legs[0].pieces[0], Piece::Straight { to, .. } if to[1] < 10.0), "{route:?}");
    // At the end of a pocket with its mouth to the side, there is no room for so wide a bend.
    let mut pocket = task(vec![
        rectangle("above", [3.0, 16.5], [12.0, 17.0]),
        rectangle("below", [3.0, 12.5], [9.9, 13.0]),
        rectangle("behind", [12.0, 8.0], [12.5, 17.0]),
        rectangle("beside", [3.0, 13.0], [3.4, 16.5]),
    ]);
    pocket.from.at = [5.0, 14.8];
    pocket.wire.bend_mm = 12.0;
    let error = shortest(&pocket).unwrap_err();
    let RouteError::Stiff { passes_mm, .. } = error else { panic!("{error}") };
    assert!((1.0..12.0).contains(&passes_mm));
    pocket.wire.bend_mm = passes_mm;
    assert!(shortest(&pocket).is_ok());
}

#[test]
fn a_wire_is_held_often_enough_and_cut_long_enough() {
    let mut long = task(vec![rectangle("a bay", [15.0, 5.0], [25.0, 26.0])]);
    long.from.pad_mm = Some(2.0);
    (long.wire.slack_share, long.wire.slack_mm) = (0.1, 2.0);
    long.wire.relief_mm = 8.0;
    let route = shortest(&long).unwrap();
    // Straight from one to the next is no longer than along the wire.
    for pair in route.reliefs.windows(2) {
        let [a, b] = [pair[0].at, pair[1].at];
        assert!((a[0] - b[0]).hypot(a[1] - b[1]) <= 8.0 + 1e-9, "{:?}", route.reliefs);
    }
    assert!(route.reliefs.iter().any(|relief| relief.why == Why::Bend));
    let cut = route.cut;
    assert!((cut.length_mm - (1.1 * route.middle_mm + 2.0 + 1.0 + 0.75)).abs() < 1e-9);
    assert_eq!((cut.strip_mm, cut.tin_mm), ([3.0, 2.5], [2.0, 1.5]));
    let item = Item::new("W1", Stock::new(26, Covering::HookUp), &route);
    let whole = item.length_mm;
    assert_eq!(
        lines(&[item]),
        [format!(
            "W1: cut {whole} mm of AWG 26 hook-up wire, any colour; strip 3.0 mm at the first end and 2.5 mm at the second; \
             tin 2.0 mm at the first end and 1.5 mm at the second"
        )]
    );
}

#[test]
fn wire_and_route_are_chosen_together() {
    let need =
        Need { load: Amps(0.4), most: Ohms(8e-3), air: Celsius(40.0), most_rise_kelvin: 20.0, fits_mm: None };
    let bay = task(vec![rectangle("a bay", [15.0, 5.0], [25.0, 20.0])]);
    let fitted = |task, need: &Need| fit(task, Covering::HookUp, need, Stock::resistance);
    let Fit { stock, task: laid, route } = fitted(bay.clone(), &need).unwrap();
    assert_eq!(laid.wire.insulated_mm, stock.insulated_mm);
    assert!(stock.resistance(route.cut.length_mm) <= need.most);
    let thinner = Stock::new(stock.awg + 2, Covering::HookUp);
    assert!(thinner.resistance(30.0) > need.most || thinner.resistance(route.cut.length_mm) > need.most);
    let none = fitted(bay, &Need { load: Amps(100.0), ..need }).unwrap_err();
    assert!(matches!(none, FitError::Gauge(_)), "{none}");
    let shut = fitted(task(vec![rectangle("a wall", [18.0, -1.0], [22.0, 31.0])]), &need).unwrap_err();
    assert!(matches!(shut, FitError::Route { why: RouteError::NoWay { .. }, .. }), "{shut}");
}

const NEED: Need =
    Need { load: Amps(0.5), most: Ohms(0.05), air: Celsius(40.0), most_rise_kelvin: 20.0, fits_mm: None };

/// The thinnest wire straight from end to end.
fn straight(covering: Covering, length_mm: f64, need: Need) -> Result<Fit, FitError> {
    let mut task = task(Vec::new());
    task.outline = vec![[0.0, 0.0], [500.0, 0.0], [500.0, 30.0], [0.0, 30.0]];
    task.to.at = [5.0 + length_mm, 15.0];
    fit(task, covering, &need, Stock::resistance)
}

#[test]
fn the_thinnest_that_does_is_taken() {
    // Half an ampere over 95 mm: AWG 32 would get warm or read too much, and 50 mΩ are those of AWG 32 over 93 mm.
    assert_eq!(straight(Covering::ThinWall, 95.0, NEED).unwrap().stock.awg, 30);
    assert!(straight(Covering::ThinWall, 400.0, NEED).unwrap().stock.awg < 30);
    // What belongs to a wire beside its copper asks for a thicker one.
    let joints = |stock: &Stock, length_mm| stock.resistance(length_mm) + Ohms(0.02);
    let task = straight(Covering::ThinWall, 95.0, NEED).unwrap().task;
    assert!(fit(task, Covering::ThinWall, &NEED, joints).unwrap().stock.awg < 30);
}

#[test]
fn a_load_that_no_gauge_carries_says_what_is_against_each() {
    let error = straight(Covering::Enamel, 50.0, Need { load: Amps(90.0), ..NEED }).unwrap_err();
    let FitError::Gauge(GaugeError::None { refused, .. }) = &error else { panic!("{error}") };
    assert_eq!(refused.len(), GAUGES.len());
    assert!(
        error
            .to_string()
            .starts_with("no enamelled wire carries 90.0 A over 50 mm here: AWG 32 melts; AWG 16"),
        "{error}"
    );
    let thick = straight(Covering::HookUp, 50.0, Need { fits_mm: Some(0.4), ..NEED }).unwrap_err();
    assert!(thick.to_string().contains("mm thick, where 0.40 mm fit"), "{thick}");
    for need in [
        Need { load: Amps(f64::NAN), ..NEED },
        Need { most: Ohms(-1.0), ..NEED },
        Need { air: Celsius(1e9), ..NEED },
    ] {
        let refused = straight(Covering::HookUp, 50.0, need);
        assert!(matches!(refused, Err(FitError::Gauge(GaugeError::Figure { .. }))));
    }
}

#[test]
fn what_cannot_be_answered_is_said() {
    let good = || task(vec![rectangle("a bay", [15.0, 5.0], [25.0, 20.0])]);
    type Spoil = fn(&mut Task);
    let spoils: [(Spoil, &str); 14] = [
        (|task| task.outline.truncate(2), "the board's outline is no area"),
        (|task| task.outline.clear(), "the board's outline is no area"),
        (|task| task.outline[0] = [f64::NAN, 0.0], "a coordinate of the board's outline is NaN"),
        (|task| task.outline.swap(0, 1), "the board's outline crosses itself"),
        (|task| task.keep_outs[0].polygon.swap(0, 1), "keep-out 1 (a bay) crosses itself where its edges"),
        (|task| task.keep_outs[0].polygon = vec![[1.0, 1.0]; 9], "keep-out 1 (a bay) is no area"),
        (|task| task.keep_outs[0].polygon[2][1] = f64::INFINITY, "a coordinate of keep-out 1 (a bay) is inf"),
        (|task| task.wire.insulated_mm = f64::NAN, "the wire's diameter over its insulation is NaN"),
        (|task| task.wire.bend_mm = -1.0, "the least radius of a bend is -1"),
        (|task| task.wire.relief_mm = 0.0, "the distance between places where the wire is held is 0"),
        (|task| task.to.at = task.from.at, "`a` and `b` lie at one place"),
        (|task| task.to.at = [1e300, 0.0], "a coordinate of `b` is 1000000"),
        (
            |task| task.from.pad_mm = Some(0.3),
            "the pad of `a` is 0.30 mm wide, and the conductor 0.50 mm thick",
        ),
        (
            |task| task.keep_outs = vec![task.keep_outs[0].clone(); 2001],
            "the corners of all polygons are 8008, and a wire is led round 8000 at most",
        ),
    ];
    for (spoil, says) in spoils {
        let mut task = good();
        spoil(&mut task);
        let error = shortest(&task).unwrap_err().to_string();
        assert!(error.starts_with(says), "{error}");
    }
}

/// Keep-outs upon keep-outs, slivers, corners on corners, ends on edges: no panic, no hang.
#[test]
fn strange_boards_are_borne() {
    let mut many = task(
        (0..60)
            .map(|i| {
                let x = f64::from(i % 8) * 4.0 + 4.0;
                let y = f64::from(i / 8) * 3.0 + 1.0;
                rectangle("tile", [x, y], [x + 4.0, y + 3.0])
            })
            .collect(),
    );
    assert!(shortest(&many).is_err());
    many.keep_outs.retain(|tile| tile.polygon[0][1] > 16.0 || tile.polygon[0][1] < 9.0);
    (many.from.at, many.to.at) = ([2.0, 13.0], [38.0, 13.0]);
    assert!(shortest(&many).is_ok());
    let mut sliver = task(vec![
        keep_out("", &[[20.0, 2.0], [20.0001, 28.0], [20.0002, 2.0]]),
        keep_out("", &[[20.0, 2.0], [20.0, 2.0], [20.0, 10.0], [20.001, 10.0]]),
    ]);
    assert!(shortest(&sliver).unwrap().middle_mm > 30.0);
    sliver.wire.insulated_mm = 30.0;
    assert!(shortest(&sliver).is_err());
    sliver.wire = Wire { insulated_mm: 1.0, bend_mm: 900.0, ..WIRE };
    assert!(shortest(&sliver).is_err());
}

/// The same task, the same route; and there and back are as long.
#[test]
fn there_and_back_are_as_long() {
    let there = task(vec![
        rectangle("a bay", [15.0, 5.0], [25.0, 20.0]),
        rectangle("a post", [27.0, 16.0], [29.0, 24.0]),
    ]);
    let mut back = there.clone();
    std::mem::swap(&mut back.from, &mut back.to);
    let (one, other) = (shortest(&there).unwrap(), shortest(&back).unwrap());
    assert!((one.middle_mm - other.middle_mm).abs() < 1e-9);
    assert_eq!(one, shortest(&there).unwrap());
    assert!(one.middle_mm < 30.0 + PI * 20.0);
}

/// Where a wall parts a field of 500 keep-outs nothing is searched in vain: the ring is found first.
#[test]
fn a_wall_behind_many_keep_outs_is_found_at_once() {
    let mut many: Vec<KeepOut> = (0..500)
        .map(|i| {
            let [x, y] = [f64::from(i % 25) * 5.0 + 4.0, f64::from(i / 25) * 5.0 + 4.0];
            rectangle("tile", [x, y], [x + 1.5, y + 1.5])
        })
        .collect();
    many.push(rectangle("a wall", [130.0, -1.0], [131.0, 111.0]));
    let mut far = task(many);
    far.outline = vec![[0.0, 0.0], [150.0, 0.0], [150.0, 110.0], [0.0, 110.0]];
    (far.from.at, far.to.at) = ([1.5, 1.5], [140.0, 50.0]);
    let RouteError::NoWay { rings, .. } = shortest(&far).unwrap_err() else { panic!() };
    assert_eq!(rings[0].by, [Obstacle::Edge, Obstacle::KeepOut { index: 500, why: "a wall".into() }]);
}
