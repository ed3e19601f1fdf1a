//! The program as people and scripts meet it: exit status, what stands on standard output, and what bad input gets.

use std::fs::{self, File};

use copperwalk_tests::program::{Place, Ran, fixture, gauge, sweep};
use serde_json::Value;

#[test]
fn the_exit_status_says_how_it_went() {
    let place = Place::new();
    let bed = gauge();
    for (more, code) in [
        (vec![], 0),
        (vec!["--fault", "via pair 2=one barrel open"], 0),
        (vec!["--fault", "via pair 1=open"], 1),
        (vec!["--fault", "power switch=330 ohm"], 1),
        (vec!["--fault", "cell+:sense=open"], 3),
        (vec!["--fault", "battery=3.0 V"], 3),
        (vec!["--fault", "no such part=open"], 2),
        (vec!["--fault", "power switch=banana"], 2),
        (vec!["--seed", "minus one"], 2),
    ] {
        let ran = place.run(&sweep(&bed, "A-1", &more));
        assert_eq!(ran.code, code, "{more:?}\n{}{}", ran.out, ran.err);
        assert_eq!(code == 2, ran.out.is_empty(), "results on standard output, complaints beside it");
    }
    assert_eq!(place.run(&["unit", "nobody"]).code, 2);
    assert_eq!(place.run(&["lot", "nothing"]).code, 2);
    assert_eq!(place.run(&["sweep", &bed, "--serial", "A-1"]).code, 2, "no bench named");
    assert_eq!(place.run(&["--help"]).code, 0);
}

#[test]
fn json_is_one_object_with_the_agreed_keys_and_the_same_to_the_byte() {
    let place = Place::new();
    let bed = gauge();
    let args = sweep(&bed, "A-1", &["--json", "--seed", "7", "--fault", "via pair 1=open"]);
    let (first, second) = (place.run(&args), place.run(&args));
    assert_eq!(first.out, second.out);
    assert_eq!(first.code, 1);
    let object: Value = serde_json::from_str(&first.out).unwrap();
    for key in ["serial", "board", "revision", "verdict", "segments", "isolation", "faults", "bench"] {
        assert!(!object[key].is_null(), "{key}");
    }
    for key in ["name", "state", "ohms", "ohms_20c", "u95_ohms", "min_ohms", "max_ohms", "verdict", "class"] {
        assert!(object["segments"][0].get(key).is_some(), "{key}");
    }
    for key in ["where", "class", "probability", "advice"] {
        assert!(!object["faults"][0][key].is_null(), "{key}");
    }
    assert_eq!(object["faults"][0].get("alternative"), Some(&Value::Null), "it stands alone");
    for key in ["shots", "closures", "device_ms"] {
        assert!(object["bench"][key].is_number(), "{key}");
    }
    assert_eq!(object["faults"][0]["where"], "via pair 1");
    assert_eq!(object["segments"].as_array().unwrap().len(), 12);
}

