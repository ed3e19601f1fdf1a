//! Drill files: XNC, and the Excellon files that it is the plain subset of (IPC-NC-349; from memory of both descriptions).
//!
//! `M48` begins the header with the unit (`METRIC` or `INCH`), which zeros are written (`LZ`, `TZ`), and the tools (`T1C0.8`); `%` or
//! `M95` ends it. Then `T1` takes a tool, `X…Y…` drills, `X…Y…G85X…Y…` drills a slot, `G00`, `M15`, `G01` and `M16` rout one, and `M30` ends
//! the file. Attributes stand in comments that begin with `; #@!`.

use std::collections::HashMap;

use super::attribute::{Attributes, Function};
use super::coordinate::{FARTHEST_MM, Format, bounded, fields};
use super::region::{At, Region, around};
use super::sexpr::SyntaxError;
use crate::plane::apart;

/// Holes of all drill files together; large boards have ten thousand.
pub const MOST_HOLES: usize = 200_000;
/// Tools of a file.
const MOST_TOOLS: usize = 2000;

/// A hole, or a slot.
#[derive(Clone, PartialEq, Debug)]
pub struct Hole {
    /// Finished hole.
    pub copper: Region,
    /// Is its wall plated?
    pub plating: Plating,
    /// First and last copper layer it goes through, from 1; `None` where the file does not say.
    pub span: Option<[usize; 2]>,
    /// What it is for (`.AperFunction`), such as `ViaDrill`; empty where the file does not say.
    pub function: String,
}

/// What a file says of the wall of a hole.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Plating {
    /// Plated.
    Plated,
    /// Not plated.
    Bare,
    /// Nothing.
    Unsaid,
}

impl Hole {
    /// A hole by what its file and its tool say of it.
    pub fn new(copper: Region, file: &[String], tool: &Function) -> Self {
        let plating = |fields: &[String]| match fields.first().map(String::as_str) {
            Some("Plated") => Plating::Plated,
            Some("NonPlated") => Plating::Bare,
            _ => Plating::Unsaid,
        };
        let plated = match plating(tool) {
            Plating::Unsaid => plating(file),
            said => said,
        };
        let layer = |n: usize| file.get(n)?.parse::<usize>().ok();
        let span = layer(1).zip(layer(2)).map(|(a, b)| [a.min(b), a.max(b)]);
        // `Plated,PTH,ViaDrill` in drill files; `ViaDrill` in Gerber files.
        let function = tool.iter().find(|field| field.ends_with("Drill")).cloned().unwrap_or_default();
        Self { copper, plating: plated, span, function }
    }

    /// Its middle.
    pub fn at(&self) -> At {
        let points = self.copper.points();
        match (points.first(), points.last()) {
            (Some([ax, ay]), Some([bx, by])) => [(ax + bx) / 2.0, (ay + by) / 2.0],
            _ => [0.0; 2],
        }
    }
}

/// Is this attribute of a file (`.FileFunction`) that of a drill file?
pub fn is_drilled(function: &[String]) -> bool {
    function.first().is_some_and(|kind| matches!(kind.as_str(), "Plated" | "NonPlated" | "MixedPlating"))
}

/// Does a text begin like a drill file?
pub fn is_drill(text: &str) -> bool {
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty() && *line != "%").take(100);
    let first = lines.into_iter().find(|line| !line.starts_with(';'));
    first.is_some_and(|line| line == "M48")
}

struct Tool {
    diameter_mm: f64,
    function: Function,
}

#[derive(Clone, Copy, PartialEq)]
enum Mode {
    Drill,
    /// The tool moves above the board, or within it along these points.
    Rout {
        down: bool,
        way: u32,
    },
}

struct Reader {
    attributes: Attributes,
    header: bool,
    ended: bool,
    unit_mm: Option<f64>,
    /// Are trailing zeros left out?
    zeros: Option<bool>,
    digits: Option<[usize; 2]>,
    tools: HashMap<u32, Tool>,
    tool: Option<u32>,
    at: At,
    mode: Mode,
    /// Points of the slot being routed.
    routed: Vec<At>,
    /// What a comment of older files says of plating.
    kind: Option<&'static str>,
    drilled: Vec<(Region, Function)>,
}

