//! Routes of wires: against exhaustive searches with geometry of their own, and clearance and bends along thousands of random ones.
//! `COPPERWALK_LONG=1` draws ten thousand.

mod cases;
mod exhaustive;

use copperwalk::route::{Piece, Route, RouteError, Task, shortest};

use cases::Draw;
use exhaustive::Edges;

/// What is wrong with a route, if anything is.
fn flaw(task: &Task, route: &Route) -> Option<String> {
    const STEP_MM: f64 = 0.05;
    for leg in &route.legs {
        let mut at: Option<[f64; 2]> = None;
        let edges = Edges::of(task, leg.face);
        for place in leg.places(STEP_MM) {
            if edges.room(place) < -1e-8 || !exhaustive::on_board(task, leg.face, place) {
                return Some(format!("{place:?} has {} mm too little", -edges.room(place)));
            }
        }
        let mut heading: Option<[f64; 2]> = None;
        for piece in &leg.pieces {
            if let Piece::Bend { radius_mm, .. } = piece
                && *radius_mm < task.wire.bend_mm
            {
                return Some(format!("a bend of {radius_mm}, asked {}", task.wire.bend_mm));
            }
            let Some([begins, ends]) = piece.directions() else { continue };
            if let Some(before) = heading
                && (before[0] * begins[1] - before[1] * begins[0]).abs() > 1e-4
            {
                return Some(format!("a kink at {:?}", piece.from()));
            }
            heading = Some(ends);
            if let Some(before) = at
                && (piece.from()[0] - before[0]).hypot(piece.from()[1] - before[1]) > 1e-5
            {
                return Some(format!("a gap at {:?}", piece.from()));
            }
            at = Some(piece.to());
        }
    }
    None
}

/// 200 small boards, bends no wider than the clearance leaves: the shortest there is, to what the exhaustive search resolves.
#[test]
fn as_short_as_an_exhaustive_search_finds() {
    let (mut compared, mut none, mut seed) = (0, 0, 0);
    while compared < 200 {
        seed += 1;
        let holes = if seed % 2 == 0 { 4 } else { 0 };
        let task = Draw { holes, keep_outs: 5 + holes, ..Draw::SMALL }.case(seed);
        match (shortest(&task), exhaustive::taut(&task)) {
            (Ok(route), Some(found)) => {
                assert!(
                    route.price_mm <= found * (1.0 + 1e-9),
                    "case {seed}: {} against {found}",
                    route.price_mm
                );
                assert!(route.price_mm >= found * 0.99, "case {seed}: {} against {found}", route.price_mm);
                assert_eq!(flaw(&task, &route), None, "case {seed}");
                compared += 1;
            }
            (Err(_), None) => none += 1,
            // Ways narrower than the exhaustive search resolves.
            (Ok(_), None) => {}
            (Err(error), Some(found)) => panic!("case {seed}: {error}, but there is a way of {found}"),
        }
    }
    println!("200 compared; {none} without a way, for both");
}

/// 200 small boards with stiff wires. Most routes are within a per cent of a bound that no wire can be under; the others are held against
/// an exhaustive search for curves of bounded curvature.
#[test]
fn a_stiff_wire_is_within_a_per_cent_of_the_shortest() {
    let (mut compared, mut searched, mut stiff, mut seed, mut worst) = (0, 0, 0, 1000, 1.0_f64);
    while compared < 200 {
        seed += 1;
        let task = Draw { stiff: true, keep_outs: 5, ..Draw::SMALL }.case(seed);
        let Some(found) = exhaustive::taut(&task) else { continue };
        let route = match shortest(&task) {
            Ok(route) => route,
            Err(RouteError::Stiff { .. }) => {
                stiff += 1;
                // Nor does the other search find one that has a little room to spare.
                assert_eq!(exhaustive::bent(&task, 2.0 * found, -0.02), None, "case {seed}");
                continue;
            }
            Err(error) => panic!("case {seed}: {error}, but there is a way of {found}"),
        };
        assert!(route.least_mm <= found * (1.0 + 1e-9));
        assert_eq!(flaw(&task, &route), None, "case {seed}");
        compared += 1;
        worst = worst.max(route.price_mm / route.least_mm);
        if route.price_mm > 1.01 * route.least_mm {
            searched += 1;
            let shorter = exhaustive::bent(&task, route.price_mm / 1.01, 0.01);
            assert_eq!(shorter, None, "case {seed}: {}, bound {}", route.price_mm, route.least_mm);
        }
    }
    println!(
        "200 compared, {searched} of them by curves; the longest {worst:.3} of its bound; {stiff} too stiff"
    );
}

#[test]
fn clearance_and_bends_hold_on_random_boards() {
    let wanted = if std::env::var_os("COPPERWALK_LONG").is_some() { 10_000 } else { 300 };
    let (mut routes, mut seed, mut refused) = (0, 50_000, [0; 4]);
    while routes < wanted {
        seed += 1;
        let keep_outs = 3 + (seed % 20) as usize;
        let holes = if seed % 3 == 0 { 5 } else { 0 };
        let size = if seed % 2 == 0 { [2.0, 8.0] } else { [0.5, 4.0] };
        let task = Draw { stiff: seed % 4 != 0, holes, keep_outs, size, ..Draw::SMALL }.case(seed);
        match shortest(&task) {
            Ok(route) => {
                routes += 1;
                assert_eq!(flaw(&task, &route), None, "case {seed}");
                assert!(route.price_mm >= route.least_mm - 1e-6, "case {seed}");
            }
            Err(RouteError::Covered(_)) => refused[0] += 1,
            Err(RouteError::NoWay { rings, .. }) => {
                refused[1] += 1;
                assert!(!rings.is_empty() || holes > 0, "case {seed}");
            }
            Err(RouteError::Stiff { .. }) => refused[2] += 1,
            Err(error) => panic!("case {seed}: {error}"),
        }
    }
    println!("{routes} routes; {refused:?} covered, enclosed, too stiff");
}
