//! Boards made by rule, as long as a test wants them.

use std::fmt::Write;

use crate::cases::Cases;
use copperwalk::board;
use copperwalk::fixture::Fixture;
use copperwalk::problem::Problems;

/// Board and fixture file of a ladder: a path of so many segments winding up the board, traces on the front
/// and on the back in turn with a pair of vias between. One state, no return segments, no standards.
pub fn ladder_text(segments: usize) -> (String, String) {
    (ladder_board(segments), ladder_fixture_text(segments))
}

/// A ladder with its fixture.
///
/// # Errors
/// None, unless the rules for board or fixture files change.
pub fn ladder(segments: usize) -> Result<Fixture, Problems> {
    let (board_text, fixture_text) = ladder_text(segments);
    let board = board::parse("ladder/board.toml", &board_text)?;
    copperwalk::fixture::parse("ladder/fixture.toml", &fixture_text, board)
}

/// A board that branches by chance: a trunk, two to four branches with a load each, a return, insulation between each load and
/// the return; 8 to 40 segments of every kind that a dry look can tell, pins to force at the ends and at some of the points between.
///
/// # Errors
/// None, unless the rules for board or fixture files change.
pub fn branching(seed: u64) -> Result<Fixture, Problems> {
    let (board_text, fixture_text) = branching_text(seed);
    let board = board::parse("branching/board.toml", &board_text)?;
    copperwalk::fixture::parse("branching/fixture.toml", &fixture_text, board)
}

/// Board and fixture file of [`branching`].
pub fn branching_text(seed: u64) -> (String, String) {
    let mut cases = Cases::new(seed ^ 0xB0A2D);
    let mut below = |most: usize| (cases.unit() * most as f64) as usize;
    let mut points = vec!["in+".to_owned()];
    let mut segments: Vec<[usize; 2]> = Vec::new();
    let mut grow = |from: usize, count: usize, points: &mut Vec<String>| {
        let mut last = from;
        for _ in 0..count {
            points.push(format!("p{}", points.len()));
            segments.push([last, points.len() - 1]);
            last = points.len() - 1;
        }
        last
    };
    let trunk = grow(0, 3 + below(5), &mut points);
    let branches = 2 + below(3);
    // One branch goes on where the trunk ends.
    let loads: Vec<usize> = (0..branches)
        .map(|branch| if branch == 0 { trunk } else { 1 + below(trunk) })
        .collect::<Vec<_>>()
        .into_iter()
        .map(|from| grow(from, 2 + below(6), &mut points))
        .collect();
    let ret = points.len();
    points.push("in-".to_owned());
    let mut board = format!(
        "# Invented: a board that branches, for tests.\nformat = 1\n\
         [board]\nname = \"branching {seed}\"\nrevision = \"1\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [105, 0], [105, 105], [0, 105]]\n\
         [supply]\nfrom = \"in+\"\nto = [{}]\nreturn = \"in-\"\n\
         voltage = [\"2 V\", \"3 V\"]\nload = \"50 mA\"\nmax_drop = \"400 mV\"\nbulk = \"1 uF\"\n[points]\n",
        loads.iter().map(|&load| format!("\"{}\"", points[load])).collect::<Vec<_>>().join(", "),
    );
    let mut bed = format!(
        "# Invented: the bed of a board that branches.\nformat = 1\n[fixture]\nname = \"branching bed {seed}\"\n\
         board = \"board.toml\"\n[controller]\nforce_channels = 16\nsense_channels = 64\n[pins]\n"
    );
    let mut force = 0;
    for (number, name) in points.iter().enumerate() {
        let (x, y) = (5 + 9 * (number % 11), 5 + 9 * (number / 11));
        let _ = writeln!(board, "\"{name}\" = {{ at = [{x}, {y}], side = \"front\", kind = \"pad\" }}");
        let end = number == 0 || number == ret || loads.contains(&number);
        let forced = (end || below(6) == 0) && force < 16;
        let pin = if forced { format!("force = {force}, ") } else { String::new() };
        force += usize::from(forced);
        let _ = writeln!(bed, "\"{name}\" = {{ {pin}sense = {number} }}");
    }
    for (number, [from, to]) in segments.iter().enumerate() {
        let shape = match below(8) {
            0 => "kind = \"via\"\ncount = 2\ndrill = \"0.3 mm\"\nplating = \"20 um\"",
            1 => "kind = \"fuse\"\nrating = \"1 A\"",
            2 => "kind = \"ferrite\"",
            3 => "kind = \"connector\"\nmax = \"80 mohm\"",
            4 => "kind = \"joint\"\nmax = \"10 mohm\"",
            _ => "kind = \"trace\"\nlength = \"11 mm\"\nwidth = \"1.5 mm\"",
        };
        let _ = writeln!(
            board,
            "[[segment]]\nname = \"s{number}\"\nfrom = \"{}\"\nto = \"{}\"\n{shape}",
            points[*from], points[*to]
        );
    }
    for &load in &loads {
        let _ =
            writeln!(board, "[[isolation]]\nbetween = [\"{}\", \"in-\"]\nmin = \"20 kohm\"", points[load]);
    }
    (board, bed)
}

