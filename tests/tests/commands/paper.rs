//! What is printed, read by programs from outside: the PDFs by poppler's tools, the codes on labels by zbar. A tool that is
//! missing fails the test; `tests/run` installs both.

use std::path::Path;
use std::process::Command;

use copperwalk_tests::program::{Place, fixture, gauge, sweep};

/// Runs a tool; what it prints.
fn tool(name: &str, args: &[&str]) -> String {
    let ran = Command::new(name).args(args).output();
    let ran = ran.unwrap_or_else(|error| panic!("{name}: {error}; tests/run installs it"));
    let said = String::from_utf8_lossy(&ran.stderr);
    assert!(ran.status.success(), "{name} {args:?}: {said}");
    assert!(!said.contains("Syntax") && !said.contains("rror"), "{name} {args:?}: {said}");
    String::from_utf8(ran.stdout).unwrap()
}

/// The text as it can be selected, blanks and line ends as one blank each.
fn selected(file: &str) -> String {
    tool("pdftotext", &["-layout", file, "-"]).split_whitespace().collect::<Vec<_>>().join(" ")
}

fn pages(file: &str) -> usize {
    let info = tool("pdfinfo", &[file]);
    info.lines().find_map(|line| line.strip_prefix("Pages:")).unwrap().trim().parse().unwrap()
}

/// Every font in the file is embedded, as a subset, and maps back to Unicode.
fn fonts_are_embedded(file: &str) {
    let fonts = tool("pdffonts", &[file]);
    let rows: Vec<&str> = fonts.lines().skip(2).collect();
    assert!(!rows.is_empty(), "{fonts}");
    for row in rows {
        let words: Vec<&str> = row.split_whitespace().rev().collect();
        // From the end: object and generation, then "uni", "sub", "emb".
        assert_eq!(words[2..5], ["yes"; 3], "{fonts}");
        assert!(row.contains("DejaVuSansCondensed"), "{fonts}");
    }
}

/// What stands in the code of each of the first `count` labels of a file, label by label as a person scans them, at the
/// resolution of a printer. `sheet` is the paper in mm, rows, columns, and the margin in mm.
fn scanned(
    place: &Place,
    file: &str,
    kind: &str,
    count: usize,
    sheet: ([f64; 2], usize, usize, f64),
) -> Vec<String> {
    const DOTS_PER_INCH: f64 = 300.0;
    let (paper, rows, columns, margin) = sheet;
    let size = [(paper[0] - 2.0 * margin) / columns as f64, (paper[1] - 2.0 * margin) / rows as f64];
    let stem = place.0.path().join("scan").to_str().unwrap().to_owned();
    let label = |number: usize| {
        let (page, on_page) = (number / (rows * columns), number % (rows * columns));
        let corner = [on_page % columns, on_page / columns];
        let dots = |mm: f64| (mm / 25.4 * DOTS_PER_INCH).round().to_string();
        let at = [0, 1].map(|axis| dots(margin + corner[axis] as f64 * size[axis]));
        let page = (page + 1).to_string();
        let area = ["-x", &at[0], "-y", &at[1], "-W", &dots(size[0]), "-H", &dots(size[1])];
        let page = ["-png", "-singlefile", "-r", "300", "-f", &page, "-l", &page];
        tool("pdftoppm", &[page.as_slice(), area.as_slice(), &[file, &stem]].concat());
        let found = tool("zbarimg", &["--quiet", "--nodbus", &format!("{stem}.png")]);
        let lines: Vec<&str> = found.lines().collect();
        assert_eq!(lines.len(), 1, "label {number}: {found}");
        lines[0].strip_prefix(kind).unwrap_or_else(|| panic!("{found}")).to_owned()
    };
    (0..count).map(label).collect()
}

const A4: [f64; 2] = [210.0, 297.0];
const LETTER: [f64; 2] = [215.9, 279.4];

fn holds(text: &str, part: &str) {
    assert!(text.contains(part), "{part:?} is not in\n{text}");
}

