//! Which wire: the thinnest that carries the current, drops little enough, and fits.

use std::f64::consts::PI;

use serde::Serialize;

use crate::board::expected::{ALPHA_COPPER, awg_diameter_mm, wire_resistance};
use crate::quantity::{Amps, Celsius, Ohms, si};

/// Gauges that are kept in a workshop, the thinnest first (ASTM B258; even numbers, common practice).
pub const GAUGES: [u32; 9] = [32, 30, 28, 26, 24, 22, 20, 18, 16];

/// What is round the conductor.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Covering {
    /// Hook-up wire in PVC.
    HookUp,
    /// Thin-walled wire in fluoropolymer, as it is wrapped round posts.
    ThinWall,
    /// Enamelled copper, grade 1.
    Enamel,
}

impl Covering {
    /// For people.
    pub fn words(self) -> &'static str {
        match self {
            Self::HookUp => "hook-up wire",
            Self::ThinWall => "thin-walled wire",
            Self::Enamel => "enamelled wire",
        }
    }

    /// What it adds to the conductor's diameter, mm. Generic figures, from memory: PVC of 0.4 mm nominal wall (as UL 1007) about strands that take up a
    /// fifth more than solid copper; fluoropolymer of 0.13 mm; enamel of grade 1 at its greatest (IEC 60317-0-1), between the rows in proportion.
    fn adds_mm(self, conductor_mm: f64) -> f64 {
        const STRANDS: f64 = 1.2;
        match self {
            Self::HookUp => (STRANDS - 1.0) * conductor_mm + 2.0 * 0.4,
            Self::ThinWall => 2.0 * 0.13,
            Self::Enamel => between(&ENAMEL, conductor_mm),
        }
    }

    /// Least radius of a bend over the diameter with insulation: three for a bend that stays, of the middle line (common practice; solid enamelled wire
    /// bends about its own diameter).
    fn bend_diameters(self) -> f64 {
        match self {
            Self::HookUp | Self::ThinWall => 3.0,
            Self::Enamel => 1.5,
        }
    }
}

/// Conductor and what enamel adds at most, mm.
const ENAMEL: [[f64; 2]; 9] = [
    [0.100, 0.017],
    [0.200, 0.026],
    [0.250, 0.031],
    [0.315, 0.034],
    [0.400, 0.039],
    [0.500, 0.044],
    [0.630, 0.054],
    [0.800, 0.061],
    [1.000, 0.068],
];

/// In proportion between rows of a table; before the first and after the last as these.
fn between(rows: &[[f64; 2]], at: f64) -> f64 {
    let pair = rows.windows(2).find(|pair| at <= pair[1][0]);
    match (pair, rows.last()) {
        (Some(pair), _) => {
            let ([x0, y0], [x1, y1]) = (pair[0], pair[1]);
            y0 + (y1 - y0) * ((at - x0) / (x1 - x0)).max(0.0)
        }
        (None, last) => last.map_or(0.0, |row| row[1]),
    }
}

/// A wire by its gauge.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct Stock {
    /// The gauge.
    pub awg: u32,
    /// What is round the conductor.
    pub covering: Covering,
    /// The conductor's diameter, mm; of strands, that of solid copper with as much metal.
    pub conductor_mm: f64,
    /// With insulation, mm.
    pub insulated_mm: f64,
    /// Least radius of a bend, of the middle line, mm.
    pub bend_mm: f64,
}

impl Stock {
    /// The wire of a gauge.
    pub fn new(awg: u32, covering: Covering) -> Self {
        let conductor_mm = awg_diameter_mm(awg);
        let insulated_mm = conductor_mm + covering.adds_mm(conductor_mm);
        Self { awg, covering, conductor_mm, insulated_mm, bend_mm: covering.bend_diameters() * insulated_mm }
    }

    /// What a length of it reads at 20 °C.
    pub fn resistance(&self, length_mm: f64) -> Ohms {
        wire_resistance(length_mm, self.awg)
    }

