//! Which units a list shows, on a page or by the API.

use std::cmp::Reverse;

use super::{app::App, problem::Problem};
use crate::{records::summary::UnitLine, verdict::Verdict};

/// Which units; what is `None` leaves all of them in.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Selection<'s> {
    /// Of this lot.
    pub lot: Option<&'s str>,
    /// Whose last sweep came to this.
    pub verdict: Option<Verdict>,
    /// Whose serial number has this in it; capitals do not matter.
    pub text: Option<&'s str>,
    /// Those swept last come first, instead of the order of serial numbers.
    pub latest_first: bool,
}

impl Selection<'_> {
    /// The units that are meant, in their order.
    ///
    /// # Errors
    /// Those of the records.
    pub async fn units(self, app: &App) -> Result<Vec<UnitLine>, Problem> {
        let text = self.text.map(str::to_lowercase);
        let mut units = app.store.units().await?;
        units.retain(|line| {
            self.lot.is_none_or(|lot| line.lot.as_deref() == Some(lot))
                && self.verdict.is_none_or(|verdict| line.unit.now() == Some(verdict))
                && text.as_ref().is_none_or(|text| line.unit.serial.to_lowercase().contains(text))
        });
        if self.latest_first {
            units.sort_by_key(|line| Reverse(line.unit.swept.as_ref().map(|swept| swept.last_sweep)));
        }
        Ok(units)
    }
}
