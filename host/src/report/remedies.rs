//! What can be done about a unit, as every report of it is made from.

use serde::Serialize;

use super::{figures, words};
use crate::fault::method::{Method, Minutes};
use crate::proposed::Proposed;
use crate::quantity::engineering;
use crate::records::SweepId;
use crate::remedy::healthy::StandsOn;
use crate::remedy::{Prediction, Proposal, Remedies, Works};
use crate::verdict::Verdict;

/// A unit and its remedies.
#[derive(Clone, Debug, Serialize)]
pub struct Sheet<'s> {
    /// Serial number.
    pub serial: &'s str,
    /// Board name.
    pub board: &'s str,
    /// Board revision.
    pub revision: &'s str,
    /// The sweep they stand on.
    pub sweep: SweepId,
    /// Its verdict.
    pub verdict: Verdict,
    /// What can be done.
    #[serde(flatten)]
    pub remedies: &'s Remedies,
}

impl<'s> Sheet<'s> {
    /// Of what is proposed.
    pub fn of(proposed: &'s Proposed) -> Self {
        Self {
            serial: &proposed.serial,
            board: &proposed.board.name,
            revision: &proposed.board.revision,
            sweep: proposed.sweep,
            verdict: proposed.verdict,
            remedies: &proposed.remedies,
        }
    }
}

/// The word for a method, as people say it.
pub fn method(method: Method) -> &'static str {
    match method {
        Method::Clean => "clean",
        Method::Reflow => "reflow",
        Method::Replace => "replace",
        Method::RebuildVia => "rebuild the via",
        Method::WireAround => "wire around",
        Method::ParallelWire => "wire beside it",
        Method::Leave => "leave it",
    }
}

/// `8 to 25 min, mostly 12`.
pub fn minutes(minutes: Minutes) -> String {
    let Minutes { least, usual, most } = minutes;
    match most > 0.0 {
        true => format!("{least:.0} to {most:.0} min, mostly {usual:.0}"),
        false => "no time".into(),
    }
}

/// A method's chance, and what it stands on: common practice, its own record in the lot, and the lot's other repairs.
pub fn works(works: &Works) -> String {
    let [low, high] = works.interval_90.map(figures::chance);
    let [worked, failed] = works.counted;
    let counted = worked.saturating_add(failed);
    let others = words::counted(works.others as usize, "other repair", "other repairs");
    let stands_on = match (counted, works.others) {
        (0, 0) => "by common practice, none counted yet".to_owned(),
        (0, _) => format!("by common practice and {others} of the lot"),
        (_, 0) => format!("by common practice and {worked} of {counted} in the lot"),
        (_, _) => format!("by common practice, {worked} of {counted} in the lot and {others} of it"),
    };
    format!("works in {} ({low} to {high}; {stands_on})", figures::chance(works.chance))
}

/// What the next sweep should read.
pub fn prediction(prediction: &Prediction) -> String {
    let [low, high] = prediction.read.interval.map(engineering);
    let stands_on = match prediction.stands_on {
        StandsOn::BoardFile => "by the board file".to_owned(),
        StandsOn::Units(count) => format!("by {count} good units"),
        StandsOn::Wire => "by the copper and the joints".to_owned(),
    };
    format!(
        "{}: {low} to {high} in 95 of 100 ({stands_on}); limit {}",
        prediction.read.row,
        engineering(prediction.max)
    )
}

/// How long it takes for each unit cured, minutes.
pub fn effort(proposal: &Proposal) -> String {
    format!("{:.0} min", proposal.minutes_per_cure)
}
