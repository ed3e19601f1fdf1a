//! Attacks on the record store and on the files that people write: programs killed while they write, many writers, bits
//! flipped, disks full, files and stores altered. Each prints a line of figures; `COPPERWALK_LONG=1` makes it long.
#![cfg(target_os = "linux")]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use copperwalk::records::{Records, SweepId};
use copperwalk::{board, fixture, limits};
use copperwalk_tests::attack::answers::{self, Answer, silent_changes};
use copperwalk_tests::attack::bits::{Tables, flip};
use copperwalk_tests::attack::writers::{Recorded, Writer, recorded};
use copperwalk_tests::attack::{is_long, mutate, peak_kib, times};
use copperwalk_tests::campaign::EXAMPLES;
use copperwalk_tests::cases::Cases;
use copperwalk_tests::photo::photo;
use copperwalk_tests::program::{Place, gauge, program, sweep};

/// Every sweep acknowledged is there, reads, and is of the unit it was acknowledged for; nothing else is wrong.
fn all_there(store: &Path, acknowledged: &[Recorded]) {
    let records = Records::open_to_read(store).unwrap();
    let findings = records.check().unwrap();
    assert!(findings.sound(), "{:#?}", findings.wrong);
    for Recorded { serial, number } in acknowledged {
        let kept = records.sweep(SweepId(*number)).unwrap();
        assert_eq!(kept.measurement.serial, *serial, "sweep {number}");
    }
}

#[test]
fn programs_killed_while_they_write_lose_nothing_acknowledged() {
    const AT_ONCE: usize = 4;
    let kills = times(24, 600);
    let place = Place::new();
    let store = place.0.path().join("records.sqlite");
    let began = Instant::now();
    let first = place.run(&sweep(&gauge(), "K-0", &[]));
    let mut acknowledged = vec![Recorded { serial: "K-0".into(), number: recorded(&first.out).unwrap() }];
    // Twice as long as a sweep takes here and now among its fellows, so that about half of them come to their end.
    let longest = began.elapsed() * 2 * AT_ONCE as u32;
    let mut cases = Cases::new(6_001);
    for group in 0..kills / AT_ONCE {
        let mut writers = Vec::new();
        for number in 0..AT_ONCE {
            let turn = 1 + group * AT_ONCE + number;
            let writer = Writer::start(&place, &mut cases, turn, &acknowledged);
            writers.push((longest.mul_f64(cases.unit()), writer));
        }
        let killers: Vec<_> = writers
            .into_iter()
            .map(|(wait, writer)| {
                thread::spawn(move || {
                    thread::sleep(wait);
                    writer.kill()
                })
            })
            .collect();
        let fresh: Vec<_> = killers.into_iter().filter_map(|killer| killer.join().unwrap()).collect();
        all_there(&store, &fresh);
        acknowledged.extend(fresh);
    }
    all_there(&store, &acknowledged);
    let kept = Records::open_to_read(&store).unwrap().check().unwrap();
    println!(
        "kill -9: {kills} programs in groups of {AT_ONCE}, {} sweeps acknowledged, 0 lost, {} whole sweeps with {} \
         judgements in the store, 0 half-written",
        acknowledged.len(),
        kept.whole_sweeps,
        kept.judgements
    );
}

#[test]
fn many_programs_write_to_one_store_without_an_error() {
    const WRITERS: usize = 8;
    let end = Duration::from_secs(times(3, 60) as u64);
    let place = Place::new();
    let store = place.0.path().join("records.sqlite");
    let began = Instant::now();
    let acknowledged: Vec<Recorded> = thread::scope(|scope| {
        let writers: Vec<_> = (0..WRITERS)
            .map(|writer| {
                let place = &place;
                scope.spawn(move || {
                    let (bed, mut mine) = (gauge(), Vec::new());
                    while began.elapsed() < end || mine.is_empty() {
                        let serial = format!("W-{writer}-{}", mine.len());
                        let ran = place.run(&sweep(&bed, &serial, &["--lot", "all"]));
                        assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{serial}");
                        mine.push(Recorded { serial, number: recorded(&ran.out).unwrap() });
                    }
                    mine
                })
            })
            .collect();
        writers.into_iter().flat_map(|writer| writer.join().unwrap()).collect()
    });
    all_there(&store, &acknowledged);
    let lot = Records::open_to_read(&store).unwrap().lot("all").unwrap();
    assert_eq!(lot.sweeps as usize, acknowledged.len());
    println!(
        "writers: {WRITERS} programs for {} s, {} sweeps acknowledged, {} in the store, 0 errors",
        end.as_secs(),
        acknowledged.len(),
        lot.sweeps
    );
}

