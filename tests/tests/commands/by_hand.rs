//! Hunts by hand as scripts and meters meet them: questions and answers line by line, a SCPI meter on a network, records and resuming.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed expectation in a test is the message")]

use std::{
    io::{BufRead, BufReader, Write},
    net::{TcpListener, TcpStream},
    process::{Child, ChildStdin, ChildStdout, Stdio},
    sync::{Arc, Mutex},
    thread,
    time::Duration,
};

use copperwalk::{
    board::{self, Board},
    hypothesis::Look,
};
use copperwalk_tests::{
    instrument::Instrument,
    program::{Place, Ran},
};
use serde_json::Value;

const BOARD: &str = include_str!("../../../fixtures/tide-gauge-head/board.toml");
/// What the leads read.
const LEADS: f64 = 0.2;

/// A unit on which one segment is open.
struct Unit {
    board: Board,
    open: &'static str,
}

impl Unit {
    fn new(open: &'static str) -> Self {
        Self { board: board::parse("board.toml", BOARD).unwrap(), open }
    }

    /// Between two points, Ω, leads included; `None`: no current.
    fn between(&self, from: &str, to: &str, state: &str) -> Option<f64> {
        let points = [from, to].map(|name| self.board.point_named(name).unwrap());
        let state = self.board.state_named(state).unwrap();
        let look = Look::two_points(&self.board, state, points)?;
        let segments = look.way().iter().map(|&id| self.board.segment(id));
        let sum = segments.map(|segment| match segment.name == self.open {
            true => f64::INFINITY,
            false => segment.expected.typical.0,
        });
        let sum = sum.sum::<f64>() + LEADS;
        sum.is_finite().then_some(sum)
    }

    /// What a person types to a question.
    fn answer(&self, ask: &Value) -> String {
        if ask["zero"] == true {
            return format!("{LEADS} ohm");
        }
        let name = |key: &str| ask[key].as_str().unwrap();
        match self.between(name("from"), name("to"), name("state")) {
            Some(ohms) => format!("{ohms:.1} ohm"),
            None => "ol 20 Mohm".into(),
        }
    }
}

/// A hunt that runs, and both ends of its conversation.
struct Hunt {
    child: Child,
    says: BufReader<ChildStdout>,
    hears: Option<ChildStdin>,
}

impl Hunt {
    fn begin(place: &Place, args: &[&str]) -> Self {
        let board = place.file("board.toml", BOARD);
        let all = [&["hunt", &board, "--by-hand", "--serial", "A-1", "--json"], args].concat();
        let mut command = place.command(&all);
        let mut child =
            command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (says, hears) = (BufReader::new(child.stdout.take().unwrap()), child.stdin.take());
        Self { child, says, hears }
    }

    /// The next line; `None` at the end.
    fn line(&mut self) -> Option<Value> {
        let mut line = String::new();
        let count = self.says.read_line(&mut line).unwrap();
        (count > 0).then(|| serde_json::from_str(&line).unwrap_or_else(|_| panic!("{line}")))
    }

    fn say(&mut self, text: &str) {
        writeln!(self.hears.as_mut().unwrap(), "{text}").unwrap();
    }

    /// Answers until the result comes.
    fn answered_by(&mut self, unit: &Unit) -> Value {
        loop {
            let line = self.line().expect("a question or the result");
            if line.get("ask").is_none() {
                return line;
            }
            self.say(&unit.answer(&line["ask"]));
        }
    }

    fn end(mut self) -> Ran {
        drop(self.hears.take());
        Ran::of(self.child.wait_with_output().unwrap())
    }
}

#[test]
fn a_script_answers_line_by_line_and_the_last_line_is_the_result() {
    let place = Place::new();
    let unit = Unit::new("switch trace");
    let mut hunt = Hunt::begin(&place, &[]);
    let first = hunt.line().unwrap();
    assert_eq!(first, serde_json::json!({ "ask": { "zero": true } }));
    hunt.say("0.2");
    assert!(hunt.line().unwrap()["refused"].as_str().unwrap().contains("has no unit"));
    hunt.say("0.2 ohm");
    let result = hunt.answered_by(&unit);
    assert_eq!((&result["manner"], &result["verdict"]), (&"by_hand".into(), &"fail".into()));
    assert_eq!(result["faults"][0]["where"], "switch trace");
    let steps = result["steps"].as_array().unwrap();
    assert!(steps.len() >= 3 && steps.iter().all(|step| !step["left"].as_array().unwrap().is_empty()));
    for row in result["segments"].as_array().unwrap() {
        assert!(row["verdict"] != "unproven" || row["reason"].is_string(), "{row}");
        assert!(row["method"].is_null() || row["method"] == "two_wire", "{row}");
    }
    assert_eq!(result["basis"].get("fixture"), None, "no bed: {}", result["basis"]);
    assert_eq!(hunt.line(), None);
    assert_eq!(hunt.end().code, 1);
    // The same records, the same reports.
    let history = place.run(&["unit", "A-1"]);
    assert!(history.out.contains("switch trace"), "{}", history.out);
    let judged = place.run(&["judge", "A-1", "--json"]);
    assert_eq!(judged.code, 0, "{}{}", judged.out, judged.err);
    assert!(judged.out.contains("\"judged\": 1") && judged.out.contains("\"changed\": []"), "{}", judged.out);
    assert_eq!(place.run(&["records", "check"]).code, 0);
}

