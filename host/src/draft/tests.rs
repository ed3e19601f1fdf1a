use std::path::Path;

use proptest::prelude::*;
use serde_json::json;

use super::*;

const BOARDS: [(&str, &str); 3] = [
    (
        include_str!("../../../fixtures/trail-counter/board.toml"),
        include_str!("../../../fixtures/trail-counter/fixture.toml"),
    ),
    (
        include_str!("../../../fixtures/tide-gauge-head/board.toml"),
        include_str!("../../../fixtures/tide-gauge-head/fixture.toml"),
    ),
    (
        include_str!("../../../fixtures/greenhouse-valve-driver/board.toml"),
        include_str!("../../../fixtures/greenhouse-valve-driver/fixture.toml"),
    ),
];

fn texts((board, fixture): (&str, &str)) -> Texts {
    Texts { board: board.into(), fixture: fixture.into() }
}

fn opened(texts: &Texts) -> Draft {
    open(&texts.board, &texts.fixture).unwrap()
}

fn check(texts: &Texts) -> Vec<Finding> {
    findings(texts, Path::new("/nowhere"))
}

/// Lines of one text that the other lacks, and the reverse.
fn changes(before: &str, after: &str) -> (Vec<String>, Vec<String>) {
    let lacks = |a: &str, b: &str| {
        let lines: Vec<_> = b.lines().collect();
        a.lines().filter(|line| !lines.contains(line)).map(str::to_owned).collect()
    };
    (lacks(before, after), lacks(after, before))
}

#[test]
fn what_is_merged_unchanged_is_the_same_to_the_byte() {
    for files in BOARDS {
        let before = texts(files);
        let mut draft = opened(&before);
        assert_eq!(merge(&draft, Some(&before)).unwrap(), before);
        // As a browser sends it back: through JSON, 6.0 as 6.
        let sent = serde_json::to_string(&draft).unwrap().replace(".0,", ",").replace(".0]", "]");
        draft = serde_json::from_str(&sent).unwrap();
        assert_eq!(merge(&draft, Some(&before)).unwrap(), before);
        assign(&mut draft, Some(&before)).unwrap();
        assert_eq!(merge(&draft, Some(&before)).unwrap(), before, "every pin is there already");
    }
}

#[test]
fn a_change_changes_its_own_line_only() {
    let before = texts(BOARDS[1]);
    let mut draft = opened(&before);
    draft.points[0].keys["at"] = json!([6.5, 31]);
    draft.segments[1].keys["max"] = json!("9 mohm");
    let after = merge(&draft, Some(&before)).unwrap();
    let (gone, new) = changes(&before.board, &after.board);
    assert_eq!((gone.len(), new.len()), (2, 2), "{gone:?} {new:?}");
    assert!(new[0].contains("[6.5, 31]") && new[1].starts_with("max = \"9 mohm\""));
    assert_eq!(before.fixture, after.fixture);
}

#[test]
fn comments_and_unknown_keys_stay_when_things_are_renamed_moved_and_taken_out() {
    let board = BOARDS[1].0;
    let board =
        board.replacen("[[segment]]", "# Measured on two boards.\n[[segment]]\nlater = { a = [1, 2] }", 1);
    let first = board.find("\"cell+\" =").unwrap();
    let board = format!("{}# The red wire.\n{}", &board[..first], &board[first..]);
    let before = Texts { board, fixture: BOARDS[1].1.into() };
    let mut draft = opened(&before);
    assert_eq!(merge(&draft, Some(&before)).unwrap(), before);
    assert_eq!(draft.segments[0].keys["later"], json!({ "a": [1, 2] }));
    // Renamed everywhere, as the page does it.
    draft.points[0].name = "battery+".into();
    draft.supply["from"] = json!("battery+");
    draft.segments[0].keys["from"] = json!("battery+");
    draft.segments.swap(0, 1);
    draft.segments.pop();
    let after = merge(&draft, Some(&before)).unwrap();
    assert!(
        after.board.contains("# The red wire.\n\"battery+\" = {")
            || after.board.contains("# The red wire.\n'battery+' = {"),
        "{}",
        after.board
    );
    assert!(after.board.contains("# Measured on two boards.\n[[segment]]\nlater = { a = [1, 2] }"));
    assert!(!after.fixture.contains("cell+") && after.fixture.contains("battery+"));
    let again = opened(&after);
    assert_eq!(again.segments.len() + 1, opened(&before).segments.len());
    assert_eq!(again.segments[1].keys["later"], json!({ "a": [1, 2] }));
    assert_eq!(again.points[0].pins, opened(&before).points[0].pins);
}

