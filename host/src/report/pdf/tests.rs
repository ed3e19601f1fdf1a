//! Structure of the files: what a reader of PDFs needs to find. How they read and look is tested with a reader from
//! outside in `tests/tests/commands/paper.rs`.

use super::{MARK, Paper, certificate, lot};
use crate::records::summary::{Event, Repair, UnitHistory};
use crate::report::sample;

/// With `$REPORT_SAMPLES` the samples are written there, to be looked at by eye.
fn written(name: &str, file: Vec<u8>) -> Vec<u8> {
    if let Some(folder) = std::env::var_os("REPORT_SAMPLES") {
        std::fs::write(std::path::Path::new(&folder).join(name), &file).unwrap();
    }
    file
}

fn of(sweeps: &[crate::sweep::Sweep]) -> UnitHistory {
    let mut unit = sample::history();
    unit.serial = sweeps[0].measurement.serial.clone();
    unit.events = (1..).zip(sweeps.iter().cloned()).map(|(id, sweep)| sample::past(id, sweep)).collect();
    unit
}

/// Numbers of the pages a file says it has.
fn pages(file: &[u8]) -> usize {
    let text = String::from_utf8_lossy(file);
    assert_eq!(text.matches("/Type /Pages").count(), 1);
    text.matches("/Type /Page\n").count()
}

fn has(file: &[u8], part: &[u8]) -> bool {
    file.windows(part.len()).any(|window| window == part)
}

#[test]
fn every_sample_gives_a_file_with_the_mark_the_fonts_and_the_size_of_its_paper() {
    let units = [
        ("good", of(&[sample::good()])),
        ("branching", of(&[sample::good_on(&sample::branching_board())])),
        ("open", of(&[sample::open_via()])),
        ("several", of(&[sample::several()])),
        ("unproven", of(&[sample::unproven()])),
        ("void", of(&[sample::void()])),
        ("nasty", of(&[sample::nasty().0])),
        ("history", sample::history()),
    ];
    for (paper, word, size) in [(Paper::A4, "a4", "595.27"), (Paper::Letter, "letter", "612")] {
        let lot = written(&format!("lot-{word}.pdf"), lot(&sample::lot(), paper));
        let certificates = units.iter().map(|(name, unit)| {
            let file = certificate(unit, paper);
            assert_eq!(file, certificate(unit, paper), "the same bytes every time");
            written(&format!("{name}-{word}.pdf"), file)
        });
        for file in std::iter::once(lot).chain(certificates) {
            assert!(file.starts_with(b"%PDF-1.7") && file.ends_with(b"%%EOF"));
            let mark = file.windows(MARK.len()).position(|window| window == MARK).unwrap();
            assert!(mark < 100, "at {mark}");
            assert!(has(&file, format!("/MediaBox [0 0 {size}").as_bytes()), "{word}");
            assert!(has(&file, b"/FontFile2") && has(&file, b"/ToUnicode"));
            assert!((1..=2).contains(&pages(&file)));
            assert!(file.len() < 200_000, "{} bytes", file.len());
        }
    }
}

#[test]
fn a_long_table_and_a_long_text_go_on_over_pages() {
    let mut many = sample::lot();
    many.units = (0..300).flat_map(|_| many.units.clone()).take(300).collect();
    assert!(pages(&lot(&many, Paper::A4)) >= 6);
    let mut unit = sample::history();
    let text = "a word, and no end of it: ".repeat(400);
    unit.events.push(Event::Repair(Repair {
        at_us: 0,
        place: "x".repeat(200),
        action: "wash".to_owned(),
        text,
        taken: None,
    }));
    assert!((3..=5).contains(&pages(&certificate(&unit, Paper::Letter))));
    // Names that no file may have, should a store hold them all the same.
    let mut sweep = sample::several();
    sweep.judgement.segments[3].name = "電".repeat(10_000);
    sweep.judgement.segments[4].name = "long \u{202e}".repeat(2_000);
    sweep.judgement.faults[0].place = "y".repeat(10_000);
    sweep.measurement.serial = "z".repeat(10_000);
    assert!(pages(&certificate(&of(&[sweep]), Paper::A4)) > 8);
}

#[test]
fn thirty_five_segments_stand_on_two_pages() {
    let mut sweep = sample::good_on(&sample::branching_board());
    let rows = sweep.judgement.segments.clone();
    sweep.judgement.segments = rows.iter().cycle().take(35).cloned().collect();
    for paper in [Paper::A4, Paper::Letter] {
        let file = written(&format!("thirty-five-{paper:?}.pdf"), certificate(&of(&[sweep.clone()]), paper));
        assert!(pages(&file) <= 2, "{paper:?}");
    }
}

#[test]
fn a_unit_without_a_sweep_gives_a_file_too() {
    let unit = UnitHistory { events: vec![], ..sample::history() };
    assert_eq!(pages(&certificate(&unit, Paper::A4)), 1);
}
