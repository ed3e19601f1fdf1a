//! `copperwalk photo`: a photo of a unit, kept with its history.

use std::{
    fs::{self, File},
    io::Read,
    path::{Path, PathBuf},
};

use super::{Failure, Status, output::Output, records};
use crate::{
    plain_file::not_plain,
    records::{self as store, INPUT_BYTES, PictureError, now_us, text},
};

#[derive(clap::Args)]
pub struct Args {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// The photo: a JPEG or a PNG file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// What it shows.
    #[arg(long, value_name = "TEXT", default_value = "")]
    caption: String,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let file = read(&args.file)?;
    let id = records::open(store)?.photo(&serial, now_us(), &args.caption, file)?;
    output.text(&format!("kept as photo {id}"))?;
    Ok(Status::Pass)
}

/// A plain file that is no longer than a photo may be.
fn read(path: &Path) -> Result<Vec<u8>, Failure> {
    let unreadable = |error| Failure::Read { path: path.into(), error };
    let about = fs::metadata(path).map_err(unreadable)?;
    if let Some(what) = not_plain(about.file_type()) {
        return Err(Failure::NotPlain { path: path.into(), what });
    }
    let too_long = |length: u64| {
        let length = usize::try_from(length).unwrap_or(usize::MAX);
        Failure::Store(store::Error::Picture(PictureError::TooLong { length }))
    };
    let longest = INPUT_BYTES as u64;
    if about.len() > longest {
        return Err(too_long(about.len()));
    }
    let mut bytes = Vec::new();
    // A file may grow while it is read; the store refuses what is too long by then.
    File::open(path).and_then(|file| file.take(longest + 1).read_to_end(&mut bytes)).map_err(unreadable)?;
    Ok(bytes)
}
