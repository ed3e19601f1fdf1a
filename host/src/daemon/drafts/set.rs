//! Several files of a folder, replaced as one: after a crash at any moment there is the old set or the new one.
//!
//! A file system renames one file at a time, so a list makes the set whole. First every new file is written beside its place and
//! brought to the disk; then the [`LIST`] of which is to replace which is put there by one rename: from then on the new set counts. Then the files
//! are renamed one after the other and the list is taken away. Whoever comes upon a list [`finish`]es it: what was renamed already is gone from
//! beside its place, and the rest follows.
//!
//! What remains: a reader that does not know the list, such as a text editor, may see the first of the new files beside the last of the old ones
//! between two renames, or after a crash until a daemon opens the folder; so the fixture file, which is looked for and names the board, comes last.
//! Two daemons that save the same board in the same instant are not kept apart by it. After a crash before the list, hidden files named
//! `.copperwalk-…` may stay in the folder; they do no harm. A disk that says it has written and has not defeats it.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Component, Path};

/// The list of what is being replaced, one line each: the new file's name, a tab, the name it is to have.
const LIST: &str = ".copperwalk-saving";
/// New files beside their places begin so.
const BESIDE: &str = ".copperwalk-";
/// Longest list, bytes: some lines of two names.
const LONGEST: u64 = 4096;