const UNITS: [&str; 5] = ["A-1", "A-2", "A-3", "A-4", "B-1"];
const LOTS: [&str; 2] = ["May", "June"];

/// A store with a row in every table, and its answers.
fn varied() -> (Place, Vec<u8>, BTreeMap<String, Answer>) {
    let place = Place::new();
    let bed = gauge();
    let run = |args: &[&str], code: i32| {
        let ran = place.run(args);
        assert_eq!(ran.code, code, "{args:?}: {}{}", ran.out, ran.err);
    };
    run(&sweep(&bed, "A-1", &["--lot", "May", "--fault", "via pair 1=open"]), 1);
    run(&["repair", "A-1", "--at", "via pair 1", "--action", "rebuilt", "a wire"], 0);
    run(&sweep(&bed, "A-1", &["--lot", "May"]), 0);
    run(&sweep(&bed, "A-2", &["--lot", "May", "--fault", "power switch=330 ohm"]), 1);
    run(&["void", "A-2", "--sweep", "3", "--because", "the wrong unit lay on the bed"], 0);
    run(&["note", "A-2", "smells of coffee"], 0);
    run(&["receive", "A-4", "--lot", "June"], 0);
    run(&["status", "A-2", "in repair"], 0);
    run(&["tick", "A-1", "display lights", "no", "--note", "dark"], 0);
    run(&["tick", "A-1", "display lights", "yes"], 0);
    let file = photo(&place);
    run(&["photo", "A-1", &file, "--caption", "crust at the cell"], 0);
    run(&["photo", "A-4", &file], 0);
    run(&sweep(&bed, "A-3", &["--lot", "June", "--fault", "cell+:sense=open"]), 3);
    run(&sweep(&bed, "B-1", &["--fault", "via pair 2=one barrel open"]), 0);
    run(&["judge", "--all", "--keep"], 0);
    let store = place.0.path().join("records.sqlite");
    let before = answers::of(&store, &UNITS, &LOTS);
    for (question, answer) in &before {
        assert!(answer.is_ok(), "{question}: {answer:?}");
    }
    let bytes = fs::read(&store).unwrap();
    (place, bytes, before)
}

#[test]
fn no_flipped_bit_of_the_file_changes_an_answer_silently() {
    let (place, whole, before) = varied();
    let store = place.0.path().join("altered.sqlite");
    let mut cases = Cases::new(6_002);
    let (count, mut named) = (times(150, 1_000), 0);
    for _ in 0..count {
        let mut bytes = whole.clone();
        let bit = flip(&mut bytes, &mut cases);
        fs::write(&store, bytes).unwrap();
        let after = answers::of(&store, &UNITS, &LOTS);
        let silent = silent_changes(&before, &after);
        assert!(silent.is_empty(), "bit {bit} (byte {}): {silent:#?}", bit / 8);
        named += usize::from(after.values().any(Result::is_err));
        for ending in ["-wal", "-shm"] {
            let _ = fs::remove_file(place.0.path().join(format!("altered.sqlite{ending}")));
        }
    }
    println!(
        "flipped bits of the file: {count}, {named} named, {} without a bearing, 0 silent changes",
        count - named
    );
}

