//! `copperwalk bed` as people meet it: what it writes can be used, what it is given is kept, and where there is no bed it says why and leaves
//! nothing behind. Drill files, drawings and shapes are read by programs from outside in `tests/bed`.

use std::fs;

use copperwalk_tests::program::{Place, fixture, gauge, names};

fn board(example: &str) -> String {
    fixture(example).replace("fixture.toml", "board.toml")
}

#[test]
fn a_board_becomes_a_bed_that_sweeps() {
    let place = Place::new();
    for example in ["tide-gauge-head", "trail-counter", "greenhouse-valve-driver"] {
        let ran = place.run(&["bed", &board(example), "--out", example]);
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.out.contains("no choice of as many force pins reads more"), "{}", ran.out);
        let made = place.0.path().join(example);
        let wanted = [
            "board.toml",
            "bottom.dxf",
            "bottom.stl",
            "bottom.svg",
            "bottom.xnc",
            "checklist.txt",
            "fixture.toml",
            "holes.csv",
            "parts.csv",
            "sheets.pdf",
            "top.dxf",
            "top.stl",
            "top.svg",
            "top.xnc",
            "wiring.csv",
        ];
        assert_eq!(names(&made), wanted);
        let bed = made.join("fixture.toml");
        let bed = bed.to_str().unwrap();
        assert_eq!(place.run(&["check", bed]).code, 0);
        let swept = place.run(&["sweep", bed, "--virtual", "--serial", &format!("{example} 1")]);
        assert_eq!(swept.code, 0, "{}{}", swept.out, swept.err);
    }
}

#[test]
fn a_fixture_keeps_its_pins_and_its_comments() {
    let place = Place::new();
    let ran = place.run(&["bed", &gauge(), "-o", "new.toml", "--json"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let sheet: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let pins = sheet["pins"].as_array().unwrap();
    assert!(pins.iter().any(|pin| pin["kept"] == true) && pins.iter().any(|pin| pin["kept"] == false));
    let after = &sheet["after_a_break"];
    assert!(after["after"].as_f64() > after["before"].as_f64() && after["optimal"] == true);
    let (old, new) =
        (fs::read_to_string(gauge()).unwrap(), fs::read_to_string(place.0.path().join("new.toml")).unwrap());
    assert_eq!(old.lines().next(), new.lines().next());
    let checked = place.run(&["check", "new.toml"]);
    assert_eq!(checked.code, 0, "{}{}", checked.out, checked.err);
    // People edit fixture files: none is replaced unasked.
    let again = place.run(&["bed", &gauge(), "-o", "new.toml"]);
    assert!(again.code == 2 && again.err.contains("is there already"), "{}", again.err);
    assert_eq!(place.run(&["bed", "new.toml", "-o", "new.toml", "--force"]).code, 0);
}

#[test]
fn without_a_bed_nothing_is_written_and_everything_in_the_way_is_told() {
    let place = Place::new();
    let text = fs::read_to_string(board("tide-gauge-head")).unwrap();
    let covered = "[[keep_out]]\nside = \"front\"\npolygon = [[24, 20], [31, 20], [31, 24], [24, 24]]\nwhy = \"a shield\"\n";
    let near = text
        .replace("at = [29.2, 22.0]", "at = [26.4, 22.0]")
        .replace("at = [37.5, 20.0]", "at = [26.2, 22.0]");
    let rooms = "[[keep_out]]\nside = \"front\"\npolygon = [[20, 15], [33, 15], [33, 21.4], [20, 21.4]]\n[[keep_out]]\nside = \"front\"\n\
                 polygon = [[20, 22.6], [33, 22.6], [33, 30], [20, 30]]\n";
    for (name, text, said) in [
        ("covered", format!("{text}{covered}"), "a keep-out on the front covers it (a shield)"),
        ("near", format!("{near}{rooms}"), "mm apart, and the finest pins need 1.27 mm"),
        ("outside", text.replace("at = [60.0, 33.0]", "at = [65.0, 33.0]"), "lies outside the outline"),
        ("open", text.replace("outline = [[0, 0], [64, 0], [64, 40], [0, 40]]", ""), "lacks `outline`"),
    ] {
        let file = place.file(&format!("{name}.toml"), &text);
        let ran = place.run(&["bed", &file, "--out", "made", "-o", "made.toml"]);
        assert_eq!(ran.code, 2, "{name}: {}", ran.out);
        assert!(ran.err.contains(said), "{name}: {}", ran.err);
        assert!(
            ran.out.is_empty()
                && !place.0.path().join("made").exists()
                && !place.0.path().join("made.toml").exists()
        );
    }
    let few = place.file(
        "few.toml",
        fs::read_to_string(gauge()).unwrap().replace("board.toml", &board("tide-gauge-head")),
    );
    let text = fs::read_to_string(&few).unwrap().replace("force_channels = 16", "force_channels = 2");
    fs::write(&few, text).unwrap();
    assert_eq!(place.run(&["bed", &few]).code, 2);
}

#[test]
fn a_folder_of_somebody_else_is_left_alone() {
    let place = Place::new();
    let folder = place.0.path().join("mine");
    fs::create_dir(&folder).unwrap();
    fs::write(folder.join("thesis.txt"), "years of work").unwrap();
    for force in [&[][..], &["--force"]] {
        let ran = place.run(&[&["bed", &board("trail-counter"), "--out", "mine"], force].concat());
        assert!(ran.code == 2 && ran.err.contains("is there already, and was left as it is"), "{}", ran.err);
    }
    assert_eq!(names(&folder), ["thesis.txt"]);
    let missing = place.run(&["bed", &board("trail-counter"), "--out", "no/where"]);
    assert!(missing.code == 2 && missing.err.contains("the folder it would stand in does not exist"));
    assert_eq!(place.run(&["bed", &board("trail-counter"), "--out", "bed"]).code, 0);
    assert_eq!(place.run(&["bed", &board("trail-counter"), "--out", "bed"]).code, 2);
    assert_eq!(place.run(&["bed", &board("trail-counter"), "--out", "bed", "--force"]).code, 0);
    // Nothing of what was made on the way is left beside it.
    assert!(names(place.0.path()).iter().all(|name| !name.starts_with(".copperwalk-")));
}

/// Two leads on each other's pins are named by what a golden unit reads, and a bed that is wired well is not blamed.
#[test]
fn exchanged_leads_are_named() {
    let place = Place::new();
    let prove = |fault: &str| {
        let fault: &[&str] = if fault.is_empty() { &[] } else { &["--fault", fault] };
        place.run(&[&["prove", &gauge(), "--virtual", "--golden", "3"], fault].concat())
    };
    let good = prove("");
    assert!(good.code == 0 && !good.out.contains("exchanged"), "{}{}", good.out, good.err);
    for (fault, said) in [
        ("fuse.in:sense~fuse.out:sense=exchanged", "sense leads of fuse.in and fuse.out"),
        ("tail.in:sense~sw.out:sense=exchanged", "sense leads of tail.in and sw.out"),
    ] {
        let ran = prove(fault);
        let out = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(ran.code == 3 && out.contains(said), "{fault}: {}{}", ran.out, ran.err);
    }
}