#[test]
fn a_hunt_whose_answers_end_is_kept_void_and_goes_on() {
    let place = Place::new();
    let unit = Unit::new("switch trace");
    let mut hunt = Hunt::begin(&place, &[]);
    for _ in 0..3 {
        let line = hunt.line().unwrap();
        hunt.say(&unit.answer(&line["ask"]));
    }
    hunt.line().unwrap();
    drop(hunt.hears.take());
    let result = hunt.line().unwrap();
    assert_eq!(result["verdict"], "void");
    assert_eq!(result["steps"].as_array().unwrap().len(), 2);
    assert!(result["bench_faults"][0]["what"].as_str().unwrap().contains("--resume"));
    assert_eq!(hunt.end().code, 3);
    let mut hunt = Hunt::begin(&place, &["--resume"]);
    let result = hunt.answered_by(&unit);
    assert_eq!(result["verdict"], "fail");
    assert!(result["steps"].as_array().unwrap().len() > 2);
    hunt.end();
    let board = place.file("board.toml", BOARD);
    let again = place.run(&["hunt", &board, "--by-hand", "--serial", "A-1", "--resume"]);
    assert_eq!(again.code, 2);
    assert!(again.err.contains("leave --resume out"), "{}", again.err);
    let none = place.run(&["hunt", &board, "--by-hand", "--serial", "B-1"]);
    assert!(none.err.contains("nothing was answered; nothing was recorded"), "{}", none.err);
}

/// What a meter is told to do.
#[derive(Clone, Copy, PartialEq)]
enum Temper {
    Good,
    Silent,
    Cut,
    Nonsense,
    Reports,
    NoFourWire,
}

/// A SCPI meter as IEEE 488.2 and SCPI-99 prescribe; what it reads is asked of `reads`.
struct Meter<R> {
    temper: Temper,
    reads: R,
    errors: Vec<&'static str>,
    count: u32,
}

impl<R: Fn() -> Option<f64>> Meter<R> {
    fn new(temper: Temper, reads: R) -> Self {
        Self { temper, reads, errors: Vec::new(), count: 0 }
    }

    /// What it says to a line: nothing, or an answer; an error where it hangs up.
    fn hears(&mut self, line: &str) -> Result<Option<String>, Cut> {
        Ok(match line.trim() {
            "*IDN?" => Some("ACME INSTRUMENTS,M1,0042,1.0".to_owned()),
            "SYST:ERR?" => Some(self.errors.pop().unwrap_or("+0,\"No error\"").to_owned()),
            "CONF:FRES" if self.temper == Temper::NoFourWire => {
                self.errors.push("-113,\"Undefined header\"");
                None
            }
            "*CLS" | "CONF:RES" | "CONF:FRES" => None,
            "READ?" => {
                self.count += 1;
                match self.temper {
                    Temper::Silent => None,
                    Temper::Cut if self.count > 4 => return Err(Cut),
                    Temper::Nonsense => Some("VERY HOT".into()),
                    Temper::Reports => {
                        self.errors.push("-230,\"Data corrupt or stale\"");
                        Some("9.91E37".into())
                    }
                    _ => Some((self.reads)().map_or("+9.90000000E+37".into(), |ohms| format!("{ohms:+.8E}"))),
                }
            }
            other => panic!("{other:?} is not asked of a meter"),
        })
    }
}

/// The meter has hung up.
struct Cut;

/// A meter at a network address; its port.
fn meter(temper: Temper, reads: impl Fn() -> Option<f64> + Send + 'static) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    thread::spawn(move || {
        let Ok((stream, _)) = listener.accept() else { return };
        serve(stream, Meter::new(temper, reads));
    });
    port
}

fn serve<R: Fn() -> Option<f64>>(mut stream: TcpStream, mut meter: Meter<R>) {
    let mut lines = BufReader::new(stream.try_clone().unwrap());
    loop {
        let mut line = String::new();
        if lines.read_line(&mut line).unwrap_or(0) == 0 {
            return;
        }
        let Ok(answer) = meter.hears(&line) else { return };
        if let Some(answer) = answer {
            // In two pieces, as lines come over networks.
            let (first, rest) = answer.split_at(answer.len() / 2);
            let sent = stream.write_all(first.as_bytes()).and_then(|()| {
                thread::sleep(Duration::from_millis(2));
                stream.write_all(format!("{rest}\n").as_bytes())
            });
            if sent.is_err() {
                return;
            }
        }
    }
}

