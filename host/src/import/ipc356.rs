//! IPC-D-356A netlists: test points with side, access and place, nets, and conductors where the file has them.
//!
//! Records have fixed columns (from memory of the standard, section 4; pages that quote its table agree): 1–3 operation code, 4–17
//! net, 21–26 reference, 28–31 pin, and from 32 on fields that begin with a letter: `M` midpoint, `D` hole with `P` plated or `U`
//! not, `A` access side (00 both, 01 the first), `X` `Y` place, `X` `Y` size of the land (no `Y`, or 0, where it is round), `R` turn,
//! `S` solder mask. 317 is a hole, 327 a surface land, 367 a hole for tooling, 378 a conductor with 078 as its continuation, 389 an
//! outline. `P UNITS CUST 0` counts ten-thousandths of an inch, `1` micrometres.

use std::collections::HashMap;

use super::coordinate::FARTHEST_MM;
use super::layout::{CopperLayer, Layout, NetId, Pad, Part, PartId, Track, Via};
use super::region::{At, Region};
use super::sexpr::SyntaxError;

/// Records that are read; a file of 64 MiB has fewer.
const MOST_LAYERS: usize = 64;

/// Does a text begin like one? Comments and parameters come first, and every record begins with three digits.
pub fn is_netlist(text: &str) -> bool {
    let mut lines = text.lines().filter(|line| !line.trim().is_empty()).take(50).peekable();
    let head = |line: &str| line.starts_with("P  ") || line.starts_with("C  ") || line.starts_with("P ");
    let starts = lines.peek().is_some_and(|line| head(line) || code(line).is_some());
    starts && lines.all(|line| head(line) || line.starts_with('C') || code(line).is_some())
}

/// The operation code of a record.
fn code(line: &str) -> Option<u32> {
    line.get(..3).filter(|digits| digits.bytes().all(|b| b.is_ascii_digit()))?.parse().ok()
}

struct Reader {
    unit_mm: f64,
    aliases: HashMap<String, String>,
    nets: HashMap<String, NetId>,
    parts: HashMap<String, PartId>,
    layers: usize,
    /// Conductors: net, layer from 1, width, points.
    lines: Vec<(NetId, usize, f64, Vec<At>)>,
    /// Of the conductor being read: where a continuation goes on.
    open: Option<(NetId, usize, f64)>,
    skipped: usize,
    layout: Layout,
}

/// Reads a netlist.
///
/// # Errors
/// A record lacks its place, or a number is none.
pub fn read(text: &str) -> Result<Layout, SyntaxError> {
    let mut reader = Reader {
        unit_mm: 0.00254,
        aliases: HashMap::new(),
        nets: HashMap::new(),
        parts: HashMap::new(),
        layers: 2,
        lines: Vec::new(),
        open: None,
        skipped: 0,
        layout: Layout { format: "IPC-D-356A netlist".into(), ..Layout::default() },
    };
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        reader.line(line.trim_end()).map_err(|what| SyntaxError { at, what })?;
        at += line.len();
    }
    if reader.layout.pads.is_empty() {
        return Err(SyntaxError {
            at: 0,
            what: "the netlist has no test point that belongs to a part".into(),
        });
    }
    Ok(reader.finish())
}

/// Columns of a line, from 1, both included, without the blanks around them.
fn columns(line: &str, from: usize, to: usize) -> String {
    line.chars().skip(from - 1).take(to + 1 - from).collect::<String>().trim().to_owned()
}

impl Reader {
    fn line(&mut self, line: &str) -> Result<(), String> {
        if line.starts_with('P') {
            self.parameter(line);
            return Ok(());
        }
        match code(line) {
            Some(317 | 327 | 307) => self.point(line),
            Some(378) => {
                self.open = None;
                self.conductor(line)
            }
            Some(78) => self.conductor(line),
            Some(389) => self.outline(line),
            // 999 ends the file; tooling holes and what this program has no use for are left out.
            Some(367 | 999) | None => Ok(()),
            Some(_) => {
                self.skipped += 1;
                Ok(())
            }
        }
    }

