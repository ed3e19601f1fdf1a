//! `copperwalk remedy` and what follows from it, as a process: proposed, taken, swept again, kept.

use copperwalk_tests::program::{Place, Ran, gauge, sweep};
use serde_json::Value;

fn object(ran: &Ran) -> Value {
    serde_json::from_str(&ran.out).unwrap_or_else(|error| panic!("{error}: {}{}", ran.out, ran.err))
}

/// The number of the first proposal by this method, and the proposal.
fn by_method<'s>(sheet: &'s Value, method: &str) -> &'s Value {
    let all = sheet["proposals"].as_array().unwrap();
    all.iter().find(|proposal| proposal["method"] == method).unwrap_or_else(|| panic!("no {method}: {sheet}"))
}

#[test]
fn a_wire_is_proposed_taken_and_proven_by_the_next_sweep() {
    let (place, fixture) = (Place::new(), gauge());
    let open = ["--seed", "3", "--fault", "cross trace=open"];
    assert_eq!(place.run(&sweep(&fixture, "TG-1", &open)).code, 1);
    let told = place.run(&["remedy", "TG-1"]);
    assert_eq!(told.code, 0, "{}", told.err);
    assert!(told.out.contains("wire around") && told.out.contains("For the whole path"), "{}", told.out);

    let sheet = object(&place.run(&["remedy", "TG-1", "--json"]));
    let proposal = by_method(&sheet, "wire_around");
    let wire = &proposal["wire"]["wire"];
    assert_eq!((&wire["from"], &wire["to"]), (&"via2.b".into(), &"via3.b".into()), "{wire}");
    // The two vias are 17.6 mm apart, and a screw boss stands between them.
    let straight = (57.0_f64 - 46.4).hypot(31.0 - 17.0);
    let middle = proposal["wire"]["route"]["middle_mm"].as_f64().unwrap();
    assert!(middle > straight && middle < 1.2 * straight, "{middle} mm of at least {straight}");
    assert_eq!(proposal["predicted"]["verdict"], "pass");
    assert_eq!(proposal["wire"]["bypasses"], serde_json::json!(["cross trace"]));
    assert_eq!(sheet["together"]["suffices"], true);

    let number = proposal["number"].to_string();
    let taken = place.run(&["repair", "TG-1", "--remedy", &number, "second wire of the day"]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    let fitted = format!("via2.b~via3.b=wire {} AWG {} mm", wire["awg"], wire["length_mm"]);
    let again = place.run(&sweep(&fixture, "TG-1", &[&open[..], &["--fault", &fitted, "--json"]].concat()));
    assert_eq!(again.code, 0, "{}{}", again.out, again.err);
    let again = object(&again);
    let rows = again["segments"].as_array().unwrap();
    let row =
        |name: &str| rows.iter().find(|row| row["name"] == name).unwrap_or_else(|| panic!("{name}: {again}"));
    assert_eq!(
        (&row("wire via2.b~via3.b")["verdict"], &row("cross trace")["class"]),
        (&"pass".into(), &"bypassed".into())
    );
    assert!(row("cross trace")["reason"].as_str().unwrap().contains("judged together"));

    // The history says what was promised and what came of it.
    let unit = place.run(&["unit", "TG-1"]);
    assert!(unit.out.contains("Predicted and read"), "{}", unit.out);
    assert!(unit.out.contains("was read"), "{}", unit.out);
    let unit = object(&place.run(&["unit", "TG-1", "--json"]));
    let repair = unit["events"].as_array().unwrap().iter().find(|event| event["event"] == "repair").unwrap();
    assert_eq!(
        (&repair["taken"]["method"], &repair["text"]),
        (&"wire_around".into(), &"second wire of the day".into())
    );
    assert_eq!(place.run(&["records", "check"]).code, 0);

    // Judging it again says the same.
    let judged = place.run(&["judge", "TG-1"]);
    assert_eq!(judged.code, 0, "{}{}", judged.out, judged.err);

    // A hunt does not know the wire.
    let hunt = place.run(&["hunt", &fixture, "--virtual", "--serial", "TG-1"]);
    assert_eq!(hunt.code, 2, "{}", hunt.out);
    assert!(hunt.err.contains("sweep it"), "{}", hunt.err);

    // Off again, the unit is as broken as before.
    let off = place.run(&["repair", "TG-1", "--at", "wire via2.b~via3.b", "--action", "removed"]);
    assert_eq!(off.code, 0, "{}", off.err);
    assert_eq!(place.run(&sweep(&fixture, "TG-1", &open)).code, 1);
}

/// What came of repairs in the lot moves the chance, away from the table's.
#[test]
fn the_lot_s_own_record_counts() {
    let (place, fixture) = (Place::new(), gauge());
    let film = ["--lot", "L", "--fault", "power switch=film"];
    assert_eq!(place.run(&sweep(&fixture, "A", &film)).code, 1);
    let chance = |place: &Place| {
        let sheet = object(&place.run(&["remedy", "A", "--json"]));
        let works = by_method(&sheet, "clean")["works"].clone();
        (works["chance"].as_f64().unwrap(), works["counted"].clone())
    };
    let (before, counted) = chance(&place);
    assert_eq!(counted, serde_json::json!([0, 0]));
    for serial in ["B", "C", "D"] {
        assert_eq!(place.run(&sweep(&fixture, serial, &film)).code, 1);
        assert_eq!(place.run(&["repair", serial, "--at", "power switch", "--action", "cleaned"]).code, 0);
        // It did not help.
        assert_eq!(place.run(&sweep(&fixture, serial, &film)).code, 1);
    }
    let (after, counted) = chance(&place);
    assert_eq!(counted, serde_json::json!([0, 3]));
    assert!(after < before - 0.1, "{before} to {after}");
    let sheet = place.run(&["remedy", "A"]).out;
    let said = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("by common practice and 0 of 3 in the lot"), "{sheet}");
    assert!(said.contains("by common practice and 3 other repairs of the lot"), "{sheet}");
}

