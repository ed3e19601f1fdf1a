//! Copies: out of a store while others write to it, and back where none is.

use std::path::{Path, PathBuf};

use super::check::Findings;
use super::{Error, Store, open};

impl Store {
    /// Writes a consistent copy of the store into a new file, while others may write. The copy is whole or not there.
    ///
    /// # Errors
    /// A file that exists, a place that cannot be written, a full disk.
    pub async fn save(&self, to: &Path) -> Result<(), Error> {
        let to = open::absolute(to)?;
        let part = fresh(&to)?;
        let name = part.to_str().ok_or_else(|| Error::Unwritable {
            path: to.clone(),
            reason: "its name is not valid Unicode".into(),
        })?;
        let mut connection = self.reading().await?;
        let copied = async {
            // SQLite takes the copy for something that is written with this connection, which it is for once.
            sqlx::query("PRAGMA query_only = OFF").execute(&mut *connection).await?;
            sqlx::query("VACUUM INTO $1").bind(name).execute(&mut *connection).await
        };
        let copied = copied.await.map(drop).map_err(|error| Error::from_database(&to, &error));
        // It is not used again: whoever reads does so without leave to write.
        let _ = connection.close().await;
        settle(copied, &part, &to)
    }
}

/// Puts a copy in the place of a store that is not there, after checking it.
///
/// # Errors
/// A store in that place already; a copy that is no store, is damaged, or is not as it was written.
pub async fn restore(from: &Path, to: &Path) -> Result<Findings, Error> {
    let to = open::absolute(to)?;
    let copy = Store::open_to_read(from).await?;
    let checked = async {
        let findings = copy.check().await?;
        if !findings.sound() {
            return Err(Error::UnsoundCopy { path: copy.path.clone(), wrong: findings.wrong.len() });
        }
        if let Some(folder) = to.parent() {
            std::fs::create_dir_all(folder)
                .map_err(|error| Error::Unwritable { path: to.clone(), reason: error.to_string() })?;
        }
        // Through the database, so that what is still in a write-ahead file beside the copy comes too.
        copy.save(&to).await?;
        Ok(findings)
    };
    let checked = checked.await;
    copy.close().await;
    checked
}

/// The name of a file to be written and then renamed to `to`, which must not exist.
fn fresh(to: &Path) -> Result<PathBuf, Error> {
    let exists = |path: &Path| path.symlink_metadata().is_ok();
    if let Some(path) = [to.into(), open::beside(to, "-wal")].into_iter().find(|path: &PathBuf| exists(path))
    {
        return Err(Error::Exists { path });
    }
    Ok(open::beside(to, &format!(".{}.part", std::process::id())))
}

fn settle(written: Result<(), Error>, part: &Path, to: &Path) -> Result<(), Error> {
    // A hard link is made only where no file is, unlike a rename; not every file system has them.
    let linked = written.and_then(|()| {
        let synced = std::fs::File::open(part).and_then(|file| file.sync_all());
        synced
            .and_then(|()| std::fs::hard_link(part, to))
            .or_else(|error| match error.kind() {
                std::io::ErrorKind::AlreadyExists => Err(error),
                _ => std::fs::rename(part, to),
            })
            .map_err(|error| match error.kind() {
                std::io::ErrorKind::AlreadyExists => Error::Exists { path: to.into() },
                _ => Error::Unwritable { path: to.into(), reason: error.to_string() },
            })
    });
    let _ = std::fs::remove_file(part);
    linked
}
