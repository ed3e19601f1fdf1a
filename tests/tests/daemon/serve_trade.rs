//! Trade as the daemon takes it down: by the API and by the forms of the pages, into the same records as the commands.

use copperwalk_tests::daemon::{Answer, Daemon};
use serde_json::{Value, json};

fn received() -> Daemon {
    let daemon = Daemon::start(&["--virtual"]);
    let came = json!({ "serials": ["S-1", "S-2"], "lot": "spring lot" });
    assert_eq!(daemon.send("POST", "/api/v1/units", came).status, 201);
    daemon
}

fn form(daemon: &Daemon, path: &str, body: &str) -> Answer {
    daemon.ask("POST", path, &[("Content-Type", "application/x-www-form-urlencoded")], body)
}

/// The lot's account, and where its units stand.
fn account(daemon: &Daemon) -> (Value, Vec<Value>) {
    let trade = daemon.get("/api/v1/lots/spring%20lot/trade").json();
    let units = daemon.get("/api/v1/units?lot=spring%20lot&sort=serial").json();
    let status = units["items"].as_array().unwrap().iter().map(|unit| unit["status"].clone()).collect();
    (trade["account"].clone(), status)
}

/// The sums are worked out by hand: 120.00 + 18.50 + 4.00 = 142.50 for the lot, and 45.00 - 3.53 - 1.20 - 142.50 = -102.23 earned so far.
#[test]
fn a_lot_is_bought_worked_on_and_sold_by_api_and_by_form_alike() {
    let by_api = received();
    for (path, body) in [
        ("lots/spring%20lot/costs", json!({ "paid": "120.00 EUR", "freight": "18.50 EUR", "units": 40 })),
        ("lots/spring%20lot/costs", json!({ "other": "4.00 EUR", "other_name": "customs" })),
        ("units/S-1/work", json!({ "minutes": 25, "parts": "1.20 EUR", "method": "rebuild_via" })),
        ("units/S-1/sales", json!({ "price": "54.00 EUR", "fees": "3.53 EUR" })),
        ("units/S-1/sales", json!({ "price": "45.00 EUR", "fees": "3.53 EUR", "instead": true })),
        ("units/S-2/spares", json!({ "part": "slide switch", "for": "S-1" })),
        ("units/S-2/spares", json!({ "part": "battery clip" })),
        ("units/S-2/spares", json!({ "part": "battery clip", "put_back": true })),
    ] {
        let answer = by_api.send("POST", &format!("/api/v1/{path}"), body);
        assert_eq!(answer.status, 201, "{path}: {}", answer.body);
    }
    let by_form = received();
    for (path, body) in [
        // What a form leaves empty is sent as nothing.
        (
            "lots/spring%20lot/costs",
            "paid=120.00+EUR&freight=18.50+EUR&other=&other_name=&units=40&price=&spares=",
        ),
        ("lots/spring%20lot/costs", "paid=&freight=&other=4.00+EUR&other_name=customs&units=&price=&spares="),
        ("units/S-1/work", "minutes=25&parts=1.20+EUR&method=rebuild_via"),
        ("units/S-1/sales", "price=54.00+EUR&fees=3.53+EUR"),
        ("units/S-1/sales", "price=45.00+EUR&fees=3.53+EUR&instead=true"),
        ("units/S-2/spares", "part=slide+switch&for=S-1"),
        ("units/S-2/spares", "part=battery+clip&for="),
        ("units/S-2/spares", "part=battery+clip&for=&put_back=true"),
    ] {
        let answer = form(&by_form, &format!("/{path}"), body);
        assert_eq!(answer.status, 303, "{path}: {}", answer.body);
    }
    let (sums, status) = account(&by_api);
    assert_eq!((sums.clone(), status.clone()), account(&by_form));
    assert_eq!(status, ["sold", "received"]);
    let by_hand = json!({ "cost": "142.50 EUR", "units": 40, "sales": "45.00 EUR", "fees": "3.53 EUR", "parts": "1.20 EUR", "minutes": 25, "earned": "-102.23 EUR" });
    for (item, amount) in by_hand.as_object().unwrap() {
        assert_eq!(&sums[item], amount, "{item}: {sums}");
    }
    for daemon in [&by_api, &by_form] {
        let page = daemon.get("/units/S-1").body;
        assert!(page.contains("sold for 45.00 EUR") && page.contains("Correct the sale"), "{page}");
        assert!(page.contains("action=\"/units/S-1/returns\""), "{page}");
        assert!(!daemon.get("/units/S-2").body.contains("action=\"/units/S-2/returns\""));
    }
    // It comes back: received again, and no sale is left to be corrected.
    assert_eq!(form(&by_form, "/units/S-1/returns", "refund=45.00+EUR&because=crackles").status, 303);
    let back = json!({ "refund": "45.00 EUR", "because": "crackles" });
    assert_eq!(by_api.send("POST", "/api/v1/units/S-1/returns", back).status, 201);
    assert_eq!(account(&by_api), account(&by_form));
    assert_eq!(account(&by_form).1, ["received", "received"]);
    assert!(by_form.get("/units/S-1").body.contains("Write the sale down"));
}

