//! The figures of a row as they are printed: reading, limit, insulation, times. How a single quantity is written
//! stands in [`crate::quantity`]; here is which of a row's quantities is shown, and what stands where there is none.
//!
//! A blank inside a figure is U+00A0, so that no line ever ends between a number and its unit.

use crate::measurement::BenchWork;
use crate::quantity::{engineering, si, with_uncertainty};
use crate::sweep::{ClosureRow, IsolationRow, SegmentRow, StandardRow};
use crate::verdict::Class;

/// A resistance somebody stated, as short as it is: `25 mΩ`, `1.275 kΩ`. Readings have [`with_uncertainty`].
pub fn stated(ohms: f64) -> String {
    let (digits, unit) = digits_and_unit(ohms);
    glued(&format!("{digits} {unit}"))
}

/// A resistance nobody measured, to the two digits it deserves.
pub fn roughly(ohms: f64) -> String {
    glued(&si(ohms, 2, "Ω"))
}

fn digits_and_unit(ohms: f64) -> (String, String) {
    let text = si(ohms, 4, "Ω");
    let (digits, unit) = text.split_once(' ').unwrap_or((&text, ""));
    let short = match digits.contains('.') {
        true => digits.trim_end_matches('0').trim_end_matches('.'),
        false => digits,
    };
    (short.to_owned(), unit.to_owned())
}

/// A reading: with its uncertainty where it has one.
fn reading(ohms: f64, u95: Option<f64>) -> String {
    match u95 {
        Some(u95) if u95 > 0.0 => glued(&with_uncertainty(ohms, u95).to_string()),
        _ => glued(&engineering(ohms)),
    }
}

