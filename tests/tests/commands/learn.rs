//! `copperwalk learn`: limits from golden units of the modelled bench, a sweep that is judged by them, and what is refused.

use std::fs;

use copperwalk::records::{Records, SweepId};
use copperwalk_tests::program::{Place, fixture, gauge, sweep};
use serde_json::Value;

/// Enough golden units for 99 % coverage with 95 % confidence, and two to spare.
const UNITS: u64 = 12;

/// A place where so many good units of lot May were swept: G-1, G-2 …
fn swept(units: u64) -> Place {
    let place = Place::new();
    for number in 1..=units {
        let (serial, seed) = (format!("G-{number}"), (100 + number).to_string());
        let ran = place.run(&sweep(&gauge(), &serial, &["--lot", "May", "--seed", &seed]));
        assert_eq!(ran.code, 0, "{}", ran.out);
    }
    place
}

/// A bed in this place: the board, and the fixture with a line for its limits.
fn bed(place: &Place, limits: &str) -> String {
    let board = fs::read_to_string(fixture("tide-gauge-head").replace("fixture.toml", "board.toml")).unwrap();
    place.file("board.toml", board);
    let text = fs::read_to_string(gauge()).unwrap();
    let named = format!("board = \"board.toml\"\n{limits}\n");
    let text = text.replacen("board = \"board.toml\"\n", &named, 1);
    // The golden units were read on this very bed: its pins stand where they stood.
    let text = text.replace(" }\n", ", off = \"0.02 mm\" }\n");
    assert!(limits.is_empty() || text.contains(limits), "the fixture names its board in another way");
    place.file("fixture.toml", text)
}

#[test]
fn a_sweep_is_judged_by_what_golden_units_read() {
    let place = swept(UNITS);
    // Two that do not count: one that failed, one that was repaired.
    assert_eq!(place.run(&sweep(&gauge(), "B-1", &["--lot", "May", "--fault", "via pair 1=open"])).code, 1);
    assert_eq!(place.run(&sweep(&gauge(), "B-2", &["--lot", "May", "--seed", "200"])).code, 0);
    assert_eq!(place.run(&["repair", "B-2", "--at", "cell fuse", "--action", "reflowed"]).code, 0);

    let ran = place.run(&["learn", &gauge(), "--lot", "May", "-o", "limits.toml"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    assert!(ran.out.contains("12 golden units of lot May"), "{}", ran.out);
    assert!(
        ran.out.contains("B-1: its last sweep failed") && ran.out.contains("B-2: it was repaired"),
        "{}",
        ran.out
    );
    let text = fs::read_to_string(place.0.path().join("limits.toml")).unwrap();
    for kept in ["units = 12", "lot = \"May\"", "coverage = 0.99", "confidence = 0.95"] {
        assert!(text.contains(kept), "{text}");
    }

    // A unit whose switch reads three times what those of golden units do, and is inside the limit of the board file,
    // 300 mΩ.
    let bed_of_board = bed(&place, "");
    let high = ["--fault", "power switch=200 mohm"];
    assert_eq!(place.run(&sweep(&bed_of_board, "C-1", &high)).code, 0, "the board's own limit lets it pass");
    let learned = bed(&place, "limits = \"limits.toml\"");
    assert_eq!(place.run(&["check", &learned]).code, 0);
    let good = place.run(&sweep(&learned, "C-2", &["--seed", "300", "--json"]));
    assert_eq!(good.code, 0, "{}", good.out);
    let ran = place.run(&sweep(&learned, "C-3", &[&high[..], &["--json"]].concat()));
    assert_eq!(ran.code, 1, "{}", ran.out);
    let object: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(object["faults"][0]["where"], "power switch", "{}", ran.out);

    // The records carry the limits: judged again without the file, the verdict is the same.
    fs::remove_file(place.0.path().join("limits.toml")).unwrap();
    let ran = place.run(&["judge", "C-3"]);
    assert_eq!((ran.code, ran.out.as_str()), (0, "1 sweep judged again; nothing changes\n"), "{}", ran.err);
    let records = Records::open_to_read(&place.0.path().join("records.sqlite")).unwrap();
    let id = records.unit("C-3").unwrap().sweeps().last().unwrap().id;
    let used = records.sweep(id).unwrap().judgement.limits;
    assert_eq!(used.origin, "learned limits");
    let other = records.sweep(SweepId(1)).unwrap();
    assert_eq!(other.judgement.limits.origin, "board file");
    assert_ne!(
        records.sweep(id).unwrap().measurement.basis.bed.map(|bed| bed.fixture_hash),
        other.measurement.basis.bed.map(|bed| bed.fixture_hash)
    );
    drop(records);
    assert_eq!(place.run(&["records", "check"]).code, 0);
    // The fixture without its limits is no fixture any more.
    let ran = place.run(&sweep(&learned, "C-4", &[]));
    assert!(ran.code == 2 && ran.err.contains("limits.toml"), "{}", ran.err);
}

#[test]
fn what_cannot_be_learned_is_refused_in_words() {
    let place = swept(3);
    let ran = place.run(&["learn", &gauge(), "--lot", "May", "-o", "limits.toml"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("3 golden units") && ran.err.contains("sweep 7 more"), "{}", ran.err);
    assert!(!place.0.path().join("limits.toml").exists(), "nothing was written");
    let ran = place.run(&["learn", &gauge(), "--serials", "G-1,G-2,G-2", "-o", "limits.toml"]);
    assert!(ran.code == 2 && ran.err.contains("2 golden units"), "{}", ran.err);
    let ran = place.run(&["learn", &gauge(), "--lot", "June", "-o", "limits.toml"]);
    assert!(ran.code == 2 && ran.err.contains("June"), "{}", ran.err);
    let ran = place.run(&["learn", &gauge(), "--serials", "G-1,X-9", "-o", "limits.toml"]);
    assert!(ran.code == 2 && ran.err.contains("X-9"), "{}", ran.err);
    // Units of another board do not count.
    let ran = place.run(&["learn", &fixture("trail-counter"), "--lot", "May", "-o", "limits.toml"]);
    assert!(ran.code == 2 && ran.err.contains("it was swept as board"), "{}", ran.err);
    // What somebody else wrote stays.
    place.file("mine.toml", "format = 1\n");
    let ran = place.run(&["learn", &gauge(), "--lot", "May", "-o", "mine.toml"]);
    assert!(ran.code == 2 && ran.err.contains("no limits file of copperwalk"), "{}", ran.err);
    for share in ["0.2", "1", "many"] {
        let ran = place.run(&["learn", &gauge(), "--lot", "May", "-o", "limits.toml", "--coverage", share]);
        assert!(ran.code == 2 && ran.err.contains("0.5 to 0.9999"), "{}", ran.err);
    }
}
