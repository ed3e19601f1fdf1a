//! Format `touches/v1`, frozen: a change of anything in this file is a new format. What was read by hand, in postcard's bytes as
//! [`v2`](super::v2) describes them; names stand as they are in the board file.

// The live types of the same names say what each field means.
#![allow(missing_docs)]

use serde::{Deserialize, Serialize};

/// The word kept beside bytes in this format.
pub const FORMAT: &str = "touches/v1";

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct ByHand {
    pub touches: Vec<Touch>,
    pub stopped: bool,
}

#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Touch {
    pub from: String,
    pub to: String,
    pub state: String,
    pub on_good_unit: bool,
    pub answered: String,
    pub meter: String,
    pub method: Option<Method>,
    pub lead_ohms: Option<f64>,
    pub ohms: Option<f64>,
    pub at_least_ohms: Option<f64>,
    pub at_most_ohms: Option<f64>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Method {
    Continuity,
    TwoWire,
    FourWire,
}
