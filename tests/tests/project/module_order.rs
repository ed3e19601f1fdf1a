//! No module of the host uses one that stands after it in `lib.rs`: data flows one way, and there is no cycle.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

/// Every source file below a folder.
fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
}

/// Is this file part of the library as it is built for use?
fn is_used(path: &Path) -> bool {
    let only_tests = ["tests.rs", "sample.rs", "snapshot.rs", "scripted.rs"];
    let in_tests = path.components().any(|part| part.as_os_str() == "tests");
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    !in_tests && !only_tests.contains(&name.as_str()) && name != "lib.rs" && name != "main.rs"
}

/// The code of a file, without comments and its own tests.
fn code(text: &str) -> String {
    let used = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
    used.lines().filter(|line| !line.trim_start().starts_with("//")).map(|line| format!("{line}\n")).collect()
}

/// The modules named after `crate::`, inside the braces of a `use` too.
fn used_modules(code: &str) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let word =
        |text: &str| -> String { text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect() };
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        let Some(list) = rest.strip_prefix('{') else {
            found.insert(word(rest));
            continue;
        };
        let (mut depth, mut start) = (0, true);
        for (at, c) in list.char_indices() {
            match c {
                '{' => depth += 1,
                '}' if depth == 0 => break,
                '}' => depth -= 1,
                ',' if depth == 0 => start = true,
                c if start && !c.is_whitespace() => {
                    found.insert(word(&list[at..]));
                    start = false;
                }
                _ => {}
            }
        }
    }
    found
}

#[test]
fn nothing_points_back_up() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host/src");
    let lib = fs::read_to_string(root.join("lib.rs")).unwrap();
    let order: Vec<&str> =
        lib.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';')).collect();
    let rank: BTreeMap<&str, usize> = order.iter().enumerate().map(|(at, name)| (*name, at)).collect();
    let mut files = Vec::new();
    sources(&root, &mut files);
    let (mut arrows, mut wrong) = (0, Vec::new());
    for file in &files {
        let relative = file.strip_prefix(&root).unwrap();
        if !is_used(relative) {
            continue;
        }
        let first = relative.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
        let module = first.trim_end_matches(".rs");
        let mine = rank[module];
        for used in used_modules(&code(&fs::read_to_string(file).unwrap())) {
            let Some(&theirs) = rank.get(used.as_str()) else { continue };
            arrows += usize::from(theirs != mine);
            if theirs > mine {
                wrong.push(format!("{} uses `{used}`, which stands after `{module}`", relative.display()));
            }
        }
    }
    println!("{} modules, {arrows} arrows, {} against the order", order.len(), wrong.len());
    assert!(arrows > 100, "the reader found next to nothing");
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn the_reader_sees_what_is_used() {
    let text = "use crate::{\n    board::{Board, Point},\n    plan,\n};\n// crate::never\nfn f() { crate::judge::judge() }\n\
                #[cfg(test)]\nmod tests { use crate::cli; }";
    let expected = ["board", "judge", "plan"].map(String::from);
    assert_eq!(used_modules(&code(text)), BTreeSet::from(expected));
}

/// A modelled bench that shared a table with what measures and judges would agree with it whatever the table says.
#[test]
fn the_modelled_bench_knows_nothing_of_measuring_and_judging() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../host/src");
    let mut files = Vec::new();
    sources(&root.join("virtual_bench"), &mut files);
    assert!(files.len() > 10, "{files:?}");
    let foreign = [
        "evidence",
        "fault",
        "finding",
        "judge",
        "machine",
        "measure",
        "measurement",
        "meter",
        "plan",
        "raw",
        "sweep",
        "verdict",
    ];
    for file in files {
        let code = code(&fs::read_to_string(&file).unwrap());
        let used = used_modules(&code);
        let wrong: Vec<&str> = foreign.into_iter().filter(|module| used.contains(*module)).collect();
        assert!(wrong.is_empty(), "{} uses {wrong:?}", file.display());
        assert!(!code.contains("board::expected") && !code.contains("wire::hardware"), "{}", file.display());
    }
}