#[test]
fn what_cannot_be_answered_is_refused_with_what_to_do() {
    let (place, fixture) = (Place::new(), gauge());
    let refused = |args: &[&str], words: &str| {
        let ran = place.run(args);
        assert_eq!(ran.code, 2, "{args:?}: {}", ran.out);
        assert!(ran.err.contains(words), "{args:?}: {}", ran.err);
    };
    assert_eq!(place.run(&["receive", "N"]).code, 0);
    refused(&["remedy", "X"], "\"X\"");
    refused(&["remedy", "N"], "sweep it first");
    assert_eq!(place.run(&sweep(&fixture, "G", &[])).code, 0);
    refused(&["remedy", "G"], "no fault to remedy");
    assert_eq!(place.run(&sweep(&fixture, "F", &["--fault", "cell fuse=open"])).code, 1);
    refused(&["repair", "F", "--remedy", "99"], "no proposal 99");
    refused(&["repair", "F", "--remedy", "0"], "no proposal 0");
    refused(&["repair", "F"], "--at");
    refused(&["repair", "F", "--remedy", "1", "--action", "x", "--at", "cell fuse"], "cannot be used with");
    // A fuse is replaced, never bridged.
    let sheet = object(&place.run(&["remedy", "F", "--json"]));
    assert!(
        sheet["proposals"].as_array().unwrap().iter().all(|proposal| proposal["wire"].is_null()),
        "{sheet}"
    );
    assert_eq!(place.run(&["repair", "F", "--remedy", "1"]).code, 0);
    refused(&["remedy", "F"], "repaired after its last sweep");
    assert_eq!(place.run(&sweep(&fixture, "V", &["--fault", "1R=+5 %"])).code, 3);
    refused(&["remedy", "V"], "void");
}

/// The page shows the wire on the board, between keep-outs, and carries nothing from elsewhere.
#[test]
fn the_page_draws_the_wire() {
    let (place, fixture) = (Place::new(), gauge());
    assert_eq!(place.run(&sweep(&fixture, "TG-1", &["--fault", "cross trace=open"])).code, 1);
    let ran = place.run(&["remedy", "TG-1", "--html", "remedy.html"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let page = std::fs::read_to_string(place.0.path().join("remedy.html")).unwrap();
    assert!(
        page.contains("screw boss") && page.contains("wire around") && !page.contains("http://"),
        "{page}"
    );
}
