//! Learned limits as a file that [`crate::limits::read`] reads.

use serde_json::Value;

use super::{Learned, LearnedSegment};
use crate::quantity::si;

/// How such a file begins, so that one can be told from a file that somebody wrote.
pub const MARK: &str = "# Limits learned by copperwalk";

/// Digits of a limit: more than any of them deserves, so that rounding is nothing beside the spread.
const DIGITS: usize = 5;

/// The file.
pub fn text(learned: &Learned) -> String {
    // JSON's way to write a text is one of TOML's, too.
    let quoted = |text: &str| Value::from(text).to_string();
    let day = |time: Option<i64>| {
        let at = time.and_then(|micros| jiff::Timestamp::from_microsecond(micros).ok());
        quoted(&at.map(|at| at.strftime("%Y-%m-%d").to_string()).unwrap_or_default())
    };
    let times = || learned.units.iter().map(|unit| unit.started_us);
    let serials: Vec<_> = learned.units.iter().map(|unit| quoted(&unit.serial)).collect();
    let mut out = format!(
        "{MARK}. Each lies at mean and deviation of the golden units (ohms at 20 °C), by the factor that\n\
         # holds the coverage with the confidence. What is not named keeps the board file's limit.\n\
         format = 1\n\n[learned]\nboard = {}\nrevision = {}\n",
        quoted(&learned.board),
        quoted(&learned.revision)
    );
    if let Some(lot) = &learned.lot {
        out.push_str(&format!("lot = {}\n", quoted(lot)));
    }
    out.push_str(&format!(
        "units = {}\nserials = [{}]\nfirst = {}\nlast = {}\ncoverage = {:?}\nconfidence = {:?}\nbasis = {}\n\n[limits]\n",
        learned.units.len(),
        serials.join(", "),
        day(times().min()),
        day(times().max()),
        learned.claim.coverage,
        learned.claim.confidence,
        quoted(&learned.basis)
    ));
    for segment in &learned.segments {
        if let Some(line) = line(segment, quoted) {
            out.push_str(&line);
        }
    }
    out
}

/// A segment's line; `None` if both limits stay as they were.
fn line(segment: &LearnedSegment, quoted: impl Fn(&str) -> String) -> Option<String> {
    let ohms = |ohms: crate::quantity::Ohms| quoted(&si(ohms.0, DIGITS, "Ω"));
    let limits = [("min", segment.min), ("max", segment.max)];
    let stated: Vec<_> =
        limits.iter().filter_map(|(key, limit)| Some(format!("{key} = {}", ohms((*limit)?)))).collect();
    (!stated.is_empty()).then(|| {
        format!(
            "{} = {{ {}, mean = {}, deviation = {}, factor = {:.4} }}\n",
            quoted(&segment.name),
            stated.join(", "),
            ohms(segment.mean),
            ohms(segment.deviation),
            segment.factor
        )
    })
}
