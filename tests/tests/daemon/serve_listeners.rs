//! The daemon among many listeners, and how soon the news reach one: figures, with bounds that a busy machine keeps.
#![cfg(target_os = "linux")]

use std::{
    sync::mpsc::Receiver,
    thread,
    time::{Duration, Instant},
};

use copperwalk::records::now_us;
use copperwalk_tests::{
    attack::times,
    crowd::Crowd,
    daemon::{Daemon, Heard, PATIENCE, asks_for_on},
};
use serde_json::json;

/// A unit that the virtual bench draws without a fault.
const GOOD: &str = "G-5";
/// Most memory that the daemon may take among listeners, KiB: 100 MB.
const MEMORY_KIB: u64 = 100_000_000 / 1024;

/// A sweep as a listener saw it; times in milliseconds.
struct Course {
    /// Time the controller took.
    device: f64,
    /// From the lid closed to the verdict heard, less the controller's time and that in which a person was asked.
    besides: f64,
    /// From the switch moved to the bench having seen it.
    seen: f64,
    /// From the last reading's arrival at the host to the verdict heard.
    verdict: f64,
    /// From each reading's arrival at the host to the listener.
    delays: Vec<f64>,
}

/// The next of the news for which something holds; those before it are kept.
fn until(news: &Receiver<Heard>, kept: &mut Vec<Heard>, mut is: impl FnMut(&Heard) -> bool) -> Heard {
    let began = Instant::now();
    loop {
        let left = PATIENCE.checked_sub(began.elapsed()).expect("the news in time");
        let heard = news.recv_timeout(left).expect("the news in time");
        kept.push(heard.clone());
        if is(&heard) {
            return heard;
        }
    }
}

fn ms(from_us: i64, to_us: i64) -> f64 {
    (to_us - from_us) as f64 / 1e3
}

/// Sweeps the good unit as a person does who moves the switch as soon as asked.
fn sweep(daemon: &Daemon, news: &Receiver<Heard>) -> Course {
    daemon.scan(GOOD);
    let mut kept = Vec::new();
    daemon.lid(true);
    daemon.until("the open lid is seen", || {
        (daemon.get("/api/v1/bench").json()["lid_open"] == true).then_some(())
    });
    let closed_us = now_us();
    daemon.lid(false);
    let asked = until(news, &mut kept, |heard| asks_for_on(&heard.data));
    let moved_us = now_us();
    daemon.put("on");
    let seen = until(news, &mut kept, |heard| heard.is_stage("measuring"));
    let over = until(news, &mut kept, |heard| heard.is_stage("recorded") || heard.is_stage("failed"));
    let result = &over.data["result"];
    assert_eq!(result["verdict"], "pass", "{}", over.data);
    assert_eq!(result["segments"].as_array().unwrap().len(), 12);
    let device = result["device_seconds"].as_f64().unwrap() * 1e3;
    let arrived: Vec<_> =
        kept.iter().filter_map(|heard| Some((heard, heard.data["at_us"].as_i64()?))).collect();
    let readings = arrived.iter().filter(|(heard, _)| heard.data["event"] == "reading").count();
    assert!(readings > 10 && arrived.len() >= readings + 12, "{readings} readings of {}", arrived.len());
    let last_us = arrived.iter().map(|(_, at_us)| *at_us).max().unwrap();
    Course {
        device,
        besides: ms(closed_us, over.heard_us) - device - ms(asked.heard_us, seen.heard_us),
        seen: ms(moved_us, seen.heard_us),
        verdict: ms(last_us, over.heard_us),
        delays: arrived.iter().map(|(heard, at_us)| ms(*at_us, heard.heard_us)).collect(),
    }
}

/// Writes a note down once the bench is at rest; the number of what is told of it.
fn mark(daemon: &Daemon, news: &Receiver<Heard>) -> u64 {
    // After a sweep the bench looks at the unit's switch once more.
    daemon.until("the bench is at rest", || {
        (daemon.get("/api/v1/bench").json()["hands"]["state"] == "on").then_some(())
    });
    while news.try_recv().is_ok() {}
    let text = format!("mark {}", now_us());
    assert_eq!(
        daemon.send("POST", &format!("/api/v1/units/{GOOD}/notes"), json!({ "text": text })).status,
        201
    );
    // That of the sweep may come first.
    thread::sleep(Duration::from_millis(200));
    news.try_iter().filter(|heard| heard.data["event"] == "unit").last().expect("news of the note").id
}

