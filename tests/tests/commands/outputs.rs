//! What the program writes, and what it lets through to a terminal: no file of somebody else's is replaced, nothing is
//! half-written, nothing that acts on a terminal comes out of a file, a name or an argument.

use std::fs;
use std::io::{Read, Write};
use std::os::unix::fs::symlink;
use std::os::unix::net::UnixListener;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use copperwalk_tests::program::{Place, Ran, gauge, program, sweep};

/// Characters that act on a terminal instead of standing on it, and how a complaint names each.
const NASTY: [(char, &str); 12] = [
    ('\u{1b}', "a control character (U+001B)"),
    ('\u{7}', "a control character (U+0007)"),
    ('\u{7f}', "a control character (U+007F)"),
    ('\u{9b}', "a control character (U+009B)"),
    ('\n', "a line break (U+000A)"),
    ('\u{2028}', "a line break (U+2028)"),
    ('\u{2029}', "a line break (U+2029)"),
    ('\u{202e}', "a mark that turns the writing direction (U+202E)"),
    ('\u{2066}', "a mark that turns the writing direction (U+2066)"),
    ('\u{200b}', "an invisible format character (U+200B)"),
    ('\u{feff}', "a byte order mark (U+FEFF)"),
    ('\u{e0041}', "an invisible format character (U+E0041)"),
];

/// Nothing of these in what a terminal gets, but the ends of its lines.
fn harmless(text: &str) -> bool {
    text.lines().all(|line| NASTY.iter().all(|(c, _)| !line.contains(*c)) && !line.contains('\r'))
}

fn board() -> String {
    fs::read_to_string(gauge().replace("fixture.toml", "board.toml")).unwrap()
}

#[test]
fn names_and_prompts_that_act_on_a_terminal_are_refused_with_place_and_code_point() {
    let place = Place::new();
    for (c, what) in NASTY {
        let escaped = format!("\\U{:08X}", u32::from(c));
        for (from, to, key) in [
            ("name = \"tail trace\"", format!("name = \"tail{escaped}trace\""), "`name`"),
            ("revision = \"B\"", format!("revision = \"{escaped}B\""), "`revision`"),
            ("on = \"Slide", format!("on = \"{escaped}Slide"), "`on` of [states]"),
            ("\"tail.in\" = {", format!("\"tail{escaped}in\" = {{"), "the point"),
        ] {
            let text = board();
            assert!(text.contains(from), "{from}");
            let line = text.lines().position(|line| line.contains(from)).unwrap() + 1;
            let path = place.file("nasty.toml", text.replacen(from, &to, 1));
            let ran = place.run(&["check", &path]);
            assert_eq!(ran.code, 2, "{what}: {}", ran.out);
            // A point's name is used elsewhere too; what is said of it first is what is wrong with it.
            let at =
                ran.out.find(&format!("nasty.toml:{line}:")).unwrap_or_else(|| panic!("{what}: {}", ran.out));
            let said = ran.out[..at].replace("\n  │ ", " ");
            assert!(said.contains(key) && said.contains(what), "{key} {what}: {}", ran.out);
            assert!(ran.out.contains("type it anew without that character"), "{}", ran.out);
            assert!(harmless(&ran.out), "{:?}", ran.out);
        }
    }
}

#[test]
fn nothing_typed_comes_back_to_the_terminal_as_it_is() {
    let place = Place::new();
    let bed = gauge();
    for (c, _) in NASTY {
        let text = format!("a{c}[31mb");
        for args in [
            vec!["check", &text],
            vec!["plan", &text],
            vec![&text],
            vec!["sweep", &format!("--{text}")],
            vec!["unit", &text],
            vec!["lot", &text],
            vec!["--records", &text, "unit", "A-1"],
            vec!["note", "A-1", &text],
            vec!["repair", "A-1", "--at", &text, "--action", &text],
            sweep(&bed, &text, &[]),
            sweep(&bed, "A-1", &["--lot", &text]),
            sweep(&bed, "A-1", &["--fault", &text]),
            sweep(&bed, "A-1", &["--fault", &format!("via pair 1={text}")]),
            sweep(&bed, "A-1", &["--seed", &text]),
            sweep(&bed, "A-1", &["--html", &format!("{text}/page.html")]),
            vec!["sweep", &bed, "--serial", "A-1", "--port", &text],
            vec!["bench", "--port", &text],
        ] {
            let ran = place.run(&args);
            assert_ne!(ran.code, 0, "{args:?}");
            assert!(harmless(&ran.err) && harmless(&ran.out), "{args:?}: {:?} {:?}", ran.err, ran.out);
        }
    }
}

