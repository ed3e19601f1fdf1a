//! `copperwalk start` as a process: which unit may be started, a supply that speaks the standard's SCPI on a network and on a serial port, one that
//! refuses, disobeys or is cut off, one that is set by hand, and what is kept of it all.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed expectation in a test is the message")]

use std::{
    io::{BufRead, BufReader, Write},
    net::TcpListener,
    process::{Child, ChildStdin, Stdio},
    sync::{Arc, Mutex},
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use copperwalk_tests::{
    instrument::Instrument,
    program::{Place, Ran, interrupt},
};
use serde_json::Value;

const BOARD: &str = include_str!("../../../fixtures/tide-gauge-head/board.toml");
const FIXTURE: &str = include_str!("../../../fixtures/tide-gauge-head/fixture.toml");
/// A good head draws 5 mA and is not much in a hurry.
const POWER: &str = "\n[power]\nidle = [\"2 mA\", \"9 mA\"]\nnominal = \"2.6 V\"\nsettle = \"100 ms\"\nwait = \"300 ms\"\nhot = \"the regulator\"\n\n\
                     [[rail]]\nname = \"input\"\nat = \"reg.in\"\nvoltage = [\"2.4 V\", \"3.2 V\"]\n";

/// The tide gauge's board without its own power and rail.
fn bare() -> String {
    let (before, own) = BOARD.split_once("[power]").unwrap();
    let (_, after) = own.split_once("[states]").unwrap();
    format!("{before}[states]{after}")
}

/// A place with the tide gauge's files, in which unit A-1 has passed.
fn place(board: &str) -> (Place, String) {
    let place = Place::new();
    place.file("board.toml", board);
    let fixture = place.file("fixture.toml", FIXTURE);
    let swept = place.run(&["sweep", &fixture, "--virtual", "--serial", "A-1", "--seed", "3"]);
    assert_eq!(swept.code, 0, "{}{}", swept.out, swept.err);
    (place, fixture)
}

fn powered() -> (Place, String) {
    place(&format!("{}{POWER}", bare()))
}

fn start<'a>(fixture: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    [&["start", fixture, "--serial", "A-1"], more].concat()
}

fn object(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {}{}", ran.out, ran.err))
}

/// The last entry of a unit's history.
fn last(place: &Place) -> Value {
    let unit = object(&place.run(&["unit", "A-1", "--json"]));
    unit["events"].as_array().unwrap().last().unwrap().clone()
}

/// What a supply has.
#[derive(Clone, Copy, PartialEq)]
enum Temper {
    Good,
    /// An error stands in its queue once it is to give voltage.
    Reports,
    /// It keeps another current limit than it was told.
    OtherLimit,
    /// It keeps another voltage than it was told.
    OtherVoltage,
    /// It knows no over-current trip.
    NoTrip,
    /// It gives more than it says it is set to.
    GivesMore,
    /// It has several outputs, of which the first is chosen until another is.
    Outputs,
    /// Somebody chooses its first output by its keys at this voltage.
    OutputTurned(f64),
    /// Hangs up at this voltage or above.
    CutAt(f64),
    /// Falls silent there.
    SilentAt(f64),
}

type Log = Arc<Mutex<Vec<(Instant, String)>>>;

/// A supply as IEEE 488.2 and SCPI-99 prescribe, with a board behind it that draws 5 mA from 1.5 V on.
struct Scpi {
    temper: Temper,
    log: Log,
    errors: Vec<&'static str>,
    volts: f64,
    limit: f64,
    trips: [f64; 2],
    armed: [bool; 2],
    on: bool,
    output: u8,
}

/// It has hung up, or answers no more.
enum Gone {
    Cut,
    Silent,
}

impl Scpi {
    fn new(temper: Temper, log: &Log) -> Self {
        let log = Arc::clone(log);
        let (errors, trips, armed) = (Vec::new(), [60.0, 5.0], [false; 2]);
        Self { temper, log, errors, volts: 5.0, limit: 1.0, trips, armed, on: true, output: 1 }
    }