/// Where the tips are held: what they read, and how often it was looked since they were lifted.
#[derive(Default)]
struct Tips {
    ohms: Option<f64>,
    looks: u32,
}

/// What a meter reads whose tips are lifted, then set down, then held still.
fn reading(held: &Mutex<Tips>) -> Option<f64> {
    let mut tips = held.lock().unwrap();
    tips.looks += 1;
    match tips.looks {
        1 => None,
        2 => tips.ohms.map(|ohms| 3.0 * ohms),
        _ => tips.ohms,
    }
}

/// Holds the tips where each question says, until the result comes; a key is pressed only over what conducts nothing.
fn held_by(unit: &Unit, hunt: &mut Hunt, tips: &Mutex<Tips>) -> Value {
    loop {
        let line = hunt.line().unwrap();
        let Some(ask) = line.get("ask") else { return line };
        let name = |key: &str| ask[key].as_str().unwrap();
        let ohms = match ask["zero"] == true {
            true => Some(LEADS),
            false => unit.between(name("from"), name("to"), name("state")),
        };
        *tips.lock().unwrap() = Tips { ohms, looks: 0 };
        if ohms.is_none() {
            while tips.lock().unwrap().looks < 2 {
                thread::sleep(Duration::from_millis(10));
            }
            hunt.say("");
        }
    }
}

#[test]
fn a_meter_on_the_network_reads_by_itself_and_only_an_open_needs_a_key() {
    let place = Place::new();
    let tips = Arc::new(Mutex::new(Tips::default()));
    let held = Arc::clone(&tips);
    let port = meter(Temper::Good, move || reading(&held));
    let mut hunt = Hunt::begin(&place, &["--meter", &format!("tcp:127.0.0.1:{port}")]);
    let result = held_by(&Unit::new("cell fuse"), &mut hunt, &tips);
    assert_eq!((&result["verdict"], &result["faults"][0]["where"]), (&"fail".into(), &"cell fuse".into()));
    assert_eq!(result["bench"]["name"], "ACME INSTRUMENTS M1, serial number 0042");
    assert_eq!(hunt.end().code, 1);
}

/// A pseudo-terminal stands in for both device files: neither knows what is behind it.
#[test]
fn a_meter_at_a_serial_port_or_a_device_of_the_measurement_class_reads_as_well() {
    for kind in ["serial", "usbtmc"] {
        let place = Place::new();
        let device = place.0.path().join("meter");
        let tips = Arc::new(Mutex::new(Tips::default()));
        let held = Arc::clone(&tips);
        let mut meter = Meter::new(Temper::Good, move || reading(&held));
        let _meter = Instrument::at(&device, move |line| meter.hears(line).ok().flatten());
        let mut hunt = Hunt::begin(&place, &["--meter", &format!("{kind}:{}", device.display())]);
        let result = held_by(&Unit::new("cell fuse"), &mut hunt, &tips);
        let found = (&result["verdict"], &result["faults"][0]["where"]);
        assert_eq!(found, (&"fail".into(), &"cell fuse".into()), "{kind}");
        assert_eq!(result["bench"]["name"], "ACME INSTRUMENTS M1, serial number 0042", "{kind}");
        assert_eq!(hunt.end().code, 1, "{kind}");
    }
}

#[test]
fn a_meter_that_stops_or_says_other_things_is_named_with_the_remedy_and_what_was_read_is_kept() {
    for (temper, kelvin, words) in [
        (Temper::Nonsense, false, "answered READ? with \"VERY HOT\", which is no number"),
        (Temper::Reports, false, "reports the error -230"),
        (Temper::NoFourWire, true, "leave --kelvin out"),
        (Temper::Cut, false, "was cut (the other end closed it)"),
        (Temper::Silent, false, "did not answer READ?"),
    ] {
        let place = Place::new();
        let port = meter(temper, || Some(LEADS));
        let place_of_meter = format!("tcp:127.0.0.1:{port}");
        let mut args = vec!["--meter", place_of_meter.as_str()];
        if kelvin {
            args.push("--kelvin");
        }
        let hunt = Hunt::begin(&place, &args);
        let ran = Ran::of(hunt.child.wait_with_output().unwrap());
        assert_eq!(ran.code, 2, "{}", ran.err);
        assert!(ran.err.contains("ACME INSTRUMENTS M1") && ran.err.contains(words), "{words}: {}", ran.err);
    }
    let place = Place::new();
    let nobody = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let ran = Hunt::begin(&place, &["--meter", &format!("tcp:127.0.0.1:{nobody}")]).end();
    assert!(ran.code == 2 && ran.err.contains("cannot be reached"), "{}", ran.err);
    let ran = Hunt::begin(&place, &["--meter", "telex:7"]).end();
    assert!(ran.code == 2 && ran.err.contains("names no meter"), "{}", ran.err);
}
