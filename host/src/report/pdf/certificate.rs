//! The certificate of one unit for whoever buys it: what was measured, by which method, against which limits and with which
//! uncertainty, what was repaired, and what was not tested. What the unit cost and brought is none of the buyer's business.

use std::collections::BTreeSet;

use copperwalk_wire::hardware::{DRY_AMPS, LOAD_AMPS, RM_OHMS};

use super::flow::{BODY, Flow, SIDE, SMALL};
use super::font::{Face, Line};
use super::page::{INK, SOFT, WASH};
use super::paper::Paper;
use super::sign;
use super::table::{Cell, Column, Row};
use crate::quantity::Ohms;
use crate::records::status::Said;
use crate::records::summary::{Event, PastSweep, Repair, UnitHistory};
use crate::report::{caution, figures, words};
use crate::sweep::Judgement;
use crate::trade::book::UnitBook;
use crate::verdict::{Class, Verdict};

/// The certificate of one unit, as a PDF. It is about the latest sweep that was not void, or, where all were void, about
/// the latest.
pub fn certificate(unit: &UnitHistory, paper: Paper) -> Vec<u8> {
    let mut flow = Flow::new(paper, "certificate", &unit.serial);
    let Some(sweep) = unit.judged().next_back().or_else(|| unit.sweeps().next_back()) else {
        flow.paragraph(&words::life(unit), Face::Regular, BODY, INK);
        return flow.finish();
    };
    let judgement = &sweep.judgement;
    flow.finding(judgement.verdict, &words::told(unit, sweep));
    flow.facts(&[
        ("Board", Some(format!("{}, revision {}", sweep.basis.board, sweep.basis.revision))),
        ("Lot", unit.lot.clone()),
        ("Swept", Some(figures::time(sweep.started_us))),
        ("Bench", Some(sweep.bench_name.clone())),
        ("Bed", figures::bed(&judgement.thermometers)),
        ("Air", judgement.air.map(|air| format!("{:.1}\u{a0}°C", air.0))),
        ("Sweep", Some(format!("no. {} in the records", sweep.id))),
    ]);
    later(&mut flow, unit, sweep);
    bench_faults(&mut flow, judgement);
    advice(&mut flow, judgement);
    list(&mut flow, "Notes", judgement.notes.iter().map(|note| words::sentence(note)));
    segments(&mut flow, judgement);
    isolation(&mut flow, judgement);
    list(&mut flow, "Why not proven", words::reasons(judgement));
    checks(&mut flow, judgement, &figures::work(&sweep.bench));
    repairs(&mut flow, unit);
    list(&mut flow, "Looked at by a person", answers(unit));
    flow.heading("Not tested", 3.0 * BODY);
    // In one paragraph of small print: a certificate of an ordinary board stays on two pages.
    flow.paragraph(&not_tested(unit, judgement).join(" "), Face::Regular, SMALL, INK);
    method(&mut flow);
    basis(&mut flow, sweep);
    flow.finish()
}

impl Flow {
    /// The verdict, large: shape, word, and what it comes to.
    fn finding(&mut self, verdict: Verdict, headline: &str) {
        const BAND: f32 = 5.0;
        const SHAPE: f32 = 36.0;
        const WORD: f32 = 20.0;
        const SIZE: f32 = 10.0;
        /// What is longer goes on below the box.
        const MOST: usize = 6;
        let left = BAND + 12.0 + SHAPE + 12.0;
        let lines = Line::wrap(headline, Face::Regular, SIZE, self.width() - left - 12.0);
        let (inside, below) = lines.split_at(lines.len().min(MOST));
        let leading = inside.first().map_or(0.0, Line::leading);
        let height = (10.0 + WORD + inside.len() as f32 * leading + 10.0).max(SHAPE + 18.0);
        self.keep(height);
        let area = [SIDE, self.y, self.width(), height];
        let colour = sign::colour(verdict);
        self.page.fill(area, WASH);
        self.page.frame(area, 0.8, colour);
        self.page.fill([SIDE, self.y, BAND, height], colour);
        sign::draw(&mut self.page, verdict, [SIDE + BAND + 12.0 + SHAPE / 2.0, self.y + height / 2.0], SHAPE);
        let word = words::verdict(verdict);
        let large =
            word.chars().next().map(|first| first.to_uppercase().to_string() + &word[first.len_utf8()..]);
        let word = Line::of(&large.unwrap_or_default(), Face::Bold, WORD);
        let mut y = self.y + 10.0 + WORD * 0.78;
        self.page.text(&mut self.fonts, &word, [SIDE + left, y], colour);
        y += WORD * 0.22;
        for line in inside {
            y += leading;
            self.page.text(&mut self.fonts, line, [SIDE + left, y], INK);
        }
        self.y += height + 3.0;
        for line in below {
            self.line(line, 0.0, INK);
        }
        self.y += 4.0;
    }
}

