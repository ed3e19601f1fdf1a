//! A proposal that somebody carried out, as the records keep it: so that what was promised can be held against what came of it.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::fault::method::Method;
use crate::fitted::Wire;
use crate::quantity::Ohms;
use crate::verdict::Class;

/// A proposal that was taken.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Taken {
    /// Where the fault was: a segment, `point~point`, or a wire fitted before.
    #[serde(rename = "where")]
    pub place: String,
    /// What the fault looked like.
    pub class: Class,
    /// What was done.
    pub method: Method,
    /// The chance of a cure that was promised, 0 to 1.
    pub chance: f64,
    /// How long it was to take, minutes.
    pub minutes: f64,
    /// What the next sweep was to read there, if that could be said.
    pub predicted: Option<Predicted>,
    /// The wire that was fitted, if one was.
    pub wire: Option<Wire>,
}

/// What a row of the next sweep is expected to read at 20 °C.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Predicted {
    /// Name of the row: a segment, or a wire.
    pub row: String,
    /// The middle of what is expected.
    #[serde(rename = "ohms")]
    pub middle: Ohms,
    /// 95 of 100 repairs read within these two.
    #[serde(rename = "interval_ohms")]
    pub interval: [Ohms; 2],
}

impl Predicted {
    /// Does a reading at 20 °C lie within what was promised?
    pub fn holds(&self, read: Ohms) -> bool {
        let [low, high] = self.interval;
        low <= read && read <= high
    }
}