/// Proof, sweeps before and after it, one judged again, and a bench that is found unfit.
#[test]
fn sweeps_stand_on_the_proof_of_their_bench_and_are_judged_again_by_it() {
    let place = Place::new();
    let board = fs::read_to_string(fixture("tide-gauge-head").replace("fixture.toml", "board.toml")).unwrap();
    place.file("board.toml", board);
    let certificate = "tolerance = \"0.1 %\"\ncertificate = { value = \"1.00021 ohm\", uncertainty = \"0.01 %\", \
                       from = \"2026-01-01\", due = \"2999-01-01\" }";
    let text = fs::read_to_string(gauge()).unwrap().replacen("tolerance = \"0.1 %\"", certificate, 1);
    let bed = place.file("fixture.toml", text + "\n[proof]\nwithout = \"notice\"\n");
    let read = |serial: &str| -> Value {
        let ran = place.run(&sweep(&bed, serial, &["--json"]));
        assert_eq!(ran.code, 0, "{}", ran.err);
        serde_json::from_str(&ran.out).unwrap()
    };
    let before = read("P-1");
    assert_eq!(before["bench"]["proof"], Value::Null);
    assert!(before["notes"][0].as_str().unwrap().starts_with("nobody has proven this bench"), "{before}");

    let proven = place.run(&["prove", &bed, "--virtual", "--plate", "--golden", "3", "--json"]);
    assert_eq!(proven.code, 0, "{}", proven.err);
    let found: Value = serde_json::from_str(&proven.out).unwrap();
    assert_eq!(found["faults"], serde_json::json!([]));
    assert!(
        found["meter"]["rm"]["off"].is_number() && found["repeats"].as_array().unwrap().len() == 12,
        "{found}"
    );

    let after = read("P-2");
    assert_eq!(after["bench"]["proof"].as_str().map(str::len), Some(64), "{}", after["bench"]);
    assert_eq!(after["notes"], serde_json::json!([]));
    let u95 = |of: &Value| of["standards"][0]["u95_ohms"].as_f64().unwrap();
    assert!(u95(&after) < u95(&before) / 3.0, "{} {}", u95(&after), u95(&before));
    let again = place.run(&["judge", "--all"]);
    assert_eq!(again.out, "2 sweeps judged again; nothing changes\n", "{}", again.err);

    let unfit = place.run(&["prove", &bed, "--virtual", "--fault", "cell+:sense~tail.in:sense=touching"]);
    assert_eq!(unfit.code, 3, "{}", unfit.err);
    assert!(
        unfit.out.contains("NOT FIT") && unfit.out.contains("pin tail.in (sense channel 1)"),
        "{}",
        unfit.out
    );
    assert!(read("P-3")["notes"][0].as_str().unwrap().contains("found it unfit"));
    let sound = place.run(&["records", "check"]);
    assert!(sound.code == 0 && sound.out.contains("2 proofs of benches"), "{}", sound.out);
    assert_eq!(place.run(&["prove", &bed, "--virtual", "--golden", "2"]).code, 2);
}

#[test]
fn a_unit_is_found_again_before_and_after_its_repair() {
    let place = Place::new();
    let bed = fixture("trail-counter");
    let lot = ["--lot", "May"];
    assert_eq!(
        place.run(&sweep(&bed, "T/1 \"x\"", &[&lot[..], &["--fault", "wake key=330 ohm"]].concat())).code,
        1
    );
    assert_eq!(place.run(&["note", "T/1 \"x\"", "smells of coffee"]).code, 0);
    assert_eq!(place.run(&["repair", "T/1 \"x\"", "--at", "wake key", "--action", "cleaned"]).code, 0);
    assert_eq!(place.run(&sweep(&bed, "T/1 \"x\"", &lot)).code, 0);
    assert_eq!(place.run(&sweep(&bed, "T-2", &lot)).code, 0);

    let unit = place.run(&["unit", "T/1 \"x\""]);
    assert_eq!(unit.code, 0, "{}", unit.err);
    for word in ["wake key", "cleaned", "smells of coffee", "Ω", "pass", "fail"] {
        assert!(unit.out.contains(word), "{word}\n{}", unit.out);
    }
    let lot: Value = serde_json::from_str(&place.run(&["lot", "May", "--json"]).out).unwrap();
    assert_eq!((lot["first"]["fail"].as_u64(), lot["now"]["pass"].as_u64()), (Some(1), Some(2)), "{lot}");

    let csv = place.run(&["lot", "May", "--csv"]);
    assert!(csv.out.lines().count() >= 3, "{}", csv.out);
    let page = place.0.path().join("lot.html");
    assert_eq!(place.run(&["lot", "May", "--html", page.to_str().unwrap()]).code, 0);
    assert!(fs::read_to_string(page).unwrap().starts_with("<!DOCTYPE html>"));
    // A mistyped serial number gets a hint.
    let near = place.run(&["unit", "T-3"]);
    assert!(near.code == 2 && near.err.contains("T-2"), "{}", near.err);
}