/// Waits for a process that must not hang; a hung one is ended.
fn ends(mut command: Command) -> Ran {
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let began = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if began.elapsed() > Duration::from_secs(60) {
            child.kill().unwrap();
            panic!("{command:?} hangs");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    Ran::of(child.wait_with_output().unwrap())
}

#[test]
fn what_is_no_plain_file_is_refused_and_nothing_hangs() {
    let place = Place::new();
    let at = |name: &str| place.0.path().join(name).to_str().unwrap().to_owned();
    assert!(Command::new("mkfifo").arg(at("pipe")).status().unwrap().success());
    let _socket = UnixListener::bind(at("socket")).unwrap();
    fs::create_dir(at("folder")).unwrap();
    symlink(at("pipe"), at("link")).unwrap();
    fs::write(at("fixture.toml"), "format = 1\n[fixture]\nname = \"x\"\nboard = \"pipe\"\n").unwrap();
    for (name, what) in [
        (at("pipe"), "pipe is a pipe"),
        (at("link"), "link is a pipe"),
        (at("socket"), "socket is a socket"),
        (at("folder"), "folder is a folder"),
        ("/dev/zero".into(), "/dev/zero is a device"),
        (at("fixture.toml"), "pipe is a pipe"), // the board of a fixture
    ] {
        for args in [vec!["check", &name], vec!["plan", &name], sweep(&name, "A-1", &[])] {
            let ran = ends(place.command(&args));
            assert_eq!(ran.code, 2);
            assert!(format!("{}{}", ran.out, ran.err).contains(what), "{args:?}: {}{}", ran.out, ran.err);
        }
    }
}

#[test]
fn a_page_replaces_a_page_and_nothing_else() {
    let place = Place::new();
    let bed = gauge();
    let path = |name: &str| place.0.path().join(name);
    assert_eq!(place.run(&sweep(&bed, "A-1", &["--html", "page.html"])).code, 0);
    assert_eq!(place.run(&sweep(&bed, "A-1", &["--html", "page.html", "--csv=rows.csv"])).code, 0, "again");
    assert!(fs::read_to_string(path("page.html")).unwrap().starts_with("<!DOCTYPE html>"));
    assert!(fs::read_to_string(path("rows.csv")).unwrap().starts_with("serial,lot,"));

    fs::write(path("letter.html"), "<!DOCTYPE html><p>to my mother").unwrap();
    let store = fs::read(path("records.sqlite")).unwrap();
    for name in ["letter.html", "records.sqlite", "rows.csv"] {
        for command in [sweep(&bed, "A-2", &["--html", name]), vec!["unit", "A-1", "--html", name]] {
            let ran = place.run(&command);
            assert_eq!(ran.code, 2, "{name}");
            assert!(ran.err.contains(name) && ran.err.contains("name another place"), "{}", ran.err);
            assert_eq!(ran.out, "", "said before anything is done");
        }
    }
    assert_eq!(place.run(&["unit", "A-2"]).code, 2, "refused before it was swept");
    assert_eq!(fs::read(path("records.sqlite")).unwrap(), store);
    assert_eq!(fs::read_to_string(path("letter.html")).unwrap(), "<!DOCTYPE html><p>to my mother");
    assert_eq!(place.run(&["unit", "A-1", "--html", "records.sqlite", "--force"]).code, 2);
    assert_eq!(place.run(&["unit", "A-1", "--html", "letter.html", "--force"]).code, 0);
    assert!(fs::read_to_string(path("letter.html")).unwrap().contains("A-1"));

    let missing = place.run(&sweep(&bed, "A-2", &["--html", "missing/page.html"]));
    assert_eq!(
        (missing.code, missing.err.as_str()),
        (
            2,
            "copperwalk: missing/page.html: the folder missing does not exist; make it first, or name another place\n"
        )
    );
    assert_eq!(litter(&place), Vec::<String>::new());
}

/// Files that only a write in progress may need.
fn litter(place: &Place) -> Vec<String> {
    let names =
        fs::read_dir(place.0.path()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    names.filter(|name| name.starts_with(".copperwalk-")).collect()
}

/// A limit on the size of files stands in for a full disk: writing fails in the middle of the page.
#[test]
fn a_full_disk_leaves_the_old_page_and_no_litter() {
    let place = Place::new();
    let bed = gauge();
    assert_eq!(place.run(&sweep(&bed, "A-1", &[])).code, 0);
    for _ in 0..5 {
        assert_eq!(place.run(&["note", "A-1", &"seen ".repeat(1900)]).code, 0);
    }
    assert_eq!(place.run(&["unit", "A-1", "--html", "page.html"]).code, 0);
    let page = place.0.path().join("page.html");
    let old = fs::read(&page).unwrap();
    // The index that SQLite shares between programs takes 32 KiB; a page must be larger than the limit.
    const LIMIT_KIB: usize = 36;
    let limited = |args: &[&str]| {
        let mut command = place.command(&[]);
        let script = format!("trap '' XFSZ; ulimit -f {}; exec \"$0\" \"$@\"", LIMIT_KIB * 2);
        let mut shell = Command::new("sh");
        shell.arg("-c").arg(script).arg(program()).args(args).current_dir(place.0.path());
        for (name, value) in command.stdin(Stdio::null()).get_envs() {
            shell.env(name, value.unwrap_or_default());
        }
        Ran::of(shell.output().unwrap())
    };
    assert!(old.len() > LIMIT_KIB << 10, "{} bytes", old.len());
    let ran = limited(&["unit", "A-1", "--html", "page.html"]);
    assert_eq!(ran.code, 2, "{}", ran.err);
    assert!(ran.err.contains("cannot write page.html: File too large"), "{}", ran.err);
    assert!(ran.err.contains("the file that stood there is as it was"), "{}", ran.err);
    assert!(ran.out.contains("A-1"), "the unit is shown all the same: {}", ran.out);
    assert_eq!(fs::read(&page).unwrap(), old);
    let ran = limited(&["unit", "A-1", "--html", "new.html"]);
    assert!(ran.code == 2 && ran.err.contains("nothing was left there"), "{}", ran.err);
    assert!(!place.0.path().join("new.html").exists());
    assert_eq!(litter(&place), Vec::<String>::new());
}

/// The page's folder goes away while the bench works: standard output is a pipe that is full, so that the program
/// waits there, after recording and before it writes the page.
#[test]
fn a_page_that_fails_after_the_sweep_does_not_hide_the_verdict() {
    let place = Place::new();
    let bed = gauge();
    let folder = place.0.path().join("pages");
    fs::create_dir(&folder).unwrap();
    let (mut reader, mut writer) = std::io::pipe().unwrap();
    const PIPE: usize = 65_536; // what a pipe holds on Linux, pipe(7)
    writer.write_all(&[b'.'; PIPE]).unwrap();
    let args = sweep(&bed, "A-1", &["--fault", "via pair 1=open", "--html", "pages/page.html"]);
    let child = place.command(&args).stdout(writer).stderr(Stdio::piped()).spawn().unwrap();
    let began = Instant::now();
    while place.run(&["unit", "A-1"]).code != 0 {
        assert!(began.elapsed() < Duration::from_secs(60), "nothing recorded");
    }
    fs::remove_dir_all(&folder).unwrap();
    let mut shown = String::new();
    reader.read_to_string(&mut shown).unwrap();
    let ran = Ran::of(child.wait_with_output().unwrap());
    assert_eq!(ran.code, 2);
    assert!(shown.contains("via pair 1 is open.") && shown.contains("record    sweep 1"), "{shown}");
    let lines: Vec<_> = ran.err.lines().collect();
    assert_eq!(
        lines[..2],
        ["copperwalk: A-1: ✗ fail: via pair 1 is open.", "copperwalk: recorded as sweep 1"]
    );
    assert!(lines[2].starts_with("copperwalk: cannot write pages/page.html: No such file"), "{}", ran.err);
    assert_eq!(lines[3], "copperwalk: the sweep itself is kept; `copperwalk unit` shows it");
}