    fn hears(&mut self, line: &str) -> Result<Option<String>, Gone> {
        let line = line.trim();
        self.log.lock().unwrap().push((Instant::now(), line.to_owned()));
        match self.temper {
            Temper::CutAt(volts) if self.on && self.volts >= volts && line == "MEAS:CURR?" => {
                self.log.lock().unwrap().push((Instant::now(), "(cut)".into()));
                return Err(Gone::Cut);
            }
            Temper::SilentAt(volts) if self.on && self.volts >= volts && line == "MEAS:CURR?" => {
                self.log.lock().unwrap().push((Instant::now(), "(silent)".into()));
                return Err(Gone::Silent);
            }
            _ => {}
        }
        let (head, value) = line.split_once(' ').unwrap_or((line, ""));
        let which = usize::from(head.starts_with("CURR"));
        let flag = |flag: bool| Some(u8::from(flag).to_string());
        let gives = match self.temper {
            Temper::GivesMore if self.volts > 0.0 => self.volts + 0.4,
            _ => self.volts,
        };
        let amps = if self.on && gives >= 1.5 { 5e-3 } else { 0.0 };
        Ok(match head {
            "*CLS" => {
                self.errors.clear();
                None
            }
            "*IDN?" => Some("ACME INSTRUMENTS,S1,0007,1.0".into()),
            "INST:NSEL" if !matches!(self.temper, Temper::Outputs | Temper::OutputTurned(_)) => {
                self.errors.push("-113,\"Undefined header\"");
                None
            }
            "INST:NSEL" => {
                self.output = value.parse().unwrap();
                None
            }
            "INST:NSEL?" => Some(self.output.to_string()),
            "SYST:ERR?" => Some(self.errors.pop().unwrap_or("+0,\"No error\"").into()),
            "OUTP" => {
                self.on = value == "ON";
                None
            }
            "OUTP?" => flag(self.on),
            "VOLT" => {
                let volts = value.parse().unwrap();
                if self.temper == Temper::Reports && volts > 0.0 {
                    self.errors.push("-222,\"Data out of range\"");
                }
                self.volts = volts;
                if matches!(self.temper, Temper::OutputTurned(at) if volts >= at) {
                    (self.temper, self.output) = (Temper::Outputs, 1);
                }
                None
            }
            "VOLT?" if self.temper == Temper::OtherVoltage && self.volts > 0.0 => {
                Some(format!("{:.3}", self.volts + 0.2))
            }
            "VOLT?" => Some(format!("{:+.6E}", self.volts)),
            "CURR" => {
                self.limit = value.parse().unwrap();
                None
            }
            "CURR?" if self.temper == Temper::OtherLimit => Some("1.0".into()),
            "CURR?" => Some(format!("{:.4}", self.limit)),
            "CURR:PROT" | "CURR:PROT:STAT" if self.temper == Temper::NoTrip => {
                self.errors.push("-113,\"Undefined header\"");
                None
            }
            "VOLT:PROT" | "CURR:PROT" => {
                self.trips[which] = value.parse().unwrap();
                None
            }
            "VOLT:PROT?" | "CURR:PROT?" => Some(format!("{:.4}", self.trips[which])),
            "VOLT:PROT:STAT" | "CURR:PROT:STAT" => {
                self.armed[which] = value == "ON";
                None
            }
            "VOLT:PROT:STAT?" | "CURR:PROT:STAT?" => flag(self.armed[which]),
            "MEAS:VOLT?" => Some(format!("{:.4}", if self.on { gives } else { 0.0 })),
            "MEAS:CURR?" => Some(format!("{amps:+.6E}")),
            other => panic!("{other:?} is not said to a supply"),
        })
    }
}