    /// How much warmer than the air it gets, kelvin; infinite where its heat runs away with its resistance.
    ///
    /// What it gives off is [`GIVES_OFF`] times surface and rise; its resistance rises with its temperature.
    pub fn rise_kelvin(&self, current: Amps, air: Celsius) -> f64 {
        const METRE_MM: f64 = 1000.0;
        let surface_m2 = PI * self.insulated_mm / METRE_MM;
        let watts_at_20 = current.0 * current.0 * self.resistance(METRE_MM).0;
        let rise = watts_at_20 / (GIVES_OFF * surface_m2);
        let runs_away = 1.0 - rise * ALPHA_COPPER;
        match runs_away > 0.0 {
            true => rise * (1.0 + ALPHA_COPPER * (air.0 - 20.0)) / runs_away,
            false => f64::INFINITY,
        }
    }
}

/// Heat that a wire in still air gives off by convection and radiation, W/(m²·K). Handbooks give 5 to 25 for surfaces in still
/// air, and more the thinner a cylinder is; 10 is low for a wire, so that it stays cooler than told (common practice).
pub const GIVES_OFF: f64 = 10.0;

/// What is asked of a wire.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Need {
    /// Current it carries all the time.
    pub load: Amps,
    /// The most that it may read from end to end at 20 °C.
    pub most: Ohms,
    /// Air around it, at its warmest.
    pub air: Celsius,
    /// How much warmer than the air it may get, kelvin.
    pub most_rise_kelvin: f64,
    /// The thickest that fits, with insulation, mm, where that is limited.
    pub fits_mm: Option<f64>,
}

/// Why a gauge is not taken.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Refused {
    Warm { rise_kelvin: f64 },
    Drop { reads: Ohms, most: Ohms },
    Thick { insulated_mm: f64, fits_mm: f64 },
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Warm { rise_kelvin } if rise_kelvin.is_finite() => {
                write!(f, "gets {rise_kelvin:.0} K warmer than the air")
            }
            Self::Warm { .. } => f.write_str("melts"),
            Self::Drop { reads, most } => {
                write!(f, "reads {}, more than {}", si(reads.0, 3, "Ω"), si(most.0, 3, "Ω"))
            }
            Self::Thick { insulated_mm, fits_mm } => {
                write!(f, "is {insulated_mm:.2} mm thick, where {fits_mm:.2} mm fit")
            }
        }
    }
}

/// Why no gauge is taken.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum GaugeError {
    /// None does.
    #[error("no {} carries {} over {length_mm:.0} mm here: {}. Lead part of the load another way, shorten the way, or take two wires side by side", .covering.words(), si(.load.0, 3, "A"), told(.refused))]
    None {
        /// What is round the conductor.
        covering: Covering,
        /// The load.
        load: Amps,
        /// How long the wire would be.
        length_mm: f64,
        /// Every gauge, with what is against it.
        refused: Vec<(u32, Refused)>,
    },
    /// A figure that none can be.
    #[error(
        "{what} is {value}, so that no wire can be chosen: a number above 0 belongs here, and a temperature from -200 to 200 °C"
    )]
    Figure {
        /// What it is of.
        what: &'static str,
        /// What it is.
        value: f64,
    },
}

/// What is against the thinnest and the thickest.
fn told(refused: &[(u32, Refused)]) -> String {
    let ends: Vec<_> = [refused.first(), refused.last()].into_iter().flatten().collect();
    let says: Vec<String> = ends.iter().map(|(awg, why)| format!("AWG {awg} {why}")).collect();
    says.join("; ")
}

/// Are the figures of a need such that a wire can be chosen by them?
///
/// # Errors
/// One is not above 0, or no number.
pub(super) fn examined(need: &Need) -> Result<(), GaugeError> {
    positive("the load", need.load.0)?;
    positive("the resistance", need.most.0)?;
    positive("the temperature rise", need.most_rise_kelvin)?;
    positive("the room", need.fits_mm.unwrap_or(1.0))?;
    // Above what copper and air on a board can be, and below: then it is no temperature.
    match need.air.0.abs() <= 200.0 {
        true => Ok(()),
        false => Err(GaugeError::Figure { what: "the temperature of the air", value: need.air.0 }),
    }
}

