//! The scale in each cell of a strip: what is allowed, what was read, and how sure that is.

use maud::{Markup, html};

use super::mark::Sign;
use crate::quantity::Ohms;
use crate::report::figures;
use crate::sweep::SegmentRow;
use crate::verdict::{Class, Verdict};

/// Where zero, the upper limit and the end of the scale stand, in units of the drawing.
const ZERO: f64 = 2.0;
const LIMIT: f64 = 102.0;
const END: f64 = 150.0;

/// Height of the axis.
const AXIS: f64 = 17.0;

/// The scale of one segment. Zero is on the left, the upper limit always at the same place, what is not allowed is
/// hatched; a value beyond the scale stands at its end with an arrow.
pub fn gauge(row: &SegmentRow) -> Markup {
    let sign = Sign::Verdict(row.verdict);
    let low = row.min.map_or(ZERO, |min| x(row, min));
    let text = format!("{}, allowed {}", figures::segment(row), figures::segment_limit(row));
    html! {
        svg class={ "gauge " (sign.class()) } viewBox="0 0 160 30" role="img" aria-label=(text) {
            rect class="allowed" x=(unit(low)) y="11" width=(unit(LIMIT - low)) height="12" {}
            rect class="beyond" x=(unit(LIMIT)) y="11" width=(unit(END - LIMIT)) height="12" {}
            @if low > ZERO { rect class="beyond" x=(unit(ZERO)) y="11" width=(unit(low - ZERO)) height="12" {} }
            path class="axis" d={ "M" (unit(ZERO)) " 23H" (unit(END)) } {}
            path class="limit" d={ "M" (unit(LIMIT)) " 7V27" } {}
            @if low > ZERO { path class="limit" d={ "M" (unit(low)) " 7V27" } {} }
            @match row.at_20c.filter(|value| value.is_finite()) {
                Some(value) => { (reading(row, value, sign)) }
                None if row.class == Class::Open => { (off_scale(sign)) }
                None => {}
            }
        }
    }
}

/// A reading with its whisker.
fn reading(row: &SegmentRow, value: Ohms, sign: Sign) -> Markup {
    if x(row, value) > END {
        return off_scale(sign);
    }
    let u95 = row.u95.filter(|u95| u95.is_finite()).unwrap_or_default();
    let (from, to) = (x(row, value - u95).max(0.5), x(row, value + u95).min(158.0));
    html! {
        // A whisker shorter than the mark would hide behind it.
        @if to - from > 1.0 {
            path class="whisker" d={
                "M" (unit(from)) " " (AXIS) "H" (unit(to))
                "M" (unit(from)) " 13V21M" (unit(to)) " 13V21"
            } {}
        }
        (point(x(row, value).clamp(ZERO, END), row.verdict))
    }
}

/// The shape of the verdict again, small.
fn point(x: f64, verdict: Verdict) -> Markup {
    html! {
        g transform={ "translate(" (unit(x)) " " (AXIS) ")" } {
            @match verdict {
                Verdict::Pass => { circle class="point" r="4" {} }
                Verdict::Fail => { rect class="point" x="-4" y="-4" width="8" height="8" {} }
                Verdict::Unproven => { path class="point" d="M0 -5.5 5.5 0 0 5.5 -5.5 0Z" {} }
                Verdict::Void => { circle class="hollow" r="4" {} }
            }
        }
    }
}

fn off_scale(sign: Sign) -> Markup {
    html! {
        path class={ "arrow " (sign.class()) } d={ "M136 " (AXIS) "H153M147 11.5 154.5 " (AXIS) " 147 22.5" } {}
    }
}

fn x(row: &SegmentRow, value: Ohms) -> f64 {
    match row.max > Ohms::ZERO {
        true => ZERO + value / row.max * (LIMIT - ZERO),
        false => END,
    }
}

/// A tenth of a unit is finer than any screen; more digits are only bytes.
pub fn unit(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    fn row(ohms: f64, verdict: Verdict) -> SegmentRow {
        SegmentRow {
            at_20c: Some(Ohms(ohms)),
            u95: Some(Ohms(1e-3)),
            min: None,
            max: Ohms(20e-3),
            verdict,
            ..sample::good().judgement.segments[0].clone()
        }
    }

    #[test]
    fn half_the_limit_stands_in_the_middle_between_zero_and_limit() {
        let text = gauge(&row(10e-3, Verdict::Pass)).into_string();
        assert!(text.contains("translate(52 17)"), "{text}");
        assert!(text.contains("M47 17H57"), "{text}");
    }

    #[test]
    fn what_is_beyond_the_scale_gets_an_arrow_and_no_point() {
        let text = gauge(&row(330.0, Verdict::Fail)).into_string();
        assert!(text.contains("arrow fail") && !text.contains("class=\"point\""), "{text}");
    }

    #[test]
    fn no_value_leaves_the_scale_empty_and_nothing_is_ever_nan() {
        let broken = SegmentRow {
            at_20c: Some(Ohms(f64::NAN)),
            u95: Some(Ohms(f64::INFINITY)),
            max: Ohms::ZERO,
            ..row(1.0, Verdict::Void)
        };
        let text = gauge(&broken).into_string();
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
    }
}
