//! A lot's trade on a terminal, and the packing list of its spares.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title};
use crate::report::{figures, trade};
use crate::trade::triage::Act;
use crate::trade::{Assessed, Assessment, Book};

/// What a lot cost and earned, what to repair next, what another is worth, and whether to stop; nothing where nobody has written
/// anything down about money.
pub fn trade(found: &Assessed, screen: Screen) -> String {
    let mut out = String::new();
    match found {
        Err(error) => {
            heading(&mut out, "What it cost and earned", screen);
            paragraph(&mut out, "", &error.to_string(), screen.width);
        }
        Ok(found) if found.is_of_money() => money(&mut out, found, screen),
        Ok(_) => {}
    }
    out
}

fn money(out: &mut String, found: &Assessment, screen: Screen) {
    const COLUMNS: [Column; 2] = [Column::name("what it cost and earned"), Column::figure("")];
    let lines: Vec<[Cell; 2]> = trade::account(&found.account)
        .into_iter()
        .map(|(what, amount)| [what.into(), amount.into()])
        .collect();
    if !lines.is_empty() {
        out.push('\n');
        table(out, screen, &COLUMNS, &lines);
    }
    if found.price.is_none() {
        paragraph(out, "", trade::NO_PRICE, screen.width);
        return;
    }
    triage(out, found, screen);
    if let Some(worth) = &found.worth {
        heading(out, "What another such lot is worth", screen);
        paragraph(out, "", &trade::worth(worth), screen.width);
        paragraph(out, "", trade::WORTH_BASIS, screen.width);
    }
    if let Some(stop) = &found.stop {
        heading(out, "Stop here?", screen);
        paragraph(out, "", &trade::stop(stop, trade::first(found)), screen.width);
    }
}

fn triage(out: &mut String, found: &Assessment, screen: Screen) {
    const COLUMNS: [Column; 6] = [
        Column::name("unit"),
        Column::name("what to do"),
        Column::figure("chance"),
        Column::figure("minutes"),
        Column::figure("gain"),
        Column::figure("in an hour"),
    ];
    if found.triage.is_empty() {
        return;
    }
    let rows: Vec<_> = found
        .triage
        .iter()
        .map(|item| {
            let tries = trade::tries(item);
            let what = match (item.act, tries.is_empty()) {
                (Act::Repair, false) => tries,
                (act, _) => trade::act(act).to_owned(),
            };
            let what = if item.chosen || item.act == Act::Leave {
                what
            } else {
                format!("not in the hours given: {what}")
            };
            let any = item.act != Act::Leave;
            let when = |text: String| if any { text } else { String::new() };
            [
                (&item.serial).into(),
                what.into(),
                when(if item.act == Act::Spares { String::new() } else { trade::percent(item.chance) })
                    .into(),
                when(format!("{:.0}", item.minutes)).into(),
                when(item.gain.to_string()).into(),
                item.gain_per_hour.as_ref().map(ToString::to_string).unwrap_or_default().into(),
            ]
        })
        .collect();
    heading(out, trade::TRIAGE, screen);
    table(out, screen, &COLUMNS, &rows);
    paragraph(out, "", trade::TRIAGE_BASIS, screen.width);
}

/// The spares taken off the units of a lot.
pub fn packing(book: &Book, screen: Screen) -> String {
    const COLUMNS: [Column; 4] =
        [Column::name("part"), Column::name("taken off"), Column::name("for"), Column::word("on")];
    let mut out = String::new();
    title(&mut out, &format!("spares of lot {}", book.lot), screen);
    let rows: Vec<_> = book
        .units
        .iter()
        .flat_map(|unit| unit.spares.iter().map(move |spare| (unit, spare)))
        .map(|(unit, spare)| {
            [
                (&spare.part).into(),
                (&unit.serial).into(),
                spare.unit.as_deref().unwrap_or_default().into(),
                figures::day(spare.at_us).into(),
            ]
        })
        .collect();
    if rows.is_empty() {
        paragraph(&mut out, "", "No part was taken off a unit of this lot.", screen.width);
    } else {
        table(&mut out, screen, &COLUMNS, &rows);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use crate::trade::{Terms, assess};

    #[test]
    fn a_lot_says_what_it_earned_what_to_repair_and_when_to_stop() {
        let found = assess(&sample::book(), &Terms::default());
        let text = trade(&found, Screen { width: 110, colour: false });
        let words: Vec<&str> = text.split_whitespace().collect();
        let text = words.join(" ");
        for line in [
            "paid, freight and other costs 138.50 EUR",
            "earned so far -98.23 EUR",
            "power switch: reflow, else replace, else clean",
            "Another such lot of 8 units is worth at most",
            "What an hour costs was not said",
        ] {
            assert!(text.contains(line), "{line}\n{text}");
        }
        let spares = packing(&sample::book(), Screen::PLAIN);
        let row = spares.lines().find(|line| line.starts_with("slide switch")).unwrap();
        assert!(row.contains("TG-0044") && row.contains("TG-0042"), "{spares}");
    }

    #[test]
    fn nothing_is_said_of_money_where_nobody_wrote_any_down() {
        let mut book = sample::book();
        book.cost = Default::default();
        book.units.iter_mut().for_each(|unit| {
            unit.sales.clear();
            unit.work.clear();
        });
        assert_eq!(trade(&assess(&book, &Terms::default()), Screen::PLAIN), "");
    }
}
