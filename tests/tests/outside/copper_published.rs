//! Resistance of copper of any shape against the outside world: a published or recalculated figure beside each check.
//!
//! "Recalculated" means that the figure follows from a closed form that textbooks print; "from memory" that the document was
//! not at hand. `tests/fem` holds three more shapes against scikit-fem.

use std::f64::consts::{PI, TAU};

use copperwalk::copper::{Barrel, Conductor, CopperError, End, Shape, Terminal, Wanted, resistance};
use copperwalk::quantity::Ohms;
use copperwalk::random::Rng;
use copperwalk_tests::attack::times;
use copperwalk_tests::share::Share;
use copperwalk_tests::sheets::{any, disc, layer, rectangle, sheet, spoked_pour, squares};

/// How close to a closed form the issue asks for.
const CLOSE: f64 = 0.001;

#[track_caller]
fn close(found: f64, published: f64) {
    let apart = (found / published - 1.0).abs();
    assert!(apart <= CLOSE, "{found} is {:.4} % from {published}", apart * 100.0);
}

/// What lies left of a strip that begins at x = 0, and right of one that ends at `x`.
fn bars(x: f64) -> (Shape, Shape) {
    (rectangle([-1.0, -50.0], [0.0, 50.0]), rectangle([x, -50.0], [x + 1.0, 50.0]))
}

/// Length over width.
#[test]
fn a_strip() {
    let (from, to) = bars(10.0);
    let solved = squares(&sheet(vec![rectangle([0.0, 0.0], [10.0, 1.0])]), from, to, 0.005);
    assert!((solved.resistance.0 - 10.0).abs() < 1e-6, "{solved:?}");
    let neck = solved.neck.unwrap();
    assert!((neck.width_mm - 1.0).abs() < 1e-6 && (neck.share - 1.0).abs() < 1e-6, "{neck:?}");
}

/// The corner square of a bend counts 0.559 (Hall, Thin Solid Films 1 (1967/68) 277, from memory; in every handbook of layout).
/// Exactly: 1 − 2·ln 2/π.
#[test]
fn a_corner() {
    let bend = sheet(vec![rectangle([0.0, 0.0], [6.0, 1.0]), rectangle([5.0, 0.0], [6.0, 6.0])]);
    let (from, _) = bars(10.0);
    let solved = squares(&bend, from, rectangle([4.0, 6.0], [7.0, 7.0]), 0.0005);
    let corner = solved.resistance.0 - 10.0;
    assert!((corner - 0.559).abs() < 0.0005, "{corner}");
    close(solved.resistance.0, 10.0 + 1.0 - 2.0 * 2f64.ln() / PI);
}

/// An end need not be straight: from a bend of 90° about a corner of a strip to the corner, nothing but a part of an annulus,
/// ln(r2/r1) over its angle. Here it is a quarter.
#[test]
fn a_quarter_of_an_annulus() {
    let quarter = sheet(vec![rectangle([0.0, 0.0], [30.0, 30.0])]);
    let ring = Shape::Arc { start: [30.0, 0.0], mid: [21.213_2, 21.213_2], end: [0.0, 30.0], width_mm: 20.0 };
    let solved = squares(&quarter, disc([0.0, 0.0], 4.0), ring, CLOSE);
    close(solved.resistance.0, 10f64.ln() / (PI / 2.0));
}

/// From a disc to a ring around it: ln(r2/r1)/2π squares. Textbooks of field theory print it as the coaxial line's.
#[test]
fn an_annulus() {
    let ring = Shape::Arc { start: [11.0, 0.0], mid: [-11.0, 0.0], end: [11.0, 0.0], width_mm: 2.0 };
    let solved = squares(&sheet(vec![disc([0.0, 0.0], 21.0)]), disc([0.0, 0.0], 2.0), ring, CLOSE);
    close(solved.resistance.0, 10f64.ln() / TAU);
}

/// Half way round a ring: π/(ln(r2/r1)) squares for either half, so half of that for both.
#[test]
fn around_a_ring() {
    let ring =
        sheet(vec![Shape::Arc { start: [3.0, 0.0], mid: [-3.0, 0.0], end: [3.0, 0.0], width_mm: 2.0 }]);
    let bar = |x: f64| rectangle([x - 2.0, -2.5e-3], [x + 2.0, 2.5e-3]);
    let solved = squares(&ring, bar(-3.0), bar(3.0), CLOSE);
    close(solved.resistance.0, PI / 2f64.ln() / 2.0);
}