#[test]
fn a_certificate_says_what_the_page_says_and_its_text_can_be_selected() {
    let place = Place::new();
    let bed = gauge();
    place.run(&sweep(&bed, "A-7", &["--lot", "spring", "--fault", "via pair 1=open"]));
    assert_eq!(
        place
            .run(&["repair", "A-7", "--at", "via pair 1", "--action", "rebuilt", "wire <b>through</b>"])
            .code,
        0
    );
    for (paper, size) in [("a4", "595.276 x 841.89 pts (A4)"), ("letter", "612 x 792 pts (letter)")] {
        let file = format!("{paper}.pdf");
        let file = place.0.path().join(&file).to_str().unwrap().to_owned();
        assert_eq!(place.run(&["unit", "A-7", "--pdf", &file, "--paper", paper]).code, 0);
        let info = tool("pdfinfo", &[&file]);
        holds(&info, size);
        holds(&info, "Title:           A-7 · certificate");
        fonts_are_embedded(&file);
        let text = selected(&file);
        for part in [
            "A-7 Fail via pair 1 is open.",
            "tide gauge head, revision B",
            "via pair 1 via on above range ≤ 2 mΩ fail open",
            "power switch",
            "≤ 14.37 mΩ*",
            "What must not conduct",
            "Why not proven",
            "(proven)",
            "rebuild the via",
            "Before a repair: take the battery out;",
            "Repaired after this sweep",
            "via pair 1: rebuilt; wire <b>through</b>.",
            "expanded uncertainty at 95 %",
            "Judged by copperwalk 0.1.0.",
            "Page 1 of 2",
            "Page 2 of 2",
        ] {
            holds(&text, part);
        }
        assert_eq!(pages(&file), 2);
        // Every reading and every hash of the record stands in it.
        let record = place.run(&["unit", "A-7", "--json"]).out;
        let record: serde_json::Value = serde_json::from_str(&record).unwrap();
        let basis = &record["events"][0]["basis"];
        for hash in ["board_hash", "fixture_hash", "plan_hash"] {
            holds(&text, basis[hash].as_str().unwrap());
        }
        let page = place.run(&["unit", "A-7"]).out;
        let figures: Vec<&str> =
            page.split("  ").map(str::trim).filter(|figure| figure.contains('±')).collect();
        assert!(figures.len() > 5, "{page}");
        figures.iter().for_each(|figure| holds(&text, figure));
    }
}

#[test]
fn a_lot_says_its_yield_with_its_interval_and_every_unit() {
    let place = Place::new();
    let bed = gauge();
    for (serial, fault) in [("A-1", None), ("A-2", Some("via pair 1=open")), ("A-3", None), ("A-4", None)] {
        let more: Vec<&str> = fault.map_or(vec![], |fault| vec!["--fault", fault]);
        place.run(&sweep(&bed, serial, &[&["--lot", "spring"], more.as_slice()].concat()));
    }
    let file = place.0.path().join("lot.pdf").to_str().unwrap().to_owned();
    assert_eq!(place.run(&["lot", "spring", "--pdf", &file]).code, 0);
    fonts_are_embedded(&file);
    let text = selected(&file);
    // 3 of 4: Wilson's interval is 30.06 to 95.44 %; computed by hand.
    for part in [
        "75 %",
        "95 % interval 30 to 96 %",
        "pass 3",
        "fail 1",
        "Where units failed",
        "via pair 1 open",
        "A-1",
        "A-4",
        "Page 1 of 1",
    ] {
        holds(&text, part);
    }
    let page = place.0.path().join("lot.html").to_str().unwrap().to_owned();
    let ran = place.run(&["lot", "spring", "--html", &page]);
    holds(&std::fs::read_to_string(&page).unwrap(), "95\u{a0}% interval 30 to 96\u{a0}%");
    holds(&ran.out, "30 to 96 %");
}

