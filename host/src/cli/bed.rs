//! `copperwalk bed FIXTURE|BOARD`: proposes pins, sides and channels, and writes the fixture file and what it takes to make the bed.

use std::fs;
use std::path::{Path, PathBuf};

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    folder::Folder,
    output::Output,
    paper::paper,
};
use crate::{
    bed::{self, Bed, Families, Start, files, plate::plates, text},
    board::{self, Board},
    check,
    document::Sheet,
    fixture,
    report::{bed::bed_sheet, json, pdf, pdf::Paper, terminal},
    visible::path as shown,
};

#[derive(clap::Args)]
pub struct Args {
    /// The fixture file whose pins are kept, or a board file for a new bed on 16 force and 48 sense channels.
    #[arg(value_name = "FIXTURE|BOARD")]
    file: PathBuf,
    /// Sizes of the pins in the drawer. Without it: common sizes for 100, 75 and 50 mil.
    #[arg(long, value_name = "FILE")]
    pins: Option<PathBuf>,
    /// Write the fixture file with all pins.
    #[arg(short, long, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Write what it takes to make the bed into a new folder: drill files, drawings at 1:1, shapes to print, lists.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Paper of the sheets in DIR.
    #[arg(long, value_parser = paper(), default_value = "a4", requires = "out")]
    paper: Paper,
    /// Replace a fixture file, or a folder that this command made.
    #[arg(long)]
    force: bool,
    /// One JSON object instead of text.
    #[arg(long)]
    json: bool,
}

/// What a bed is made for, and the files it came from.
struct Input {
    board: Board,
    start: Start,
    /// The fixture file's text, if it is one.
    fixture: Option<String>,
}

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let families = args.pins.as_deref().map_or_else(|| Ok(Families::generic()), Families::read)?;
    let place =
        args.output.as_deref().map(|path| Place::new(path, Kind::Fixture, args.force, None)).transpose()?;
    let folder = args.out.as_deref().map(|path| Folder::new(path, args.force)).transpose()?;
    let from = read(&args.file)?;
    let bed = bed::propose(&from.board, from.start.clone(), families)?;
    let plates = plates(&bed, &from.board)?;
    if let (Some(place), Some(path)) = (&place, &args.output) {
        let text = fixture_text(&from, &bed, &args.file, |name| seen_from(path, &args.file, name))?;
        place.write(text)?;
    }
    if let Some(folder) = &folder {
        let text = fixture_text(&from, &bed, &args.file, file_name)?;
        let mut written = files::all(&bed, &plates, &from.board, FIXTURE)?;
        written.push(("sheets.pdf".into(), pdf::bed(&bed, &plates, &from.board, FIXTURE, args.paper)));
        written.push((FIXTURE.into(), text.into_bytes()));
        written.extend(companions(&from, &args.file)?);
        folder.write(&written, |path| fixture::read(&path.join(FIXTURE)).map(drop).map_err(Failure::from))?;
    }
    let sheet = bed_sheet(&bed, &from.board);
    let said = if args.json {
        json::object(&sheet).map_err(|error| Failure::Output(error.into()))?
    } else {
        let mut said = terminal::bed(&sheet, output.screen());
        for path in [&args.output, &args.out].into_iter().flatten() {
            said.push_str(&format!("\nwritten: {}", shown(path)));
        }
        said
    };
    output.text(&said)?;
    Ok(Status::Pass)
}

/// Name of the fixture file in the folder.
const FIXTURE: &str = "fixture.toml";

fn read(path: &Path) -> Result<Input, Failure> {
    let sheet = Sheet::open(path)?;
    match check::kind(&sheet) {
        Ok(check::Kind::Board) => {
            let board = board::read(path)?;
            Ok(Input { start: Start::new(&board), board, fixture: None })
        }
        Ok(check::Kind::Fixture) => {
            let fixture = fixture::read(path)?;
            Ok(Input {
                start: Start::of(&fixture),
                board: fixture.board,
                fixture: Some(sheet.text().to_owned()),
            })
        }
        Err(_) => Err(sheet.into_problems().into()),
    }
}

/// The fixture file; `place` says how it is to call a file that stands beside the one read.
fn fixture_text(
    from: &Input,
    bed: &Bed,
    path: &Path,
    place: impl Fn(&str) -> String,
) -> Result<String, Failure> {
    let Some(source) = &from.fixture else {
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        return Ok(text::whole(bed, &from.board, &place(&name)));
    };
    let mut anew = text::with_new_pins(source, bed, &from.board)
        .ok_or_else(|| Failure::NoPinsTable { path: path.into() })?;
    for key in REFERENCES {
        if let Some(name) = text::reference(source, key) {
            anew = text::with_reference(&anew, key, &place(&name));
        }
    }
    Ok(anew)
}

/// Keys of `[fixture]` that name other files.
const REFERENCES: [&str; 2] = ["board", "limits"];

/// The files that a fixture file names, to stand beside it in the folder.
fn companions(from: &Input, path: &Path) -> Result<Vec<files::Written>, Failure> {
    let Some(source) = &from.fixture else {
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        return Ok(vec![(name, from.board.source.clone().into_bytes())]);
    };
    let names = REFERENCES.into_iter().filter_map(|key| text::reference(source, key));
    let read = |name: String| {
        let path = path.with_file_name(&name);
        let content = fs::read(&path).map_err(|error| Failure::Read { path, error })?;
        Ok((file_name(&name), content))
    };
    names.map(read).collect()
}

/// The last part of a path.
fn file_name(name: &str) -> String {
    Path::new(name).file_name().map_or(name.to_owned(), |last| last.to_string_lossy().into_owned())
}

/// How a file that is named beside `read` is called from a file at `written`: as it is in the same folder, else by its whole path.
fn seen_from(written: &Path, read: &Path, name: &str) -> String {
    let folder = |path: &Path| {
        let path = std::path::absolute(path).ok()?;
        fs::canonicalize(path.parent()?).ok()
    };
    let (there, here) = (folder(written), folder(read));
    match here {
        Some(here) if there.as_ref() != Some(&here) => here.join(name).to_string_lossy().into_owned(),
        _ => name.to_owned(),
    }
}
