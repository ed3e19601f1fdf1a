//! CSV: one row per segment or isolation, for spreadsheets and statistics.
//!
//! Values are bare ohms with a decimal point, so that any program reads them; a cell without a number is empty. A
//! text that a spreadsheet would take for a formula gets a leading apostrophe: a serial number may not run code.

use std::io::Write;

use super::{figures, trade as words_of_trade, words};
use crate::measurement::Basis;
use crate::quantity::{Money, Ohms};
use crate::records::summary::{Event, LotLine, LotSummary, UnitHistory, UnitLine, UnitState};
use crate::sweep::{IsolationRow, SegmentRow, Sweep};
use crate::trade::{Assessment, triage::Item};
use crate::verdict::{Class, Verdict};

const SWEEP_HEADER: [&str; 18] = [
    "serial",
    "lot",
    "board",
    "revision",
    "sweep",
    "started",
    "unit_verdict",
    "row",
    "name",
    "kind",
    "state",
    "ohms",
    "ohms_20c",
    "u95_ohms",
    "min_ohms",
    "max_ohms",
    "verdict",
    "class",
];

const LOT_HEADER: [&str; 13] = [
    "lot",
    "serial",
    "status",
    "board",
    "revision",
    "first_verdict",
    "verdict",
    "won_back",
    "fault",
    "class",
    "sweeps",
    "repairs",
    "last_swept",
];

const LOTS_HEADER: [&str; 8] = ["lot", "units", "pass", "fail", "unproven", "void", "unswept", "last_swept"];

const TRADE_HEADER: [&str; 18] = [
    "lot",
    "serial",
    "currency",
    "cost_share",
    "minutes",
    "parts",
    "sales",
    "fees",
    "refunds",
    "spares_taken",
    "triage",
    "next",
    "chance",
    "expected_minutes",
    "expected_gain",
    "gain_per_hour",
    "in_hours_given",
    "tries",
];

/// The first row of each kind of table, by which one is known again.
pub const HEADERS: [&[&str]; 4] = [&SWEEP_HEADER, &LOT_HEADER, &LOTS_HEADER, &TRADE_HEADER];

/// One sweep.
///
/// # Errors
/// What `out` refuses to take.
pub fn sweep(sweep: &Sweep, out: impl Write) -> ::csv::Result<()> {
    let mut table = Table::new(out, &SWEEP_HEADER)?;
    table.sweep(&Head {
        serial: &sweep.measurement.serial,
        lot: sweep.measurement.lot.as_deref(),
        basis: &sweep.measurement.basis,
        id: String::new(),
        started_us: sweep.measurement.started_us,
        verdict: sweep.judgement.verdict,
        segments: &sweep.judgement.segments,
        isolation: &sweep.judgement.isolation,
    })?;
    table.finish()
}

/// Every sweep of a unit, in order, in the same columns as [`sweep`].
///
/// # Errors
/// What `out` refuses to take.
pub fn unit(unit: &UnitHistory, out: impl Write) -> ::csv::Result<()> {
    let mut table = Table::new(out, &SWEEP_HEADER)?;
    for event in &unit.events {
        let Event::Sweep(past) = event else { continue };
        table.sweep(&Head {
            serial: &unit.serial,
            lot: past.lot.as_deref(),
            basis: &past.basis,
            id: past.id.to_string(),
            started_us: past.started_us,
            verdict: past.judgement.verdict,
            segments: &past.judgement.segments,
            isolation: &past.judgement.isolation,
        })?;
    }
    table.finish()
}

/// One row per unit of a lot.
///
/// # Errors
/// What `out` refuses to take.
pub fn lot(lot: &LotSummary, out: impl Write) -> ::csv::Result<()> {
    let mut table = Table::new(out, &LOT_HEADER)?;
    lot.units.iter().try_for_each(|unit| table.row(lot_row(&lot.lot, unit)))?;
    table.finish()
}

/// What each unit of a lot cost and brought, and what to do next with it: its place in the triage list, 1 first. Amounts are bare
/// decimals of the currency beside them.
///
/// # Errors
/// What `out` refuses to take.
pub fn trade(lot: &str, found: &Assessment, out: impl Write) -> ::csv::Result<()> {
    let mut table = Table::new(out, &TRADE_HEADER)?;
    let account = &found.account;
    let digits = |money: &Option<Money>| money.as_ref().map(Money::digits).unwrap_or_default();
    let known = [&account.cost, &account.earned, &found.price].into_iter().flatten().next();
    let currency = known.map(|money| text(money.currency())).unwrap_or_default();
    for unit in &account.by_unit {
        let place = found.triage.iter().position(|item| item.serial == unit.serial);
        let item = place.and_then(|place| found.triage.get(place));
        let of_item = |cell: &dyn Fn(&Item) -> String| item.map(cell).unwrap_or_default();
        table.row([
            text(lot),
            text(&unit.serial),
            currency.clone(),
            digits(&account.cost_of_unit),
            unit.minutes.to_string(),
            digits(&unit.parts),
            digits(&unit.sales),
            digits(&unit.fees),
            digits(&unit.refunds),
            unit.spares.to_string(),
            place.map(|place| (place + 1).to_string()).unwrap_or_default(),
            of_item(&|item| words_of_trade::act(item.act).to_owned()),
            of_item(&|item| format!("{:.3}", item.chance)),
            of_item(&|item| format!("{:.1}", item.minutes)),
            of_item(&|item| item.gain.digits()),
            of_item(&|item| digits(&item.gain_per_hour)),
            of_item(&|item| if item.chosen { "yes" } else { "no" }.to_owned()),
            of_item(&|item| text(&words_of_trade::tries(item))),
        ])?;
    }
    table.finish()
}