#[test]
fn terminal_output_fits_eighty_columns() {
    let place = Place::new();
    for board in copperwalk_tests::campaign::EXAMPLES {
        let bed = fixture(board);
        // What `check` says begins with the file's path, which is as long as it is.
        for ran in [place.run(&sweep(&bed, board, &[])), place.run(&["plan", &bed])] {
            let wide: Vec<&str> = ran.out.lines().filter(|line| line.chars().count() > 80).collect();
            assert!(wide.is_empty(), "{board}: {wide:#?}");
        }
    }
}

#[test]
fn the_plan_keeps_its_closures_within_five_per_cent_of_the_bound() {
    let place = Place::new();
    let plan: Value = serde_json::from_str(&place.run(&["plan", &gauge(), "--json"]).out).unwrap();
    let walk = &plan["walks"][0];
    let (closures, bound) = (walk["closures"].as_f64().unwrap(), walk["bound"].as_f64().unwrap());
    println!("walk of {} segments: {closures} closures, bound {bound}", walk["segments"]);
    assert_eq!(walk["segments"], 12);
    assert_eq!(bound, 15.0, "twelve segments: 13 sense closures and 2 force closures");
    assert!(closures <= 1.05 * bound);
    let hides = |name: &str| {
        let item = plan["hidden"].as_array().unwrap().iter().find(|item| item["open"] == name).unwrap();
        item["hides"].as_array().unwrap().iter().map(|h| h.as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert!(hides("via pair 1").contains(&"cell fuse".to_owned()));
    assert!(hides("power switch").is_empty(), "force pins stand on both sides of the switch");
}

#[test]
fn bad_files_get_a_place_and_a_remedy() {
    let place = Place::new();
    let good =
        fs::read_to_string(format!("{}/../fixtures/tide-gauge-head/board.toml", env!("CARGO_MANIFEST_DIR")))
            .unwrap();
    let cases = [
        ("empty.toml", Vec::new(), ""),
        ("cut.toml", good.as_bytes()[..good.len() / 2].to_vec(), "cut.toml"),
        ("bytes.toml", vec![0xFF, 0xFE, 0x00, 0x41], "UTF-8"),
        ("huge.toml", vec![b'#'; 3 << 20], "larger than"),
        ("format.toml", good.replacen("format = 1", "format = 99", 1).into_bytes(), "format"),
        ("unit.toml", good.replacen("length = \"", "length = \"1 kg #", 1).into_bytes(), "length"),
        ("nan.toml", good.replacen("max = \"", "max = \"nan ohm #", 1).into_bytes(), "max"),
        ("minus.toml", good.replacen("max = \"", "max = \"-5 mohm #", 1).into_bytes(), "max"),
    ];
    for (name, content, word) in cases {
        let path = place.file(name, content);
        let ran = place.run(&["check", &path]);
        let said = format!("{}{}", ran.out, ran.err);
        assert_eq!(ran.code, 2, "{name}: {said}");
        assert!(said.contains(name) && said.contains(word), "{name}: {said}");
    }
    let missing = place.run(&["sweep", "no-such.toml", "--virtual", "--serial", "A"]);
    assert!(missing.code == 2 && missing.err.contains("no-such.toml"), "{}", missing.err);
    assert_eq!(place.run(&["check", place.0.path().to_str().unwrap()]).code, 2, "a folder is no file");
}

#[test]
fn bad_serial_numbers_are_refused_and_odd_ones_kept() {
    let place = Place::new();
    let bed = gauge();
    let long = "7".repeat(10_000);
    for serial in ["", " A", "a\nb", long.as_str()] {
        let ran = place.run(&sweep(&bed, serial, &[]));
        assert_eq!(ran.code, 2, "{serial:?}");
        assert!(ran.err.contains("serial number") && ran.err.len() < 1000, "{}", ran.err);
    }
    for serial in ["../../etc/passwd", "'; DROP TABLE unit; --", "\"quoted\"", "<b>7</b>", "=1+1"] {
        let page = place.0.path().join("page.html");
        let ran = place.run(&sweep(&bed, serial, &["--html", page.to_str().unwrap()]));
        assert_eq!(ran.code, 0, "{serial}: {}", ran.err);
        assert!(!fs::read_to_string(page).unwrap().contains("<b>7</b>"));
        assert_eq!(place.run(&["unit", serial]).code, 0, "{serial}");
    }
}

#[test]
fn a_record_store_that_cannot_be_used_is_said_before_anything_is_measured() {
    let place = Place::new();
    let bed = gauge();
    let garbage =
        place.file("garbage.sqlite", "this is no database, and long enough not to be taken for an empty one");
    let under_a_file = format!("{garbage}/records.sqlite");
    for store in [garbage.as_str(), under_a_file.as_str(), "/proc/records.sqlite"] {
        let ran = place.run(&[&["--records", store][..], &sweep(&bed, "A-1", &[])].concat());
        assert_eq!(ran.code, 2, "{store}: {}", ran.err);
        assert!(ran.out.is_empty() && ran.err.contains(store), "{store}: {}", ran.err);
    }
    assert!(fs::read_to_string(&garbage).unwrap().starts_with("this is no database"), "kept untouched");
}

#[test]
fn a_full_disk_behind_standard_output_is_an_error_and_the_record_is_kept() {
    let place = Place::new();
    let bed = gauge();
    let full = || File::options().write(true).open("/dev/full").unwrap();
    let ran =
        place.command(&sweep(&bed, "A-1", &["--fault", "via pair 1=open"])).stdout(full()).output().unwrap();
    let ran = Ran::of(ran);
    assert_eq!(ran.code, 2);
    assert_eq!(
        ran.err,
        "copperwalk: A-1: ✗ fail: via pair 1 is open.\n\
         copperwalk: recorded as sweep 1\n\
         copperwalk: standard output: No space left on device (os error 28); check where it leads, and the free \
         space there\n\
         copperwalk: the sweep itself is kept; `copperwalk unit` shows it\n"
    );
    assert_eq!(place.run(&["unit", "A-1"]).code, 0, "recorded before it was shown");
    let unit = Ran::of(place.command(&["unit", "A-1"]).stdout(full()).output().unwrap());
    assert!(unit.code == 2 && unit.err.contains("standard output"), "{}", unit.err);
}

#[test]
fn a_closed_pipe_ends_with_the_verdict_and_says_where_the_sweep_is() {
    let place = Place::new();
    let bed = gauge();
    for (number, more, code) in [(1, vec![], 0), (2, vec!["--fault", "via pair 1=open"], 1)] {
        let (reader, writer) = std::io::pipe().unwrap();
        drop(reader);
        let ran = Ran::of(place.command(&sweep(&bed, "A-1", &more)).stdout(writer).output().unwrap());
        assert_eq!(ran.code, code);
        let last = ran.err.lines().last().unwrap();
        assert_eq!(
            (ran.err.lines().count(), last),
            (2, format!("copperwalk: recorded as sweep {number}").as_str())
        );
    }
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let ran = Ran::of(place.command(&["unit", "A-1"]).stdout(writer).output().unwrap());
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "whoever read it has seen enough");
}

#[test]
fn the_demo_runs_a_whole_lot_from_an_empty_folder() {
    let place = Place::new();
    let ran = place.run(&["demo"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("24 units") && ran.out.contains("demo-report/index.html"), "{}", ran.out);
    let folder = place.0.path().join("demo-report");
    let pages = fs::read_dir(&folder)
        .unwrap()
        .filter(|e| e.as_ref().unwrap().path().extension().is_some_and(|x| x == "html"));
    assert!(pages.count() > 24);
    assert!(!place.0.path().join("records.sqlite").exists(), "the demo keeps out of the user's records");
    // Again: its own records begin afresh.
    assert!(place.run(&["demo"]).out.contains("24 units, 29 sweeps"));
}