/// Two equal dots on a sheet without end: arcosh(distance/diameter)/π squares (that of two parallel wires, Smythe, Static and
/// Dynamic Electricity, from memory). Here the sheet is 400 times as wide as the dots are apart.
#[test]
fn two_dots_on_a_large_sheet() {
    let large = sheet(vec![disc([0.0, 0.0], 2000.0)]);
    let solved = squares(&large, disc([-2.5, 0.0], 1.0), disc([2.5, 0.0], 1.0), CLOSE);
    close(solved.resistance.0, 5f64.acosh() / PI);
}

/// A round hole in the middle of a strip adds 2π·(a/w)²/(1 − (π·a/w)²/3) squares: a dipole between its images in the strip's
/// edges (recalculated; the blockage of a cylinder in a channel, Lamb, Hydrodynamics, §64, from memory). What the form
/// leaves out is a fifteen-hundredth of that here.
#[test]
fn a_strip_with_a_round_hole() {
    let mut strip = sheet(vec![rectangle([0.0, 0.0], [4.0, 1.0])]);
    strip.layers[0].cuts.push(disc([2.0, 0.5], 0.2));
    let (from, to) = bars(4.0);
    let solved = squares(&strip, from, to, 0.0005);
    let hole = TAU * 0.01 / (1.0 - (0.1 * PI).powi(2) / 3.0);
    close(solved.resistance.0, 4.0 + hole);
    assert!((solved.resistance.0 - 4.0 - hole).abs() < 0.002 * hole, "{solved:?}");
}

/// In series resistances add, and in parallel conductances.
#[test]
fn series_and_parallel() {
    let (from, to) = bars(10.0);
    let series = sheet(vec![
        rectangle([0.0, 0.0], [4.0, 1.0]),
        rectangle([4.0, 0.0], [4.001, 1.0]),
        rectangle([4.001, 0.0], [10.0, 1.0]),
    ]);
    close(squares(&series, from.clone(), to.clone(), CLOSE).resistance.0, 10.0);
    let parallel = sheet(vec![rectangle([0.0, 0.0], [10.0, 1.0]), rectangle([0.0, 2.0], [10.0, 5.0])]);
    let solved = squares(&parallel, from, to, CLOSE);
    close(solved.resistance.0, 2.5);
    let neck = solved.neck.unwrap();
    assert!((neck.share - neck.width_mm / 4.0).abs() < 0.01, "{neck:?}");
}

/// Two strips one above the other, joined by a barrel at the far end: both annuli of the spreading are there twice, so the
/// difference between two barrels' resistances is all that a second solution adds; two barrels side by side share.
#[test]
fn two_layers_and_barrels() {
    let strip = || layer(vec![rectangle([0.0, 0.0], [10.0, 2.0])]);
    let barrel =
        |y: f64, ohms: f64| Barrel { rim: disc([9.0, y], 0.3), layers: (0, 1), resistance: Ohms(ohms) };
    let (from, _) = bars(10.0);
    let through = |barrels: Vec<Barrel>| {
        let copper = Conductor { layers: vec![strip(), strip()], barrels };
        let wanted = Wanted { relative: 2e-4, ..Wanted::default() };
        let (a, b) = (Terminal::on(0, from.clone()), Terminal::on(1, from.clone()));
        resistance(&copper, &a, &b, &wanted).unwrap().resistance.0
    };
    let one = through(vec![barrel(1.0, 1.0)]);
    close(through(vec![barrel(1.0, 5.0)]) - one, 4.0);
    // By symmetry each of two carries half.
    let two = through(vec![barrel(0.5, 1.0), barrel(1.5, 1.0)]);
    close(through(vec![barrel(0.5, 5.0), barrel(1.5, 5.0)]) - two, 2.0);
    // Either layer is ten squares at most, less what lies behind the barrel, plus the spreading.
    assert!(one > 1.0 + 2.0 * 4.4 && one < 1.0 + 2.0 * 5.5, "{one}");
}

/// Stated error against a solution 20 times as exact: it covers in at least 95 % of any shapes.
#[test]
fn the_stated_error_covers() {
    let mut rng = Rng::new(11);
    let cases = (0..times(20, 200)).map(|i| {
        let (copper, [from, to]) = any(&mut rng);
        let [coarse, fine] =
            [0.005, 0.000_25].map(|relative| squares(&copper, from.clone(), to.clone(), relative));
        assert!(coarse.error.0 <= 0.005 * coarse.resistance.0, "{i}: {coarse:?}");
        (coarse.resistance - fine.resistance).abs() <= coarse.error + fine.error
    });
    let covered = Share::count(cases);
    println!("the stated error covers in {covered}");
    assert!(covered.value() >= 0.95, "{covered}");
}