/// Reads a drill file.
///
/// # Errors
/// A command is not known, a coordinate can be read in two ways, or the file is cut off.
pub fn read(text: &str) -> Result<Vec<Hole>, SyntaxError> {
    let mut reader = Reader {
        attributes: Attributes::default(),
        header: true,
        ended: false,
        unit_mm: None,
        zeros: None,
        digits: None,
        tools: HashMap::new(),
        tool: None,
        at: [0.0; 2],
        mode: Mode::Drill,
        routed: Vec::new(),
        kind: None,
        drilled: Vec::new(),
    };
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        reader.line(line.trim()).map_err(|what| SyntaxError { at, what })?;
        if reader.ended {
            break;
        }
        at += line.len();
    }
    if !reader.ended {
        let what = "the drill file ends before its end mark M30: it is cut off; export it again";
        return Err(SyntaxError { at: text.len(), what: what.into() });
    }
    let mut file = reader.attributes.of_file(".FileFunction").to_vec();
    if let (true, Some(kind)) = (file.is_empty(), reader.kind) {
        file = vec![kind.into()];
    }
    Ok(reader.drilled.into_iter().map(|(copper, tool)| Hole::new(copper, &file, &tool)).collect())
}

impl Reader {
    fn line(&mut self, line: &str) -> Result<(), String> {
        if let Some(comment) = line.strip_prefix(';') {
            return self.comment(comment.trim());
        }
        match line {
            "" | "M48" | "G90" => Ok(()),
            "%" | "M95" => {
                self.header = false;
                Ok(())
            }
            "M71" => self.unit(1.0),
            "M72" => self.unit(25.4),
            "G91" | "ICI" | "ICI,ON" => {
                Err("coordinates are relative to those before them; export with absolute coordinates".into())
            }
            _ if line.starts_with("METRIC") => self.units(line, 1.0),
            _ if line.starts_with("INCH") => self.units(line, 25.4),
            _ if line.starts_with('T') => self.tool(line),
            // What else a header says concerns the machine.
            _ if self.header && line != "M30" => Ok(()),
            _ => self.body(line),
        }
    }

    fn comment(&mut self, comment: &str) -> Result<(), String> {
        if let Some(attribute) = comment.strip_prefix("#@!") {
            self.attributes.take(attribute.trim().trim_end_matches('*'));
        }
        // Two comments that older exports carry.
        match comment {
            "TYPE=PLATED" => self.kind = Some("Plated"),
            "TYPE=NON_PLATED" => self.kind = Some("NonPlated"),
            _ => {}
        }
        if let Some((whole, decimals)) =
            comment.strip_prefix("FILE_FORMAT=").and_then(|text| text.split_once(':'))
        {
            self.digits = whole.trim().parse().ok().zip(decimals.trim().parse().ok()).map(|(a, b)| [a, b]);
        }
        self.digits = self.digits.filter(|digits| digits.iter().all(|count| *count <= 8));
        Ok(())
    }

    fn unit(&mut self, unit_mm: f64) -> Result<(), String> {
        if self.unit_mm.is_some_and(|before| before != unit_mm) {
            return Err("the unit changes within the file".into());
        }
        self.unit_mm = Some(unit_mm);
        Ok(())
    }

    /// `METRIC,TZ,000.000`.
    fn units(&mut self, line: &str, unit_mm: f64) -> Result<(), String> {
        self.unit(unit_mm)?;
        for word in line.split(',').skip(1).map(str::trim) {
            match word.split_once('.') {
                _ if word == "LZ" => self.zeros = Some(true),
                _ if word == "TZ" => self.zeros = Some(false),
                Some((whole, decimals))
                    if word.bytes().all(|b| matches!(b, b'0' | b'.')) && word.len() < 17 =>
                {
                    self.digits = Some([whole.len(), decimals.len()]);
                }
                _ => {
                    return Err(format!("`{}` says nothing of zeros or digits", crate::quantity::clip(word)));
                }
            }
        }
        Ok(())
    }

