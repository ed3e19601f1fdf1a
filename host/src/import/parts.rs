//! What a part with two pads is in a supply path, by its reference and its value. What cannot be told is asked, not guessed.

use crate::quantity::{Amps, Henries, Ohms};

/// What a part does to a current that comes to one of its pads.
#[derive(Clone, PartialEq, Debug)]
pub enum Role {
    /// It passes on.
    Conducts(Conductor),
    /// It does not: a capacitor, a resistor of many ohms, a connector.
    Blocks,
    /// Reference and value do not tell.
    Unsure,
}

/// Kinds of parts that pass a supply's current on.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Conductor {
    /// Fuse, with its rating if the value tells it.
    Fuse(Option<Amps>),
    /// Resettable fuse, with its hold current.
    Resettable(Option<Amps>),
    /// Ferrite bead.
    Ferrite,
    /// Inductor, with its inductance.
    Inductor(Option<Henries>),
    /// Resistor of an ohm or less.
    Shunt(Ohms),
    /// Resistor of zero ohms, wire link, net tie.
    Link,
    /// Switch.
    Switch,
    /// Diode: from `2` or `A` to `1` or `K`.
    Diode {
        /// Does the value name a Schottky diode?
        schottky: bool,
    },
    /// Transistor; only where the person names its pads.
    Transistor,
    /// Jumper or another contact; only where the person names its pads.
    Contact,
}

/// More than this is no shunt, Ω.
const SHUNT_MOST: f64 = 1.0;

/// The role of a part with two pads.
pub fn role(reference: &str, value: &str) -> Role {
    let prefix: String = reference.chars().take_while(char::is_ascii_alphabetic).collect();
    let upper = value.to_ascii_uppercase();
    let says = |words: &[&str]| words.iter().any(|word| upper.contains(word));
    let resettable = says(&["PTC", "POLYFUSE", "POLY", "RESETTABLE", "HOLD"]);
    let current =
        || Some(Amps(number_before(value, &["A"])?)).filter(|amps| (1e-3..=100.0).contains(&amps.0));
    Role::Conducts(match prefix.to_ascii_uppercase().as_str() {
        "F" | "FU" | "PF" if resettable => Conductor::Resettable(current()),
        "F" | "FU" => Conductor::Fuse(current()),
        "PF" | "PTC" => Conductor::Resettable(current()),
        "FB" | "FER" | "BEAD" => Conductor::Ferrite,
        "L" if says(&["FERRITE", "BEAD", "@", "OHM", "Ω", "MHZ"]) => Conductor::Ferrite,
        "L" => Conductor::Inductor(inductance(value)),
        "R" | "RS" | "RSH" | "SH" => match resistance(value) {
            Some(0.0) => Conductor::Link,
            Some(ohms) if (1e-5..=SHUNT_MOST).contains(&ohms) => Conductor::Shunt(Ohms(ohms)),
            Some(_) => return Role::Blocks,
            None => return Role::Unsure,
        },
        "SW" | "S" => Conductor::Switch,
        "NT" | "W" => Conductor::Link,
        "D" if says(&["LED", "TVS", "ZENER", "BZX", "BZT", "BZV", "SMAJ", "SMBJ", "ESD"]) => {
            return Role::Blocks;
        }
        "D" => Conductor::Diode { schottky: schottky(&upper) },
        "JP" | "SJ" | "LK" | "K" | "RT" | "RV" | "FL" | "T" | "M" | "CB" | "RL" | "" => return Role::Unsure,
        _ => return Role::Blocks,
    })
}

/// The role of a part whose two pads the person named.
pub fn named(reference: &str, value: &str) -> Conductor {
    match role(reference, value) {
        Role::Conducts(conductor) => conductor,
        _ if reference.starts_with(['Q', 'U', 'M']) => Conductor::Transistor,
        _ => Conductor::Contact,
    }
}

/// Families of Schottky diodes by the beginnings of their names (common practice).
fn schottky(value: &str) -> bool {
    let families = [
        "SCHOTTKY", "1N58", "BAT", "MBR", "PMEG", "SS1", "SS2", "SS3", "SS5", "SB1", "SK1", "B120", "B130",
        "B140", "B240", "B340", "RB1", "STPS", "SD103",
    ];
    families.iter().any(|family| value.contains(family))
}

/// The first number directly before one of these unit words, with a prefix between: of `2A/32V` before `A` it is 2.
fn number_before(value: &str, units: &[&str]) -> Option<f64> {
    let letters: Vec<char> = value.chars().collect();
    let mut at = 0;
    while let Some(letter) = letters.get(at) {
        if !letter.is_ascii_digit() {
            at += 1;
            continue;
        }
        let end = letters
            .iter()
            .skip(at)
            .position(|c| !c.is_ascii_digit() && *c != '.')
            .map_or(letters.len(), |n| at + n);
        let number: String = letters.get(at..end)?.iter().collect();
        let rest: String = letters.get(end..)?.iter().collect();
        let rest = rest.trim_start();
        let (scale, rest) = scaled(rest);
        let matches = |unit: &str| {
            rest.strip_prefix(unit)
                .is_some_and(|after| !after.starts_with(|c: char| c.is_ascii_alphanumeric()))
        };
        if units.iter().any(|unit| matches(unit)) {
            return Some(number.parse::<f64>().ok()? * scale);
        }
        at = end.max(at + 1);
    }
    None
}

