//! Programs that write to one store: what each is told to do, and what it acknowledged.

use std::process::{Child, Stdio};

use crate::cases::Cases;
use crate::photo::photo;
use crate::program::{Place, Ran, gauge, sweep};

/// A sweep that the program said is recorded.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Recorded {
    /// Serial number of the unit.
    pub serial: String,
    /// Number of the sweep.
    pub number: i64,
}

/// A program at work.
pub struct Writer {
    child: Child,
    /// The unit it sweeps, if it sweeps one.
    serial: Option<String>,
}

impl Writer {
    /// Starts one of the commands that write. `turn` tells one from the next; `known` are sweeps that are there.
    pub fn start(place: &Place, cases: &mut Cases, turn: usize, known: &[Recorded]) -> Self {
        let serial = format!("K-{turn}");
        let some = cases.choose(known).cloned();
        let (args, serial) = match (cases.bits() % 13, some) {
            (0, _) => {
                let folder = format!("demo-{turn}");
                let args = ["demo", "--out", &folder, "--records", "records.sqlite"];
                (args.map(String::from).to_vec(), None)
            }
            (1, Some(of)) => (["note", &of.serial, "seen again"].map(String::from).to_vec(), None),
            (2, Some(of)) => {
                let number = of.number.to_string();
                let args = ["void", &of.serial, "--sweep", &number, "--because", "an attack"];
                (args.map(String::from).to_vec(), None)
            }
            (3, Some(of)) => (["judge", &of.serial, "--keep"].map(String::from).to_vec(), None),
            (4, Some(of)) => {
                let file = photo(place);
                (["photo", &of.serial, &file, "--caption", "an attack"].map(String::from).to_vec(), None)
            }
            (5, Some(of)) => (["tick", &of.serial, "display lights", "yes"].map(String::from).to_vec(), None),
            (6, Some(of)) => (["status", &of.serial, "sold"].map(String::from).to_vec(), None),
            (7, _) => {
                let [a, b] = ["a", "b"].map(|part| format!("R-{turn}-{part}"));
                (["receive", &a, &b, "--lot", "received"].map(String::from).to_vec(), None)
            }
            _ => {
                let (bed, lot) = (gauge(), format!("lot {}", turn % 5));
                let args = sweep(&bed, &serial, &["--lot", &lot]);
                (args.into_iter().map(String::from).collect(), Some(serial.clone()))
            }
        };
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        let child = place.command(&args).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        Self { child, serial }
    }

    /// Ends it at once, as no program can prevent. What it had acknowledged, if anything.
    pub fn kill(mut self) -> Option<Recorded> {
        self.child.kill().unwrap();
        let ran = Ran::of(self.child.wait_with_output().unwrap());
        Some(Recorded { serial: self.serial?, number: recorded(&ran.out)? })
    }
}

/// The number of the sweep that standard output says is recorded.
pub fn recorded(out: &str) -> Option<i64> {
    let line = out.lines().find_map(|line| line.strip_prefix("record "))?;
    line.trim().strip_prefix("sweep ")?.parse().ok()
}
