//! What can be done about a unit, as every report of it is made from.

use serde::Serialize;

use super::figures;
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

/// What a method's chance stands on: `8 of 10 by common practice`, or with what the records count.
pub fn works(works: &Works) -> String {
    let [low, high] = works.interval_90.map(figures::chance);
    let [worked, failed] = works.counted;
    let stands_on = match worked.saturating_add(failed) {
        0 => "by common practice, none counted yet".to_owned(),
        counted => format!("common practice and {worked} of {counted} in the lot"),
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