#[test]
fn no_flipped_bit_of_a_cell_changes_an_answer_silently() {
    let (place, whole, before) = varied();
    let store = place.0.path().join("altered.sqlite");
    fs::write(&store, &whole).unwrap();
    let mut tables = Tables::open(&store);
    let columns = tables.columns();
    tables.close();
    let mut cases = Cases::new(6_003);
    let rounds = times(150, 1_000).div_ceil(columns.len());
    let (mut count, mut named, mut silent) = (0, 0, Vec::new());
    for (table, column) in columns.iter().cycle().take(rounds * columns.len()) {
        fs::write(&store, &whole).unwrap();
        let mut tables = Tables::open(&store);
        let flipped = tables.flip(table, column, &mut cases);
        tables.close();
        let Some(flipped) = flipped else { continue };
        let after = answers::of(&store, &UNITS, &LOTS);
        silent.extend(silent_changes(&before, &after).into_iter().map(|what| format!("{flipped}: {what}")));
        count += 1;
        let is_named = after.values().any(Result::is_err);
        named += usize::from(is_named);
        // A store that opens and does not answer one question is found wrong by the check too.
        if is_named && after.get("records check").is_some_and(Result::is_ok) {
            silent.push(format!("{flipped}: `records check` finds nothing"));
        }
    }
    assert!(silent.is_empty(), "{silent:#?}");
    println!(
        "flipped bits of cells: {count} in {} columns, {named} named, {} without a bearing, 0 silent changes",
        columns.len(),
        count - named
    );
}

/// A disk of 1 MiB of memory, in a mount namespace of its own; whoever may not make one cannot run this test.
#[test]
fn a_full_disk_loses_nothing_acknowledged_and_hides_no_verdict() {
    let place = Place::new();
    photo(&place);
    fs::create_dir(place.0.path().join("disk")).unwrap();
    let script = r#"
        set -u
        mount -t tmpfs -o size=1m tmpfs disk || exit 9
        export COPPERWALK_RECORDS=$PWD/disk/records.sqlite
        must() { want=$1; shift; "$@" >out 2>err; got=$?; [ $got = $want ] || { echo "$*: $got"; cat out err; exit 8; }; }
        must 0 "$0" sweep "$1" --virtual --serial F-0 --html disk/page.html --csv=disk/rows.csv
        cp disk/page.html disk/rows.csv .
        head -c 500000 /dev/zero >disk/spare
        stored=0
        while "$0" sweep "$1" --virtual --serial F-$((stored + 1)) --lot full >out 2>err; do stored=$((stored + 1)); done
        echo "stored $stored"
        echo "said $(cat err)"
        cat /dev/zero >disk/rest 2>/dev/null
        must 2 "$0" sweep "$1" --virtual --serial F-X --fault "via pair 1=open"
        must 2 "$0" note F-0 x
        must 2 "$0" receive F-X
        must 2 "$0" photo F-0 photo.png
        must 2 "$0" judge --all --keep
        must 2 "$0" unit F-0 --html disk/page.html
        must 2 "$0" unit F-0 --csv=disk/rows.csv
        must 2 "$0" unit F-0 --html disk/new.html
        must 2 "$0" records save disk/copy.sqlite
        must 2 "$0" demo --out disk/demo
        for question in "unit F-0" units lots "lot full" "judge --all" "records check"; do must 0 "$0" $question; done
        must 0 "$0" records save copy.sqlite
        cmp disk/page.html page.html && cmp disk/rows.csv rows.csv || exit 6
        [ ! -e disk/new.html ] && [ ! -e disk/copy.sqlite ] || { ls disk; exit 5; }
        ls -A disk | grep -E '^\.copperwalk|\.part' && exit 4
        rm -r disk/rest disk/spare disk/demo
        must 0 "$0" sweep "$1" --virtual --serial F-Y
        must 0 "$0" records check
        cp disk/records.sqlite kept.sqlite
    "#;
    let ran = Command::new("unshare")
        .args(["--map-root-user", "--mount", "sh", "-c", script])
        .arg(program())
        .arg(gauge())
        .current_dir(place.0.path())
        .output()
        .expect("unshare, of util-linux");
    let said = String::from_utf8_lossy(&[ran.stdout, ran.stderr].concat()).into_owned();
    assert!(
        ran.status.success(),
        "{said} ({}; this test needs leave to make a mount namespace with a disk in memory)",
        ran.status
    );
    let stored: usize = said.lines().find_map(|line| line.strip_prefix("stored ")?.parse().ok()).unwrap();
    assert!(stored > 3, "{said}");
    assert!(said.contains(": ✓ pass: ") && said.contains("no space left for"), "{said}");
    let kept = Records::open_to_read(&place.0.path().join("kept.sqlite")).unwrap();
    for number in 0..=stored {
        assert_eq!(kept.unit(&format!("F-{number}")).unwrap().sweeps().count(), 1);
    }
    assert!(kept.unit("F-X").is_err() && kept.unit("F-Y").is_ok());
    println!(
        "full disk: {} sweeps acknowledged, 0 lost; 10 commands refused in words, old files as they were",
        stored + 1
    );
}

