//! The daemon as a program: it answers, sweeps on the virtual bench, ends when asked, and keeps strangers out.

use std::{
    io::{BufRead, BufReader, Write},
    net::TcpStream,
    process::Command,
    thread,
    time::Duration,
};

use copperwalk_tests::{daemon::Daemon, program::program};
use serde_json::{Value, json};

#[test]
fn a_unit_is_scanned_laid_down_and_swept_without_a_key_pressed() {
    let daemon = Daemon::start(&["--virtual"]);
    let job = daemon.sweep("A-1");
    assert_eq!(job["stage"], "recorded", "{job}");
    let verdict = job["result"]["verdict"].as_str().unwrap();
    let unit = daemon.get("/api/v1/units/A-1").json();
    assert_eq!(unit["events"][0]["verdict"], verdict);
    assert_eq!(daemon.get("/api/v1/lots/L-1").json()["units"][0]["now"], verdict);
    let sweep = &job["result"]["sweep"];
    assert_eq!(daemon.get(&format!("/api/v1/sweeps/{sweep}")).json()["verdict"], verdict);
}

#[test]
fn every_page_and_list_answers() {
    let daemon = Daemon::start(&["--virtual"]);
    daemon.sweep("A/1 <b>");
    for page in [
        "/",
        "/units",
        "/units/A%2F1%20%3Cb%3E",
        "/lots",
        "/lots/L-1",
        "/sweeps/1",
        "/boards",
        "/boards/tide%20gauge%20bed%201",
        "/health",
        "/static/page.css",
        "/static/report.css",
        "/static/bench.js",
        "/static/icon.svg",
        "/parts/board?fixture=tide%20gauge%20bed%201",
        "/healthz",
        "/api/v1/openapi.json",
        "/api/v1/units",
        "/api/v1/units?verdict=pass&sort=latest&per_page=5",
        "/api/v1/lots",
        "/api/v1/lots/L-1/table.csv",
        "/api/v1/units/A%2F1%20%3Cb%3E/table.csv",
        "/api/v1/sweeps/1/judgements",
        "/api/v1/sweeps/1/table.csv",
        "/api/v1/fixtures",
        "/api/v1/fixtures/tide%20gauge%20bed%201",
        "/api/v1/boards",
        "/api/v1/boards/tide%20gauge%20head",
        "/api/v1/jobs",
        "/api/v1/jobs/1",
        "/api/v1/bench",
    ] {
        let answer = daemon.get(page);
        assert_eq!(answer.status, 200, "{page}: {}", answer.body);
        assert!(
            answer.head.contains("content-security-policy: default-src 'none'"),
            "{page}: {}",
            answer.head
        );
        assert!(
            page.starts_with("/api/") || !answer.body.contains("1 <b>"),
            "{page}: markup of a serial number"
        );
    }
}

/// RFC 9457: media type, and the members `type`, `title`, `status`, `detail`.
#[test]
fn refusals_are_problem_details() {
    let daemon = Daemon::start(&["--virtual"]);
    let job = |serial: &str| json!({ "serial": serial, "fixture": "tide gauge bed 1" }).to_string();
    let typed = [("Content-Type", "application/json")];
    for (method, path, body, status) in [
        ("GET", "/api/v1/nothing", String::new(), 404),
        ("GET", "/api/v1/units/none", String::new(), 404),
        ("GET", "/api/v1/sweeps/99", String::new(), 404),
        ("GET", "/api/v1/sweeps/ninety", String::new(), 400),
        ("GET", "/api/v1/units?page=0", String::new(), 400),
        ("GET", "/api/v1/units?verdict=good", String::new(), 400),
        ("PATCH", "/api/v1/jobs", String::new(), 405),
        ("DELETE", "/api/v1/jobs/7", String::new(), 404),
        ("POST", "/api/v1/jobs", "{".into(), 400),
        ("POST", "/api/v1/jobs", json!({ "serial": "A" }).to_string(), 422),
        ("POST", "/api/v1/jobs", json!({ "serial": "A", "fixture": "none" }).to_string(), 404),
        ("POST", "/api/v1/jobs", job(""), 400),
        ("POST", "/api/v1/jobs", job("A\u{202e}1"), 400),
        ("POST", "/api/v1/jobs", job(&"7".repeat(10_000)), 400),
        ("POST", "/api/v1/jobs", "x".repeat(1_000_000), 413),
        ("POST", "/api/v1/units/none/notes", json!({ "text": "a" }).to_string(), 404),
    ] {
        let answer = daemon.ask(method, path, &typed, &body);
        assert_eq!(answer.status, status, "{method} {path}: {}", answer.body);
        assert!(answer.head.contains("content-type: application/problem+json"), "{path}: {}", answer.head);
        let problem = answer.json();
        assert_eq!(problem["status"], status);
        assert!(problem["type"].is_string() && problem["title"].is_string(), "{problem}");
        assert!(!problem["detail"].as_str().unwrap().is_empty());
    }
}

