//! The program itself, run as a process in a place of its own: for tests of what people and scripts meet.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};
use std::{env, fs};

use tempfile::TempDir;

/// The program as the tests' own package builds it (`src/bin`): of the very library they are linked with, and without
/// compiling that a second time for a smaller set of features.
pub fn program() -> &'static Path {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        // Tests lie in `deps`, one folder below the programs: the layout of cargo's target folder.
        let test = env::current_exe().unwrap();
        let built = test.ancestors().nth(2).unwrap().join("copperwalk-under-test");
        assert!(built.is_file(), "{} is not built", built.display());
        built
    })
}

/// A place with its own record store.
pub struct Place(pub TempDir);

impl Place {
    /// An empty one.
    #[allow(clippy::new_without_default)] // making a folder is no default
    pub fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    /// The program with these arguments, its records in this place.
    pub fn command(&self, args: &[&str]) -> Command {
        let mut command = Command::new(program());
        command
            .args(args)
            .current_dir(self.0.path())
            .env("COPPERWALK_RECORDS", self.0.path().join("records.sqlite"))
            .env_remove("COLUMNS")
            .stdin(Stdio::null());
        command
    }

    /// Runs it to its end.
    pub fn run(&self, args: &[&str]) -> Ran {
        Ran::of(self.command(args).output().unwrap())
    }

    /// A file in this place; its path.
    pub fn file(&self, name: &str, content: impl AsRef<[u8]>) -> String {
        let path = self.0.path().join(name);
        fs::write(&path, content).unwrap();
        path.to_str().unwrap().to_owned()
    }
}

/// The names in a folder, in order.
pub fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// What a run left.
pub struct Ran {
    /// Exit status; -1 after a signal.
    pub code: i32,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Ran {
    /// What a finished process left; it must not have panicked.
    pub fn of(output: Output) -> Self {
        let ran = Self {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8_lossy(&output.stdout).into_owned(),
            err: String::from_utf8_lossy(&output.stderr).into_owned(),
        };
        assert!(!ran.err.contains("panicked"), "{}", ran.err);
        ran
    }
}

/// Presses Ctrl-C for a program, as soon as it listens for that.
///
/// # Panics
/// If it does not within a minute, or ends before.
pub fn interrupt(process: u32) {
    // The mask of caught signals: man 5 proc. SIGINT is signal 2, its bit the second.
    let listens = || {
        let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap();
        let mask = status.lines().find_map(|line| line.strip_prefix("SigCgt:")).unwrap().trim();
        u64::from_str_radix(mask, 16).unwrap() & 0b10 != 0
    };
    let began = Instant::now();
    while !listens() {
        assert!(began.elapsed() < Duration::from_secs(60), "it does not listen for Ctrl-C");
        std::thread::sleep(Duration::from_millis(2));
    }
    assert!(Command::new("kill").args(["-INT", &process.to_string()]).status().unwrap().success());
}

/// The fixture file of an example board.
pub fn fixture(board: &str) -> String {
    format!("{}/../fixtures/{board}/fixture.toml", env!("CARGO_MANIFEST_DIR"))
}

/// The one of the tide gauge head.
pub fn gauge() -> String {
    fixture("tide-gauge-head")
}

/// Arguments that sweep a unit on the modelled bench.
pub fn sweep<'a>(fixture: &'a str, serial: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    [&["sweep", fixture, "--virtual", "--serial", serial], more].concat()
}
