//! The figures of a row as they are printed: reading, limit, isolation, times. How a single quantity is written
//! stands in [`crate::quantity`]; here is which of a row's quantities is shown, and what stands where there is none.
//!
//! A blank inside a figure is U+00A0, so that no line ever ends between a number and its unit.

use crate::measurement::BenchWork;
use crate::quantity::{Ohms, engineering, si, with_uncertainty};
use crate::records::summary::LotSummary;
use crate::sweep::{ClosureRow, IsolationRow, Left, SegmentRow, StandardRow, ThermometerRow};
use crate::verdict::Class;

/// A resistance somebody stated, as short as it is: `25 mΩ`, `1.275 kΩ`. Readings have [`with_uncertainty`].
pub fn stated(resistance: Ohms) -> String {
    let (digits, unit) = digits_and_unit(resistance);
    glued(&format!("{digits} {unit}"))
}

/// A resistance nobody measured, to the two digits it deserves.
pub fn roughly(resistance: Ohms) -> String {
    glued(&si(resistance.0, 2, "Ω"))
}

fn digits_and_unit(resistance: Ohms) -> (String, String) {
    let text = si(resistance.0, 4, "Ω");
    let (digits, unit) = text.split_once(' ').unwrap_or((&text, ""));
    let short = match digits.contains('.') {
        true => digits.trim_end_matches('0').trim_end_matches('.'),
        false => digits,
    };
    (short.to_owned(), unit.to_owned())
}

/// A reading: with its uncertainty where it has one.
fn reading(value: Ohms, u95: Option<Ohms>) -> String {
    match u95 {
        Some(u95) if u95 > Ohms::ZERO => glued(&with_uncertainty(value, u95).to_string()),
        _ => glued(&engineering(value)),
    }
}