/// What the editor does not draw stays as it is written, and keeps naming what it named.
#[test]
fn power_and_rails_stay_and_follow_a_new_name() {
    let power = "\n[power]\nidle = [\"2 mA\", \"9 mA\"]   # of six units\nstate = \"on\"\n\n[[rail]]\nname = \"input\"\nat = \"reg.in\"      # the far pad\n\
                 voltage = [\"2.4 V\", \"3.2 V\"]\n";
    // The example's own are taken out first.
    let (board, fixture) = BOARDS[1];
    let (from, to) = (board.find("[power]").unwrap(), board.find("[states]").unwrap());
    let before =
        Texts { board: format!("{}{}{power}", &board[..from], &board[to..]), fixture: fixture.into() };
    let mut draft = opened(&before);
    assert_eq!(merge(&draft, Some(&before)).unwrap(), before);
    let (point, state) = (
        draft.points.iter_mut().find(|point| point.name == "reg.in").unwrap(),
        draft.states.iter_mut().find(|state| state.name == "on").unwrap(),
    );
    (point.name, state.name) = ("load.in".into(), "running".into());
    let after = merge(&draft, Some(&before)).unwrap().board;
    let moved = power.replace("\"reg.in\"", "\"load.in\"").replace("\"on\"", "\"running\"");
    assert!(after.ends_with(&moved), "{after}");
}

/// A board as the page draws a new one.
fn drawn() -> Draft {
    let point = |name: &str, x: f64, side: &str, kind: &str| PointEntry {
        name: name.into(),
        keys: json!({ "at": [x, 10.0], "side": side, "kind": kind }).as_object().unwrap().clone(),
        ..PointEntry::default()
    };
    let segment = |keys: serde_json::Value| Entry { was: None, keys: keys.as_object().unwrap().clone() };
    let object = |value: serde_json::Value| value.as_object().unwrap().clone();
    Draft {
        board: object(json!({
            "name": "hand drawn", "revision": "A", "thickness": "1.6 mm", "copper": "35 um",
            "outline": [[0, 0], [60, 0], [60, 20], [0, 20]]
        })),
        supply: object(json!({
            "from": "in+", "to": "load", "return": "in-", "voltage": ["2.0 V", "3.2 V"], "load": "100 mA", "max_drop": "150 mV"
        })),
        states: vec![
            StateEntry { was: None, name: "off".into(), prompt: "Switch it off".into() },
            StateEntry { was: None, name: "on".into(), prompt: "Switch it on".into() },
        ],
        points: vec![
            point("in+", 5.0, "front", "terminal"),
            point("sw.in", 25.0, "front", "leg"),
            point("sw.out", 30.0, "front", "leg"),
            point("load", 50.0, "front", "pad"),
            point("in-", 5.0, "back", "terminal"),
        ],
        segments: vec![
            segment(
                json!({ "name": "feed", "kind": "trace", "from": "in+", "to": "sw.in", "length": "21 mm", "width": "1.5 mm" }),
            ),
            segment(
                json!({ "name": "switch", "kind": "switch", "from": "sw.in", "to": "sw.out", "closed": ["on"] }),
            ),
            segment(
                json!({ "name": "out", "kind": "trace", "from": "sw.out", "to": "load", "length": "21 mm", "width": "1.5 mm" }),
            ),
        ],
        fixture: object(json!({ "name": "hand drawn bed", "board": "board.toml" })),
        ..Draft::default()
    }
}

