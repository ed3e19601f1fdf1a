//! What golden units make of limits, and which units do not count.

use super::*;
use crate::{
    limits,
    measurement::Method,
    sweep::SegmentRow,
    verdict::{Class, Verdict},
};

const CLAIM: Claim = Claim { coverage: 0.99, confidence: 0.95 };

fn board() -> Board {
    crate::board::parse("board.toml", include_str!("../../../fixtures/tide-gauge-head/board.toml")).unwrap()
}

/// Twelve numbers of mean 0 and standard deviation 1, without an outlier: the middles of twelve equal shares of a
/// normal distribution, scaled.
const SPREAD: [f64; 12] = [-1.7, -1.2, -0.9, -0.6, -0.35, -0.1, 0.1, 0.35, 0.6, 0.9, 1.2, 1.7];

/// A golden unit whose every segment lies so many percent above what is typical.
fn unit(number: usize, percent: f64) -> Golden {
    let board = board();
    let rows = board.segments.iter().map(|segment| SegmentRow {
        name: segment.name.clone(),
        kind: segment.kind.word().into(),
        state: "on".into(),
        resistance: Some(segment.expected.typical),
        at_20c: Some(segment.expected.typical * (1.0 + percent / 100.0)),
        u95: None,
        min: None,
        max: Ohms(1.0),
        limit_derived: false,
        typical: segment.expected.typical,
        verdict: Verdict::Pass,
        class: Class::Ok,
        method: Some(Method::FourWire),
        reason: None,
    });
    Golden {
        serial: format!("G-{number}"),
        sweep: SweepId(number as i64),
        started_us: 0,
        rows: rows.collect(),
    }
}

fn twelve() -> Vec<Golden> {
    SPREAD.iter().enumerate().map(|(number, percent)| unit(number, *percent)).collect()
}

fn learned(units: Vec<Golden>) -> Result<Learned, LearnError> {
    of_units(&board(), Some("May"), CLAIM, units, Vec::new())
}

fn of<'l>(learned: &'l Learned, name: &str) -> &'l LearnedSegment {
    learned.segments.iter().find(|segment| segment.name == name).unwrap()
}

#[test]
fn limits_lie_at_the_tolerance_factors() {
    let (board, learned) = (board(), learned(twelve()).unwrap());
    let usual = LimitSet::of_board(&board);
    let scatter = crate::statistics::sample::deviation(&SPREAD).unwrap() / 100.0;
    for (segment, found) in board.segments.iter().zip(&learned.segments) {
        let typical = segment.expected.typical;
        let is_contact = segment.kind.is_contact();
        let usual = usual.of(board.segment_named(&segment.name).unwrap());
        // ISO 16269-6 and scipy: 12 values, 99 % coverage, 95 % confidence: 3.747 one-sided, 4.156 two-sided.
        let factor = if is_contact && usual.min.is_none() { 3.747 } else { 4.156 };
        assert!((found.factor - factor).abs() < 0.001, "{}: {}", segment.name, found.factor);
        let max = typical * (1.0 + found.factor * scatter);
        match found.max {
            Some(limit) => assert!((limit / max - 1.0).abs() < 1e-9 && limit < usual.max, "{}", segment.name),
            None => assert!(max >= usual.max, "{}", segment.name),
        }
        assert_eq!(found.min.is_some(), !is_contact || usual.min.is_some(), "{}", segment.name);
    }
    assert_eq!((learned.units.len(), learned.left_out.len()), (12, 0));
}