fn glued(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

/// A bound of two digits, rounded away from what it bounds, so that it stays true: up for an upper bound.
fn bound(Ohms(ohms): Ohms, up: bool) -> String {
    // A float that is a hair beside its two digits must not move to the next.
    const HAIR: f64 = 1e-9;
    // By way of text: logarithms differ in their last digit from system to system.
    let exponent = format!("{ohms:e}").rsplit('e').next().and_then(|e| e.parse::<i32>().ok()).unwrap_or(0);
    let step = format!("1e{}", exponent - 1).parse().unwrap_or(1.0);
    let steps = if up { (ohms / step - HAIR).ceil() } else { (ohms / step + HAIR).floor() };
    glued(&si(steps * step, 2, "Ω"))
}

/// What a segment reads at 20 °C, or why there is no number. A reading whose interval reaches zero says only what it
/// proves: an upper bound.
pub fn segment(row: &SegmentRow) -> String {
    match (row.at_20c, row.u95, row.class) {
        (Some(ohms), Some(u95), _) if ohms <= u95 && ohms + u95 > Ohms::ZERO && (ohms + u95).is_finite() => {
            format!("under\u{a0}{}", bound(ohms + u95, true))
        }
        (Some(ohms), u95, _) => reading(ohms, u95),
        (None, _, Class::Open) => "above range".to_owned(),
        (None, _, Class::NotReached) => "not reached".to_owned(),
        (None, _, Class::NotJudgedUnpowered) => "not judged".to_owned(),
        (None, _, _) => "not measured".to_owned(),
    }
}

/// The same as short as it can be, for where the uncertainty stands elsewhere: the figure alone.
pub fn segment_in_short(row: &SegmentRow) -> String {
    let full = segment(row);
    match full.split_once("\u{a0}±\u{a0}").zip(full.rsplit_once('\u{a0}')) {
        Some(((value, _), (_, unit))) => format!("{value}\u{a0}{unit}"),
        None => full,
    }
}

/// What a segment is allowed: `≤ 25 mΩ`, or `20 to 30 mΩ`.
pub fn segment_limit(row: &SegmentRow) -> String {
    let (max, unit) = digits_and_unit(row.max);
    glued(&match row.min.map(digits_and_unit) {
        None => format!("≤ {max} {unit}"),
        Some((min, same)) if same == unit => format!("{min} to {max} {unit}"),
        Some((min, other)) => format!("{min} {other} to {max} {unit}"),
    })
}

/// What an isolation must have at least: `≥ 5 kΩ`.
pub fn isolation_limit(row: &IsolationRow) -> String {
    format!("≥\u{a0}{}", stated(row.min))
}

/// What an isolation reads, or why there is no number. Where its interval is wider than half the value, only the
/// lower bound says something; and a bulk capacitor that still charges only ever makes it look worse, so that what is
/// proven is a lower bound too.
pub fn isolation(row: &IsolationRow) -> String {
    match (row.resistance, row.u95, row.at_least, row.class) {
        (_, _, Some(least), _) if row.still_charging => {
            format!("over\u{a0}{}, charging", bound(least, false))
        }
        (Some(ohms), Some(u95), Some(least), _) if u95 > ohms / 2.0 => {
            format!("over\u{a0}{}", bound(least, false))
        }
        (Some(ohms), u95, _, _) => reading(ohms, u95),
        (None, _, Some(least), _) => format!("over\u{a0}{}", bound(least, false)),
        (None, _, None, Class::NotReached) => "not reached".to_owned(),
        (None, _, None, Class::Ok) => "above range".to_owned(),
        (None, _, None, _) => "not measured".to_owned(),
    }
}

/// What a check standard reads.
pub fn standard(row: &StandardRow) -> String {
    row.resistance.map_or_else(|| "no contact".to_owned(), |ohms| reading(ohms, row.u95))
}

/// What a thermometer says.
pub fn thermometer(row: &ThermometerRow) -> String {
    match (row.temperature, row.u95_kelvin, row.resistance) {
        (Some(at), Some(u95), _) => format!("{:.1} ± {u95:.1}\u{a0}°C", at.0),
        (Some(at), None, _) => format!("{:.1}\u{a0}°C", at.0),
        (None, _, Some(resistance)) => format!("{}, no temperature", engineering(resistance)),
        (None, _, None) => "no contact".to_owned(),
    }
}

/// The bed's temperature that values were referred to 20 °C from, and the thermometer it is by.
pub fn bed(rows: &[ThermometerRow]) -> Option<String> {
    let row = rows.iter().find(|row| row.counts)?;
    Some(format!("{}, thermometer {}", thermometer(row), row.name))
}

/// Whether a series adds up, in words.
pub fn closure(row: &ClosureRow) -> String {
    let sum = with_uncertainty(row.sum, row.u95);
    let whole = with_uncertainty(row.whole, row.u95);
    let agree = if row.agrees { "they agree" } else { "they do NOT agree" };
    format!(
        "{} to {}: {}\u{a0}{} end to end, the segments add up to {}\u{a0}{}; {agree} within {}\u{a0}{}",
        row.from, row.to, whole.value, whole.unit, sum.value, sum.unit, sum.uncertainty, sum.unit
    )
}

/// What the bench did, in words.
pub fn work(work: &BenchWork) -> String {
    let time = duration(work.device_us);
    format!("{} readings, {} relay operations, {time} of bench time", work.shots, work.closures)
}

/// What a hunt has left, with its probability; nothing is certain.
pub fn left(left: &Left) -> String {
    let probability = match left.probability {
        p if p > 0.99 => "over 99\u{a0}%".into(),
        p if p < 0.01 => "under 1\u{a0}%".into(),
        p => share(Some(p)),
    };
    format!("{}, {probability}", left.what)
}

/// A share of units, in whole per cent.
pub fn share(share: Option<f64>) -> String {
    share.map_or_else(|| "–".to_owned(), |share| format!("{:.0}\u{a0}%", share * 100.0))
}

/// Bounds of a share, in whole per cent and rounded away from each other, so that they stay true: `8 to 42 %`.
pub fn share_interval(bounds: Option<[f64; 2]>) -> Option<String> {
    let [low, high] = bounds?;
    Some(format!("{:.0} to {:.0}\u{a0}%", (low * 100.0).floor(), (high * 100.0).ceil()))
}

/// Units that the longest possible bar of a lot stands for. It grows with the place where most units failed, and is
/// never so short that a single unit of a larger lot looks like many.
pub fn full_bar(lot: &LotSummary) -> u32 {
    /// Of fewer units a bar shows every one.
    const LEAST: usize = 10;
    let most = lot.pareto.iter().map(|row| row.units).max().unwrap_or(0);
    most.max(lot.units.len().min(LEAST) as u32).max(1)
}

/// A probability: `82 %`; the very small ones are not shown as nothing, nor the very large ones as certain.
pub fn chance(probability: f64) -> String {
    match probability * 100.0 {
        percent if percent > 0.0 && percent < 0.5 => "under 1\u{a0}%".into(),
        percent if (99.5..100.0).contains(&percent) => "over 99\u{a0}%".into(),
        percent => format!("{percent:.0}\u{a0}%"),
    }
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
            assert_eq!(stated(Ohms(ohms)), glued(text));
        }
    }

    #[test]
    fn a_limit_names_its_unit_once() {
        let row = |min: Option<f64>, max: f64| SegmentRow {
            min: min.map(Ohms),
            max: Ohms(max),
            ..sample::good().judgement.segments[0].clone()
        };
        assert_eq!(segment_limit(&row(None, 0.025)), glued("≤ 25 mΩ"));
        assert_eq!(segment_limit(&row(Some(0.1), 0.4)), glued("100 to 400 mΩ"));
        assert_eq!(segment_limit(&row(Some(0.1), 1.5)), glued("100 mΩ to 1.5 Ω"));
    }

    #[test]
    fn what_has_no_number_says_why() {
        let good = sample::good();
        let row = |class| SegmentRow { at_20c: None, class, ..good.judgement.segments[0].clone() };
        assert_eq!(segment(&row(Class::Open)), "above range");
        assert_eq!(segment(&row(Class::NotReached)), "not reached");
        let charging = IsolationRow {
            resistance: Some(Ohms(2e3)),
            at_least: Some(Ohms(1.5e3)),
            still_charging: true,
            ..good.judgement.isolation[0].clone()
        };
        assert_eq!(isolation(&charging), "over\u{a0}1.5\u{a0}kΩ, charging");
    }

    #[test]
    fn a_reading_that_reaches_zero_says_what_it_proves() {
        let row = |ohms: f64, u95: f64| {
            let row = sample::good().judgement.segments[0].clone();
            segment(&SegmentRow { at_20c: Some(Ohms(ohms)), u95: Some(Ohms(u95)), ..row })
        };
        assert_eq!(row(-20e-6, 390e-6), glued("under 370 µΩ"));
        assert_eq!(row(15e-3, 15e-3), glued("under 30 mΩ"));
        assert_eq!(row(0.1e-3, 0.2511e-3), glued("under 360 µΩ"), "rounded up");
        assert_eq!(row(1.6e-3, 0.01e-3), glued("1.600 ± 0.010 mΩ"));
        // Wholly below zero is no value of a resistance; it is shown as it is.
        assert_eq!(row(-15e-3, 1e-3), glued("-15.0 ± 1.0 mΩ"));
    }

    #[test]
    fn a_figure_in_short_keeps_its_unit() {
        let row = |at_20c: Option<f64>, u95: Option<f64>| {
            let row = sample::good().judgement.segments[0].clone();
            segment_in_short(&SegmentRow { at_20c: at_20c.map(Ohms), u95: u95.map(Ohms), ..row })
        };
        assert_eq!(row(Some(1.6e-3), Some(0.01e-3)), glued("1.600 mΩ"));
        assert_eq!(row(Some(15e-3), Some(15e-3)), glued("under 30 mΩ"));
        assert_eq!(row(None, None), "not measured");
    }

    #[test]
    fn an_isolation_says_what_it_proves() {
        let row = |resistance: Option<f64>, u95: Option<f64>, at_least: Option<f64>| {
            let [resistance, u95, at_least] = [resistance, u95, at_least].map(|ohms| ohms.map(Ohms));
            let row = sample::good().judgement.isolation[0].clone();
            isolation(&IsolationRow { resistance, u95, at_least, still_charging: false, ..row })
        };
        assert_eq!(row(Some(2e6), Some(13e6), Some(2.19e6)), glued("over 2.1 MΩ"), "rounded down");
        assert_eq!(row(None, None, Some(212e3)), glued("over 210 kΩ"));
        assert_eq!(row(Some(6e3), Some(60.0), Some(5.9e3)), glued("6.000 ± 0.060 kΩ"));
    }

    #[test]
    fn bounds_of_a_share_are_rounded_outwards() {
        assert_eq!(share_interval(None), None);
        assert_eq!(share_interval(Some([0.081, 0.4161])).as_deref(), Some("8 to 42\u{a0}%"));
        assert_eq!(share_interval(Some([0.0, 1.0])).as_deref(), Some("0 to 100\u{a0}%"));
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
