//! Families of spring pins: what a size needs of a plate, and how hard it presses.
//!
//! The sizes built in are no maker's: they are what pins for a grid of 50, 75 and 100 mil commonly need, from memory and not from a data
//! sheet. `pins.toml` says what the pins in the drawer are.

use std::path::Path;

use crate::document::{Item, Sheet, Table, Told};
use crate::problem::Problems;
use crate::quantity::Unit;

/// A size of spring pins with its receptacle. Lengths in mm, forces in N.
#[derive(Clone, PartialEq, Debug)]
pub struct Family {
    /// Name, as it is ordered by.
    pub name: String,
    /// Two of them stand at least so far apart, centre to centre.
    pub pitch_mm: f64,
    /// Drill for the receptacle, a press fit.
    pub drill_mm: f64,
    /// Diameter of the plunger's tip.
    pub diameter_mm: f64,
    /// How far the plunger goes in altogether; it works at two thirds of that (common practice).
    pub travel_mm: f64,
    /// Shape of the tip.
    pub tip: Tip,
    /// Spring force at two thirds of the travel.
    pub force_newton: f64,
}

/// Shape of a tip.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs)]
pub enum Tip {
    Crown,
    Spear,
    Cup,
    Flat,
    Round,
}

/// Every tip with its word.
const TIPS: [(&str, Tip); 5] = [
    ("crown", Tip::Crown),
    ("spear", Tip::Spear),
    ("cup", Tip::Cup),
    ("flat", Tip::Flat),
    ("round", Tip::Round),
];

impl Tip {
    /// The word used in pin files.
    pub fn word(self) -> &'static str {
        TIPS.iter().find(|(_, tip)| *tip == self).map_or("", |(word, _)| word)
    }
}

/// Families to choose from, the widest pitch first. Never empty.
#[derive(Clone, PartialEq, Debug)]
pub struct Families {
    list: Vec<Family>,
    /// Are they the sizes built in, which no data sheet stands behind?
    pub generic: bool,
}

/// Format of pin files that this program reads.
const FORMAT: u32 = 1;
/// Families a file may have.
const MOST: usize = 50;
/// Of its travel, what a pin works at (common practice: makers state the force there).
pub const WORKING: f64 = 2.0 / 3.0;

impl Families {
    /// The sizes built in: grids of 100, 75 and 50 mil. Common practice, from memory.
    pub fn generic() -> Self {
        let family = |name: &str, mil: f64, drill_mm, diameter_mm, travel_mm, force_newton| Family {
            name: name.into(),
            pitch_mm: mil * 0.0254,
            drill_mm,
            diameter_mm,
            travel_mm,
            tip: Tip::Crown,
            force_newton,
        };
        Self {
            list: vec![
                family("100 mil", 100.0, 1.70, 1.0, 6.35, 2.0),
                family("75 mil", 75.0, 1.35, 0.75, 6.35, 1.6),
                family("50 mil", 50.0, 0.95, 0.5, 4.3, 1.2),
            ],
            generic: true,
        }
    }

    /// Reads a pin file.
    ///
    /// # Errors
    /// Everything wrong with the file, all at once.
    pub fn read(path: &Path) -> Result<Self, Problems> {
        Self::of(Sheet::open(path)?)
    }

    fn of(sheet: Sheet) -> Result<Self, Problems> {
        let read = families(&sheet);
        let problems = sheet.into_problems();
        match read {
            Ok(mut list) if !problems.any_error() => {
                list.sort_by(|a, b| b.pitch_mm.total_cmp(&a.pitch_mm));
                Ok(Self { list, generic: false })
            }
            _ => Err(problems),
        }
    }

    /// All of them, the widest pitch first.
    pub fn list(&self) -> &[Family] {
        &self.list
    }

    /// The narrowest pitch of all, mm.
    pub fn narrowest_mm(&self) -> f64 {
        self.list.iter().map(|family| family.pitch_mm).fold(f64::INFINITY, f64::min)
    }
}