/// The value that this share of values does not exceed.
fn quantile(values: impl IntoIterator<Item = f64>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.into_iter().collect();
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share).round() as usize]
}

fn delays(courses: &[Course], share: f64) -> f64 {
    quantile(courses.iter().flat_map(|course| course.delays.iter().copied()), share)
}

#[test]
fn a_crowd_of_listeners_costs_the_bench_nothing_and_hears_everything() {
    let (count, sweeps) = (times(100, 1_000), times(2, 10));
    let daemon = Daemon::start(&["--virtual"]);
    let news = daemon.listen();
    let alone: Vec<_> = (0..sweeps).map(|_| sweep(&daemon, &news)).collect();
    let first = mark(&daemon, &news) + 1;
    let crowd = Crowd::gather(daemon.address(), count);
    let deaf = crowd.deaf();
    let among: Vec<_> = (0..sweeps).map(|_| sweep(&daemon, &news)).collect();
    let (memory, peak) = daemon.memory_kib();
    let last = mark(&daemon, &news);
    let heard = crowd.disperse();
    assert_eq!(heard.len(), count - deaf);
    let expected = &heard[0];
    for news in &heard {
        let ids: Vec<u64> = news.iter().map(|(id, _)| *id).collect();
        assert_eq!(ids, (first..=last).collect::<Vec<_>>(), "everything, once, in order");
        assert!(news == expected, "everybody hears the same");
    }
    let device = |courses: &[Course]| quantile(courses.iter().map(|course| course.device), 0.5);
    println!(
        "listeners: {count}, {deaf} of them never reading; a sweep takes {:.1} ms of device time alone and {:.1} ms among them, \
         {} news each in order; a reading is heard after {:.1} ms (median; 99 %: {:.1} ms) alone and {:.1} ms (99 %: {:.1} ms) \
         among them; {:.1} MB in memory, at most {:.1} MB",
        device(&alone),
        device(&among),
        expected.len(),
        delays(&alone, 0.5),
        delays(&alone, 0.99),
        delays(&among, 0.5),
        delays(&among, 0.99),
        memory as f64 * 1.024e-3,
        peak as f64 * 1.024e-3,
    );
    assert!((device(&among) / device(&alone) - 1.0).abs() < 0.01, "the bench does not notice");
    assert!(peak < MEMORY_KIB, "{peak} KiB");
}

#[test]
fn a_verdict_follows_the_lid_and_news_the_readings_at_once() {
    let sweeps = times(2, 40);
    let daemon = Daemon::start(&["--virtual"]);
    let news = daemon.listen();
    let courses: Vec<_> = (0..sweeps).map(|_| sweep(&daemon, &news)).collect();
    let of = |value: fn(&Course) -> f64, share| quantile(courses.iter().map(value), share);
    println!(
        "a good unit of 12 segments, {sweeps} times: device {:.0} ms; from the lid closed to the verdict heard {:.0} ms more \
         (median; most: {:.0} ms), not counting the person; a moved switch is seen after {:.0} ms (most: {:.0} ms); a reading is \
         heard after {:.1} ms (median; 99 %: {:.1} ms), the verdict {:.0} ms after the last reading (most: {:.0} ms)",
        of(|course| course.device, 0.5),
        of(|course| course.besides, 0.5),
        of(|course| course.besides, 1.0),
        of(|course| course.seen, 0.5),
        of(|course| course.seen, 1.0),
        delays(&courses, 0.5),
        delays(&courses, 0.99),
        of(|course| course.verdict, 0.5),
        of(|course| course.verdict, 1.0),
    );
    // Promised are 300, 50 and 100 ms; a machine that is busy with something else gets ten times as much.
    assert!(of(|course| course.besides, 0.5) < 3_000.0);
    assert!(delays(&courses, 0.5) < 500.0);
    assert!(of(|course| course.verdict, 0.5) < 1_000.0);
}
