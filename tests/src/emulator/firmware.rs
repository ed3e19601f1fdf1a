//! The firmware's file and the emulator's package: both made once, by whichever test comes first.

use std::{
    fs::File,
    path::{Path, PathBuf},
    process::Command,
    sync::OnceLock,
};

/// The repository's root.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("tests/ is inside the repository")
}

/// The firmware as its own build script makes it.
///
/// # Panics
/// If it does not build: nothing that follows would mean anything.
pub fn elf() -> &'static Path {
    static ELF: OnceLock<PathBuf> = OnceLock::new();
    ELF.get_or_init(|| {
        let folder = root().join("firmware/pico");
        let _alone = lock("firmware-build");
        // The workspace that runs these tests must not leak its settings into the other one.
        let mut build = Command::new(folder.join("build"));
        for (name, _) in std::env::vars() {
            if name.starts_with("CARGO") && name != "CARGO_HOME" {
                build.env_remove(name);
            }
        }
        run(build.env_remove("RUSTFLAGS").env_remove("RUSTUP_TOOLCHAIN"), "build the firmware");
        folder.join("target/copperwalk-pico.elf")
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

fn run(command: &mut Command, purpose: &str) {
    let output = command.output().unwrap_or_else(|error| panic!("cannot {purpose}: {command:?}: {error}"));
    assert!(
        output.status.success(),
        "cannot {purpose}: {command:?}: {}\n{}{}",
        output.status,
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr),
    );
}
