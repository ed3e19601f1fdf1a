//! Statistics against the outside world: a printed, certified or independently computed figure beside each check, and
//! how it is known.
//!
//! "From memory" means that the document was not at hand. Figures of scipy 1.17.1 (Python Package Index, `pip install
//! scipy`) come from the command beside them.

use copperwalk::statistics::{
    control::{self, Chart},
    noncentral_t, normal, outlier, sample,
    tolerance::{Sides, factor, smallest},
    variance::{Deviation, OneWay, pooled},
};

fn close(found: f64, published: f64, relative: f64) {
    let apart = (found / published - 1.0).abs();
    assert!(apart <= relative, "{found} is {apart:.1e} from {published}");
}

/// NIST StRD, univariate, Mavro: the transmittance of a filter (R. Mavrodineanu; public data of the United States),
/// with its certified mean and standard deviation.
#[test]
fn certified_mean_and_deviation() {
    let values = [
        18, 17, 18, 19, 18, 17, 15, 14, 15, 15, 17, 18, 18, 19, 19, 21, 20, 16, 14, 13, 13, 15, 15, 16, 15,
        14, 13, 14, 15, 14, 15, 16, 15, 16, 19, 20, 20, 21, 22, 23, 24, 25, 27, 26, 26, 26, 27, 26, 25, 24,
    ]
    .map(|last_places| 2.0 + f64::from(last_places) * 1e-4);
    close(sample::mean(&values).unwrap(), 2.001_856_000_000_00, 1e-14);
    close(sample::deviation(&values).unwrap(), 0.000_429_123_454_003_053, 1e-11);
}

/// `python3 -c "from scipy.stats import nct, t; print(nct.ppf(p, df, delta), t.ppf(p, df), nct.cdf(x, df, delta))"`
#[test]
fn quantiles_of_t() {
    for (freedom, delta, probability, value) in [
        (1.0, 0.0, 0.975, 12.706_204_736_174_694),
        (2.5, 0.0, 0.995, 7.163_728_138_948_783),
        (9.0, 0.0, 0.975, 2.262_157_162_798_205),
        (50.0, 0.0, 0.95, 1.675_905_025_163_097),
        (4.0, 2.0, 0.95, 5.793_583_548_804_3),
        (9.0, 7.356, 0.95, 12.588_514_220_512_888),
        (11.0, 8.06, 0.99, 16.051_540_530_382_8),
        (42.0, 8.403_7, 0.99, 12.288_341_047_866_23),
        (99.0, 23.26, 0.95, 26.835_694_904_122_953),
        (299.0, 40.3, 0.95, 43.687_135_194_229_06),
    ] {
        close(noncentral_t::quantile(probability, freedom, delta), value, 1e-11);
    }
    for (x, freedom, delta, probability) in [
        (0.5, 3.0, 1.0, 0.298_110_493_370_963_2),
        (2.0, 10.0, 3.0, 0.168_485_838_588_045_43),
        (-1.0, 5.0, 0.5, 0.082_444_091_056_723_37),
        (10.0, 9.0, 7.356, 0.823_918_226_759_252_5),
        (3.0, 1.0, 1.0, 0.730_102_598_610_563_4),
        (-2.0, 8.0, 0.0, 0.040_258_118_978_631_3),
        (30.0, 99.0, 23.26, 0.998_141_535_983_193_2),
    ] {
        close(noncentral_t::below(x, freedom, delta), probability, 1e-11);
    }
    // GUM (JCGM 100) table G.2, to its printed places: Student's factor by degrees of freedom, 95 % and 99 % (from
    // memory).
    for (freedom, k95, k99) in
        [(1.0, 12.71, 63.66), (5.0, 2.57, 4.03), (10.0, 2.23, 3.17), (50.0, 2.01, 2.68)]
    {
        assert!((noncentral_t::student(0.95, freedom) - k95).abs() < 0.005);
        assert!((noncentral_t::student(0.99, freedom) - k99).abs() < 0.005);
    }
    close(noncentral_t::student(0.95, f64::INFINITY), 1.959_963_984_540_054, 1e-14);
}

