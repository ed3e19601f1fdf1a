//! Files that are written for people: pages, tables, prints and learned limits.
//!
//! A file is written whole beside its place, flushed to the disk and then renamed, so that the place holds the old file
//! or the new one and never half of either. What stands at the place already is replaced only if this program made it
//! ([`Kind::made_by_us`]), or where the person says `--force`; a record store is never replaced.

use std::fs::{self, File, Metadata};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use crate::learn;
use crate::plain_file::not_plain;
use crate::report::{csv, html, pdf};
use crate::visible::path as shown;

/// What a file holds, so that one kind does not replace another.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// A self-contained HTML page.
    Page,
    /// Comma-separated values.
    Table,
    /// A PDF.
    Print,
    /// Learned limits.
    Limits,
    /// A board file, which people go on writing in.
    Board,
    /// A fixture file, the same.
    Fixture,
}

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Self::Page => "page",
            Self::Table => "table",
            Self::Print => "PDF",
            Self::Limits => "limits file",
            Self::Board => "board file",
            Self::Fixture => "fixture file",
        }
    }

    /// Does a file that begins like this come from this program, any version of it?
    fn made_by_us(self, start: &[u8]) -> bool {
        let text = String::from_utf8_lossy(start);
        match self {
            Self::Page => text.starts_with("<!DOCTYPE html>") && text.contains(html::MARK),
            Self::Table => {
                text.lines().next().is_some_and(|line| csv::HEADERS.iter().any(|h| line == h.join(",")))
            }
            Self::Limits => text.starts_with(learn::MARK),
            // Whoever made it may have worked on it since.
            Self::Board | Self::Fixture => false,
            Self::Print => {
                start.starts_with(b"%PDF-")
                    && start.windows(pdf::MARK.len()).any(|window| window == pdf::MARK)
            }
        }
    }
}

/// Bytes of an existing file that are looked at: the mark stands in the head of a page, and in the first object of a PDF.
const START: u64 = 4096;

/// How a database of the kind that records are kept in begins. Source: sqlite.org/fileformat2.html.
const DATABASE: &[u8] = b"SQLite format 3\0";

/// Endings of the files that a record store consists of.
const STORE_ENDINGS: [&str; 4] = ["", "-wal", "-shm", "-journal"];

/// Why a file is not written.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// No name to write under.
    #[error("{} is no name for a {}; name a file", shown(path), kind.word())]
    Nameless {
        /// As given.
        path: PathBuf,
        /// What was to be written.
        kind: Kind,
    },
    /// The folder it would stand in is missing.
    #[error(
        "{}: the folder {} does not exist; make it first, or name another place",
        shown(path),
        shown(folder)
    )]
    NoFolder {
        /// As given.
        path: PathBuf,
        /// The folder.
        folder: PathBuf,
    },
    /// Something that is not a plain file.
    #[error("{} is {what}, and a {} is only written to a plain file; name another place", shown(path), kind.word())]
    NotPlain {
        /// As given.
        path: PathBuf,
        /// What it is.
        what: &'static str,
        /// What was to be written.
        kind: Kind,
    },
    /// A file of the record store, or another database.
    #[error("{} is a record store, or a part of one; it is never replaced: name another place", shown(path))]
    Store {
        /// As given.
        path: PathBuf,
    },
    /// A file that somebody else made.
    #[error(
        "{} is there already and is no {} of copperwalk; it was left as it is: name another place, or say --force \
         to replace it",
        shown(path),
        kind.word()
    )]
    Foreign {
        /// As given.
        path: PathBuf,
        /// What was to be written.
        kind: Kind,
    },
    /// A file that people work on.
    #[error(
        "{} is there already, and whoever wrote in it would lose that; it was left as it is: name another place, or say \
         --force to replace it",
        shown(path)
    )]
    Edited {
        /// As given.
        path: PathBuf,
    },
    /// The system refused.
    #[error(
        "cannot write {}: {error}; {}: check its folder, its permissions and the free space",
        shown(path),
        if *replaces { "the file that stood there is as it was" } else { "nothing was left there" }
    )]
    System {
        /// As given.
        path: PathBuf,
        /// Was a file there before?
        replaces: bool,
        /// What the system says.
        error: io::Error,
    },
}

/// A place that a file can be written to.
#[derive(Debug)]
pub struct Place {
    path: PathBuf,
    kind: Kind,
    force: bool,
    store: Option<PathBuf>,
}

