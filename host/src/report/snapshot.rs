//! Compares what a report prints with a file that people have read and found right.

use super::sample;
use super::terminal::{self, Screen};

/// With `COPPERWALK_SNAPSHOTS=write` the files are written instead: read the difference before you commit it.
fn check(name: &str, text: &str) {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/report/snapshots").join(name);
    if std::env::var("COPPERWALK_SNAPSHOTS").as_deref() == Ok("write") {
        std::fs::write(&path, text).unwrap();
    }
    let known = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(known == text, "{name} is not what it was:\n{text}");
}

#[test]
fn terminal_reports_read_as_they_did() {
    check("several-faults.txt", &terminal::sweep(&sample::several(), None, Screen::PLAIN));
    check("good.txt", &terminal::sweep(&sample::good(), None, Screen::PLAIN));
    check("void.txt", &terminal::sweep(&sample::void(), None, Screen::PLAIN));
    check("nasty-names.txt", &terminal::sweep(&sample::nasty().0, None, Screen::PLAIN));
    check("unit.txt", &terminal::unit(&sample::history(), Screen::PLAIN));
    check("lot.txt", &terminal::lot(&sample::lot(), Screen::PLAIN));
}

#[test]
fn json_and_csv_read_as_they_did() {
    check("several-faults.json", &super::json::sweep(&sample::several()).unwrap());
    let mut bytes = Vec::new();
    super::csv::sweep(&sample::several(), &mut bytes).unwrap();
    check("several-faults.csv", &String::from_utf8(bytes).unwrap());
    let mut bytes = Vec::new();
    super::csv::lot(&sample::lot(), &mut bytes).unwrap();
    check("lot.csv", &String::from_utf8(bytes).unwrap());
}