/// What happened after the sweep that is certified, so that nobody takes an old verdict for a new one.
fn later(flow: &mut Flow, unit: &UnitHistory, sweep: &PastSweep) {
    let since =
        unit.events.iter().skip_while(|event| !matches!(event, Event::Sweep(past) if past.id == sweep.id));
    for event in since.skip(1) {
        let text = match event {
            Event::Repair(repair) => format!(
                "Repaired after this sweep, {}: {}. Not swept since: the verdict is that from before.",
                figures::day(repair.at_us),
                words::repair(repair).trim_end_matches('.')
            ),
            Event::Sweep(past) => {
                format!("Swept again, {}: {}", figures::day(past.started_us), words::told(unit, past))
            }
            Event::Status(said) if matches!(said.status, Said::InRepair | Said::Scrapped) => {
                let status = words::status(said.status.into());
                format!("Since this sweep, {}: {status}.", figures::day(said.at_us))
            }
            // Power says more than a sweep does, for better or worse.
            Event::Started(start) => {
                format!("Since this sweep, {}: {}", figures::day(start.at_us), words::start_entry(start))
            }
            Event::Void(_)
            | Event::Note(_)
            | Event::Status(_)
            | Event::Photo(_)
            | Event::Tick(_)
            | Event::Watch(_)
            | Event::Trade(_) => continue,
        };
        flow.paragraph(&text, Face::Bold, BODY, INK);
    }
}

fn list(flow: &mut Flow, heading: &str, points: impl IntoIterator<Item = String>) {
    let mut points = points.into_iter().peekable();
    if points.peek().is_none() {
        return;
    }
    flow.heading(heading, 2.0 * BODY);
    points.for_each(|point| flow.point(&point));
}

fn bench_faults(flow: &mut Flow, judgement: &Judgement) {
    let faults = judgement.bench_faults.iter();
    list(flow, "The bench", faults.map(|fault| format!("{}: {}", fault.part, words::sentence(&fault.what))));
}

/// What failed and what to do about it.
fn advice(flow: &mut Flow, judgement: &Judgement) {
    let faults = words::booked(judgement);
    if faults.is_empty() {
        return;
    }
    flow.heading("What to do", 4.0 * BODY);
    for fault in faults {
        flow.keep(3.0 * BODY);
        let title = format!("{} ({})", words::finding(fault), words::certainty(fault));
        flow.paragraph(&title, Face::Bold, BODY, INK);
        flow.paragraph(&words::advice(&fault.advice), Face::Regular, BODY, INK);
        flow.y += 3.0;
    }
    flow.paragraph(&caution::short(), Face::Regular, SMALL, SOFT);
}