    fn parameter(&mut self, line: &str) {
        let words: Vec<&str> = line.split_whitespace().skip(1).collect();
        let rest = |n: usize| words.iter().skip(n).copied().collect::<Vec<_>>().join(" ");
        match words.as_slice() {
            ["UNITS", "CUST", "1", ..] | ["UNITS", "SI", ..] => self.unit_mm = 0.001,
            ["UNITS", ..] => self.unit_mm = 0.00254,
            ["TITLE" | "JOB", ..] if self.layout.title.is_empty() => self.layout.title = rest(1),
            ["REV", ..] => self.layout.revision = rest(1),
            [alias, name, ..] if alias.starts_with("NNAME") => {
                self.aliases.insert((*alias).to_owned(), (*name).to_owned());
            }
            _ => {}
        }
    }

    fn net(&mut self, name: String) -> Option<NetId> {
        if name.is_empty() || name == "N/C" {
            return None;
        }
        let name = self.aliases.get(&name).cloned().unwrap_or(name);
        let next = self.layout.nets.len();
        let id = *self.nets.entry(name.clone()).or_insert(next);
        if id == next {
            self.layout.nets.push(name);
        }
        Some(id)
    }

    fn length(&self, digits: &str) -> Result<f64, String> {
        let number: f64 =
            digits.trim().parse().map_err(|_| format!("`{}` is no number", crate::quantity::clip(digits)))?;
        let mm = number * self.unit_mm;
        if mm.abs() <= FARTHEST_MM {
            Ok(mm)
        } else {
            Err(format!("{mm} mm are farther than any board reaches"))
        }
    }

    fn point(&mut self, line: &str) -> Result<(), String> {
        let (net, reference, pin) = (columns(line, 4, 17), columns(line, 21, 26), columns(line, 28, 31));
        let net = self.net(net);
        let fields = fields(&columns(line, 32, 200));
        let mut places = fields.iter().filter(|(letter, _)| matches!(letter, 'X' | 'Y'));
        let (Some(('X', x)), Some(('Y', y))) = (places.next(), places.next()) else {
            return Err("a test point has no place: X and Y from column 42 on".into());
        };
        let at = [self.length(x)?, self.length(y)?];
        let width =
            places.next().filter(|(letter, _)| *letter == 'X').map_or(Ok(0.0), |(_, x)| self.length(x))?;
        let height =
            places.next().filter(|(letter, _)| *letter == 'Y').map_or(Ok(0.0), |(_, y)| self.length(y))?;
        let field =
            |wanted| fields.iter().find(|(letter, _)| *letter == wanted).map(|(_, digits)| digits.as_str());
        let drill = field('D').map(|digits| self.length(digits)).transpose()?.filter(|drill| *drill > 0.0);
        let access: usize = field('A').and_then(|digits| digits.trim().parse().ok()).unwrap_or(0);
        let plated = fields.iter().any(|(letter, _)| *letter == 'P');
        let degrees: f64 = field('R').and_then(|digits| digits.trim().parse().ok()).unwrap_or(0.0);
        if reference == "VIA" || (reference.is_empty() && drill.is_some()) {
            if let (Some(net), Some(drill_mm)) = (net, drill) {
                let land_mm = width.max(drill_mm);
                self.layout.vias.push(Via { net, at, land_mm, drill_mm, layers: [0, 1] });
            }
            return Ok(());
        }
        let hole = drill.filter(|_| plated).map(|drill| Region::disc(at, drill));
        // A land that is not stated is as large as what a pin needs to hit.
        let width = if width > 0.0 { width } else { drill.unwrap_or(0.0).max(0.5) };
        let land = match height {
            height if height > 0.0 => {
                let (w, h) = (width / 2.0, height / 2.0);
                Region::polygon(vec![[-w, -h], [w, -h], [w, h], [-w, h]], 0.0).turned(degrees).moved(at)
            }
            _ => Region::disc(at, width),
        };
        let part = self.part(reference);
        // The last layer is known when all is read: until then it is layer 1.
        let layers = match access {
            0 => vec![0, 1],
            1 => vec![0],
            _ => vec![1],
        };
        let layers = if hole.is_some() { vec![0, 1] } else { layers };
        self.layout.pads.push(Pad { part, number: pin, net, at, copper: vec![land], layers, hole });
        Ok(())
    }