/// One-sided factors as the tables print them, at 95 % confidence: Hald, Statistical Tables and Formulas, and ISO
/// 16269-6, table C (from memory).
#[test]
fn one_sided_tolerance_factors() {
    for (count, k90, k95, k99) in [
        (2, 20.581, 26.260, 37.094),
        (3, 6.155, 7.656, 10.553),
        (5, 3.407, 4.203, 5.741),
        (10, 2.355, 2.911, 3.981),
        (20, 1.926, 2.396, 3.295),
    ] {
        for (coverage, printed) in [(0.90, k90), (0.95, k95), (0.99, k99)] {
            let found = factor(Sides::One, count, coverage, 0.95).unwrap();
            assert!((found - printed).abs() < 0.000_6, "{count} {coverage}: {found}");
        }
    }
    // NIST handbook 7.2.6.3: N = 43, 90 % with 99 % confidence. Exact 1.87395 (recalculated with scipy: nct.ppf(0.99,
    // 42, norm.ppf(0.9)*43**0.5)/43**0.5); the approximation printed there, 1.8752, is 0.07 % above it.
    close(factor(Sides::One, 43, 0.90, 0.99).unwrap(), 1.873_953_605_9, 1e-9);
    close(factor(Sides::One, 43, 0.90, 0.99).unwrap(), 1.875_2, 1e-3);
    // The same at n = 40 (real-statistics.com, tolerance interval example; recalculated).
    close(factor(Sides::One, 40, 0.90, 0.99).unwrap(), 1.901_7, 3e-5);
}

/// Two-sided factors at 95 % confidence, as Berthouex and Brown, Statistics for Environmental Engineers, table 21.1
/// prints them (read). Howe's approximation misses them at n = 5.
#[test]
fn two_sided_tolerance_factors() {
    for (count, k90, k95, k99) in [
        (5, 4.29, 5.08, 6.60),
        (10, 2.86, 3.39, 4.44),
        (20, 2.32, 2.76, 3.62),
        (30, 2.15, 2.55, 3.35),
        (60, 1.96, 2.34, 3.07),
    ] {
        for (coverage, printed) in [(0.90, k90), (0.95, k95), (0.99, k99)] {
            let found = factor(Sides::Two, count, coverage, 0.95).unwrap();
            // 3.3546 is printed as 3.35: half a unit of the last place.
            assert!((found - printed).abs() < 0.005_1, "{count} {coverage}: {found}");
        }
    }
    // NIST handbook 7.2.6.3: mean 97.07, s 0.0268, N = 43, 90 % with 99 % confidence: Howe's factor is 2.217 and the
    // interval 97.010576 to
    // 97.12942 (read in a page that quotes it). The exact factor, 2.22283, is 0.25 % above Howe's.
    close(howe(43, 0.90, 0.99), 2.217_315_9, 1e-7);
    let exact = factor(Sides::Two, 43, 0.90, 0.99).unwrap();
    close(exact, 2.222_83, 3e-6);
    assert!((97.07 - exact * 0.0268 - 97.010_576).abs() < 2e-4);
    // Where there are many values the two agree.
    close(factor(Sides::Two, 1000, 0.99, 0.95).unwrap(), howe(1000, 0.99, 0.95), 1e-4);
}

/// W. G. Howe, J. Am. Stat. Assoc. 64 (1969) 610-620, as NIST handbook 7.2.6.3 gives it.
fn howe(count: usize, coverage: f64, confidence: f64) -> f64 {
    use statrs::distribution::{ChiSquared, ContinuousCDF};
    let n = count as f64;
    let chi = ChiSquared::new(n - 1.0).unwrap().inverse_cdf(1.0 - confidence);
    smallest(Sides::Two, coverage) * ((n - 1.0) * (1.0 + 1.0 / n) / chi).sqrt()
}

/// What a factor is for: of many samples the stated share covers what it says. SplitMix64 with a fixed seed; the share
/// of 4000 samples is known to 0.35 %.
#[test]
fn factors_cover_what_they_say() {
    const SAMPLES: u32 = 4000;
    let mut random = Random(20_261_126);
    for (sides, count) in [(Sides::One, 10), (Sides::Two, 10), (Sides::Two, 3)] {
        let k = factor(sides, count, 0.99, 0.95).unwrap();
        let covered = (0..SAMPLES).filter(|_| {
            let values: Vec<f64> = (0..count).map(|_| random.normal()).collect();
            let (mean, deviation) = (sample::mean(&values).unwrap(), sample::deviation(&values).unwrap());
            let above = normal::below(mean + k * deviation);
            let below = if sides == Sides::Two { normal::below(mean - k * deviation) } else { 0.0 };
            above - below >= 0.99
        });
        let share = covered.count() as f64 / f64::from(SAMPLES);
        assert!((share - 0.95).abs() < 0.011, "{sides:?} {count}: {share}");
    }
}

