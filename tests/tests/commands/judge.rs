//! `copperwalk judge`: stored measurements judged again, by the same limits and by others; what is kept, what is refused,
//! what an altered row and Ctrl-C leave.

use std::fs;
use std::path::PathBuf;
use std::process::Stdio;

use copperwalk::records::{Records, SweepId};
use copperwalk::verdict::Verdict;
use copperwalk_tests::database::Database;
use copperwalk_tests::program::{Place, Ran, fixture, gauge, interrupt, sweep};
use serde_json::{Value, json};

/// The exit status after Ctrl-C: 128 and the signal's number, as shells have it (common practice).
const CANCELLED: i32 = 130;

/// Limits that a healthy tide gauge head does not keep: its switch reads about 40 mΩ.
const TIGHT: &str = "format = 1\n[limits]\n\"power switch\" = { max = \"30 mohm\" }\n";

/// A place with three sweeps: 1 of A-1, healthy, and 2 of A-2, with an open via, both of lot May; 3 of T-1, another
/// board, of lot June.
fn swept() -> Place {
    let place = Place::new();
    let (bed, other) = (gauge(), fixture("trail-counter"));
    let open = ["--lot", "May", "--fault", "via pair 1=open"];
    assert_eq!(place.run(&sweep(&bed, "A-1", &["--lot", "May"])).code, 0);
    assert_eq!(place.run(&sweep(&bed, "A-2", &open)).code, 1);
    assert_eq!(place.run(&sweep(&other, "T-1", &["--lot", "June"])).code, 0);
    place
}

fn store(place: &Place) -> PathBuf {
    place.0.path().join("records.sqlite")
}

fn records(place: &Place) -> Records {
    Records::open_to_read(&store(place)).unwrap()
}