    /// `T1C0.8` defines a tool, `T1` takes it; feeds and speeds between are the machine's.
    fn tool(&mut self, line: &str) -> Result<(), String> {
        let parts = fields(line)?;
        let part = |letter| parts.iter().find(|(found, _)| *found == letter).map(|(_, digits)| *digits);
        let wrong = || format!("`{}` is no tool", crate::quantity::clip(line));
        let number: u32 = part('T').and_then(|digits| digits.parse().ok()).ok_or_else(wrong)?;
        if let Some(diameter) = part('C') {
            let unit_mm = self.unit_mm.ok_or("a tool stands before METRIC or INCH")?;
            let diameter: f64 = diameter.parse().map_err(|_| wrong())?;
            let diameter_mm = bounded(diameter * unit_mm, FARTHEST_MM)?;
            if diameter_mm <= 0.0 || self.tools.len() >= MOST_TOOLS {
                return Err(wrong());
            }
            self.tools.insert(number, Tool { diameter_mm, function: self.attributes.function() });
        }
        if !self.header {
            self.lift()?;
            // Tool 0 puts the tool back.
            if number != 0 && !self.tools.contains_key(&number) {
                return Err(format!("tool T{number} is not defined"));
            }
            self.tool = Some(number).filter(|number| *number != 0);
        }
        Ok(())
    }

    fn body(&mut self, line: &str) -> Result<(), String> {
        if let Some((from, to)) = line.split_once("G85") {
            let a = self.place(&fields(from)?)?;
            self.at = a;
            let b = self.place(&fields(to)?)?;
            self.at = b;
            return self.drill(vec![a, b]);
        }
        let parts = fields(line)?;
        let unknown = || format!("`{}` is a command that is not known", crate::quantity::clip(line));
        let mut repeat = 0;
        for (letter, digits) in &parts {
            let code = || digits.parse::<u32>().map_err(|_| unknown());
            match (letter, code) {
                ('G', code) => match code()? {
                    0 => {
                        self.lift()?;
                        self.mode = Mode::Rout { down: false, way: 0 };
                    }
                    way @ 1..=3 => match &mut self.mode {
                        Mode::Rout { way: now, .. } => *now = way,
                        Mode::Drill => return Err("a line is routed before G00 begins it".into()),
                    },
                    5 | 81 => {
                        self.lift()?;
                        self.mode = Mode::Drill;
                    }
                    // Compensation, which a slot as wide as its tool does not need; absolute coordinates.
                    40 | 90 => {}
                    _ => return Err(unknown()),
                },
                ('M', code) => match code()? {
                    0 | 30 => {
                        self.lift()?;
                        self.ended = true;
                    }
                    15 => self.plunge(true)?,
                    16 | 17 => self.plunge(false)?,
                    _ => return Err(unknown()),
                },
                ('R', code) => repeat = code()?,
                ('X' | 'Y' | 'I' | 'J' | 'A' | 'N' | 'F' | 'S', _) => {}
                _ => return Err(unknown()),
            }
        }
        if !parts.iter().any(|(letter, _)| matches!(letter, 'X' | 'Y')) {
            return Ok(());
        }
        if repeat > 0 {
            return self.again(repeat, &parts);
        }
        let to = self.place(&parts)?;
        match self.mode {
            Mode::Drill => self.drill(vec![to])?,
            Mode::Rout { down: false, .. } => {}
            Mode::Rout { down: true, way } => {
                let line = self.arc(to, way, &parts)?;
                if self.routed.len() + line.len() > MOST_HOLES {
                    return Err("a slot has more points than any board".into());
                }
                self.routed.extend(line);
            }
        }
        self.at = to;
        Ok(())
    }

    /// `R5X2.54` drills five more, each so much farther.
    fn again(&mut self, repeat: u32, parts: &[(char, &str)]) -> Result<(), String> {
        let from = std::mem::replace(&mut self.at, [0.0; 2]);
        let step = self.place(parts)?;
        self.at = from;
        for _ in 0..repeat {
            let ([x, y], [dx, dy]) = (self.at, step);
            self.at = [bounded(x + dx, FARTHEST_MM)?, bounded(y + dy, FARTHEST_MM)?];
            self.drill(vec![self.at])?;
        }
        Ok(())
    }

