//! The daemon where something is wrong around it: a taken port, a token file that others can read, a locked store, a full
//! disk, a fixture file edited to nonsense, bad input.
#![cfg(target_os = "linux")]

use std::{
    fs,
    net::TcpListener,
    os::unix::fs::PermissionsExt,
    path::{Path, PathBuf},
    process::Command,
    thread,
    time::{Duration, Instant},
};

use copperwalk::records::Records;
use copperwalk_tests::{
    daemon::Daemon,
    database::Database,
    program::{Place, gauge, program},
};
use serde_json::{Value, json};

/// A unit that the virtual bench draws without a fault.
const GOOD: &str = "G-5";

#[test]
fn a_port_that_is_taken_and_tokens_that_others_read_are_refused_with_what_to_do() {
    let place = Place::new();
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let refused = place.run(&["serve", "--virtual", "--listen", &address]);
    assert_eq!((refused.code, refused.out.as_str()), (2, ""));
    assert!(refused.err.contains(&format!("cannot listen on {address}: ")), "{}", refused.err);
    assert!(refused.err.contains("name another with --listen"), "{}", refused.err);
    assert_eq!(place.run(&["token", "tokens", "--name", "bench"]).code, 0);
    let tokens = place.0.path().join("tokens");
    fs::set_permissions(&tokens, fs::Permissions::from_mode(0o644)).unwrap();
    let refused = place.run(&["serve", "--virtual", "--listen", "127.0.0.1:0", "--token-file", "tokens"]);
    assert_eq!((refused.code, refused.out.as_str()), (2, ""));
    assert!(refused.err.contains("mode 644") && refused.err.contains("chmod 600"), "{}", refused.err);
}

/// The words of a job that came to a verdict and is not in the records.
fn unrecorded(job: &Value) -> &str {
    assert_eq!((&job["stage"], &job["result"]), (&json!("failed"), &Value::Null), "{job}");
    let words = job["error"].as_str().unwrap();
    let [verdict, reason] = [": ✓ pass: ", " Not recorded: "].map(|part| words.find(part));
    assert!(verdict.zip(reason).is_some_and(|(verdict, reason)| verdict < reason), "{words}");
    words
}

fn sweeps(daemon: &Daemon, serial: &str) -> usize {
    let unit = daemon.get(&format!("/api/v1/units/{serial}"));
    if unit.status == 404 {
        return 0;
    }
    unit.json()["events"].as_array().unwrap().iter().filter(|event| event["event"] == "sweep").count()
}

#[test]
fn a_locked_store_is_told_in_time_and_the_sweep_lies_aside() {
    const AT_ONCE: usize = 6;
    let daemon = Daemon::start(&["--virtual"]);
    assert_eq!(daemon.sweep(GOOD)["stage"], "recorded");
    let mut other = Database::open(&daemon.path("records.sqlite"));
    other.lock();
    let (answers, job) = thread::scope(|scope| {
        let write = |_| {
            scope.spawn(|| {
                let began = Instant::now();
                let answer =
                    daemon.send("POST", &format!("/api/v1/units/{GOOD}/notes"), json!({ "text": "x" }));
                (answer.status, answer.body, began.elapsed())
            })
        };
        let writers: Vec<_> = (0..AT_ONCE).map(write).collect();
        // While the first of them waits for the lock and the others for that one, reading goes on.
        thread::sleep(Duration::from_millis(300));
        let began = Instant::now();
        assert_eq!(sweeps(&daemon, GOOD), 1);
        assert!(began.elapsed() < Duration::from_secs(5), "{:?}", began.elapsed());
        let job = daemon.sweep(GOOD);
        let answers: Vec<_> = writers.into_iter().map(|writer| writer.join().unwrap()).collect();
        (answers, job)
    });
    let longest = answers.iter().map(|(.., took)| *took).max().unwrap();
    for (status, body, _) in &answers {
        assert_eq!(*status, 503, "{body}");
        assert!(body.contains("locked") || body.contains("another program"), "{body}");
    }
    let words = unrecorded(&job);
    assert!(words.contains("so the sweep was put into ") && words.contains(".aside-"), "{words}");
    assert_eq!(sweeps(&daemon, GOOD), 1);
    drop(other);
    let began = Instant::now();
    let note = daemon.send("POST", &format!("/api/v1/units/{GOOD}/notes"), json!({ "text": "x" }));
    assert_eq!(note.status, 201, "{}", note.body);
    assert_eq!(sweeps(&daemon, GOOD), 2, "whatever is written takes in what lies aside");
    println!(
        "locked store: {AT_ONCE} notes at once refused with 503 within {:.1} s; a sweep was told and laid aside, and taken in \
         {:.1} s after the lock was gone",
        longest.as_secs_f64(),
        began.elapsed().as_secs_f64()
    );
    // 10 s for the lock, as much for those that wait for the ones that wait; and a busy machine.
    assert!(longest < Duration::from_secs(30), "{longest:?}");
}

/// A daemon whose records lie on a disk of 1 MiB of memory, in a mount namespace of its own; and the disk as seen from here.
fn on_a_small_disk() -> (Daemon, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("disk")).unwrap();
    let script = r#"
        mount -t tmpfs -o size=1m tmpfs disk || exit 9
        exec "$0" --records disk/records.sqlite serve --virtual --listen 127.0.0.1:0
    "#;
    let mut command = Command::new("unshare");
    command
        .args(["--map-root-user", "--mount", "sh", "-c", script])
        .arg(program())
        .current_dir(folder.path());
    let daemon = Daemon::of(command, folder);
    // Through the process's own view of its folder: proc(5), `cwd`.
    let disk = Path::new("/proc").join(daemon.process().to_string()).join("cwd/disk");
    (daemon, disk)
}

