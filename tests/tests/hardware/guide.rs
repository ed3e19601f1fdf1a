//! The guide under `docs/` against the program: every message that the host can print is explained, every link leads
//! somewhere.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failed expectation in a test is the message")]

use super::support::bench;

use std::{collections::BTreeSet, fs, path::Path};

/// Files whose sentences reach a person although they are not error types.
const SPEAKING: [&str; 5] = [
    "host/src/cli/bench.rs",
    "host/src/judge/bench.rs",
    "host/src/link/discover.rs",
    "host/src/link/serial.rs",
    "host/src/link/words.rs",
];

/// String literals of Rust source before its unit tests, with line continuations joined; comments are left out.
fn literals(source: &str) -> Vec<String> {
    let code = source.split("#[cfg(test)]").next().unwrap();
    let mut found = Vec::new();
    let mut letters = code.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '/' if letters.peek() == Some(&'/') => drop(letters.by_ref().find(|&c| c == '\n')),
            // A character, or a lifetime.
            '\'' if letters.next() == Some('\\') => drop(letters.by_ref().find(|&c| c == '\'')),
            '"' => {
                let mut text = String::new();
                while let Some(inner) = letters.next() {
                    match inner {
                        '"' => break,
                        '\\' => match letters.next() {
                            Some('\n') => while letters.next_if(|c| c.is_whitespace()).is_some() {},
                            Some('n') => text.push(' '),
                            Some(escaped) => text.push(escaped),
                            None => break,
                        },
                        other => text.push(other),
                    }
                }
                found.push(text);
            }
            _ => {}
        }
    }
    found
}

/// The longest stretch of a message that is the same in every print of it.
fn fixed(message: &str) -> &str {
    let mut best = "";
    for part in message.split('{').flat_map(|part| part.split('}').next_back()) {
        if part.trim().len() > best.len() {
            best = part.trim();
        }
    }
    best
}

fn sources(folder: &Path, into: &mut Vec<std::path::PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            if path.file_name().is_some_and(|name| name != "tests") {
                sources(&path, into);
            }
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            into.push(path);
        }
    }
}

#[test]
fn every_message_of_the_host_is_explained() {
    let guide: String =
        bench::read("docs/when-something-is-wrong.md").split_whitespace().collect::<Vec<_>>().join(" ");
    for speaking in SPEAKING {
        assert!(
            bench::file(speaking).is_file(),
            "{speaking} is gone: name the file that speaks in its stead"
        );
    }
    let mut messages = BTreeSet::new();
    let mut files = Vec::new();
    sources(&bench::file("host/src"), &mut files);
    for file in files {
        let source = fs::read_to_string(&file).unwrap();
        // Errors as `thiserror` spells them: the literals between `#[error(` and the end of the attribute.
        for attribute in source.split("#[error(").skip(1) {
            messages.extend(literals(attribute.split(")]\n").next().unwrap()));
        }
        if SPEAKING.iter().any(|speaking| file.ends_with(speaking.trim_start_matches("host/"))) {
            messages.extend(literals(&source));
        }
    }
    let sentences: Vec<&str> = messages
        .iter()
        .map(|message| fixed(message))
        .filter(|part| part.len() >= 12 && !part.starts_with('/'))
        .collect();
    assert!(sentences.len() > 40, "the scan finds the messages: {sentences:#?}");
    let missing: Vec<&&str> = sentences.iter().filter(|&&sentence| !guide.contains(sentence)).collect();
    assert!(missing.is_empty(), "docs/when-something-is-wrong.md does not explain: {missing:#?}");
}

#[test]
fn every_link_leads_somewhere() {
    for entry in fs::read_dir(bench::file("docs")).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            continue; // pictures
        }
        let page = fs::read_to_string(&path).unwrap();
        for target in page.split("](").skip(1).map(|rest| rest.split(')').next().unwrap()) {
            let (file, anchor) = target.split_once('#').unwrap_or((target, ""));
            let to = if file.is_empty() { path.clone() } else { path.parent().unwrap().join(file) };
            assert!(to.exists(), "{}: no {target}", path.display());
            if !anchor.is_empty() {
                let headings = fs::read_to_string(&to).unwrap();
                let slug = |line: &str| {
                    let words = line.trim_start_matches('#').trim().to_lowercase().replace(' ', "-");
                    words.chars().filter(|c| c.is_alphanumeric() || "-_".contains(*c)).collect::<String>()
                };
                assert!(
                    headings.lines().filter(|line| line.starts_with('#')).any(|line| slug(line) == anchor),
                    "{}: no heading for {target}",
                    path.display()
                );
            }
        }
    }
}