impl Place {
    /// Checks a place before work begins: is it a name, is its folder there and writable, may what stands there be
    /// replaced? `store` is the record store in use.
    ///
    /// # Errors
    /// See [`Refused`].
    pub fn new(path: &Path, kind: Kind, force: bool, store: Option<&Path>) -> Result<Self, Refused> {
        if path.as_os_str() == "-" || path.file_name().is_none() {
            return Err(Refused::Nameless { path: path.into(), kind });
        }
        // A link is followed, or the rename would replace the link and leave what it leads to as it was.
        let real = match fs::symlink_metadata(path) {
            Ok(link) if link.file_type().is_symlink() => fs::canonicalize(path)
                .map_err(|error| Refused::System { path: path.into(), replaces: false, error })?,
            _ => path.to_owned(),
        };
        let place = Self { path: real, kind, force, store: store.map(Path::to_owned) };
        let folder = place.folder();
        if !folder.is_dir() {
            return Err(Refused::NoFolder { path: path.into(), folder: folder.to_owned() });
        }
        let old = place.standing()?;
        place.beside().map_err(|error| place.system(&old, error))?;
        Ok(place)
    }

    /// Writes the file whole.
    ///
    /// # Errors
    /// See [`Refused`]; then what stood there before is as it was, and nothing else is left.
    pub fn write(&self, content: impl AsRef<[u8]>) -> Result<(), Refused> {
        let mut old = self.standing()?;
        let mut file = self.beside().map_err(|error| self.system(&old, error))?;
        let filled = file.write_all(content.as_ref()).and_then(|()| file.flush());
        // Removed again by its destructor unless it comes to the rename.
        filled.and_then(|()| file.as_file().sync_all()).map_err(|error| self.system(&old, error))?;
        if old.is_none() {
            // Whoever made a file of this name in the meantime keeps it, unless it is one that may be replaced: of two
            // demos in one folder both write the same pages.
            match file.persist_noclobber(&self.path) {
                Ok(_) => {
                    self.settle();
                    return Ok(());
                }
                Err(error) if error.error.kind() == io::ErrorKind::AlreadyExists => file = error.file,
                Err(error) => return Err(self.system(&old, error.error)),
            }
            old = self.standing()?;
        }
        let permissions =
            old.as_ref().map_or(Ok(()), |old| file.as_file().set_permissions(old.permissions()));
        let placed = permissions.and_then(|()| file.persist(&self.path).map(drop).map_err(io::Error::from));
        placed.map_err(|error| self.system(&old, error))?;
        self.settle();
        Ok(())
    }

    fn settle(&self) {
        // The new name lasts once its folder is on the disk. Some file systems cannot be asked for that, and the
        // file is in its place either way.
        let _ = File::open(self.folder()).and_then(|folder| folder.sync_all());
    }

    fn system(&self, old: &Option<Metadata>, error: io::Error) -> Refused {
        Refused::System { path: self.path.clone(), replaces: old.is_some(), error }
    }

    fn folder(&self) -> &Path {
        match self.path.parent() {
            Some(folder) if !folder.as_os_str().is_empty() => folder,
            _ => Path::new("."),
        }
    }

    /// A new file in the same folder under a name that nobody can guess, with the permissions new files get here.
    fn beside(&self) -> io::Result<tempfile::NamedTempFile> {
        let mut builder = tempfile::Builder::new();
        builder.prefix(".copperwalk-");
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666)); // less what the umask takes
        builder.tempfile_in(self.folder())
    }

    /// What stands at the place, if it may be replaced.
    fn standing(&self) -> Result<Option<Metadata>, Refused> {
        let path = || self.path.clone();
        if self.is_in_the_store() {
            return Err(Refused::Store { path: path() });
        }
        let old = match fs::metadata(&self.path) {
            Ok(old) => old,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(Refused::System { path: path(), replaces: true, error }),
        };
        if let Some(what) = not_plain(old.file_type()) {
            return Err(Refused::NotPlain { path: path(), what, kind: self.kind });
        }
        let start =
            start_of(&self.path).map_err(|error| Refused::System { path: path(), replaces: true, error })?;
        if start.starts_with(DATABASE) {
            return Err(Refused::Store { path: path() });
        }
        // An empty file holds nothing that could be lost.
        if !self.force && !start.is_empty() && self.kind == Kind::Board {
            return Err(Refused::Edited { path: path() });
        }
        if !self.force && !start.is_empty() && !self.kind.made_by_us(&start) {
            return Err(Refused::Foreign { path: path(), kind: self.kind });
        }
        Ok(Some(old))
    }

    /// Is it one of the files of the record store in use, under whatever name?
    fn is_in_the_store(&self) -> bool {
        let Some(store) = &self.store else { return false };
        STORE_ENDINGS.iter().any(|ending| {
            let mut part = store.as_os_str().to_owned();
            part.push(ending);
            same_file(&self.path, Path::new(&part))
        })
    }
}

