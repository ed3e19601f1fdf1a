//! JSON: one object per sweep with fixed names, for scripts and other programs.
//!
//! The object carries no clock time, so that the same unit on the same virtual bench gives the same bytes. A number
//! that is not finite is written as `null` (JSON has no other word for it; `serde_json` does so by itself), and a
//! reader takes `null` for "no number". New keys may come; those here keep their names and meanings.

use std::fmt::Write;

use serde::Serialize;

use super::words;
use crate::measurement::{Basis, Manner};
use crate::quantity::Celsius;
use crate::records::summary::LotSummary;
use crate::sweep::{
    BenchFault, ClosureRow, IsolationRow, SegmentRow, StandardRow, StepRow, Sweep, ThermometerRow,
};
use crate::trade::{Assessed, Assessment};
use crate::verdict::{Class, Verdict};
use crate::visible::{first_hidden, hidden};

/// What `lot --json` prints.
#[derive(Serialize)]
struct LotObject<'a> {
    #[serde(flatten)]
    summary: &'a LotSummary,
    /// `null` where amounts are in two currencies.
    trade: Option<&'a Assessment>,
    /// Why there is no `trade`.
    #[serde(skip_serializing_if = "Option::is_none")]
    trade_error: Option<String>,
}

/// A lot and its trade.
///
/// # Errors
/// None that a lot can bring about.
pub fn lot(summary: &LotSummary, found: &Assessed) -> serde_json::Result<String> {
    let trade_error = found.as_ref().err().map(ToString::to_string);
    object(&LotObject { summary, trade: found.as_ref().ok(), trade_error })
}

/// What `sweep --json` prints.
#[derive(Serialize)]
struct SweepObject<'a> {
    serial: &'a str,
    lot: Option<&'a str>,
    board: &'a str,
    revision: &'a str,
    manner: Manner,
    verdict: Verdict,
    meter_checked: bool,
    segments: &'a [SegmentRow],
    isolation: &'a [IsolationRow],
    faults: Vec<FaultObject<'a>>,
    bench: Bench<'a>,
    bench_faults: &'a [BenchFault],
    notes: &'a [String],
    /// Of a hunt, what was asked.
    #[serde(skip_serializing_if = "Option::is_none")]
    steps: Option<&'a [StepRow]>,
    thermometers: &'a [ThermometerRow],
    standards: &'a [StandardRow],
    closures: &'a [ClosureRow],
    basis: &'a Basis,
}

#[derive(Serialize)]
struct FaultObject<'a> {
    r#where: &'a str,
    class: Class,
    probability: f64,
    /// Faults with the same number stand on the same evidence: either or both. `null`: it stands alone.
    alternative: Option<u8>,
    advice: String,
}

#[derive(Serialize)]
struct Bench<'a> {
    name: &'a str,
    celsius: Option<Celsius>,
    /// Hash of the proof that the uncertainties stand on. `null`: published worst cases.
    proof: Option<&'a str>,
    shots: u32,
    closures: u32,
    device_ms: f64,
}

/// One sweep.
///
/// # Errors
/// None in practice: every part is plain data with names for keys. The serialiser's type wants one.
pub fn sweep(sweep: &Sweep) -> serde_json::Result<String> {
    object(&sweep_object(sweep))
}

/// The same in one line, for whoever reads line by line.
///
/// # Errors
/// None in practice, likewise.
pub fn sweep_line(sweep: &Sweep) -> serde_json::Result<String> {
    line(&sweep_object(sweep))
}

fn sweep_object(sweep: &Sweep) -> SweepObject<'_> {
    let faults = words::booked(&sweep.judgement).iter().map(|fault| FaultObject {
        r#where: &fault.place,
        class: fault.class,
        probability: fault.probability,
        alternative: fault.alternative,
        advice: words::advice(&fault.advice),
    });
    let work = sweep.measurement.work();
    SweepObject {
        serial: &sweep.measurement.serial,
        lot: sweep.measurement.lot.as_deref(),
        board: &sweep.measurement.basis.board,
        revision: &sweep.measurement.basis.revision,
        manner: sweep.measurement.manner,
        verdict: sweep.judgement.verdict,
        meter_checked: words::meter_checked(&sweep.judgement),
        segments: &sweep.judgement.segments,
        isolation: &sweep.judgement.isolation,
        faults: faults.collect(),
        bench: Bench {
            name: &sweep.measurement.bench_name,
            celsius: sweep.judgement.air,
            proof: sweep.judgement.proof.as_deref(),
            shots: work.shots,
            closures: work.closures,
            device_ms: work.device_us as f64 / 1e3,
        },
        bench_faults: &sweep.judgement.bench_faults,
        notes: &sweep.judgement.notes,
        steps: (sweep.measurement.manner != Manner::Sweep || !sweep.judgement.steps.is_empty())
            .then_some(&sweep.judgement.steps),
        thermometers: &sweep.judgement.thermometers,
        standards: &sweep.judgement.standards,
        closures: &sweep.judgement.closures,
        basis: &sweep.measurement.basis,
    }
}

