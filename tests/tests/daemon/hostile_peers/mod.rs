//! Whoever answers at the serial port, the program comes to an end in a stated time and in plain words, in little memory, with
//! nothing booked on the unit.
//!
//! Each row is a peer on a pseudo-terminal that is honest up to some point and then misbehaves; the program is the real one, run
//! as a person runs it. The table with every row's time and memory is printed: run with `--no-capture`.
#![cfg(target_os = "linux")]
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

mod rig;
mod scripts;
mod table;

use std::{
    io::{BufRead, BufReader},
    process::{Command, Stdio},
    sync::{
        Mutex,
        atomic::{AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use copperwalk_tests::{
    peer::{Do, Peer, Script},
    program,
};
use copperwalk_wire::{Packet, ToBench, message::RunEnd};

use rig::{Bed, Outcome, complaint, fare, fare_with};
use scripts::{Answers, Row, ended, hello, run, say, shot};
use table::{greeting, loading, running};

/// Rows at the same time: most of them wait.
const AT_ONCE: usize = 12;

/// Exit status after Ctrl-C.
const CANCELLED: i32 = 130;
/// What a machine that is busy with something else may add: to start the program, to open the records.
const BUSY: Duration = Duration::from_secs(5);

/// The rig itself: an honest peer is swept, passed and recorded.
#[test]
fn an_honest_peer_is_swept_and_recorded() {
    let bed = Bed::new();
    let outcome = fare(&bed, Box::new(|_, answers| say(answers)), Duration::from_secs(60));
    assert_eq!((outcome.status, outcome.recorded), (Some(0), 1), "{}", outcome.said);
    println!("honest: {:.2?}, {} KiB at most", outcome.took, outcome.peak_kib);
}

#[test]
fn no_peer_hangs_the_program_or_gets_anything_recorded() {
    let bed = Bed::new();
    let rows: Vec<Row> = [greeting(), loading(), running()].into_iter().flatten().collect();
    assert!(rows.len() >= 40, "{}", rows.len());
    let count = rows.len();
    let rows: Vec<_> = rows.into_iter().map(|row| Mutex::new(Some(row))).collect();
    let (next, results) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    let began = Instant::now();
    thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| {
                while let Some(cell) = rows.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let mut row = cell.lock().expect("no panics").take().expect("each row once");
                    let stated = bed.stated(row.stated);
                    let script = std::mem::replace(&mut row.script, Box::new(|_, _| vec![]));
                    let outcome = fare(&bed, script, 4 * stated + BUSY);
                    let wrong = complaint(&row, &outcome, 2 * stated + BUSY);
                    results.lock().expect("no panics").push((row.name, stated, outcome, wrong));
                }
            });
        }
    });
    let mut results = results.into_inner().expect("no panics");
    results.sort_by(|one, other| one.0.cmp(&other.0));
    println!("{:<55} {:>9} {:>8} {:>10} {:>6}", "peer", "stated s", "took s", "peak KiB", "status");
    for (name, stated, Outcome { took, peak_kib, status, .. }, _) in &results {
        let status = status.map_or_else(|| "none".into(), |status| status.to_string());
        let (stated, took) = (stated.as_secs_f64(), took.as_secs_f64());
        println!("{name:<55} {stated:>9.1} {took:>8.1} {peak_kib:>10} {status:>6}");
    }
    let wrong: Vec<_> = results.iter().filter_map(|(.., wrong)| wrong.clone()).collect();
    println!("{count} peers in {:.0?}, {} of them not as they should", began.elapsed(), wrong.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Ctrl-C while a plan runs: the controller is told, and its word that all is open is waited for and passed on.
#[test]
fn ctrl_c_stops_the_run_and_records_nothing() {
    let bed = Bed::new();
    for (confirms, words) in [
        (true, "cancelled; the controller confirms that every relay is open; nothing was recorded"),
        (
            false,
            "cancelled; the controller did not confirm that its relays are open: unplug it; nothing was recorded",
        ),
    ] {
        let (running, started) = std::sync::mpsc::channel();
        let mut number = 0;
        let script: Script = Box::new(move |packet, mut answers| match packet.body {
            ToBench::Run => {
                number = packet.seq;
                answers.truncate(1);
                let _ = running.send(());
                say(answers)
            }
            ToBench::Stop if confirms => {
                let end = Packet { seq: number, body: ended(RunEnd::Stopped, 0, 0) };
                [say(answers), vec![Do::Say(end)]].concat()
            }
            _ => say(answers),
        });
        let interrupt = |process: u32| {
            started.recv_timeout(Duration::from_secs(60)).expect("a run");
            let kill = Command::new("kill").args(["-INT", &process.to_string()]).status();
            assert!(kill.expect("kill").success());
        };
        let outcome = fare_with(&bed, script, Duration::from_secs(60), interrupt);
        assert_eq!((outcome.status, outcome.recorded), (Some(CANCELLED), 0), "{}", outcome.said);
        assert!(outcome.said.contains(words), "{}", outcome.said);
    }
}

/// Ctrl-C at every stage of a sweep over a line: while the controller is greeted, while the plan is loaded, before the run
/// is acknowledged, and after its last shot but before its end. The controller says nothing more from there on.
#[test]
fn ctrl_c_at_every_stage_ends_the_sweep_and_records_nothing() {
    let bed = Bed::new();
    for (stage, reached) in
        [("greeting", hello as fn(&ToBench) -> bool), ("loading", shot), ("starting", run)]
    {
        let outcome = interrupted(&bed, reached, |_| vec![]);
        assert_eq!((outcome.status, outcome.recorded), (Some(CANCELLED), 0), "{stage}: {}", outcome.said);
        assert!(outcome.said.contains("nothing was recorded"), "{stage}: {}", outcome.said);
    }
    let before_the_end = |mut answers: Answers| {
        answers.pop();
        say(answers)
    };
    let outcome = interrupted(&bed, run, before_the_end);
    assert_eq!((outcome.status, outcome.recorded), (Some(CANCELLED), 0), "{}", outcome.said);
}

/// Sweeps against a peer that answers like an honest one until a message comes, then as `last` says and never again;
/// presses Ctrl-C at that message.
fn interrupted(
    bed: &Bed,
    reached: fn(&ToBench) -> bool,
    last: impl Fn(Answers) -> Vec<Do> + Send + 'static,
) -> Outcome {
    let (tell, told) = std::sync::mpsc::channel();
    let mut silent = false;
    let script: Script = Box::new(move |packet, answers| {
        if silent {
            return vec![];
        }
        silent = reached(&packet.body);
        if silent {
            let _ = tell.send(());
            return last(answers);
        }
        say(answers)
    });
    fare_with(bed, script, Duration::from_secs(60), |process| {
        told.recv_timeout(Duration::from_secs(60)).expect("the stage is reached");
        program::interrupt(process);
    })
}

#[test]
fn a_question_that_nobody_can_answer_is_told() {
    let bed = Bed::attended();
    let outcome = fare(&bed, Box::new(|_, answers| say(answers)), Duration::from_secs(60));
    assert_eq!((outcome.status, outcome.recorded), (Some(3), 0), "{}", outcome.said);
    assert!(
        outcome.said.contains("nobody answered \"Turn it on\"; a bench needs a person"),
        "{}",
        outcome.said
    );
}

#[test]
fn ctrl_c_withdraws_a_question() {
    let bed = Bed::attended();
    let peer = Peer::start(&bed.fixture, Box::new(|_, answers| say(answers)));
    let records = bed.folder.path().join("records.sqlite");
    let mut child = bed.sweep(&peer.port(), &records).stdin(Stdio::piped()).spawn().expect("it starts");
    let mut lines = BufReader::new(child.stderr.take().expect("piped")).lines();
    let question = lines.next().expect("a question").expect("UTF-8");
    assert_eq!(question, "Turn it on, close the lid, then press Enter");
    let kill = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(kill.expect("kill").success());
    let said: Vec<_> = lines.map(|line| line.expect("UTF-8")).collect();
    assert_eq!(child.wait().expect("our child").code(), Some(CANCELLED), "{said:?}");
    assert!(said.concat().contains("cancelled; nothing was recorded"), "{said:?}");
}