fn example(board: &str, file: &str) -> Vec<u8> {
    fs::read(format!("{}/../fixtures/{board}/{file}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

/// Memory that the mutations may take, KiB: a file may have a megabyte, and every problem in it is told.
const MEMORY_KIB: u64 = 300 << 10;

#[test]
fn altered_files_are_read_or_refused_in_words() {
    let mut cases = Cases::new(6_004);
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("limits.toml");
    let stated =
        b"format = 1\n[limits]\n\"cell fuse\" = { min = \"200 mohm\", max = \"900 mohm\" }\n".to_vec();
    let beds: Vec<_> =
        EXAMPLES.iter().map(|name| (example(name, "board.toml"), example(name, "fixture.toml"))).collect();
    let parsed: Vec<_> = beds
        .iter()
        .map(|(text, _)| board::parse("board.toml", str::from_utf8(text).unwrap()).unwrap())
        .collect();
    let count = times(2_000, 355_000);
    let mut read = 0;
    for turn in 0..count {
        let which = turn % beds.len();
        let mut below = |limit: usize| (cases.bits() % limit as u64) as usize;
        let (board_text, fixture_text) = &beds[which];
        let kind = turn / beds.len() % 3;
        let mut text = [board_text, fixture_text, &stated][kind].clone();
        for _ in 0..=below(3) {
            mutate::text(&mut below, &mut text);
        }
        let said = match kind {
            2 => {
                fs::write(&path, &text).unwrap();
                limits::read(&path, &parsed[0]).map(drop).err()
            }
            _ => {
                let text = String::from_utf8_lossy(&text);
                match kind {
                    0 => board::parse("board.toml", &text).map(drop).err(),
                    _ => fixture::parse("fixture.toml", &text, parsed[which].clone()).map(drop).err(),
                }
            }
        };
        match said.map(|problems| problems.to_string()) {
            None => read += 1,
            Some(words) => assert!(words.len() > 20, "turn {turn}: {words:?}"),
        }
    }
    let peak = peak_kib();
    assert!(peak < MEMORY_KIB, "{peak} KiB");
    println!(
        "altered files: {count} boards, fixtures and limits, {read} still read, {} refused in words, 0 panics, at most \
         {} MB",
        count - read,
        peak / 1000
    );
}

#[test]
fn altered_stores_are_read_or_refused_in_words() {
    let (place, whole, before) = varied();
    let store = place.0.path().join("altered.sqlite");
    let mut cases = Cases::new(6_005);
    let (count, mut refused) = (times(60, 5_000), 0);
    for turn in 0..count {
        let mut below = |limit: usize| (cases.bits() % limit as u64) as usize;
        let mut bytes = whole.clone();
        for _ in 0..=below(3) {
            mutate::bytes(&mut below, &mut bytes, 8_192);
        }
        fs::write(&store, &bytes).unwrap();
        let after = answers::of(&store, &UNITS, &LOTS);
        let silent = silent_changes(&before, &after);
        assert!(silent.is_empty(), "turn {turn}: {silent:#?}");
        refused += usize::from(after.values().any(Result::is_err));
        // Opened for writing it is refused, or it takes a note and is as good as before.
        if let Ok(records) = Records::open(&store) {
            let noted = records.note("A-1", 1, "still here").map_err(|error| error.to_string());
            assert!(noted.err().is_none_or(|words| words.len() > 20), "turn {turn}");
        }
        for ending in ["-wal", "-shm"] {
            let _ = fs::remove_file(place.0.path().join(format!("altered.sqlite{ending}")));
        }
    }
    let peak = peak_kib();
    assert!(peak < MEMORY_KIB, "{peak} KiB");
    println!(
        "altered stores: {count}, {refused} with something refused in words, 0 silent changes, 0 panics, at most {} MB{}",
        peak / 1000,
        if is_long() { " (long run)" } else { "" }
    );
}
