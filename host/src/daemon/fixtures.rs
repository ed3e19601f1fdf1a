//! What can be laid on the bench: the fixtures of a folder, read again when their files change, or the built-in examples.
//!
//! A file that was edited to something that cannot be used does no harm: the fixture stays as it was last read, and its
//! problems are shown beside it.

use std::{
    collections::BTreeMap,
    fs, io,
    path::{Path, PathBuf},
    sync::{Arc, PoisonError, RwLock},
    time::SystemTime,
};

use super::drafts;
use crate::{
    fixture::{self, Fixture, examples::EXAMPLES},
    plan::{self, Plan, Sampling},
    visible::path as shown,
};

/// Fixtures of one folder.
const MOST: usize = 1_000;

/// A fixture with its plans.
#[derive(Debug)]
pub struct Laid {
    /// The fixture.
    pub fixture: Fixture,
    /// The plan that stops when verdicts are clear.
    pub quick: Plan,
    /// The plan that spends every budget.
    pub full: Plan,
}

impl Laid {
    fn new(fixture: Fixture) -> Result<Self, String> {
        let plan = |sampling| {
            plan::compile(&fixture, &fixture.limits, sampling)
                .map_err(|error| format!("{}: {error}", fixture.name))
        };
        Ok(Self { quick: plan(Sampling::Quick)?, full: plan(Sampling::Full)?, fixture })
    }

    /// The plan of this sampling.
    pub fn plan(&self, sampling: Sampling) -> &Plan {
        match sampling {
            Sampling::Quick => &self.quick,
            Sampling::Full => &self.full,
        }
    }
}

/// A fixture as it is known.
#[derive(Clone, Debug)]
pub struct Known {
    /// As it was last read whole.
    pub laid: Arc<Laid>,
    /// Its file; `None` of a built-in one.
    pub path: Option<PathBuf>,
    /// Why the file as it is now cannot be used; the fixture is then that of an earlier reading.
    pub problems: Option<String>,
}

/// The fixtures.
#[derive(Debug)]
pub struct Fixtures {
    folder: Option<PathBuf>,
    known: RwLock<State>,
}

#[derive(Debug, Default)]
struct State {
    /// By name.
    fixtures: BTreeMap<String, Known>,
    /// Files that have never been read whole, with what is wrong.
    unread: BTreeMap<PathBuf, String>,
    /// When each file, and the board file it names, was changed last.
    seen: BTreeMap<PathBuf, Stamp>,
}

type Stamp = Vec<(PathBuf, Option<SystemTime>, u64)>;

impl Fixtures {
    /// The built-in examples.
    pub fn examples() -> Self {
        let read = EXAMPLES.iter().filter_map(|example| Laid::new(example.read().ok()?).ok());
        let known = read.map(|laid| {
            let name = laid.fixture.name.clone();
            (name, Known { laid: laid.into(), path: None, problems: None })
        });
        let fixtures = known.collect();
        Self { folder: None, known: RwLock::new(State { fixtures, ..State::default() }) }
    }

    /// Those of a folder: each `*.toml` in it, and in the folders in it, that has a table `[fixture]`.
    ///
    /// # Errors
    /// The folder cannot be read.
    pub fn of_folder(folder: &Path) -> io::Result<Self> {
        fs::read_dir(folder)?;
        // Before anybody reads them: no board is to be half of one saving and half of another.
        drafts::mend(folder);
        let fixtures = Self { folder: Some(folder.to_owned()), known: RwLock::default() };
        fixtures.look();
        Ok(fixtures)
    }

    /// The folder they are read from; `None` of the built-in examples.
    pub fn folder(&self) -> Option<&Path> {
        self.folder.as_deref()
    }

    /// Reads what has changed since the last look; true if anything has.
    pub fn look(&self) -> bool {
        let Some(folder) = &self.folder else { return false };
        let files = files(folder);
        let mut state = self.known.write().unwrap_or_else(PoisonError::into_inner);
        let mut changed = false;
        for path in &files {
            let stamp = stamp(path);
            if state.seen.get(path) == Some(&stamp) {
                continue;
            }
            changed = true;
            state.read(path);
            state.seen.insert(path.clone(), stamp);
        }
        // A file that is gone takes its fixture with it.
        let before = state.seen.len();
        state.seen.retain(|path, _| files.contains(path));
        if state.seen.len() != before {
            changed = true;
            state.fixtures.retain(|_, known| known.path.as_ref().is_none_or(|path| files.contains(path)));
            state.unread.retain(|path, _| files.contains(path));
        }
        changed
    }

    /// One of them.
    pub fn get(&self, name: &str) -> Option<Known> {
        self.known.read().unwrap_or_else(PoisonError::into_inner).fixtures.get(name).cloned()
    }

    /// All of them, by name.
    pub fn all(&self) -> Vec<Known> {
        self.known.read().unwrap_or_else(PoisonError::into_inner).fixtures.values().cloned().collect()
    }

    /// Files that have never been read whole, and why.
    pub fn unread(&self) -> Vec<(PathBuf, String)> {
        let state = self.known.read().unwrap_or_else(PoisonError::into_inner);
        state.unread.iter().map(|(path, why)| (path.clone(), why.clone())).collect()
    }
}

