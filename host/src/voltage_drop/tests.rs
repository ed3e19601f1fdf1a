//! Boards whose figures were worked out by hand.

use super::*;
use crate::board::{self, Board, StateId};
use crate::limits::LimitSet;
use crate::quantity::{Celsius, Ohms, Volts};
use crate::sweep::SegmentRow;
use crate::verdict::{Class, Verdict};

const AT_20: Conditions = Conditions { temperature: [Celsius(20.0); 2] };

/// Two terminals, a load `l` and one `m`, with these lines under [supply], segments and states.
fn parsed(supply: &str, rest: &str) -> Result<Board, String> {
    let points: String = ["a", "b", "c", "d", "l", "m", "r", "s", "t"]
        .iter()
        .filter(|name| rest.contains(&format!("\"{name}\"")) || ["a", "l", "r"].contains(name))
        .enumerate()
        .map(|(i, name)| {
            format!("{name} = {{ at = [{}, 5], side = \"front\", kind = \"pad\" }}\n", 5 + 4 * i)
        })
        .collect();
    let (states, segments) = rest.split_once("----").unwrap_or(("", rest));
    let text = format!(
        "format = 1\n[board]\nname = \"by hand\"\nrevision = \"A\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [60, 0], [60, 20], [0, 20]]\n[supply]\nfrom = \"a\"\nreturn = \"r\"\n{supply}\n{states}\n[points]\n{points}\n{segments}"
    );
    board::parse("board.toml", &text).map_err(|problems| format!("{problems}\n{text}"))
}

fn board(supply: &str, rest: &str) -> Board {
    parsed(supply, rest).unwrap()
}

fn segment(name: &str, kind: &str, from: &str, to: &str, more: &str) -> String {
    format!("[[segment]]\nname = \"{name}\"\nkind = \"{kind}\"\nfrom = \"{from}\"\nto = \"{to}\"\n{more}\n")
}

/// A trace, a shunt and the way back over a joint: no copper but the trace.
fn line(supply: &str) -> Board {
    let rest = [
        segment("trace", "trace", "a", "b", "length = \"4 mm\"\nwidth = \"0.5 mm\"\nmax = \"10 mohm\""),
        segment("shunt", "shunt", "b", "l", "value = \"100 mohm\"\nmin = \"90 mohm\"\nmax = \"110 mohm\""),
        segment("joint", "joint", "r", "s", "max = \"20 mohm\""),
    ];
    board(
        &format!(
            "to = \"l\"\nvoltage = [\"2.0 V\", \"3.0 V\"]\nload = \"500 mA\"\nmax_drop = \"100 mV\"\n{supply}"
        ),
        &rest.concat(),
    )
}

fn near(found: Volts, expected: f64) {
    assert!((found.0 - expected).abs() < 1e-9, "{found:?}, not {expected}");
}

/// By hand, at 20 °C: 10 + 110 + 20 mΩ and a cell of 300 mΩ at 0.5 A cost 70 and 150 mV.
#[test]
fn limits_in_series_cost_their_sum() {
    let board = line("source = \"0.3 ohm\"\nbrown_out = \"1.7 V\"");
    let sheet = by_limits(&board, &LimitSet::of_board(&board), AT_20);
    let [load] = &sheet.loads[..] else { panic!("{sheet:?}") };
    near(load.lowest, 2.0 - 0.22);
    near(load.margin, 0.08);
    near(load.drop, 0.22);
    // 4 mm by 0.5 mm of 35 µm: at least 4/58/(0.5·35)/(1.2·1.3) Ω; the joint may have nothing.
    let trace = 4e-3 / 58.0 / (0.5 * 35e-3) / 1.56;
    near(load.highest, 3.0 - 0.5 * (0.3 + trace + 0.09));
    let names: Vec<_> = load.parts.iter().map(|part| part.name.as_str()).collect();
    assert_eq!(names, ["source", "trace", "shunt", "joint"]);
    near(load.parts[2].drop, 0.055);
    assert!((load.parts[2].share - 0.25).abs() < 1e-12 && (load.parts[2].heat_watts - 27.5e-3).abs() < 1e-12);
    assert_eq!(load.dominates.as_deref(), Some("source"));
    let half = load.halved.as_ref().unwrap();
    assert_eq!(half.segment, "shunt");
    near(half.gain, 0.0275);
    assert_eq!(
        (load.verdict, sheet.verdict, sheet.judged_by),
        (Verdict::Pass, Verdict::Pass, JudgedBy::BrownOut)
    );
    // Middle: rectangles from the least to the limit.
    near(load.middle, 2.0 - 0.5 * (0.3 + (trace + 0.01) / 2.0 + 0.1 + 0.01));
    let sigma = [(0.01 - trace) / 2.0, 0.01, 0.01].map(|half| half / 3f64.sqrt());
    near(load.u95, 0.5 * 2.0 * sigma.iter().map(|s| s * s).sum::<f64>().sqrt());
}

