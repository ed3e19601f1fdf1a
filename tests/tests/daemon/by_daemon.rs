//! Commands that find a daemon at their controller: they ask it, show what they show alone, and are neither fooled nor held up by
//! what is no daemon.
#![cfg(unix)]

use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpListener,
    os::unix::fs::PermissionsExt,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use copperwalk::{fixture::Fixture, virtual_bench::Spec};
use copperwalk_tests::{
    boards::{example, example_path},
    emulator::{bench::EmulatedBench, cable::Cable},
    program::{Ran, interrupt, program},
};
use serde_json::Value;
use tempfile::TempDir;

/// A board with states, one of which no switch shows.
const BOARD: &str = "tide-gauge-head";
/// Generous: the machine may be busy.
const PATIENCE: Duration = Duration::from_secs(60);

/// A computer of its own: a runtime folder, a record store, a fixture's folder.
struct Place {
    folder: TempDir,
    fixture: Fixture,
}

impl Place {
    fn new() -> Self {
        let place = Self { folder: tempfile::tempdir().unwrap(), fixture: example(BOARD) };
        fs::create_dir(place.path("fixtures")).unwrap();
        let beds = Path::new(&example_path(BOARD)).parent().unwrap().to_owned();
        for file in ["fixture.toml", "board.toml"] {
            fs::copy(beds.join(file), place.path("fixtures").join(file)).unwrap();
        }
        place
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(program());
        command
            .args(arguments)
            .current_dir(self.folder.path())
            .env("XDG_RUNTIME_DIR", self.folder.path())
            .env("XDG_DATA_HOME", self.path("data"))
            .env_remove("COPPERWALK_RECORDS")
            .env_remove("COPPERWALK_TOKEN")
            .env_remove("COLUMNS")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        command
    }

    fn run(&self, arguments: &[&str]) -> Ran {
        Ran::of(self.command(arguments).output().unwrap())
    }

    /// `copperwalk sweep` of a unit at this port.
    fn sweep(&self, port: &Path, more: &[&str]) -> Command {
        let fixed = ["sweep", "fixtures/fixture.toml", "--serial", "U-1", "--port", port.to_str().unwrap()];
        self.command(&[&fixed[..], more].concat())
    }

    /// A daemon that has found its controller.
    fn serve(&self, port: &Path, more: &[&str], token: &str) -> Daemon {
        let port = port.to_str().unwrap();
        let fixed = ["--records", "daemon.sqlite", "serve", "--listen", "127.0.0.1:0", "--port", port];
        let arguments = [&fixed[..], &["--fixtures", "fixtures"], more].concat();
        let mut child = self.command(&arguments).stderr(Stdio::null()).spawn().unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        assert!(line.contains("http://"), "{line}");
        let daemon = Daemon(child);
        let end = Instant::now() + PATIENCE;
        let found = || {
            let mut bench = self.command(&["bench", "--port", port]);
            Ran::of(bench.env("COPPERWALK_TOKEN", token).output().unwrap()).out.ends_with("has it\n")
        };
        while !found() {
            assert!(Instant::now() < end, "the daemon does not find its controller");
            thread::sleep(Duration::from_millis(50));
        }
        daemon
    }

    /// Notices in the runtime folder.
    fn notices(&self) -> Vec<PathBuf> {
        let entries = fs::read_dir(self.path("copperwalk")).into_iter().flatten();
        entries.map(|entry| entry.unwrap().path()).collect()
    }

    /// A notice as a daemon leaves it.
    fn leave_notice(&self, address: &str, process: u32, port: &Path) {
        let notice = serde_json::json!({
            "address": address, "process": process, "port": port, "modelled": false, "records": self.path("daemon.sqlite"),
        });
        fs::create_dir_all(self.path("copperwalk")).unwrap();
        let file = self.path("copperwalk").join(format!("daemon-{process}.json"));
        fs::write(&file, notice.to_string()).unwrap();
        fs::set_permissions(&file, fs::Permissions::from_mode(0o600)).unwrap();
    }

    /// Sweeps of the unit in the daemon's store.
    fn recorded(&self) -> usize {
        let unit = self.run(&["--records", "daemon.sqlite", "unit", "U-1", "--json"]);
        let history: Value = serde_json::from_str(&unit.out).unwrap_or_default();
        let events = history["events"].as_array();
        events.map_or(0, |events| events.iter().filter(|event| event["event"] == "sweep").count())
    }
}

/// A daemon, killed with its test.
struct Daemon(Child);

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn cable() -> Cable {
    Cable::new(EmulatedBench::start(&example(BOARD), &Spec::new(7)))
}