fn positive(what: &'static str, value: f64) -> Result<(), GaugeError> {
    if value > 0.0 && value.is_finite() { Ok(()) } else { Err(GaugeError::Figure { what, value }) }
}

/// What is against a wire that reads so much, if anything is.
pub fn against(stock: &Stock, reads: Ohms, need: &Need) -> Option<Refused> {
    let rise_kelvin = stock.rise_kelvin(need.load, need.air);
    if let Some(fits_mm) = need.fits_mm
        && stock.insulated_mm > fits_mm
    {
        Some(Refused::Thick { insulated_mm: stock.insulated_mm, fits_mm })
    } else if rise_kelvin > need.most_rise_kelvin {
        Some(Refused::Warm { rise_kelvin })
    } else if reads > need.most {
        Some(Refused::Drop { reads, most: need.most })
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ASTM B258, table of nominal diameters: gauge and mils (from memory).
    #[test]
    fn diameters_are_those_of_the_table() {
        const MM_PER_MIL: f64 = 0.0254;
        for (awg, mils) in [
            (10, 101.9),
            (12, 80.8),
            (16, 50.8),
            (18, 40.3),
            (20, 32.0),
            (22, 25.3),
            (24, 20.1),
            (26, 15.9),
            (28, 12.6),
            (30, 10.0),
            (32, 8.0),
            (36, 5.0),
        ] {
            // The table is rounded to tenths of a mil.
            let found = Stock::new(awg, Covering::Enamel).conductor_mm / MM_PER_MIL;
            assert!((found - mils).abs() <= 0.051, "AWG {awg}: {found} mil, printed {mils}");
        }
    }

    /// Ohms per 1000 feet at 20 °C (NBS Handbook 100, copper wire tables, from memory).
    #[test]
    fn resistances_are_those_of_the_table() {
        const THOUSAND_FEET_MM: f64 = 304_800.0;
        for (awg, ohms) in
            [(16, 4.016), (20, 10.15), (22, 16.14), (24, 25.67), (26, 40.81), (28, 64.90), (30, 103.2)]
        {
            let found = Stock::new(awg, Covering::HookUp).resistance(THOUSAND_FEET_MM).0;
            assert!((found / ohms - 1.0).abs() < 0.005, "AWG {awg}: {found}, printed {ohms}");
        }
    }

    /// Enamelled wire, grade 1, greatest overall diameter (IEC 60317-0-1, from memory): 0.25 mm gives 0.281, 0.5 mm gives 0.544.
    #[test]
    fn enamel_is_as_thick_as_the_standard_lets_it_be() {
        for (conductor, overall) in [(0.25, 0.281), (0.5, 0.544), (0.1, 0.117), (1.0, 1.068), (1.29, 1.358)] {
            assert!((conductor + Covering::Enamel.adds_mm(conductor) - overall).abs() < 1e-9);
        }
    }

    /// What a thin-walled wire carries by this rule at a rise of 10 K stays under the currents of "chassis wiring" in the Handbook of Electronic Tables and
    /// Formulas (6th edition, from memory), which is for wires in free air, and above its 700 circular mils per ampere, which is for bundles.
    #[test]
    fn heating_lies_between_published_rules() {
        for (awg, chassis, bundled) in [
            (18, 16.0, 2.3),
            (22, 7.0, 0.92),
            (24, 3.5, 0.577),
            (26, 2.2, 0.361),
            (28, 1.4, 0.226),
            (30, 0.86, 0.142),
        ] {
            let stock = Stock::new(awg, Covering::ThinWall);
            let rise = |amps| stock.rise_kelvin(Amps(amps), Celsius(25.0));
            assert!(rise(bundled) < 5.0, "AWG {awg}: {} K at {bundled} A", rise(bundled));
            let carried = (1..4000)
                .map(|step| f64::from(step) * 0.01)
                .take_while(|amps| rise(*amps) <= 10.0)
                .last()
                .unwrap();
            assert!(carried > bundled && carried <= chassis, "AWG {awg}: {carried} A");
        }
    }
}
