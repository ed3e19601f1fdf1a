//! Boards of the fixtures' folder that are drawn and changed: each in a folder of its own, with `board.toml`, `fixture.toml` and, where
//! somebody took them, flattened photos.
//!
//! Nothing is half-written. A new board is put together beside its place and moved there whole. The files of a changed one are replaced as one
//! `set`, and only if they are still what was opened.

mod set;

use std::{
    fs, io,
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
};

use crate::{
    document::Sheet,
    draft::{BOARD, FIXTURE, PHOTOS, Photos, Texts, photo_file},
    hash,
    photograph::{MOST_SIDE_PX, PictureError, Seen, jpeg, oriented},
    visible::path as shown,
};

/// Boards of one folder.
const MOST: usize = 1_000;
/// Longest name of a board's folder.
const LONGEST_KEY: usize = 60;
/// Longest flattened photo that is read back, bytes.
const LONGEST_PHOTO: u64 = 8 << 20;
/// Quality of the JPEG that is kept, out of 100.
const QUALITY: u8 = 85;

/// One writes at a time, so that what was looked at is what is replaced.
static WRITING: Mutex<()> = Mutex::new(());

/// Why a board is not opened or saved.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // each says it
pub enum DraftsError {
    #[error(
        "there is no board {key:?} in the fixtures' folder: it needs {BOARD} and {FIXTURE} in a folder of that name"
    )]
    NoBoard { key: String },
    #[error("{0}")]
    Unreadable(String),
    #[error(
        "somebody changed {key} meanwhile, so that nothing was saved: open it again, and make your changes there"
    )]
    Changed { key: String },
    #[error("there is a board {key:?} already: give this one another name or revision")]
    Taken { key: String },
    #[error("the {side} photo is not kept: {error}")]
    Photo { side: &'static str, error: PictureError },
    #[error("{}: {error}; nothing was saved: see to the folder and its permissions", shown(path))]
    System { path: PathBuf, error: io::Error },
    #[error(
        "{}: {error}; the new files lie beside the old ones, and take their place when the board is opened again: see to the folder and its permissions",
        shown(path)
    )]
    Interrupted { path: PathBuf, error: io::Error },
}

/// A board as it lies in its folder.
#[derive(Clone, PartialEq, Debug)]
pub struct Kept {
    /// Both files.
    pub texts: Texts,
    /// Where its photos lie.
    pub photos: Photos,
    /// By which a change of any of it is seen.
    pub hash: String,
}

/// What is saved.
#[derive(Clone, Debug)]
pub struct Saving {
    /// Both files.
    pub texts: Texts,
    /// Where the photos lie, those too that were there before.
    pub photos: Photos,
    /// New photos, flattened: front and back.
    pub files: [Option<Vec<u8>>; 2],
}

/// Boards in folders of this one, by the names of their folders.
pub fn list(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
    let mut keys: Vec<String> = names
        .filter(|key| {
            is_key(key) && [BOARD, FIXTURE].iter().all(|file| folder.join(key).join(file).is_file())
        })
        .take(MOST)
        .collect();
    keys.sort();
    keys
}

/// Can it be the name of a folder, and of nothing else?
fn is_key(key: &str) -> bool {
    let fits = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    (1..=LONGEST_KEY).contains(&key.len()) && key.chars().all(fits) && !key.starts_with('.')
}

/// The folder of a board by what it is called.
pub fn key_of(name: &str, revision: &str) -> String {
    let words = format!("{name} {revision}").to_lowercase();
    let plain = words.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect::<String>();
    let parts: Vec<&str> = plain.split('-').filter(|part| !part.is_empty()).collect();
    let mut key: String = parts.join("-").chars().take(LONGEST_KEY).collect();
    if key.is_empty() {
        key = "board".into();
    }
    key
}

/// Reads a board.
///
/// # Errors
/// There is none, or it cannot be read.
pub fn read(folder: &Path, key: &str) -> Result<Kept, DraftsError> {
    let place = folder.join(key);
    if is_key(key) && set::is_interrupted(&place) {
        let _one = WRITING.lock().unwrap_or_else(PoisonError::into_inner);
        set::finish(&place).map_err(|error| DraftsError::System { path: place, error })?;
    }
    kept(folder, key)
}

/// Brings every saving to its end that a crash interrupted; what cannot be is told when its board is opened.
pub fn mend(folder: &Path) {
    let _one = WRITING.lock().unwrap_or_else(PoisonError::into_inner);
    for key in list(folder) {
        let _ = set::finish(&folder.join(key));
    }
}