/// The operator: does what the program asks for and presses Enter, until it asks no more. Gives all that it said.
fn attend(cable: &Cable, fixture: &Fixture, child: &mut Child) -> String {
    let mut keyboard = child.stdin.take().unwrap();
    let mut said = String::new();
    for line in BufReader::new(child.stderr.take().unwrap()).lines() {
        let line = line.unwrap();
        let board = &fixture.board;
        let asked = |prompt: &str| !prompt.is_empty() && line.starts_with(prompt);
        if let Some(state) = board.state_ids().find(|&state| asked(&board.state(state).prompt)) {
            cable.with(move |bench| bench.place(state));
            keyboard.write_all(b"\n").unwrap();
        }
        said += &line;
        said.push('\n');
    }
    said
}

#[test]
fn a_sweep_by_a_daemon_reads_like_one_alone() {
    let (place, cable) = (Place::new(), cable());
    let mut daemon = place.serve(&cable.port(), &[], "");
    let notice = place.notices().remove(0);
    assert_eq!(fs::metadata(&notice).unwrap().permissions().mode() & 0o777, 0o600);

    let bench = place.run(&["bench", "--port", cable.port().to_str().unwrap()]);
    assert_eq!(bench.code, 0, "{}", bench.err);
    assert!(bench.out.contains("controller E660C0D1CE5EED01  firmware 0.1.0"), "{}", bench.out);

    let mut child =
        place.sweep(&cable.port(), &["--json", "--html", "page.html"]).stdin(Stdio::piped()).spawn().unwrap();
    let said = attend(&cable, &place.fixture, &mut child);
    let ran = Ran::of(child.wait_with_output().unwrap());
    assert_eq!(ran.code, 0, "{said}");
    assert!(said.contains("has this controller; asking it"), "{said}");
    assert!(said.contains("goes into the daemon's records in"), "{said}");
    assert!(said.contains("Press Enter when that is done"), "{said}");
    assert_eq!(place.recorded(), 1);
    // Every form is that of the stored sweep.
    let sweep: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!((&sweep["verdict"], &sweep["serial"]), (&"pass".into(), &"U-1".into()));
    assert_eq!(sweep["segments"].as_array().unwrap().len(), place.fixture.board.segments.len());
    assert!(fs::read_to_string(place.path("page.html")).unwrap().starts_with("<!DOCTYPE html>"));

    // Ctrl-C in the middle: the job is cancelled, nothing is booked.
    let mut child = place.sweep(&cable.port(), &["--yes"]).stdin(Stdio::piped()).spawn().unwrap();
    interrupt(child.id());
    let said = attend(&cable, &place.fixture, &mut child);
    assert_eq!(child.wait().unwrap().code(), Some(130), "{said}");
    assert!(said.contains("cancelled at the daemon at"), "{said}");
    assert_eq!(place.recorded(), 1);

    // Nobody there: what is asked is not answered, and the job does not stay behind.
    cable.with(|bench| bench.around.lid_open = true);
    let nobody = Ran::of(place.sweep(&cable.port(), &["--yes"]).output().unwrap());
    assert_eq!(nobody.code, 3, "{}", nobody.err);
    assert!(nobody.err.contains("nobody answered"), "{}", nobody.err);
    cable.with(|bench| bench.around.lid_open = false);

    // What the daemon cannot do is refused in words.
    let elsewhere = Ran::of(place.sweep(&cable.port(), &["--records", "mine.sqlite"]).output().unwrap());
    assert_eq!(elsewhere.code, 2, "{}", elsewhere.err);
    assert!(elsewhere.err.contains("keeps its records in"), "{}", elsewhere.err);
    assert!(!place.path("mine.sqlite").exists());
    let other = fs::read_to_string(place.path("fixtures/fixture.toml")).unwrap() + "\n# another\n";
    fs::create_dir(place.path("other")).unwrap();
    fs::copy(place.path("fixtures/board.toml"), place.path("other/board.toml")).unwrap();
    for (text, words) in [
        (other.clone(), "knows another fixture"),
        (other.replacen("name = \"", "name = \"new ", 1), "knows no fixture"),
    ] {
        fs::write(place.path("other/fixture.toml"), text).unwrap();
        let port = cable.port();
        let ran =
            place.run(&["sweep", "other/fixture.toml", "--serial", "U-2", "--port", port.to_str().unwrap()]);
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains(words), "{}", ran.err);
    }

    // It takes its notice away, and the next sweep is alone.
    assert!(Command::new("kill").arg(daemon.0.id().to_string()).status().unwrap().success());
    assert!(daemon.0.wait().unwrap().success());
    assert_eq!(place.notices(), Vec::<PathBuf>::new());
    let bench = place.run(&["bench", "--port", cable.port().to_str().unwrap()]);
    assert!(bench.out.contains("sense channels  ready"), "{}", bench.out);
}