/// A supply at a network address: its port, and what it was told.
fn supply(temper: Temper) -> (String, Log) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let place = format!("scpi:127.0.0.1:{}", listener.local_addr().unwrap().port());
    let log = Log::default();
    let mut supply = Scpi::new(temper, &log);
    thread::spawn(move || {
        let Ok((mut stream, _)) = listener.accept() else { return };
        let lines = BufReader::new(stream.try_clone().unwrap());
        let mut silent = false;
        for line in lines.lines().map_while(Result::ok) {
            match supply.hears(&line) {
                Err(Gone::Cut) => return,
                Err(Gone::Silent) => silent = true,
                Ok(Some(answer)) if !silent => {
                    if stream.write_all(format!("{answer}\n").as_bytes()).is_err() {
                        return;
                    }
                }
                Ok(_) => {}
            }
        }
    });
    (place, log)
}

/// Everything was told to it that bounds a unit, and read back, before the output went on; and the output went off at the end.
fn bounded_before_on(log: &Log) {
    let log = log.lock().unwrap();
    let said: Vec<&str> = log.iter().map(|(_, text)| text.as_str()).collect();
    let on = said.iter().position(|text| *text == "OUTP ON").unwrap();
    let before = &said[..on];
    for bound in [
        "VOLT 0.0000",
        "CURR 0.1200",
        "CURR?",
        "VOLT:PROT 3.3600",
        "VOLT:PROT?",
        "VOLT:PROT:STAT ON",
        "VOLT:PROT:STAT?",
        "CURR:PROT 0.1500",
        "CURR:PROT?",
        "CURR:PROT:STAT ON",
        "CURR:PROT:STAT?",
    ] {
        assert!(before.contains(&bound), "{bound} is missing before the output goes on: {before:?}");
    }
    assert!(!before.iter().any(|text| text.starts_with("VOLT ") && *text != "VOLT 0.0000"), "{before:?}");
}

fn went_off(log: &Log) -> bool {
    let log = log.lock().unwrap();
    let rank = |wanted: &str| log.iter().rposition(|(_, text)| text == wanted);
    rank("OUTP OFF") > rank("OUTP ON")
}

/// What a person answers who finds everything in order: four cautions, state, joined, cool, the rail, cool, two checks.
const IN_ORDER: &str = "yes\nyes\nyes\nyes\n\n\nyes\n2.58 V\nyes\nyes\nyes\n";

/// A program with a person before it.
struct Process {
    child: Child,
    says: Option<ChildStdin>,
    heard: JoinHandle<Vec<(Instant, String)>>,
}

impl Process {
    fn begin(place: &Place, args: &[&str]) -> Self {
        let mut command = place.command(args);
        let mut child =
            command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let lines = BufReader::new(child.stderr.take().unwrap()).lines();
        let heard = thread::spawn(move || {
            lines.map_while(Result::ok).map(|line| (Instant::now(), line)).collect::<Vec<_>>()
        });
        Self { says: child.stdin.take(), child, heard }
    }

    fn say(&mut self, text: &str) {
        let _ = self.says.as_mut().unwrap().write_all(text.as_bytes());
    }

    /// Nothing more is said; waits for its end.
    fn end(mut self) -> (Ran, Vec<(Instant, String)>) {
        drop(self.says.take());
        let output = self.child.wait_with_output().unwrap();
        let heard = self.heard.join().unwrap();
        let mut ran = Ran::of(output);
        ran.err = heard.iter().map(|(_, line)| format!("{line}\n")).collect();
        assert!(!ran.err.contains("panicked"), "{}", ran.err);
        (ran, heard)
    }
}

/// Runs it with these answers.
fn answered(place: &Place, args: &[&str], answers: &str) -> Ran {
    let mut process = Process::begin(place, args);
    process.say(answers);
    process.end().0
}