#[test]
fn a_new_board_passes_the_check_and_comes_back() {
    let mut draft = drawn();
    assign(&mut draft, None).unwrap();
    let texts = merge(&draft, None).unwrap();
    assert_eq!(check(&texts), [], "{}{}", texts.board, texts.fixture);
    assert!(
        texts.board.contains("\n\n[[segment]]\nname = \"feed\"\nkind = \"trace\"\nfrom = \"in+\""),
        "{}",
        texts.board
    );
    assert!(
        texts.board.contains("{ at = [5.0, 10.0], side = \"front\", kind = \"terminal\" }"),
        "{}",
        texts.board
    );
    let again = opened(&texts);
    assert_eq!(merge(&again, Some(&texts)).unwrap(), texts);
    assert_eq!(again.points[0].pins, Some(json!({ "force": 0, "sense": 0 }).as_object().unwrap().clone()));
    assert_eq!(again.points[1].pins, Some(json!({ "sense": 1 }).as_object().unwrap().clone()));
}

#[test]
fn pins_keep_their_channels_and_new_ones_avoid_the_standards() {
    let before = texts(BOARDS[1]);
    let mut draft = opened(&before);
    let kept = draft.points[3].pins.clone();
    draft.points.remove(2);
    draft.points.push(PointEntry {
        name: "spare".into(),
        keys: draft.points[0].keys.clone(),
        ..PointEntry::default()
    });
    draft.segments.push(Entry {
        was: None,
        keys: json!({ "name": "stub", "kind": "joint", "from": "reg.in", "to": "spare" })
            .as_object()
            .unwrap()
            .clone(),
    });
    assign(&mut draft, Some(&before)).unwrap();
    assert_eq!(draft.points[2].pins, kept);
    let spare = draft.points.last().unwrap().pins.clone().unwrap();
    // Channels 12 to 15 and 44 to 47 are those of the standards; sense 2 has become free.
    assert_eq!((spare["force"].as_u64(), spare["sense"].as_u64()), (Some(5), Some(2)));
}

#[test]
fn every_finding_is_told_at_its_place() {
    let mut draft = drawn();
    draft.points[3].keys["at"] = json!([90.0, 10.0]);
    draft.segments[1].keys.remove("closed");
    draft.segments[2].keys["width"] = json!("1.5");
    draft.supply.remove("voltage");
    draft.points[1].pins = Some(json!({ "force": 99 }).as_object().unwrap().clone());
    assign(&mut draft, None).unwrap();
    let found = check(&merge(&draft, None).unwrap());
    let at = |part: &str, index: Option<usize>, name: Option<&str>, key: Option<&str>| Place {
        part: part.into(),
        index,
        name: name.map(str::to_owned),
        key: key.map(str::to_owned),
    };
    for (words, place) in [
        ("outside the outline", at("points", None, Some("load"), Some("at"))),
        ("lacks `closed`", at("segment", Some(1), None, None)),
        ("has no unit", at("segment", Some(2), None, Some("width"))),
        ("[supply] lacks `voltage`", at("supply", None, None, None)),
        ("does not exist", at("pins", None, Some("sw.in"), Some("force"))),
    ] {
        let finding =
            found.iter().find(|finding| finding.message.contains(words) || finding.help.contains(words));
        let finding = finding.unwrap_or_else(|| panic!("no finding says {words:?}: {found:#?}"));
        assert_eq!(finding.place, Some(place), "{}", finding.message);
    }
}

/// A board with keep-outs, checks, and tables that the editor does not know, in an order and with comments of a person's own.
fn with_strangers() -> Texts {
    let (board, fixture) = BOARDS[1];
    let keep_outs = "# The display's frame.\n[[keep_out]]\nside = \"front\" # glued\npolygon = [\n    [13, 4], [17, 4], # its foot\n    [17, 8], [13, 8],\n]\nheight = \"3 mm\"\nwhy = \"display\"\n\n[[keep_out]]\nside = \"back\"\npolygon = [[1, 1], [3, 1], [3, 3]]\n\n";
    let at = board.find("[[check]]").unwrap();
    let power = "# What it may draw at first.\n[forecast]\nlimit = \"120 mA\"   # by hand\n\n[forecast.ramp]\nstep = \"10 mV\"\n\n";
    let rails = "\n# Measured at the first power.\n[[trial]]\nat = \"reg.in\"\nvolts = [\"3.2 V\", \"3.4 V\"]\n\n[[trial]]\nat = \"cell+\"\nlater = { a = 1, b = [2, 3] } # keep\n";
    Texts {
        board: format!("{}{keep_outs}{power}{}{rails}", &board[..at], &board[at..]),
        fixture: fixture.into(),
    }
}

