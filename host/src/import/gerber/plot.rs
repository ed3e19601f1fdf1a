//! From the commands of a Gerber file to what it draws.

use std::collections::HashMap;
use std::rc::Rc;

use super::aperture::{self, Aperture, Shape, swept};
use super::command::Commands;
use super::image::{Budget, Mark, Object, Placing, points};
use super::macros::Macro;
use crate::import::attribute::{Attributes, Function};
use crate::import::coordinate::{FARTHEST_MM, Format, bounded, fields};
use crate::import::region::{At, Region, around};
use crate::import::sexpr::SyntaxError;
use crate::plane::apart;

/// Blocks in blocks; a repeat counts as one.
const DEEPEST: usize = 16;
/// Apertures of a file.
const MOST_APERTURES: usize = 20_000;
/// Letters of an attribute of apertures or objects.
const LONGEST: usize = 1000;
/// Copies that a repeat makes; a panel has a hundred.
const MOST_COPIES: u64 = 100_000;

/// A Gerber file, read.
pub struct Plot {
    /// Attributes of the file.
    pub attributes: Attributes,
    /// What it draws, in order.
    pub objects: Vec<Object>,
}

/// How `D01` draws.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    Straight,
    Clockwise,
    Counter,
}

/// What objects are being gathered for.
enum Purpose {
    Image,
    Block(u32, Function),
    Repeat { count: [u32; 2], step: At },
}

/// Does a text begin like a Gerber file?
pub fn is_gerber(text: &str) -> bool {
    let text = text.trim_start();
    // An extended command begins with two capitals; a page description does not.
    let extended = text.strip_prefix('%').and_then(|rest| rest.get(..2));
    let extended = extended.is_some_and(|code| code.bytes().all(|b| b.is_ascii_uppercase()) && code != "PD");
    let begins =
        ["G04", "G4 ", "G75", "G74", "G71", "G70", "G90", "G01"].iter().any(|start| text.starts_with(start));
    (extended || begins) && text.contains('*')
}

/// Reads a Gerber file.
///
/// # Errors
/// The notation is broken, the file is cut off, or it comes to more than any board.
pub fn read(text: &str, budget: &mut Budget) -> Result<Plot, SyntaxError> {
    let mut plotter = Plotter {
        budget,
        attributes: Attributes::default(),
        format: None,
        unit_mm: None,
        macros: HashMap::new(),
        apertures: HashMap::new(),
        aperture: None,
        at: [0.0; 2],
        way: Way::Straight,
        quadrants: true,
        operation: None,
        dark: true,
        placing: Placing::PLAIN,
        contours: None,
        frames: vec![(Purpose::Image, Vec::new())],
        ended: false,
    };
    for command in Commands::new(text) {
        let command = command?;
        plotter
            .take(&command.words, command.extended)
            .map_err(|what| SyntaxError { at: command.at, what })?;
        if plotter.ended {
            break;
        }
    }
    let end = |what: String| SyntaxError { at: text.len(), what };
    if !plotter.ended {
        return Err(end("the file ends before its end mark M02: it is cut off; export it again".into()));
    }
    let objects = plotter.finish().map_err(end)?;
    Ok(Plot { attributes: plotter.attributes, objects })
}

struct Plotter<'b> {
    budget: &'b mut Budget,
    attributes: Attributes,
    format: Option<Format>,
    unit_mm: Option<f64>,
    macros: HashMap<String, Macro>,
    apertures: HashMap<u32, Rc<Aperture>>,
    aperture: Option<Rc<Aperture>>,
    at: At,
    way: Way,
    /// May an arc go through several quadrants (`G75`)?
    quadrants: bool,
    /// The last of `D01`, `D02` and `D03`: older files leave it out where it is the same again.
    operation: Option<u32>,
    dark: bool,
    placing: Placing,
    /// Contours of the region being drawn.
    contours: Option<Vec<Vec<At>>>,
    frames: Vec<(Purpose, Vec<Object>)>,
    ended: bool,
}