/// Writes these files, by name and content, in the place of those of these names; in this order.
///
/// # Errors
/// The folder does not let it. Before the list stands nothing has changed; after that what is left is [`finish`]ed by whoever comes next.
pub fn replace(folder: &Path, files: &[(&'static str, Vec<u8>)]) -> io::Result<()> {
    finish(folder)?;
    let mut written = Vec::with_capacity(files.len());
    let mut list = String::new();
    for (name, content) in files {
        let file = beside(folder, content)?;
        let own =
            file.path().file_name().and_then(|own| own.to_str()).ok_or(io::ErrorKind::InvalidFilename)?;
        list += &format!("{own}\t{name}\n");
        written.push(file.into_temp_path());
    }
    let list = beside(folder, list.as_bytes())?;
    // The files' own names have to be on the disk before the list that names them.
    to_disk(folder)?;
    list.persist(folder.join(LIST))?;
    // From here on nothing takes them away again.
    for file in written {
        file.keep()?;
    }
    to_disk(folder)?;
    finish(folder).map(drop)
}

/// Brings a replacement to its end that was interrupted; was there one? Others may not do the same at the same time.
///
/// # Errors
/// The folder does not let it, or what lies there is no list of ours.
pub fn finish(folder: &Path) -> io::Result<bool> {
    let path = folder.join(LIST);
    let text = match fs::symlink_metadata(&path) {
        Ok(data) if data.is_file() && data.len() <= LONGEST => fs::read_to_string(&path)?,
        Ok(_) => return Err(foreign()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(false),
        Err(error) => return Err(error),
    };
    let pairs: Option<Vec<(&str, &str)>> = text
        .lines()
        .map(|line| {
            line.split_once('\t')
                .filter(|(new, name)| new.starts_with(BESIDE) && is_name(new) && is_name(name))
        })
        .collect();
    for (new, name) in pairs.ok_or_else(foreign)? {
        match fs::rename(folder.join(new), folder.join(name)) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
    }
    to_disk(folder)?;
    fs::remove_file(&path)?;
    Ok(true)
}

/// Was a replacement interrupted here?
pub fn is_interrupted(folder: &Path) -> bool {
    fs::symlink_metadata(folder.join(LIST)).is_ok()
}

/// Writes a file and brings it to the disk.
///
/// # Errors
/// The folder does not let it.
pub fn write(path: &Path, content: &[u8]) -> io::Result<()> {
    let mut file = File::create(path)?;
    file.write_all(content)?;
    file.sync_all()
}

/// Brings a folder's names to the disk.
///
/// # Errors
/// The system does not let it.
pub fn to_disk(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

/// A file under a name nobody can guess, taken away again unless it is kept.
fn beside(folder: &Path, content: &[u8]) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(BESIDE);
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666)); // less what the umask takes
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(content)?;
    file.as_file().sync_all()?;
    Ok(file)
}

/// Is it the name of something in a folder, and leads nowhere else?
fn is_name(name: &str) -> bool {
    let mut parts = Path::new(name).components();
    matches!((parts.next(), parts.next()), (Some(Component::Normal(only)), None) if only == name)
}

fn foreign() -> io::Error {
    io::Error::new(
        io::ErrorKind::InvalidData,
        format!("the file {LIST} in it is none of this program's; take it away"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: [&str; 3] = ["front.jpg", "board.toml", "fixture.toml"];

    fn set(word: &str) -> Vec<(&'static str, Vec<u8>)> {
        NAMES.map(|name| (name, format!("{word} {name}").into_bytes())).to_vec()
    }

    fn lies(folder: &Path) -> Vec<Vec<u8>> {
        NAMES.map(|name| fs::read(folder.join(name)).unwrap()).to_vec()
    }

    fn contents(set: Vec<(&'static str, Vec<u8>)>) -> Vec<Vec<u8>> {
        set.into_iter().map(|(_, content)| content).collect()
    }

    /// The steps of a replacement, up to a crash: so many new files written, then the list if all are, then so many renamed.
    fn crashed(folder: &Path, written: usize, listed: bool, renamed: usize) {
        let mut list = String::new();
        for (at, (name, content)) in set("new").into_iter().enumerate().take(written) {
            fs::write(folder.join(format!("{BESIDE}{at}")), content).unwrap();
            list += &format!("{BESIDE}{at}\t{name}\n");
        }
        if listed {
            fs::write(folder.join(LIST), list).unwrap();
        }
        for (at, name) in NAMES.into_iter().enumerate().take(renamed) {
            fs::rename(folder.join(format!("{BESIDE}{at}")), folder.join(name)).unwrap();
        }
    }

    #[test]
    fn a_crash_at_any_step_leaves_the_old_set_or_the_new_one() {
        let steps =
            (0..=3).map(|written| (written, false, 0)).chain((0..=3).map(|renamed| (3, true, renamed)));
        for (written, listed, renamed) in steps {
            let folder = tempfile::tempdir().unwrap();
            replace(folder.path(), &set("old")).unwrap();
            crashed(folder.path(), written, listed, renamed);
            assert_eq!(is_interrupted(folder.path()), listed);
            assert_eq!(finish(folder.path()).unwrap(), listed);
            let wanted = if listed { "new" } else { "old" };
            assert_eq!(lies(folder.path()), contents(set(wanted)), "{written} written, {renamed} renamed");
            assert!(!finish(folder.path()).unwrap() && !is_interrupted(folder.path()));
            // And whoever saves next finds nothing in its way.
            crashed(folder.path(), 3, true, 1);
            replace(folder.path(), &set("last")).unwrap();
            assert_eq!(lies(folder.path()), contents(set("last")));
        }
    }

    #[test]
    fn nothing_is_left_beside_a_set_that_was_replaced() {
        let folder = tempfile::tempdir().unwrap();
        for word in ["old", "new"] {
            replace(folder.path(), &set(word)).unwrap();
            assert_eq!(lies(folder.path()), contents(set(word)));
            assert_eq!(fs::read_dir(folder.path()).unwrap().count(), NAMES.len());
        }
    }

    #[test]
    fn a_list_that_leads_elsewhere_is_not_followed() {
        let outside = tempfile::tempdir().unwrap();
        let folder = outside.path().join("board");
        fs::create_dir(&folder).unwrap();
        fs::write(outside.path().join("mine"), "mine").unwrap();
        for list in [
            "../mine\tboard.toml\n",
            ".copperwalk-x\t../mine\n",
            ".copperwalk-/../../mine\tboard.toml\n",
            "board.toml\tother\n",
            "nothing\n",
        ] {
            fs::write(folder.join(LIST), list).unwrap();
            let refused = finish(&folder).unwrap_err().to_string();
            assert!(refused.contains("none of this program's"), "{list}: {refused}");
            assert_eq!(fs::read(outside.path().join("mine")).unwrap(), b"mine");
        }
    }
}