#[test]
fn what_is_written_is_what_is_read() {
    let (board, learned) = (board(), learned(twelve()).unwrap());
    let text = text(&learned);
    assert!(text.starts_with(MARK));
    let set = limits::parse("limits.toml", &text, &board).unwrap();
    assert_eq!(set.origin(), "learned limits");
    for (segment, limits) in board.segments.iter().zip(set.iter()) {
        let found = of(&learned, &segment.name);
        if let Some(max) = found.max {
            assert!((limits.max / max - 1.0).abs() < 1e-4, "{}", segment.name);
        }
        if let Some(min) = found.min {
            assert!((limits.min.unwrap() / min - 1.0).abs() < 1e-4, "{}", segment.name);
        }
    }
    for kept in
        ["lot = \"May\"", "units = 12", "coverage = 0.99", "confidence = 0.95", "factor = ", &learned.basis]
    {
        assert!(text.contains(kept), "{kept}: {text}");
    }
    // Other readings are another basis, and the same ones the same.
    assert_eq!(self::learned(twelve()).unwrap().basis, learned.basis);
    let mut other = twelve();
    other[3] = unit(3, -0.61);
    assert_ne!(self::learned(other).unwrap().basis, learned.basis);
}

#[test]
fn one_bad_unit_is_left_out_by_name_and_more_are_refused() {
    let mut units = twelve();
    units[4] = unit(4, 40.0);
    let found = learned(units.clone()).unwrap();
    assert_eq!((found.units.len(), found.left_out.len()), (11, 1));
    assert_eq!(found.left_out[0].serial, "G-4");
    assert!(found.left_out[0].why.contains("reads"), "{}", found.left_out[0].why);
    // The one bad unit hardly moves a limit: the same eleven units without it give the same.
    let mut without = twelve();
    without.remove(4);
    assert_eq!(learned(without).unwrap().segments, found.segments);
    for other in [5, 6] {
        units[other] = unit(other, 41.0 + other as f64);
    }
    match learned(units) {
        Err(LearnError::Odd { odd, of: 12 }) => assert_eq!(odd.len(), 3),
        other => panic!("{other:?}"),
    }
}

#[test]
fn too_few_are_refused_with_the_number_that_is_missing() {
    assert_eq!(CLAIM.least(), 10);
    for (claim, least) in [((0.90, 0.90), 10), ((0.99, 0.99), 17)] {
        assert_eq!(Claim { coverage: claim.0, confidence: claim.1 }.least(), least, "{claim:?}");
    }
    let seven: Vec<_> = twelve().into_iter().take(7).collect();
    let error = learned(seven).unwrap_err();
    assert!(error.to_string().contains("7 golden units"), "{error}");
    assert!(error.to_string().contains("need 10; sweep 3 more"), "{error}");
    // A lot without a golden unit is told in the same way.
    assert!(learned(Vec::new()).unwrap_err().to_string().contains("sweep 10 more"));
}

#[test]
fn a_limit_is_never_below_copper_nor_above_the_boards_own() {
    let board = board();
    // So wide a spread that the tolerance limits go beyond both.
    let wide: Vec<_> =
        SPREAD.iter().enumerate().map(|(number, percent)| unit(number, 15.0 * percent)).collect();
    let found = learned(wide).unwrap();
    for (segment, usual) in board.segments.iter().zip(LimitSet::of_board(&board).iter()) {
        let found = of(&found, &segment.name);
        let floor = crate::board::expected::least(segment);
        assert!(found.max.is_none_or(|max| max < usual.max), "{}", segment.name);
        assert!(found.min.is_none_or(|min| min >= floor && min > Ohms::ZERO), "{}", segment.name);
        if segment.kind.is_copper() {
            assert_eq!(found.min, Some(floor), "{}", segment.name);
        }
    }
    // Units whose copper reads less than it can: the drawing is wrong, and no lower limit is made of it.
    let thick: Vec<_> =
        SPREAD.iter().enumerate().map(|(number, percent)| unit(number, percent - 60.0)).collect();
    let found = learned(thick).unwrap();
    let trace =
        board.segments.iter().find(|segment| matches!(segment.kind, crate::board::SegmentKind::Trace { .. }));
    let trace = of(&found, &trace.unwrap().name);
    assert!(trace.min.is_none() && trace.remark.contains("less than its copper"), "{trace:?}");
}
