//! A daemon's notice: a small file that says where it answers, what it holds, and where its records lie, so that other commands
//! of the same user find the daemon that has their controller.
//!
//! Every daemon has a file of its own, named after its process, readable by its owner alone. It goes when the daemon ends. One
//! that a killed daemon left names a process that is gone, or an address where nobody answers; whoever reads has to see to that.

use std::{
    fs, io,
    net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr},
    path::{Path, PathBuf},
    process,
};

use serde::{Deserialize, Serialize};

/// How the file's name begins and ends; between stands the process.
const NAME: [&str; 2] = ["daemon-", ".json"];
/// Longest notice that is read, bytes: two paths, each of 4096 bytes at most on Linux, written as JSON.
const LONGEST: u64 = 64 * 1024;
/// Notices that are looked at; one for each bench at a computer, and what killed daemons left.
const MOST: usize = 100;

/// What a notice says.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Notice {
    /// Where the daemon answers, as this computer reaches it.
    pub address: SocketAddr,
    /// Its process.
    pub process: u32,
    /// The controller's port; `None` while there is none.
    pub port: Option<PathBuf>,
    /// Is it the virtual bench that it holds?
    pub modelled: bool,
    /// Its record store.
    pub records: PathBuf,
}

impl Notice {
    /// The notice of this process, which listens at `address` and keeps its records in `records`.
    pub fn own(address: SocketAddr, records: &Path, modelled: bool) -> Self {
        let ip = match address.ip() {
            // Any address of this computer: the one that never leaves it.
            IpAddr::V4(ip) if ip.is_unspecified() => Ipv4Addr::LOCALHOST.into(),
            IpAddr::V6(ip) if ip.is_unspecified() => Ipv6Addr::LOCALHOST.into(),
            ip => ip,
        };
        let address = SocketAddr::new(ip, address.port());
        Self { address, process: process::id(), port: None, modelled, records: records.into() }
    }

    /// Does the daemon hold the controller at this port? The port may be given by an alias.
    pub fn holds(&self, port: &Path) -> bool {
        let real = |path: &Path| fs::canonicalize(path).unwrap_or_else(|_| path.into());
        self.port.as_deref().is_some_and(|own| real(own) == real(port))
    }

    /// Is its process gone? Where the system does not show its processes nobody knows, and the answer is no.
    fn is_left_behind(&self) -> bool {
        Path::new("/proc/self").exists() && !Path::new("/proc").join(self.process.to_string()).exists()
    }
}

/// The folder for notices: the user's runtime folder (XDG Base Directory Specification, `XDG_RUNTIME_DIR`), else that of the
/// record store.
pub fn folder(records: &Path) -> PathBuf {
    // A relative path there is invalid and to be ignored.
    let runtime = std::env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from).filter(|path| path.is_absolute());
    match runtime {
        Some(runtime) => runtime.join("copperwalk"),
        None => records.parent().unwrap_or(Path::new(".")).into(),
    }
}

/// The notices in a folder whose daemons may still run.
pub fn all(folder: &Path) -> Vec<Notice> {
    let notices = files(folder).into_iter().filter_map(|path| read(&path));
    notices.filter(|notice| !notice.is_left_behind()).collect()
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let is_notice = |path: &PathBuf| {
        let name = path.file_name().and_then(|name| name.to_str());
        let inner = name.and_then(|name| name.strip_prefix(NAME[0])?.strip_suffix(NAME[1]));
        inner.is_some_and(|process| process.parse::<u32>().is_ok())
    };
    let entries = fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path());
    entries.filter(is_notice).take(MOST).collect()
}

/// A notice that is none, or that somebody else could have written, is passed over.
fn read(path: &Path) -> Option<Notice> {
    let data = fs::symlink_metadata(path).ok().filter(|data| data.is_file() && data.len() <= LONGEST)?;
    if is_open_to_others(&data) {
        return None;
    }
    serde_json::from_str(&fs::read_to_string(path).ok()?).ok()
}

/// A notice is written for its owner alone: so whoever can read one that is, is its owner, or rules the computer.
#[cfg(unix)]
fn is_open_to_others(data: &fs::Metadata) -> bool {
    std::os::unix::fs::PermissionsExt::mode(&data.permissions()) & 0o077 != 0
}

/// Elsewhere the folder's own rights have to do.
#[cfg(not(unix))]
fn is_open_to_others(_: &fs::Metadata) -> bool {
    false
}

/// This daemon's notice in its place. Dropping it takes the file away.
#[derive(Debug)]
pub struct Posted {
    path: PathBuf,
    notice: Notice,
}