/// The same copper, whatever the order of its pieces, and to the byte when it is given twice.
#[test]
fn the_same_copper_is_the_same() {
    let (pour, [from, to]) = spoked_pour();
    let once = squares(&pour, from.clone(), to.clone(), 0.005);
    assert_eq!(squares(&pour, from.clone(), to.clone(), 0.005), once);
    let mut turned = pour.clone();
    turned.layers[0].shapes.reverse();
    let other = squares(&turned, from, to, 0.005);
    assert!((other.resistance - once.resistance).abs() <= once.error + other.error);
}

#[test]
fn copper_that_is_none_is_told_of() {
    let strip = sheet(vec![rectangle([0.0, 0.0], [10.0, 1.0])]);
    let ask = |copper: &Conductor, from: Shape, to: Shape, wanted: Wanted| {
        resistance(copper, &Terminal::on(0, from), &Terminal::on(0, to), &wanted).unwrap_err()
    };
    let (left, right) = (disc([0.5, 0.5], 0.2), disc([9.5, 0.5], 0.2));
    let usual = Wanted::default();
    let outside = ask(&strip, disc([5.0, 5.0], 0.2), right.clone(), usual);
    assert_eq!(outside, CopperError::Outside { end: End::From });
    assert_eq!(ask(&strip, left.clone(), disc([0.6, 0.5], 0.2), usual), CopperError::Together);
    let parted = sheet(vec![rectangle([0.0, 0.0], [4.0, 1.0]), rectangle([4.01, 0.0], [10.0, 1.0])]);
    assert_eq!(ask(&parted, left.clone(), right.clone(), usual), CopperError::Apart);
    let crossed =
        Shape::Polygon { outer: vec![[0.0, 0.0], [10.0, 1.0], [10.0, 0.0], [0.0, 1.0]], holes: Vec::new() };
    assert!(matches!(
        ask(&sheet(vec![crossed]), left.clone(), right.clone(), usual),
        CopperError::Crossed { .. }
    ));
    let endless = sheet(vec![rectangle([0.0, 0.0], [f64::INFINITY, 1.0])]);
    assert!(matches!(ask(&endless, left.clone(), right.clone(), usual), CopperError::Coordinate { .. }));
    let thin = sheet(vec![Shape::Track { points: vec![[0.0, 0.0], [1.0, 0.0]], width_mm: 0.0 }]);
    assert!(matches!(ask(&thin, left.clone(), right.clone(), usual), CopperError::Width { .. }));
    let strict = Wanted { relative: 1e-9, most_triangles: 2000, ..usual };
    assert!(matches!(ask(&strip, left, right, strict), CopperError::TooFine { .. }));
}

/// Zero-length pieces, points given twice, copper drawn on copper, an outline that goes into a hole along a slit: what drawing
/// programs write.
#[test]
fn untidy_copper_is_the_copper_that_was_meant() {
    let (from, to) = bars(10.0);
    let track = |points: Vec<[f64; 2]>| Shape::Track { points, width_mm: 0.5 };
    let untidy = sheet(vec![
        rectangle([0.0, 0.0], [10.0, 1.0]),
        rectangle([0.0, 0.0], [10.0, 1.0]),
        track(vec![[3.0, 0.5], [3.0, 0.5]]),
        track(vec![[2.0, 0.5], [2.0, 0.5], [7.0, 0.5], [7.000_000_1, 0.5]]),
        track(Vec::new()),
        Shape::Polygon { outer: vec![[1.0, 0.2], [4.0, 0.2]], holes: vec![vec![[1.0, 1.0]]] },
        Shape::Arc { start: [1.0, 0.5], mid: [1.5, 0.5], end: [2.0, 0.5], width_mm: 0.3 },
    ]);
    close(squares(&untidy, from.clone(), to.clone(), CLOSE).resistance.0, 10.0);

    let holed = |outer, holes| sheet(vec![Shape::Polygon { outer, holes }]);
    let hole = vec![[4.0, 0.3], [4.0, 0.7], [6.0, 0.7], [6.0, 0.3]];
    let plain = holed(vec![[0.0, 0.0], [10.0, 0.0], [10.0, 1.0], [0.0, 1.0]], vec![hole]);
    let slit = vec![
        [0.0, 0.0],
        [4.0, 0.0],
        [4.0, 0.3],
        [4.0, 0.7],
        [6.0, 0.7],
        [6.0, 0.3],
        [4.0, 0.3],
        [4.0, 0.0],
        [10.0, 0.0],
        [10.0, 1.0],
        [0.0, 1.0],
    ];
    let of_plain = squares(&plain, from.clone(), to.clone(), CLOSE).resistance.0;
    close(squares(&holed(slit, Vec::new()), from, to, CLOSE).resistance.0, of_plain);
}