/// NIST StRD, analysis of variance, SiRstv: resistivity of silicon by five instruments (J. Ehrstein and M. C. Croarkin;
/// www.itl.nist.gov/div898/strd, public data of the United States). Certified values as the file prints them.
const SIRSTV: [[f64; 5]; 5] = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
];

#[test]
fn certified_analysis_of_variance() {
    let groups = SIRSTV.each_ref().map(|group| group.as_slice());
    let found = OneWay::of(&groups).unwrap();
    close(found.between.squares, 5.114_626_160_000_00e-2, 1e-11);
    close(found.within.squares, 2.166_365_600_000_00e-1, 1e-11);
    close(found.between.square(), 1.278_656_540_000_00e-2, 1e-11);
    close(found.within.square(), 1.083_182_800_000_00e-2, 1e-11);
    close(found.f(), 1.180_462_374_402_55, 1e-11);
    close(found.residual(), 1.040_760_683_346_56e-1, 1e-11);
    assert_eq!((found.between.freedom, found.within.freedom), (4, 20));
    // Groups of one size: that is what stands for them.
    close(found.size, 5.0, 1e-14);
}

/// NIST e-Handbook 2.6.1, mpc61.dat (public data of the United States): resistivity of silicon wafers, Ω·cm, with probe
/// 2362. Average and standard deviation of 6 readings, on 6 days, of wafers 138 to 142, in two runs.
const PROBE_2362: [[[f64; 2]; 6]; 10] = [
    // Run 1.
    [
        [95.1162, 0.0480],
        [95.0569, 0.0577],
        [95.0598, 0.0516],
        [95.1487, 0.0386],
        [95.0743, 0.0256],
        [95.1010, 0.0420],
    ],
    [
        [99.2939, 0.0818],
        [99.3234, 0.0723],
        [99.2748, 0.0756],
        [99.3512, 0.0475],
        [99.2350, 0.0517],
        [99.3574, 0.0485],
    ],
    [
        [96.0771, 0.1024],
        [95.9976, 0.0943],
        [96.0148, 0.0622],
        [96.0397, 0.0702],
        [96.0407, 0.0627],
        [96.0445, 0.0622],
    ],
    [
        [101.0471, 0.0320],
        [101.0224, 0.1020],
        [101.0702, 0.0580],
        [101.0904, 0.1049],
        [101.0626, 0.0702],
        [101.0686, 0.0661],
    ],
    [
        [94.2437, 0.0503],
        [94.2115, 0.0919],
        [94.2348, 0.0282],
        [94.2124, 0.0513],
        [94.2214, 0.0627],
        [94.1651, 0.1010],
    ],
    // Run 2.
    [
        [95.1687, 0.0785],
        [95.1564, 0.0430],
        [95.1354, 0.0983],
        [95.0422, 0.0773],
        [95.1354, 0.0587],
        [95.1075, 0.0776],
    ],
    [
        [99.3408, 0.1279],
        [99.3116, 0.1131],
        [99.3241, 0.0519],
        [99.2991, 0.0903],
        [99.3049, 0.0783],
        [99.2782, 0.0718],
    ],
    [
        [96.0793, 0.0996],
        [96.1115, 0.0533],
        [96.0803, 0.0364],
        [96.0411, 0.0768],
        [96.0988, 0.1042],
        [96.0482, 0.0868],
    ],
    [
        [101.1353, 0.0585],
        [101.1201, 0.0868],
        [101.0946, 0.0855],
        [100.9977, 0.0645],
        [101.0963, 0.0638],
        [101.0300, 0.0549],
    ],
    [
        [94.2052, 0.0813],
        [94.2824, 0.0605],
        [94.2396, 0.0882],
        [94.2087, 0.0702],
        [94.2937, 0.0591],
        [94.2330, 0.0556],
    ],
];