#[test]
fn a_slip_is_asked_about_and_can_be_meant() {
    let daemon = Daemon::start(&["--virtual"]);
    daemon.sweep("A-1");
    let ask = |yes: bool| {
        daemon.send(
            "POST",
            "/api/v1/jobs",
            json!({ "serial": "a-1", "fixture": "tide gauge bed 1", "yes": yes }),
        )
    };
    let refused = ask(false);
    assert_eq!(refused.status, 409);
    assert!(refused.json()["doubts"][0].as_str().unwrap().contains("A-1"));
    assert_eq!(ask(true).status, 202);
}

#[test]
fn two_scans_at_once_are_two_jobs_in_a_row() {
    let daemon = Daemon::start(&["--virtual"]);
    let ids: Vec<u64> = thread::scope(|scope| {
        let scan = |serial: &'static str| {
            let daemon = &daemon;
            scope.spawn(move || {
                let asked = json!({ "serial": serial, "fixture": "tide gauge bed 1" });
                daemon.send("POST", "/api/v1/jobs", asked).json()["id"].as_u64().unwrap()
            })
        };
        let both = [scan("A-1"), scan("B-2")];
        both.map(|scan| scan.join().unwrap()).to_vec()
    });
    let stage = |id: u64| daemon.get(&format!("/api/v1/jobs/{id}")).json()["stage"].clone();
    let (first, second) = (ids.iter().min().unwrap(), ids.iter().max().unwrap());
    assert_eq!((stage(*first), stage(*second)), (json!("waiting_for_lid"), json!("queued")));
    assert_eq!(daemon.ask("DELETE", &format!("/api/v1/jobs/{first}"), &[], "").json()["stage"], "cancelled");
    assert_eq!(stage(*second), "waiting_for_lid");
}

#[test]
fn a_job_at_the_bench_can_be_cancelled_and_books_nothing() {
    let daemon = Daemon::start(&["--virtual"]);
    daemon.send("POST", "/api/v1/jobs", json!({ "serial": "A-1", "fixture": "tide gauge bed 1" }));
    daemon.lay_down();
    daemon.until("it is at the bench", || {
        let stage = daemon.get("/api/v1/jobs/1").json()["stage"].clone();
        (stage == "measuring" || stage == "waiting_for_state").then_some(())
    });
    daemon.ask("DELETE", "/api/v1/jobs/1", &[], "");
    daemon.until("it is cancelled", || {
        (daemon.get("/api/v1/jobs/1").json()["stage"] == "cancelled").then_some(())
    });
    assert_eq!(daemon.get("/api/v1/units/A-1").status, 404);
}

/// HTML standard, "Server-sent events": fields `id`, `event`, `data`, an empty line after each event; `Last-Event-ID` resumes.
#[test]
fn news_are_numbered_and_resumed() {
    let daemon = Daemon::start(&["--virtual"]);
    daemon.sweep("A-1");
    let mut line = TcpStream::connect(daemon.address()).unwrap();
    line.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    let request =
        format!("GET /api/v1/events HTTP/1.1\r\nHost: {}\r\nLast-Event-ID: 2\r\n\r\n", daemon.address());
    line.write_all(request.as_bytes()).unwrap();
    let lines = BufReader::new(line).lines().map(Result::unwrap);
    let mut fields = lines.filter(|line| line.contains(": "));
    assert!(fields.by_ref().any(|line| line.to_lowercase() == "content-type: text/event-stream"));
    let mut fields = fields.filter(|line| ["id", "event", "data"].contains(&line.split(':').next().unwrap()));
    for id in 3..10 {
        assert_eq!(fields.next().unwrap(), format!("id: {id}"));
        let event = fields.next().unwrap();
        let data = fields.next().unwrap();
        let data: Value = serde_json::from_str(data.strip_prefix("data: ").unwrap()).unwrap();
        assert_eq!(event, format!("event: {}", data["event"].as_str().unwrap()));
    }
}

