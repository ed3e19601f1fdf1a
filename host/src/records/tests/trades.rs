//! What lots cost and units brought: kept as it was written, refused where it makes no sense.

use super::super::status::Status;
use super::super::summary::Event;
use super::super::{Error, Records, sample};
use super::{fresh, run, unlock};
use crate::fault::method::Method;
use crate::quantity::{Money, money};
use crate::trade::Dealing;
use crate::trade::book::{SaidOfLot, Stand};

fn of(text: &str) -> Money {
    money::parse(text).unwrap()
}

fn work(minutes: u32, parts: Option<&str>) -> Dealing {
    Dealing::Work { minutes, parts: parts.map(of), method: Some(Method::Clean), instead: false }
}

fn sale(price: &str, instead: bool) -> Dealing {
    Dealing::Sale { price: of(price), fees: Some(of("3.50 EUR")), instead }
}

fn spare(unit: Option<&str>, put_back: bool) -> Dealing {
    Dealing::Spare { part: "slide switch".into(), unit: unit.map(Into::into), put_back }
}

/// A lot of three units, one of them swept, repaired and swept again.
fn lot() -> (tempfile::TempDir, Records) {
    let (folder, records) = fresh();
    records.receive(&["A-1", "A-2", "A-3"].map(str::to_owned), Some("May"), 1).unwrap();
    records.store(&sample::sweep("A-1", None, 1, Some(2)), &sample::fixture()).unwrap();
    let place = records.unit("A-1").unwrap().sweeps().next().unwrap().judgement.faults[0].place.clone();
    records.repair("A-1", 2, &place, "reflow", "").unwrap();
    records.store(&sample::sweep("A-1", None, 2, None), &sample::fixture()).unwrap();
    (folder, records)
}

#[test]
fn everything_comes_back_as_it_was_written() {
    let (_folder, records) = lot();
    let dealings = [
        work(25, Some("1.20 EUR")),
        work(5, None),
        sale("45.00 EUR", false),
        sale("46.00 EUR", true),
        Dealing::Return { refund: Some(of("46.00 EUR")), because: "crackles".into() },
        spare(Some("A-2"), false),
        spare(None, false),
        spare(None, true),
    ];
    for (at_us, dealing) in (10..).zip(&dealings) {
        records.deal("A-1", at_us, dealing).unwrap();
    }
    let unit = records.unit("A-1").unwrap();
    let kept: Vec<&Dealing> = unit
        .events
        .iter()
        .filter_map(|event| match event {
            Event::Trade(entry) => Some(&entry.dealing),
            _ => None,
        })
        .collect();
    assert_eq!(kept, dealings.iter().collect::<Vec<_>>());
    assert_eq!(unit.status, Status::Received, "given back");
    let said = [
        SaidOfLot::Paid(of("120.00 EUR")),
        SaidOfLot::Other("customs".into(), of("4 EUR")),
        SaidOfLot::Units(40),
    ];
    records.say_of_lot("May", 20, &said).unwrap();
    records.say_of_lot("May", 21, &[SaidOfLot::Other("customs".into(), of("5 EUR"))]).unwrap();
    let book = records.book("May").unwrap();
    assert_eq!((book.cost.paid, book.cost.units), (Some(of("120.00 EUR")), Some(40)));
    assert_eq!(book.cost.others, [("customs".to_owned(), of("5 EUR"))], "the latest counts");
    let unit = &book.units[0];
    assert_eq!((unit.stand, unit.work.len(), unit.sales.len(), unit.spares.len()), (Stand::Unswept, 2, 1, 1));
    assert!(unit.tried.len() == 1 && unit.tried[0].worked && unit.tried[0].method == Method::Reflow);
    assert!(!book.usual.is_empty());
    let findings = records.check().unwrap();
    assert!(findings.sound(), "{:?}", findings.wrong);
}

#[test]
fn a_sale_says_where_the_unit_is() {
    let (_folder, records) = lot();
    records.deal("A-1", 3, &sale("45.00 EUR", false)).unwrap();
    assert_eq!(records.unit("A-1").unwrap().status, Status::Sold);
    assert_eq!(records.book("May").unwrap().units[0].stand, Stand::Sold);
}