    fn part(&mut self, reference: String) -> PartId {
        let next = self.layout.parts.len();
        let id = *self.parts.entry(reference.clone()).or_insert(next);
        if id == next {
            self.layout.parts.push(Part { reference, value: String::new() });
        }
        id
    }

    /// `L01 X0100 X…Y… X…Y…*X…Y… …`: the layer, the width, and lines; a coordinate that is left out is that before.
    fn conductor(&mut self, line: &str) -> Result<(), String> {
        if self.open.is_none() {
            let Some(net) = self.net(columns(line, 4, 17)) else { return Ok(()) };
            self.open = Some((net, 0, 0.0));
        }
        let Some((net, mut layer, mut width)) = self.open else { return Ok(()) };
        let rest = columns(line, 18, 400);
        let mut new = Vec::new();
        for (n, part) in rest.split('*').enumerate() {
            let mut points: Vec<At> = Vec::new();
            let mut words: Vec<&str> = part.split_whitespace().collect();
            if n == 0 && code(line) == Some(378) {
                let mut head = words.drain(..words.len().min(2));
                layer = head.next().and_then(|word| word.strip_prefix('L')?.parse().ok()).unwrap_or(0);
                let aperture = head.next().map(fields).unwrap_or_default();
                width = aperture
                    .first()
                    .filter(|(letter, _)| *letter == 'X')
                    .map_or(Ok(0.0), |(_, x)| self.length(x))?;
                if !(1..=MOST_LAYERS).contains(&layer) || width <= 0.0 {
                    return Err("a conductor begins with its layer and its width, such as L01 X0100".into());
                }
            } else if n == 0 {
                // A continuation goes on where the line before it ended.
                points.extend(self.lines.last().and_then(|(.., points)| points.last()).copied());
            }
            for word in words {
                let mut at = points
                    .last()
                    .or(new.last().and_then(|points: &Vec<At>| points.last()))
                    .copied()
                    .unwrap_or_default();
                for (letter, digits) in fields(word) {
                    let value = self.length(&digits)?;
                    let [x, y] = at;
                    at = if letter == 'X' { [value, y] } else { [x, value] };
                }
                points.push(at);
            }
            if points.len() > 1 {
                new.push(points);
            }
        }
        self.layers = self.layers.max(layer);
        self.lines.extend(new.into_iter().map(|points| (net, layer, width, points)));
        self.open = Some((net, layer, width));
        Ok(())
    }

    fn outline(&mut self, line: &str) -> Result<(), String> {
        if !columns(line, 4, 17).starts_with("BOARD") {
            return Ok(());
        }
        let mut points: Vec<At> = Vec::new();
        for word in columns(line, 18, 400).split([' ', '*']).filter(|word| !word.is_empty()) {
            let mut at = points.last().copied().unwrap_or_default();
            for (letter, digits) in fields(word) {
                let value = self.length(&digits)?;
                let [x, y] = at;
                at = if letter == 'X' { [value, y] } else { [x, value] };
            }
            points.push(at);
        }
        if points.len() > 2 {
            self.layout.outline = Some(points);
        }
        Ok(())
    }

