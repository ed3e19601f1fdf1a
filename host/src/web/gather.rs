//! Figures that are gathered from many sweeps, for pages and API.

use super::app::App;
use crate::{
    records::{self, Of, SweepId, text},
    report::{
        health::{Health, health},
        spread::{Spread, spreads},
    },
    web::problem::Problem,
};

/// Units whose readings are shown side by side.
pub const MOST_UNITS: usize = 100;
/// Sweeps that the bench's health is told from.
const LOOKED_AT: usize = 100;
/// Of those, how many are read whole, for the resistance of contacts.
const READ_WHOLE: usize = 10;

impl App {
    /// How the readings of each segment spread over the units of a lot: over those `MOST_UNITS` that were swept last,
    /// with their latest sweeps that were not void.
    ///
    /// # Errors
    /// An unknown lot; those of the records.
    pub async fn spreads(&self, lot: &str) -> Result<Vec<Spread>, Problem> {
        let units = self.catalogue.lot(&text::lot(lot)?).await?.units;
        let mut latest: Vec<SweepId> =
            units.into_iter().filter_map(|unit| Some(unit.swept?.last_sweep)).collect();
        latest.sort_unstable();
        let latest = latest.split_off(latest.len().saturating_sub(MOST_UNITS));
        let views = self.store.views(&latest).await?;
        Ok(spreads(&views.into_iter().flatten().collect::<Vec<_>>()))
    }

    /// How the bench has measured of late.
    ///
    /// # Errors
    /// Those of the records.
    pub async fn health(&self) -> Result<Health, records::Error> {
        let mut numbers = self.store.numbers(Of::All).await?;
        let mut latest = numbers.split_off(numbers.len().saturating_sub(LOOKED_AT));
        let views: Vec<_> = self.store.views(&latest).await?.into_iter().flatten().collect();
        let whole = latest.split_off(latest.len().saturating_sub(READ_WHOLE));
        let whole: Vec<_> = self.store.read(&whole).await?.into_iter().flatten().collect();
        Ok(health(&views, &whole))
    }
}