#[test]
fn keep_outs_and_checks_are_changed_beside_tables_that_the_editor_does_not_know() {
    let before = with_strangers();
    let mut draft = opened(&before);
    // The example has keep-outs of its own.
    let of = |draft: &Draft, height: Option<&str>, corners: usize| {
        let is = |entry: &Entry| {
            let polygon = entry.keys["polygon"].as_array().unwrap().len();
            entry.keys.get("height").and_then(|height| height.as_str()) == height && polygon == corners
        };
        draft.keep_outs.iter().position(is).unwrap()
    };
    let (display, triangle) = (of(&draft, Some("3 mm"), 4), of(&draft, None, 3));
    assert_eq!(draft.checks.len(), 2);
    assert_eq!(merge(&draft, Some(&before)).unwrap(), before);
    // A corner is moved, a reason given, a check asked otherwise.
    draft.keep_outs[triangle].keys["polygon"] = json!([[1, 1], [3.5, 1], [3, 3]]);
    draft.keep_outs[triangle].keys.insert("why".into(), "a battery".into());
    draft.checks[1].keys.insert("help".into(), "Look at it in the dark".into());
    let after = merge(&draft, Some(&before)).unwrap();
    let (gone, new) = changes(&before.board, &after.board);
    assert_eq!(gone.len(), 1, "{gone:?}");
    assert_eq!(
        new,
        ["polygon = [[1, 1], [3.5, 1], [3, 3]]", "why = \"a battery\"", "help = \"Look at it in the dark\""]
    );
    // One is drawn, one taken out, a check added: the rest stays, where it stood.
    let mut draft = opened(&before);
    draft.keep_outs.remove(display);
    draft.keep_outs.push(Entry {
        was: None,
        keys:
            json!({ "why": "a plug", "height": "6 mm", "polygon": [[5, 5], [9, 5], [9, 9]], "side": "front" })
                .as_object()
                .unwrap()
                .clone(),
    });
    draft.checks.push(Entry {
        was: None,
        keys: json!({ "help": "Press it", "name": "display lights" }).as_object().unwrap().clone(),
    });
    let after = merge(&draft, Some(&before)).unwrap();
    let (gone, new) = changes(&before.board, &after.board);
    assert!(gone.iter().all(|line| !line.contains("forecast") && !line.contains("trial")), "{gone:?}");
    for kept in [
        "# What it may draw at first.\n[forecast]\nlimit = \"120 mA\"   # by hand\n\n[forecast.ramp]\nstep = \"10 mV\"\n",
        "# Measured at the first power.\n[[trial]]\nat = \"reg.in\"",
        "later = { a = 1, b = [2, 3] } # keep",
    ] {
        assert!(after.board.contains(kept), "{kept}: {}", after.board);
    }
    let drawn = "[[keep_out]]\nside = \"front\"\npolygon = [[5, 5], [9, 5], [9, 9]]\nheight = \"6 mm\"\nwhy = \"a plug\"\n";
    assert!(after.board.contains(drawn), "{new:?}");
    assert!(after.board.contains("[[check]]\nname = \"display lights\"\nhelp = \"Press it\"\n"), "{new:?}");
    let again = opened(&after);
    assert_eq!(
        again.keep_outs.iter().map(|entry| entry.keys.clone()).collect::<Vec<_>>(),
        draft.keep_outs.iter().map(|entry| entry.keys.clone()).collect::<Vec<_>>()
    );
    assert_eq!(again.checks.len(), 3);
    assert_eq!(merge(&again, Some(&after)).unwrap(), after);
}