    fn place(&self, parts: &[(char, &str)]) -> Result<At, String> {
        let [mut x, mut y] = self.at;
        for (letter, digits) in parts {
            match letter {
                'X' => x = self.length(digits)?,
                'Y' => y = self.length(digits)?,
                _ => {}
            }
        }
        Ok([x, y])
    }

    fn length(&self, digits: &str) -> Result<f64, String> {
        let unit_mm = self.unit_mm.ok_or("a coordinate stands before METRIC or INCH")?;
        let usual = if unit_mm == 1.0 { [3, 3] } else { [2, 4] };
        let format = |zeros| Format::new(zeros, self.digits.unwrap_or(usual)).length(digits, unit_mm);
        match self.zeros {
            Some(zeros) => format(zeros),
            None if digits.contains('.') || digits.bytes().all(|b| matches!(b, b'0' | b'+' | b'-')) => {
                format(false)
            }
            None => Err(format!(
                "`{}` has no decimal point, and the header does not say which zeros are left out (LZ or TZ); export with decimal points",
                crate::quantity::clip(digits)
            )),
        }
    }

    fn drill(&mut self, points: Vec<At>) -> Result<(), String> {
        let tool =
            self.tool.and_then(|number| self.tools.get(&number)).ok_or("a hole is drilled without a tool")?;
        if self.drilled.len() >= MOST_HOLES {
            return Err(format!("there are more than {MOST_HOLES} holes, and no board has so many"));
        }
        self.drilled.push((Region::line(points, tool.diameter_mm), Function::clone(&tool.function)));
        Ok(())
    }

    /// The tool goes down into the board, or up: then what it passed is a slot.
    fn plunge(&mut self, to: bool) -> Result<(), String> {
        let Mode::Rout { down, .. } = &mut self.mode else {
            return Err("a tool goes down or up to rout before G00 begins it".into());
        };
        *down = to;
        self.lift()?;
        if to {
            self.routed = vec![self.at];
        }
        Ok(())
    }

    /// Ends the slot being routed; files that leave `M16` out end it by what comes next.
    fn lift(&mut self) -> Result<(), String> {
        let routed = std::mem::take(&mut self.routed);
        if routed.is_empty() { Ok(()) } else { self.drill(routed) }
    }

