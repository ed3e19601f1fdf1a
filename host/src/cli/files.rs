//! `copperwalk files --out DIR`: what belongs beside the program once it is installed: manual pages, completions for shells, the
//! rule that gives the controller's port to whoever sits at the computer, and a service.

use std::{
    fs,
    path::{Path, PathBuf},
};

use clap::CommandFactory;
use clap_complete::Shell;

use super::{Args as Program, Failure, Status, manual, output::Output};

#[derive(clap::Args)]
pub struct Args {
    /// The folder they are written to; made if it is not there.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

/// Files of the project itself: folder, name, content.
const PLAIN: [(&str, &str, &str); 2] = [
    ("udev", "60-copperwalk.rules", include_str!("../../dist/60-copperwalk.rules")),
    ("systemd", "copperwalk.service", include_str!("../../dist/copperwalk.service")),
];

/// Shells with completions.
const SHELLS: [Shell; 4] = [Shell::Bash, Shell::Zsh, Shell::Fish, Shell::PowerShell];

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let out = args.out.as_path();
    for (folder, name, content) in PLAIN {
        write(out, folder, name, content.as_bytes())?;
    }
    let mut program = Program::command();
    for shell in SHELLS {
        let mut script = Vec::new();
        clap_complete::generate(shell, &mut program, "copperwalk", &mut script);
        let name = match shell {
            Shell::Zsh => "_copperwalk".to_owned(),
            Shell::Bash => "copperwalk".to_owned(),
            Shell::Fish => "copperwalk.fish".to_owned(),
            other => format!("copperwalk.{other}"),
        };
        write(out, &format!("completions/{shell}"), &name, &script)?;
    }
    for (name, page) in manual::pages(&Program::command())? {
        write(out, "man", &name, &page)?;
    }
    output.text(&format!("written to {}", crate::visible::path(out)))?;
    Ok(Status::Pass)
}

/// These files are made anew each time; whatever has their names in this folder is replaced.
fn write(out: &Path, folder: &str, name: &str, content: &[u8]) -> Result<(), Failure> {
    let folder = out.join(folder);
    let path = folder.join(name);
    fs::create_dir_all(&folder)
        .and_then(|()| fs::write(&path, content))
        .map_err(|error| Failure::Write { path, error })
}