fn glued(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

/// What a segment reads at 20 °C, or why there is no number.
pub fn segment(row: &SegmentRow) -> String {
    match (row.ohms_20c, row.u95_ohms, row.class) {
        (Some(ohms), u95, _) => reading(ohms, u95),
        (None, _, Class::Open) => "above range".to_owned(),
        (None, _, Class::NotReached) => "not reached".to_owned(),
        (None, _, _) => "not measured".to_owned(),
    }
}

/// What a segment is allowed: `≤ 25 mΩ`, or `20 to 30 mΩ`.
pub fn segment_limit(row: &SegmentRow) -> String {
    let (max, unit) = digits_and_unit(row.max_ohms);
    glued(&match row.min_ohms.map(digits_and_unit) {
        None => format!("≤ {max} {unit}"),
        Some((min, same)) if same == unit => format!("{min} to {max} {unit}"),
        Some((min, other)) => format!("{min} {other} to {max} {unit}"),
    })
}

/// What an insulation must have at least: `≥ 5 kΩ`.
pub fn isolation_limit(row: &IsolationRow) -> String {
    format!("≥\u{a0}{}", stated(row.min_ohms))
}

/// What an insulation reads, or why there is no number. A bulk capacitor that still charges only ever makes it look
/// worse, so what is proven is a lower bound.
pub fn isolation(row: &IsolationRow) -> String {
    match (row.ohms, row.u95_ohms, row.at_least_ohms, row.class) {
        (_, _, Some(bound), _) if row.still_charging => format!("≥\u{a0}{}, charging", stated(bound)),
        (Some(ohms), u95, _, _) => reading(ohms, u95),
        (None, _, Some(bound), _) => format!("≥\u{a0}{}", stated(bound)),
        (None, _, None, Class::NotReached) => "not reached".to_owned(),
        (None, _, None, Class::Ok) => "above range".to_owned(),
        (None, _, None, _) => "not measured".to_owned(),
    }
}

/// What a check standard reads.
pub fn standard(row: &StandardRow) -> String {
    row.ohms.map_or_else(|| "no contact".to_owned(), |ohms| reading(ohms, row.u95_ohms))
}

/// Whether a series adds up, in words.
pub fn closure(row: &ClosureRow) -> String {
    let sum = with_uncertainty(row.sum_ohms, row.u95_ohms);
    let whole = with_uncertainty(row.whole_ohms, row.u95_ohms);
    let agree = if row.agrees { "they agree" } else { "they do NOT agree" };
    format!(
        "{} to {}: {}\u{a0}{} end to end, the segments add up to {}\u{a0}{}; {agree} within {}\u{a0}{}",
        row.from, row.to, whole.value, whole.unit, sum.value, sum.unit, sum.uncertainty, sum.unit
    )
}

/// What the bench did, in words.
pub fn work(work: &BenchWork) -> String {
    let time = duration(work.device_us);
    format!("{} shots, {} relay closures, {time} of device time", work.shots, work.closures)
}

/// A share of units, in whole per cent.
pub fn share(share: Option<f64>) -> String {
    share.map_or_else(|| "–".to_owned(), |share| format!("{:.0}\u{a0}%", share * 100.0))
}

/// A relative tolerance: `0.1 %`.
pub fn percent(relative: f64) -> String {
    format!("{}\u{a0}%", (relative * 1e6).round() / 1e4)
}

/// Device time: `412 ms`, `1.31 s`.
pub fn duration(micros: u64) -> String {
    match micros {
        0..1_000_000 => format!("{:.0}\u{a0}ms", micros as f64 / 1e3),
        _ => format!("{:.2}\u{a0}s", micros as f64 / 1e6),
    }
}

/// A point in time, UTC, to the second; records count microseconds since 1970-01-01.
pub fn time(micros: i64) -> String {
    match jiff::Timestamp::from_microsecond(micros) {
        Ok(at) => at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string(),
        Err(_) => "at an unknown time".to_owned(),
    }
}

/// The same to the minute, for lists.
pub fn day(micros: i64) -> String {
    time(micros).chars().take("2026-09-21 12:13".len()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn a_limit_has_no_idle_zeros() {
        for (ohms, text) in [
            (0.025, "25 mΩ"),
            (0.0025, "2.5 mΩ"),
            (1.0, "1 Ω"),
            (1275.3, "1.275 kΩ"),
            (100_000.0, "100 kΩ"),
            (0.0, "0 Ω"),
            (f64::INFINITY, "– Ω"),
        ] {
            assert_eq!(stated(ohms), glued(text));
        }
    }

    #[test]
    fn a_limit_names_its_unit_once() {
        let row = |min_ohms, max_ohms| SegmentRow {
            min_ohms,
            max_ohms,
            ..sample::good().judgement.segments[0].clone()
        };
        assert_eq!(segment_limit(&row(None, 0.025)), glued("≤ 25 mΩ"));
        assert_eq!(segment_limit(&row(Some(0.1), 0.4)), glued("100 to 400 mΩ"));
        assert_eq!(segment_limit(&row(Some(0.1), 1.5)), glued("100 mΩ to 1.5 Ω"));
    }

    #[test]
    fn what_has_no_number_says_why() {
        let good = sample::good();
        let row = |class| SegmentRow { ohms_20c: None, class, ..good.judgement.segments[0].clone() };
        assert_eq!(segment(&row(Class::Open)), "above range");
        assert_eq!(segment(&row(Class::NotReached)), "not reached");
        let charging = IsolationRow {
            ohms: Some(2e3),
            at_least_ohms: Some(1.5e3),
            still_charging: true,
            ..good.judgement.isolation[0].clone()
        };
        assert_eq!(isolation(&charging), "≥\u{a0}1.5\u{a0}kΩ, charging");
    }

    #[test]
    fn times_and_tolerances_read_plainly() {
        assert_eq!(percent(0.001), "0.1\u{a0}%");
        assert_eq!(duration(412_386), "412\u{a0}ms");
        assert_eq!(duration(1_312_386), "1.31\u{a0}s");
        assert_eq!(time(0), "1970-01-01 00:00:00 UTC");
        assert_eq!(time(i64::MAX), "at an unknown time");
    }
}