impl State {
    fn read(&mut self, path: &Path) {
        let laid = fixture::read(path).map_err(|problems| problems.to_string()).and_then(Laid::new);
        let here = |known: &Known| known.path.as_deref() == Some(path);
        match laid {
            Ok(laid) => {
                let name = laid.fixture.name.clone();
                let other = self.fixtures.get(&name).filter(|known| !here(known));
                if let Some(other) = other.and_then(|known| known.path.as_deref()) {
                    let why = format!("the name {name:?} is that of {}: give it another", shown(other));
                    return self.refuse(path.to_owned(), why);
                }
                self.unread.remove(path);
                self.fixtures.retain(|_, known| !here(known));
                let known = Known { laid: laid.into(), path: Some(path.to_owned()), problems: None };
                self.fixtures.insert(name, known);
            }
            Err(why) => self.refuse(path.to_owned(), why),
        }
    }

    /// Keeps the fixture that a file gave before, with what is wrong with the file now.
    fn refuse(&mut self, path: PathBuf, why: String) {
        match self.fixtures.values_mut().find(|known| known.path.as_ref() == Some(&path)) {
            Some(known) => known.problems = Some(why),
            None => drop(self.unread.insert(path, why)),
        }
    }
}

/// Fixture files of a folder and of the folders in it. A board file is no fixture file, and is told by its text.
fn files(folder: &Path) -> Vec<PathBuf> {
    let entries = |folder: &Path| {
        let mut paths: Vec<PathBuf> =
            fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path()).collect();
        // What begins with a dot is being written (`drafts`), or hidden from everybody.
        paths.retain(|path| path.file_name().is_some_and(|name| !name.as_encoded_bytes().starts_with(b".")));
        paths.sort();
        paths
    };
    let inner = entries(folder).into_iter().flat_map(|path| match path.is_dir() {
        true => entries(&path),
        false => vec![path],
    });
    inner.filter(|path| is_fixture(path)).take(MOST).collect()
}

fn is_fixture(path: &Path) -> bool {
    /// Longest file that is looked into, bytes; a fixture of 300 points has some 20,000.
    const LONGEST: u64 = 1 << 20;
    path.extension().is_some_and(|ending| ending == "toml")
        && path.metadata().is_ok_and(|data| data.is_file() && data.len() <= LONGEST)
        && fs::read_to_string(path)
            .is_ok_and(|text| text.lines().any(|line| line.trim_start().starts_with("[fixture]")))
}

/// When a fixture file and the files beside it were changed last, and how long they are: its board is one of them.
fn stamp(path: &Path) -> Stamp {
    let beside = path.parent().and_then(|folder| fs::read_dir(folder).ok());
    let tomls = beside.into_iter().flatten().flatten().map(|entry| entry.path());
    let tomls = tomls.filter(|path| path.extension().is_some_and(|ending| ending == "toml"));
    let mut stamp: Stamp = tomls
        .filter_map(|path| {
            let data = path.metadata().ok()?;
            Some((path, data.modified().ok(), data.len()))
        })
        .collect();
    stamp.sort();
    stamp
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::examples::TIDE_GAUGE_HEAD;

    fn folder() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let bed = folder.path().join("gauge");
        fs::create_dir(&bed).unwrap();
        fs::write(bed.join("board.toml"), TIDE_GAUGE_HEAD.board).unwrap();
        fs::write(bed.join("fixture.toml"), TIDE_GAUGE_HEAD.fixture).unwrap();
        folder
    }

    #[test]
    fn the_examples_are_sound() {
        let names: Vec<_> =
            Fixtures::examples().all().iter().map(|known| known.laid.fixture.name.clone()).collect();
        assert_eq!(names.len(), EXAMPLES.len());
    }

    #[test]
    fn a_file_edited_to_nonsense_leaves_the_fixture_as_it_was_and_says_why() {
        let folder = folder();
        let fixtures = Fixtures::of_folder(folder.path()).unwrap();
        let name = fixtures.all()[0].laid.fixture.name.clone();
        assert!(!fixtures.look(), "nothing changed");
        let path = folder.path().join("gauge/fixture.toml");
        fs::write(&path, format!("{}\nnonsense = true\n[", TIDE_GAUGE_HEAD.fixture)).unwrap();
        assert!(fixtures.look());
        let known = fixtures.get(&name).unwrap();
        assert!(known.problems.is_some());
        assert_eq!(known.laid.fixture.source, TIDE_GAUGE_HEAD.fixture);
        // The board is a part of it.
        fs::write(&path, TIDE_GAUGE_HEAD.fixture).unwrap();
        assert!(fixtures.look());
        assert!(fixtures.get(&name).unwrap().problems.is_none());
        fs::write(folder.path().join("gauge/board.toml"), "format = 1").unwrap();
        assert!(fixtures.look());
        assert!(fixtures.get(&name).unwrap().problems.is_some());
    }

    #[test]
    fn a_file_that_was_never_sound_is_named() {
        let folder = folder();
        fs::write(folder.path().join("bad.toml"), "[fixture]\nname = 7").unwrap();
        let fixtures = Fixtures::of_folder(folder.path()).unwrap();
        assert_eq!(fixtures.all().len(), 1);
        assert!(fixtures.unread()[0].0.ends_with("bad.toml"));
        fs::remove_file(folder.path().join("bad.toml")).unwrap();
        assert!(fixtures.look());
        assert!(fixtures.unread().is_empty());
    }

    #[test]
    fn two_files_with_one_name_are_told_apart() {
        let folder = folder();
        fs::write(folder.path().join("gauge/second.toml"), TIDE_GAUGE_HEAD.fixture).unwrap();
        let fixtures = Fixtures::of_folder(folder.path()).unwrap();
        assert_eq!((fixtures.all().len(), fixtures.unread().len()), (1, 1));
        assert!(fixtures.unread()[0].1.contains("give it another"));
    }
}
