//! Where a unit stands in the work: what somebody said of it, or what its last sweep showed, whichever is newer.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::verdict::Verdict;

/// Where a unit stands.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// It is here; no sweep says anything about it yet.
    Received,
    /// Swept, and not proven good.
    Swept,
    /// Being repaired, or repaired and not swept since.
    InRepair,
    /// Swept, and proven good.
    Good,
    /// Given up.
    Scrapped,
    /// Gone to a buyer.
    Sold,
}

/// What somebody can say of where a unit stands; the rest is for sweeps to show.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)] // as in `Status`
pub enum Said {
    Received,
    InRepair,
    Scrapped,
    Sold,
}

impl Status {
    /// Every one, in the order of the work.
    pub const ALL: [Self; 6] =
        [Self::Received, Self::Swept, Self::InRepair, Self::Good, Self::Scrapped, Self::Sold];
}

impl Said {
    /// Every one, in the order of the work.
    pub const ALL: [Self; 4] = [Self::Received, Self::InRepair, Self::Scrapped, Self::Sold];
}

impl From<Said> for Status {
    fn from(said: Said) -> Self {
        match said {
            Said::Received => Self::Received,
            Said::InRepair => Self::InRepair,
            Said::Scrapped => Self::Scrapped,
            Said::Sold => Self::Sold,
        }
    }
}

/// An entry of a unit's history that bears on where it stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Step {
    Said(Said),
    Repaired,
    /// With its verdict: of the latest judgement, or void if it was declared so.
    Swept(Verdict),
}

impl Status {
    /// Is it still here to be worked on?
    pub fn is_here(self) -> bool {
        !matches!(self, Self::Scrapped | Self::Sold)
    }

    /// After these entries, in the order of writing: the newest counts. A void sweep says nothing about the unit.
    pub(super) fn after(steps: impl IntoIterator<Item = Step>) -> Self {
        steps.into_iter().fold(Self::Received, |status, step| match step {
            Step::Said(said) => said.into(),
            Step::Repaired => Self::InRepair,
            Step::Swept(Verdict::Pass) => Self::Good,
            Step::Swept(Verdict::Fail | Verdict::Unproven) => Self::Swept,
            Step::Swept(Verdict::Void) => status,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::Step::{Repaired, Swept};
    use super::*;
    use crate::verdict::Verdict::{Fail, Pass, Unproven, Void};

    const SOLD: Step = Step::Said(Said::Sold);
    const IN_REPAIR: Step = Step::Said(Said::InRepair);

    /// Each entry before and after each other kind.
    #[test]
    fn the_newest_entry_that_says_something_counts() {
        for (steps, status) in [
            (&[][..], Status::Received),
            (&[Swept(Void)], Status::Received),
            (&[Swept(Pass)], Status::Good),
            (&[Swept(Fail)], Status::Swept),
            (&[Swept(Unproven)], Status::Swept),
            (&[Swept(Pass), Swept(Fail)], Status::Swept),
            (&[Swept(Fail), Swept(Pass)], Status::Good),
            (&[Swept(Pass), Swept(Void)], Status::Good),
            (&[Swept(Fail), Repaired], Status::InRepair),
            (&[Repaired, Swept(Fail)], Status::Swept),
            (&[Repaired, Swept(Pass)], Status::Good),
            (&[Repaired, Swept(Void)], Status::InRepair),
            (&[Swept(Pass), SOLD], Status::Sold),
            (&[SOLD, Swept(Pass)], Status::Good),
            (&[SOLD, Swept(Void)], Status::Sold),
            (&[SOLD, Repaired], Status::InRepair),
            (&[Repaired, SOLD], Status::Sold),
            (&[IN_REPAIR, SOLD], Status::Sold),
            (&[SOLD, IN_REPAIR], Status::InRepair),
        ] {
            assert_eq!(Status::after(steps.iter().copied()), status, "{steps:?}");
        }
        for said in Said::ALL {
            assert_eq!(Status::after([Swept(Fail), Step::Said(said)]), said.into());
        }
    }
}
