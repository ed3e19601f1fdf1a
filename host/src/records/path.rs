//! Where the records lie: `--records PATH`, else `COPPERWALK_RECORDS`, else the platform's data folder.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

use super::Error;

/// Environment variable that names the store.
pub const VARIABLE: &str = "COPPERWALK_RECORDS";

/// The store to open. An empty name counts as none given.
pub fn path(explicit: Option<PathBuf>) -> Result<PathBuf, Error> {
    choose(explicit, |name| std::env::var_os(name))
}

/// Does somebody name the store, by argument or environment?
pub fn is_named(explicit: Option<&Path>) -> bool {
    let variable = std::env::var_os(VARIABLE);
    explicit.map(Path::as_os_str).or(variable.as_deref()).is_some_and(|name| !name.is_empty())
}

fn choose(explicit: Option<PathBuf>, variable: impl Fn(&str) -> Option<OsString>) -> Result<PathBuf, Error> {
    let named = |name| variable(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    explicit
        .filter(|path| !path.as_os_str().is_empty())
        .or_else(|| named(VARIABLE))
        .or_else(|| Some(data_folder(named)?.join("copperwalk").join("records.sqlite")))
        .ok_or(Error::NoPlace)
}

/// Where programs keep a user's data that must not be lost. By hand, because crates for it read the process's own
/// environment, which a test cannot set, and guess a home where HOME is unset.
fn data_folder(named: impl Fn(&'static str) -> Option<PathBuf>) -> Option<PathBuf> {
    if cfg!(windows) {
        return named("LOCALAPPDATA");
    }
    if cfg!(target_os = "macos") {
        return Some(named("HOME")?.join("Library/Application Support"));
    }
    // XDG Base Directory Specification: a relative path in XDG_DATA_HOME is invalid and to be ignored.
    named("XDG_DATA_HOME")
        .filter(|path| path.is_absolute())
        .or_else(|| Some(named("HOME")?.join(".local").join("share")))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chosen(explicit: Option<&str>, variables: &[(&str, &str)]) -> Option<PathBuf> {
        let lookup = |name: &str| variables.iter().find(|(n, _)| *n == name).map(|(_, value)| value.into());
        choose(explicit.map(PathBuf::from), lookup).ok()
    }

    #[test]
    fn what_is_said_first_wins() {
        let all = [(VARIABLE, "/from/variable"), ("XDG_DATA_HOME", "/data"), ("HOME", "/home/me")];
        assert_eq!(chosen(Some("here.sqlite"), &all), Some("here.sqlite".into()));
        assert_eq!(chosen(None, &all), Some("/from/variable".into()));
        assert_eq!(chosen(Some(""), &all), Some("/from/variable".into()), "an empty name is none");
    }

    /// Source: XDG Base Directory Specification 0.8, "Environment variables" (from memory).
    #[test]
    #[cfg(all(unix, not(target_os = "macos")))]
    fn the_data_folder_follows_the_platform() {
        let file = "copperwalk/records.sqlite";
        let home = ("HOME", "/home/me");
        let local = PathBuf::from("/home/me/.local/share").join(file);
        assert_eq!(
            chosen(None, &[("XDG_DATA_HOME", "/data"), home]),
            Some(PathBuf::from("/data").join(file))
        );
        assert_eq!(chosen(None, &[home]), Some(local.clone()));
        assert_eq!(chosen(None, &[("XDG_DATA_HOME", "relative"), home]), Some(local.clone()));
        assert_eq!(chosen(None, &[(VARIABLE, ""), ("XDG_DATA_HOME", ""), home]), Some(local));
    }

    #[test]
    fn without_any_folder_the_error_says_what_to_set() {
        let error = choose(None, |_| None).unwrap_err();
        assert_eq!(
            error.to_string(),
            "no place for the records: this computer names no data folder (HOME is not set); say --records PATH \
             or set COPPERWALK_RECORDS"
        );
    }
}