#[test]
fn a_good_unit_passes_and_its_start_is_kept_without_changing_its_sweep() {
    let (place, fixture) = powered();
    let (at, log) = supply(Temper::Good);
    let args = start(&fixture, &["--supply", &at, "--meter-within", "0.5 % + 2 mV", "--json"]);
    let ran = answered(&place, &args, IN_ORDER);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    bounded_before_on(&log);
    assert!(went_off(&log));
    let sheet = object(&ran);
    assert_eq!((&sheet["verdict"], &sheet["reasons"]), (&"pass".into(), &Value::Array(vec![])));
    assert_eq!(sheet["supply"], "ACME INSTRUMENTS S1, serial number 0007");
    let set: Vec<f64> =
        sheet["steps"].as_array().unwrap().iter().map(|step| step["set_volts"].as_f64().unwrap()).collect();
    assert_eq!(set.len(), 6);
    assert!((set[0] - 0.4).abs() < 1e-9 && (set[4] - 2.0).abs() < 1e-9 && (set[5] - 2.6).abs() < 1e-9);
    assert!((sheet["steady_amps"].as_f64().unwrap() - 5e-3).abs() < 1e-6);
    assert_eq!(sheet["rails"][0]["verdict"], "pass");
    for caution in ["leave them out", "eye protection", "local rules", "licensed", "hand near the supply"] {
        assert!(ran.err.contains(caution), "{caution}: {}", ran.err);
    }

    let unit = object(&place.run(&["unit", "A-1", "--json"]));
    let kept = last(&place);
    assert_eq!((&kept["event"], &kept["verdict"]), (&"started".into(), &"pass".into()));
    assert_eq!(serde_json::from_str::<Value>(kept["sheet"].as_str().unwrap()).unwrap(), sheet);
    let checks = unit["checklist"].as_array().unwrap();
    assert_eq!(checks.len(), 2);
    assert!(checks.iter().all(|check| check["done"] == true && check["note"] == "at first power"));
    assert_eq!(unit["status"], "good");
    let text = place.run(&["unit", "A-1", "--html", "unit.html"]);
    let said = text.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("First power from ACME INSTRUMENTS S1"), "{}", text.out);
    let page = std::fs::read_to_string(place.0.path().join("unit.html")).unwrap();
    assert!(page.contains("First power from ACME INSTRUMENTS S1"));
    assert_eq!(place.run(&["records", "check"]).code, 0);
}

#[test]
fn a_supply_that_is_cut_off_or_falls_silent_rings_within_a_second_and_is_kept_as_void() {
    for temper in [Temper::CutAt(1.2), Temper::SilentAt(1.2)] {
        let (place, fixture) = powered();
        let (at, log) = supply(temper);
        let mut process = Process::begin(&place, &start(&fixture, &["--supply", &at]));
        process.say("yes\nyes\nyes\nyes\n\n\n");
        // Nobody answers until the bell has rung.
        let gone = loop {
            let gone = log.lock().unwrap().iter().find(|(_, text)| text.starts_with('(')).map(|(at, _)| *at);
            if let Some(gone) = gone {
                break gone;
            }
            assert!(process.child.try_wait().unwrap().is_none(), "it ended before the supply was gone");
            thread::sleep(Duration::from_millis(5));
        };
        thread::sleep(Duration::from_millis(2500));
        process.say("\n");
        let (ran, heard) = process.end();
        assert_eq!(ran.code, 3, "{}{}", ran.out, ran.err);
        bounded_before_on(&log);
        let alarm = heard.iter().position(|(_, line)| line.contains("ALARM")).unwrap();
        let (rung, line) = &heard[alarm];
        assert!(line.contains("SWITCH THE SUPPLY OFF BY HAND, NOW"), "{line}");
        assert!(line.contains("at most 120 mA, off above 3.36 V and 150 mA"), "{line}");
        assert!(heard[alarm - 1].1.contains('\u{7}') && line.contains('\u{7}'), "no bell: {heard:?}");
        let late = rung.duration_since(gone);
        println!("the alarm came {} ms after contact was lost", late.as_millis());
        assert!(late < Duration::from_secs(1), "{late:?}");
        // It goes on ringing until somebody says that it is off.
        assert!(
            heard.iter().filter(|(_, line)| line.contains("Is the supply off?")).count() >= 2,
            "{}",
            ran.err
        );
        let kept = last(&place);
        assert_eq!((&kept["event"], &kept["verdict"]), (&"started".into(), &"void".into()));
        assert!(kept["because"].as_str().unwrap().contains("contact with the supply"), "{kept}");
        assert_eq!(place.run(&["records", "check"]).code, 0);
    }
}