#[test]
fn findings_of_keep_outs_checks_and_holes_of_a_pour_stand_at_their_places() {
    let mut draft = drawn();
    let entry = |keys: serde_json::Value| Entry { was: None, keys: keys.as_object().unwrap().clone() };
    draft.keep_outs = vec![
        entry(json!({ "side": "front", "polygon": [[1, 1], [3, 1], [3, 3]] })),
        entry(json!({ "side": "front", "polygon": [[1, 1], [9, 9], [9, 1], [1, 9]] })),
        entry(json!({ "side": "top", "polygon": [[1, 1], [3, 1], [3, 3]], "height": "3" })),
    ];
    draft.checks = vec![entry(json!({ "name": "lights" })), entry(json!({ "help": "look" }))];
    assign(&mut draft, None).unwrap();
    let found = check(&merge(&draft, None).unwrap());
    for (part, index, key) in [
        ("keep_out", 1, Some("polygon")),
        ("keep_out", 2, Some("side")),
        ("keep_out", 2, Some("height")),
        ("check", 1, None),
    ] {
        let place = Place { part: part.into(), index: Some(index), name: None, key: key.map(str::to_owned) };
        assert!(found.iter().any(|finding| finding.place.as_ref() == Some(&place)), "{place:?}: {found:#?}");
    }
    assert!(
        found.iter().all(|finding| finding.place.as_ref().is_none_or(|place| place.index != Some(0))),
        "{found:#?}"
    );
}

#[test]
fn hostile_drafts_are_refused_in_words() {
    let before = texts(BOARDS[1]);
    let refused = |draft: &Draft| merge(draft, Some(&before)).unwrap_err().to_string();
    let mut draft = opened(&before);
    draft.segments[0].was = Some(usize::MAX);
    assert!(refused(&draft).contains("does not have"));
    let mut draft = opened(&before);
    draft.segments[1].was = Some(0);
    assert!(refused(&draft).contains("twice"));
    let mut draft = opened(&before);
    draft.points[1].name = draft.points[0].name.clone();
    assert!(refused(&draft).contains("a name of its own"));
    let mut draft = opened(&before);
    draft.segments[0].keys.insert(
        "deep".into(),
        serde_json::from_str(&format!("{}{}", "[".repeat(100), "]".repeat(100))).unwrap(),
    );
    assert!(refused(&draft).contains("none that a file can hold"));
    let mut draft = opened(&before);
    draft.points = vec![draft.points[0].clone(); 2001];
    assert!(refused(&draft).contains("2001 points"));
    let mut draft = opened(&before);
    draft.board.insert("name".into(), "x".repeat(2 << 20).into());
    assert!(refused(&draft).contains("more than 1024 KiB"));
    assert!(open("points = 3", "").unwrap_err().to_string().contains("text editor"));
    assert!(open("[", "").unwrap_err().to_string().contains("not TOML"));
}

#[test]
fn photos_are_placed_by_their_file() {
    let window = |by: f64| Some(crate::photograph::Window { low: [-3.0, -by], high: [60.5, 40.0] });
    for photos in
        [Photos { front: window(1.0), back: window(2.0) }, Photos { front: None, back: window(0.5) }]
    {
        assert_eq!(Photos::parse(&photos.text()), photos);
    }
    for text in [
        "",
        "[front]",
        "[",
        "[front]\nlow = [1, 2]\nhigh = [0, 0]",
        "[front]\nlow = [1.0, nan]\nhigh = [3.0, 4.0]",
    ] {
        assert_eq!(Photos::parse(text), Photos::default());
    }
}

proptest! {
    /// Whatever file can be opened comes back as it was.
    #[test]
    fn no_file_is_changed_by_opening_it(at in 0..4000_usize, cut in 0..30_usize, scrap in "[\\[\\]{}\"=.,0-9a-z# \n]{0,6}") {
        let mut board = BOARDS[1].0.to_owned();
        let from = board.floor_char_boundary(at.min(board.len()));
        let to = board.floor_char_boundary((from + cut).min(board.len()));
        board.replace_range(from..to, &scrap);
        let before = Texts { board, fixture: BOARDS[1].1.into() };
        if let Ok(draft) = open(&before.board, &before.fixture)
            && let Ok(after) = merge(&draft, Some(&before))
        {
            prop_assert_eq!(after, before.clone());
            check(&before);
        }
    }
}