/// What `records check` says; it must find nothing wrong.
fn checked(place: &Place) -> String {
    let ran = place.run(&["records", "check"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    ran.out
}

/// A text as one line with single blanks, so that it does not matter where it was broken.
fn flat(text: &str) -> String {
    text.replace("  │ ", " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn by_the_same_limits_nothing_changes_and_nothing_is_written() {
    let place = swept();
    let before = fs::read(store(&place)).unwrap();
    for (which, sweeps) in [
        (vec!["A-1"], "1 sweep"),
        (vec!["A-2"], "1 sweep"),
        (vec!["--lot", "May"], "2 sweeps"),
        (vec!["--all"], "3 sweeps"),
    ] {
        let ran = place.run(&[&["judge"][..], &which].concat());
        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{which:?}");
        assert_eq!(ran.out, format!("{sweeps} judged again; nothing changes\n"), "{which:?}");
    }
    assert_eq!(fs::read(store(&place)).unwrap(), before);
}

#[test]
fn tighter_limits_change_the_named_segment_and_say_why() {
    let place = swept();
    let limits = place.file("tight.toml", TIGHT);
    let ran = place.run(&["judge", "A-1", "--limits", &limits]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "a change is no error");
    assert_eq!(
        ran.out,
        "1 sweep judged again; 1 would change\n\
         \n\
         sweep 1 · A-1 · tide gauge head: ✓ pass → ✗ fail\n  \
           • power switch, on: pass → fail, class ok → high\n    \
             the limit was at most 300 mΩ and is at most 30.0 mΩ\n\
         \n\
         Nothing was kept; --keep adds these judgements to the records.\n"
    );
    // A unit that fails anyway fails by one segment more.
    let lot = place.run(&["judge", "--lot", "May", "--limits", &limits]);
    assert!(lot.out.starts_with("2 sweeps judged again; 2 would change\n"), "{}", lot.out);
    assert!(lot.out.contains("sweep 2 · A-2 · tide gauge head: ✗ fail\n"), "{}", lot.out);
    assert_eq!(lot.out.matches("power switch, on: pass → fail, class ok → high").count(), 2, "{}", lot.out);
    assert_eq!(records(&place).judgements(SweepId(1)).unwrap().len(), 1, "without --keep nothing is kept");
}

#[test]
fn a_wider_limit_clears_a_unit_and_a_lower_one_catches_a_part_that_is_bridged() {
    let place = Place::new();
    let bed = gauge();
    assert_eq!(place.run(&sweep(&bed, "A-1", &["--fault", "tail trace=15 mohm"])).code, 1);
    let wide = place.file("wide.toml", "format = 1\n[limits]\n\"tail trace\" = { max = \"20 mohm\" }\n");
    let ran = place.run(&["judge", "--all", "--limits", &wide]);
    assert!(ran.out.contains("tide gauge head: ✗ fail → ✓ pass"), "{}", ran.out);
    assert!(ran.out.contains("tail trace, on: fail → pass, class high → ok"), "{}", ran.out);
    assert_eq!(place.run(&sweep(&bed, "A-2", &[])).code, 0);
    let low = "format = 1\n[limits]\n\"power switch\" = { min = \"100 mohm\" }\n";
    let low = place.file("low.toml", low);
    let ran = place.run(&["judge", "A-2", "--limits", &low]);
    assert!(ran.out.contains("power switch, on: pass → fail, class ok → low"), "{}", ran.out);
    let why = "the limit was at most 300 mΩ and is 100 mΩ to 300 mΩ";
    assert!(ran.out.contains(why), "{}", ran.out);
}

#[test]
fn json_is_one_object_of_the_agreed_shape() {
    let place = swept();
    let limits = place.file("tight.toml", TIGHT);
    let ran = place.run(&["judge", "--lot", "May", "--limits", &limits, "--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let object: Value = serde_json::from_str(&ran.out).unwrap();
    let change = json!({
        "where": "power switch", "state": "on",
        "before": { "verdict": "pass", "class": "ok" },
        "after": { "verdict": "fail", "class": "high" },
        "why": "the limit was at most 300 mΩ and is at most 30.0 mΩ",
    });
    let changed = |sweep: i64, serial: &str, before: &str| {
        json!({
            "sweep": sweep, "serial": serial, "board": "tide gauge head",
            "before": before, "after": "fail", "changes": [change],
        })
    };
    let expected = json!({
        "judged": 2, "kept": 0,
        "changed": [changed(1, "A-1", "pass"), changed(2, "A-2", "fail")],
        "skipped": [],
    });
    assert_eq!(object, expected);
    let all: Value = serde_json::from_str(&place.run(&["judge", "--all", "--json"]).out).unwrap();
    assert_eq!(all, json!({ "judged": 3, "kept": 0, "changed": [], "skipped": [] }));
}

#[test]
fn keep_appends_a_judgement_and_the_old_one_stays() {
    let place = swept();
    let limits = place.file("tight.toml", TIGHT);
    let first = records(&place).judgements(SweepId(1)).unwrap();
    let ran = place.run(&["judge", "A-1", "--limits", &limits, "--keep"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    assert!(ran.out.starts_with("1 sweep judged again and kept; 1 changes\n"), "{}", ran.out);
    assert!(!ran.out.contains("Nothing was kept"), "{}", ran.out);

    let both = records(&place).judgements(SweepId(1)).unwrap();
    assert_eq!((both.len(), &both[0]), (2, &first[0]));
    let verdicts: Vec<_> = both.iter().map(|past| past.judgement.verdict).collect();
    assert_eq!(verdicts, [Verdict::Pass, Verdict::Fail]);
    assert_eq!(both[1].judgement.limits.origin, "limits file");
    assert_ne!(both[1].judgement.limits.hash, both[0].judgement.limits.hash);
    let unit: Value = serde_json::from_str(&place.run(&["unit", "A-1", "--json"]).out).unwrap();
    assert_eq!(unit["events"].as_array().unwrap().len(), 1, "one sweep, however often it is judged");
    assert_eq!(unit["events"][0]["verdict"], "fail", "the latest is shown: {unit}");
    assert!(place.run(&["unit", "A-1"]).out.contains("power switch reads high"));
    assert!(place.run(&["units"]).out.contains("✗ fail"));
    assert!(checked(&place).starts_with("as they were written: 3 sweeps with 4 judgements"));

    // Judged again by the board file's limits, it is measured against the judgement that was kept.
    let back = place.run(&["judge", "A-1", "--keep"]);
    assert!(back.out.contains("✗ fail → ✓ pass"), "{}", back.out);
    assert!(back.out.contains("the limit was at most 30.0 mΩ and is at most 300 mΩ"), "{}", back.out);
    let same = place.run(&["judge", "--all", "--keep"]);
    assert_eq!(same.out, "3 sweeps judged again and kept; nothing changes\n");
    assert!(checked(&place).starts_with("as they were written: 3 sweeps with 8 judgements"));
}

#[test]
fn what_cannot_be_meant_is_refused_with_its_place_and_its_remedy() {
    let place = swept();
    let one = |line: &str| format!("format = 1\n[limits]\n{line}\n");
    for (name, content, at, words) in [
        ("slip.toml", one("\"power swich\" = { max = \"1 ohm\" }"), ":3:", "did you mean `power switch`?"),
        ("unit.toml", one("\"power switch\" = { max = \"1 V\" }"), ":3:", "`max` of `power switch`"),
        ("bare.toml", one("\"power switch\" = { max = 1 }"), ":3:", "`max` of `power switch`"),
        (
            "above.toml",
            one("\"cell fuse\" = { min = \"2 ohm\", max = \"1 ohm\" }"),
            ":3:",
            "`min` of `cell fuse` is above its `max`",
        ),
        ("word.toml", one("\"cell fuse\" = { most = \"1 ohm\" }"), ":3:", "has no key `most`"),
        ("list.toml", one("\"cell fuse\" = [1]"), ":3:", "write { min = \"200 mohm\", max = \"900 mohm\" }"),
        ("later.toml", "format = 2\n[limits]\n".into(), ":1:", "format 2 is not known to this program"),
        ("bare.txt", "power switch: 30 mohm\n".into(), ":1:", "this is not TOML"),
        ("none.toml", "format = 1\n".into(), "", "[limits]"),
    ] {
        let path = place.file(name, content);
        let ran = place.run(&["judge", "A-1", "--limits", &path]);
        let said = flat(&ran.err);
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{name}: {said}");
        assert!(said.contains(words), "{name}: {words}: {said}");
        assert!(said.contains(&format!("{name}{at}")), "{name}: {said}");
        assert!(said.contains("help: "), "{name}: a remedy: {said}");
    }
    for (args, words) in [
        (vec!["A-3"], "no unit \"A-3\" in the records"),
        (vec!["a-1"], "did you mean \"A-1\""),
        (vec!["--lot", "Mai"], "no unit of a lot \"Mai\" in the records"),
        (vec!["--lot", "may"], "did you mean \"May\"?"),
        (vec!["A-1", "--limits", "nonesuch.toml"], "nonesuch.toml cannot be read"),
        (vec!["A-1", "--limits", "."], ". is a folder"),
        (vec![], "required arguments"),
        (vec!["A-1", "--all"], "cannot be used with"),
        (vec!["--lot", "May", "--all"], "cannot be used with"),
        (vec![" A-1"], "begins or ends with a blank"),
    ] {
        let ran = place.run(&[&["judge"][..], &args].concat());
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{args:?}: {}", ran.err);
        assert!(ran.err.contains(words), "{args:?}: {}", ran.err);
    }
    assert!(checked(&place).starts_with("as they were written: 3 sweeps with 3 judgements"));
    let nowhere = Place::new();
    let ran = nowhere.run(&["judge", "--all"]);
    assert!(ran.code == 2 && ran.err.contains("there are no records at"), "{}", ran.err);
    assert!(!store(&nowhere).exists(), "judging begins no store");
}

#[test]
fn limits_that_fit_one_board_of_several_are_refused_naming_the_other() {
    let place = swept();
    let limits = place.file("tight.toml", TIGHT);
    for more in [&[][..], &["--keep"], &["--json"]] {
        let ran = place.run(&[&["judge", "--all", "--limits", &limits][..], more].concat());
        assert_eq!((ran.code, ran.out.as_str()), (2, ""), "{more:?}");
        let said = flat(&ran.err);
        for words in [
            "names the segment `power switch`, which does not exist",
            "does not fit board \"trail counter\"",
            "name one unit, or a lot with --lot; nothing was judged",
        ] {
            assert!(said.contains(words), "{words}: {said}");
        }
    }
    let judgements = records(&place).judgements(SweepId(1)).unwrap();
    assert_eq!(judgements.len(), 1, "refused before anything is kept");
    // Where the file itself is wrong, no other choice of boards mends it, and none is named.
    let broken = place.file("broken.toml", "format = 1\n[limits\n");
    let ran = place.run(&["judge", "--all", "--limits", &broken]);
    assert!(ran.code == 2 && !ran.err.contains("does not fit board"), "{}", ran.err);
    // One lot, one board.
    let ran = place.run(&["judge", "--lot", "May", "--limits", &limits]);
    assert_eq!(ran.code, 0, "{}", ran.err);
}

#[test]
fn an_altered_measurement_is_named_and_skipped_and_the_rest_is_judged() {
    for (table, update, words) in [
        ("measurement", "UPDATE measurement SET bench_name = 'another' WHERE measurement_id = 2", "sweep 2"),
        ("raw", "UPDATE raw SET runs = zeroblob(length(runs)) WHERE measurement_id = 2", "sweep 2"),
        ("segment", "UPDATE segment SET verdict = 'pass' WHERE judgement_id = 2", "sweep 2"),
    ] {
        let place = swept();
        Database::open(&store(&place)).alter(table, update);
        let ran = place.run(&["judge", "--all", "--keep"]);
        assert_eq!((ran.code, ran.err.as_str()), (2, ""), "{table}: {}", ran.out);
        assert!(
            ran.out.starts_with("2 sweeps judged again and kept; nothing changes\n"),
            "{table}: {}",
            ran.out
        );
        let said = flat(&ran.out);
        assert!(said.contains("Not judged") && said.contains(words), "{table}: {said}");
        assert!(said.contains("not as it was written"), "{table}: {said}");
        let kept = [1, 3].map(|id| records(&place).judgements(SweepId(id)).unwrap().len());
        assert_eq!(kept, [2, 2], "{table}");
        let ran = place.run(&["judge", "--all", "--json"]);
        let object: Value = serde_json::from_str(&ran.out).unwrap();
        assert_eq!((ran.code, &object["judged"], &object["skipped"][0]["sweep"]), (2, &json!(2), &json!(2)));
        assert!(object["skipped"][0]["why"].as_str().unwrap().contains("not as it was written"), "{object}");
        assert_eq!(place.run(&["records", "check"]).code, 2, "{table}: what check says is what judge says");
    }
}

/// Presses Ctrl-C while the program waits for a store that somebody else has locked, then gives the store free.
fn cancelled_at_the_lock(place: &Place, args: &[&str]) -> Ran {
    let mut lock = Database::open(&store(place));
    lock.lock();
    let mut command = place.command(args);
    let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    interrupt(child.id());
    drop(lock);
    Ran::of(child.wait_with_output().unwrap())
}

#[test]
fn ctrl_c_ends_judging_and_leaves_whole_judgements_only() {
    let place = swept();
    let ran = cancelled_at_the_lock(&place, &["judge", "--all", "--keep"]);
    assert_eq!((ran.code, ran.out.as_str()), (CANCELLED, ""), "{}", ran.err);
    assert!(ran.err.starts_with("copperwalk: cancelled after "), "{}", ran.err);
    let kept = |count: usize| format!("of 3 sweeps; new judgements kept: {count}\n");
    let counts = [1, 2, 3].map(|id| records(&place).judgements(SweepId(id)).unwrap().len() - 1);
    let count = counts.iter().sum();
    assert!(count < 3, "it was cancelled: {counts:?}");
    assert!(ran.err.ends_with(&kept(count)), "what is said is what was kept, {counts:?}: {}", ran.err);
    let said = checked(&place);
    assert!(
        said.starts_with(&format!("as they were written: 3 sweeps with {} judgements", 3 + count)),
        "{said}"
    );
    // And the same again, to its end.
    assert_eq!(place.run(&["judge", "--all", "--keep"]).code, 0);
}

/// A sweep that is measured and waits for the store: it is cancelled and not there, or it is there whole.
#[test]
fn ctrl_c_before_a_sweep_is_recorded_leaves_it_whole_or_not_at_all() {
    let place = swept();
    let bed = gauge();
    let ran = cancelled_at_the_lock(&place, &sweep(&bed, "A-9", &["--fault", "via pair 2=open"]));
    let known = place.run(&["unit", "A-9"]).code == 0;
    match ran.code {
        CANCELLED => assert!(!known && ran.err.contains("nothing was recorded"), "{}", ran.err),
        1 => assert!(known && ran.out.contains("via pair 2 is open"), "{}{}", ran.out, ran.err),
        other => panic!("exit status {other}: {}{}", ran.out, ran.err),
    }
    checked(&place);
}
