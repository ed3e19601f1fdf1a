//! Lots as a business at the command line: amounts go in as text, and come out added up exactly, ranked and valued.

use copperwalk_tests::program::{Place, gauge};
use serde_json::Value;

fn done(place: &Place, args: &[&str]) -> String {
    let ran = place.run(args);
    assert_eq!((ran.code, ran.err.as_str()), (0, ""), "{args:?}: {}", ran.out);
    ran.out
}

/// The same on one line: where a terminal breaks it is no matter here.
fn told(place: &Place, args: &[&str]) -> String {
    done(place, args).split_whitespace().collect::<Vec<_>>().join(" ")
}

fn refused(place: &Place, args: &[&str], words: &str) {
    let ran = place.run(args);
    assert_eq!(ran.code, 2, "{args:?}: {}", ran.out);
    let said = ran.err.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains(words), "{args:?}: {}", ran.err);
}

fn swept(place: &Place, serial: &str, fault: Option<&str>) {
    let fixture = gauge();
    let mut args =
        vec!["sweep", fixture.as_str(), "--serial", serial, "--lot", "May", "--virtual", "--seed", "3"];
    args.extend(fault.iter().flat_map(|fault| ["--fault", fault]));
    let ran = place.run(&args);
    assert_eq!(ran.code, i32::from(fault.is_some()), "{}", ran.err);
}

/// Five units: one good and sold, one repaired and sold, three that wait.
fn lot(place: &Place) {
    swept(place, "A-1", None);
    swept(place, "A-2", Some("power switch=330 ohm"));
    done(place, &["repair", "A-2", "--at", "power switch", "--action", "clean"]);
    done(place, &["spent", "A-2", "--minutes", "12", "--parts", "0.40 EUR"]);
    swept(place, "A-2", None);
    swept(place, "A-3", Some("power switch=330 ohm"));
    swept(place, "A-4", Some("via pair 1=open"));
    done(place, &["receive", "--lot", "May", "A-5"]);
    let costs =
        ["--paid", "40.00 EUR", "--freight", "6.90 EUR", "--other", "customs=1.10 EUR", "--units", "6"];
    done(place, &[&["cost", "May"], &costs[..]].concat());
    done(place, &["sold", "A-1", "45.00 EUR", "--fees", "3.53 EUR"]);
    done(place, &["sold", "A-2", "41.00 EUR"]);
}

#[test]
fn a_lot_adds_up_and_says_what_to_do_next() {
    let place = Place::new();
    lot(&place);
    let words = told(&place, &["lot", "May", "--hour", "20.00 EUR"]);
    // Worked by hand: 86.00 − 48.00 − 0.40 − 3.53 = 34.07 in 12 minutes, 170.35 an hour.
    for said in [
        "paid, freight and other costs 48.00 EUR",
        "cost of a unit 8.00 EUR",
        "earned so far 34.07 EUR",
        "earned in an hour 170.35 EUR",
        "Repair next, the best hour first",
        "Another such lot of 6 units is worth at most",
        "2 units are left to sweep",
        "An hour costs 20.00 EUR.",
    ] {
        assert!(words.contains(said), "{said}\n{words}");
    }
    let sheet: Value = serde_json::from_str(&done(&place, &["lot", "May", "--json"])).unwrap();
    let trade = &sheet["trade"];
    assert_eq!(trade["account"]["earned"], "34.07 EUR");
    let list = trade["triage"].as_array().unwrap();
    let serials: Vec<&str> = list.iter().map(|item| item["serial"].as_str().unwrap()).collect();
    assert!(serials.len() == 2 && serials.contains(&"A-3") && serials.contains(&"A-4"), "{serials:?}");
    let rate =
        |item: &Value| item["gain_per_hour"].as_str().unwrap().split(' ').next().unwrap().parse::<f64>();
    assert!(rate(&list[0]).unwrap() >= rate(&list[1]).unwrap());
    assert_eq!(
        list.iter().find(|item| item["serial"] == "A-3").unwrap()["tries"][0]["where"],
        "power switch"
    );
    done(&place, &["lot", "May", "--trade", "trade.csv", "--html", "lot.html"]);
    let table = std::fs::read_to_string(place.0.path().join("trade.csv")).unwrap();
    assert_eq!(table.lines().count(), 6, "{table}");
    assert!(table.contains("May,A-1,EUR,8.00,0,,45.00,3.53,"), "{table}");
    let page = std::fs::read_to_string(place.0.path().join("lot.html")).unwrap();
    assert!(page.contains("What another such lot is worth") && page.contains("34.07 EUR"));
}

#[test]
fn spares_are_listed_and_the_certificate_says_what_is_missing() {
    let place = Place::new();
    lot(&place);
    done(&place, &["spares", "A-4", "slide switch", "--for", "A-3"]);
    let text = done(&place, &["packing", "May", "--pdf", "spares.pdf"]);
    assert!(text.contains("slide switch") && text.contains("A-4") && text.contains("A-3"), "{text}");
    assert!(std::fs::read(place.0.path().join("spares.pdf")).unwrap().starts_with(b"%PDF-"));
    assert!(told(&place, &["unit", "A-4"]).contains("taken off as a spare for unit A-3: slide switch"));
    done(&place, &["spares", "A-4", "slide switch", "--put-back"]);
    assert!(done(&place, &["packing", "May"]).contains("No part was taken off"));
}

#[test]
fn bad_amounts_and_sales_are_refused_in_words() {
    let place = Place::new();
    lot(&place);
    refused(&place, &["spent", "A-3", "--minutes", "-5"], "nobody works less than no minutes");
    refused(&place, &["cost", "May", "--paid", "-3 EUR"], "is below zero");
    refused(&place, &["cost", "May", "--paid", "1,50 EUR"], "one decimal point");
    refused(&place, &["cost", "May", "--paid", "120"], "has no currency");
    refused(&place, &["cost", "May", "--other", "4.00 EUR"], "the name of the cost is missing");
    refused(&place, &["cost", "May"], "nothing is said of the lot");
    refused(&place, &["cost", "June", "--paid", "1 EUR"], "no unit of a lot \"June\"");
    refused(&place, &["sold", "A-3", "30 USD"], "are two currencies, which are never added");
    refused(&place, &["sold", "A-1", "30 EUR"], "is sold already, for 45.00 EUR");
    refused(&place, &["sold", "A-9", "30 EUR"], "no unit \"A-9\"");
    done(&place, &["status", "A-5", "scrapped"]);
    refused(&place, &["sold", "A-5", "30 EUR"], "is scrapped, so it is not sold");
    let said = told(&place, &["lot", "May", "--hour", "20 USD"]);
    assert!(said.contains("USD (--hour) are two currencies"), "{said}");
    refused(&place, &["lot", "May", "--hours", "-1"], "it is no number of hours");
    // Corrected, given back, and sold again.
    done(&place, &["sold", "A-1", "44.00 EUR", "--instead"]);
    done(&place, &["returned", "A-1", "44.00 EUR", "--because", "crackles"]);
    assert!(told(&place, &["unit", "A-1"]).contains("because: crackles"));
    refused(&place, &["returned", "A-1"], "no price of unit \"A-1\"");
}
