//! Which units a list shows, on a page or by the API, and in which order.

use std::cmp::Reverse;

use serde::Deserialize;
use utoipa::ToSchema;

use super::app::App;
use crate::{
    records::{self, status::Status, summary::UnitLine},
    verdict::Verdict,
};

/// Which units; what is `None` leaves all of them in.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Selection {
    /// Of this lot.
    pub lot: Option<String>,
    /// Whose last sweep came to this.
    pub verdict: Option<Verdict>,
    /// That stand here in the work.
    pub status: Option<Status>,
    /// Whose serial number has this in it; capitals do not matter.
    pub text: Option<String>,
    /// In this order.
    pub order: Order,
}

/// The order of a list of units.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Order {
    /// By serial number.
    #[default]
    Serial,
    /// Those swept last first.
    Latest,
    /// By where they stand in the work.
    Status,
    /// By the most likely fault, so that units with the same repair stand together; those without one last.
    Fault,
}

impl Order {
    fn sort(self, units: &mut [UnitLine]) {
        match self {
            Self::Serial => {}
            Self::Latest => {
                units.sort_by_key(|line| Reverse(line.unit.swept.as_ref().map(|swept| swept.last_sweep)));
            }
            Self::Status => units.sort_by_key(|line| line.unit.status),
            Self::Fault => units.sort_by_cached_key(|line| {
                let swept = line.unit.swept.as_ref();
                let fault = swept.and_then(|swept| Some((swept.board.clone(), swept.fault.clone()?.place)));
                (fault.is_none(), fault)
            }),
        }
    }
}

impl Selection {
    /// The units that are meant, in their order.
    ///
    /// # Errors
    /// Those of the records.
    pub async fn units(&self, app: &App) -> Result<Vec<UnitLine>, records::Error> {
        let text = self.text.as_ref().map(|text| text.to_lowercase());
        let mut units = app
            .catalogue
            .units(|line| {
                self.lot.as_ref().is_none_or(|lot| line.lot.as_ref() == Some(lot))
                    && self.verdict.is_none_or(|verdict| line.unit.now() == Some(verdict))
                    && self.status.is_none_or(|status| line.unit.status == status)
                    && text.as_ref().is_none_or(|text| line.unit.serial.to_lowercase().contains(text))
            })
            .await?;
        self.order.sort(&mut units);
        Ok(units)
    }
}