/// The same table of any units in pieces of 500, each made when it is asked for: of a long list only one is in memory.
pub fn units_in_pieces(units: Vec<UnitLine>) -> impl Iterator<Item = ::csv::Result<Vec<u8>>> {
    let pieces = units.len().div_ceil(UNITS_AT_ONCE).max(1);
    (0..pieces).map(move |piece| {
        let mut out = Vec::new();
        let mut table = match piece {
            0 => Table::new(&mut out, &LOT_HEADER)?,
            _ => Table::headless(&mut out),
        };
        let units = units.iter().skip(piece * UNITS_AT_ONCE).take(UNITS_AT_ONCE);
        units
            .into_iter()
            .try_for_each(|line| table.row(lot_row(line.lot.as_deref().unwrap_or_default(), &line.unit)))?;
        table.finish()?;
        Ok(out)
    })
}

/// One row per lot.
///
/// # Errors
/// What `out` refuses to take.
pub fn lots(lots: &[LotLine], out: impl Write) -> ::csv::Result<()> {
    let mut table = Table::new(out, &LOTS_HEADER)?;
    for LotLine { lot, now, last_us } in lots {
        let counts = [now.total(), now.pass, now.fail, now.unproven, now.void, now.unswept];
        let [total, pass, fail, unproven, void, unswept] = counts.map(|count| count.to_string());
        let last = last_us.map(figures::time).unwrap_or_default();
        table.row([text(lot), total, pass, fail, unproven, void, unswept, last])?;
    }
    table.finish()
}

/// Units in a piece of a lot's table: some 60 KB.
const UNITS_AT_ONCE: usize = 500;

fn lot_row(lot: &str, unit: &UnitState) -> [String; 13] {
    let swept = unit.swept.as_ref();
    let (place, class) = match swept.and_then(|swept| swept.fault.as_ref()) {
        Some(fault) => (fault.place.as_str(), class(fault.class)),
        None => ("", ""),
    };
    [
        text(lot),
        text(&unit.serial),
        words::status(unit.status).to_owned(),
        text(swept.map_or("", |swept| &swept.board)),
        text(swept.map_or("", |swept| &swept.revision)),
        unit.first().map_or("", words::verdict).to_owned(),
        unit.now().map_or("", words::verdict).to_owned(),
        if unit.won_back() { "yes" } else { "no" }.to_owned(),
        text(place),
        class.to_owned(),
        swept.map_or(0, |swept| swept.sweeps).to_string(),
        unit.repairs.to_string(),
        swept.map(|swept| figures::time(swept.last_us)).unwrap_or_default(),
    ]
}

/// What every row of a sweep repeats, and its rows.
struct Head<'a> {
    serial: &'a str,
    lot: Option<&'a str>,
    basis: &'a Basis,
    id: String,
    started_us: i64,
    verdict: Verdict,
    segments: &'a [SegmentRow],
    isolation: &'a [IsolationRow],
}

struct Table<W: Write>(::csv::Writer<W>);

impl<W: Write> Table<W> {
    fn new(out: W, header: &[&str]) -> ::csv::Result<Self> {
        let mut writer = ::csv::Writer::from_writer(out);
        writer.write_record(header)?;
        Ok(Self(writer))
    }

    /// Goes on with a table whose heading is written already.
    fn headless(out: W) -> Self {
        Self(::csv::Writer::from_writer(out))
    }

    fn row<const N: usize>(&mut self, cells: [String; N]) -> ::csv::Result<()> {
        self.0.write_record(cells)
    }

    fn sweep(&mut self, head: &Head<'_>) -> ::csv::Result<()> {
        for row in head.segments {
            let numbers = [row.resistance, row.at_20c, row.u95, row.min, Some(row.max)];
            self.reading(
                head,
                ["segment", &row.name, &row.kind, &row.state],
                numbers,
                row.verdict,
                row.class,
            )?;
        }
        for row in head.isolation {
            let kind = if row.is_switch { "open switch" } else { "isolation" };
            // Of an isolation a lower bound is proven where no value is; it stands for the value then.
            let ohms = row.resistance.or(row.at_least);
            let numbers = [ohms, None, row.u95, Some(row.min), None];
            self.reading(head, ["isolation", &row.name, kind, &row.state], numbers, row.verdict, row.class)?;
        }
        Ok(())
    }