fn families(sheet: &Sheet) -> Result<Vec<Family>, Told> {
    let document = sheet.document()?;
    let root = Table::root(sheet, &document);
    root.format(FORMAT)?;
    root.only(&["format", "family"]);
    let tables = root.tables("family")?;
    if !(1..=MOST).contains(&tables.len()) {
        let message = format!("the file has {} families of pins", tables.len());
        return Err(root.refuse(message, format!("write each as `[[family]]`, from 1 to {MOST} of them")));
    }
    let read: Vec<_> = tables.iter().map(family).collect();
    let families = read.into_iter().collect::<Result<Vec<_>, _>>()?;
    for (at, family) in families.iter().enumerate() {
        if families.iter().take(at).any(|other| other.name == family.name) {
            let message = format!("a second family has the name `{}`", family.name);
            root.refuse(message, "pins are ordered by name: give each family its own");
        }
    }
    Ok(families)
}

fn family(item: &Item<'_>) -> Result<Family, Told> {
    let untitled = item.table("a family of pins", "write it as [[family]]")?;
    let name = untitled.must("name", r#"name = "100 mil crown""#).and_then(|item| item.name());
    let title = name.map_or("a family of pins".into(), |name| format!("family `{name}`"));
    let table = item.table(title, "write it as [[family]]")?;
    table.only(&["name", "pitch", "receptacle_drill", "diameter", "travel", "tip", "force"]);
    let length = |key, example: &str, least, most| {
        let example = format!("{key} = \"{example}\"");
        table.must(key, &example).and_then(|item| item.quantity(Unit::Millimetre, least, most))
    };
    let pitch = length("pitch", "100 mil", 0.3, 20.0);
    let drill = length("receptacle_drill", "1.70 mm", 0.1, 15.0);
    let diameter = length("diameter", "1.0 mm", 0.05, 15.0);
    let travel = length("travel", "6.35 mm", 0.2, 30.0);
    let tip = table.must("tip", r#"tip = "crown""#).and_then(|item| item.choice(&TIPS));
    let force =
        table.must("force", r#"force = "1.5 N""#).and_then(|item| item.quantity(Unit::Newton, 0.01, 50.0));
    let (pitch_mm, drill_mm) = (pitch?, drill?);
    if drill_mm >= pitch_mm {
        return Err(table.refuse(
            format!("{} has a drill of {drill_mm:.2} mm and a pitch of {pitch_mm:.2} mm", table.title),
            "holes at that pitch would run into each other: correct one of the two",
        ));
    }
    Ok(Family {
        name: name?.to_owned(),
        pitch_mm,
        drill_mm,
        diameter_mm: diameter?,
        travel_mm: travel?,
        tip: tip?,
        force_newton: force?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: &str = r#"format = 1
[[family]]
name = "drawer 3"
pitch = "75 mil"
receptacle_drill = "1.32 mm"
diameter = "0.64 mm"
travel = "6.3 mm"
tip = "spear"
force = "1.5 N"
"#;

    #[test]
    fn a_pin_file_is_read_and_what_is_wrong_with_it_is_told() {
        let families = Families::of(Sheet::new("pins.toml", ONE)).unwrap();
        assert!((families.list()[0].pitch_mm - 1.905).abs() < 1e-9);
        assert_eq!((families.list()[0].tip.word(), families.generic), ("spear", false));
        for (from, to, message) in [
            ("\"spear\"", "\"spike\"", "none of the words known here"),
            ("\"1.5 N\"", "\"1.5 mm\"", "is a length; a force belongs here"),
            ("\"1.32 mm\"", "\"2 mm\"", "has a drill of 2.00 mm and a pitch of 1.90 mm"),
            ("[[family]]", "[[famly]]", "has no key `famly`"),
            (ONE, "format = 1\n", "the file has 0 families of pins"),
        ] {
            let problems = Families::of(Sheet::new("pins.toml", &ONE.replace(from, to))).unwrap_err();
            assert!(problems.to_string().contains(message), "{problems}");
        }
        let twice = format!("{ONE}{}", ONE.trim_start_matches("format = 1"));
        let problems = Families::of(Sheet::new("pins.toml", &twice)).unwrap_err();
        assert!(problems.to_string().contains("a second family has the name `drawer 3`"), "{problems}");
    }

    /// A hole leaves a wall to the next at the family's own pitch.
    #[test]
    fn the_sizes_built_in_leave_walls() {
        for family in Families::generic().list() {
            assert!(family.pitch_mm - family.drill_mm > 0.25, "{family:?}");
            assert!(family.diameter_mm < family.drill_mm);
        }
    }
}