/// Repeatability, day-to-day and run-to-run deviations of that gauge, as the handbook prints them (from memory): 0.0729
/// with 300 degrees of freedom, 0.0362 with 50, 0.0197 with 5 (the last comes out as 0.01965).
#[test]
fn components_of_a_gauge() {
    let repeatability: Vec<_> =
        PROBE_2362.iter().flatten().map(|[_, sigma]| Deviation { sigma: *sigma, freedom: 5.0 }).collect();
    let days = PROBE_2362.map(|days| days.map(|[average, _]| average));
    let daily: Vec<_> = days.iter().map(|days| Deviation::of(days).unwrap()).collect();
    let means = days.map(|days| sample::mean(&days).unwrap());
    let runs: Vec<_> =
        (0..5).map(|wafer| Deviation::of(&[means[wafer], means[wafer + 5]]).unwrap()).collect();
    for (deviations, sigma, freedom) in
        [(repeatability, 0.0729, 300.0), (daily, 0.0362, 50.0), (runs, 0.0197, 5.0)]
    {
        let found = pooled(&deviations).unwrap();
        assert!((found.sigma - sigma).abs() < 0.000_06, "{found:?}");
        assert!((found.freedom - freedom).abs() < 1e-9);
    }
    // By day and run of one wafer, the random-effects model gives what the mean squares were made of: with 6 days in a
    // run, run-to-run² = between² (2 runs) and day-to-day² = within².
    let model = OneWay::of(&[&days[0], &days[5]]).unwrap();
    let components = model.components();
    let [within, between] = [components.within.powi(2), components.between.powi(2)];
    close(model.within.square(), within, 1e-12);
    close(model.between.square().max(model.within.square()), within + 6.0 * between, 1e-12);
}

/// NIST e-Handbook 6.3.2.2, individuals: ten flow rates, mean 50.81, mean moving range 1.8778, limits 45.8159 and
/// 55.8041 (from memory; with d2 as 1.128, which is 0.03 % low).
#[test]
fn limits_of_individuals() {
    let limits = control::Limits::of(&[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]).unwrap();
    close(limits.centre, 50.81, 1e-12);
    assert!((limits.action()[0] - 45.8159).abs() < 0.002 && (limits.action()[1] - 55.8041).abs() < 0.002);
    // SAS/QC sample MACEW5, 30 tire belts: mean 24.0083, sigma 0.050423, limits 23.8571 and 24.1596 (read in its
    // manual).
    let belts = [
        24.05, 23.99, 23.95, 23.93, 23.97, 24.02, 24.06, 24.10, 23.98, 24.03, 23.91, 24.06, 24.06, 23.96,
        23.98, 24.06, 24.01, 24.00, 23.93, 23.92, 24.09, 24.11, 24.05, 23.98, 23.98, 24.06, 24.02, 24.06,
        23.97, 23.96,
    ];
    let limits = control::Limits::of(&belts).unwrap();
    assert!((limits.centre - 24.0083).abs() < 5e-5 && (limits.sigma - 0.050_423).abs() < 5e-7);
    assert!((limits.action()[0] - 23.8571).abs() < 5e-5 && (limits.action()[1] - 24.1596).abs() < 5e-5);
}

/// NIST e-Handbook 6.3.2.4, moving average with the weight 0.3 from 50, sigma 2.0539: its 20 values and limits, as
/// printed (read in a page that quotes it; the limits recalculated, ± 2.58843).
#[test]
fn moving_average() {
    let readings = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
        52.4, 53.6, 52.1,
    ];
    let printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
        49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    let limits = control::Limits { centre: 50.0, sigma: 2.0539 };
    let found = control::averages(&limits, &readings, 0.3, 3.0);
    for (average, printed) in found.iter().zip(printed) {
        assert!((average.value - printed).abs() < 0.005_1, "{average:?} {printed}");
    }
    let half = found.last().unwrap().limits[1] - 50.0;
    // The handbook's limits are those after ever so many readings; after 20 they are reached to 1e-6.
    close(half, 2.588_43, 1e-5);
    // The first limit is that of one reading: 3 · 0.3 · sigma.
    close(found[0].limits[1] - 50.0, 0.9 * 2.0539, 1e-12);
}

/// Readings until a course that is in order leaves the limits of the moving average, and until one that is off by a
/// standard deviation does: 500 and 10.5 (J. M. Lucas and M. S. Saccucci, Technometrics 32 (1990) 1-12, from memory).
#[test]
fn run_lengths() {
    assert!((run_length(control::AVERAGE_LIMIT, 0.0) - 500.0).abs() < 5.0);
    assert!((run_length(control::AVERAGE_LIMIT, 1.0) - 10.5).abs() < 0.1);
    // The narrower limit that some use calls a course in order out twice as often.
    assert!((run_length(2.7, 0.0) - 236.0).abs() < 5.0, "{}", run_length(2.7, 0.0));
}

