//! Which pin of the chip is which line of the bench, from the one map of them all: `hardware/pins.toml`.

use std::{collections::BTreeMap, fs};

use copperwalk::virtual_bench::Line;
use serde::Deserialize;

use super::{firmware::root, process::Drive};

/// What a pin of the chip is wired to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Role {
    /// A line that switches something.
    Line(Line),
    /// RCK of the chain: low while it is shifted, latches as it rises.
    ChainLatch,
    /// Chip select of the ADC, active low.
    AdcSelect,
    /// Ready line of the ADC.
    DataReady,
    /// The lid switch.
    Lid,
    /// The light on the board.
    Led,
    /// Clock or data of a bus.
    Bus,
}

/// One pin.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Pin {
    /// What it is wired to.
    pub role: Role,
    /// Whether the bench's own resistor holds it high while the chip does not drive it.
    pub pulled_up: bool,
}

impl Pin {
    /// The level on the wire.
    pub fn level(self, drive: Drive) -> bool {
        match drive {
            Drive::High => true,
            Drive::Low => false,
            Drive::Released => self.pulled_up,
        }
    }
}

/// Every wired pin by its GPIO number.
pub type Pins = BTreeMap<u8, Pin>;

/// Reads the map.
///
/// # Panics
/// If it cannot be read or names a line nobody knows.
pub fn read() -> Pins {
    #[derive(Deserialize)]
    struct Map {
        pins: BTreeMap<String, Wire>,
    }
    #[derive(Deserialize)]
    struct Wire {
        gpio: u8,
        pull: String,
    }
    let file = root().join("hardware/pins.toml");
    let text = fs::read_to_string(&file).expect("the pin map");
    let map: Map = toml::from_str(&text).expect("the pin map");
    let pin = |(name, wire): (String, Wire)| {
        let role = match name.as_str() {
            "shift_clear" => Role::Line(Line::ShiftClear),
            "output_enable" => Role::Line(Line::OutputEnable),
            "load_enable" => Role::Line(Line::LoadEnable),
            "dry_clamp" => Role::Line(Line::DryClamp),
            "isolation_clamp" => Role::Line(Line::IsolationClamp),
            "reverse" => Role::Line(Line::Reverse),
            "chain_latch" => Role::ChainLatch,
            "adc_select" => Role::AdcSelect,
            "data_ready" => Role::DataReady,
            "lid" => Role::Lid,
            "led" => Role::Led,
            "adc_clock" | "adc_data_in" | "adc_data_out" | "chain_clock" | "chain_data" | "chain_back" => {
                Role::Bus
            }
            other => panic!("{}: nobody knows the line {other}", file.display()),
        };
        (wire.gpio, Pin { role, pulled_up: wire.pull == "up" })
    };
    map.pins.into_iter().map(pin).collect()
}