#[test]
fn what_makes_no_sense_is_refused_and_nothing_is_written() {
    let (_folder, records) = lot();
    let back = Dealing::Return { refund: None, because: String::new() };
    let said = |serial: &str, dealing: &Dealing| records.deal(serial, 5, dealing).unwrap_err().to_string();
    assert!(said("B-1", &sale("4 EUR", false)).contains("no unit \"B-1\""));
    records.set_status("A-3", 4, super::super::status::Said::Scrapped).unwrap();
    assert!(said("A-3", &sale("4 EUR", false)).contains("is scrapped, so it is not sold"));
    assert!(said("A-2", &back).contains("no price of unit \"A-2\""));
    assert!(said("A-2", &sale("4 EUR", true)).contains("no price of unit \"A-2\""));
    records.deal("A-2", 5, &sale("40.00 EUR", false)).unwrap();
    let before = records.unit("A-2").unwrap().events.len();
    assert!(said("A-2", &sale("41.00 EUR", false)).contains("sold already, for 40.00 EUR"));
    assert!(said("A-2", &spare(None, true)).contains("no part \"slide switch\" was taken off"));
    assert!(said("A-2", &spare(Some("A-2"), false)).contains("its own donor"));
    assert!(said("A-2", &spare(Some("B-9"), false)).contains("no unit \"B-9\""));
    assert!(said("A-2", &work(6001, None)).contains("write them down in parts"));
    // Two currencies, between units, within a sale, and between a unit and its lot.
    let error = said("A-1", &work(5, Some("1 USD")));
    assert!(error.contains("EUR (sale of unit A-2)") && error.contains("USD (parts of unit A-1)"), "{error}");
    let mixed = Dealing::Sale { price: of("4 EUR"), fees: Some(of("1 USD")), instead: false };
    assert!(said("A-1", &mixed).contains("never added"));
    let lot = records.say_of_lot("May", 6, &[SaidOfLot::Paid(of("9 USD"))]).unwrap_err().to_string();
    assert!(lot.contains("USD (price paid of lot May)") && lot.contains("nothing was written"), "{lot}");
    assert!(matches!(records.say_of_lot("June", 6, &[SaidOfLot::Units(3)]), Err(Error::UnknownLot { .. })));
    assert!(matches!(records.say_of_lot("May", 6, &[SaidOfLot::Units(0)]), Err(Error::LotSize { .. })));
    assert_eq!(records.unit("A-2").unwrap().events.len(), before);
    assert_eq!(records.book("May").unwrap().cost, Default::default());
}

/// By another program: amounts altered, rows taken away or moved to another unit or lot.
#[test]
fn what_is_not_as_it_was_written_is_not_shown() {
    for (sql, of_unit) in [
        ("UPDATE trade SET amount = '54.00' WHERE what = 'sale'", true),
        ("UPDATE trade SET minutes = 2 WHERE what = 'work'", true),
        ("DELETE FROM trade WHERE what = 'work'", true),
        ("UPDATE trade SET serial = 'A-2' WHERE what = 'sale'", true),
        ("UPDATE lot_trade SET amount = '12.00' WHERE item = 'paid'", false),
        ("UPDATE lot_trade SET lot = 'June'", false),
        ("DELETE FROM lot_trade WHERE entry = 2", false),
        ("DELETE FROM lot_ledger WHERE entry = 1", false),
        ("INSERT INTO lot_ledger VALUES ('May', 9)", false),
    ] {
        let (_folder, records) = lot();
        records.deal("A-1", 3, &work(25, Some("1.20 EUR"))).unwrap();
        records.deal("A-1", 3, &sale("45.00 EUR", false)).unwrap();
        let said = [SaidOfLot::Paid(of("120.00 EUR")), SaidOfLot::Freight(of("18.50 EUR"))];
        records.say_of_lot("May", 4, &said).unwrap();
        assert!(records.check().unwrap().sound());
        unlock(&records);
        run(&records, sql);
        assert!(matches!(records.book("May"), Err(Error::Altered { .. })), "{sql}");
        assert_eq!(matches!(records.unit("A-1"), Err(Error::Altered { .. })), of_unit, "{sql}");
        assert!(!records.check().unwrap().sound(), "{sql}");
    }
}