/// IEC 60028: 10 mΩ of copper have 10.786 mΩ at 40 °C; a shunt of 100 ppm/K 110.22 mΩ at most, a joint of 20 mΩ up to 21.72 mΩ.
#[test]
fn the_worse_end_of_the_temperature_counts() {
    let board = line("");
    let sheet = by_limits(&board, &LimitSet::of_board(&board), Conditions::default());
    let load = &sheet.loads[0];
    near(load.lowest, 2.0 - 0.5 * (0.010786 + 0.11022 + 0.02172));
    assert_eq!(load.worst_at, Celsius(40.0));
    // The budget is held against the limits where they stand: at 20 °C.
    near(load.margin, 0.1 - 0.07);
    assert_eq!((load.verdict, sheet.judged_by), (Verdict::Pass, JudgedBy::MaxDrop));
    assert!(
        sheet.notes[0].starts_with("`brown_out` is not stated") && sheet.notes[1].starts_with("`source`")
    );
}

/// A limit may be spent on any unit, so by limits 1.7999 V is not proven to be missed; it is once the least takes more.
#[test]
fn only_what_holds_at_both_ends_is_proven() {
    for (brown_out, verdict) in
        [("1.93 V", Verdict::Pass), ("1.94 V", Verdict::Unproven), ("1.96 V", Verdict::Fail)]
    {
        let board = line(&format!("brown_out = \"{brown_out}\""));
        let sheet = by_limits(&board, &LimitSet::of_board(&board), AT_20);
        assert_eq!(sheet.verdict, verdict, "{brown_out}");
    }
}

fn row(board: &Board, name: &str, ohms: Option<f64>, class: Class, verdict: Verdict) -> SegmentRow {
    let segment = board.segment(board.segment_named(name).unwrap());
    SegmentRow {
        name: name.into(),
        kind: segment.kind.word().into(),
        state: board.states[0].name.clone(),
        resistance: ohms.map(Ohms),
        at_20c: ohms.map(Ohms),
        u95: ohms.map(|_| Ohms(1e-3)),
        min: segment.stated.min,
        max: segment.stated.max.unwrap_or_default(),
        limit_derived: false,
        typical: segment.expected.typical,
        verdict,
        class,
        method: None,
        reason: None,
    }
}

fn unit() -> UnitRead {
    UnitRead { serial: "A-1".into(), sweep: Some(7) }
}

