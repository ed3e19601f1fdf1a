//! `copperwalk bench --health`: what the records of many sweeps say of the bench, on the terminal, as a page and as JSON.

use std::fs;

use copperwalk_tests::{
    database::Database,
    program::{Place, gauge, sweep},
};
use serde_json::Value;

/// Enough for limits, and a few after them.
const IN_ORDER: u64 = 22;
/// Sweeps with a pin that has become dirty: enough for every rule.
const DIRTY: u64 = 3;

#[test]
fn a_pin_that_becomes_dirty_is_named_with_the_sweep_since_when() {
    let place = Place::new();
    for number in 1..=IN_ORDER + DIRTY {
        let (serial, seed) = (format!("H-{number}"), (500 + number).to_string());
        let dirty = ["--seed", &seed, "--fault", "cell+:force=1.2 ohm"];
        let options = if number > IN_ORDER { &dirty[..] } else { &dirty[..2] };
        let ran = place.run(&sweep(&gauge(), &serial, options));
        assert_eq!(ran.code, 0, "{}", ran.out);
    }
    let ran = place.run(&["bench", "--health", "--html", "health.html"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let flat = ran.out.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("Clean the force pin at cell+ of tide gauge bed 1"), "{}", ran.out);
    assert!(flat.contains(&format!("sweep {})", IN_ORDER + 1)), "{}", ran.out);
    assert!(ran.out.lines().all(|line| line.chars().count() <= 80), "{}", ran.out);
    let page = fs::read_to_string(place.0.path().join("health.html")).unwrap();
    assert!(page.contains("Clean the force pin at cell+") && page.contains("<svg"), "the page says it, too");

    let ran = place.run(&["bench", "--health", "--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    let health: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(health["sweeps"], IN_ORDER + DIRTY);
    assert_eq!(health["todo"][0]["since"]["sweep"], IN_ORDER + 1, "{}", health["todo"]);
    assert_eq!(health["wear"][0]["sweeps"], IN_ORDER + DIRTY);

    // A sweep that was altered is told, and the others count.
    Database::open(&place.0.path().join("records.sqlite"))
        .alter("measurement", "UPDATE measurement SET bench_name = 'x' WHERE measurement_id = 3");
    let ran = place.run(&["bench", "--health"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""));
    assert!(
        ran.out.contains("1 sweep was left out, because it cannot be read") && ran.out.contains("sweep 3:"),
        "{}",
        ran.out
    );
    // Options that go with health go with nothing else.
    for odd in [&["bench", "--json"][..], &["bench", "--health", "--port", "/dev/none"]] {
        assert_eq!(place.run(odd).code, 2, "{odd:?}");
    }
}