/// Do two paths lead to one file? Files that are there are the same by device and number; of those that are not, the
/// folder and the name tell.
fn same_file(a: &Path, b: &Path) -> bool {
    #[cfg(unix)]
    if let (Ok(a), Ok(b)) = (fs::metadata(a), fs::metadata(b)) {
        use std::os::unix::fs::MetadataExt;
        return (a.dev(), a.ino()) == (b.dev(), b.ino());
    }
    let real = |path: &Path| {
        let path = std::path::absolute(path).ok()?;
        match fs::canonicalize(&path) {
            Ok(real) => Some(real),
            Err(_) => Some(fs::canonicalize(path.parent()?).ok()?.join(path.file_name()?)),
        }
    };
    real(a).is_some_and(|a| Some(a) == real(b))
}

/// The first bytes of a file.
fn start_of(path: &Path) -> io::Result<Vec<u8>> {
    let mut start = Vec::new();
    File::open(path)?.take(START).read_to_end(&mut start)?;
    Ok(start)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use tempfile::TempDir;

    fn page() -> String {
        html::lot(&sample::lot(), &sample::assessed(), &html::Links::NONE)
    }

    fn table() -> String {
        let mut table = Vec::new();
        csv::lot(&sample::lot(), &mut table).unwrap();
        String::from_utf8(table).unwrap()
    }

    /// A folder with a store in it.
    fn folder() -> (TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let store = folder.path().join("records.sqlite");
        for ending in STORE_ENDINGS {
            fs::write(folder.path().join(format!("records.sqlite{ending}")), "records").unwrap();
        }
        (folder, store)
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// What is said when a file is to be written, with the folder left out; empty when it was written.
    fn said(folder: &Path, name: &str, kind: Kind, force: bool) -> String {
        let store = folder.join("records.sqlite");
        let content = match kind {
            Kind::Page => page().into_bytes(),
            Kind::Table => table().into_bytes(),
            Kind::Print => pdf::lot(&sample::lot(), pdf::Paper::A4),
            Kind::Limits => format!("{}. …\n", learn::MARK).into_bytes(),
            Kind::Board | Kind::Fixture => b"format = 1\n".to_vec(),
        };
        match Place::new(&folder.join(name), kind, force, Some(&store))
            .and_then(|place| place.write(&content))
        {
            Ok(()) => String::new(),
            Err(refused) => refused.to_string().replace(folder.to_str().unwrap(), "."),
        }
    }

    #[test]
    fn only_what_this_program_made_is_replaced() {
        let (folder, _) = folder();
        let folder = folder.path();
        let write = |name: &str, text: &str| fs::write(folder.join(name), text).unwrap();
        write("mine.html", "<!DOCTYPE html><title>mine</title>");
        write("empty", "");
        write("notes", "a,b,c\n");
        for (name, kind, text) in [
            ("lot.html", Kind::Page, ""),
            ("lot.html", Kind::Page, ""), // again, over itself
            ("lot.csv", Kind::Table, ""),
            ("lot.csv", Kind::Table, ""),
            ("lot.pdf", Kind::Print, ""),
            ("lot.pdf", Kind::Print, ""),
            ("empty", Kind::Page, ""),
            (
                "mine.html",
                Kind::Page,
                "./mine.html is there already and is no page of copperwalk; it was left as it is: name another \
                 place, or say --force to replace it",
            ),
            (
                "lot.html",
                Kind::Table,
                "./lot.html is there already and is no table of copperwalk; it was left as it is: name another \
                 place, or say --force to replace it",
            ),
        ] {
            assert_eq!(said(folder, name, kind, false), text, "{name}");
        }
        assert!(said(folder, "lot.csv", Kind::Page, false).contains("no page of copperwalk"));
        write("theirs.pdf", "%PDF-1.7\n1 0 obj\n<< /Producer (somebody else) >>\nendobj\n");
        write("quoted.txt", &format!("see {}", String::from_utf8_lossy(pdf::MARK)));
        for (name, kind, what) in [
            ("theirs.pdf", Kind::Print, "no PDF of copperwalk"),
            ("quoted.txt", Kind::Print, "no PDF of copperwalk"),
            ("lot.html", Kind::Print, "no PDF of copperwalk"),
            ("lot.pdf", Kind::Page, "no page of copperwalk"),
            ("lot.pdf", Kind::Table, "no table of copperwalk"),
        ] {
            assert!(said(folder, name, kind, false).contains(what), "{name}");
        }
        assert!(said(folder, "notes", Kind::Table, false).contains("no table of copperwalk"));
        assert_eq!(fs::read_to_string(folder.join("notes")).unwrap(), "a,b,c\n");
        assert_eq!(said(folder, "notes", Kind::Table, true), "");
        assert_eq!(fs::read_to_string(folder.join("notes")).unwrap(), table());
        assert_eq!(fs::read_to_string(folder.join("empty")).unwrap(), page());
        assert!(names(folder).iter().all(|name| !name.starts_with('.')), "{:?}", names(folder));
    }

    #[test]
    fn no_file_of_a_record_store_is_replaced_even_by_force() {
        let (folder, store) = folder();
        let folder = folder.path();
        fs::hard_link(&store, folder.join("hard link")).unwrap();
        fs::write(folder.join("other.sqlite"), [DATABASE, b"rest"].concat()).unwrap();
        #[cfg(unix)]
        std::os::unix::fs::symlink(&store, folder.join("soft link")).unwrap();
        let mut parts =
            vec!["records.sqlite", "records.sqlite-wal", "records.sqlite-shm", "hard link", "other.sqlite"];
        if cfg!(unix) {
            parts.push("soft link");
        }
        for name in parts {
            let said = said(folder, name, Kind::Page, true);
            assert!(
                said.ends_with(
                    "is a record store, or a part of one; it is never replaced: name another place"
                )
            );
        }
        // Nor a file that the store is about to make.
        fs::remove_file(folder.join("records.sqlite-wal")).unwrap();
        assert!(said(folder, "records.sqlite-wal", Kind::Page, true).contains("never replaced"));
        assert_eq!(fs::read_to_string(&store).unwrap(), "records");
    }

    #[test]
    fn what_is_no_place_for_a_file_is_refused_with_a_remedy() {
        let (folder, _) = folder();
        let folder = folder.path();
        fs::create_dir(folder.join("inner")).unwrap();
        for (name, text) in [
            ("inner", "./inner is a folder, and a page is only written to a plain file; name another place"),
            (
                "missing/lot.html",
                "./missing/lot.html: the folder ./missing does not exist; make it first, or name another place",
            ),
            (
                "records.sqlite/lot.html",
                "./records.sqlite/lot.html: the folder ./records.sqlite does not exist; make it first, or name \
                 another place",
            ),
            ("..", "./.. is no name for a page; name a file"),
        ] {
            assert_eq!(said(folder, name, Kind::Page, true), text);
        }
        let stdout = Place::new(Path::new("-"), Kind::Page, true, None).unwrap_err();
        assert_eq!(stdout.to_string(), "- is no name for a page; name a file");
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink("nowhere", folder.join("dangling")).unwrap();
            assert!(said(folder, "dangling", Kind::Page, true).starts_with("cannot write ./dangling: "));
            let full = Place::new(Path::new("/dev/full"), Kind::Page, true, None).unwrap_err();
            assert!(full.to_string().starts_with("/dev/full is a device, and a page is only written to"));
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_link_stays_a_link_and_permissions_stay() {
        use std::os::unix::fs::PermissionsExt;
        let (folder, _) = folder();
        let folder = folder.path();
        let target = folder.join("target.html");
        fs::write(&target, "").unwrap();
        fs::set_permissions(&target, PermissionsExt::from_mode(0o640)).unwrap();
        std::os::unix::fs::symlink("target.html", folder.join("link.html")).unwrap();
        assert_eq!(said(folder, "link.html", Kind::Page, false), "");
        assert!(fs::symlink_metadata(folder.join("link.html")).unwrap().file_type().is_symlink());
        assert_eq!(fs::read_to_string(&target).unwrap(), page());
        assert_eq!(fs::metadata(&target).unwrap().permissions().mode() & 0o777, 0o640);
    }

    #[test]
    fn a_file_made_in_the_meantime_is_kept() {
        let (folder, store) = folder();
        let path = folder.path().join("lot.html");
        let place = Place::new(&path, Kind::Page, false, Some(&store)).unwrap();
        fs::write(&path, "somebody else's").unwrap();
        assert!(matches!(place.write(page()), Err(Refused::Foreign { .. })));
        assert_eq!(fs::read_to_string(&path).unwrap(), "somebody else's");
    }
}
