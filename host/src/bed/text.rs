//! The fixture file of a bed: a new one, or one that is there with its `[pins]` made anew.

use std::fmt::Write as _;

use super::{Bed, Line, Pin};
use crate::board::{Board, PointId, Side};
use crate::fixture::Standard;
use crate::plane::apart;

/// The header of the pins.
const PINS: &str = "[pins]";

/// A whole file; `board_file` is the name it gives to the board file.
pub fn whole(bed: &Bed, board: &Board, board_file: &str) -> String {
    let start = &bed.start;
    let mut text = format!(
        "# A bed of pins for {}, proposed by copperwalk bed. Look at every place before drilling.\nformat = 1\n\n[fixture]\nname = {}\n\
         board = {}\n\n[controller]\nforce_channels = {}\nsense_channels = {}\n\n{PINS}\n{}",
        board.name.replace('\n', " "),
        quoted(&start.name),
        quoted(board_file),
        start.force_channels,
        start.sense_channels,
        pins(bed, board),
    );
    for standard in &start.standards {
        let Standard { name, force, sense, resistance, tolerance, .. } = standard;
        let _ = write!(
            text,
            "\n[[standard]]\nname = {}\nforce = [{}, {}]\nsense = [{}, {}]\nvalue = \"{:.4} ohm\"\ntolerance = \"{} %\"\n",
            quoted(name),
            force[0],
            force[1],
            sense[0],
            sense[1],
            resistance.0,
            tolerance * 100.0,
        );
    }
    text
}

/// The lines of a file with whether each is the first of `[fixture]` that gives this key.
fn referring<'s>(source: &'s str, key: &str) -> impl Iterator<Item = (&'s str, bool)> {
    let (mut inside, mut done) = (false, false);
    source.split_inclusive('\n').map(move |line| {
        let start = line.trim_start();
        if start.starts_with('[') {
            inside = start.starts_with("[fixture]");
        }
        let gives = start.strip_prefix(key).is_some_and(|rest| rest.trim_start().starts_with('='));
        let first = inside && gives && !done;
        done |= first;
        (line, first)
    })
}

/// The file that `[fixture]` refers to with a key.
pub fn reference(source: &str, key: &str) -> Option<String> {
    let (line, _) = referring(source, key).find(|(_, first)| *first)?;
    let table: toml::Table = line.trim().parse().ok()?;
    table.get(key)?.as_str().map(str::to_owned)
}

/// A file that refers to another in `[fixture]` by this name instead.
pub fn with_reference(source: &str, key: &str, name: &str) -> String {
    let line = |(line, first): (&str, bool)| match first {
        true => format!("{key} = {}\n", quoted(name)),
        false => line.to_owned(),
    };
    referring(source, key).map(line).collect()
}

/// A file with its pins made anew, everything else as it is; `None` where `[pins]` is no table with a header of its own.
pub fn with_new_pins(source: &str, bed: &Bed, board: &Board) -> Option<String> {
    let mut at = 0;
    let (mut from, mut to) = (None, source.len());
    for line in source.split_inclusive('\n') {
        let start = line.trim_start();
        match from {
            None if start.trim_end() == PINS || start.starts_with("[pins] ") => from = Some(at + line.len()),
            Some(_) if start.starts_with('[') => {
                to = at;
                break;
            }
            _ => {}
        }
        at += line.len();
    }
    let from = from?;
    let (before, behind) = (source.get(..from)?, source.get(to..)?);
    // What stands right before the next table in comments belongs to that.
    let old = source.get(from..to)?;
    let kept: Vec<&str> = old.lines().rev().take_while(|line| line.starts_with('#')).collect();
    let kept: String = kept.into_iter().rev().map(|line| format!("{line}\n")).collect();
    let gap = if behind.is_empty() { "" } else { "\n" };
    Some(format!("{before}{}{gap}{kept}{behind}", pins(bed, board)))
}

/// The lines of `[pins]`.
fn pins(bed: &Bed, board: &Board) -> String {
    let mut text = String::new();
    for point in (0..board.points.len()).map(PointId::new) {
        let of = |line: Line| bed.pins.iter().find(|pin| (pin.point, pin.line) == (point, line));
        let (force, sense) = (of(Line::Force), of(Line::Sense));
        let Some(any) = force.or(sense) else { continue };
        let own = board.point(point);
        let start = &bed.start.pins[point.index()];
        let mut parts = Vec::new();
        for (line, pin, said) in [(Line::Force, force, start.force_at), (Line::Sense, sense, start.sense_at)]
        {
            parts.extend(pin.map(|pin| format!("{} = {}", line.word(), pin.channel)));
            let says = |pin: &&Pin| said.is_some() || apart(pin.at, own.at) > 1e-6;
            parts.extend(pin.filter(says).map(|pin| {
                format!("{}_at = [{}, {}]", line.word(), millimetres(pin.at[0]), millimetres(pin.at[1]))
            }));
        }
        if own.side == Side::Both {
            parts.push(format!("side = \"{}\"", any.face.word()));
        }
        if start.off_mm != crate::fixture::Pins::default().off_mm && start.sense_at.is_none() {
            parts.push(format!("off = \"{} mm\"", start.off_mm));
        }
        let _ = writeln!(text, "{} = {{ {} }}", quoted(&own.name), parts.join(", "));
    }
    text
}

/// A length with three decimals at most.
fn millimetres(length: f64) -> String {
    let text = format!("{length:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}

/// JSON's way to write a text is one of TOML's, too.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}
