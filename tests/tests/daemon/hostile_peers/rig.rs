//! The program at a pseudo-terminal whose other end is the peer, and how it fared.

use std::{
    fs,
    io::Read,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    thread,
    time::{Duration, Instant},
};

use copperwalk::{
    fixture::{self, Fixture},
    limits::LimitSet,
    link::deadline,
    plan::{self, Sampling},
};
use copperwalk_core::timing::Before;
use copperwalk_tests::{
    boards::ladder_text,
    peer::{Peer, Script},
    program,
};
use copperwalk_wire::Shot;
use tempfile::TempDir;

use super::scripts::{Row, Stated};

/// Memory the program may take against any peer, KiB.
const MEMORY_KIB: u64 = 100 * 1024;

/// The board everything is tried on: the shortest there is, so that deadlines are short.
pub(super) struct Bed {
    pub folder: TempDir,
    pub fixture: Fixture,
    pub plan: Vec<Shot>,
}

impl Bed {
    pub fn new() -> Self {
        let (board, text) = ladder_text(2);
        Self::of(&board, &text)
    }

    /// The same board with a switch position to ask for.
    pub fn attended() -> Self {
        let (board, text) = ladder_text(2);
        Self::of(&board.replace("[points]", "[states]\non = \"Turn it on\"\n[points]"), &text)
    }

    pub fn of(board: &str, text: &str) -> Self {
        let folder = tempfile::tempdir().expect("a temporary folder");
        fs::write(folder.path().join("board.toml"), board).expect("written");
        fs::write(folder.path().join("fixture.toml"), text).expect("written");
        let fixture = fixture::read(&folder.path().join("fixture.toml")).expect("a sound fixture");
        let stages = plan::compile(&fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick)
            .expect("a plan")
            .stages;
        let legs = stages.iter().flat_map(|stage| &stage.legs);
        let plan = legs.flat_map(|leg| &leg.shots).map(|planned| planned.shot).collect();
        Self { folder, fixture, plan }
    }

    pub fn stated(&self, stated: Stated) -> Duration {
        match stated {
            Stated::Answer => deadline::ANSWER,
            Stated::Start => deadline::start(self.plan.len() as u16),
            Stated::Shot => deadline::shot(&mut { Before::OPEN }, &self.plan[0]),
            Stated::Run => deadline::run(&self.plan),
        }
    }

    pub fn sweep(&self, port: &Path, records: &Path) -> Command {
        let mut command = program(records);
        let fixture: PathBuf = self.folder.path().join("fixture.toml");
        command.arg("sweep").arg(fixture).args(["--serial", "U-1", "--port"]).arg(port);
        command
    }
}

pub(super) fn program(records: &Path) -> Command {
    let mut command = Command::new(program::program());
    command.arg("--records").arg(records).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// How the program fared against one peer.
pub(super) struct Outcome {
    pub status: Option<i32>,
    pub said: String,
    pub took: Duration,
    /// Most memory it ever had resident, KiB.
    pub peak_kib: u64,
    /// Sweeps on record afterwards.
    pub recorded: usize,
}

/// Sweeps against a peer, for at most so long.
pub(super) fn fare(bed: &Bed, script: Script, patience: Duration) -> Outcome {
    fare_with(bed, script, patience, |_| {})
}

/// The same, doing something to the program once it has started.
pub(super) fn fare_with(bed: &Bed, script: Script, patience: Duration, act: impl FnOnce(u32)) -> Outcome {
    let peer = Peer::start(&bed.fixture, script);
    let folder = tempfile::tempdir().expect("a temporary folder");
    let records = folder.path().join("records.sqlite");
    let began = Instant::now();
    let mut child = bed.sweep(&peer.port(), &records).spawn().expect("the program starts");
    act(child.id());
    let mut peak_kib = 0;
    let status = loop {
        peak_kib = peak_kib.max(peak(child.id()));
        match child.try_wait().expect("our child") {
            Some(status) => break status.code(),
            None if began.elapsed() > patience => {
                child.kill().expect("our child");
                child.wait().expect("our child");
                break None;
            }
            None => thread::sleep(Duration::from_millis(5)),
        }
    };
    let took = began.elapsed();
    let mut said = String::new();
    for pipe in [child.stdout.take().map(read), child.stderr.take().map(read)] {
        said += &pipe.unwrap_or_default();
    }
    let history = program(&records).args(["unit", "U-1", "--json"]).output().expect("the program starts");
    let history: serde_json::Value = serde_json::from_slice(&history.stdout).unwrap_or_default();
    let events = history["events"].as_array().cloned().unwrap_or_default();
    let recorded = events.iter().filter(|event| event["event"] == "sweep").count();
    Outcome { status, said, took, peak_kib, recorded }
}

pub(super) fn read(mut pipe: impl Read) -> String {
    let mut text = String::new();
    pipe.read_to_string(&mut text).expect("UTF-8");
    text
}

/// Most memory a process ever had resident, KiB; 0 once it is gone.
pub(super) fn peak(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

/// What is wrong with how a row ended, if something is.
pub(super) fn complaint(row: &Row, outcome: &Outcome, allowed: Duration) -> Option<String> {
    let Outcome { status, said, took, peak_kib, recorded } = outcome;
    let plain = !said.contains("panicked") && !said.contains('{') && said.lines().count() <= 4;
    let faults = [
        (*took > allowed, format!("took {took:.1?}, allowed are {allowed:.1?}")),
        (*status != Some(row.status), format!("exit status {status:?}, not {}", row.status)),
        (!said.contains(row.words), format!("does not say \"{}\"", row.words)),
        (!plain, "does not say it plainly".into()),
        (*peak_kib > MEMORY_KIB, format!("{peak_kib} KiB")),
        (*recorded > 0, format!("{recorded} sweeps recorded")),
    ];
    let wrong: Vec<_> = faults.into_iter().filter_map(|(is, what)| is.then_some(what)).collect();
    (!wrong.is_empty()).then(|| format!("{}: {}\n    {said}", row.name, wrong.join("; ")))
}