fn ladder_board(segments: usize) -> String {
    const RUNG_MM: f64 = 10.0;
    const ACROSS: usize = 10;
    // Points 2k and 2k+1 are the two ends of via k; the path winds left and right.
    let place = |point: usize| {
        let via = point.div_ceil(2);
        let (row, step) = (via / ACROSS, via % ACROSS);
        let column = if row.is_multiple_of(2) { step } else { ACROSS - 1 - step };
        let x = 5.0 + RUNG_MM * column as f64 + if point.is_multiple_of(2) { 0.0 } else { 0.4 };
        [x, 5.0 + RUNG_MM * row as f64]
    };
    let side = |point: usize| {
        if point.div_ceil(2).is_multiple_of(2) == point.is_multiple_of(2) { "front" } else { "back" }
    };
    let height = place(segments)[1] + 15.0;
    let mut text = format!(
        "# Invented: a ladder for tests.\nformat = 1\n\
         [board]\nname = \"ladder\"\nrevision = \"{segments}\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [105, 0], [105, {height}], [0, {height}]]\n\
         [supply]\nfrom = \"p0\"\nto = \"p{segments}\"\nreturn = \"return\"\n\
         voltage = [\"2 V\", \"3 V\"]\nload = \"50 mA\"\nmax_drop = \"1 V\"\n[points]\n\
         \"return\" = {{ at = [1, 1], side = \"back\", kind = \"terminal\" }}\n",
    );
    // Writing to a string cannot fail.
    for point in 0..=segments {
        let ([x, y], side) = (place(point), side(point));
        let _ =
            writeln!(text, "\"p{point}\" = {{ at = [{x:.1}, {y:.1}], side = \"{side}\", kind = \"via\" }}");
    }
    for segment in 0..segments {
        let shape = match segment % 2 {
            0 => "kind = \"trace\"\nlength = \"11 mm\"\nwidth = \"1.5 mm\"",
            _ => "kind = \"via\"\ncount = 2\ndrill = \"0.3 mm\"\nplating = \"20 um\"",
        };
        let _ = writeln!(
            text,
            "[[segment]]\nname = \"s{segment}\"\nfrom = \"p{segment}\"\nto = \"p{}\"\n{shape}",
            segment + 1
        );
    }
    text
}

fn ladder_fixture_text(segments: usize) -> String {
    let mut text = format!(
        "# Invented: the bed of a ladder.\nformat = 1\n[fixture]\nname = \"ladder bed\"\nboard = \"board.toml\"\n\
         [controller]\nforce_channels = 16\nsense_channels = {}\n[pins]\n\
         \"return\" = {{ force = 2, sense = {} }}\n",
        segments + 2,
        segments + 1,
    );
    for point in 0..=segments {
        let force = match point {
            0 => "force = 0, ",
            last if last == segments => "force = 1, ",
            _ => "",
        };
        let _ = writeln!(text, "\"p{point}\" = {{ {force}sense = {point} }}");
    }
    text
}