/// By hand, at 20 °C: readings of 8, 95 and 5 mΩ, each ±1 mΩ, cost 54 mV ± 1.5 mV at most, ±0.866 mV if they are independent.
#[test]
fn a_unit_s_readings_stand_in_the_place_of_limits() {
    let board = line("brown_out = \"1.9 V\"");
    let limits = LimitSet::of_board(&board);
    let ok = |name, ohms| row(&board, name, Some(ohms), Class::Ok, Verdict::Pass);
    let mut rows = vec![ok("trace", 8e-3), ok("shunt", 95e-3), ok("joint", 5e-3)];
    let sheet = |rows: &[SegmentRow]| by_readings(&board, &limits, unit(), rows, AT_20);
    let load = &sheet(&rows).loads[0];
    near(load.lowest, 2.0 - 0.5 * 0.111);
    near(load.highest, 3.0 - 0.5 * 0.105);
    near(load.middle, 2.0 - 0.054);
    near(load.u95, 0.5 * 1e-3 * 3f64.sqrt());
    assert!(load.parts.iter().all(|part| part.origin == Origin::Reading));
    assert_eq!(load.verdict, Verdict::Pass);
    // What the shunt would gain if it read what a healthy one does is nothing; the trace some.
    let typical = board.segment(board.segment_named("joint").unwrap()).expected.typical;
    assert_eq!(load.healthy.as_ref().unwrap().segment, "joint");
    near(load.healthy.as_ref().unwrap().gain, 0.5 * (5e-3 - typical.0));

    // What was not read has its limit, and nothing is proven.
    rows[2] = row(&board, "joint", None, Class::NotReached, Verdict::Unproven);
    let found = sheet(&rows);
    let load = &found.loads[0];
    near(load.lowest, 2.0 - 0.5 * (0.105 + 0.02));
    assert_eq!((load.verdict, &load.not_read[..]), (Verdict::Unproven, &["joint".to_owned()][..]));
    assert_eq!(load.parts[2].origin, Origin::NotRead);
    assert!(found.notes.iter().any(|note| note.starts_with("not read: joint. Limits stand")));
    // And what has no row at all.
    rows.pop();
    assert_eq!(sheet(&rows).loads[0].not_read, ["joint"]);

    // An open fails, and the figures are those after its repair.
    rows[1] = row(&board, "shunt", None, Class::Open, Verdict::Fail);
    let load = &sheet(&rows).loads[0];
    near(load.lowest, 2.0 - 0.5 * (0.009 + 0.11 + 0.02));
    assert_eq!((load.verdict, &load.cut[..]), (Verdict::Fail, &["shunt".to_owned()][..]));
    // A reading far too high is a reading.
    rows[1] = row(&board, "shunt", Some(330.0), Class::High, Verdict::Fail);
    let found = sheet(&rows);
    assert!(found.loads[0].lowest < Volts(-160.0) && found.verdict == Verdict::Fail);
    assert!(found.notes.iter().any(|note| note.contains("would take more than the supply gives")));
}

/// A trunk of 10 mΩ, branches of 20 and 50 mΩ to two loads, a return of 5 mΩ that forks into 10 and 40 mΩ: each load with the whole
/// current and the costlier return, 75 and 105 mΩ.
#[test]
fn each_load_has_the_whole_current_and_the_costliest_return() {
    let joint = |name, from, to, max: &str| segment(name, "joint", from, to, &format!("max = \"{max}\""));
    let rest = [
        joint("trunk", "a", "b", "10 mohm"),
        joint("to l", "b", "l", "20 mohm"),
        joint("to m", "b", "m", "50 mohm"),
        joint("back", "r", "s", "5 mohm"),
        joint("short fork", "s", "t", "10 mohm"),
        joint("long fork", "s", "d", "40 mohm"),
    ];
    let supply = "to = [\"l\", \"m\"]\nvoltage = [\"5 V\", \"5 V\"]\nload = \"2 A\"\nmax_drop = \"1 V\"\nbrown_out = \"4.8 V\"";
    let board = board(supply, &rest.concat());
    let sheet = by_limits(&board, &LimitSet::of_board(&board), AT_20);
    near(sheet.loads[0].lowest, 5.0 - 2.0 * 0.075);
    near(sheet.loads[1].lowest, 5.0 - 2.0 * 0.105);
    assert_eq!(
        sheet.loads.iter().map(|load| load.verdict).collect::<Vec<_>>(),
        [Verdict::Pass, Verdict::Unproven]
    );
    assert_eq!(sheet.loads[0].back, "d");
    let names: Vec<_> = sheet.loads[1].parts.iter().map(|part| part.name.as_str()).collect();
    assert_eq!(names, ["trunk", "to m", "long fork", "back"]);
    assert!(sheet.notes.iter().any(|note| note.contains("drew all of the 2.00 A")));
}

