//! What people enter about units besides sweeps, at the command line: units received, where they stand, photos, answers
//! to checks.

use std::io::Write;
use std::process::Stdio;

use copperwalk_tests::photo::photo;
use copperwalk_tests::program::{Place, Ran, gauge, sweep};
use serde_json::Value;

fn done(place: &Place, args: &[&str]) -> String {
    let ran = place.run(args);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}: {}", ran.out);
    ran.out
}

fn refused(place: &Place, args: &[&str], words: &str) {
    let ran = place.run(args);
    assert_eq!(ran.code, 2, "{args:?}: {}", ran.out);
    assert!(ran.err.contains(words), "{args:?}: {}", ran.err);
}

fn json(place: &Place, args: &[&str]) -> Value {
    serde_json::from_str(&done(place, &[args, &["--json"]].concat())).unwrap()
}

/// With a list on standard input.
fn piped(place: &Place, args: &[&str], list: &str) -> Ran {
    let mut command = place.command(args);
    let mut child =
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(list.as_bytes()).unwrap();
    Ran::of(child.wait_with_output().unwrap())
}

#[test]
fn units_are_received_by_name_or_from_a_list() {
    let place = Place::new();
    let said = done(&place, &["receive", "--lot", "May", "A-1", "A-2"]);
    assert_eq!(said, "2 units received with lot May\n");
    let ran = piped(&place, &["receive", "--lot", "May"], "A-2\r\n\n A-3\n");
    assert!(ran.code == 2 && ran.err.contains("begins or ends with a blank"), "{}", ran.err);
    let ran = piped(&place, &["receive", "--lot", "May"], "A-2\r\n\nA-3\n");
    assert_eq!(
        (ran.code, ran.out.as_str()),
        (0, "1 unit received with lot May; 1 were received before and are left as they are\n")
    );
    refused(&place, &["receive"], "no serial number was given");
    refused(
        &place,
        &["receive", "a-1"],
        "there is no unit \"a-1\" yet, but a unit \"A-1\"; nothing was received: say --yes if that is meant",
    );
    refused(
        &place,
        &["receive", "A-1", "B-1", "--lot", "June"],
        "belongs to lot \"May\" and would move to lot",
    );
    refused(&place, &["receive", "A-1", "--lot", "may"], "there is no lot \"may\" yet, but a lot \"May\"");
    assert_eq!(json(&place, &["units"]).as_array().unwrap().len(), 3, "of two units, neither was received");
    done(&place, &["receive", "A-1", "B-1", "--lot", "June", "--yes"]);
    let lot = json(&place, &["lot", "May"]);
    assert_eq!((lot["units"].as_array().unwrap().len(), &lot["now"]["unswept"]), (2, &2.into()));
    assert!(done(&place, &["lot", "June"]).contains("received"));
    assert!(done(&place, &["unit", "B-1"]).contains("it has not been swept yet"));
    for view in ["--csv", "--html=page.html"] {
        done(&place, &["lot", "June", view]);
        done(&place, &["unit", "B-1", view]);
    }
    assert_eq!(place.run(&["judge", "--lot", "June"]).code, 0, "there is nothing to judge");
    assert!(done(&place, &["records", "check"]).contains("the log of 4 units"));
}

#[test]
fn where_a_unit_stands_is_set_and_follows_from_sweeps() {
    let place = Place::new();
    let bed = gauge();
    done(&place, &sweep(&bed, "A-1", &[]));
    assert_eq!(json(&place, &["unit", "A-1"])["status"], "good");
    let said = done(&place, &["status", "A-1", "in repair"]);
    assert_eq!(said, "written down; A-1 is in repair\n");
    assert_eq!(json(&place, &["unit", "A-1"])["status"], "in_repair");
    assert!(done(&place, &["units"]).contains("in repair"));
    done(&place, &["status", "A-1", "in-repair"]);
    done(&place, &["status", "A-1", "sold"]);
    assert!(done(&place, &["unit", "A-1"]).contains("sold"));
    refused(&place, &["status", "A-1", "good"], "in-repair");
    refused(&place, &["status", "A-7", "sold"], "no unit \"A-7\"");
}

#[test]
fn checks_are_those_of_the_board_the_unit_was_swept_as() {
    let place = Place::new();
    let bed = gauge();
    done(&place, &["receive", "A-1"]);
    refused(
        &place,
        &["tick", "A-1", "display lights", "yes"],
        "has not been swept, so nothing says which checks",
    );
    done(&place, &sweep(&bed, "A-1", &[]));
    refused(&place, &["tick", "A-1", "display light", "yes"], "did you mean \"display lights\"?");
    refused(&place, &["tick", "A-1", "smell", "yes"], "its checks are display lights, case seal seated");
    refused(&place, &["tick", "A-1", "display lights", "maybe"], "yes, no");
    done(&place, &["tick", "A-1", "display lights", "no", "--note", "dark"]);
    done(&place, &["tick", "A-1", "display lights", "yes"]);
    let unit = json(&place, &["unit", "A-1"]);
    assert_eq!(unit["checklist"].as_array().unwrap().len(), 1);
    assert_eq!((&unit["checklist"][0]["done"], &unit["checklist"][0]["note"]), (&true.into(), &"".into()));
    let text = done(&place, &["unit", "A-1"]);
    assert!(text.lines().any(|line| line.starts_with("display lights") && line.contains("yes")), "{text}");
    let other = copperwalk_tests::program::fixture("trail-counter");
    done(&place, &sweep(&other, "B-1", &[]));
    refused(&place, &["tick", "B-1", "display lights", "yes"], "its file lists none; add a [[check]] to it");
}

#[test]
fn photos_are_kept_and_listed() {
    let place = Place::new();
    done(&place, &["receive", "A-1"]);
    let file = photo(&place);
    assert_eq!(done(&place, &["photo", "A-1", &file, "--caption", "crust"]), "kept as photo 1\n");
    assert!(done(&place, &["unit", "A-1"]).contains("photo       1: crust, 4 × 2 pixels"));
    let event = &json(&place, &["unit", "A-1"])["events"][1];
    assert_eq!(
        (&event["event"], &event["id"], &event["caption"]),
        (&"photo".into(), &1.into(), &"crust".into())
    );
    refused(&place, &["photo", "A-1", "missing.jpg"], "missing.jpg: No such file");
    refused(&place, &["photo", "A-1", "."], ". is a folder; name a file");
    refused(&place, &["photo", "A-1", "/dev/zero"], "/dev/zero is a device; name a file");
    refused(&place, &["photo", "A-1", "records.sqlite"], "no photo: the file is neither a JPEG nor a PNG");
    let large = place.file("large.jpg", vec![0; (10 << 20) + 1]);
    refused(&place, &["photo", "A-1", &large], "the photo is 11 MB long, and 10 MB are taken at most");
    refused(&place, &["photo", "A-2", &file], "no unit \"A-2\"");
    done(&place, &["unit", "A-1", "--html=page.html"]);
    assert!(done(&place, &["records", "check"]).contains("1 photos"));
    done(&place, &["records", "save", "copy.sqlite"]);
    done(&place, &["--records", "new.sqlite", "records", "restore", "copy.sqlite"]);
    assert!(done(&place, &["--records", "new.sqlite", "unit", "A-1"]).contains("crust"));
}
