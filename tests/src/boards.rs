//! Boards made by rule, as long as a test wants them.

use std::fmt::Write;

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
