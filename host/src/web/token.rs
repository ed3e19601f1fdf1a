//! Tokens: who may use a daemon that listens on more than this computer.
//!
//! A token is 32 random bytes as hexadecimal digits, so that nothing slower than SHA-256 is needed to keep it: what the token
//! file has is `NAME SHA-256`, a line each. A browser hands its token in once and gets a session of its own in a cookie.

use std::{
    collections::VecDeque,
    fs, io,
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
    time::{Duration, Instant},
};

use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;

use crate::{hash, visible::path as shown};

/// Random bytes of a token and of a browser's session.
const BYTES: usize = 32;
/// Wrong tokens allowed in [`WINDOW`]. With 2^256 tokens guessing is hopeless; this keeps the log short and shows an attack.
pub const MOST_WRONG: usize = 10;
/// The time in which they count.
pub const WINDOW: Duration = Duration::from_secs(60);
/// Browsers that may be signed in; the one signed in first goes first.
const MOST_SESSIONS: usize = 100;
/// A session lasts so long: a working day, and the evening.
const SESSION: Duration = Duration::from_secs(16 * 3600);
/// Longest token file, bytes.
const LONGEST: u64 = 64 * 1024;

type Hash = [u8; 32];

/// Why a token file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum TokenFileError {
    /// The system refused.
    #[error("{}: {error}; make it with `copperwalk token FILE --name NAME`", shown(path))]
    System {
        /// The file.
        path: PathBuf,
        /// Why.
        error: io::Error,
    },
    /// Others may read or change it.
    #[error("others may use {} (mode {mode:03o}): say `chmod 600` on it", shown(path))]
    Exposed {
        /// The file.
        path: PathBuf,
        /// Its permissions.
        mode: u32,
    },
    /// A line that is none.
    #[error(
        "{}, line {line}: {what}; write NAME and the SHA-256 of the token as 64 hexadecimal digits",
        shown(path)
    )]
    Line {
        /// The file.
        path: PathBuf,
        /// Which.
        line: usize,
        /// What is wrong.
        what: &'static str,
    },
    /// No token at all.
    #[error(
        "{} has no token, so that nobody could sign in; make one with `copperwalk token FILE --name NAME`",
        shown(path)
    )]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The system has no random bytes.
    #[error("the system gives no random bytes: {0}; restart it")]
    Random(getrandom::Error),
}

/// The tokens of a file, the browsers signed in, and the wrong tokens of late.
#[derive(Debug)]
pub struct Tokens {
    known: Vec<(String, Hash)>,
    sessions: Mutex<VecDeque<(Hash, Instant)>>,
    wrong: Mutex<VecDeque<Instant>>,
}

/// What a token is worth.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Worth {
    /// It is one of ours.
    Good,
    /// It is not.
    Wrong,
    /// Nothing is looked at for so long: too many were wrong.
    Later(Duration),
}

impl Tokens {
    /// Reads a token file.
    ///
    /// # Errors
    /// See [`TokenFileError`].
    pub fn read(path: &Path) -> Result<Self, TokenFileError> {
        let system = |error| TokenFileError::System { path: path.into(), error };
        let data = fs::metadata(path).map_err(system)?;
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            let mode = data.permissions().mode() & 0o777;
            if mode & 0o077 != 0 {
                return Err(TokenFileError::Exposed { path: path.into(), mode });
            }
        }
        if data.len() > LONGEST {
            return Err(system(io::Error::other("it is longer than 64 KiB and no token file")));
        }
        let text = fs::read_to_string(path).map_err(system)?;
        let mut known = Vec::new();
        for (number, line) in (1..).zip(text.lines()) {
            let line = line.trim();
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let wrong = |what| TokenFileError::Line { path: path.into(), line: number, what };
            let (name, hash) = line.rsplit_once(' ').ok_or_else(|| wrong("there is no name"))?;
            let hash = from_hex(hash).ok_or_else(|| wrong("the last word is no SHA-256"))?;
            known.push((name.trim().to_owned(), hash));
        }
        if known.is_empty() {
            return Err(TokenFileError::Empty { path: path.into() });
        }
        Ok(Self { known, sessions: Mutex::default(), wrong: Mutex::default() })
    }

    /// Names of the tokens.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.known.iter().map(|(name, _)| name.as_str())
    }

    /// What is this token worth?
    pub fn worth(&self, token: &str) -> Worth {
        let now = Instant::now();
        let mut wrong = self.wrong.lock().unwrap_or_else(PoisonError::into_inner);
        while wrong.front().is_some_and(|at| now.duration_since(*at) >= WINDOW) {
            wrong.pop_front();
        }
        if wrong.len() >= MOST_WRONG
            && let Some(first) = wrong.front()
        {
            return Worth::Later(WINDOW.saturating_sub(now.duration_since(*first)));
        }
        let hash: Hash = Sha256::digest(token).into();
        // Every one is compared, each in the same time whatever it holds.
        let good = self.known.iter().fold(0, |good, (_, known)| good | known.ct_eq(&hash).unwrap_u8());
        if good == 1 {
            return Worth::Good;
        }
        wrong.push_back(now);
        Worth::Wrong
    }

    /// Signs a browser in: the value of its cookie.
    ///
    /// # Errors
    /// The system has no random bytes.
    pub fn sign_in(&self) -> Result<String, TokenFileError> {
        let session = random()?;
        let mut sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        if sessions.len() == MOST_SESSIONS {
            sessions.pop_front();
        }
        sessions.push_back((Sha256::digest(&session).into(), Instant::now()));
        Ok(session)
    }

    /// Is a browser with this cookie signed in?
    pub fn is_signed_in(&self, session: &str) -> bool {
        let hash: Hash = Sha256::digest(session).into();
        let mut sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        sessions.retain(|(_, since)| since.elapsed() < SESSION);
        sessions.iter().fold(0, |good, (known, _)| good | known.ct_eq(&hash).unwrap_u8()) == 1
    }
}