#[test]
fn what_no_font_has_is_shown_as_a_replacement_and_copied_as_it_was_typed() {
    let place = Place::new();
    let bed = fixture("trail-counter");
    let serial = "序号 <7> \"电\" 🛠";
    place.run(&sweep(&bed, serial, &[]));
    let long = "a word and \u{202e}turned round, ".repeat(370);
    let ran = place.run(&["repair", serial, "--at", "bat+", "--action", "wash", &long]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let file = place.0.path().join("strange.pdf").to_str().unwrap().to_owned();
    let ran = place.run(&["unit", serial, "--pdf", &file]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let text = selected(&file);
    holds(&text, serial);
    holds(&text, "\\u{202e}turned");
    assert!(!text.contains('\u{202e}'));
    fonts_are_embedded(&file);
    assert!(pages(&file) > 2);
}

#[test]
fn labels_are_read_by_a_scanner() {
    let place = Place::new();
    let file = place.0.path().join("labels.pdf").to_str().unwrap().to_owned();
    let plain = [
        "TG-0042",
        "A1",
        "1234567890",
        "7/2024 (b)",
        "a~ !\"#$%&'*+,;<=>?@[]^_`{|}",
        "A123456B77",
        "AB12345",
    ];
    for (code, kind) in [("qr", "QR-Code:"), ("code-128", "CODE-128:")] {
        for (paper, size) in [("a4", A4), ("letter", LETTER)] {
            let sheet = ["--pdf", &file, "--code", code, "--paper", paper, "--rows", "5", "--columns", "2"];
            let ran = place.run(&[&["labels"], plain.as_slice(), sheet.as_slice()].concat());
            assert_eq!((ran.code, ran.out.as_str()), (0, "7 labels written\n"), "{}", ran.err);
            assert_eq!(scanned(&place, &file, kind, 7, (size, 5, 2, 10.0)), plain, "{code} {paper}");
            fonts_are_embedded(&file);
            // A long one may stand in two lines.
            let text = tool("pdftotext", &["-raw", &file, "-"]).replace(char::is_whitespace, "");
            plain.iter().for_each(|serial| holds(&text, &serial.replace(' ', "")));
        }
    }
    // Other scripts, over two sheets of small labels.
    let others = ["Gerät 7", "序号-3", "№ 12", "A-4", "A-5"];
    let sheet = ["--pdf", &file, "--rows", "2", "--columns", "2", "--margin", "0.5 cm"];
    let ran = place.run(&[&["labels"], others.as_slice(), sheet.as_slice()].concat());
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert_eq!(scanned(&place, &file, "QR-Code:", 5, (A4, 2, 2, 5.0)), others);
    assert_eq!(pages(&file), 2);
}

#[test]
fn the_smallest_label_that_is_allowed_can_still_be_scanned() {
    let place = Place::new();
    let file = place.0.path().join("small.pdf").to_str().unwrap().to_owned();
    let serials = ["TG-0042", "TG-0043", "TG-0044"];
    for (code, kind, rows, columns) in [("qr", "QR-Code:", 17, 15), ("code-128", "CODE-128:", 23, 5)] {
        let [down, across] = [rows, columns].map(|count: usize| count.to_string());
        let sheet = ["--pdf", &file, "--code", code, "--rows", &down, "--columns", &across];
        let ran = place.run(&[&["labels"], serials.as_slice(), sheet.as_slice()].concat());
        assert_eq!(ran.code, 0, "{}", ran.err);
        assert_eq!(scanned(&place, &file, kind, 3, (A4, rows, columns, 10.0)), serials, "{code}");
        // One more column, and there is no room.
        let across = (columns + 1).to_string();
        let sheet = ["--pdf", &file, "--code", code, "--rows", &down, "--columns", &across];
        assert_eq!(place.run(&[&["labels"], serials.as_slice(), sheet.as_slice()].concat()).code, 2);
    }
}

#[test]
fn labels_that_do_not_fit_are_refused_and_only_own_files_are_replaced() {
    let place = Place::new();
    let file = place.0.path().join("labels.pdf").to_str().unwrap().to_owned();
    let said = |args: &[&str]| {
        let ran = place.run(&[&["labels", "TG-0042", "--pdf", &file], args].concat());
        assert_eq!(ran.code, 2, "{args:?}: {}", ran.out);
        assert!(!Path::new(&file).exists(), "{args:?}");
        ran.err
    };
    let small = said(&["--rows", "40"]);
    holds(&small, "\"TG-0042\" with its QR code needs a label of at least 63.3 mm by 12.6 mm, and");
    holds(
        &small,
        "this sheet has labels of 63.3 mm by 6.9 mm: name fewer rows or columns, or a smaller margin",
    );
    holds(&said(&["--margin", "105 mm"]), "a margin of 105 mm leaves no room on a sheet of 210 mm by 297 mm");
    holds(&said(&["--margin", "-1 mm"]), "a margin of -1 mm leaves no room");
    holds(&said(&["--margin", "10"]), "has no unit");
    holds(&said(&["--rows", "0"]), "--rows");
    holds(&said(&["--paper", "a5"]), "[possible values: a4, letter]");
    holds(&said(&["--code", "code-128", "--columns", "9"]), "with its Code 128 needs a label of at least");
    holds(&said(&["--lot", "spring"]), "cannot be used with");
    let ran = place.run(&["labels", "Gerät", "--code", "code-128", "--pdf", &file]);
    assert_eq!(ran.code, 2);
    holds(&ran.err, "use a QR code");
    holds(&place.run(&["labels", "--pdf", &file]).err, "required");

    let foreign = place.file("theirs.pdf", "%PDF-1.4\n%of somebody else\n");
    let ran = place.run(&["labels", "TG-0042", "--pdf", &foreign]);
    assert_eq!(ran.code, 2);
    holds(&ran.err, "is there already and is no PDF of copperwalk");
    assert_eq!(place.run(&["labels", "TG-0042", "--pdf", &file]).code, 0);
    assert_eq!(place.run(&["labels", "TG-0043", "--pdf", &file]).code, 0, "its own is replaced");

    place.run(&sweep(&gauge(), "A-1", &["--lot", "spring"]));
    let ran = place.run(&["labels", "--lot", "spring", "--pdf", &file]);
    assert_eq!((ran.code, ran.out.as_str()), (0, "1 label written\n"));
    assert_eq!(scanned(&place, &file, "QR-Code:", 1, (A4, 8, 3, 10.0)), ["A-1"]);
    let records = place.0.path().join("records.sqlite").to_str().unwrap().to_owned();
    let ran = place.run(&["labels", "A-1", "--force", "--pdf", &records]);
    holds(&ran.err, "it is never replaced");
    holds(&place.run(&["unit", "A-1", "--paper", "a4"]).err, "--pdf");
}