/// A board as it lies there.
fn kept(folder: &Path, key: &str) -> Result<Kept, DraftsError> {
    let place = folder.join(key);
    if !is_key(key) || ![BOARD, FIXTURE].iter().all(|file| place.join(file).exists()) {
        return Err(DraftsError::NoBoard { key: key.to_owned() });
    }
    let text = |file: &str| {
        let sheet = Sheet::open(&place.join(file));
        sheet
            .map(|sheet| sheet.text().to_owned())
            .map_err(|problems| DraftsError::Unreadable(problems.to_string()))
    };
    let texts = Texts { board: text(BOARD)?, fixture: text(FIXTURE)? };
    let of_photos = if place.join(PHOTOS).is_file() { text(PHOTOS)? } else { String::new() };
    let mut photos = Photos::parse(&of_photos);
    if !place.join(photo_file(Seen::Front)).is_file() {
        photos.front = None;
    }
    if !place.join(photo_file(Seen::Back)).is_file() {
        photos.back = None;
    }
    let hash = hash::of([&texts.board, &texts.fixture, &of_photos].map(hash::of).join("\n"));
    Ok(Kept { texts, photos, hash })
}

/// The photo of a side; `None` where there is none.
///
/// # Errors
/// As [`read`].
pub fn photo(folder: &Path, key: &str, side: Seen) -> Result<Option<Vec<u8>>, DraftsError> {
    if read(folder, key)?.photos.of(side).is_none() {
        return Ok(None);
    }
    let path = folder.join(key).join(photo_file(side));
    let read = fs::metadata(&path).and_then(|data| match data.len() {
        0..=LONGEST_PHOTO => fs::read(&path).map(Some),
        _ => Ok(None),
    });
    read.map_err(|error| DraftsError::System { path, error })
}

/// Saves a new board; gives the name of its folder.
///
/// # Errors
/// There is one already, or it cannot be written.
pub fn create(folder: &Path, key: &str, saving: Saving) -> Result<(), DraftsError> {
    let files = files(saving)?;
    let _one = WRITING.lock().unwrap_or_else(PoisonError::into_inner);
    let place = folder.join(key);
    if !is_key(key) || fs::symlink_metadata(&place).is_ok() {
        return Err(DraftsError::Taken { key: key.to_owned() });
    }
    let write = || {
        let mut builder = tempfile::Builder::new();
        builder.prefix(".copperwalk-");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o777)); // less what the umask takes
        let beside = builder.tempdir_in(folder)?;
        for (name, content) in &files {
            set::write(&beside.path().join(name), content)?;
        }
        set::to_disk(beside.path())?;
        // Until it is renamed, whatever breaks takes it away again.
        fs::rename(beside.path(), &place)?;
        let _ = beside.keep();
        set::to_disk(folder)
    };
    write().map_err(|error| DraftsError::System { path: place.clone(), error })
}

/// Saves a board that was opened when its hash was `opened`.
///
/// # Errors
/// It has been changed since, or it cannot be written.
pub fn replace(folder: &Path, key: &str, opened: &str, saving: Saving) -> Result<(), DraftsError> {
    let files = files(saving)?;
    let _one = WRITING.lock().unwrap_or_else(PoisonError::into_inner);
    let place = folder.join(key);
    if is_key(key) {
        set::finish(&place).map_err(|error| DraftsError::System { path: place.clone(), error })?;
    }
    if kept(folder, key)?.hash != opened {
        return Err(DraftsError::Changed { key: key.to_owned() });
    }
    set::replace(&place, &files).map_err(|error| match set::is_interrupted(&place) {
        true => DraftsError::Interrupted { path: place, error },
        false => DraftsError::System { path: place, error },
    })
}