#[test]
fn a_supply_that_refuses_or_disobeys_is_refused_with_words_and_stays_off() {
    for (temper, words, was_on) in [
        (
            Temper::OtherLimit,
            "does not obey: the current limit was set to 120.0 mA, and it says 1.000 A",
            false,
        ),
        (Temper::NoTrip, "reports the error -113,\"Undefined header\" after CURR:PROT", false),
        (Temper::Reports, "reports the error -222,\"Data out of range\" after VOLT", true),
        (Temper::OtherVoltage, "does not obey: the voltage was set to 400.0 mV, and it says 600.0 mV", true),
        (Temper::GivesMore, "the supply gives 800 mV where 400 mV is set", true),
    ] {
        let (place, fixture) = powered();
        let (at, log) = supply(temper);
        let ran = answered(&place, &start(&fixture, &["--supply", &at]), IN_ORDER);
        let said = format!("{}{}", ran.out, ran.err).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{words}: {said}");
        assert_eq!(ran.code, if was_on { 3 } else { 2 }, "{said}");
        let on = log.lock().unwrap().iter().any(|(_, text)| text == "OUTP ON");
        assert_eq!(on, was_on, "{words}");
        assert!(!on || went_off(&log));
        let event = last(&place);
        assert_eq!(event["event"] == "started", was_on, "{event}");
        if was_on {
            assert_eq!(event["verdict"], "void");
        } else {
            assert!(said.contains("there was no power on the unit, and nothing was recorded"), "{said}");
        }
    }
}

#[test]
fn of_several_outputs_the_one_named_is_used() {
    let (place, fixture) = powered();
    let run = |temper, output| {
        let (at, log) = supply(temper);
        let more = ["--supply", &at, "--supply-output", output, "--meter-within", "0.5 % + 2 mV"];
        let ran = answered(&place, &start(&fixture, &more), IN_ORDER);
        let said = format!("{}{}", ran.out, ran.err).split_whitespace().collect::<Vec<_>>().join(" ");
        let log: Vec<String> = log.lock().unwrap().iter().map(|(_, text)| text.clone()).collect();
        (ran.code, said, log)
    };
    let (code, said, log) = run(Temper::Outputs, "2");
    assert_eq!(code, 0, "{said}");
    let first = |wanted: &str| log.iter().position(|text| text.starts_with(wanted)).unwrap();
    assert!(first("INST:NSEL 2") < first("OUTP") && first("INST:NSEL?") < first("OUTP"), "{log:?}");

    // Somebody chooses another one at its keys: its own is switched off.
    let (code, said, log) = run(Temper::OutputTurned(1.2), "2");
    assert_eq!(code, 3, "{said}");
    assert!(said.contains("does not obey: the output chosen was set to 2, and it says 1"), "{said}");
    let last = |wanted: &str| log.iter().rposition(|text| text == wanted).unwrap();
    assert!(last("OUTP ON") < last("INST:NSEL 2") && last("INST:NSEL 2") < last("OUTP OFF"), "{log:?}");

    // One with a single output does not know the command.
    let (code, said, log) = run(Temper::Good, "2");
    assert_eq!(code, 2, "{said}");
    assert!(said.contains("reports the error -113,\"Undefined header\" after INST:NSEL"), "{said}");
    assert!(!log.iter().any(|text| text == "OUTP ON"), "{log:?}");
    let by_hand = start(&fixture, &["--supply", "typed", "--supply-output", "2"]);
    let ran = answered(&place, &by_hand, IN_ORDER);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("this supply is set by hand"), "{}", ran.err);
}