/// Two ways of 20 and 30 mΩ beside each other and 8 mΩ before them: 12 + 8 mΩ. The parts' costs add up to the whole, and the current
/// divides three to two. One way open leaves the other; both open cut the load off.
#[test]
fn ways_beside_each_other_share_the_current() {
    let joint = |name, from, to, max: &str| segment(name, "joint", from, to, &format!("max = \"{max}\""));
    let rest = [
        joint("first", "a", "b", "8 mohm"),
        joint("upper one", "b", "c", "10 mohm"),
        joint("upper two", "c", "l", "10 mohm"),
        joint("lower one", "b", "d", "15 mohm"),
        joint("lower two", "d", "l", "15 mohm"),
    ];
    let supply = "to = \"l\"\nvoltage = [\"5 V\", \"6 V\"]\nload = \"1 A\"\nmax_drop = \"100 mV\"";
    let board = board(supply, &rest.concat());
    let limits = LimitSet::of_board(&board);
    let sheet = by_limits(&board, &limits, AT_20);
    let load = &sheet.loads[0];
    near(load.lowest, 5.0 - 0.020);
    near(load.parts.iter().map(|part| part.drop).sum(), 0.020);
    let current = |name: &str| load.parts.iter().find(|part| part.name == name).unwrap().current.0;
    assert!((current("upper one") - 0.6).abs() < 1e-9 && (current("lower two") - 0.4).abs() < 1e-9);

    let rows = |open: &[&str]| -> Vec<SegmentRow> {
        let row = |segment: &board::Segment| match open.contains(&segment.name.as_str()) {
            true => row(&board, &segment.name, None, Class::Open, Verdict::Fail),
            false => row(&board, &segment.name, Some(9e-3), Class::Ok, Verdict::Pass),
        };
        board.segments.iter().map(row).collect()
    };
    let load = |open: &[&str]| by_readings(&board, &limits, unit(), &rows(open), AT_20).loads.remove(0);
    near(load(&["upper two"]).middle, 5.0 - 0.027);
    assert_eq!(load(&["upper two"]).cut, [""; 0]);
    let both = load(&["upper two", "lower one"]);
    assert_eq!((both.verdict, both.cut.len()), (Verdict::Fail, 2));
}

/// A branch that is open cuts its own load off and no other, and an open on a loop that the other load's current passes is no fault of the
/// path.
#[test]
fn an_open_fails_the_load_that_hangs_on_it() {
    let joint = |name, from, to| segment(name, "joint", from, to, "max = \"10 mohm\"");
    let rest = [
        joint("upper", "a", "b"),
        joint("lower one", "a", "c"),
        joint("lower two", "c", "b"),
        joint("to l", "b", "l"),
        joint("to m", "b", "m"),
    ];
    let supply = "to = [\"l\", \"m\"]\nvoltage = [\"5 V\", \"6 V\"]\nload = \"1 A\"\nmax_drop = \"100 mV\"";
    let board = board(supply, &rest.concat());
    let row = |segment: &board::Segment| match segment.name.as_str() {
        name @ ("lower one" | "to m") => row(&board, name, None, Class::Open, Verdict::Fail),
        name => row(&board, name, Some(9e-3), Class::Ok, Verdict::Pass),
    };
    let rows: Vec<_> = board.segments.iter().map(row).collect();
    let sheet = by_readings(&board, &LimitSet::of_board(&board), unit(), &rows, AT_20);
    let of = |name: &str| sheet.loads.iter().find(|load| load.load == name).unwrap();
    near(of("l").middle, 5.0 - 0.018);
    assert_eq!((of("l").verdict, of("l").cut.len()), (Verdict::Pass, 0));
    assert_eq!(of("m").verdict, Verdict::Fail);
    assert!(of("m").cut.contains(&"to m".to_owned()));
}

/// What a repair would do: a wire of 5 mΩ ± 1 mΩ from before the open shunt to the load.
#[test]
fn a_wire_carries_what_an_open_does_not() {
    let board = line("brown_out = \"1.9 V\"");
    let id = |name| board.segment_named(name).unwrap();
    let known =
        |ohms: f64| Value { range: Range::reading(Ohms(ohms), Ohms(1e-3)), standing: Standing::Known };
    let mut values = vec![known(8e-3), known(0.1), known(5e-3)];
    values[id("shunt").index()].standing = Standing::Open;
    let network = Network { board: &board, conditions: AT_20 };
    assert_eq!(network.loads(&values, &[])[0].verdict, Verdict::Fail);
    let ends = board.segment(id("shunt"));
    let wire = Wire { from: ends.from, to: ends.to, range: Range::reading(Ohms(5e-3), Ohms(1e-3)) };
    let after = &network.loads(&values, &[wire])[0];
    near(after.middle, 2.0 - 0.5 * 0.018);
    near(after.lowest, 2.0 - 0.5 * 0.021);
    assert_eq!((after.verdict, after.cut.len()), (Verdict::Pass, 0));
    // In parallel to a segment that reads high: 50 mΩ beside 5 mΩ.
    values[id("shunt").index()] = known(50e-3);
    near(network.loads(&values, &[wire])[0].middle, 2.0 - 0.5 * (0.013 + 50e-3 * 5e-3 / 55e-3));
    // From supply to load, past everything on the way out.
    values[id("trace").index()].standing = Standing::Open;
    let past = Wire { from: board.supply.from, to: board.supply.to[0], ..wire };
    near(network.loads(&values, &[past])[0].middle, 2.0 - 0.5 * 0.010);
}

