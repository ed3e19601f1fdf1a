//! The firmware's file and the emulator's package: both made once, by whichever test comes first.

use std::{
    fs::File,
    path::{Path, PathBuf},
    process::Command,
    sync::OnceLock,
};

/// The root of the repository.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ is inside the repository")
}

/// The firmware's file.
///
/// # Panics
/// If it does not build: nothing that follows would mean anything.
pub fn elf() -> &'static Path {
    &image().elf
}

/// The firmware as its own build script makes it.
#[derive(Debug)]
pub struct Image {
    /// For the emulator and for debuggers.
    pub elf: PathBuf,
    /// For the Pico's drive.
    pub uf2: PathBuf,
    /// Bytes of flash.
    pub flash: u32,
    /// Bytes of RAM that are taken all the time; the stack comes on top.
    pub static_ram: u32,
}

/// Builds the firmware, once.
///
/// # Panics
/// If it does not build.
pub fn image() -> &'static Image {
    static IMAGE: OnceLock<Image> = OnceLock::new();
    IMAGE.get_or_init(|| {
        let folder = root().join("firmware/pico");
        let _alone = lock("firmware-build");
        // The workspace that runs these tests must not leak its settings into the other one.
        let mut build = Command::new(folder.join("build"));
        for (name, _) in std::env::vars() {
            if name.starts_with("CARGO") && name != "CARGO_HOME" {
                build.env_remove(name);
            }
        }
        build.env_remove("RUSTFLAGS").env_remove("RUSTUP_TOOLCHAIN");
        let report = run(&mut build, "build the firmware");
        // "flash 46112 of 131072 bytes, static RAM 38068 of 65536 bytes"
        let numbers: Vec<u32> = report.split(' ').filter_map(|word| word.parse().ok()).collect();
        let [flash, _, static_ram, _] = numbers[..] else { panic!("no sizes in {report:?}") };
        let file = |name| folder.join("target").join(name);
        Image { elf: file("copperwalk-pico.elf"), uf2: file("copperwalk-pico.uf2"), flash, static_ram }
    })
}

/// The emulator's folder with its one package in place.
///
/// # Panics
/// If Node or npm is missing or the package cannot be had.
pub fn emulator() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let folder = root().join("tests/emulator");
        let installed = folder.join("node_modules/.package-lock.json");
        let wanted = folder.join("package-lock.json");
        let _alone = lock("emulator-package");
        let modified = |file: &Path| file.metadata().and_then(|data| data.modified()).ok();
        if modified(&installed) < modified(&wanted) {
            run(
                Command::new("npm").args(["ci", "--no-audit", "--no-fund"]).current_dir(&folder),
                "fetch the emulator (Node 20 and npm are needed)",
            );
        }
        folder
    })
}

/// Held while one test does what all need; test processes run side by side.
fn lock(name: &str) -> File {
    let file =
        File::create(std::env::temp_dir().join(format!("copperwalk-{name}.lock"))).expect("temp folder");
    file.lock().expect("lock");
    file
}

/// Runs a command that has to succeed; returns what it printed.
fn run(command: &mut Command, purpose: &str) -> String {
    let output = command.output().unwrap_or_else(|error| panic!("cannot {purpose}: {command:?}: {error}"));
    assert!(
        output.status.success(),
        "cannot {purpose}: {command:?}: {}\n{}{}",
        output.status,
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
    String::from_utf8_lossy(&output.stdout).into_owned()
}