#[test]
fn a_supply_on_a_serial_port_is_used_likewise() {
    let (place, fixture) = powered();
    let (device, log) = (place.0.path().join("supply"), Log::default());
    let mut supply = Scpi::new(Temper::Good, &log);
    let _supply = Instrument::at(&device, move |line| supply.hears(line).ok().flatten());
    let at = format!("serial:{}", device.display());
    let args = start(&fixture, &["--supply", &at, "--meter-within", "1 %"]);
    let ran = answered(&place, &args, IN_ORDER);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    bounded_before_on(&log);
    assert!(went_off(&log));
    assert!(ran.out.contains("✓ PASS"), "{}", ran.out);
}

#[test]
fn what_a_person_notices_ends_it_and_ctrl_c_takes_the_output_off() {
    let (place, fixture) = powered();
    let (at, log) = supply(Temper::Good);
    let ran = answered(&place, &start(&fixture, &["--supply", &at]), "yes\nyes\nyes\nyes\n\n\nsmoke\n");
    assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    assert!(ran.out.contains("something smokes"), "{}", ran.out);
    assert!(went_off(&log));

    let (at, log) = supply(Temper::Good);
    let mut process = Process::begin(&place, &start(&fixture, &["--supply", &at]));
    process.say("yes\nyes\nyes\nyes\n\n\n");
    while !log.lock().unwrap().iter().any(|(_, text)| text == "VOLT 2.6000") {
        assert!(process.child.try_wait().unwrap().is_none());
        thread::sleep(Duration::from_millis(5));
    }
    interrupt(process.child.id());
    let status = loop {
        if let Some(status) = process.child.try_wait().unwrap() {
            break status;
        }
        thread::sleep(Duration::from_millis(5));
    };
    assert_eq!(status.code(), Some(130));
    assert!(went_off(&log));
    assert_eq!(last(&place)["verdict"], "void");

    // Whoever does not confirm a caution gets no power, and nothing is kept.
    let (at, log) = supply(Temper::Good);
    let ran = answered(&place, &start(&fixture, &["--supply", &at]), "yes\nno\n");
    assert_eq!(ran.code, 130, "{}", ran.err);
    assert!(!log.lock().unwrap().iter().any(|(_, text)| text == "OUTP ON"));
}

#[test]
fn only_a_unit_that_passed_after_its_last_repair_is_started() {
    let (place, fixture) = powered();
    let refused = |serial: &str, words: &str| {
        let ran = place.run(&["start", &fixture, "--serial", serial, "--virtual"]);
        assert_eq!(ran.code, 2, "{}{}", ran.out, ran.err);
        assert!(ran.err.contains(words), "{words}: {}", ran.err);
        assert!(ran.out.is_empty());
    };
    refused("nobody", "nobody");
    assert_eq!(place.run(&["receive", "B-1"]).code, 0);
    refused("B-1", "unit \"B-1\" has not been measured yet");
    let open = ["sweep", &fixture, "--virtual", "--serial", "C-1", "--fault", "power switch=open"];
    assert_eq!(place.run(&open).code, 1);
    refused("C-1", "is no pass but a fail: repair it and sweep it again");
    let repair = ["repair", "C-1", "--at", "power switch", "--action", "replaced"];
    assert_eq!(place.run(&repair).code, 0);
    refused("C-1", "is no pass");
    let swept = ["sweep", &fixture, "--virtual", "--serial", "C-1"];
    assert_eq!(place.run(&swept).code, 0);
    let virtually = ["start", &fixture, "--serial", "C-1", "--virtual"];
    let ran = place.run(&virtually);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let golden = place.run(&[&virtually[..], &["--golden"]].concat());
    assert_eq!(golden.code, 2);
    assert!(golden.err.contains("leave --golden out"), "{}", golden.err);
    assert_eq!(place.run(&["repair", "C-1", "--at", "power switch", "--action", "cleaned"]).code, 0);
    refused("C-1", "was repaired after its last sweep");

    // A board that does not say how.
    let (place, fixture) = self::place(&bare());
    let ran = place.run(&start(&fixture, &["--virtual"]));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("add a table [power] to its file"), "{}", ran.err);
}