#[test]
fn what_cannot_be_is_refused_in_words_and_nothing_is_written_down() {
    let daemon = received();
    let paid = json!({ "paid": "120.00 EUR" });
    assert_eq!(daemon.send("POST", "/api/v1/lots/spring%20lot/costs", paid).status, 201);
    let before = (account(&daemon), daemon.get("/api/v1/units/S-1").body);
    for (path, body, status, said) in [
        ("units/S-1/sales", json!({ "price": "45" }), 400, "price: `45` has no currency"),
        ("units/S-1/sales", json!({ "price": "-4 EUR" }), 400, "below zero"),
        ("units/S-1/sales", json!({ "price": "45 USD" }), 409, "two currencies"),
        ("units/S-1/sales", json!({ "price": "45 EUR", "instead": true }), 409, "S-1"),
        ("units/S-1/sales", json!({ "price": "45 EUR", "prize": 1 }), 422, "prize"),
        ("units/none/sales", json!({ "price": "45 EUR" }), 404, "none"),
        ("units/S-1/returns", json!({}), 409, "S-1"),
        ("units/S-1/work", json!({ "minutes": -5 }), 422, "give whole minutes"),
        ("units/S-1/work", json!({ "minutes": 99_999 }), 400, "99999"),
        ("units/S-1/work", json!({ "minutes": 5, "method": "hope" }), 400, "there are: leave, clean"),
        ("units/S-1/spares", json!({ "part": "" }), 400, "part"),
        ("units/S-1/spares", json!({ "part": "clip", "for": "S-1" }), 409, "S-1"),
        ("units/S-1/spares", json!({ "part": "clip", "put_back": true }), 409, "clip"),
        (
            "units/S-1/spares",
            json!({ "part": "clip", "put_back": true, "for": "S-2" }),
            400,
            "leave `for` out",
        ),
        ("lots/spring%20lot/costs", json!({}), 400, "nothing is said of the lot"),
        ("lots/spring%20lot/costs", json!({ "units": 0 }), 400, "0"),
        ("lots/spring%20lot/costs", json!({ "units": "many" }), 422, "no whole number"),
        ("lots/spring%20lot/costs", json!({ "other": "4.00 EUR" }), 400, "name of the cost"),
        ("lots/spring%20lot/costs", json!({ "paid": "1 EUR", "freight": "1 kr" }), 409, "two currencies"),
        ("lots/none/costs", json!({ "paid": "1 EUR" }), 404, "none"),
    ] {
        let answer = daemon.send("POST", &format!("/api/v1/{path}"), body.clone());
        assert_eq!(answer.status, status, "{path} {body}: {}", answer.body);
        let detail = answer.json()["detail"].as_str().unwrap().to_owned();
        assert!(detail.contains(said), "{path} {body}: {detail}");
    }
    // A person reads the same on a page.
    for (path, body, status, said) in [
        ("units/S-1/work", "minutes=soon", 422, ">minutes: it is no whole number; give whole minutes"),
        ("units/S-1/sales", "price=45&fees=", 400, "has no currency"),
        ("lots/spring%20lot/costs", "units=many", 422, "no whole number"),
    ] {
        let answer = form(&daemon, &format!("/{path}"), body);
        assert_eq!(answer.status, status, "{path} {body}: {}", answer.body);
        assert!(answer.body.contains("<main") && answer.body.contains(said), "{path}: {}", answer.body);
    }
    assert_eq!((account(&daemon), daemon.get("/api/v1/units/S-1").body), before);
}