/// Anything that serialises, in one line.
///
/// # Errors
/// The value's own, if it has any.
pub fn line(value: &impl Serialize) -> serde_json::Result<String> {
    Ok(visible_json(&serde_json::to_string(value)?))
}

/// Anything that serialises to an object, laid out for reading: the summaries of the record store go through here
/// as they are.
///
/// # Errors
/// The value's own, if it has any.
pub fn object(value: &impl Serialize) -> serde_json::Result<String> {
    Ok(visible_json(&serde_json::to_string_pretty(value)?))
}

/// The same JSON with every hidden character as its escape, so that it does nothing on a terminal. They can only stand
/// in strings; JSON escapes those below U+0020 by itself, and its layout has line ends.
fn visible_json(text: &str) -> String {
    if text.lines().all(|line| first_hidden(line).is_none()) {
        return text.to_owned();
    }
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        if c == '\n' || hidden(c).is_none() {
            shown.push(c);
        } else {
            for unit in c.encode_utf16(&mut [0; 2]) {
                // Writing to a string cannot fail.
                let _ = write!(shown, "\\u{unit:04x}");
            }
        }
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Ohms;
    use crate::report::sample;
    use crate::visible::NASTY;
    use serde_json::Value;

    fn read(of: &Sweep) -> Value {
        serde_json::from_str(&sweep(of).unwrap()).unwrap()
    }

    fn has(value: &Value, keys: &[&str]) {
        for key in keys {
            assert!(value.get(key).is_some(), "`{key}` is missing in {value}");
        }
    }

    #[test]
    fn the_promised_keys_are_there() {
        let of = sample::several();
        let value = read(&of);
        has(&value, &["serial", "board", "revision", "verdict", "segments", "isolation", "faults", "bench"]);
        for row in value["segments"].as_array().unwrap() {
            has(
                row,
                &[
                    "name", "state", "ohms", "ohms_20c", "u95_ohms", "min_ohms", "max_ohms", "verdict",
                    "class",
                ],
            );
        }
        has(&value["faults"][0], &["where", "class", "probability", "advice"]);
        has(&value["bench"], &["shots", "closures", "device_ms"]);
        assert_eq!(value["verdict"], "fail");
        assert_eq!(value["segments"].as_array().unwrap().len(), of.judgement.segments.len());
        assert_eq!(value["segments"][2]["class"], "redundancy_lost");
        assert_eq!(value["segments"][11]["ohms"], Value::Null);
        assert_eq!(value["faults"][1]["where"], "reg.in~cell-");
        assert_eq!(value["bench"]["device_ms"], 412.386);
        let advice = value["faults"][0]["advice"].as_str().unwrap();
        assert!(advice.contains("for years. Work it twenty times"), "{advice}");
    }

    #[test]
    fn the_start_of_the_sweep_does_not_change_the_bytes() {
        let mut later = sample::several();
        later.measurement.started_us = 1;
        assert_eq!(sweep(&later).unwrap(), sweep(&sample::several()).unwrap());
    }

    #[test]
    fn a_void_sweep_books_no_fault_and_names_the_bench() {
        let mut void = sample::void();
        void.judgement.faults = sample::open_via().judgement.faults;
        let value = read(&void);
        assert_eq!(value["verdict"], "void");
        assert_eq!(value["faults"], serde_json::json!([]));
        assert_eq!(value["bench_faults"][0]["part"], "pin fuse.out (sense channel 4)");
    }

    #[test]
    fn what_is_not_finite_becomes_null() {
        let mut of = sample::good();
        of.judgement.segments[0].resistance = Some(Ohms(f64::NAN));
        of.judgement.segments[0].max = Ohms(f64::INFINITY);
        let value = read(&of);
        assert_eq!(value["segments"][0]["ohms"], Value::Null);
        assert_eq!(value["segments"][0]["max_ohms"], Value::Null);
    }

    #[test]
    fn json_does_nothing_on_a_terminal() {
        for (c, _) in NASTY {
            let name = format!("a{c}b");
            let text = object(&[&name]).unwrap();
            assert!(text.lines().all(|line| first_hidden(line).is_none()), "{text:?}");
            assert_eq!(serde_json::from_str::<[String; 1]>(&text).unwrap(), [name]);
        }
    }

    #[test]
    fn nasty_names_survive_the_way_there_and_back() {
        let (of, _) = sample::nasty();
        assert_eq!(read(&of)["serial"], sample::NASTY);
    }
}