/// Every file of a board with its content. A photo is encoded anew, so that nothing of what was sent but its picture is kept.
fn files(saving: Saving) -> Result<Vec<(&'static str, Vec<u8>)>, DraftsError> {
    let mut files = Vec::new();
    let sides = [(Seen::Front, "front"), (Seen::Back, "back")];
    for ((side, word), file) in sides.into_iter().zip(saving.files) {
        let Some(file) = file else { continue };
        let encoded = oriented(&file).and_then(|picture| {
            let picture = image::DynamicImage::from(picture);
            let is_large = picture.width().max(picture.height()) > MOST_SIDE_PX;
            jpeg(&if is_large { picture.thumbnail(MOST_SIDE_PX, MOST_SIDE_PX) } else { picture }, QUALITY)
        });
        files.push((photo_file(side), encoded.map_err(|error| DraftsError::Photo { side: word, error })?));
    }
    if saving.photos != Photos::default() {
        files.push((PHOTOS, saving.photos.text().into_bytes()));
    }
    files.push((BOARD, saving.texts.board.into_bytes()));
    // What is looked for comes last.
    files.push((FIXTURE, saving.texts.fixture.into_bytes()));
    Ok(files)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::examples::TIDE_GAUGE_HEAD;

    fn saving() -> Saving {
        let texts = Texts { board: TIDE_GAUGE_HEAD.board.into(), fixture: TIDE_GAUGE_HEAD.fixture.into() };
        Saving { texts, photos: Photos::default(), files: [None, None] }
    }

    #[test]
    fn a_board_is_saved_whole_read_again_and_never_over_a_change() {
        let folder = tempfile::tempdir().unwrap();
        create(folder.path(), "gauge-a", saving()).unwrap();
        assert_eq!(list(folder.path()), ["gauge-a"]);
        let kept = read(folder.path(), "gauge-a").unwrap();
        assert_eq!(kept.texts, saving().texts);
        assert!(matches!(create(folder.path(), "gauge-a", saving()), Err(DraftsError::Taken { .. })));
        let mut changed = saving();
        changed.texts.board.push_str("# Measured again.\n");
        let picture = jpeg(&image::RgbImage::new(40, 30).into(), 80).unwrap();
        changed.files = [Some(picture), None];
        changed.photos.front = Some(crate::photograph::Window { low: [0.0, 0.0], high: [40.0, 30.0] });
        replace(folder.path(), "gauge-a", &kept.hash, changed.clone()).unwrap();
        let again = read(folder.path(), "gauge-a").unwrap();
        assert_eq!((again.texts, again.photos), (changed.texts, changed.photos));
        assert!(photo(folder.path(), "gauge-a", Seen::Front).unwrap().is_some());
        assert!(photo(folder.path(), "gauge-a", Seen::Back).unwrap().is_none());
        // Whoever had opened it before saves nothing.
        let late = replace(folder.path(), "gauge-a", &kept.hash, saving());
        assert!(matches!(late, Err(DraftsError::Changed { .. })));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
        assert_eq!(fs::read_dir(folder.path().join("gauge-a")).unwrap().count(), 4);
    }

    #[test]
    fn a_saving_that_a_crash_interrupted_is_brought_to_its_end() {
        for by_opening in [true, false] {
            let folder = tempfile::tempdir().unwrap();
            create(folder.path(), "gauge-a", saving()).unwrap();
            let place = folder.path().join("gauge-a");
            // Both new files and the list were written; then the board file alone was renamed.
            let new = [(BOARD, "# 1\n"), (FIXTURE, "# 2\n")]
                .map(|(name, line)| (name, fs::read_to_string(place.join(name)).unwrap() + line));
            fs::write(place.join(BOARD), &new[0].1).unwrap();
            fs::write(place.join(".copperwalk-b"), &new[1].1).unwrap();
            let list = format!(".copperwalk-a\t{BOARD}\n.copperwalk-b\t{FIXTURE}\n");
            fs::write(place.join(".copperwalk-saving"), list).unwrap();
            if !by_opening {
                mend(folder.path());
                assert_eq!(fs::read_to_string(place.join(FIXTURE)).unwrap(), new[1].1);
            }
            let kept = read(folder.path(), "gauge-a").unwrap();
            assert_eq!([kept.texts.board, kept.texts.fixture], new.map(|(_, text)| text));
            assert_eq!(fs::read_dir(&place).unwrap().count(), 2);
        }
    }

    #[test]
    fn a_broken_photo_leaves_everything_as_it_was() {
        let folder = tempfile::tempdir().unwrap();
        let broken = Saving { files: [Some(b"no picture".to_vec()), None], ..saving() };
        assert!(matches!(create(folder.path(), "gauge", broken.clone()), Err(DraftsError::Photo { .. })));
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
        create(folder.path(), "gauge", saving()).unwrap();
        let hash = read(folder.path(), "gauge").unwrap().hash;
        assert!(replace(folder.path(), "gauge", &hash, broken).is_err());
        assert_eq!(read(folder.path(), "gauge").unwrap().hash, hash);
    }

    #[test]
    fn no_name_leads_out_of_the_folder() {
        let folder = tempfile::tempdir().unwrap();
        for key in ["..", "../gauge", "a/b", "", ".hidden", &"x".repeat(61)] {
            assert!(matches!(read(folder.path(), key), Err(DraftsError::NoBoard { .. })), "{key}");
            assert!(matches!(create(folder.path(), key, saving()), Err(DraftsError::Taken { .. })), "{key}");
        }
        assert_eq!(key_of("Größe / µ-Punkt", "A 2"), "gr-e-punkt-a-2");
        assert_eq!(key_of("№", ""), "board");
        assert!(is_key(&key_of(&"long name ".repeat(20), "B")));
    }
}
