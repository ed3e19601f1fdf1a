//! The daemon as a process of its own, asked over HTTP as scripts and browsers do, and listened to.
#![allow(clippy::expect_used, clippy::panic, reason = "test equipment: a failed expectation is the message")]

use std::{
    fmt, fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::PathBuf,
    process::{Child, Command, ExitStatus, Stdio},
    sync::mpsc::{Receiver, channel},
    thread,
    time::{Duration, Instant},
};

use copperwalk::records::now_us;
use serde_json::{Value, json};
use tempfile::TempDir;

use crate::program::program;

/// Generous: the machine may be busy.
pub const PATIENCE: Duration = Duration::from_secs(60);
/// The fixture of the tide gauge head, 12 segments, among the built-in ones.
pub const GAUGE: &str = "tide gauge bed 1";

/// A daemon of its own for each test, ended with it.
pub struct Daemon {
    child: Child,
    address: String,
    folder: TempDir,
}

/// An answer: status, head, body.
#[derive(Debug)]
pub struct Answer {
    /// HTTP status; 0 if the line ended before it.
    pub status: u16,
    /// Head, in small letters.
    pub head: String,
    /// Body.
    pub body: String,
}

impl Answer {
    /// The body as JSON.
    ///
    /// # Panics
    /// If it is none.
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {}", self.body))
    }
}

/// One of the news, as a listener heard it.
#[derive(Clone, Debug)]
pub struct Heard {
    /// Its number.
    pub id: u64,
    /// What it says.
    pub data: Value,
    /// When the listener had it, microseconds since 1970-01-01 UTC.
    pub heard_us: i64,
}

impl Heard {
    /// Is it about a job at this stage?
    pub fn is_stage(&self, stage: &str) -> bool {
        self.data["event"] == "job" && self.data["stage"] == stage
    }
}

impl Daemon {
    /// Starts one in a folder of its own.
    pub fn start(arguments: &[&str]) -> Self {
        Self::start_in(tempfile::tempdir().expect("a temporary folder"), arguments)
    }

    /// Starts one in this folder; its records are `records.sqlite` there.
    pub fn start_in(folder: TempDir, arguments: &[&str]) -> Self {
        let mut command = Command::new(program());
        command
            .current_dir(folder.path())
            .args(["--records", "records.sqlite", "serve", "--listen", "127.0.0.1:0"])
            .args(arguments);
        Self::of(command, folder)
    }