/// Board and fixture file of a supply whose return is a net of traces, invented: points `g0`, `g1` … joined by traces `t0`, `t1` … of these
/// lengths, mm. The return terminal leads to `g0` by a joint, the load's ground to the last point by a trace. Force pins stand at the
/// terminals, the load and the points in `forced`.
pub fn net_text(points: usize, traces: &[(usize, usize, f64)], forced: &[usize]) -> (String, String) {
    const APART_MM: usize = 8;
    const ACROSS: usize = 6;
    let (wide, high) = (APART_MM * (ACROSS + 2), APART_MM * (points / ACROSS + 4));
    let mut board = format!(
        "# Invented: a return of loops for tests.\nformat = 1\n\
         [board]\nname = \"net\"\nrevision = \"{points}\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [{wide}, 0], [{wide}, {high}], [0, {high}]]\n\
         [supply]\nfrom = \"in\"\nto = \"load\"\nreturn = \"ret\"\n\
         voltage = [\"2 V\", \"3 V\"]\nload = \"50 mA\"\nmax_drop = \"1 V\"\n[points]\n\
         \"in\" = {{ at = [2, 2], side = \"front\", kind = \"terminal\" }}\n\
         \"load\" = {{ at = [6, 2], side = \"front\", kind = \"pad\" }}\n\
         \"ret\" = {{ at = [10, 2], side = \"front\", kind = \"terminal\" }}\n\
         \"gnd\" = {{ at = [14, 2], side = \"front\", kind = \"pad\" }}\n",
    );
    let last = points - 1;
    // Writing to a string cannot fail.
    for point in 0..points {
        let [x, y] = [APART_MM * (point % ACROSS + 1), APART_MM * (point / ACROSS + 1)];
        let _ = writeln!(board, "\"g{point}\" = {{ at = [{x}, {y}], side = \"front\", kind = \"pad\" }}");
    }
    let trace = |name: String, from: String, to: String, length: f64| {
        format!(
            "[[segment]]\nname = \"{name}\"\nkind = \"trace\"\nfrom = \"{from}\"\nto = \"{to}\"\n\
             length = \"{length:.2} mm\"\nwidth = \"1 mm\"\n"
        )
    };
    board.push_str(&trace("feed".into(), "in".into(), "load".into(), 5.0));
    board.push_str("[[segment]]\nname = \"ret joint\"\nkind = \"joint\"\nfrom = \"ret\"\nto = \"g0\"\n");
    for (i, &(from, to, length)) in traces.iter().enumerate() {
        board.push_str(&trace(format!("t{i}"), format!("g{from}"), format!("g{to}"), length));
    }
    board.push_str(&trace("load ground".into(), format!("g{last}"), "gnd".into(), 12.0));
    let mut fixture = format!(
        "# Invented: the bed of a net.\nformat = 1\n[fixture]\nname = \"net bed\"\nboard = \"board.toml\"\n\
         [controller]\nforce_channels = {}\nsense_channels = {}\n[pins]\n\
         \"in\" = {{ force = 0, sense = 0 }}\n\"load\" = {{ force = 1, sense = 1 }}\n\
         \"ret\" = {{ force = 2, sense = 2 }}\n\"gnd\" = {{ force = 3, sense = 3 }}\n",
        points + 4,
        points + 4,
    );
    for point in 0..points {
        let force = if forced.contains(&point) { format!("force = {}, ", point + 4) } else { String::new() };
        let _ = writeln!(fixture, "\"g{point}\" = {{ {force}sense = {} }}", point + 4);
    }
    (board, fixture)
}

/// The same, read.
///
/// # Errors
/// Force pins that do not tell every trace.
pub fn net(points: usize, traces: &[(usize, usize, f64)], forced: &[usize]) -> Result<Fixture, Problems> {
    let (board, fixture) = net_text(points, traces, forced);
    copperwalk::fixture::parse("net/fixture.toml", &fixture, board::parse("net/board.toml", &board)?)
}

/// The fixture file of one of the examples that come with the program.
pub fn example_path(name: &str) -> String {
    format!("{}/../fixtures/{name}/fixture.toml", env!("CARGO_MANIFEST_DIR"))
}

