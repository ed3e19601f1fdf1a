//! What is asked of a lot's trade, by the page and by the API.
#![allow(unused_qualifications)] // the code that utoipa writes for `IntoParams` names its types in full

use serde::Deserialize;
use utoipa::IntoParams;

use super::{app::App, problem::Problem};
use crate::{
    quantity::money,
    trade::{Assessed, Terms, assess, triage::MOST_HOURS},
};

/// What an hour of work costs, and how many there are. An empty answer of a form is none.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Asked {
    /// What an hour of work costs, such as `20.00 EUR`.
    pub hour: Option<String>,
    /// Hours that there are for repairs.
    pub hours: Option<String>,
}

impl Asked {
    /// The answers that were given.
    fn terms(&self) -> Result<Terms, Problem> {
        let given = |text: &Option<String>| text.clone().filter(|text| !text.trim().is_empty());
        let hour = given(&self.hour).map(|text| money::parse(&text)).transpose();
        let hour = hour.map_err(|error| Problem::bad_request(error.to_string()))?;
        let hours = given(&self.hours).map(|text| match text.trim().parse::<f64>() {
            Ok(hours) if (0.0..=MOST_HOURS).contains(&hours) => Ok(hours),
            _ => Err(Problem::bad_request(format!(
                "the hours for repairs are no number from 0 to {MOST_HOURS}"
            ))),
        });
        Ok(Terms { hour, hours: hours.transpose()?, next_units: None })
    }

    /// Assesses a lot, whose name is one that can be kept. On a thread that nothing else waits for: a forecast takes tens of
    /// milliseconds.
    ///
    /// # Errors
    /// An answer that is none, an unknown lot, those of the records.
    pub async fn assess(&self, app: &App, lot: &str) -> Result<Assessed, Problem> {
        let terms = self.terms()?;
        let book = app.store.book(lot).await?;
        let found = tokio::task::spawn_blocking(move || assess(&book, &terms)).await;
        found.map_err(|error| Problem::new(axum::http::StatusCode::INTERNAL_SERVER_ERROR, error.to_string()))
    }
}