/// A switch that is closed in one state supplies the load in that one only; a diode has its voltage, more in the cold.
#[test]
fn a_load_is_judged_in_the_states_that_supply_it() {
    let states = "[states]\noff = \"Switch it off\"\non = \"Switch it on\"\n----";
    let rest = [
        segment(
            "switch",
            "switch",
            "a",
            "b",
            "closed = [\"on\"]\nmax = \"100 mohm\"\nopen_min = \"100 kohm\"",
        ),
        segment("diode", "diode", "b", "l", "max_forward = \"0.4 V\""),
    ];
    let supply = "to = \"l\"\nvoltage = [\"3 V\", \"4 V\"]\nload = \"200 mA\"\nmax_drop = \"0.5 V\"\nbrown_out = \"2.5 V\"";
    let board = board(supply, &format!("{states}{}", rest.concat()));
    let limits = LimitSet::of_board(&board);
    let sheet = by_limits(&board, &limits, AT_20);
    assert_eq!(sheet.loads.len(), 1);
    assert_eq!(sheet.loads[0].state, "on");
    near(sheet.loads[0].lowest, 3.0 - 0.02 - 0.4);
    let cold = by_limits(&board, &limits, "0".parse().unwrap());
    // 20 K below: 1 ± … as a contact may have: 2.15 ± 2.15 mΩ/Ω/K; the diode up to 44 mV more.
    near(cold.loads[0].lowest, 3.0 - 0.2 * 0.1 * (1.0 - 0.043 + 0.043) - 0.444);
    // A diode that is proven to keep its limit has no resistance to state.
    let mut rows = vec![
        row(&board, "switch", Some(0.05), Class::Ok, Verdict::Pass),
        row(&board, "diode", None, Class::Ok, Verdict::Pass),
    ];
    rows[0].state = "on".into();
    let load = by_readings(&board, &limits, unit(), &rows, AT_20).loads.remove(0);
    assert_eq!((load.verdict, load.parts[1].origin), (Verdict::Pass, Origin::Limit));
    rows[1] = row(&board, "diode", None, Class::NotJudgedUnpowered, Verdict::Unproven);
    let load = by_readings(&board, &limits, unit(), &rows, AT_20).loads.remove(0);
    assert_eq!((load.verdict, load.parts[1].origin), (Verdict::Unproven, Origin::NotRead));
}

/// A trace of 10 mil and an ounce: 0.8855 A for 10 K (IPC-2221 as printed in lessons on trace widths: 0.884 A); an ampere on an inner layer
/// wants 30.76 mil.
#[test]
fn copper_that_gets_warm_is_named() {
    let outer = "length = \"4 mm\"\nwidth = \"10 mil\"\nmax = \"20 mohm\"";
    let inner = "length = \"4 mm\"\nwidth = \"30.764 mil\"\nlayer = \"inner\"\nmax = \"20 mohm\"";
    let via = "drill = \"0.3 mm\"\nplating = \"20 um\"\ncount = 2\nmax = \"3 mohm\"";
    let rest = [
        segment("outer", "trace", "a", "b", outer),
        segment("inner", "trace", "b", "c", inner),
        segment("pair", "via", "c", "l", via),
    ];
    let supply = "to = \"l\"\nvoltage = [\"5 V\", \"6 V\"]\nload = \"1 A\"\nmax_drop = \"200 mV\"";
    let board = board(supply, &rest.concat());
    let sheet = by_limits(&board, &LimitSet::of_board(&board), AT_20);
    let capacity = |at: usize| sheet.loads[0].parts[at].capacity.unwrap();
    assert!((capacity(0).ipc2221.0 - 0.8855).abs() < 2e-3 && capacity(0).exceeded, "{:?}", capacity(0));
    assert!((capacity(1).ipc2221.0 - 1.0).abs() < 2e-3, "{:?}", capacity(1));
    // Unrolled, one barrel is 0.8796 mm by 20 µm: 27.27 square mils, so 0.024·2.7542·27.27^0.725 A, twice.
    assert!((capacity(2).ipc2221.0 - 2.0 * 0.024 * 2.754_229 * 27.27f64.powf(0.725)).abs() < 1e-3);
    let note = sheet.notes.iter().find(|note| note.starts_with("outer carries 88")).unwrap();
    // (1/0.8855)^(1/0.44) · 10 K.
    assert!(note.ends_with("about 13 K warmer than the board round it"), "{note}");
    // A pair that has lost a barrel carries half.
    let mut rows: Vec<_> = ["outer", "inner", "pair"]
        .iter()
        .map(|name| row(&board, name, Some(2e-3), Class::Ok, Verdict::Pass))
        .collect();
    rows[2].class = Class::RedundancyLost;
    let lost = by_readings(&board, &LimitSet::of_board(&board), unit(), &rows, AT_20);
    let halved = lost.loads[0].parts[2].capacity.unwrap();
    assert!((capacity(2).ipc2221 / halved.ipc2221 - 2.0).abs() < 1e-9 && halved.exceeded);
}

