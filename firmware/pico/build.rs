//! Turns `hardware/pins.toml` into the firmware's pin names, and hands the linker its memory map.

use std::{collections::BTreeMap, env, error::Error, fmt::Write as _, fs, path::PathBuf};

use serde::Deserialize;

const PINS: &str = "../../hardware/pins.toml";

fn main() -> Result<(), Box<dyn Error>> {
    let out = PathBuf::from(env::var("OUT_DIR")?);
    fs::copy("memory.x", out.join("memory.x"))?;
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=--nmagic");
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rerun-if-changed=memory.x");
    println!("cargo:rerun-if-changed={PINS}");
    fs::write(out.join("pins.rs"), names(&fs::read_to_string(PINS)?)?)?;
    Ok(())
}

/// What the firmware needs of `hardware/pins.toml`; the file explains itself.
#[derive(Deserialize)]
struct Map {
    pins: BTreeMap<String, Wire>,
    spi: BTreeMap<String, Bus>,
}

#[derive(Deserialize)]
struct Wire {
    gpio: u8,
    direction: String,
    function: String,
    safe: String,
    note: String,
}

#[derive(Deserialize)]
struct Bus {
    mode: u8,
    max_hz: u32,
}

/// Rust source: a type per pin, a macro that takes a pin out of the chip's set by name, the levels of the safe state,
/// and how fast and in which mode each bus runs.
fn names(map: &str) -> Result<String, Box<dyn Error>> {
    let Map { pins, spi } = toml::from_str(map).map_err(|error| format!("{PINS}: {error}"))?;
    let mut source = String::new();
    let mut arms = String::new();
    let mut safe = BTreeMap::from([("low", 0_u32), ("high", 0)]);
    for (name, Wire { gpio, direction, function, safe: level, note }) in &pins {
        let camel: String = name.split('_').map(|word| word[..1].to_uppercase() + &word[1..]).collect();
        writeln!(source, "/// {note}.\npub type {camel} = rp2040_hal::gpio::bank0::Gpio{gpio};")?;
        writeln!(arms, "    ($pins:ident.{name}) => {{ $pins.gpio{gpio} }};")?;
        if direction == "out" && function == "sio" {
            let levels = safe.get_mut(level.as_str());
            *levels.ok_or_else(|| format!("{PINS}: pins.{name}.safe: \"low\" or \"high\" is meant"))? |=
                1 << gpio;
        }
    }
    writeln!(source, "macro_rules! take_pin {{\n{arms}}}")?;
    for (level, mask) in safe {
        let level = level.to_uppercase();
        writeln!(
            source,
            "/// Outputs that are {level} in the safe state.\npub const SAFE_{level}: u32 = {mask:#010x};"
        )?;
    }
    for (name, Bus { mode, max_hz }) in spi {
        let name = name.to_uppercase();
        writeln!(source, "/// Fastest clock of this bus, hertz.\npub const {name}_HZ: u32 = {max_hz};")?;
        writeln!(source, "/// Its clock's polarity and phase.")?;
        writeln!(source, "pub const {name}_MODE: embedded_hal::spi::Mode = embedded_hal::spi::MODE_{mode};")?;
    }
    Ok(source)
}