    fn finish(mut self) -> Layout {
        let back = self.layers - 1;
        let layout = &mut self.layout;
        layout.layers = CopperLayer::evenly(self.layers);
        for pad in &mut layout.pads {
            pad.layers = match pad.layers.as_slice() {
                [0, 1] => (0..=back).collect(),
                [1] => vec![back],
                _ => vec![0],
            };
        }
        layout.vias.iter_mut().for_each(|via| via.layers = [0, back]);
        layout.has_copper = !self.lines.is_empty();
        layout.tracks = std::mem::take(&mut self.lines)
            .into_iter()
            .map(|(net, layer, width, points)| Track {
                net,
                layer: layer - 1,
                copper: Region::line(points, width),
            })
            .collect();
        if !layout.has_copper {
            layout.notes.push(
                "the netlist has no conductors, so what lies between pads is not known: length, width or a reading is asked for".into(),
            );
        }
        if self.skipped > 0 {
            layout.notes.push(format!("{} records of kinds that are not known were left out", self.skipped));
        }
        layout.notes.push("the netlist has no values of parts: kinds are told by references alone".into());
        layout.settle();
        self.layout
    }
}

/// Fields of a letter and what follows it up to the next letter.
fn fields(text: &str) -> Vec<(char, String)> {
    let mut found: Vec<(char, String)> = Vec::new();
    for letter in text.chars() {
        match (letter.is_ascii_alphabetic(), found.last_mut()) {
            (true, _) => found.push((letter, String::new())),
            (false, Some((_, digits))) => digits.push(letter),
            (false, None) => {}
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Columns:             123456789.123456789.123456789.123456789.123456789.123456789.123456789.1234
    const RECORDS: &str = "\
C  Invented for this test
P  JOB   reed relay tester
P  UNITS CUST 1
P  NNAME1  SUPPLY_WITH_A_LONG_NAME
317NNAME1           J1    -1    D1000PA00X+010000Y+020000X1600Y0000R000 S0
327NNAME1           F1    -1          A01X+018000Y+020000X1000Y0500R090 S2
317NNAME1           VIA   -     D0300PA00X+014000Y+020000X0600Y0000R000 S3
327N/C              F1    -2          A02X+022000Y+020000X1000Y0500R000 S2
367TOOL             H1    -1    D3200UA00X+000000Y+000000
378NNAME1           L01 X0500 X010000Y020000 X014000 X018000Y020000
999
";

    #[test]
    fn test_points_have_side_place_and_size() {
        assert!(is_netlist(RECORDS) && !is_netlist("(kicad_pcb)") && !is_netlist("format = 1"));
        let layout = read(RECORDS).unwrap();
        assert_eq!(layout.nets, ["SUPPLY_WITH_A_LONG_NAME"]);
        assert_eq!((layout.pads.len(), layout.vias.len(), layout.tracks.len()), (3, 1, 1));
        let [j1, f1, open] = &layout.pads[..] else { panic!() };
        assert_eq!((layout.pad_name(j1), j1.layers.clone(), j1.net), ("J1.1".into(), vec![0, 1], Some(0)));
        assert_eq!(j1.hole.as_ref().unwrap().radius(), 0.5);
        assert_eq!((f1.layers.clone(), open.layers.clone(), open.net), (vec![0], vec![1], None));
        let [[lx, ly], [hx, hy]] = f1.copper[0].bounds().corners();
        assert!((hx - lx - 0.5).abs() < 1e-9 && (hy - ly - 1.0).abs() < 1e-9, "turned by 90 degrees");
        assert!((f1.at[0] - j1.at[0] - 8.0).abs() < 1e-9);
        assert_eq!(layout.tracks[0].width_mm(), 0.5);
        assert!((layout.tracks[0].copper.length() - 8.0).abs() < 1e-9);
    }

    #[test]
    fn inches_count_ten_thousandths() {
        let layout = read(&RECORDS.replace("CUST 1", "CUST 0")).unwrap();
        assert!((layout.pads[1].at[0] - layout.pads[0].at[0] - 0.8 * 25.4).abs() < 1e-9);
    }

    #[test]
    fn what_is_cut_off_never_panics() {
        for end in 0..RECORDS.len() {
            let _ = read(&RECORDS[..end]);
        }
    }
}
