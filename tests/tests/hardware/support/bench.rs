//! Reads what `hardware/` says about the bench: pin map, parts list, netlist, the front end's elements.

#![allow(dead_code, reason = "each test file uses its own part of this")]

use std::{collections::BTreeMap, fs, path::PathBuf};

/// A file of the repository, as text.
pub fn read(path: &str) -> String {
    fs::read_to_string(file(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// Where a file of the repository is.
pub fn file(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..").join(path)
}

/// Rows of a CSV file under its header; a field in double quotes may hold commas.
pub fn csv(path: &str) -> Vec<BTreeMap<String, String>> {
    let text = read(path);
    let mut lines = text.lines().map(fields);
    let header = lines.next().unwrap_or_default();
    lines
        .map(|row| {
            assert_eq!(row.len(), header.len(), "{path}: a row of another length than the header: {row:?}");
            header.iter().cloned().zip(row).collect()
        })
        .collect()
}

fn fields(line: &str) -> Vec<String> {
    let (mut row, mut quoted) = (vec![String::new()], false);
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ',' if !quoted => row.push(String::new()),
            _ => row.last_mut().unwrap().push(letter),
        }
    }
    row
}

/// A part of `hardware/parts.csv`.
pub struct Part {
    pub name: String,
    pub count: String,
    pub large: u32,
    pub small: u32,
    pub watts: Option<f64>,
    /// References; a package of two diodes carries both, joined by `+` in the file.
    pub refs: Vec<Vec<String>>,
}

/// The parts list.
pub fn parts() -> Vec<Part> {
    let number = |text: &String| text.parse().unwrap_or_else(|_| panic!("parts.csv: {text} is no number"));
    csv("hardware/parts.csv")
        .into_iter()
        .map(|row| Part {
            name: row["part"].clone(),
            count: row["count"].clone(),
            large: number(&row["16+48"]),
            small: number(&row["8+24"]),
            watts: row["watts"].parse().ok(),
            refs: row["refs"]
                .split_whitespace()
                .map(|package| package.split('+').map(str::to_owned).collect())
                .collect(),
        })
        .collect()
}

/// An element of the front end: its reference and the nodes and value after it.
pub struct Element {
    pub name: String,
    pub words: Vec<String>,
}

impl Element {
    /// Whether it is soldered, or only drawn to stand for something inside a part.
    pub fn soldered(&self) -> bool {
        !matches!(self.name.as_str(), "V5" | "BU2" | "DU2" | "BIDAC")
    }

    /// The reference on the parts list: `XU1A` is a quarter of `U1`, `XK1` is `K1`.
    pub fn part(&self) -> &str {
        let name = self.name.strip_prefix('X').unwrap_or(&self.name);
        if name.starts_with("U1") { "U1" } else { name }
    }

    /// How many of the words are nodes.
    pub fn nodes(&self) -> &[String] {
        let count = match (self.name.as_bytes()[0], self.name.as_str()) {
            (b'R' | b'C' | b'D' | b'V' | b'B', _) => 2,
            (b'Q', _) => 3,
            (b'M', _) => 4,
            _ => self.words.len() - 1,
        };
        &self.words[..count]
    }

    /// The value of a resistor, ohm, without the tolerance a deck multiplies it by.
    pub fn ohms(&self) -> f64 {
        let text = self.words[2].trim_matches(['{', '}']);
        let text = text.split('*').next().unwrap_or(text);
        let (digits, factor) = text.strip_suffix('k').map_or((text, 1.0), |digits| (digits, 1e3));
        factor * digits.parse::<f64>().unwrap_or_else(|_| panic!("{}: {text} is no resistance", self.name))
    }
}

/// Every element of `front-end.inc` outside its models.
pub fn front_end() -> Vec<Element> {
    let text = read("hardware/spice/front-end.inc");
    let circuit = text.split(".model").next().unwrap();
    circuit
        .lines()
        .filter(|line| line.starts_with(|first: char| first.is_ascii_alphabetic()))
        .map(|line| {
            let mut words = line.split_whitespace().map(str::to_owned);
            Element { name: words.next().unwrap(), words: words.collect() }
        })
        .collect()
}
