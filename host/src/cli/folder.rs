//! A folder of files that belong together: all of them are there in the end, or none.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::visible::path as shown;

/// Files that a folder made by `copperwalk bed` holds: by these it is known again.
const MARKS: [&str; 3] = ["bottom.xnc", "checklist.txt", "fixture.toml"];

/// Why a folder is not written.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// Something stands there.
    #[error(
        "{} is there already, and was left as it is: name another folder, or say --force to replace a folder that copperwalk bed made",
        shown(path)
    )]
    Taken {
        /// The folder.
        path: PathBuf,
    },
    /// No folder to put it in.
    #[error(
        "{}: the folder it would stand in does not exist; make that first, or name another place",
        shown(path)
    )]
    NoParent {
        /// The folder.
        path: PathBuf,
    },
    /// The system refused.
    #[error(
        "the folder {} cannot be written: {error}; nothing was left there: check its place and the free space",
        shown(path)
    )]
    System {
        /// The folder.
        path: PathBuf,
        /// Why not.
        error: io::Error,
    },
}

/// A folder that may be written.
pub struct Folder {
    path: PathBuf,
    parent: PathBuf,
    replaces: bool,
}

impl Folder {
    /// Looks at the place before work begins.
    ///
    /// # Errors
    /// See [`FolderError`].
    pub fn new(path: &Path, force: bool) -> Result<Self, FolderError> {
        let parent = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        if !parent.is_dir() || path.file_name().is_none() {
            return Err(FolderError::NoParent { path: path.into() });
        }
        let replaces = match fs::symlink_metadata(path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => false,
            Err(error) => return Err(FolderError::System { path: path.into(), error }),
            Ok(there) => {
                let ours = force && MARKS.iter().all(|mark| path.join(mark).is_file());
                let empty = || fs::read_dir(path).is_ok_and(|mut entries| entries.next().is_none());
                if !there.is_dir() || !(ours || empty()) {
                    return Err(FolderError::Taken { path: path.into() });
                }
                true
            }
        };
        Ok(Self { path: path.into(), parent, replaces })
    }

    /// Writes all files beside the place, lets them be looked at there, and puts the folder in its place.
    ///
    /// # Errors
    /// The system refused, or `look` did; then what stood there before is as it was.
    pub fn write<E: From<FolderError>>(
        &self,
        files: &[(String, Vec<u8>)],
        look: impl FnOnce(&Path) -> Result<(), E>,
    ) -> Result<(), E> {
        let system = |error| E::from(FolderError::System { path: self.path.clone(), error });
        let beside = || tempfile::Builder::new().prefix(".copperwalk-").tempdir_in(&self.parent);
        let fresh = beside().map_err(system)?;
        for (name, content) in files {
            let written = File::create_new(fresh.path().join(name)).and_then(|mut file| {
                file.write_all(content)?;
                file.sync_all()
            });
            written.map_err(system)?;
        }
        look(fresh.path())?;
        open_to_all(fresh.path()).map_err(system)?;
        if !self.replaces {
            return fs::rename(fresh.path(), &self.path).map_err(system);
        }
        // Out of the way, and back again if the new one does not get there.
        let aside = beside().map_err(system)?;
        let old = aside.path().join("old");
        fs::rename(&self.path, &old).map_err(system)?;
        fs::rename(fresh.path(), &self.path).map_err(|error| {
            let _ = fs::rename(&old, &self.path);
            system(error)
        })
    }
}

/// A temporary folder is its owner's alone; this one is to be a folder like any other.
fn open_to_all(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    fs::set_permissions(path, std::os::unix::fs::PermissionsExt::from_mode(0o755))?;
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}
