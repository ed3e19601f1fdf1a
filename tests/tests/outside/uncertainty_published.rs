//! Uncertainty against the worked examples of the guides: the program's own functions, fed with the examples' data, against the
//! figures that are printed there.
//!
//! All documents of the Joint Committee for Guides in Metrology; data and figures from memory, to their printed places.

use copperwalk::{
    limits::{LimitOrigin, Limits},
    measure::uncertainty::{Budget, Edges, expanded},
    quantity::Ohms,
    statistics::{
        noncentral_t, normal, sample,
        variance::{Deviation, OneWay, combined, pooled},
    },
    verdict::{self, Verdict},
};

/// `found` rounds to what is printed with so many decimal places.
fn printed(what: &str, found: f64, value: f64, places: i32) {
    let half = 0.5 * 10_f64.powi(-places);
    assert!((found - value).abs() <= half * (1.0 + 1e-9), "{what}: {found} instead of {value}");
}

fn deviation(sigma: f64, freedom: f64) -> Deviation {
    Deviation { sigma, freedom }
}

/// JCGM 100:2008, H.1, end-gauge calibration. The comparison: u(d) = 9.7 nm with 25.6 degrees of freedom, of 5.8, 3.9 and 6.7 nm
/// with 24, 5 and 8 (H.1.3.2, H.1.6). The length: u_c = 32 nm with 16 degrees of freedom, of 25, 9.7, 2.9 and 16.6 nm with 18, 25.6,
/// 50 and 2; U = 2.92 · 32 nm = 93 nm for 99 % (H.1.6).
#[test]
fn an_end_gauge() {
    let comparison = combined(&[deviation(5.8, 24.0), deviation(3.9, 5.0), deviation(6.7, 8.0)]);
    printed("u(d)", comparison.sigma, 9.7, 1);
    // The guide works on with the rounded 9.7 nm.
    assert!((comparison.freedom - 25.6).abs() < 0.2, "{comparison:?}");
    let length = combined(&[deviation(25.0, 18.0), comparison, deviation(2.9, 50.0), deviation(16.6, 2.0)]);
    printed("u_c", length.sigma, 32.0, 0);
    // G.4.1: what lies between two whole numbers is truncated to the lower.
    assert_eq!(length.freedom.floor(), 16.0, "{length:?}");
    let factor = noncentral_t::student(0.99, length.freedom.floor());
    printed("t99(16)", factor, 2.92, 2);
    printed("U99", factor * length.sigma.round(), 93.0, 0);
    // Parts that are known exactly leave the sum so.
    let exact = combined(&[deviation(3.0, f64::INFINITY), deviation(4.0, f64::INFINITY)]);
    assert_eq!(exact, deviation(5.0, f64::INFINITY));
}

/// The correlation of two samples, from sums of squares: S(x + y) − S(x − y) = 4 · Σ(x − x̄)(y − ȳ).
fn correlation(x: &[f64], y: &[f64]) -> f64 {
    let with = |sign: f64| {
        let sum: Vec<f64> = x.iter().zip(y).map(|(x, y)| x + sign * y).collect();
        sample::squares(&sum)
    };
    (with(1.0) - with(-1.0)) / (4.0 * (sample::squares(x) * sample::squares(y)).sqrt())
}

/// JCGM 100:2008, H.2, simultaneous resistance and reactance, by the second approach (H.2.4): each of the five sets gives R, X and Z,
/// whose means, standard deviations of the mean and correlations are those of tables H.2 and H.4.
#[test]
fn resistance_and_reactance() {
    let volts = [5.007, 4.994, 5.005, 4.990, 4.999];
    let amps = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3];
    let phase: [f64; 5] = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
    let of_sets = |of: &dyn Fn(f64) -> f64| -> Vec<f64> {
        (0..5).map(|set| volts[set] / amps[set] * of(phase[set])).collect()
    };
    let [r, x, z] = [of_sets(&f64::cos), of_sets(&f64::sin), of_sets(&|_| 1.0)];
    let of_mean = |values: &[f64]| sample::deviation(values).unwrap() / 5_f64.sqrt();
    printed("V", sample::mean(&volts).unwrap(), 4.9990, 4);
    printed("u(V)", of_mean(&volts), 0.0032, 4);
    printed("I", sample::mean(&amps).unwrap() * 1e3, 19.6610, 4);
    printed("u(I)", of_mean(&amps) * 1e3, 0.0095, 4);
    printed("φ", sample::mean(&phase).unwrap(), 1.044_46, 5);
    printed("u(φ)", of_mean(&phase), 0.000_75, 5);
    for (what, values, mean, u) in
        [("R", &r, 127.732, 0.071), ("X", &x, 219.847, 0.295), ("Z", &z, 254.260, 0.236)]
    {
        printed(what, sample::mean(values).unwrap(), mean, 3);
        printed(what, of_mean(values), u, 3);
    }
    for (what, a, b, value, places) in [
        ("r(V, I)", &volts[..], &amps[..], -0.36, 2),
        ("r(V, φ)", &volts, &phase, 0.86, 2),
        ("r(I, φ)", &amps, &phase, -0.65, 2),
        ("r(R, X)", &r, &x, -0.588, 3),
        ("r(R, Z)", &r, &z, -0.485, 3),
        ("r(X, Z)", &x, &z, 0.993, 3),
    ] {
        printed(what, correlation(a, b), value, places);
    }
}

