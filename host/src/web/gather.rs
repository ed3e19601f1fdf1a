//! Figures that are gathered from many sweeps, for pages and API.

use super::app::App;
use crate::{
    records::{self, SweepId, text},
    report::{
        health::{Health, LOOKED_AT, health},
        spread::{Spreads, spreads},
        unreadable,
    },
    web::problem::Problem,
};

/// Units whose readings are shown side by side.
pub const MOST_UNITS: usize = 100;

impl App {
    /// How the readings of each segment spread over the units of a lot: over those `MOST_UNITS` that were swept last,
    /// with their latest sweeps that were not void.
    ///
    /// # Errors
    /// An unknown lot; those of the records.
    pub async fn spreads(&self, lot: &str) -> Result<Spreads, Problem> {
        let units = self.catalogue.lot(&text::lot(lot)?).await?.units;
        let mut latest: Vec<SweepId> =
            units.into_iter().filter_map(|unit| Some(unit.swept?.last_sweep)).collect();
        latest.sort_unstable();
        let latest = latest.split_off(latest.len().saturating_sub(MOST_UNITS));
        let views = self.store.views(&latest).await?;
        let (views, left_out) = unreadable::part(latest.into_iter().zip(views));
        Ok(Spreads { segments: spreads(&views), left_out })
    }

    /// How the bench has measured of late.
    ///
    /// # Errors
    /// Those of the records.
    pub async fn health(&self) -> Result<Health, records::Error> {
        Ok(health(self.store.latest(LOOKED_AT).await?, &self.store.worked().await?))
    }
}
