//! `copperwalk drop`: what a path costs by limits, and by the readings of units of the modelled bench.

use std::fs;

use copperwalk_tests::program::{Place, fixture, gauge, sweep};
use serde_json::Value;

fn object(text: &str) -> Value {
    serde_json::from_str(text).unwrap_or_else(|error| panic!("{error}: {text}"))
}

fn part<'v>(load: &'v Value, name: &str) -> &'v Value {
    let parts = load["parts"].as_array().unwrap();
    parts.iter().find(|part| part["name"] == name).unwrap_or_else(|| panic!("no {name} in {load}"))
}

/// By hand, at 20 °C: the stated limits of the tide gauge's head are 10 + 12 + 2 + 5 + 900 + 7 + 300 + 2 + 11.5 + 2 + 200 mΩ; the switch trace has its
/// share of the budget, three times its highest healthy value: 3 · 7 mm/58/(1 mm · 35 µm)/0.72 = 14.37 mΩ; with the cell of 300 mΩ
/// 120 mA lose 211.9 mV.
#[test]
fn limits_say_what_any_unit_may_cost() {
    let place = Place::new();
    let ran = place.run(&["drop", &gauge(), "--temperature", "20", "--json"]);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{}", ran.out);
    let sheet = object(&ran.out);
    let load = &sheet["loads"][0];
    assert_eq!((&load["load"], &load["state"]), (&Value::from("reg.in"), &Value::from("on")));
    let trace = 3.0 * 7e-3 / 58.0 / 0.035 / 0.72;
    let lost = 0.12 * (0.3 + 1.4515 + trace);
    assert!((load["lowest_volts"].as_f64().unwrap() - (2.0 - lost)).abs() < 1e-6, "{load}");
    assert!((load["margin_volts"].as_f64().unwrap() - (0.3 - lost)).abs() < 1e-6);
    assert_eq!(sheet["judged_by"], "brown_out");
    let shares: f64 =
        load["parts"].as_array().unwrap().iter().map(|part| part["share"].as_f64().unwrap()).sum();
    assert!((shares - 1.0).abs() < 1e-9);
    assert_eq!(load["dominates"], "cell fuse");
    // Warmer, it costs more.
    let warm = object(&place.run(&["drop", &gauge(), "--json"]).out);
    assert!(warm["loads"][0]["lowest_volts"].as_f64() < load["lowest_volts"].as_f64());
    assert_eq!(warm["loads"][0]["worst_at_celsius"], 40.0);
    // A board file does as well, and boards without a brown-out voltage are held to their budget.
    for board in ["greenhouse-valve-driver", "trail-counter"] {
        let file = fixture(board).replace("fixture.toml", "board.toml");
        let ran = place.run(&["drop", &file, "--json"]);
        assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
        assert_eq!(object(&ran.out)["judged_by"], "max_drop");
    }
}

#[test]
fn a_unit_is_judged_by_its_own_readings() {
    let place = Place::new();
    let bed = gauge();
    assert_eq!(place.run(&sweep(&bed, "A-1", &[])).code, 0);
    let ran = place.run(&["drop", &bed, "A-1", "--json"]);
    assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
    let sheet = object(&ran.out);
    assert_eq!(sheet["unit"], serde_json::json!({ "serial": "A-1", "sweep": 1 }));
    assert!(
        sheet["loads"][0]["parts"].as_array().unwrap().iter().skip(1).all(|part| part["origin"] == "reading")
    );
    // By its readings there is more left than by limits, and the interval is narrow.
    let limits = object(&place.run(&["drop", &bed, "--json"]).out);
    let of = |sheet: &Value, key: &str| sheet["loads"][0][key].as_f64().unwrap();
    assert!(of(&sheet, "lowest_volts") > of(&limits, "lowest_volts"));
    assert!(of(&sheet, "u95_volts") < 0.2 * of(&limits, "u95_volts"));

    // A switch of 3 Ω browns the load out, and takes most.
    assert_eq!(place.run(&sweep(&bed, "A-2", &["--fault", "power switch=3 ohm"])).code, 1);
    let ran = place.run(&["drop", &bed, "A-2", "--json"]);
    let sheet = object(&ran.out);
    assert_eq!((ran.code, &sheet["verdict"]), (1, &Value::from("fail")), "{}", ran.out);
    let load = &sheet["loads"][0];
    assert_eq!(
        (&load["dominates"], &load["healthy"]["segment"]),
        (&"power switch".into(), &"power switch".into())
    );
    assert!((part(load, "power switch")["drop_volts"].as_f64().unwrap() - 0.36).abs() < 0.05);

    // An open: no figure of the unit, the limit in its place, and said so.
    assert_eq!(place.run(&sweep(&bed, "A-3", &["--fault", "via pair 1=open"])).code, 1);
    let ran = place.run(&["drop", &bed, "A-3", "--json"]);
    let load = &object(&ran.out)["loads"][0];
    assert_eq!((ran.code, &load["cut"]), (1, &serde_json::json!(["via pair 1"])), "{}", ran.out);
    assert_eq!(part(load, "via pair 1")["origin"], "open");
    let text = place.run(&["drop", &bed, "A-3"]).out;
    assert!(
        text.contains("open, from the") && text.contains("No current reaches reg.in: via pair 1 is open."),
        "{text}"
    );
}