fn segments(flow: &mut Flow, judgement: &Judgement) {
    const COLUMNS: [Column; 7] = [
        Column::words("Segment"),
        Column::words("Kind"),
        Column::words("State"),
        Column::figure("Reading ± U"),
        Column::figure("Limit"),
        Column::verdict("Verdict"),
        Column::words("Class"),
    ];
    let rows: Vec<Row> = judgement
        .segments
        .iter()
        .map(|row| Row {
            cells: vec![
                Cell::Name(row.name.clone()),
                row.kind.as_str().into(),
                row.state.as_str().into(),
                figures::segment(row).into(),
                (figures::segment_limit(row) + if row.limit_derived { "*" } else { "" }).into(),
                Cell::Verdict(row.verdict),
                words::class(row.class).into(),
            ],
            marked: row.verdict != Verdict::Pass,
        })
        .collect();
    flow.heading("Segments, at 20\u{a0}°C", 5.0 * BODY);
    flow.table(&COLUMNS, &rows);
    if judgement.segments.iter().any(|row| row.limit_derived) {
        flow.y += 2.0;
        flow.paragraph(words::DERIVED, Face::Regular, SMALL, SOFT);
    }
}

fn isolation(flow: &mut Flow, judgement: &Judgement) {
    const COLUMNS: [Column; 6] = [
        Column::words("Between"),
        Column::words("State"),
        Column::figure("Reading ± U"),
        Column::figure("Limit"),
        Column::verdict("Verdict"),
        Column::words("Class"),
    ];
    if judgement.isolation.is_empty() {
        return;
    }
    let rows: Vec<Row> = judgement
        .isolation
        .iter()
        .map(|row| Row {
            cells: vec![
                Cell::Name(if row.is_switch { format!("{} (open)", row.name) } else { row.name.clone() }),
                row.state.as_str().into(),
                figures::isolation(row).into(),
                figures::isolation_limit(row).into(),
                Cell::Verdict(row.verdict),
                words::class(row.class).into(),
            ],
            marked: row.verdict != Verdict::Pass,
        })
        .collect();
    flow.heading("What must not conduct", 5.0 * BODY);
    flow.table(&COLUMNS, &rows);
}

/// What proves the bench.
fn checks(flow: &mut Flow, judgement: &Judgement, work: &str) {
    let standards = judgement.standards.iter().map(|row| {
        let [stated, within] = [figures::stated(row.stated), figures::percent(row.tolerance)];
        let [verdict, reading] = [words::verdict(row.verdict), &figures::standard(row)];
        format!("Check standard {}: {reading}, stated {stated} within {within}: {verdict}.", row.name)
    });
    let closures = judgement.closures.iter().map(|row| format!("Series {}.", figures::closure(row)));
    let work = std::iter::once(format!("The bench ran {work}."));
    list(flow, "Checks", standards.chain(closures).chain(work));
}

fn repairs(flow: &mut Flow, unit: &UnitHistory) {
    let repairs = unit.events.iter().filter_map(|event| match event {
        Event::Repair(repair) => Some(repair),
        _ => None,
    });
    let told = |repair: &Repair| {
        format!("{}  {}", figures::day(repair.at_us), words::sentence(&words::repair(repair)))
    };
    let mut told: Vec<String> = repairs.map(told).collect();
    if told.is_empty() {
        told.push("None is in the records.".to_owned());
    }
    list(flow, "Repairs made", told);
}

/// Answers to the checks of the board, the latest to each.
fn answers(unit: &UnitHistory) -> impl Iterator<Item = String> {
    unit.checklist.iter().map(|tick| {
        let note = if tick.note.is_empty() { String::new() } else { format!(", {}", tick.note) };
        let said = format!("{}: {}{note}", tick.check, words::answer(tick.done));
        format!("{}  {}", figures::day(tick.at_us), words::sentence(&said))
    })
}