/// JCGM 100:2008, H.5, a Zener voltage standard on ten days, five observations each: table H.9 has the days' means above 10 V and
/// their standard deviations, µV. Days scatter by 57 µV, observations by 85 µV (pooled); F = 2.25; days add 43 µV of their own.
#[test]
fn days_and_observations() {
    let means = [172.0, 116.0, 13.0, 144.0, 106.0, 31.0, 60.0, 125.0, 163.0, 41.0];
    let sigmas = [60.0, 77.0, 111.0, 101.0, 67.0, 93.0, 80.0, 73.0, 88.0, 86.0];
    printed("mean", sample::mean(&means).unwrap(), 97.0, 0);
    printed("s of the days", sample::deviation(&means).unwrap(), 57.0, 0);
    let within = pooled(&sigmas.map(|sigma| deviation(sigma, 4.0))).unwrap();
    printed("s within", within.sigma, 85.0, 0);
    assert_eq!(within.freedom, 40.0);
    // Five observations with just this mean and this deviation.
    let day =
        |mean: f64, sigma: f64| [-2.0, -1.0, 0.0, 1.0, 2.0].map(|step| mean + step * sigma / 2.5_f64.sqrt());
    let days: Vec<[f64; 5]> = means.iter().zip(sigmas).map(|(mean, sigma)| day(*mean, sigma)).collect();
    let model = OneWay::of(&days.iter().map(|day| &day[..]).collect::<Vec<_>>()).unwrap();
    assert_eq!((model.between.freedom, model.within.freedom), (9, 40));
    // The guide works with rounded deviations: 5 · 57² / 85² = 2.25.
    assert!((model.f() - 2.25).abs() < 0.015, "{}", model.f());
    printed("s_B", model.components().between, 43.0, 0);
}

/// JCGM 101:2008, 9.2: the sum of four inputs with an expectation of 0. Four rectangles with a standard deviation of 1 (9.2.3): the
/// shortest 95 % interval is ±3.88, where the GUM's framework has ±3.92. One of them ten times as wide (9.2.4): ±17.0, where the
/// framework has ±20.3. The program keeps the widest rectangle one and counts the others as normal.
#[test]
fn sums_of_rectangles() {
    let half = 3_f64.sqrt();
    let of = |widest: f64| {
        let edges = Edges {
            rm: Ohms(widest * half),
            gain: Ohms(half),
            linearity: Ohms(half),
            leakage: Ohms(half),
            ..Edges::default()
        };
        Budget { edges, ..Budget::of_noise(Ohms(0.0)) }
    };
    printed("u of four alike", of(1.0).standard().0, 2.0, 2);
    assert!((of(1.0).expanded().0 - 3.88).abs() < 0.04, "{:?}", of(1.0).expanded());
    printed("u with a wide one", of(10.0).standard().0, 10.1, 1);
    printed("U with a wide one", of(10.0).expanded().0, 17.0, 1);
    // 9.2.2: four normal ones, ±3.92.
    printed("U of normal ones", expanded(Ohms(2.0), Ohms(0.0)).0, 3.92, 2);
}

/// JCGM 106:2012, 7.3 and 7.4: the probability that what was measured conforms, for a normal distribution and one limit. A Zener
/// diode of −5.47 V with u = 0.05 V against at most −5.40 V: 92 %. A container that bursts at 509.7 kPa with u = 8.6 kPa against at
/// least 490 kPa: 99 %.
#[test]
fn probabilities_of_conforming() {
    printed("diode", normal::below((-5.40 - -5.47) / 0.05), 0.92, 2);
    printed("container", 1.0 - normal::below((490.0 - 509.7) / 8.6), 0.99, 2);
}

/// JCGM 106:2012, 8.3.2: a guard band of 1.64 u leaves at most 5 % that a value accepted at its edge does not conform, and one of
/// U = 2 u (ISO 14253-1) at most 2.3 %. The verdict keeps it: accepted up to the edge, neither proven within it, rejected beyond.
#[test]
fn a_guard_band_and_what_it_leaves() {
    printed("factor for 5 %", normal::quantile(0.95), 1.64, 2);
    printed("left by 2 u", normal::below(-2.0), 0.023, 3);
    let limits = Limits { min: None, max: Ohms(100.0), origin: LimitOrigin::Stated };
    let u = 1.5;
    for factor in [normal::quantile(0.95), 2.0] {
        let guard = Ohms(factor * u);
        let edge = limits.max - guard;
        for (value, expected) in [
            (edge - Ohms(1e-9), Verdict::Pass),
            (edge + Ohms(1e-9), Verdict::Unproven),
            (limits.max + guard - Ohms(1e-9), Verdict::Unproven),
            (limits.max + guard + Ohms(1e-9), Verdict::Fail),
        ] {
            assert_eq!(verdict::judge(value, guard, &limits), expected, "{value:?}, {factor} u");
        }
        let left = normal::below((edge - limits.max).0 / u);
        assert!(left <= 0.0501, "{left}");
    }
}