#[test]
fn what_cannot_be_is_refused_with_its_place() {
    let trace = segment("trace", "trace", "a", "l", "length = \"4 mm\"\nwidth = \"1 mm\"");
    let said = |more: &str| {
        let supply = format!("to = \"l\"\nvoltage = [\"2 V\", \"3 V\"]\nload = \"1 A\"\n{more}");
        parsed(&supply, &trace).err().unwrap_or_default()
    };
    assert_eq!(said("source = \"0.3 ohm\"\nbrown_out = \"1.9 V\""), "");
    for (more, fragment) in [
        ("source = \"-0.3 ohm\"", "`source` of [supply] is -0.3 ohm"),
        ("source = 0.3", "`source` of [supply] has no unit"),
        ("source = \"2 V\"", "a resistance belongs here"),
        ("brown_out = \"3 V\"", "`brown_out` is not below the highest supply voltage, 3.00 V"),
        ("brown_out = \"-1 V\"", "`brown_out` of [supply] is -1 V"),
        ("brownout = \"1 V\"", "[supply] has no key `brownout`"),
    ] {
        let said = said(more);
        assert!(said.contains(fragment) && said.contains("board.toml:"), "{more}: {said}");
    }
}

#[test]
fn what_should_be_looked_at_is_a_warning() {
    let trace = segment("trace", "trace", "a", "l", "length = \"4 mm\"\nwidth = \"1 mm\"");
    let warned = |more: &str| {
        let supply = format!(
            "to = \"l\"\nvoltage = [\"2 V\", \"3 V\"]\nload = \"1 A\"\nmax_drop = \"100 mV\"\n{more}"
        );
        let text = board(&supply, &trace).source;
        let (_, problems) =
            board::examine(crate::document::Sheet::new("board.toml", &text)).usable().unwrap();
        problems.to_string()
    };
    assert!(
        warned("brown_out = \"2 V\"").contains("`brown_out` is not below the lowest supply voltage, 2.00 V")
    );
    assert!(warned("source = \"1.1 ohm\"").contains("a source of this resistance costs 1.10 V of 2.00 V"));
    assert_eq!(warned("source = \"0.3 ohm\"\nbrown_out = \"1.9 V\""), "");
}

/// A path of twelve segments takes less than a tenth of a millisecond, so that thousands of repairs can be weighed. Not asserted to the
/// microsecond: other work may hold the processor.
#[test]
fn loads_are_found_fast() {
    let text = include_str!("../../../fixtures/tide-gauge-head/board.toml");
    let board = board::parse("board.toml", text).unwrap();
    let limits = LimitSet::of_board(&board);
    let values = values(&board, &limits, &[], StateId::new(1));
    let network = Network { board: &board, conditions: Conditions::default() };
    let best = (0..200)
        .map(|_| {
            let begun = std::time::Instant::now();
            assert_eq!(network.loads(&values, &[]).len(), 1);
            begun.elapsed()
        })
        .min()
        .unwrap();
    println!("loads of {} segments in {best:?}", board.segments.len());
    assert!(best < std::time::Duration::from_millis(1), "{best:?}");
}