/// What a buyer might take for tested and what was not, and parts that are missing.
fn not_tested(unit: &UnitHistory, judgement: &Judgement) -> Vec<String> {
    let of = |class: Class| {
        let segments =
            judgement.segments.iter().filter(|row| row.class == class).map(|row| row.name.as_str());
        let isolation =
            judgement.isolation.iter().filter(|row| row.class == class).map(|row| row.name.as_str());
        let mut names: Vec<&str> = segments.chain(isolation).collect();
        names.dedup();
        names.join(", ")
    };
    let mut points = Vec::new();
    let (hidden, unpowered) = (of(Class::NotReached), of(Class::NotJudgedUnpowered));
    if !hidden.is_empty() {
        points.push(format!("Not reached in this sweep: {hidden}."));
    }
    if !unpowered.is_empty() {
        points.push(format!("Judged only as far as that can be done without power: {unpowered}."));
    }
    let watched = unit.events.iter().filter_map(|event| match event {
        Event::Watch(watch) => Some(watch.segment.as_str()),
        _ => None,
    });
    let watched: BTreeSet<&str> = watched.collect();
    points.push(match watched.is_empty() {
        true => "No contact was watched while the unit was tapped or bent.".to_owned(),
        false => format!(
            "Watched while the unit was tapped or bent: {}; no other contact.",
            watched.into_iter().collect::<Vec<_>>().join(", ")
        ),
    });
    points.push(
        "This sweep was made without power and without a battery, on the supply path and its isolations listed above. What the \
         unit does under power, and every part beside that path, is no part of it."
            .to_owned(),
    );
    let missing = missing(unit);
    if !missing.is_empty() {
        points.push(format!("Taken off as spares, and not on the unit any more: {}.", missing.join(", ")));
    }
    points
}

/// Parts that were taken off and not put back.
fn missing(unit: &UnitHistory) -> Vec<String> {
    let mut book = UnitBook::new(&unit.serial);
    for event in &unit.events {
        if let Event::Trade(entry) = event {
            book.take(entry.at_us, &entry.dealing);
        }
    }
    book.spares.into_iter().map(|spare| spare.part).collect()
}

fn method(flow: &mut Flow) {
    let milliamps = |amps: f64| format!("{}\u{a0}mA", amps * 1e3);
    flow.heading("Method", 4.0 * BODY);
    flow.paragraph(
        &format!(
            "Each segment is read four-wire as a ratio to a {} resistor in the same current, reversed and reversed \
             again, contacts with about {} and copper with {}; copper is referred to 20\u{a0}°C after IEC\u{a0}60028. \
             ± U is the expanded uncertainty at 95\u{a0}% after JCGM\u{a0}100, and pass means that the reading with all of U \
             is inside the limits, fail that it is outside with all of U, unproven that neither is shown, void that the \
             bench was at fault.",
            figures::stated(Ohms(RM_OHMS)),
            milliamps(DRY_AMPS),
            milliamps(LOAD_AMPS)
        ),
        Face::Regular,
        SMALL,
        INK,
    );
}

fn basis(flow: &mut Flow, sweep: &PastSweep) {
    let basis = &sweep.basis;
    let limits = &sweep.judgement.limits;
    let mut hashes = basis.hashes();
    hashes.push(("Limits", &limits.origin, &limits.hash));
    flow.heading("Judged by", 6.0 * BODY);
    let cut = |(what, name, hash)| (what, name, Line::cut(hash, Face::Regular, SMALL, flow.width()));
    let hashes: Vec<_> = hashes.into_iter().map(cut).collect();
    let widest = hashes.iter().map(|(.., hash)| hash.width).fold(0.0, f32::max);
    let indent = flow.width() - widest;
    for (what, name, hash) in hashes {
        let label = Line::cut(&format!("{what}: {name}"), Face::Regular, SMALL, (indent - 12.0).max(60.0));
        flow.keep(label.leading());
        let baseline = flow.y + label.leading() - SMALL * 0.28;
        flow.page.text(&mut flow.fonts, &label, [SIDE, baseline], SOFT);
        flow.line(&hash, indent, INK);
    }
    flow.y += 2.0;
    let said = format!(
        "SHA-256. The same hashes mean the same limits, pins and readings. Judged by copperwalk {}.",
        sweep.judgement.program
    );
    flow.paragraph(&said, Face::Regular, SMALL, SOFT);
}