    /// The way to a place without its beginning: straight, or an arc of a radius (`A`) or about a centre (`I`, `J`).
    fn arc(&self, to: At, way: u32, parts: &[(char, &str)]) -> Result<Vec<At>, String> {
        if !matches!(way, 2 | 3) {
            return Ok(vec![to]);
        }
        let part =
            |letter| parts.iter().find(|(found, _)| *found == letter).map(|(_, digits)| self.length(digits));
        let ([x, y], [tx, ty], long) = (self.at, to, apart(self.at, to));
        let centre = match (part('A'), part('I'), part('J')) {
            (Some(radius), ..) => {
                let radius = radius?.max(long / 2.0);
                // Of the two centres that of the shorter arc: right of a clockwise chord, left of the other.
                let off =
                    (radius * radius - long * long / 4.0).max(0.0).sqrt() * if way == 2 { -1.0 } else { 1.0 };
                let unit = [(tx - x) / long.max(1e-9), (ty - y) / long.max(1e-9)];
                [(x + tx) / 2.0 - unit[1] * off, (y + ty) / 2.0 + unit[0] * off]
            }
            (None, i, j) => [x + i.unwrap_or(Ok(0.0))?, y + j.unwrap_or(Ok(0.0))?],
        };
        let ([cx, cy], full) = (centre, std::f64::consts::TAU);
        let angle = |[px, py]: At| (py - cy).atan2(px - cx);
        let left = (angle(to) - angle(self.at)).rem_euclid(full);
        let sweep = match (way, long < 1e-9) {
            (2, true) => -full,
            (_, true) => full,
            (2, false) => left - full,
            _ => left,
        };
        let mut points = around(centre, apart(centre, self.at), angle(self.at), sweep);
        points.remove(0);
        points.pop();
        points.push(to);
        Ok(points)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Invented for this test.
    const XNC: &str = "\
M48
; #@! TF.FileFunction,Plated,1,4,PTH
METRIC
; #@! TA.AperFunction,Plated,PTH,ViaDrill
T1C0.3
; #@! TA.AperFunction,Plated,PTH,ComponentDrill
T02C1.0F200S65
%
G90
G05
T1
X1.5Y-2.25
Y3.0
R2X0.5
T2
X10.0Y10.0G85X12.0Y10.0
G00X20.0Y0.0
M15
G01X22.0Y0.0
G03X20.0Y2.0A2.0
M16
G05
X30.0Y1.0
M30
";

    #[test]
    fn hits_slots_and_routs() {
        let holes = read(XNC).unwrap();
        let places: Vec<At> = holes.iter().map(Hole::at).collect();
        assert_eq!(places[..5], [[1.5, -2.25], [1.5, 3.0], [2.0, 3.0], [2.5, 3.0], [11.0, 10.0]]);
        assert_eq!((holes.len(), holes[0].span, holes[0].plating), (7, Some([1, 4]), Plating::Plated));
        assert_eq!((holes[0].function.as_str(), holes[4].function.as_str()), ("ViaDrill", "ComponentDrill"));
        let arc = std::f64::consts::FRAC_PI_2 * 2.0;
        assert!((holes[5].copper.length() - 2.0 - arc).abs() < 0.01, "{}", holes[5].copper.length());
        assert_eq!(holes[5].copper.radius(), 0.5);
    }

    #[test]
    fn zeros_are_left_out_as_the_header_says() {
        for (header, written, wanted) in [
            ("METRIC,TZ", "X1500", 1.5),
            ("METRIC,LZ", "X0015", 1.5),
            ("INCH,TZ", "X1500", 0.15 * 25.4),
            ("INCH,LZ", "X015", 1.5 * 25.4),
            ("METRIC,TZ,000.00", "X150", 1.5),
            (";FILE_FORMAT=4:4\nMETRIC,TZ", "X15000", 1.5),
            ("M72", "X1.5", 1.5 * 25.4),
        ] {
            let holes = read(&format!("M48\n{header}\nT1C0.1\n%\nT1\n{written}Y0\nM30\n")).unwrap();
            assert!((holes[0].at()[0] - wanted).abs() < 1e-9, "{header} {written}: {:?}", holes[0].at());
            assert_eq!(holes[0].plating, Plating::Unsaid);
        }
        let bare = read("M48\n;TYPE=NON_PLATED\nMETRIC\nT1C3.2\n%\nT1\nX0Y0\nM30\n").unwrap();
        assert_eq!(bare[0].plating, Plating::Bare);
    }

    #[test]
    fn what_cannot_be_understood_is_named() {
        let file = |header: &str, body: &str| format!("M48\n{header}\nT1C0.8\n%\n{body}\nM30\n");
        for (header, body, wanted) in [
            ("METRIC", "T1\nX1500Y0", "which zeros are left out"),
            ("", "", "before METRIC or INCH"),
            ("METRIC", "X1.0Y1.0", "without a tool"),
            ("METRIC", "T7\nX1.0", "tool T7 is not defined"),
            ("METRIC", "T1\nX1e9", "is no command"),
            ("METRIC", "T1\nX99999.0", "more than any board has"),
            ("METRIC", "T1\nX1.0\nR4000000000X0.0", "more than 200000 holes"),
            ("METRIC", "T1\nX1.0\nR4000000000X1.0", "more than any board has"),
            ("METRIC", "G91", "relative"),
            ("METRIC", "T1\nM25", "not known"),
            ("METRIC", "M15", "before G00"),
            ("METRIC\nINCH", "", "unit changes"),
        ] {
            let error = read(&file(header, body)).unwrap_err();
            assert!(error.what.contains(wanted), "{header} {body}: {}", error.what);
        }
        for end in 0..XNC.trim_end().len() {
            assert!(read(&XNC[..end]).is_err(), "{end}");
        }
    }
}