/// A new token, and the line for the token file.
///
/// # Errors
/// The system has no random bytes.
pub fn new_token(name: &str) -> Result<(String, String), TokenFileError> {
    let token = random()?;
    let line = format!("{name} {}\n", hash::of(&token));
    Ok((token, line))
}

fn random() -> Result<String, TokenFileError> {
    let mut bytes = [0; BYTES];
    getrandom::fill(&mut bytes).map_err(TokenFileError::Random)?;
    Ok(hash::hex(&bytes))
}

fn from_hex(text: &str) -> Option<Hash> {
    let (pairs, rest) = text.as_bytes().as_chunks::<2>();
    if pairs.len() != 32 || !rest.is_empty() {
        return None;
    }
    let mut hash = [0; 32];
    for (byte, pair) in hash.iter_mut().zip(pairs) {
        let digit = |c: u8| char::from(c).to_digit(16).and_then(|digit| u8::try_from(digit).ok());
        *byte = digit(pair[0])? << 4 | digit(pair[1])?;
    }
    Some(hash)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(text: &str) -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tokens");
        fs::write(&path, text).unwrap();
        #[cfg(unix)]
        fs::set_permissions(&path, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
        (folder, path)
    }

    #[test]
    fn a_token_is_known_by_its_hash_alone() {
        let (token, line) = new_token("bench laptop").unwrap();
        assert!(!line.contains(&token));
        let (_folder, path) = file(&format!("# comment\n\n{line}"));
        let tokens = Tokens::read(&path).unwrap();
        assert_eq!(tokens.names().collect::<Vec<_>>(), ["bench laptop"]);
        assert_eq!(tokens.worth(&token), Worth::Good);
        assert_eq!(tokens.worth("guess"), Worth::Wrong);
        assert_ne!(new_token("bench laptop").unwrap().0, token);
    }

    /// FIPS 180-4's own example: the SHA-256 of "abc" (value from memory, and from every other implementation).
    #[test]
    fn the_hash_is_the_published_one() {
        let (_folder, path) = file("a ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\n");
        assert_eq!(Tokens::read(&path).unwrap().worth("abc"), Worth::Good);
    }

    #[test]
    fn after_ten_wrong_tokens_nothing_is_looked_at() {
        let (token, line) = new_token("a").unwrap();
        let (_folder, path) = file(&line);
        let tokens = Tokens::read(&path).unwrap();
        for _ in 0..MOST_WRONG {
            assert_eq!(tokens.worth("guess"), Worth::Wrong);
        }
        assert!(matches!(tokens.worth(&token), Worth::Later(wait) if wait <= WINDOW));
    }

    #[test]
    fn a_browser_is_signed_in_until_a_hundred_others_came() {
        let (_, line) = new_token("a").unwrap();
        let (_folder, path) = file(&line);
        let tokens = Tokens::read(&path).unwrap();
        let session = tokens.sign_in().unwrap();
        assert!(tokens.is_signed_in(&session));
        assert!(!tokens.is_signed_in("guess"));
        for _ in 0..MOST_SESSIONS {
            tokens.sign_in().unwrap();
        }
        assert!(!tokens.is_signed_in(&session));
    }

    #[cfg(unix)]
    #[test]
    fn a_file_that_others_may_read_is_refused() {
        let (_, line) = new_token("a").unwrap();
        let (_folder, path) = file(&line);
        fs::set_permissions(&path, std::os::unix::fs::PermissionsExt::from_mode(0o640)).unwrap();
        let error = Tokens::read(&path).unwrap_err().to_string();
        assert!(error.ends_with("(mode 640): say `chmod 600` on it"), "{error}");
    }

    #[test]
    fn a_line_that_is_none_is_named() {
        for (text, what) in [
            ("word", "line 1: there is no name"),
            ("# a\na 12ab", "line 2: the last word is no SHA-256"),
            ("", "has no token"),
        ] {
            let (_folder, path) = file(text);
            let error = Tokens::read(&path).unwrap_err().to_string();
            assert!(error.contains(what), "{error}");
        }
    }
}
