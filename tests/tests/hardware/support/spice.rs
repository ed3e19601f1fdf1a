//! Runs a deck of `hardware/spice` through ngspice and reads what it prints.
//!
//! A deck prints `case label=value …` and then `name = number` lines; each case becomes a [`Case`]. A deck that prints
//! nothing, a value that is missing and an ngspice that is not installed are failures: a claim nobody checked is no claim.

use std::{collections::BTreeMap, path::PathBuf, process::Command};

/// One operating point, or one stretch of a transient: what was set, and what came out.
#[derive(Debug, Default)]
pub struct Case {
    labels: BTreeMap<String, String>,
    values: BTreeMap<String, f64>,
}

impl Case {
    /// A label's text.
    pub fn text(&self, label: &str) -> &str {
        self.labels.get(label).unwrap_or_else(|| panic!("no label {label} in {self:?}"))
    }

    /// A label as a number; ngspice's `k` and `m` for kilo and milli are not used as labels but for `200k`.
    pub fn setting(&self, label: &str) -> f64 {
        let text = self.text(label);
        let (digits, factor) = text.strip_suffix('k').map_or((text, 1.0), |digits| (digits, 1e3));
        factor * digits.parse::<f64>().unwrap_or_else(|_| panic!("{label}={text} is no number"))
    }

    /// What the deck printed under this name.
    pub fn value(&self, name: &str) -> f64 {
        *self.values.get(name).unwrap_or_else(|| panic!("the deck printed no {name} for {:?}", self.labels))
    }

    /// Everything printed.
    pub fn values(&self) -> impl Iterator<Item = (&str, f64)> {
        self.values.iter().map(|(name, &value)| (name.as_str(), value))
    }
}

/// Runs `hardware/spice/NAME.cir`.
pub fn run(name: &str) -> Vec<Case> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../hardware/spice");
    let output = Command::new("ngspice")
        .arg("-b")
        .arg(format!("{name}.cir"))
        .current_dir(&folder)
        .env("SPICE_ASCIIRAWFILE", "1")
        .output()
        .unwrap_or_else(|error| {
            panic!("cannot run ngspice ({error}); install the Debian package `ngspice`: the front end is proven with it")
        });
    let printed = String::from_utf8_lossy(&output.stdout);
    let cases = read(&printed);
    assert!(
        !cases.is_empty(),
        "{name}.cir printed no case:\n{printed}\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    cases
}

fn read(printed: &str) -> Vec<Case> {
    let mut cases: Vec<Case> = Vec::new();
    for line in printed.lines() {
        if let Some(labels) = line.strip_prefix("case ") {
            let pairs = labels.split_whitespace().filter_map(|word| word.split_once('='));
            cases.push(Case {
                labels: pairs.map(|(name, value)| (name.to_owned(), value.to_owned())).collect(),
                ..Case::default()
            });
        } else if let (Some(case), Some((name, rest))) =
            (cases.last_mut(), line.split_once(" = ").or(line.split_once("= ")))
            && let Some(Ok(value)) = rest.split_whitespace().next().map(str::parse::<f64>)
        {
            case.values.insert(name.trim().to_owned(), value);
        }
    }
    cases
}