    fn reading(
        &mut self,
        head: &Head<'_>,
        [row, name, kind, state]: [&str; 4],
        numbers: [Option<Ohms>; 5],
        verdict: Verdict,
        of_class: Class,
    ) -> ::csv::Result<()> {
        let [ohms, at_20c, u95, min, max] = numbers.map(number);
        self.row([
            text(head.serial),
            text(head.lot.unwrap_or_default()),
            text(&head.basis.board),
            text(&head.basis.revision),
            head.id.clone(),
            figures::time(head.started_us),
            words::verdict(head.verdict).to_owned(),
            row.to_owned(),
            text(name),
            kind.to_owned(),
            text(state),
            ohms,
            at_20c,
            u95,
            min,
            max,
            words::verdict(verdict).to_owned(),
            class(of_class).to_owned(),
        ])
    }

    fn finish(mut self) -> ::csv::Result<()> {
        Ok(self.0.flush()?)
    }
}

/// The class by its JSON name, so that the two files can be joined.
fn class(class: Class) -> &'static str {
    match class {
        Class::RedundancyLost => "redundancy_lost",
        Class::NotReached => "not_reached",
        Class::Junction => "junction",
        Class::NotJudgedUnpowered => "not_judged_unpowered",
        other => words::class(other),
    }
}

fn number(value: Option<Ohms>) -> String {
    value.filter(|value| value.is_finite()).map(|value| value.0.to_string()).unwrap_or_default()
}

/// Text no spreadsheet takes for a formula: those begin with one of these characters (list from memory of the
/// common guidance on CSV injection; the tab and the line breaks are skipped by some programs to find one behind).
fn text(text: &str) -> String {
    match text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠']) {
        true => format!("'{text}"),
        false => text.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    fn rows(write: impl FnOnce(&mut Vec<u8>) -> ::csv::Result<()>) -> Vec<::csv::StringRecord> {
        let mut bytes = Vec::new();
        write(&mut bytes).unwrap();
        ::csv::Reader::from_reader(bytes.as_slice()).records().map(|row| row.unwrap()).collect()
    }

    #[test]
    fn a_sweep_gives_one_row_per_segment_and_isolation() {
        let of = sample::several();
        let rows = rows(|out| sweep(&of, out));
        assert_eq!(rows.len(), of.judgement.segments.len() + of.judgement.isolation.len());
        let switch = rows.iter().find(|row| &row[8] == "power switch" && &row[7] == "segment").unwrap();
        assert_eq!((&switch[11], &switch[15], &switch[16], &switch[17]), ("331", "0.3", "fail", "high"));
        let ferrite = rows.iter().find(|row| &row[8] == "input ferrite").unwrap();
        assert_eq!((&ferrite[11], &ferrite[17]), ("", "not_reached"));
    }

    #[test]
    fn a_unit_gives_every_sweep_and_a_lot_every_unit() {
        let history = sample::history();
        let of_unit = rows(|out| unit(&history, out));
        assert_eq!(of_unit.iter().filter(|row| &row[8] == "cell fuse").count(), 3);
        assert_eq!(&of_unit[0][4], "1");
        let summary = sample::lot();
        let of_lot = rows(|out| lot(&summary, out));
        assert_eq!(of_lot.len(), summary.units.len());
        assert_eq!((&of_lot[1][8], &of_lot[2][7], &of_lot[2][2]), ("via pair 1", "yes", "good"));
    }

    #[test]
    fn no_text_can_become_a_formula_and_every_text_survives() {
        let (of, _) = sample::nasty();
        let rows = rows(|out| sweep(&of, out));
        assert_eq!(&rows[0][0], sample::NASTY);
        assert_eq!(&rows[0][1], "'=HYPERLINK(\"x\")");
        for bad in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "＝1"] {
            assert!(text(bad).starts_with('\''));
        }
    }

    #[test]
    fn a_lots_trade_has_a_row_for_each_unit_with_bare_amounts() {
        let found = sample::assessed().unwrap();
        let rows = rows(|out| trade("=spring", &found, out));
        assert_eq!(rows.len(), sample::book().units.len());
        assert_eq!((&rows[0][0], &rows[0][2], &rows[0][3]), ("'=spring", "EUR", "17.31"));
        let sold = rows.iter().find(|row| !row[6].is_empty()).unwrap();
        assert_eq!((&sold[4], &sold[5], &sold[6], &sold[7]), ("25", "1.20", "45.00", "3.53"));
        assert!(rows.iter().any(|row| &row[10] == "1" && row[17].contains("else")));
    }

    #[test]
    fn a_number_is_bare_ohms_or_nothing() {
        assert_eq!(number(Some(Ohms(0.000_31))), "0.00031");
        assert_eq!(number(Some(Ohms(-2e-6))), "-0.000002");
        assert_eq!(number(Some(Ohms(f64::NAN))), "");
        assert_eq!(number(None), "");
    }

    #[test]
    fn a_closed_pipe_is_an_error_not_a_panic() {
        struct Closed;
        impl Write for Closed {
            fn write(&mut self, _: &[u8]) -> std::io::Result<usize> {
                Err(std::io::ErrorKind::BrokenPipe.into())
            }
            fn flush(&mut self) -> std::io::Result<()> {
                Ok(())
            }
        }
        assert!(sweep(&sample::good(), Closed).is_err());
    }
}