#[test]
fn modelled_faults_are_charged_to_whom_they_belong() {
    let (place, fixture) = powered();
    for (fault, code, words) in [
        ("short=2 ohm", 1, "the voltage sags"),
        ("load=open", 1, "no load seen"),
        ("load=latch-up", 1, "a latched chip"),
        ("input=2.1 V", 1, "outside 2.40 V to 3.20 V"),
        ("display lights=no", 1, "was answered with no"),
        ("supply=silent", 3, "SWITCH THE SUPPLY OFF BY HAND"),
        ("supply=deaf", 3, "does not obey"),
    ] {
        let ran = place.run(&start(&fixture, &["--virtual", "--fault", fault]));
        assert_eq!(ran.code, code, "{fault}: {}{}", ran.out, ran.err);
        let said = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{fault}: {}", ran.out);
    }
    let ran = place.run(&start(&fixture, &["--virtual", "--fault", "loaf=open"]));
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("did you mean `load`?"), "{}", ran.err);
    let twice = ["--virtual", "--seed", "5", "--json"];
    assert_eq!(place.run(&start(&fixture, &twice)).out, place.run(&start(&fixture, &twice)).out);
}

#[test]
fn a_window_is_learnt_from_golden_units() {
    let (place, fixture) =
        place(&format!("{}{}", bare(), POWER.replace("idle = [\"2 mA\", \"9 mA\"]\n", "")));
    let begin = |serial: &str, seed: &str, more: &[&str]| {
        let swept = place.run(&["sweep", &fixture, "--virtual", "--serial", serial, "--seed", "3"]);
        assert_eq!(swept.code, 0, "{}", swept.err);
        let args = ["start", &fixture, "--serial", serial, "--virtual", "--seed", seed, "--json"];
        object(&place.run(&[&args[..], more].concat()))
    };
    let first = begin("G-0", "100", &["--golden"]);
    assert_eq!((&first["verdict"], &first["window"]), (&"unproven".into(), &Value::Null));
    assert!(first["reasons"][0].as_str().unwrap().contains("start golden units with --golden"), "{first}");
    for number in 1..20 {
        begin(&format!("G-{number}"), &(100 + number).to_string(), &["--golden"]);
    }
    let good = begin("A-2", "7", &["--supply-within", "0.1 % + 50 uA"]);
    assert_eq!((&good["verdict"], &good["window"]), (&"pass".into(), &"20 golden units".into()), "{good}");
    let hungry = begin("A-3", "7", &["--fault", "load=30 mA"]);
    assert_eq!(hungry["verdict"], "fail", "{hungry}");
}

