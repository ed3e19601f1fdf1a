//! What the project depends on keeps to `deny.toml`, and asks for no newer Rust than the project does. Everything comes from
//! `cargo metadata`, so that nothing has to be installed or fetched for it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::process::Command;

use serde_json::Value;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

/// Every package of the workspace's lock file.
fn packages() -> Vec<Value> {
    let ran = Command::new(env!("CARGO"))
        .args(["metadata", "--locked", "--format-version", "1"])
        .current_dir(ROOT)
        .output()
        .unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let metadata: Value = serde_json::from_slice(&ran.stdout).unwrap();
    metadata["packages"].as_array().unwrap().clone()
}

fn rules() -> toml::Table {
    fs::read_to_string(format!("{ROOT}/deny.toml")).unwrap().parse().unwrap()
}

fn words(list: &toml::Value) -> BTreeSet<&str> {
    list.as_array().unwrap().iter().map(|word| word.as_str().unwrap()).collect()
}

fn name(package: &Value) -> &str {
    package["name"].as_str().unwrap()
}

/// Can an SPDX expression be met with these licences? `AND` binds closer than `OR`; `/` is an old way to write `OR`.
fn met(expression: &str, allowed: &BTreeSet<&str>) -> bool {
    let flat = expression.replace('/', " OR ");
    let (mut open, mut parts, mut part) = (0, Vec::new(), String::new());
    for word in flat.replace('(', " ( ").replace(')', " ) ").split_whitespace() {
        open += i32::from(word == "(") - i32::from(word == ")");
        if open == 0 && word == "OR" {
            parts.push(std::mem::take(&mut part));
        } else {
            part = format!("{part} {word}").trim().to_owned();
        }
    }
    parts.push(part);
    if parts.len() > 1 {
        return parts.iter().any(|part| met(part, allowed));
    }
    // No `OR` outside brackets: every term must be met, one in brackets by what is inside.
    let mut rest = parts[0].as_str();
    while !rest.is_empty() {
        let (term, after) = match rest.strip_prefix("( ") {
            Some(inner) => {
                let end = inner.rfind(" )").unwrap();
                (met(&inner[..end], allowed), &inner[end + 2..])
            }
            None => {
                let end = rest.find(" AND ").unwrap_or(rest.len());
                (allowed.contains(&rest[..end]), &rest[end..])
            }
        };
        if !term {
            return false;
        }
        rest = after.trim_start().trim_start_matches("AND ").trim_start();
    }
    true
}

#[test]
fn licence_expressions_are_read_as_they_are_meant() {
    let allowed = ["MIT", "Unicode-3.0"].into();
    for (expression, meets) in [
        ("MIT", true),
        ("GPL-3.0-only", false),
        ("MIT OR GPL-3.0-only", true),
        ("GPL-3.0-only/MIT", true),
        ("MIT AND GPL-3.0-only", false),
        ("(MIT OR Apache-2.0) AND Unicode-3.0", true),
        ("(GPL-3.0-only OR Apache-2.0) AND Unicode-3.0", false),
        ("(MIT OR Apache-2.0) AND GPL-3.0-only", false),
        ("Apache-2.0 WITH LLVM-exception", false),
    ] {
        assert_eq!(met(expression, &allowed), meets, "{expression}");
    }
}

#[test]
fn every_licence_is_allowed_or_excepted_with_a_reason() {
    let rules = rules();
    let allowed = words(&rules["licenses"]["allow"]);
    let excepted: BTreeMap<_, _> = rules["licenses"]["exceptions"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| (entry["crate"].as_str().unwrap(), words(&entry["allow"])))
        .collect();
    let packages = packages();
    let mut needed = BTreeSet::new();
    for package in &packages {
        let licence = package["license"].as_str().unwrap_or("none");
        if !met(licence, &allowed) {
            let exception = excepted.get(name(package));
            assert!(exception.is_some_and(|more| met(licence, more)), "{}: {licence}", name(package));
            needed.insert(name(package));
        }
    }
    assert_eq!(needed, excepted.into_keys().collect(), "an exception that nothing needs goes");
}

#[test]
fn everything_comes_from_the_one_registry() {
    let rules = rules();
    let allowed = words(&rules["sources"]["allow-registry"]);
    for package in packages() {
        let Some(source) = package["source"].as_str() else { continue }; // of this workspace
        let registry = source.strip_prefix("registry+").unwrap_or(source);
        assert!(allowed.contains(registry), "{} comes from {source}", name(&package));
    }
}

#[test]
fn a_crate_that_is_there_twice_has_a_reason() {
    let mut versions = BTreeMap::<String, BTreeSet<String>>::new();
    for package in packages() {
        versions.entry(name(&package).to_owned()).or_default().insert(package["version"].to_string());
    }
    let twice: BTreeSet<_> =
        versions.iter().filter(|(_, versions)| versions.len() > 1).map(|(name, _)| name.as_str()).collect();
    let rules = rules();
    let skipped: BTreeMap<_, _> = rules["bans"]["skip"]
        .as_array()
        .unwrap()
        .iter()
        .map(|entry| (entry["crate"].as_str().unwrap(), entry["reason"].as_str().unwrap()))
        .collect();
    assert!(skipped.values().all(|reason| reason.len() > 10));
    assert_eq!(twice, skipped.into_keys().collect(), "left: there twice; right: with a reason in deny.toml");
}

/// The least Rust of the project is no older than what any dependency asks for.
#[test]
fn no_dependency_asks_for_a_newer_rust() {
    let version = |text: &str| text.split('.').map(|part| part.parse().unwrap()).collect::<Vec<u32>>();
    let manifest: toml::Table = fs::read_to_string(format!("{ROOT}/Cargo.toml")).unwrap().parse().unwrap();
    let ours = version(manifest["workspace"]["package"]["rust-version"].as_str().unwrap());
    let packages = packages();
    let asking: Vec<_> =
        packages.iter().filter_map(|p| Some((name(p), p["rust_version"].as_str()?))).collect();
    assert!(asking.len() > 50, "most crates say what they need");
    for (name, theirs) in asking {
        let mut theirs = version(theirs);
        theirs.truncate(ours.len()); // a patch release changes no language
        assert!(theirs <= ours, "{name} asks for Rust {theirs:?}, the project for {ours:?}");
    }
}