#[test]
fn a_killed_daemon_is_not_asked_and_one_with_tokens_wants_one() {
    let (place, cable) = (Place::new(), cable());
    let made = place.run(&["token", "tokens.txt", "--name", "test"]);
    let token =
        made.out.split_whitespace().find(|word| word.len() == 64).unwrap_or_else(|| panic!("{}", made.out));
    let mut daemon = place.serve(&cable.port(), &["--token-file", "tokens.txt"], token);
    for (token, code, words) in [
        (None, 2, "set COPPERWALK_TOKEN to a token that it knows"),
        (Some("guess"), 2, "this token is not known"),
        (Some("two\nlines"), 2, "COPPERWALK_TOKEN holds characters that no token has"),
        // Through the door, and refused by what only a known token is told.
        (Some(token), 3, "nobody answered"),
    ] {
        let mut command = place.sweep(&cable.port(), &[]);
        command.envs(token.map(|token| ("COPPERWALK_TOKEN", token)));
        cable.with(|bench| bench.around.lid_open = true);
        let ran = Ran::of(command.output().unwrap());
        assert_eq!(ran.code, code, "{token:?}: {}", ran.err);
        assert!(ran.err.contains(words), "{token:?}: {}", ran.err);
    }
    cable.with(|bench| bench.around.lid_open = false);
    daemon.0.kill().unwrap();
    daemon.0.wait().unwrap();
    assert_eq!(place.notices().len(), 1);
    let bench = place.run(&["bench", "--port", cable.port().to_str().unwrap()]);
    assert_eq!(bench.code, 0, "{}{}", bench.out, bench.err);
    assert!(bench.out.contains("firmware 0.1.0") && !bench.out.contains("the daemon at"), "{}", bench.out);
}

/// Answers to every request what is given for its path, in parts of a stream that goes on until nobody reads.
fn pretend(answers: &'static [(&'static str, &'static str, &'static str)]) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap().to_string();
    thread::spawn(move || {
        for line in listener.incoming() {
            let mut line = line.unwrap();
            thread::spawn(move || {
                let mut asked = vec![0; 4096];
                let count = line.read(&mut asked).unwrap_or(0);
                let asked = String::from_utf8_lossy(&asked[..count]).into_owned();
                let answer = answers.iter().find(|(path, ..)| asked.contains(path));
                let Some((_, first, then)) = answer else { return };
                let _ = line.write_all(first.as_bytes());
                while !then.is_empty() && line.write_all(then.repeat(1000).as_bytes()).is_ok() {}
            });
        }
    });
    address
}

#[test]
fn whatever_answers_in_a_daemons_place_neither_panics_nor_holds_up() {
    const OK: &str = "HTTP/1.1 200 OK\r\nContent-Length: 3\r\n\r\nok\n";
    const OPEN: &str = "HTTP/1.1 200 OK\r\nConnection: close\r\n\r\n";
    const NO: &str = "HTTP/1.1 503 Service Unavailable\r\nContent-Length: 2\r\n\r\n{}";
    let port = Path::new("/dev/no-such-controller");
    for (answers, code, words) in [
        // Nobody that lives: the command works alone, and finds no such port.
        (&[][..], 3, "there is no such port"),
        (&[("/healthz", "nonsense\r\n\r\n", "")], 3, "there is no such port"),
        (&[("/healthz", OPEN, "x")], 3, "there is no such port"),
        // Somebody who lives and is no daemon of ours.
        (&[("/healthz", OK, "")], 3, "does not answer"),
        (&[("/healthz", OK, ""), ("/fixtures", NO, "")], 3, "refused: 503 Service Unavailable"),
        (&[("/healthz", OK, ""), ("/fixtures", OPEN, "[")], 3, "does not read"),
        (&[("/healthz", OK, ""), ("/fixtures", "HTTP/1.1 200 OK\r\n", "A: b\r\n")], 3, "does not answer"),
        (&[("/healthz", OK, ""), ("/fixtures", OK, "")], 3, "does not read"),
    ] {
        let place = Place::new();
        place.leave_notice(&pretend(answers), std::process::id(), port);
        let began = Instant::now();
        let ran = Ran::of(place.sweep(port, &[]).output().unwrap());
        assert_eq!(ran.code, code, "{answers:?}: {}", ran.err);
        assert!(ran.err.contains(words), "{answers:?}: {}", ran.err);
        assert!(began.elapsed() < PATIENCE / 2, "{answers:?}: {:?}", began.elapsed());
    }
}