#[test]
fn a_supply_set_by_hand_is_asked_about_step_by_step() {
    let quick =
        POWER.replace("settle = \"100 ms\"", "steps = 2\nsettle = \"10 ms\"").replace("300 ms", "10 ms");
    let (place, fixture) = place(&format!("{}{quick}", bare()));
    let args = start(&fixture, &["--supply", "typed", "--meter-within", "1 %"]);
    let shown = "1.00 V 0.0 mA\n2.00 V 5.1 mA\n2.60 V 5.2 mA\n";
    // Cautions, state, joined; bounds, on; three settings; cool, rail, cool, two checks; off.
    let ran = answered(
        &place,
        &args,
        &format!("yes\nyes\nyes\nyes\n\n\n\n\n{shown}yes\n2.58 V\nyes\nyes\nyes\n\n"),
    );
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    assert!(ran.err.contains("the current limit to 120 mA, the over-voltage trip to 3.36 V"), "{}", ran.err);
    assert!(ran.err.contains("Switch the output off, then press Enter"), "{}", ran.err);
    // The limit acts at the first step; nobody is left to switch it off.
    let ran = answered(&place, &args, "yes\nyes\nyes\nyes\n\n\n\n\n0.3 V 120 mA\n");
    assert_eq!(ran.code, 3, "{}{}", ran.out, ran.err);
    assert!(ran.err.contains("ALARM: SWITCH THE SUPPLY OFF BY HAND"), "{}", ran.err);
    let again = answered(&place, &args, "yes\nyes\nyes\nyes\n\n\n\n\n0.3 V 120 mA\n\n");
    assert_eq!(again.code, 1, "{}{}", again.out, again.err);
    assert!(again.out.contains("the voltage sags to 300 mV of 1.00 V"), "{}", again.out);
}

#[test]
fn what_cannot_be_is_refused_in_the_file_and_on_the_command_line() {
    for (power, words) in [
        ("[power]\nidle = [\"9 mA\", \"2 mA\"]", "the least idle current is not below the most"),
        ("[power]\nidle = \"2 mA\"", "a list is wanted"),
        (
            "[power]\nidle = [\"2 mA\", \"9 mA\"]\nlimit = \"5 mA\"",
            "`limit` of [power] is below the highest `idle` current",
        ),
        ("[power]\nnominal = \"9 V\"", "`nominal` of [power] is no voltage of [supply]"),
        ("[power]\nsettle = \"1 V\"", "is a voltage; a time belongs here"),
        ("[power]\nsteps = 0", "a whole number from 1 to 50 belongs here"),
        ("[power]\nstate = \"onn\"", "did you mean `on`?"),
        ("[power]\nidel = [\"2 mA\", \"9 mA\"]", "[power] has no key `idel`"),
        ("power = 3", "a table is wanted"),
        ("[[rail]]\nname = \"x\"\nat = \"reg.im\"\nvoltage = [\"1 V\", \"2 V\"]", "did you mean `reg.in`?"),
        ("[[rail]]\nname = \"x\"\nat = \"reg.in\"\nvoltage = [\"2 V\", \"1 V\"]", "is not below the highest"),
        ("[[rail]]\nat = \"reg.in\"", "lacks `voltage`"),
    ] {
        let place = Place::new();
        let board = match power.strip_prefix("power") {
            Some(_) => bare().replacen("format = 1", &format!("format = 1\n{power}"), 1),
            None => format!("{}\n{power}\n", bare()),
        };
        let file = place.file("board.toml", board);
        let ran = place.run(&["check", &file]);
        assert_eq!(ran.code, 2, "{power}: {}{}", ran.out, ran.err);
        let said = format!("{}{}", ran.out, ran.err).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(said.contains(words), "{power}: {said}");
    }
    let (place, fixture) = powered();
    let nobody = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    for (args, words) in [
        (vec!["--supply", "scpi:"], "names no supply".to_owned()),
        (vec!["--supply", "typed", "--supply-within", "0.5"], "states no accuracy".into()),
        (vec!["--supply", "typed", "--virtual"], "cannot be used with".into()),
        (vec!["--supply", "typed", "--fault", "load=open"], "cannot be used with".into()),
        (vec![], "--supply".into()),
        (vec!["--supply", &format!("scpi:127.0.0.1:{nobody}")], "cannot be reached".into()),
        (vec!["--supply", "usbtmc:/nowhere"], "cannot be reached".into()),
    ] {
        let ran = place.run(&start(&fixture, &args));
        assert_eq!(ran.code, 2, "{args:?}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(&words), "{args:?}: {}", ran.err);
    }
}