#[test]
fn the_page_of_a_unit_and_of_its_sweep_show_the_bar() {
    let place = Place::new();
    let bed = gauge();
    let page = place.0.path().join("sweep.html");
    assert_eq!(place.run(&sweep(&bed, "A-1", &["--html", page.to_str().unwrap()])).code, 0);
    let text = fs::read_to_string(&page).unwrap();
    assert!(text.contains("What the path costs") && text.contains("<svg class=\"stack pass\""));
    let page = place.0.path().join("drop.html");
    for _ in 0..2 {
        // It is replaced as long as it is ours.
        assert_eq!(place.run(&["drop", &bed, "A-1", "--html", page.to_str().unwrap()]).code, 0);
    }
    let text = fs::read_to_string(&page).unwrap();
    assert!(text.contains("brown-out at") && text.contains("<svg class=\"stack pass\""));
    let notes = place.file("notes.html", "mine");
    let ran = place.run(&["drop", &bed, "--html", &notes]);
    assert!(ran.code == 2 && ran.err.contains("no page of copperwalk"), "{}", ran.err);
    assert_eq!(fs::read_to_string(&notes).unwrap(), "mine");
}

#[test]
fn what_cannot_be_answered_is_refused_in_words() {
    let place = Place::new();
    let bed = gauge();
    assert_eq!(place.run(&["receive", "A-1"]).code, 0);
    let board = fs::read_to_string(bed.replace("fixture.toml", "board.toml")).unwrap();
    let high = place.file("high.toml", board.replace("brown_out = \"1.7 V\"", "brown_out = \"3.5 V\""));
    let negative =
        place.file("negative.toml", board.replace("source = \"0.3 ohm\"", "source = \"-0.3 ohm\""));
    let cases: [(&[&str], &str); 8] = [
        (&["drop", &bed, "A-1"], "no sweep says anything about unit \"A-1\" yet"),
        (&["drop", &bed, "nobody"], "nobody"),
        (&["drop", "no-such.toml"], "no-such.toml"),
        (&["drop", &bed, "--temperature", "40 to 0"], "the coldest, 40 °C, is above the warmest"),
        (&["drop", &bed, "--temperature", "-300"], "is believed from -60 to 150 °C"),
        (&["drop", &high], "is not below the highest supply voltage"),
        (&["drop", &negative], "`source` of [supply] is -0.3 ohm"),
        (&["drop", &bed, ""], "serial number"),
    ];
    for (args, fragment) in cases {
        let ran = place.run(args);
        assert!(
            ran.code == 2 && ran.out.is_empty() && ran.err.contains(fragment),
            "{args:?}: {}{}",
            ran.out,
            ran.err
        );
    }
    assert_eq!(place.run(&sweep(&bed, "A-2", &[])).code, 0);
    let ran = place.run(&["drop", &fixture("trail-counter"), "A-2"]);
    assert!(
        ran.code == 2 && ran.err.contains("was swept as board \"tide gauge head, revision B\""),
        "{}",
        ran.err
    );
    // A brown-out that only the best supply is above is a warning, and no unit has what it needs.
    let low = place.file("low.toml", board.replace("brown_out = \"1.7 V\"", "brown_out = \"2.0 V\""));
    let ran = place.run(&["check", &low]);
    let said = format!("{}{}", ran.out, ran.err);
    assert!(ran.code == 0 && said.contains("`brown_out` is not below the lowest"), "{said}");
    let ran = place.run(&["drop", &low]);
    assert!(ran.code == 1 && ran.out.contains("reg.in browns out"), "{}", ran.out);
}
