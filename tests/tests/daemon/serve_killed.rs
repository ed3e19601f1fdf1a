//! The daemon ended by `kill -9` while several clients have it write: whatever it answered or told is in the records.
#![cfg(unix)]

use std::{
    collections::HashSet,
    path::Path,
    sync::{Arc, Mutex},
    thread,
    time::{Duration, Instant},
};

use copperwalk::records::{Records, SweepId, summary::Event};
use copperwalk_tests::{
    attack::{is_long, times},
    cases::Cases,
    daemon::{Daemon, GAUGE, Heard, ask, asks_for_on},
    photo::PNG,
    program::{Place, gauge, sweep},
};
use serde_json::{Value, json};

/// Longest life of a daemon, seconds: it sweeps a unit in one.
const LONGEST_LIFE: f64 = 1.8;
/// The unit that notes, repairs and photos are of.
const KNOWN: &str = "K-0";
/// The unit that is swept; the virtual bench draws it without a fault.
const GOOD: &str = "G-5";

/// What the daemon said is kept.
#[derive(Default)]
struct Told {
    /// Texts of notes and repairs, captions of photos, each written once.
    texts: Vec<String>,
    /// Numbers of sweeps of the good unit.
    sweeps: Vec<i64>,
}

/// A client: asks until the daemon is gone.
struct Client {
    address: String,
    told: Arc<Mutex<Told>>,
}

impl Client {
    /// Sends something; the status of the answer, if one comes.
    fn send(&self, method: &str, path: &str, (kind, body): (&str, &[u8])) -> Option<u16> {
        let answer = ask(&self.address, method, path, &[("Content-Type", kind)], body).ok()?;
        // The line ended before the answer.
        (answer.status != 0).then_some(answer.status)
    }

    /// Writes down one text after the other; `form` is how a text is sent.
    fn write(&self, who: &str, path: &str, form: impl Fn(&str) -> Form) {
        for turn in 0.. {
            let text = format!("{who}-{turn}");
            let (kind, body) = form(&text);
            match self.send("POST", &format!("/api/v1/units/{KNOWN}/{path}"), (kind, &body)) {
                Some(201) => self.told.lock().unwrap().texts.push(text),
                None => return,
                Some(status) => panic!("{text}: {status}"),
            }
            thread::sleep(Duration::from_millis(5));
        }
    }

    /// Has the good unit swept again and again, and moves its switch.
    fn sweep(&self, news: impl Iterator<Item = Heard>) {
        let send = |method: &str, path: &str, body: Value| {
            let (kind, body) = typed(body);
            self.send(method, path, (kind, &body)).is_some()
        };
        let scan = || send("POST", "/api/v1/jobs", json!({ "serial": GOOD, "fixture": GAUGE }));
        let mut there = send("PUT", "/api/v1/bench/hands", json!({ "lid_open": false })) && scan();
        for heard in news {
            if !there {
                return;
            }
            let job = &heard.data;
            if heard.is_stage("waiting_for_lid") {
                there = send("POST", &format!("/api/v1/jobs/{}/confirm", job["id"]), Value::Null);
            } else if asks_for_on(job) {
                there = send("PUT", "/api/v1/bench/hands", json!({ "state": "on" }));
            } else if heard.is_stage("recorded") {
                self.told.lock().unwrap().sweeps.push(job["result"]["sweep"].as_i64().unwrap());
                there = scan();
            }
        }
    }
}

/// A media type and a body.
type Form = (&'static str, Vec<u8>);

const JSON: &str = "application/json";

fn typed(body: Value) -> Form {
    (JSON, body.to_string().into_bytes())
}

/// A form with a photo in it (RFC 7578).
fn pictured(caption: &str) -> Form {
    let head = "--limit\r\nContent-Disposition: form-data; name=";
    let mut body =
        format!("{head}\"caption\"\r\n\r\n{caption}\r\n{head}\"photo\"; filename=\"p.png\"\r\n\r\n")
            .into_bytes();
    body.extend(PNG);
    body.extend(b"\r\n--limit--\r\n");
    ("multipart/form-data; boundary=limit", body)
}

/// Everything told is there, and everything there is whole. The number of whole sweeps.
fn all_there(store: &Path, told: &Told) -> u64 {
    let records = Records::open_to_read(store).unwrap();
    let findings = records.check().unwrap();
    assert!(findings.sound(), "{:#?}", findings.wrong);
    let kept: HashSet<String> = records
        .unit(KNOWN)
        .unwrap()
        .events
        .into_iter()
        .filter_map(|event| match event {
            Event::Note(note) => Some(note.text),
            Event::Repair(repair) => Some(repair.text),
            Event::Photo(photo) => Some(photo.caption),
            _ => None,
        })
        .collect();
    let lost: Vec<_> = told.texts.iter().filter(|text| !kept.contains(*text)).collect();
    assert!(lost.is_empty(), "answered with 201 and not there: {lost:?}");
    for number in &told.sweeps {
        assert_eq!(records.sweep(SweepId(*number)).unwrap().measurement.serial, GOOD, "sweep {number}");
    }
    findings.whole_sweeps
}

#[test]
fn whatever_a_killed_daemon_answered_or_told_is_in_the_records() {
    let rounds = times(10, 200);
    let place = Place::new();
    assert!(place.run(&sweep(&gauge(), KNOWN, &[])).code <= 1);
    let mut folder = place.0;
    let mut cases = Cases::new(7_001);
    let (mut texts, mut sweeps, mut whole) = (0, 0, 0);
    for round in 0..rounds {
        let life = Duration::from_secs_f64(LONGEST_LIFE * cases.unit());
        let daemon = Daemon::start_in(folder, &["--virtual"]);
        let began = Instant::now();
        let (told, news) = (Arc::new(Mutex::new(Told::default())), daemon.listen());
        let client = || Client { address: daemon.address().to_owned(), told: told.clone() };
        let (notes, more_notes, repairs, photos, bench) = (client(), client(), client(), client(), client());
        let note = |text: &str| typed(json!({ "text": text }));
        let clients = [
            thread::spawn(move || notes.write(&format!("note {round}a"), "notes", note)),
            thread::spawn(move || more_notes.write(&format!("note {round}b"), "notes", note)),
            thread::spawn(move || {
                repairs.write(&format!("repair {round}"), "repairs", |text| {
                    typed(json!({ "where": "via pair 1", "action": "rebuilt", "text": text }))
                })
            }),
            thread::spawn(move || photos.write(&format!("photo {round}"), "photos", pictured)),
            thread::spawn(move || bench.sweep(news.iter())),
        ];
        thread::sleep(life.saturating_sub(began.elapsed()));
        folder = daemon.kill();
        for client in clients {
            client.join().unwrap();
        }
        let told = std::mem::take(&mut *told.lock().unwrap());
        whole = all_there(&folder.path().join("records.sqlite"), &told);
        texts += told.texts.len();
        sweeps += told.sweeps.len();
    }
    assert!(texts > 0, "nothing was written");
    // In a short run on a busy machine no sweep may come to its end.
    assert!(sweeps > 0 || !is_long(), "nothing was swept");
    // It goes on where it was ended.
    let daemon = Daemon::start_in(folder, &["--virtual"]);
    assert_eq!(daemon.get(&format!("/api/v1/units/{KNOWN}")).status, 200);
    println!(
        "kill -9 of the daemon: {rounds} times under four writers and a bench, {texts} notes, repairs and photos answered with \
         201 and {sweeps} sweeps told as recorded, 0 lost, {whole} whole sweeps in the store, 0 half-written"
    );
}
