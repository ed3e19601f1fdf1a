//! What a release is made of, without building one: the script's parts are there, and every licence has its text.
#![cfg(target_os = "linux")]

use std::{fs, path::Path, process::Command};

use copperwalk_tests::program::program;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

fn script() -> String {
    fs::read_to_string(format!("{ROOT}/host/dist/release")).unwrap()
}

#[test]
fn the_script_takes_only_files_that_the_program_writes() {
    let folder = tempfile::tempdir().unwrap();
    let written = Command::new(program()).args(["files", "--out"]).arg(folder.path()).output().unwrap();
    assert!(written.status.success());
    let script = script();
    let taken: Vec<&str> = script
        .split("target/installed-files/")
        .skip(1)
        .map(|rest| rest.split([' ', '*', ';', '\n']).next().unwrap())
        .collect();
    assert!(taken.len() >= 6, "{taken:?}");
    for path in taken {
        assert!(folder.path().join(path).exists(), "{path}");
    }
    let parses = Command::new("bash").args(["-n", "host/dist/release"]).current_dir(ROOT).status().unwrap();
    assert!(parses.success());
    assert!(Path::new(ROOT).join("host/dist/licences").is_file());
}

#[test]
fn bash_completes_commands_options_and_values() {
    let folder = tempfile::tempdir().unwrap();
    assert!(
        Command::new(program())
            .args(["files", "--out"])
            .arg(folder.path())
            .output()
            .unwrap()
            .status
            .success()
    );
    let complete = "source completions/bash/copperwalk\n\
        COMP_WORDS=(\"$@\"); COMP_CWORD=$(($# - 1)); \n\
        _copperwalk copperwalk \"${COMP_WORDS[COMP_CWORD]}\" \"${COMP_WORDS[COMP_CWORD - 1]}\"; printf '%s\\n' \"${COMPREPLY[@]}\"";
    for (typed, offered) in [
        (&["copperwalk", "swe"][..], "sweep"),
        (&["copperwalk", "sweep", "--ser"], "--serial"),
        (&["copperwalk", "status", "A-1", "in"], "in-repair"),
        (&["copperwalk", "records", "sa"], "save"),
    ] {
        let ran = Command::new("bash")
            .args(["-c", complete, "bash"])
            .args(typed)
            .current_dir(&folder)
            .output()
            .unwrap();
        assert_eq!(String::from_utf8_lossy(&ran.stdout).trim(), offered, "{typed:?}: {ran:?}");
    }
}

#[test]
fn everything_that_is_built_in_has_its_licence() {
    let ran = Command::new("host/dist/licences").current_dir(ROOT).output().unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stderr));
    let text = String::from_utf8(ran.stdout).unwrap();
    for part in ["hyper ", "rp2040-pac ", "DejaVu Sans Condensed", "serialport ", "Mozilla Public License"] {
        assert!(text.contains(part), "{part}");
    }
}
