//! The record store as a file among others: no command destroys one, none waits for what is no file, reading changes
//! nothing, copies are whole, and a sweep that a locked store could not take is taken in later, once.
#![cfg(unix)]

use std::fs;
use std::os::unix::fs::symlink;
use std::process::{Command, Stdio};
use std::thread;
use std::time::Duration;

use copperwalk::records::{Records, SweepId};
use copperwalk_tests::database::Database;
use copperwalk_tests::program::{Place, Ran, gauge, names, program, sweep};

/// A place with a store of two sweeps.
fn stored() -> Place {
    let place = Place::new();
    assert_eq!(place.run(&sweep(&gauge(), "A-1", &["--lot", "May"])).code, 0);
    assert_eq!(place.run(&sweep(&gauge(), "A-2", &["--fault", "via pair 1=open"])).code, 1);
    place
}

fn store(place: &Place) -> Vec<u8> {
    fs::read(place.0.path().join("records.sqlite")).unwrap()
}

/// Refused, in words, within the time a test may take.
fn refused(place: &Place, args: &[&str], words: &str) {
    let mut child = place.command(args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    for _ in 0..600 {
        if child.try_wait().unwrap().is_some() {
            break;
        }
        thread::sleep(Duration::from_millis(100));
    }
    let _ = child.kill();
    let ran = Ran::of(child.wait_with_output().unwrap());
    assert_eq!(ran.code, 2, "{args:?}: {}{}", ran.out, ran.err);
    assert!(ran.err.contains(words), "{args:?}: {}", ran.err);
}

#[test]
fn a_demo_leaves_every_store_alone_that_it_did_not_make() {
    let place = stored();
    let before = store(&place);
    refused(
        &place,
        &["demo", "--out", "."],
        "was not made by the demo and is left as it is; name another folder",
    );
    assert_eq!(store(&place), before);
    assert_eq!(names(place.0.path()), ["records.sqlite"]);
    // Whatever stands under that name, and wherever a link leads.
    let folder = place.0.path().join("linked");
    fs::create_dir(&folder).unwrap();
    symlink("../records.sqlite", folder.join("records.sqlite")).unwrap();
    refused(&place, &["demo", "--out", "linked"], "was not made by the demo");
    assert_eq!(store(&place), before);
    fs::create_dir(place.0.path().join("other")).unwrap();
    fs::write(place.0.path().join("other/records.sqlite"), "a letter").unwrap();
    refused(&place, &["demo", "--out", "other"], "is not a record store");
    assert_eq!(fs::read(place.0.path().join("other/records.sqlite")).unwrap(), b"a letter");
}

#[test]
fn demos_at_once_and_after_a_kill_each_come_to_their_end() {
    let place = Place::new();
    let demo = || {
        let mut command = place.command(&["demo", "--out", "d"]);
        command.stdout(Stdio::piped()).stderr(Stdio::piped());
        command
    };
    let mut killed = demo().spawn().unwrap();
    thread::sleep(Duration::from_millis(300));
    killed.kill().unwrap();
    killed.wait().unwrap();
    let demos: Vec<_> = (0..3).map(|_| demo().spawn().unwrap()).collect();
    for child in demos {
        let ran = Ran::of(child.wait_with_output().unwrap());
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert!(ran.out.contains("24 units, 29 sweeps"), "{}", ran.out);
    }
    let again = place.run(&["demo", "--out", "d"]);
    assert_eq!(again.code, 0, "{}", again.err);
    let check = place.run(&["--records", "d/records.sqlite", "records", "check"]);
    assert!(check.code == 0 && check.out.contains("29 sweeps"), "{}{}", check.out, check.err);
}

#[test]
fn no_output_of_any_command_replaces_a_store() {
    let place = stored();
    assert_eq!(place.run(&["records", "save", "copy.sqlite"]).code, 0);
    symlink("records.sqlite", place.0.path().join("link.html")).unwrap();
    let before = store(&place);
    let bed = gauge();
    for target in ["records.sqlite", "./records.sqlite-wal", "copy.sqlite", "link.html"] {
        let csv = format!("--csv={target}");
        for args in [
            sweep(&bed, "A-1", &["--html", target, "--force"]),
            sweep(&bed, "A-1", &[&csv, "--force"]),
            vec!["unit", "A-1", "--html", target, "--force"],
            vec!["unit", "A-1", &csv, "--force"],
            vec!["lot", "May", "--html", target, "--force"],
            vec!["lot", "May", &csv, "--force"],
        ] {
            refused(&place, &args, "it is never replaced: name another place");
        }
        if !target.ends_with("-wal") {
            refused(&place, &["records", "save", target], "exists and is never written over");
        }
        if target.ends_with(".sqlite") {
            refused(
                &place,
                &["--records", target, "records", "restore", "copy.sqlite"],
                "never written over",
            );
        }
    }
    assert_eq!(store(&place), before);
}

#[test]
fn what_is_no_file_is_no_store_and_nothing_waits_for_it() {
    let place = stored();
    let at = |name: &str| place.0.path().join(name).to_str().unwrap().to_owned();
    assert!(Command::new("mkfifo").arg(at("pipe")).status().unwrap().success());
    fs::create_dir(at("folder")).unwrap();
    symlink("/dev/zero", at("zero")).unwrap();
    let bed = gauge();
    for (name, what) in [
        ("pipe", "is a pipe, a socket or a device"),
        ("zero", "a device"),
        ("/dev/zero", "a device"),
        ("folder", "is a folder, not a file"),
    ] {
        let on = |rest: &[&'static str]| [&["--records", name], rest].concat();
        for args in [
            on(&["unit", "A-1"]),
            on(&["lot", "May"]),
            on(&["units"]),
            on(&["lots"]),
            on(&["judge", "--all"]),
            on(&["judge", "--all", "--keep"]),
            on(&["note", "A-1", "x"]),
            on(&["repair", "A-1", "--at", "cell fuse", "--action", "replaced"]),
            on(&["void", "A-1", "--sweep", "1", "--because", "x"]),
            on(&["records", "check"]),
            on(&["records", "save", "copy"]),
            [&["--records", name][..], &sweep(&bed, "A-1", &[])].concat(),
            vec!["records", "restore", name],
        ] {
            // What cannot be read from is not restored over either: the store's own place is taken.
            let words = if args[1] == "restore" { "not a file" } else { what };
            refused(&place, &args, words);
        }
    }
}

#[test]
fn a_mistyped_store_is_an_error_and_nothing_comes_into_being() {
    let place = stored();
    for args in [
        vec!["unit", "A-1"],
        vec!["lot", "May"],
        vec!["units"],
        vec!["lots"],
        vec!["judge", "--all"],
        vec!["records", "check"],
        vec!["records", "save", "copy.sqlite"],
    ] {
        for missing in ["recrods.sqlite", "no/such/folder/records.sqlite"] {
            refused(&place, &[&["--records", missing], &args[..]].concat(), "there are no records at");
        }
    }
    refused(
        &place,
        &["--records", "new.sqlite", "records", "restore", "recrods.sqlite"],
        "there are no records at",
    );
    assert_eq!(names(place.0.path()), ["records.sqlite"]);
}

#[test]
fn a_copy_is_the_same_store_and_is_checked_before_it_is_restored() {
    let place = stored();
    let before = store(&place);
    let saved = place.run(&["records", "save", "copy.sqlite"]);
    assert_eq!((saved.code, saved.out.as_str()), (0, "saved in copy.sqlite\n"), "{}", saved.err);
    let restored = place.run(&["--records", "new.sqlite", "records", "restore", "copy.sqlite"]);
    assert_eq!(restored.code, 0, "{}", restored.err);
    assert!(restored.out.contains("2 sweeps with 2 judgements"), "{}", restored.out);
    for args in [["unit", "A-1"], ["unit", "A-2"], ["judge", "--all"], ["records", "check"]] {
        let [old, new] = ["records.sqlite", "new.sqlite"]
            .map(|store| place.run(&[&["--records", store][..], &args].concat()));
        assert_eq!((old.code, old.out), (new.code, new.out), "{args:?}");
    }
    assert_eq!(store(&place), before, "saving changes nothing");
    assert_eq!(
        names(place.0.path()),
        ["copy.sqlite", "new.sqlite", "records.sqlite"],
        "and leaves nothing beside"
    );
    let mut bytes = fs::read(place.0.path().join("copy.sqlite")).unwrap();
    // Everywhere, because a page may hold the like of it where nothing is read.
    for at in 0..bytes.len() - 10 {
        if &bytes[at..at + 10] == b"tail trace" {
            bytes[at] ^= 1;
        }
    }
    place.file("copy.sqlite", bytes);
    refused(&place, &["--records", "third.sqlite", "records", "restore", "copy.sqlite"], "is not restored");
    assert!(!place.0.path().join("third.sqlite").exists());
}

/// Copies while another program writes: each is whole, and none is in the writer's way.
#[test]
fn a_store_is_saved_while_it_is_written_to() {
    let place = stored();
    let bed = gauge();
    thread::scope(|scope| {
        let writer = scope.spawn(|| {
            for number in 0..8 {
                let serial = format!("W-{number}");
                assert_eq!(place.run(&sweep(&bed, &serial, &[])).code, 0);
            }
        });
        let mut number = 0;
        while !writer.is_finished() {
            let copy = format!("copy-{number}.sqlite");
            let saved = place.run(&["records", "save", &copy]);
            assert_eq!(saved.code, 0, "{}", saved.err);
            let check = place.run(&["--records", &copy, "records", "check"]);
            assert_eq!(check.code, 0, "{}{}", check.out, check.err);
            number += 1;
        }
        assert!(number > 0);
    });
}

/// The store stays locked for longer than the program waits.
#[test]
fn a_sweep_that_a_locked_store_cannot_take_is_taken_in_later_and_once() {
    let place = stored();
    let bed = gauge();
    let args = sweep(&bed, "A-3", &["--fault", "via pair 1=open"]);
    let mut other = Database::open(&place.0.path().join("records.sqlite"));
    other.lock();
    let ran = place.run(&args);
    drop(other);
    assert_eq!(ran.code, 2);
    assert!(ran.err.starts_with("copperwalk: A-3: ✗ fail: via pair 1 is open.\n"), "{}", ran.err);
    assert!(ran.err.contains("it is whole, and goes into the records by itself"), "{}", ran.err);
    assert!(!ran.err.contains("nothing was recorded"), "{}", ran.err);
    let aside: Vec<String> =
        names(place.0.path()).into_iter().filter(|name| name.contains(".aside-")).collect();
    assert_eq!(aside.len(), 1, "{aside:?}");
    let said =
        format!("a finished sweep of unit \"A-3\" lies in {}", place.0.path().join(&aside[0]).display());
    let unit = place.run(&["unit", "A-3"]);
    assert_eq!(unit.code, 2, "reading takes nothing in");
    assert!(unit.err.contains(&said), "{}", unit.err);
    let other = place.run(&["unit", "A-1"]);
    assert_eq!((other.code, other.err.as_str()), (0, ""), "the file is of another unit");
    let file = fs::read(place.0.path().join(&aside[0])).unwrap();
    // Several programs open the store at once.
    let notes: Vec<_> = (0..4)
        .map(|_| {
            let mut command = place.command(&["note", "A-1", "seen"]);
            command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
        })
        .collect();
    let ran: Vec<Ran> = notes.into_iter().map(|child| Ran::of(child.wait_with_output().unwrap())).collect();
    assert!(ran.iter().all(|ran| ran.code == 0));
    let told =
        ran.iter().filter(|ran| ran.err.contains("\"A-3\"") && ran.err.contains("is now sweep 3")).count();
    assert_eq!(told, 1, "{:?}", ran.iter().map(|ran| &ran.err).collect::<Vec<_>>());
    // Of programs that end at once, none may have been alone with the store's log: the next one takes it in.
    assert!(names(place.0.path()).iter().all(|name| !name.contains(".aside-")));
    // Back from a copy of the folder: it is known by its name.
    place.file(&aside[0], file.clone());
    let ran = place.run(&["note", "A-1", "again"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let records = Records::open_to_read(&place.0.path().join("records.sqlite")).unwrap();
    assert_eq!(records.unit("A-3").unwrap().sweeps().count(), 1);
    place.file(&aside[0], file);
    let unit = place.run(&["unit", "A-3"]);
    assert_eq!((unit.code, unit.err.as_str()), (0, ""), "what has been taken in lies aside no more");
    assert_eq!(records.sweep(SweepId(3)).unwrap().measurement.serial, "A-3");
    assert!(records.check().unwrap().sound());
}

/// Stores that other versions and other programs made.
#[test]
fn newer_older_and_foreign_stores_are_named_and_left_as_they_are() {
    let place = stored();
    for (name, sql, words) in [
        (
            "newer.sqlite",
            "INSERT INTO _sqlx_migrations VALUES (9001, 'later', CURRENT_TIMESTAMP, TRUE, x'00', 0)",
            "use the newer copperwalk that wrote them",
        ),
        ("trial.sqlite", "PRAGMA application_id = 0x43775263", "were kept by a trial version"),
        ("trial2.sqlite", "PRAGMA application_id = 0x43775265", "were kept by a trial version"),
        ("trial3.sqlite", "PRAGMA application_id = 0x43775274", "were kept by a trial version"),
        ("trial4.sqlite", "PRAGMA application_id = 0x43775275", "were kept by a trial version"),
        ("foreign.sqlite", "PRAGMA application_id = 7", "it is the database of another program"),
    ] {
        assert_eq!(place.run(&["records", "save", name]).code, 0);
        let path = place.0.path().join(name);
        Database::open(&path).run(sql);
        let before = fs::read(&path).unwrap();
        let bed = gauge();
        for args in
            [vec!["unit", "A-1"], vec!["records", "check"], vec!["note", "A-1", "x"], sweep(&bed, "A-1", &[])]
        {
            refused(&place, &[&["--records", name], &args[..]].concat(), words);
        }
        assert_eq!(fs::read(&path).unwrap(), before, "{name}");
    }
}

/// A file system that nothing can be written to, in a mount namespace of its own; whoever may not make one cannot run
/// this test.
#[test]
fn reading_needs_no_leave_to_write() {
    let place = stored();
    let before = store(&place);
    let script = "
        set -e
        mount -t tmpfs tmpfs media
        cp records.sqlite media/
        mount -o remount,ro media
        export COPPERWALK_RECORDS=$PWD/media/records.sqlite
        ! touch media/x 2>/dev/null
        for question in 'unit A-1' 'lot May' units lots 'judge --all' 'records check' 'records save copy.sqlite'; do
            \"$0\" $question >/dev/null || { echo \"$question: $?\"; exit 1; }
        done
        status=0
        \"$0\" note A-1 x 2>said || status=$?
        [ $status = 2 ] && grep -q 'cannot write records at' said
        [ \"$(ls media)\" = records.sqlite ]";
    fs::create_dir(place.0.path().join("media")).unwrap();
    let ran = Command::new("unshare")
        .args(["--map-root-user", "--mount", "sh", "-c", script])
        .arg(program())
        .current_dir(place.0.path())
        .output()
        .expect("unshare, of util-linux");
    let said = [ran.stdout, ran.stderr].concat();
    assert!(
        ran.status.success(),
        "{} (this test needs leave to make a mount namespace)",
        String::from_utf8_lossy(&said)
    );
    assert_eq!(store(&place), before);
}

#[test]
fn one_text_is_one_unit_however_it_is_spelt() {
    let place = Place::new();
    let bed = gauge();
    let (composed, decomposed) = ("Ger\u{e4}t-7", "Gera\u{308}t-7");
    assert_eq!(place.run(&sweep(&bed, composed, &["--lot", composed])).code, 0);
    assert_eq!(place.run(&sweep(&bed, decomposed, &["--lot", decomposed])).code, 0);
    for spelt in [composed, decomposed] {
        assert_eq!(place.run(&["note", spelt, "x"]).code, 0);
        let unit = place.run(&["unit", spelt]);
        assert!(unit.code == 0 && unit.out.contains(composed), "{}{}", unit.out, unit.err);
        assert_eq!(place.run(&["lot", spelt]).code, 0);
    }
    let records = Records::open_to_read(&place.0.path().join("records.sqlite")).unwrap();
    assert_eq!((records.units().unwrap().len(), records.lots().unwrap().len()), (1, 1));
    drop(records);
    for (c, point) in [
        ('\u{3164}', "U+3164"),
        ('\u{2800}', "U+2800"),
        ('\u{115f}', "U+115F"),
        ('\u{fe0f}', "U+FE0F"),
        ('\u{200d}', "U+200D"),
        ('\u{fffc}', "U+FFFC"),
        ('\u{202e}', "U+202E"),
    ] {
        let serial = format!("A{c}1");
        for args in
            [sweep(&bed, &serial, &[]), sweep(&bed, "A-1", &["--lot", &serial]), vec!["unit", &serial]]
        {
            refused(&place, &args, point);
        }
    }
}