    /// Starts one by a command that listens on 127.0.0.1 and has its records in this folder.
    ///
    /// # Panics
    /// If it does not say where it listens.
    pub fn of(mut command: Command, folder: TempDir) -> Self {
        let log = fs::OpenOptions::new().create(true).append(true).open(folder.path().join("log"));
        let mut child = command
            // Where daemons leave a notice of themselves: a place of its own.
            .env("XDG_RUNTIME_DIR", folder.path())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(log.expect("a file"))
            .spawn()
            .expect("the program starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("piped")).read_line(&mut line).expect("UTF-8");
        let said = || fs::read_to_string(folder.path().join("log")).unwrap_or_default();
        let address = line.split("http://").nth(1).unwrap_or_else(|| panic!("{line}{}", said()));
        let address = address.split('/').next().expect("a split has one part").to_owned();
        Self { child, address, folder }
    }

    /// `host:port`.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// A file in its folder.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Its process.
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// What it has written to its log.
    pub fn log(&self) -> String {
        fs::read_to_string(self.path("log")).expect("its log")
    }

    /// Ends it at once, as no program can prevent, and gives its folder back.
    pub fn kill(mut self) -> TempDir {
        self.end();
        std::mem::replace(&mut self.folder, tempfile::tempdir().expect("a temporary folder"))
    }

    /// Asks it to end, and gives its exit status and how long that took.
    pub fn terminate(&mut self) -> (ExitStatus, Duration) {
        let began = Instant::now();
        let asked = Command::new("kill").args(["-TERM", &self.process().to_string()]).status();
        assert!(asked.expect("kill, of util-linux or the shell").success());
        (self.child.wait().expect("its status"), began.elapsed())
    }

    /// Memory of the process that is really there, KiB: now, and the most there ever was.
    pub fn memory_kib(&self) -> (u64, u64) {
        let status = fs::read_to_string(format!("/proc/{}/status", self.process())).expect("proc(5)");
        let of = |name: &str| {
            let line = status.lines().find_map(|line| line.strip_prefix(name));
            line.and_then(|line| line.split_whitespace().next()?.parse().ok()).expect("a number of KiB")
        };
        (of("VmRSS:"), of("VmHWM:"))
    }

    /// One request over a line of its own.
    ///
    /// # Panics
    /// If there is no line to the daemon, or no answer within [`PATIENCE`].
    pub fn ask(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
        ask(&self.address, method, path, headers, body.as_bytes()).expect("an answer")
    }

    /// Reads something.
    pub fn get(&self, path: &str) -> Answer {
        self.ask("GET", path, &[], "")
    }

    /// Sends JSON.
    #[allow(clippy::needless_pass_by_value, reason = "reads better where a value is made on the spot")]
    pub fn send(&self, method: &str, path: &str, body: Value) -> Answer {
        self.ask(method, path, &[("Content-Type", "application/json")], &body.to_string())
    }

    /// Asks for a sweep of a unit on the tide gauge's bed; the job's number.
    ///
    /// # Panics
    /// If the job is not taken.
    pub fn scan(&self, serial: &str) -> u64 {
        let asked = json!({ "serial": serial, "lot": "L-1", "fixture": GAUGE });
        let asked = self.send("POST", "/api/v1/jobs", asked);
        assert_eq!(asked.status, 202, "{}", asked.body);
        let id = asked.json()["id"].as_u64().expect("a number");
        assert!(asked.head.contains(&format!("location: /api/v1/jobs/{id}")), "{}", asked.head);
        id
    }

    /// Opens and closes the lid of the virtual bench, slowly enough to be seen.
    pub fn lay_down(&self) {
        for open in [true, false] {
            self.lid(open);
            self.until("the lid is seen", || {
                (self.get("/api/v1/bench").json()["lid_open"] == open).then_some(())
            });
        }
    }

    /// Opens or closes the lid of the virtual bench.
    ///
    /// # Panics
    /// If that is refused.
    pub fn lid(&self, open: bool) {
        assert_eq!(self.send("PUT", "/api/v1/bench/hands", json!({ "lid_open": open })).status, 200);
    }

    /// Puts the unit on the virtual bench into a state.
    ///
    /// # Panics
    /// If that is refused.
    pub fn put(&self, state: &str) {
        assert_eq!(self.send("PUT", "/api/v1/bench/hands", json!({ "state": state })).status, 200);
    }

    /// Waits for something; a busy machine may take its time.
    ///
    /// # Panics
    /// If it does not come within [`PATIENCE`].
    pub fn until<T>(&self, what: &str, mut seen: impl FnMut() -> Option<T>) -> T {
        let began = Instant::now();
        loop {
            if let Some(seen) = seen() {
                return seen;
            }
            assert!(began.elapsed() < PATIENCE, "waited too long: {what}\n{}", self.log());
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// Sees a job on the virtual bench to its end, moving the switch when asked, and gives it.
    pub fn attend(&self, job: u64) -> Value {
        self.until("the sweep is over", || {
            let job = self.get(&format!("/api/v1/jobs/{job}")).json();
            if asks_for_on(&job) {
                self.put("on");
            }
            let stage = job["stage"].as_str().expect("a stage");
            ["recorded", "failed", "cancelled"].contains(&stage).then_some(job)
        })
    }

    /// Sweeps a unit of the tide gauge's bed, moving its switch when asked, and gives the finished job.
    pub fn sweep(&self, serial: &str) -> Value {
        let id = self.scan(serial);
        self.lay_down();
        self.attend(id)
    }

    /// Listens from now on, until the daemon is gone.
    ///
    /// # Panics
    /// If it is refused.
    pub fn listen(&self) -> Receiver<Heard> {
        let mut line = TcpStream::connect(&self.address).expect("a line");
        let request = format!("GET /api/v1/events HTTP/1.1\r\nHost: {}\r\n\r\n", self.address);
        line.write_all(request.as_bytes()).expect("a line");
        let mut lines = BufReader::new(line).lines().map_while(Result::ok);
        // An answer means that the listener is known: nothing after it is missed.
        assert!(lines.next().expect("an answer").contains(" 200 "));
        let (tell, told) = channel();
        thread::spawn(move || {
            let mut id = 0;
            for line in lines {
                if let Some(number) = line.strip_prefix("id: ") {
                    id = number.parse().expect("a number");
                }
                let Some(data) = line.strip_prefix("data: ") else { continue };
                let heard_us = now_us();
                let data = serde_json::from_str(data).expect("JSON");
                if tell.send(Heard { id, data, heard_us }).is_err() {
                    break;
                }
            }
        });
        told
    }

    fn end(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Does a job of the tide gauge's bed ask for its switch?
pub fn asks_for_on(job: &Value) -> bool {
    job["ask"].as_str().is_some_and(|ask| ask.starts_with("Slide the power switch to ON"))
}

/// One request to a daemon over a line of its own.
///
/// # Errors
/// No line to it, or one that ends.
pub fn ask(
    address: &str,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: &[u8],
) -> std::io::Result<Answer> {
    let mut line = TcpStream::connect(address)?;
    line.set_read_timeout(Some(PATIENCE))?;
    let mut request =
        format!("{method} {path} HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n", body.len());
    if !headers.iter().any(|(name, _)| *name == "Host") {
        request += &format!("Host: {address}\r\n");
    }
    for (name, value) in headers {
        request += &format!("{name}: {value}\r\n");
    }
    line.write_all(&[request.as_bytes(), b"\r\n", body].concat())?;
    let mut answer = Vec::new();
    line.read_to_end(&mut answer)?;
    let answer = String::from_utf8_lossy(&answer).into_owned();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    Ok(Answer { status, head: head.to_lowercase(), body: body.to_owned() })
}

impl fmt::Debug for Daemon {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.debug_struct("Daemon").field("address", &self.address).finish_non_exhaustive()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        self.end();
    }
}