impl Plotter<'_> {
    fn take(&mut self, words: &[String], extended: bool) -> Result<(), String> {
        match words {
            [first, lines @ ..] if extended && first.starts_with("AM") => {
                if self.macros.len() >= MOST_APERTURES {
                    return Err(format!("there are more than {MOST_APERTURES} aperture macros"));
                }
                let name = first.trim_start_matches("AM").to_owned();
                self.macros.insert(name, Macro::read(lines)?);
                Ok(())
            }
            _ if extended => words.iter().try_for_each(|word| self.extended(word)),
            _ => words.iter().try_for_each(|word| self.word(word)),
        }
    }

    fn unit(&self) -> Result<f64, String> {
        self.unit_mm
            .ok_or_else(|| "the file does not state its unit (MOMM or MOIN) before it needs it".into())
    }

    fn extended(&mut self, word: &str) -> Result<(), String> {
        if word.len() > LONGEST && (word.starts_with("TA") || word.starts_with("TO")) {
            return Err(format!("an attribute has more than {LONGEST} letters"));
        }
        if self.attributes.take(word) {
            return Ok(());
        }
        let (code, rest) = word.split_at_checked(2).unwrap_or((word, ""));
        let unknown = || Err(format!("`{}` is a command that is not known", crate::quantity::clip(word)));
        let number = |text: &str| {
            text.trim().parse::<f64>().map_err(|_| format!("`{}` is no number", crate::quantity::clip(text)))
        };
        match (code, rest) {
            ("FS", _) => self.format = Some(Format::read(word)?),
            ("MO", "MM") => self.unit_mm = Some(1.0),
            ("MO", "IN") => self.unit_mm = Some(25.4),
            ("AD", _) => self.define(rest)?,
            ("AB", "") => self.close_block()?,
            ("AB", _) => {
                let number = rest
                    .strip_prefix('D')
                    .and_then(|n| n.parse().ok())
                    .ok_or("AB wants a number such as D12")?;
                let function = self.attributes.function();
                self.open(Purpose::Block(number, function))?;
            }
            ("SR", _) => self.repeat(rest)?,
            ("LP", "D") => self.dark = true,
            ("LP", "C") => self.dark = false,
            ("LM", "N") => self.placing.mirrored = [false, false],
            ("LM", "X") => self.placing.mirrored = [true, false],
            ("LM", "Y") => self.placing.mirrored = [false, true],
            ("LM", "XY") => self.placing.mirrored = [true, true],
            ("LR", _) => self.placing.degrees = bounded(number(rest)?, 1e6)?,
            ("LS", _) => {
                self.placing.scale = Some(number(rest)?)
                    .filter(|by| (1e-3..=1e3).contains(by))
                    .ok_or("LS scales by no such figure")?;
            }
            // Names are comments; an image that is positive, axes as usual and factors of one are what is read anyway.
            ("IN" | "LN", _) | ("IP", "POS") | ("AS", "AXBY") | ("IR", "0") | ("MI", "A0B0") => {}
            ("OF" | "SF", _)
                if fields(rest).is_ok_and(|parts| {
                    parts.iter().all(|(_, n)| {
                        n.parse::<f64>().is_ok_and(|n| n == if code == "OF" { 0.0 } else { 1.0 })
                    })
                }) => {}
            ("IP" | "AS" | "IR" | "MI" | "OF" | "SF", _) => {
                return Err(format!(
                    "`{}` changes the whole image, which is no longer allowed; export anew",
                    crate::quantity::clip(word)
                ));
            }
            _ => return unknown(),
        }
        Ok(())
    }

    fn define(&mut self, rest: &str) -> Result<(), String> {
        if self.apertures.len() >= MOST_APERTURES {
            return Err(format!("there are more than {MOST_APERTURES} apertures"));
        }
        let unit_mm = self.unit()?;
        let word = rest.strip_prefix('D').ok_or("AD wants a number such as D10")?;
        let (number, shape) = aperture::read(word, &self.macros, unit_mm, self.budget)?;
        let function = self.attributes.function();
        self.apertures.insert(number, Rc::new(Aperture { shape, function }));
        Ok(())
    }

    fn open(&mut self, purpose: Purpose) -> Result<(), String> {
        if self.frames.len() >= DEEPEST {
            return Err(format!("blocks lie more than {DEEPEST} deep in each other"));
        }
        self.frames.push((purpose, Vec::new()));
        Ok(())
    }

    fn close_block(&mut self) -> Result<(), String> {
        match self.frames.pop() {
            Some((Purpose::Block(number, function), objects)) => {
                self.apertures.insert(number, Rc::new(Aperture { shape: Shape::Block(objects), function }));
                Ok(())
            }
            Some(_) | None => Err("AB ends a block, and none was begun".into()),
        }
    }

    /// `SRX2Y3I5.0J4.0` begins a repeat and ends the one before; `SR` ends it.
    fn repeat(&mut self, rest: &str) -> Result<(), String> {
        if matches!(self.frames.last(), Some((Purpose::Repeat { .. }, _))) {
            self.close_repeat()?;
        }
        if rest.is_empty() {
            return Ok(());
        }
        let unit_mm = self.unit()?;
        let parts = fields(rest)?;
        let part = |letter| parts.iter().find(|(found, _)| *found == letter).map(|(_, digits)| *digits);
        let count = |letter| -> Result<u32, String> {
            let text = part(letter).unwrap_or("1");
            let count = text.parse().ok().filter(|count| *count > 0);
            count.ok_or_else(|| format!("a repeat of `{}` is none", crate::quantity::clip(text)))
        };
        let step = |letter| -> Result<f64, String> {
            let text = part(letter).unwrap_or("0");
            let number: f64 =
                text.parse().map_err(|_| format!("`{}` is no number", crate::quantity::clip(text)))?;
            bounded(number * unit_mm, FARTHEST_MM)
        };
        let ([x, y], step) = ([count('X')?, count('Y')?], [step('I')?, step('J')?]);
        if u64::from(x) * u64::from(y) > MOST_COPIES {
            return Err(format!("a repeat makes {x} × {y} copies, and no board has more than {MOST_COPIES}"));
        }
        // One copy is what stands there already.
        if [x, y] == [1, 1] {
            return Ok(());
        }
        self.open(Purpose::Repeat { count: [x, y], step })
    }

    fn close_repeat(&mut self) -> Result<(), String> {
        let Some((Purpose::Repeat { count: [nx, ny], step: [dx, dy] }, objects)) = self.frames.pop() else {
            return Err("SR ends a repeat, and none was begun".into());
        };
        let copies = nx as usize * ny as usize;
        self.budget.spend(objects.len().saturating_mul(copies), points(&objects).saturating_mul(copies))?;
        for (x, y) in (0..nx).flat_map(|x| (0..ny).map(move |y| (x, y))) {
            let at = [bounded(f64::from(x) * dx, FARTHEST_MM)?, bounded(f64::from(y) * dy, FARTHEST_MM)?];
            let copies = objects.iter().map(|object| Placing::PLAIN.object(object, at, true));
            self.frames.last_mut().ok_or("SR has nothing to repeat for")?.1.extend(copies);
        }
        Ok(())
    }

    fn word(&mut self, word: &str) -> Result<(), String> {
        let mut place = [None; 2];
        let mut offset = [0.0; 2];
        let mut operation = None;
        for (letter, digits) in fields(word)? {
            let code = || {
                digits.parse::<u32>().map_err(|_| format!("`{}` is no command", crate::quantity::clip(word)))
            };
            match letter {
                'X' => place[0] = Some(self.length(digits)?),
                'Y' => place[1] = Some(self.length(digits)?),
                'I' => offset[0] = self.length(digits)?,
                'J' => offset[1] = self.length(digits)?,
                'G' => self.general(code()?)?,
                'D' => match code()? {
                    code @ 1..=3 => operation = Some(code),
                    number => {
                        let found = self.apertures.get(&number);
                        self.aperture = Some(Rc::clone(
                            found.ok_or_else(|| format!("aperture D{number} is not defined"))?,
                        ));
                    }
                },
                'M' if matches!(code()?, 0 | 2) => self.ended = true,
                // A stop that means nothing, and line numbers.
                'M' | 'N' => {}
                _ => return Err(format!("`{}` is a command that is not known", crate::quantity::clip(word))),
            }
        }
        if place != [None; 2] || operation.is_some() || offset != [0.0; 2] {
            self.operation = operation.or(self.operation);
            let [x, y] = self.at;
            let to = [place[0].unwrap_or(x), place[1].unwrap_or(y)];
            match self.operation {
                Some(1) => self.draw(to, offset)?,
                Some(2) => self.carry(to),
                Some(3) => self.flash(to)?,
                _ => return Err("a coordinate stands before the first D01, D02 or D03".into()),
            }
            self.at = to;
        }
        Ok(())
    }

    fn length(&self, digits: &str) -> Result<f64, String> {
        let format = self.format.ok_or("a coordinate stands before its format (FS)")?;
        format.length(digits, self.unit()?)
    }

    fn general(&mut self, code: u32) -> Result<(), String> {
        match code {
            1 => self.way = Way::Straight,
            2 => self.way = Way::Clockwise,
            3 => self.way = Way::Counter,
            36 => self.contours = Some(Vec::new()),
            37 => self.close_region()?,
            70 => self.unit_mm = Some(25.4),
            71 => self.unit_mm = Some(1.0),
            74 => self.quadrants = false,
            75 => self.quadrants = true,
            // Codes that older files put before what means the same without them.
            54 | 55 | 90 => {}
            91 => {
                return Err(
                    "coordinates are relative to those before them; export with absolute coordinates".into(),
                );
            }
            _ => return Err(format!("G{code} is a command that is not known")),
        }
        Ok(())
    }

    /// Adds an object of what is drawn now.
    fn add(&mut self, mark: Mark, copper: Vec<Region>, function: &Function) -> Result<(), String> {
        self.budget.spend(1, copper.iter().map(|region| region.points().len()).sum())?;
        let tags = self.attributes.tags(function);
        let (_, objects) = self.frames.last_mut().ok_or("a block is closed twice")?;
        objects.push(Object { mark, copper, dark: self.dark, tags });
        Ok(())
    }

    fn carry(&mut self, to: At) {
        if let Some(contours) = &mut self.contours {
            contours.push(vec![to]);
        }
    }

    fn draw(&mut self, to: At, offset: At) -> Result<(), String> {
        let from = self.at;
        let line = if self.way == Way::Straight { vec![from, to] } else { self.arc(from, to, offset)? };
        if let Some(contours) = &mut self.contours {
            self.budget.spend(0, line.len())?;
            match contours.last_mut() {
                Some(contour) => contour.extend(line.into_iter().skip(1)),
                None => contours.push(line),
            }
            return Ok(());
        }
        let aperture = self.aperture.clone().ok_or("a line is drawn before an aperture is chosen")?;
        match &aperture.shape {
            Shape::Round(diameter) => self.add(
                Mark::Draw,
                vec![Region::line(line, diameter * self.placing.scale)],
                &aperture.function,
            ),
            Shape::Other(regions) => {
                let placed: Vec<Region> =
                    regions.iter().map(|region| self.placing.region(region, [0.0; 2])).collect();
                let ways = line.iter().zip(line.iter().skip(1)).map(|(a, b)| swept(&placed, *a, *b));
                let ways: Option<Vec<Region>> = ways.collect();
                let ways = ways.ok_or("a line is drawn with a composed aperture, which is not allowed")?;
                self.add(Mark::Area, ways, &aperture.function)
            }
            Shape::Block(_) => Err("a line is drawn with a block, which is not allowed".into()),
        }
    }

    /// An arc as chords. Where it may go through one quadrant only, the signs of the offset are not written: of the four centres
    /// that is taken from which both ends are equally far and the arc is a quarter at most.
    fn arc(&self, from: At, to: At, [i, j]: At) -> Result<Vec<At>, String> {
        let full = std::f64::consts::TAU;
        let ([x, y], clockwise) = (from, self.way == Way::Clockwise);
        let sweep = |[cx, cy]: At| {
            let angle = |[px, py]: At| (py - cy).atan2(px - cx);
            let left = (angle(to) - angle(from)).rem_euclid(full);
            match (clockwise, from == to) {
                (_, true) if !self.quadrants => 0.0,
                (true, true) => -full,
                (false, true) => full,
                (false, false) => left,
                (true, false) => left - full,
            }
        };
        let centre = if self.quadrants {
            [x + i, y + j]
        } else {
            let signs = [[i, j], [-i, j], [i, -j], [-i, -j]].map(|[i, j]| [x + i, y + j]);
            let short = signs.into_iter().filter(|centre| sweep(*centre).abs() <= full / 4.0 + 1e-3);
            let off = |centre: &At| (apart(*centre, from) - apart(*centre, to)).abs();
            short.min_by(|a, b| off(a).total_cmp(&off(b))).ok_or("no arc of a quarter joins these ends")?
        };
        let radius = apart(centre, from);
        // The specification lets ends lie off by rounding; an arc of no radius is a line.
        if radius < 1e-6 {
            return Ok(vec![from, to]);
        }
        if (radius - apart(centre, to)).abs() > 0.1_f64.max(0.05 * radius) {
            return Err("the ends of an arc lie at different distances from its centre".into());
        }
        let [cx, cy] = centre;
        let mut chords = around(centre, radius, (y - cy).atan2(x - cx), sweep(centre));
        if let Some(first) = chords.first_mut() {
            *first = from;
        }
        if let Some(last) = chords.last_mut() {
            *last = to;
        }
        Ok(chords)
    }

    fn close_region(&mut self) -> Result<(), String> {
        let contours = self.contours.take().ok_or("G37 ends a region, and none was begun")?;
        let areas: Vec<Region> = contours
            .into_iter()
            .filter(|points| points.len() > 2)
            .map(|points| Region::polygon(points, 0.0))
            .collect();
        if areas.is_empty() {
            return Ok(());
        }
        let function = self.attributes.function();
        self.add(Mark::Area, areas, &function)
    }

    fn flash(&mut self, at: At) -> Result<(), String> {
        if self.contours.is_some() {
            return Err("an aperture is flashed within a region".into());
        }
        let aperture = self.aperture.clone().ok_or("a flash stands before an aperture is chosen")?;
        let placing = self.placing;
        match &aperture.shape {
            Shape::Round(diameter) => {
                let disc = Region::disc(at, diameter * placing.scale);
                self.add(Mark::Flash(at), vec![disc], &aperture.function)
            }
            Shape::Other(regions) => {
                let copper = regions.iter().map(|region| placing.region(region, at)).collect();
                self.add(Mark::Flash(at), copper, &aperture.function)
            }
            Shape::Block(objects) => {
                self.budget.spend(objects.len(), points(objects))?;
                let dark = self.dark;
                let (_, into) = self.frames.last_mut().ok_or("a block is closed twice")?;
                into.extend(objects.iter().map(|object| placing.object(object, at, dark)));
                Ok(())
            }
        }
    }

    fn finish(&mut self) -> Result<Vec<Object>, String> {
        if matches!(self.frames.last(), Some((Purpose::Repeat { .. }, _))) {
            self.close_repeat()?;
        }
        if self.contours.is_some() {
            return Err("the last region is not closed".into());
        }
        match (self.frames.pop(), self.frames.is_empty()) {
            (Some((Purpose::Image, objects)), true) => Ok(objects),
            _ => Err("a block is not closed".into()),
        }
    }
}