/// Ten thousand units whose resistances are drawn from what was read of them (Gauss) and whose temperature is the worst: the combined interval
/// holds 95 % of them, and with errors inside their expanded uncertainties none is below the lowest.
#[test]
fn intervals_hold_what_they_say() {
    let board = line("source = \"0.3 ohm\"\nbrown_out = \"1.7 V\"");
    let network = Network { board: &board, conditions: AT_20 };
    let read = [(8e-3, 1e-3), (95e-3, 2e-3), (5e-3, 1.5e-3)];
    let value = |ohms: f64, u95: f64| Value {
        range: Range::reading(Ohms(ohms), Ohms(u95)),
        standing: Standing::Known,
    };
    let stated = &network.loads(&read.map(|(ohms, u95)| value(ohms, u95)), &[])[0];
    let mut seed = 42u64;
    let mut uniform = || {
        // The generator of Knuth's MMIX (from memory); its upper bits are good enough here.
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1u64 << 53) as f64
    };
    let (mut inside, draws) = (0, 10_000);
    for _ in 0..draws {
        let errors = [(); 3].map(|()| (0..12).map(|_| uniform()).sum::<f64>() - 6.0);
        let drawn = |bound: f64| -> Vec<Value> {
            let pair = |((ohms, u95), error): (&(f64, f64), &f64)| {
                value(ohms + u95 * (error / 2.0).clamp(-bound, bound), 0.0)
            };
            read.iter().zip(&errors).map(pair).collect()
        };
        let volts = network.loads(&drawn(9.0), &[])[0].middle;
        inside += usize::from((volts - stated.middle).abs() <= stated.u95);
        let bounded = &network.loads(&drawn(1.0), &[])[0];
        assert!(
            bounded.lowest >= stated.lowest - Volts(1e-12)
                && bounded.highest <= stated.highest + Volts(1e-12)
        );
    }
    let share = inside as f64 / f64::from(draws);
    assert!((0.943..0.965).contains(&share), "{share}");
}

/// As many segments as a board file may have, most of them in meshes, with a load at the end of each: no hang.
#[test]
fn the_largest_board_is_worked_out() {
    let grid: String = (0..19)
        .map(|mesh| {
            let base = 33 * mesh;
            let point = |i: usize| format!("g{}", base + i);
            (0..33)
                .flat_map(|i| {
                    let rung = format!("r{base}-{i}");
                    [
                        (rung, point(i), format!("{}x", point(i))),
                        (format!("u{base}-{i}"), point(i), point(i + 1)),
                    ]
                    .into_iter()
                    .chain((i < 32).then(|| {
                        (format!("l{base}-{i}"), format!("{}x", point(i)), format!("{}x", point(i + 1)))
                    }))
                })
                .map(|(name, from, to)| segment(&name, "joint", &from, &to, "max = \"1 mohm\""))
                .collect::<String>()
        })
        .collect();
    let names: std::collections::BTreeSet<String> = grid
        .lines()
        .filter_map(|line| line.strip_prefix("from = ").or_else(|| line.strip_prefix("to = ")))
        .map(str::to_owned)
        .collect();
    let points: String = names
        .iter()
        .enumerate()
        .map(|(i, name)| {
            format!(
                "{name} = {{ at = [{}, {}], side = \"front\", kind = \"pad\" }}\n",
                1 + i % 90,
                1 + i / 90
            )
        })
        .collect();
    let loads: Vec<_> = names.iter().filter(|name| **name != "\"g0\"").take(200).cloned().collect();
    let text = format!(
        "format = 1\n[board]\nname = \"large\"\nrevision = \"A\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\noutline = [[0, 0], [99, 0], \
         [99, 99], [0, 99]]\n[supply]\nfrom = \"g0\"\nto = [{}]\nreturn = \"r\"\nvoltage = [\"20 V\", \"30 V\"]\nload = \"1 A\"\nmax_drop = \"19 V\"\n\
         [points]\nr = {{ at = [98, 98], side = \"front\", kind = \"pad\" }}\n{points}\n{grid}",
        loads.join(", ")
    );
    let board = board::parse("board.toml", &text).unwrap_or_else(|problems| panic!("{problems}"));
    let begun = std::time::Instant::now();
    let sheet = by_limits(&board, &LimitSet::of_board(&board), Conditions::default());
    println!("{} segments, {} loads in {:?}", board.segments.len(), sheet.loads.len(), begun.elapsed());
    assert!(begun.elapsed() < std::time::Duration::from_secs(20));
}