/// A prefix at the beginning of a text, as a factor, and what stands behind it.
fn scaled(text: &str) -> (f64, &str) {
    let prefixes =
        [("n", 1e-9), ("u", 1e-6), ("µ", 1e-6), ("μ", 1e-6), ("m", 1e-3), ("k", 1e3), ("K", 1e3), ("M", 1e6)];
    prefixes.iter().find_map(|(word, scale)| Some((*scale, text.strip_prefix(word)?))).unwrap_or((1.0, text))
}

/// A resistance as people write it on layouts: `0`, `0R`, `0R05`, `R005`, `4K7`, `50m`, `0.05`, `10 ohm`, `10k 1%`. Ohms.
pub fn resistance(value: &str) -> Option<f64> {
    let word = value.split([' ', '/', ',']).find(|word| !word.is_empty())?;
    let word =
        word.trim_end_matches("Ω").trim_end_matches("ohms").trim_end_matches("ohm").trim_end_matches("Ohm");
    let units =
        [('R', 1.0), ('r', 1.0), ('E', 1.0), ('k', 1e3), ('K', 1e3), ('M', 1e6), ('m', 1e-3), ('L', 1e-3)];
    let split =
        word.char_indices().find_map(|(at, c)| Some((at, units.iter().find(|(unit, _)| *unit == c)?.1)));
    let Some((at, scale)) = split else {
        return word.parse().ok().filter(|ohms: &f64| (0.0..1e12).contains(ohms));
    };
    let (whole, rest) = (word.get(..at)?, word.get(at + 1..)?.trim_end_matches(['R', 'r']));
    let digits = |text: &str| text.chars().all(|c| c.is_ascii_digit() || c == '.');
    if !digits(whole) || !digits(rest) || (whole.is_empty() && rest.is_empty()) {
        return None;
    }
    let text = match (rest.is_empty(), whole.is_empty()) {
        (true, _) => whole.to_owned(),
        (false, true) => format!("0.{rest}"),
        (false, false) if whole.contains('.') => return None,
        (false, false) => format!("{whole}.{rest}"),
    };
    Some(text.parse::<f64>().ok()? * scale).filter(|ohms| ohms.is_finite())
}

/// An inductance: `10uH`, `4u7`, `100n`; within what a board file takes.
fn inductance(value: &str) -> Option<Henries> {
    let direct = number_before(value, &["H", ""]);
    let word = value.split_whitespace().next()?.replace(['µ', 'μ'], "u");
    let infix = word.char_indices().find(|(_, c)| matches!(c, 'n' | 'u' | 'm')).and_then(|(at, c)| {
        let (whole, rest) = (word.get(..at)?, word.get(at + 1..)?.trim_end_matches('H'));
        let scale = match c {
            'n' => 1e-9,
            'u' => 1e-6,
            _ => 1e-3,
        };
        Some(format!("{whole}.{rest}0").parse::<f64>().ok()? * scale)
    });
    infix.or(direct).filter(|henries| (1e-9..=10e-3).contains(henries)).map(Henries)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn resistances_as_people_write_them() {
        for (text, ohms) in [
            ("0", Some(0.0)),
            ("0R", Some(0.0)),
            ("0R05", Some(0.05)),
            ("R005", Some(0.005)),
            ("4K7", Some(4700.0)),
            ("50m", Some(0.05)),
            ("50mR", Some(0.05)),
            ("0.1", Some(0.1)),
            ("10 ohm", Some(10.0)),
            ("10k 1%", Some(10e3)),
            ("47Ω", Some(47.0)),
            ("DNP", None),
            ("", None),
            ("RES", None),
        ] {
            let found = resistance(text);
            let same = match (found, ohms) {
                (Some(a), Some(b)) => (a - b).abs() <= 1e-9 * b.max(1.0),
                (None, None) => true,
                _ => false,
            };
            assert!(same, "{text}: {found:?}");
        }
    }

    #[test]
    fn roles_by_reference_and_value() {
        use Conductor::*;
        for (reference, value, wanted) in [
            ("F1", "1A", Role::Conducts(Fuse(Some(Amps(1.0))))),
            ("F2", "500mA fast", Role::Conducts(Fuse(Some(Amps(0.5))))),
            ("F3", "PTC 0.2A", Role::Conducts(Resettable(Some(Amps(0.2))))),
            ("F4", "Fuse", Role::Conducts(Fuse(None))),
            ("FB1", "600R", Role::Conducts(Ferrite)),
            ("L1", "600R@100MHz", Role::Conducts(Ferrite)),
            ("L2", "10uH", Role::Conducts(Inductor(Some(Henries(10e-6))))),
            ("L3", "4u7", Role::Conducts(Inductor(Some(Henries(4.7e-6))))),
            ("R1", "0R05", Role::Conducts(Shunt(Ohms(0.05)))),
            ("R2", "0", Role::Conducts(Link)),
            ("R3", "10k", Role::Blocks),
            ("R4", "?", Role::Unsure),
            ("D1", "1N4004", Role::Conducts(Diode { schottky: false })),
            ("D2", "1N5819", Role::Conducts(Diode { schottky: true })),
            ("D3", "LED red", Role::Blocks),
            ("C1", "100n", Role::Blocks),
            ("JP1", "", Role::Unsure),
            ("SW1", "", Role::Conducts(Switch)),
        ] {
            let found = role(reference, value);
            let close = match (&found, &wanted) {
                (Role::Conducts(Inductor(Some(a))), Role::Conducts(Inductor(Some(b)))) => {
                    (a.0 / b.0 - 1.0).abs() < 1e-9
                }
                _ => found == wanted,
            };
            assert!(close, "{reference} {value}: {found:?}");
        }
    }
}