#[test]
fn strangers_are_kept_out() {
    let daemon = Daemon::start(&["--virtual"]);
    let status = |method: &str, headers: &[(&str, &str)]| {
        let headers = [&[("Content-Type", "application/json")], headers].concat();
        daemon.ask(method, "/api/v1/bench/hands", &headers, r#"{"lid_open":true}"#).status
    };
    assert_eq!(status("PUT", &[("Host", "attacker.example")]), 421, "a name that was pointed here");
    assert_eq!(status("PUT", &[("Origin", "http://attacker.example")]), 403, "another site's page");
    assert_eq!(status("PUT", &[("Sec-Fetch-Site", "cross-site")]), 403);
    assert_eq!(status("PUT", &[]), 200);
    let folder = tempfile::tempdir().unwrap();
    let unguarded = Command::new(program())
        .current_dir(folder.path())
        .args(["--records", "records.sqlite", "serve", "--virtual", "--listen", "0.0.0.0:0"])
        .output()
        .unwrap();
    assert_eq!(unguarded.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&unguarded.stderr).contains("--token-file"));
}

#[test]
fn with_tokens_nothing_is_shown_without_one() {
    let folder = tempfile::tempdir().unwrap();
    let made = Command::new(program())
        .current_dir(folder.path())
        .args(["token", "tokens", "--name", "bench laptop"])
        .output()
        .unwrap();
    let token = String::from_utf8(made.stdout).unwrap().lines().next().unwrap().to_owned();
    let daemon = Daemon::start_in(folder, &["--virtual", "--token-file", "tokens"]);
    assert_eq!(daemon.get("/api/v1/units").status, 401);
    assert_eq!(daemon.get("/units").status, 303, "to where one signs in");
    assert_eq!(daemon.get("/healthz").status, 200);
    let bearer = format!("Bearer {token}");
    assert_eq!(daemon.ask("GET", "/api/v1/units", &[("Authorization", &bearer)], "").status, 200);
    let form = [("Content-Type", "application/x-www-form-urlencoded")];
    let signed = daemon.ask("POST", "/sign-in", &form, &format!("token={token}"));
    let cookie = signed.head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap().to_owned();
    assert!(cookie.contains("httponly") && cookie.contains("samesite=strict"), "{cookie}");
    let cookie = cookie.split(';').next().unwrap();
    assert_eq!(daemon.ask("GET", "/units", &[("Cookie", cookie)], "").status, 200);
    let wrong =
        |n| daemon.ask("GET", "/api/v1/units", &[("Authorization", &format!("Bearer {n}"))], "").status;
    assert!((0..10).all(|n| wrong(n) == 401));
    assert_eq!(wrong(10), 429);
}

#[cfg(unix)]
#[test]
fn asked_to_end_it_closes_the_store_within_two_seconds() {
    let mut daemon = Daemon::start(&["--virtual"]);
    daemon.send("POST", "/api/v1/jobs", json!({ "serial": "A-1", "fixture": "tide gauge bed 1" }));
    daemon.lay_down();
    // Somebody listens all the while.
    let mut listener = TcpStream::connect(daemon.address()).unwrap();
    write!(listener, "GET /api/v1/events HTTP/1.1\r\nHost: {}\r\n\r\n", daemon.address()).unwrap();
    let (status, took) = daemon.terminate();
    assert_eq!(status.code(), Some(0));
    // 2 s are promised; a machine that is busy with something else gets as much again.
    assert!(took < Duration::from_secs(4), "{took:?}");
    assert!(!daemon.path("records.sqlite-wal").exists(), "the store is closed");
}
