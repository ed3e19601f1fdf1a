//! What is wrong in a file is said at its place, with the remedy, and nothing else is said.
//!
//! Each case changes one thing in a good example and names the problem that must come of it: words of the
//! message, and words of the line it must point to. One slip makes one problem unless the case says
//! otherwise.
#![allow(clippy::panic)] // helpers outside a test function may fail the test, too

use std::fs;

use copperwalk::problem::{Problems, render};
use copperwalk::report::terminal::{self, Screen};
use copperwalk::{board, check, fixture};

const BOARD: &str = include_str!("../../../fixtures/tide-gauge-head/board.toml");
const FIXTURE: &str = include_str!("../../../fixtures/tide-gauge-head/fixture.toml");

/// Name, text to replace, its replacement, words of the message, words of the line.
type Case = (&'static str, &'static str, &'static str, &'static str, &'static str);

#[rustfmt::skip]
const BOARD_CASES: &[Case] = &[
    // the file as a whole
    ("unknown format", "format = 1", "format = 7", "format 7 is not known", "format = 7"),
    ("no format", "format = 1", "", "the file lacks `format`", ""),
    ("format as text", "format = 1", r#"format = "1""#, "is a string; a whole number is wanted", "format ="),
    ("not TOML", "[board]", "[board", "this is not TOML", "[board"),
    ("key twice", "revision = \"B\"", "revision = \"B\"\nrevision = \"C\"", "this is not TOML: duplicate key", "revision = \"C\""),
    ("unknown table", "[board]", "[bord]\nx = 1\n[board]", "the file has no key `bord`", "[bord]"),
    // [board]
    ("unknown key", "revision =", "colour = \"red\"\nrevision =", "[board] has no key `colour`", "colour"),
    ("missing key", "revision = \"B\"\n", "", "[board] lacks `revision`", "[board]"),
    ("bare number", "thickness = \"1.6 mm\"", "thickness = 1.6", "`thickness` of [board] has no unit", "thickness ="),
    ("number in quotes", "thickness = \"1.6 mm\"", "thickness = \"1.6\"", "`1.6` has no unit; this is a length", "thickness ="),
    ("wrong dimension", "copper = \"35 um\"", "copper = \"35 mohm\"", "is a resistance; a length belongs here", "copper ="),
    ("a thousand times too thick", "copper = \"35 um\"", "copper = \"35 mm\"", "`copper` of [board] is 35 mm", "copper ="),
    ("two corners", "[[0, 0], [64, 0], [64, 40], [0, 40]]", "[[0, 0], [64, 0]]", "the outline of 2 corners is none", "outline"),
    ("crossed outline", "[[0, 0], [64, 0], [64, 40], [0, 40]]", "[[0, 0], [64, 40], [64, 0], [0, 40]]", "the outline crosses itself", "outline"),
    ("flat outline", "[[0, 0], [64, 0], [64, 40], [0, 40]]", "[[0, 0], [64, 0], [32, 0]]", "encloses less than 1 mm²", "outline"),
    ("corner of three", "[64, 40]", "[64, 40, 2]", "has 3 entries; two are wanted", "outline"),
    ("infinite corner", "[64, 40]", "[inf, 40]", "is not within ±2000 mm", "outline"),
    // [supply]
    ("unknown point", "from = \"cell+\"\nto = \"reg.in\"", "from = \"cel+\"\nto = \"reg.in\"", "names the point `cel+`, which does not exist", "from = \"cel+\""),
    ("no load", "to = \"reg.in\"\nreturn", "to = []\nreturn", "names no point", "to = []"),
    ("a load twice", "to = \"reg.in\"\nreturn", "to = [\"reg.in\", \"reg.in\"]\nreturn", "the load `reg.in` is named twice", "to = ["),
    ("load at the start", "to = \"reg.in\"\nreturn", "to = [\"cell+\", \"reg.in\"]\nreturn", "the path to `cell+` has no length", "to = ["),
    ("voltage upside down", r#"["2.0 V", "3.2 V"]"#, r#"["3.2 V", "2.0 V"]"#, "the lowest supply voltage is above the highest", "voltage"),
    ("one voltage", r#"["2.0 V", "3.2 V"]"#, r#""3 V""#, "is a string; a list is wanted", "voltage"),
    ("negative current", "load = \"120 mA\"", "load = \"-120 mA\"", "`load` of [supply] is -120 mA", "load ="),
    ("not a number", "load = \"120 mA\"", "load = \"NaN A\"", "does not begin with a number", "load ="),
    ("infinite", "load = \"120 mA\"", "load = \"1e999 A\"", "is not a finite number", "load ="),
    ("bulk of a car", "bulk = \"47 uF\"", "bulk = \"47 F\"", "`bulk` of [supply] is 47 F", "bulk ="),
    ("a cell that gives", "source = \"0.3 ohm\"", "source = \"-0.3 ohm\"", "`source` of [supply] is -0.3 ohm", "source ="),
    ("a cell in volts", "source = \"0.3 ohm\"", "source = \"0.3 V\"", "is a voltage; a resistance belongs here", "source ="),
    ("brown-out above every supply", "brown_out = \"1.7 V\"", "brown_out = \"3.2 V\"", "`brown_out` is not below the highest supply voltage, 3.20 V", "brown_out ="),
    ("brown-out below nothing", "brown_out = \"1.7 V\"", "brown_out = \"-1.7 V\"", "`brown_out` of [supply] is -1.7 V", "brown_out ="),
    // budget
    ("stated limits too high", "max_drop = \"300 mV\"", "max_drop = \"100 mV\"", "the budget of 833 mΩ cannot be kept: stated limits take 1.45 Ω", "max_drop"),
    // [states]
    ("no states", "off = \"Slide the power switch to OFF\"\non = \"Slide the power switch to ON\"", "", "[states] has 0 states", "[states]"),
    ("a prompt that is none", "off = \"Slide", "off = 3 # \"Slide", "`off` of [states] is an integer", "off ="),
    // [points]
    ("outside the outline", "at = [60.0, 33.0]", "at = [60.0, 43.0]", "point `reg.in` lies outside the outline", "reg.in"),
    ("side of a coin", "[60.0, 33.0], side = \"front\"", "[60.0, 33.0], side = \"heads\"", "`side` of point `reg.in` is `heads`", "reg.in"),
    ("no kind", "at = [60.0, 33.0], side = \"front\", kind = \"pad\"", "at = [60.0, 33.0], side = \"front\"", "point `reg.in` lacks `kind`", "reg.in"),
    ("a place of text", "at = [60.0, 33.0]", "at = \"60, 33\"", "`at` of point `reg.in` is a string; a list is wanted", "reg.in"),
    ("dangling point", "\"reg.in\" = {", "\"spare\" = { at = [9, 9], side = \"back\", kind = \"test\" }\n\"reg.in\" = {", "point `spare` is touched by nothing", "spare"),
    ("a point's name with a tilde", "\"reg.in\" = {", "\"a~b\" = { at = [9, 9], side = \"back\", kind = \"test\" }\n\"reg.in\" = {", "contains `~` or `=`", "a~b"),
    // [[segment]]
    ("unknown kind", "kind = \"fuse\"", "kind = \"fuze\"", "`kind` of segment `cell fuse` is `fuze`", "kind = \"fuze\""),
    ("key of another kind", "rating = \"750 mA\"", "awg = 26", "segment `cell fuse` has no key `awg`", "awg"),
    ("no length", "length = \"18 mm\"\n", "", "segment `tail trace` lacks `length`", "[[segment]]"),
    ("name twice", "name = \"via pair 2\"", "name = \"via pair 1\"", "segment 9 has the name of segment 3: `via pair 1`", "name = \"via pair 1\""),
    ("to nowhere", "to = \"via1.b\"\nlength", "to = \"via9.b\"\nlength", "`to` of segment `tail trace` names the point `via9.b`", "via9.b"),
    ("two segments between the same points", "[[isolation]]\nbetween = [\"cell+\"", "[[segment]]\nname = \"second way\"\nkind = \"joint\"\nfrom = \"fuse.out\"\nto = \"fuse.in\"\n[[isolation]]\nbetween = [\"cell+\"", "these segments join the same two points, and no reading tells them apart: cell fuse, second way", "second way"),
    ("the same in one state", "[[isolation]]\nbetween = [\"cell+\"", "[[segment]]\nname = \"bypass\"\nkind = \"switch\"\nclosed = [\"on\"]\nfrom = \"sw.in\"\nto = \"sw.out\"\n[[isolation]]\nbetween = [\"cell+\"", "in state `on` these segments join the same two points, and no reading tells them apart: power switch, bypass", "bypass"),
    ("a way around a diode", "[[isolation]]\nbetween = [\"cell+\"", "[[segment]]\nname = \"bypass\"\nkind = \"diode\"\nmax_forward = \"0.1 V\"\nfrom = \"fuse.in\"\nto = \"sw.in\"\n[[isolation]]\nbetween = [\"cell+\"", "form a loop with `bypass`, which conducts one way", "bypass"),
    ("loop of one", "[[isolation]]\nbetween = [\"cell+\"", "[[segment]]\nname = \"ring\"\nkind = \"joint\"\nfrom = \"fuse.out\"\nto = \"fuse.out\"\n[[isolation]]\nbetween = [\"cell+\"", "segment `ring` begins and ends at the same point", "ring"),
    ("no state in which it conducts", "kind = \"via\"\nfrom = \"via2.f\"\nto = \"via2.b\"\ncount = 2\ndrill = \"0.3 mm\"\nplating = \"20 um\"\nmax = \"2 mohm\"", "kind = \"switch\"\nfrom = \"via2.f\"\nto = \"via2.b\"\nclosed = [\"off\"]", "no state joins `cell+` to `reg.in`", "to = \"reg.in\""),
    ("limit under its geometry", "max = \"12 mohm\"", "max = \"5 mohm\"", "`max` of segment `tail trace` is below the 7.39 mΩ its geometry gives", "max = \"5 mohm\""),
    ("limit under a healthy part", "max = \"200 mohm\"", "max = \"20 mohm\"", "is below the 60.0 mΩ a healthy one reads", "max = \"20 mohm\""),
    ("min above max", "min = \"200 mohm\"", "min = \"950 mohm\"", "`min` of segment `cell fuse` is above its `max`, 900 mΩ", "min ="),
    ("min above a healthy one", "min = \"200 mohm\"", "min = \"600 mohm\"", "is above the 470 mΩ a healthy one reads", "min ="),
    ("negative resistance", "max = \"12 mohm\"", "max = \"-12 mohm\"", "`max` of segment `tail trace` is -12 mohm", "max = \"-12"),
    ("zero width", "width = \"1.2 mm\"", "width = \"0 mm\"", "`width` of segment `tail trace` is 0 mm", "width = \"0"),
    ("no barrels", "count = 2\ndrill = \"0.3 mm\"\nplating = \"20 um\"\nmax = \"2 mohm\"\n\n[[segment]]\nname = \"fuse feed\"", "count = 0\ndrill = \"0.3 mm\"\nplating = \"20 um\"\nmax = \"2 mohm\"\n\n[[segment]]\nname = \"fuse feed\"", "`count` of segment `via pair 1` is 0", "count = 0"),
    ("half a barrel", "count = 2\ndrill = \"0.3 mm\"\nplating = \"20 um\"\nmax = \"2 mohm\"\n\n[[segment]]\nname = \"fuse feed\"", "count = 1.5\ndrill = \"0.3 mm\"\nplating = \"20 um\"\nmax = \"2 mohm\"\n\n[[segment]]\nname = \"fuse feed\"", "is a float; a whole number is wanted", "count = 1.5"),
    ("plating fills the hole", "plating = \"20 um\"\nmax = \"2 mohm\"\n\n[[segment]]\nname = \"fuse feed\"", "plating = \"150 um\"\nmax = \"2 mohm\"\n\n[[segment]]\nname = \"fuse feed\"", "plating of 150 µm fills a hole of 0.3 mm", "plating = \"150"),
    ("switch without states", "closed = [\"on\"]\n", "", "segment `power switch` lacks `closed`", "[[segment]]"),
    ("switch that never closes", "closed = [\"on\"]", "closed = []", "segment `power switch` never closes", "closed"),
    ("switch in an unknown state", "closed = [\"on\"]", "closed = [\"onn\"]", "names the state `onn`, which does not exist", "closed"),
    ("isolation no meter proves", "open_min = \"100 kohm\"", "open_min = \"1 Mohm\"", "`open_min` of segment `power switch` is 1 Mohm", "open_min"),
    // [[isolation]]
    ("no state", "min = \"50 kohm\"\nstate = \"off\"", "min = \"50 kohm\"", "an [[isolation]] lacks `state`", "[[isolation]]"),
    ("of one point", "between = [\"cell+\", \"cell-\"]", "between = [\"cell+\", \"cell+\"]", "an isolation lies between two points", "between"),
    // [[check]]
    ("a check without a name", "name = \"case seal seated\"", "help = \"look\"", "a [[check]] lacks `name`", "[[check]]"),
    ("a check twice", "name = \"case seal seated\"", "name = \"display lights\"", "check 2 has the name of check 1: `display lights`", "name = \"display lights\""),
    ("a check with another key", "name = \"case seal seated\"", "name = \"case seal seated\"\nhint = \"look\"", "a [[check]] has no key `hint`", "hint"),
    // [[keep_out]]
    ("a keep-out on no side", "[[check]]\nname = \"case", "[[keep_out]]\nside = \"top\"\npolygon = [[1, 1], [2, 1], [2, 2]]\n[[check]]\nname = \"case", "`side` of a [[keep_out]] is `top`", "side = \"top\""),
    ("a keep-out of two corners", "[[check]]\nname = \"case", "[[keep_out]]\nside = \"back\"\npolygon = [[1, 1], [2, 1]]\n[[check]]\nname = \"case", "the keep-out of 2 corners is none", "polygon"),
    ("a crossed keep-out", "[[check]]\nname = \"case", "[[keep_out]]\nside = \"back\"\npolygon = [[1, 1], [9, 9], [9, 1], [1, 9]]\n[[check]]\nname = \"case", "the keep-out crosses itself", "polygon"),
    ("a height without a unit", "[[check]]\nname = \"case", "[[keep_out]]\nside = \"back\"\nheight = 3\npolygon = [[1, 1], [9, 1], [9, 9]]\n[[check]]\nname = \"case", "`height` of a [[keep_out]] has no unit", "height = 3"),
    ("across a segment", "between = [\"cell+\", \"cell-\"]", "between = [\"cell+\", \"tail.in\"]", "segments join `cell+` and `tail.in` in this state", "[[isolation]]"),
];

#[rustfmt::skip]
const FIXTURE_CASES: &[Case] = &[
    ("unknown format", "format = 1", "format = 0", "format 0 is not known", "format = 0"),
    ("no board", "board = \"board.toml\"\n", "", "[fixture] lacks `board`", "[fixture]"),
    ("unknown key", "name = \"tide", "maker = \"me\"\nname = \"tide", "[fixture] has no key `maker`", "maker"),
    ("a channel too many", "\"via3.f\" = { sense = 11 }", "\"via3.f\" = { sense = 48 }", "sense channel 48 of point `via3.f` does not exist", "via3.f"),
    ("no such number", "\"via3.f\" = { sense = 11 }", "\"via3.f\" = { sense = 70000 }", "is 70000", "via3.f"),
    ("a negative channel", "\"via3.f\" = { sense = 11 }", "\"via3.f\" = { sense = -1 }", "is -1", "via3.f"),
    ("a channel twice", "\"via3.f\" = { sense = 11 }", "\"via3.f\" = { sense = 10 }", "sense channel 10 of point `via3.f` already leads to point `via3.b`", "via3.f"),
    ("a standard on a pin's channel", "force = [14, 15]", "force = [14, 4]", "force channel 4 of standard `1R` already leads to point `cell-`", "force = [14, 4]"),
    ("a standard on one channel", "sense = [46, 47]", "sense = [46, 46]", "sense channel 46 of standard `1R` already leads to standard `1R`", "sense = [46"),
    ("unknown point", "\"via3.f\" = {", "\"via3.g\" = { sense = 20 }\n\"via3.f\" = {", "[pins] names the point `via3.g`, which does not exist", "via3.g"),
    ("a pin off the board", "\"reg.in\" = { force = 3, sense = 12 }", "\"reg.in\" = { force = 3, force_at = [64.5, 33], sense = 12 }", "the force pin at `reg.in` stands outside the outline", "reg.in"),
    ("a pin far from its point", "\"reg.in\" = { force = 3, sense = 12 }", "\"reg.in\" = { force = 3, sense = 12, sense_at = [40, 33] }", "the sense pin at `reg.in` stands 20.0 mm from its point", "reg.in"),
    ("a pin on the wrong side", "\"reg.in\" = { force = 3, sense = 12 }", "\"reg.in\" = { force = 3, sense = 12, side = \"back\" }", "the pin at `reg.in` touches the back, and the point is not there", "reg.in"),
    ("a place without its pin", "\"via3.f\" = { sense = 11 }", "\"via3.f\" = { sense = 11, force_at = [57, 31] }", "a place is given for a pin at `via3.f` that is not there", "via3.f"),
    ("a plate of no thickness", "[controller]", "[bed]\nplate = \"0 mm\"\n[controller]", "`plate` of [bed] is 0 mm", "plate"),
    ("end that cannot be forced", "\"reg.in\" = { force = 3, sense = 12 }", "\"reg.in\" = { sense = 12 }", "point `reg.in` is an end of the supply path and has no force pin", "reg.in"),
    ("end that cannot be sensed", "\"reg.in\" = { force = 3, sense = 12 }", "\"reg.in\" = { force = 3 }", "point `reg.in` bounds a segment and has no sense pin", "reg.in"),
    ("return without pins", "\"cell-\" = { force = 4, sense = 13 }\n", "", "point `cell-` is an end of the supply path and has no force and no sense pin", "[pins]"),
    ("segment that cannot be sensed", "\"fuse.in\" = { sense = 4 }\n", "", "point `fuse.in` bounds a segment and has no sense pin", "[pins]"),
    ("a pin to nowhere", "\"fuse.in\" = { sense = 4 }", "\"fuse.in\" = { }", "the pin at `fuse.in` leads nowhere", "fuse.in"),
    ("one channel", "force_channels = 16", "force_channels = 1", "is 1", "force_channels"),
    ("standard without value", "value = \"1.0000 ohm\"\n", "", "standard `1R` lacks `value`", "[[standard]]"),
    ("standard of a length", "value = \"1.0000 ohm\"", "value = \"1.0000 mm\"", "is a length; a resistance belongs here", "value ="),
    ("standard without tolerance", "tolerance = \"0.1 %\"", "tolerance = \"0 %\"", "`tolerance` of standard `1R` is 0 %", "tolerance"),
    ("a standard twice", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[[standard]]\nname = \"1R\"\nforce = [10, 11]\nsense = [42, 43]\nvalue = \"1 ohm\"\ntolerance = \"1 %\"", "a second one has the name `1R`", "[[standard]]"),
    ("a thermometer on a standard's channel", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[[thermometer]]\nname = \"plate\"\nkind = \"Pt1000\"\naccuracy = \"class A\"\nforce = [10, 11]\nsense = [42, 46]", "sense channel 46 of thermometer `plate` already leads to standard `1R`", "sense = [42, 46]"),
    ("a thermometer of another kind", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[[thermometer]]\nname = \"plate\"\nkind = \"Pt100\"\naccuracy = \"class A\"\nforce = [10, 11]\nsense = [42, 43]", "`kind` of thermometer `plate` is `Pt100`", "kind = \"Pt100\""),
    ("a thermometer of no class", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[[thermometer]]\nname = \"plate\"\nkind = \"Pt1000\"\naccuracy = \"class C\"\nforce = [10, 11]\nsense = [42, 43]", "is no class of IEC 60751 known here", "accuracy"),
    ("a thermometer of a length", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[[thermometer]]\nname = \"plate\"\nkind = \"Pt1000\"\naccuracy = \"1 mm\"\nforce = [10, 11]\nsense = [42, 43]", "is a length; a temperature difference belongs here", "accuracy"),
    ("a unit that never rests", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[[thermometer]]\nname = \"plate\"\nkind = \"Pt1000\"\naccuracy = \"class A\"\nforce = [10, 11]\nsense = [42, 43]\nrested = \"30 K\"", "`rested` of thermometer `plate` is 30 K", "rested"),
    ("reach of no state", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[reach]\nup = \"a rod\"", "[reach] names the state `up`, which does not exist", "up = "),
    ("reach by a number", "tolerance = \"0.1 %\"", "tolerance = \"0.1 %\"\n[reach]\non = 7", "`on` of [reach] is an integer", "on = 7"),
    ("a name of 10,000 characters", "name = \"1R\"", "name = \"LONG\"", "has 10000 characters", "name = \"xxxx"),
];

fn edited(text: &str, (name, from, to, ..): &Case) -> String {
    assert_eq!(text.matches(from).count(), 1, "{name}: `{from}` must stand in the example once");
    text.replace(from, to).replace("LONG", &"x".repeat(10_000))
}

/// Is the one problem there is where it should be? If not, everything that helps to see why.
fn judge(case: &Case, text: &str, problems: &Problems) -> Result<(), String> {
    let (name, _, _, message, line) = case;
    let shown = render(problems, 100, false);
    let wrong = |what: String| Err(format!("{name}: {what}\n{shown}"));
    let [problem] = &problems.0[..] else { return wrong(format!("{} problems", problems.0.len())) };
    let there = problem.line().map_or("", |number| text.lines().nth(number - 1).unwrap_or(""));
    if !problem.message.contains(message) {
        wrong(format!("`{message}` is not said"))
    } else if problem.help.is_empty() {
        wrong("no remedy".into())
    } else if !there.contains(line) {
        wrong(format!("the line is `{there}`, not `{line}`"))
    } else if shown.lines().any(|line| line.chars().count() > 160) {
        wrong("too wide".into())
    } else {
        Ok(())
    }
}

fn judge_all(cases: &[Case], text: &str, parse: impl Fn(&str) -> Result<(), Problems>) {
    let failures: Vec<_> = cases
        .iter()
        .filter_map(|case| {
            let text = edited(text, case);
            match parse(&text) {
                Ok(()) => Some(format!("{}: accepted", case.0)),
                Err(problems) => judge(case, &text, &problems).err(),
            }
        })
        .collect();
    assert!(failures.is_empty(), "{}", failures.join("\n\n"));
}

#[test]
fn board_files() {
    judge_all(BOARD_CASES, BOARD, |text| board::parse("board.toml", text).map(|_| ()));
}

#[test]
fn fixture_files() {
    let board = board::parse("board.toml", BOARD).unwrap();
    judge_all(FIXTURE_CASES, FIXTURE, |text| fixture::parse("fixture.toml", text, board.clone()).map(|_| ()));
}

/// A second way around the fuse makes a loop, which the board may have. Its bed has force pins at the two ends of the way alone, and is
/// told the pin that is missing; with it, it is in order.
#[test]
fn a_loop_is_refused_with_the_force_pin_that_would_tell_it() {
    let way = "[[segment]]\nname = \"second way\"\nkind = \"joint\"\nfrom = \"via1.f\"\nto = \"fuse.out\"\n[[isolation]]\nbetween = [\"cell+\"";
    let text = BOARD.replace("[[isolation]]\nbetween = [\"cell+\"", way);
    assert_ne!(text, BOARD);
    let board = board::parse("board.toml", &text).unwrap();
    let problems = fixture::parse("fixture.toml", FIXTURE, board.clone()).unwrap_err();
    let told = problems.to_string();
    let message =
        "no currents between the force pins tell the segments of a loop apart: fuse feed, cell fuse;";
    assert!(told.contains(message) && told.contains("add force to these lines in [pins]: \""), "{told}");
    let point = told.split("[pins]: \"").nth(1).unwrap().split('"').next().unwrap();
    let line = FIXTURE.lines().find(|line| line.starts_with(&format!("\"{point}\""))).unwrap();
    let mended = FIXTURE.replace(line, &line.replace("{ sense", "{ force = 10, sense"));
    assert_ne!(mended, FIXTURE);
    fixture::parse("fixture.toml", &mended, board).unwrap();
}

/// One gap is two problems, however many segments lie beyond it: the load is not reached, the rest hangs in
/// the air.
#[test]
fn a_gap_names_both_sides_of_it() {
    let text =
        BOARD.replace("from = \"sw.out\"\nto = \"via2.f\"", "from = \"sw.out\"\nto = \"spare\"").replace(
            "\"reg.in\" = {",
            "\"spare\" = { at = [45, 19], side = \"front\", kind = \"pad\" }\n\"reg.in\" = {",
        );
    let problems = board::parse("board.toml", &text).unwrap_err();
    assert_eq!(
        problems.to_string(),
        "board.toml:14: no segments join `cell+` to `reg.in`; \
         add the segment that is missing; the path from the supply ends at spare\n\
         board.toml:126: joined to neither the supply nor the return: \
         via pair 2, cross trace, via pair 3, input ferrite; \
         add the segment that is missing between, or leave these out"
    );
}

/// As many checks as somebody answers with care, and one more.
#[test]
fn a_board_has_fifty_checks_at_most() {
    let with = |count: usize| {
        let more: String =
            (2..count).map(|number| format!("[[check]]\nname = \"check {number}\"\n")).collect();
        board::parse("board.toml", &format!("{BOARD}\n{more}"))
    };
    assert_eq!(with(50).unwrap().checks.len(), 50);
    let problems = with(51).unwrap_err();
    let [problem] = &problems.0[..] else { panic!("{problems}") };
    assert_eq!(problem.message, "51 checks are more than anybody answers with care");
    assert_eq!(problem.help, "at most 50");
}

/// All at once, in the order of the file: three kinds of slips and a rule about the whole.
#[test]
fn every_problem_of_a_file_is_shown() {
    let short =
        "[[segment]]\nname = \"short\"\nkind = \"joint\"\nfrom = \"via2.f\"\nto = \"cell-\"\n[[isolation]]";
    let text = BOARD
        .replace("revision =", "colour = \"red\"\nrevision =")
        .replace("load = \"120 mA\"", "load = \"120 mV\"")
        .replace("rating = \"750 mA\"", "rating = 0.75")
        .replacen("[[isolation]]", short, 1);
    let problems = board::parse("board.toml", &text).unwrap_err();
    let found: Vec<_> =
        problems.0.iter().map(|problem| (problem.line().unwrap(), problem.message.as_str())).collect();
    assert_eq!(
        found,
        [
            (7, "[board] has no key `colour`"),
            (16, "segments join `cell+` to `cell-`: that shorts the supply"),
            (18, "`load` of [supply]: `120 mV` is a voltage; a current belongs here"),
            (95, "`rating` of segment `cell fuse` has no unit"),
            (171, "segments join `reg.in` and `cell-` in this state; no isolation can be between them"),
        ]
    );
    let first = "  × [board] has no key `colour`
   ╭─[board.toml:7:1]
 7 │ colour = \"red\"
   · ──────
   ╰────
  help: known: name, revision, thickness, copper, outline
";
    let shown = render(&problems, 80, false);
    assert!(shown.starts_with(first), "{shown}");
    assert!(render(&problems, 80, true).contains("\u{1b}["), "colour where it is asked for");
    assert!(!shown.contains('\u{1b}'), "none where it is not");
}

/// Spring pins of one side need room; those of the other side are not in the way.
#[test]
fn pins_that_collide_are_named() {
    let crowded = |side: &str| {
        let near = format!("at = [25.5, 22.6], side = \"{side}\"");
        let board = BOARD.replace("at = [20.4, 22.0], side = \"front\"", &near);
        fixture::parse("fixture.toml", FIXTURE, board::parse("board.toml", &board).unwrap())
    };
    let problems = crowded("front").unwrap_err();
    assert_eq!(
        problems.to_string(),
        "fixture.toml:18: the pins at `fuse.in` and `via1.f` stand 0.78 mm apart; \
         spring pins need 1 mm; move a point along its copper, or to the other side"
    );
    assert!(crowded("back").is_ok());
}

#[test]
fn a_board_that_is_wrong_is_named_when_its_fixture_is_read() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("board.toml"), BOARD.replace("\"35 um\"", "35")).unwrap();
    fs::write(folder.path().join("fixture.toml"), FIXTURE).unwrap();
    let problems = fixture::read(&folder.path().join("fixture.toml")).unwrap_err();
    assert_eq!(problems.0.len(), 1);
    assert!(problems.to_string().contains("board.toml:9: `copper` of [board] has no unit"), "{problems}");
    fs::remove_file(folder.path().join("board.toml")).unwrap();
    let problems = fixture::read(&folder.path().join("fixture.toml")).unwrap_err();
    assert!(problems.to_string().contains("board.toml cannot be read"), "{problems}");
}

#[test]
fn files_that_are_no_files_to_read() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, bytes: &[u8]| {
        fs::write(folder.path().join(name), bytes).unwrap();
        name.to_owned()
    };
    let truncated = &BOARD[..BOARD.len() / 2];
    for (name, fragment) in [
        ("nonesuch.toml".to_owned(), "cannot be read"),
        (String::new(), "is a folder"),
        (write("empty.toml", b""), "is empty"),
        (write("blank.toml", b" \n\t\n"), "is empty"),
        (write("latin1.toml", b"format = 1\nname = \"\xb5\""), "is not UTF-8 text: byte 19"),
        (write("huge.toml", &vec![b'#'; (1 << 20) + 1]), "is larger than 1024 KiB"),
        (write("truncated.toml", truncated.as_bytes()), ""),
        (write("other.toml", b"format = 1\n"), "is neither a board nor a fixture"),
        (write("both.toml", b"format = 1\n[board]\n[fixture]\n"), "a board and a fixture at once"),
    ] {
        let path = folder.path().join(&name);
        let checked = check::check(&[&path]);
        assert!(!checked[0].usable(), "{name}");
        let report = terminal::check(&checked, Screen { width: 500, colour: false });
        assert!(report.contains(fragment), "{name}: {report}");
        assert!(board::read(&path).is_err(), "{name}");
        assert!(fixture::read(&path).is_err(), "{name}");
    }
}

/// A file of one long line, and one with an escape sequence, reach the terminal short and harmless.
#[test]
fn what_is_shown_cannot_flood_or_steer_a_terminal() {
    let long = format!("format = 1 # {}\nboard = 3", "x".repeat(500_000));
    let escape = "format = 1\n\"\u{1b}[2J\" = 3 \u{1b}[31m\r\n";
    for text in [&long, escape, &"[a]\nb = 1\nb = 1\n".repeat(20_000)] {
        let shown = render(&board::parse("board.toml", text).unwrap_err(), 80, false);
        assert!(shown.len() < 40_000, "{} bytes", shown.len());
        assert!(!shown.contains('\u{1b}') && !shown.contains('\r'), "{shown:?}");
    }
}

/// As bad as a megabyte can be: a thousand segments that name points which do not exist, a thousand unknown
/// keys, names of ten thousand letters. Nobody waits for the list of problems.
#[test]
fn the_worst_megabyte_is_refused_while_somebody_waits() {
    let points: String = (0..1000)
        .map(|i| format!("\"point {i:026}\" = {{ at = [1, 1], side = \"back\", kind = \"pad\" }}\n"))
        .collect();
    let segments: String = (0..1000)
        .map(|i| {
            format!(
                "[[segment]]\nname = \"{i}\"\nkind = \"joint\"\nfrom = \"pnt {i:026}\"\nto = \"{}\"\n",
                "x".repeat(600)
            )
        })
        .collect();
    let (start, _) = BOARD.split_once("[points]").unwrap();
    let keys: String = (0..1000).map(|i| format!("key{i} = 1\n")).collect();
    let text = format!("{keys}{start}[points]\n{points}{segments}");
    let began = std::time::Instant::now();
    let problems = board::parse("board.toml", &text).unwrap_err();
    let shown = render(&problems, 80, false);
    assert!(problems.0.len() >= 3000 && shown.ends_with("more\n"), "{}", problems.0.len());
    assert!(began.elapsed().as_secs() < 20, "{:?}", began.elapsed());
    println!("{} KiB refused with {} problems in {:?}", text.len() / 1024, problems.0.len(), began.elapsed());
}

/// One mistake in each layer: the kind of a segment, a key of another, the budget, the fixture's channels, names and
/// pins. None hides the others, and the segment that takes most of the budget is named.
#[test]
fn no_layer_hides_the_mistakes_of_the_next() {
    let board = BOARD
        .replacen("kind = \"trace\"", "kind = \"trce\"\ncolour = \"red\"", 1)
        .replace("rating = \"750 mA\"", "rating = 0.75")
        .replace("max_drop = \"300 mV\"", "max_drop = \"15 mV\"")
        .replace(
            "at = [20.4, 22.0], side = \"front\", kind = \"via\"",
            "at = [20.4, 22.0], side = \"front\"",
        );
    let fixture = FIXTURE
        .replace("\"via3.f\" = { sense = 11 }", "\"via3.g\" = { sense = 48 }")
        .replace("\"reg.in\" = { force = 3, sense = 12 }", "\"reg.in\" = { sense = 12 }")
        .replace("value = \"1.0000 ohm\"\n", "");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("fixture.toml");
    fs::write(folder.path().join("board.toml"), board).unwrap();
    fs::write(&path, fixture).unwrap();
    let problems = fixture::read(&path).unwrap_err();
    let said = problems.to_string();
    for fragment in [
        "`kind` of segment `tail trace` is `trce`",
        "segment `tail trace` has no key `colour`",
        "`rating` of segment `cell fuse` has no unit",
        "on the way to `reg.in` the budget of 125 mΩ cannot be kept",
        "the largest share is 900 mΩ, `cell fuse`",
        "point `via1.f` lacks `kind`",
        "[pins] names the point `via3.g`, which does not exist",
        "point `reg.in` is an end of the supply path and has no force pin",
        "standard `1R` lacks `value`",
    ] {
        assert!(said.contains(fragment), "{fragment} is not said:\n{said}");
    }
    // What hangs on something that could not be read is not guessed at.
    assert!(!said.contains("touched by nothing") && !said.contains("no segments join"), "{said}");
}

/// A board that cannot even be found does not keep the fixture's own mistakes back.
#[test]
fn a_fixture_without_its_board_is_checked_all_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("fixture.toml");
    for (from, to) in
        [("board = \"board.toml\"", "board = \"nonesuch.toml\""), ("board = \"board.toml\"\n", "")]
    {
        fs::write(&path, FIXTURE.replace(from, to).replace("sense = [46, 47]", "sense = [46, 48]")).unwrap();
        let said = fixture::read(&path).unwrap_err().to_string();
        assert!(
            said.contains("nonesuch.toml cannot be read") || said.contains("[fixture] lacks `board`"),
            "{said}"
        );
        assert!(said.contains("sense channel 48 of standard `1R` does not exist"), "{said}");
        assert_eq!(said.lines().count(), 2, "{said}");
    }
}