/// One of the examples that come with the program.
///
/// # Panics
/// If it cannot be read.
#[allow(clippy::expect_used, reason = "test equipment: a failed expectation is the message")]
pub fn example(name: &str) -> Fixture {
    copperwalk::fixture::read(example_path(name).as_ref()).expect("an example that passes its own check")
}

/// A lamp on a buoy: a transistor against a reversed battery, a choke, and a Schottky diode in series.
const BUOY_LAMP_BOARD: &str = r#"# Invented: no such product exists.
format = 1
[board]
name = "buoy lamp"
revision = "A"
thickness = "1.6 mm"
copper = "35 um"
outline = [[0, 0], [70, 0], [70, 40], [0, 40]]
[supply]
from = "cell+"
to = "lamp.in"
return = "cell-"
voltage = ["3.0 V", "4.2 V"]
load = "40 mA"
max_drop = "700 mV"
bulk = "10 uF"
[points]
"cell+" = { at = [5, 30], side = "front", kind = "terminal" }
"q.in" = { at = [15, 30], side = "front", kind = "leg" }
"q.out" = { at = [20, 30], side = "front", kind = "leg" }
"fuse.out" = { at = [25, 30], side = "front", kind = "pad" }
"choke.out" = { at = [32, 30], side = "front", kind = "pad" }
"d.out" = { at = [40, 30], side = "front", kind = "leg" }
"lamp.in" = { at = [60, 30], side = "front", kind = "pad" }
"cell-" = { at = [5, 5], side = "front", kind = "terminal" }
[[segment]]
name = "cell trace"
kind = "trace"
from = "cell+"
to = "q.in"
length = "11 mm"
width = "1.2 mm"
max = "12 mohm"
[[segment]]
name = "reverse guard"
kind = "transistor"
from = "q.in"
to = "q.out"
max = "200 mohm"
[[segment]]
name = "main fuse"
kind = "fuse"
from = "q.out"
to = "fuse.out"
rating = "750 mA"
max = "900 mohm"
[[segment]]
name = "choke"
kind = "inductor"
from = "fuse.out"
to = "choke.out"
inductance = "CHOKE"
max = "400 mohm"
[[segment]]
name = "blocking diode"
kind = "diode"
from = "choke.out"
to = "d.out"
max_forward = "0.45 V"
[[segment]]
name = "lamp trace"
kind = "trace"
from = "d.out"
to = "lamp.in"
length = "21 mm"
width = "1.0 mm"
max = "25 mohm"
[[isolation]]
between = ["lamp.in", "cell-"]
min = "20 kohm"
"#;

const BUOY_LAMP_FIXTURE: &str = r#"# Invented.
format = 1
[fixture]
name = "buoy lamp bed"
board = "board.toml"
[controller]
force_channels = 16
sense_channels = 48
[pins]
"cell+" = { force = 0, sense = 0 }
"q.in" = { force = 1, sense = 1 }
"q.out" = { force = 2, sense = 2 }
"fuse.out" = { sense = 3 }
"choke.out" = { force = 3, sense = 4 }
"d.out" = { force = 4, sense = 5 }
"lamp.in" = { force = 5, sense = 6 }
"cell-" = { force = 6, sense = 7 }
"#;

/// Board and fixture file of the buoy lamp; the choke has this inductance.
pub fn buoy_lamp_text(choke: &str) -> (String, String) {
    (BUOY_LAMP_BOARD.replace("CHOKE", choke), BUOY_LAMP_FIXTURE.to_owned())
}

/// The buoy lamp on its bed; the choke has this inductance.
///
/// # Errors
/// A text that is no inductance.
pub fn buoy_lamp(choke: &str) -> Result<Fixture, Problems> {
    let (board_text, fixture_text) = buoy_lamp_text(choke);
    let board = board::parse("buoy-lamp/board.toml", &board_text)?;
    copperwalk::fixture::parse("buoy-lamp/fixture.toml", &fixture_text, board)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ladders_of_every_length_are_sound() {
        for segments in [1, 2, 3, 12, 253, 254, 300, 1000] {
            let fixture = ladder(segments).unwrap_or_else(|problems| panic!("{segments}: {problems}"));
            assert_eq!(fixture.board.segments.len(), segments);
            assert_eq!(fixture.pins.len(), segments + 2);
        }
    }
}