/// Mean number of readings until the average leaves its final limits, by a Markov chain over cells between them (D.
/// Brook and D. A. Evans, Biometrika 59 (1972) 539-549).
fn run_length(limit: f64, shift: f64) -> f64 {
    const CELLS: usize = 201;
    let weight = control::WEIGHT;
    let half = limit * (weight / (2.0 - weight)).sqrt();
    let width = 2.0 * half / CELLS as f64;
    let centre = |cell: usize| (cell as f64 + 0.5) * width - half;
    let stays = nalgebra::DMatrix::from_fn(CELLS, CELLS, |from, to| {
        let edge = |at: f64| normal::below((at - (1.0 - weight) * centre(from)) / weight - shift);
        edge(centre(to) + 0.5 * width) - edge(centre(to) - 0.5 * width)
    });
    let ones = nalgebra::DVector::from_element(CELLS, 1.0);
    let lengths = (nalgebra::DMatrix::identity(CELLS, CELLS) - stays).lu().solve(&ones).unwrap();
    lengths[CELLS / 2]
}

/// Rosner (1983), as NIST e-Handbook 1.3.5.17.3 prints it: 54 values of which three do not belong to the rest, at 5 %
/// and up to ten suspects (from memory). Grubbs' test, repeated, finds none: the three hide each other.
#[test]
fn several_outliers() {
    let values = [
        -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65,
        1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26,
        2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30,
        4.64, 5.34, 5.42, 6.01,
    ];
    assert_eq!(outlier::outliers(&values, 10, 0.05), [53, 52, 51]);
    assert!(outlier::outliers(&values, 1, 0.05).is_empty());
    // Critical deviations of the first and the tenth suspect, as printed (3.1588 and 3.0854 with scipy's t.ppf).
    assert!((outlier::critical(54, 0.05) - 3.158).abs() < 0.001);
    assert!((outlier::critical(45, 0.05) - 3.085).abs() < 0.001);
}

/// Of ten values of one population, one lot in a hundred loses a value at an alarm of 1 %; one that is ten deviations
/// off is found nearly always. Fixed seed; 1 % of 1000 is known to 0.31 %.
#[test]
fn one_bad_among_ten() {
    const LOTS: u32 = 1000;
    let mut random = Random(10);
    let (mut alarms, mut found) = (0, 0);
    for _ in 0..LOTS {
        let mut values: Vec<f64> = (0..10).map(|_| random.normal()).collect();
        alarms += u32::from(!outlier::outliers(&values, 1, 0.01).is_empty());
        values[4] = 10.0;
        found += u32::from(outlier::outliers(&values, 1, 0.01) == [4]);
    }
    let [alarms, found] = [alarms, found].map(|count| f64::from(count) / f64::from(LOTS));
    assert!((alarms - 0.01).abs() < 0.008, "{alarms}");
    assert!(found > 0.99, "{found}");
}

/// Every rule is broken by what it is for, at the reading that breaks it, and by nothing before.
#[test]
fn a_chart_says_which_rule_and_since_when() {
    use control::Rule;
    let base: Vec<f64> = (0..control::BASE).map(|i| [0.0, 1.0, -1.0, 0.5, -0.5][i % 5]).collect();
    let rules = |later: &[f64]| {
        let readings: Vec<f64> = base.iter().chain(later).copied().collect();
        let chart = Chart::of(&readings).unwrap();
        let standing: Vec<_> =
            chart.standing().map(|broken| (broken.rule, broken.since - control::BASE)).collect();
        (chart, standing)
    };
    let (chart, standing) = rules(&[]);
    assert!(standing.is_empty() && chart.broken.is_empty());
    let sigma = chart.limits.sigma;
    assert_eq!(rules(&[0.0, 3.2 * sigma]).1, [(Rule::Action, 1)]);
    assert_eq!(rules(&[2.2 * sigma, 0.0, 2.2 * sigma]).1, [(Rule::Warning, 2)]);
    // On different sides they are no pair, and a jump that went back stands no more.
    assert_eq!(rules(&[2.2 * sigma, 0.0, -2.2 * sigma]).1, []);
    let (chart, standing) = rules(&[3.2 * sigma, 0.0, 0.0]);
    assert!(standing.is_empty() && chart.broken.len() == 1);
    let (_, standing) = rules(&[1.2 * sigma; 12]);
    assert!(matches!(standing[..], [(Rule::Drift, 4..=11)]), "{standing:?}");
    // Too few readings, and readings without scatter, have no limits.
    assert!(Chart::of(&base[..control::BASE - 1]).is_none() && Chart::of(&[1.0; 40]).is_none());
}

/// SplitMix64, and normal values of it by the method of Box and Muller.
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}
