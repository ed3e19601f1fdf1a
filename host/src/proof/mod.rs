//! A bench proof: what `prove` found of one bench with one bed on it, dated. Budgets use its figures, measurements name it.
//!
//! A proof is kept as a text and known by that text's hash, as files are. Plain data; how it is made stands in `prove`.

mod standing;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    hash,
    meter::proven::Proven,
    quantity::{Celsius, Ohms, Volts},
};

pub use standing::{DAY_US, Standing, usable};

/// What was found of a bench and a bed.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Figures {
    /// The controller's serial number, hex.
    pub bench: String,
    /// The same for people: a port, or the modelled bench with its seed.
    pub bench_name: String,
    /// Name of the fixture.
    pub fixture: String,
    /// Which channel leads where: [`crate::fixture::Fixture::bed_hash`].
    pub bed_hash: String,
    /// Version of the program that made it.
    pub program: String,
    /// When, microseconds since 1970-01-01 UTC.
    pub made_us: i64,
    /// What of the meter is proven; `None` without a standard that could be read.
    pub meter: Option<Proven>,
    /// The standards.
    pub standards: Vec<StandardFound>,
    /// Thermometers in the bed.
    #[serde(default)]
    pub thermometers: Vec<ThermometerFound>,
    /// Noise of the converter, its inputs shorted.
    pub noise: Vec<NoiseFound>,
    /// Hum in the sense loop.
    pub hum: Option<HumFound>,
    /// Contacts on the plate; empty without one.
    pub contacts: Vec<ContactFound>,
    /// What the bed can judge: segments of a golden unit, seated again and again; empty without one.
    pub repeats: Vec<Repeat>,
    /// What is wrong; empty of a bench that is fit.
    pub faults: Vec<Fault>,
    /// Shots run.
    pub shots: u32,
    /// Device time, µs.
    pub device_us: u64,
}

/// A standard, read.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct StandardFound {
    /// Its name.
    pub name: String,
    /// What it is by the file: its certificate, else the stated value.
    #[serde(rename = "stated_ohms")]
    pub stated: Ohms,
    /// How far it may be off that, relative: expanded uncertainty of the certificate, else the tolerance.
    pub stated_within: f64,
    /// Is there a certificate that could be used?
    pub certified: bool,
    /// Read under load.
    pub load: Option<Value>,
    /// Read dry.
    pub dry: Option<Value>,
}

/// A resistance and its expanded uncertainty at 95 %.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Value {
    /// Value.
    pub ohms: Ohms,
    /// Half width.
    pub u95_ohms: Ohms,
}

/// A thermometer in the bed, read.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ThermometerFound {
    /// Its name.
    pub name: String,
    /// What it says; `None` where that is no temperature of a bed.
    #[serde(rename = "celsius")]
    pub at: Option<Celsius>,
    /// Its expanded uncertainty at 95 %, kelvin.
    pub u95_kelvin: Option<f64>,
    /// The converter's own thermometer at that time.
    #[serde(rename = "sensor_celsius")]
    pub sensor: Celsius,
}

/// Noise of the converter at one setting.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct NoiseFound {
    /// Gain: 1 to 128.
    pub gain: u8,
    /// Conversions a second.
    pub rate: u16,
    /// Standard deviation of one conversion, referred to the input.
    #[serde(rename = "sigma_volts")]
    pub sigma: Volts,
    /// The same over the typical figure.
    pub over_typical: f64,
    /// Mean: the converter's offset.
    #[serde(rename = "offset_volts")]
    pub offset: Volts,
}

/// Hum, listened for with the source off.
#[derive(Clone, Copy, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct HumFound {
    /// Peak, with the uncertainty of finding it on top.
    #[serde(rename = "peak_volts")]
    pub peak: Volts,
    /// Frequency of the mains.
    pub hertz: f64,
}

/// A pin on the plate, by way of one relay.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ContactFound {
    /// Its point, or its standard.
    pub pin: String,
    /// A force pin, or a sense pin?
    pub force: bool,
    /// Its channel.
    pub channel: u16,
    /// By way of its + relay?
    pub plus: bool,
    /// Does it touch?
    pub touches: bool,
    /// Pin, relay and reversal switch together; of sense pins only whether they touch is read.
    #[serde(rename = "ohms")]
    pub resistance: Option<Ohms>,
}

/// How well one segment of a golden unit repeats.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Repeat {
    /// The segment.
    pub segment: String,
    /// State.
    pub state: String,
    /// Mean over everything, at 20 °C.
    #[serde(rename = "mean_ohms")]
    pub mean: Ohms,
    /// Standard deviation while the unit lies there.
    #[serde(rename = "within_ohms")]
    pub within: Ohms,
    /// Standard deviation from seating to seating, beyond that.
    #[serde(rename = "between_ohms")]
    pub between: Ohms,
    /// Expanded uncertainty of one reading after one seating: the two, and what the reading's own budget says.
    #[serde(rename = "u95_ohms")]
    pub u95: Ohms,
    /// From the mean to the nearer limit, over that uncertainty.
    pub ratio: f64,
}

/// A limit that is nearer to what good units have than so many expanded uncertainties is judged badly by this bench: the trade's
/// test uncertainty ratio of 4:1 (common practice).
pub const FIT_RATIO: f64 = 4.0;

/// Something that is wrong with the bench.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct Fault {
    /// The pin, relay or part.
    pub part: String,
    /// What is wrong with it and what to do.
    pub what: String,
}

/// A proof as it is kept.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Proof {
    figures: Figures,
    text: String,
}

impl Proof {
    /// Of what was found.
    ///
    /// # Errors
    /// A figure that is no number.
    pub fn new(figures: &Figures) -> Result<Self, NotAProof> {
        serde_json::to_string(figures).map_err(|error| NotAProof(error.to_string())).and_then(Self::parse)
    }

    /// A proof from the text that was kept.
    ///
    /// # Errors
    /// A text that is none.
    pub fn parse(text: String) -> Result<Self, NotAProof> {
        let figures = serde_json::from_str(&text).map_err(|error| NotAProof(error.to_string()))?;
        Ok(Self { figures, text })
    }

    /// What was found.
    pub fn figures(&self) -> &Figures {
        &self.figures
    }

    /// The text that is kept.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// SHA-256 of that, lower-case hex: by this the records know it.
    pub fn hash(&self) -> String {
        hash::of(&self.text)
    }
}

/// A text that is no proof.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("not a proof of a bench: {0}")]
pub struct NotAProof(String);

impl TryFrom<String> for Proof {
    type Error = NotAProof;

    fn try_from(text: String) -> Result<Self, NotAProof> {
        Self::parse(text)
    }
}

impl From<Proof> for String {
    fn from(proof: Proof) -> Self {
        proof.text
    }
}