impl Posted {
    /// Puts a notice into a folder, which is made if it is missing, and takes away what killed daemons left there.
    ///
    /// # Errors
    /// The folder cannot be made or written to.
    pub fn new(folder: &Path, notice: Notice) -> io::Result<Self> {
        let mut builder = fs::DirBuilder::new();
        builder.recursive(true);
        #[cfg(unix)]
        std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
        builder.create(folder)?;
        for path in files(folder) {
            // Whoever said to answer at this daemon's own address is gone, too.
            let is_over = |old: Notice| old.is_left_behind() || old.address == notice.address;
            if read(&path).is_some_and(is_over) {
                let _ = fs::remove_file(path);
            }
        }
        let path = folder.join(format!("{}{}{}", NAME[0], notice.process, NAME[1]));
        let posted = Self { path, notice };
        posted.write()?;
        Ok(posted)
    }

    /// The controller is at this port now.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn holds(&mut self, port: Option<PathBuf>) -> io::Result<()> {
        if self.notice.port != port {
            self.notice.port = port;
            self.write()?;
        }
        Ok(())
    }

    /// Written beside its place and renamed, so that whoever reads it reads it whole.
    fn write(&self) -> io::Result<()> {
        let text = serde_json::to_string_pretty(&self.notice)?;
        let folder = self.path.parent().unwrap_or(Path::new("."));
        // Files made so are readable by their owner alone.
        let file = tempfile::Builder::new().prefix(".daemon-").tempfile_in(folder)?;
        fs::write(file.path(), text)?;
        file.persist(&self.path)?;
        Ok(())
    }
}

impl Drop for Posted {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.path);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ADDRESS: &str = "127.0.0.1:4080";

    fn notice(process: u32, address: &str) -> Notice {
        Notice { process, ..Notice::own(address.parse().unwrap(), Path::new("/records"), false) }
    }

    #[test]
    fn a_notice_is_found_while_its_daemon_runs() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("copperwalk");
        let mut posted = Posted::new(&place, notice(process::id(), ADDRESS)).unwrap();
        let device = folder.path().join("ttyX");
        fs::write(&device, "").unwrap();
        posted.holds(Some(device.clone())).unwrap();
        let found = all(&place);
        assert_eq!(found.len(), 1);
        assert!(found[0].holds(&device) && !found[0].holds(&place));
        #[cfg(unix)]
        {
            use std::os::unix::fs::{PermissionsExt, symlink};
            let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
            assert_eq!((mode(&posted.path), mode(&place)), (0o600, 0o700));
            let alias = folder.path().join("alias");
            symlink(&device, &alias).unwrap();
            assert!(found[0].holds(&alias));
        }
        drop(posted);
        assert_eq!(fs::read_dir(&place).unwrap().count(), 0);
    }

    #[test]
    #[cfg(target_os = "linux")]
    fn what_a_killed_daemon_left_is_passed_over_and_taken_away() {
        let folder = tempfile::tempdir().unwrap();
        let gone = 4_194_305; // one more than the largest process number of Linux (man 5 proc, pid_max)
        for (process, address) in [(gone, "127.0.0.1:5000"), (1, ADDRESS), (process::id(), "127.0.0.1:5001")]
        {
            std::mem::forget(Posted::new(folder.path(), notice(process, address)).unwrap());
        }
        fs::write(folder.path().join("daemon-7.json"), "{").unwrap();
        assert_eq!(all(folder.path()).len(), 2);
        let _posted = Posted::new(folder.path(), notice(process::id(), ADDRESS)).unwrap();
        let left: Vec<_> = all(folder.path());
        assert_eq!(left.len(), 1, "{left:?}");
    }

    #[test]
    #[cfg(unix)]
    fn a_notice_that_others_could_have_written_is_passed_over() {
        let folder = tempfile::tempdir().unwrap();
        let posted = Posted::new(folder.path(), notice(process::id(), ADDRESS)).unwrap();
        fs::set_permissions(&posted.path, std::os::unix::fs::PermissionsExt::from_mode(0o644)).unwrap();
        assert_eq!(all(folder.path()), []);
    }

    #[test]
    fn a_daemon_that_listens_everywhere_is_reached_here() {
        for (listens, reached) in
            [("0.0.0.0:4080", ADDRESS), ("[::]:4080", "[::1]:4080"), ("192.168.1.7:80", "192.168.1.7:80")]
        {
            assert_eq!(notice(1, listens).address.to_string(), reached);
        }
    }
}