#[test]
fn on_a_full_disk_a_verdict_is_shown_with_the_words_that_it_is_not_recorded() {
    let (daemon, disk) = on_a_small_disk();
    assert_eq!(daemon.sweep(GOOD)["stage"], "recorded");
    let rest = disk.join("rest");
    assert!(fs::write(&rest, vec![0; 1 << 20]).is_err(), "the disk is larger than it should be");
    let mut stored = 1;
    // What the store has in hand may do for a sweep or two.
    let job = loop {
        let job = daemon.sweep(GOOD);
        if job["stage"] != "recorded" {
            break job;
        }
        stored += 1;
        assert!(stored < 20, "the disk does not fill");
    };
    let words = unrecorded(&job);
    assert!(words.contains("no space left for"), "{words}");
    let note =
        daemon.send("POST", &format!("/api/v1/units/{GOOD}/notes"), json!({ "text": "x".repeat(9_000) }));
    assert_eq!(note.status, 503, "{}", note.body);
    assert_eq!(sweeps(&daemon, GOOD), stored, "reading goes on");
    fs::remove_file(rest).unwrap();
    assert_eq!(daemon.sweep(GOOD)["stage"], "recorded");
    assert_eq!(sweeps(&daemon, GOOD), stored + 1);
    // The disk goes with the daemon, so its files are looked at elsewhere.
    let copy = tempfile::tempdir().unwrap();
    for file in ["records.sqlite", "records.sqlite-wal"] {
        fs::copy(disk.join(file), copy.path().join(file)).unwrap();
    }
    let findings = Records::open_to_read(&copy.path().join("records.sqlite")).unwrap().check().unwrap();
    assert!(findings.sound(), "{:#?}", findings.wrong);
    println!("full disk: {} sweeps recorded, 0 lost; one verdict told as not recorded", stored + 1);
}

#[test]
fn a_fixture_file_edited_to_nonsense_is_said_and_the_old_one_stays() {
    let folder = tempfile::tempdir().unwrap();
    let beds = folder.path().join("beds");
    fs::create_dir(&beds).unwrap();
    let from = Path::new(&gauge()).parent().unwrap().to_owned();
    for file in ["board.toml", "fixture.toml"] {
        fs::copy(from.join(file), beds.join(file)).unwrap();
    }
    let daemon = Daemon::start_in(folder, &["--virtual", "--fixtures", "beds"]);
    let news = daemon.listen();
    let sound = fs::read_to_string(beds.join("fixture.toml")).unwrap();
    fs::write(beds.join("fixture.toml"), format!("{sound}\nnonsense = <\u{202e}\n")).unwrap();
    news.iter().find(|heard| heard.data["event"] == "fixtures").unwrap();
    let fixtures = daemon.get("/api/v1/fixtures").json();
    let problems = fixtures["fixtures"][0]["problems"].as_str().unwrap_or_else(|| panic!("{fixtures}"));
    assert!(problems.contains("fixture.toml"), "{problems}");
    let page = daemon.get("/boards/tide%20gauge%20bed%201");
    assert_eq!(page.status, 200);
    assert!(page.body.contains("complaint") && page.body.contains("fixture.toml"), "{}", page.body);
    let job = daemon.sweep(GOOD);
    assert_eq!(job["result"]["verdict"], "pass", "the fixture is that of before: {job}");
}

#[test]
fn bad_input_is_refused_and_never_markup() {
    let daemon = Daemon::start(&["--virtual"]);
    let long = "7".repeat(10_000);
    // Percent-encoded: markup, a right-to-left mark, one that overrides, a line feed, no UTF-8 at all.
    for serial in ["%3Cb%3E", "A%E2%80%8F1", "A%E2%80%AE1", "A%0A1", "%FF%FE", &long] {
        for path in [format!("/api/v1/units/{serial}"), format!("/units/{serial}")] {
            let answer = daemon.get(&path);
            assert!([400, 404].contains(&answer.status), "{path}: {}", answer.status);
            assert!(path.starts_with("/api/") || !answer.body.contains("<b>"), "{path}: {}", answer.body);
            assert!(!answer.body.contains(['\u{200f}', '\u{202e}']), "{path}: {}", answer.body);
        }
        let note = daemon.send("POST", &format!("/api/v1/units/{serial}/notes"), json!({ "text": "x" }));
        assert!([400, 404].contains(&note.status), "{serial}: {}", note.status);
    }
    for (serial, status) in
        [("A\u{200f}1", 400), ("A\u{0}1", 400), ("   ", 400), (&long, 400), ("<script>", 202)]
    {
        let asked = json!({ "serial": serial, "fixture": "tide gauge bed 1" });
        assert_eq!(daemon.send("POST", "/api/v1/jobs", asked).status, status, "{serial:?}");
    }
    let job = daemon.get("/api/v1/jobs").json()[0].clone();
    assert_eq!(job["serial"], "<script>");
    assert!(!daemon.get("/").body.contains("<script>"), "the page has no script of a serial number");
    assert_eq!(daemon.get("/healthz").status, 200);
}

#[test]
fn two_scans_of_one_unit_at_once_are_two_jobs() {
    let daemon = Daemon::start(&["--virtual"]);
    let ids: Vec<u64> = thread::scope(|scope| {
        let both = [(); 2].map(|()| scope.spawn(|| daemon.scan(GOOD)));
        both.map(|scan| scan.join().unwrap()).to_vec()
    });
    assert_ne!(ids[0], ids[1]);
    let stages: Vec<_> = daemon
        .get("/api/v1/jobs")
        .json()
        .as_array()
        .unwrap()
        .iter()
        .map(|job| job["stage"].clone())
        .collect();
    assert_eq!(stages, ["waiting_for_lid", "queued"]);
}
