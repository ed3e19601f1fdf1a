//! What a draft holds.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

use super::DraftError;

/// Keys of a table with their values, as JSON has them: a quantity is a text with its unit, as in the file.
pub type Keys = serde_json::Map<String, Value>;

/// Points, or segments, at most: as many as a board file may have.
const MOST_ITEMS: usize = 2000;
/// Keys of one thing.
const MOST_KEYS: usize = 40;

/// A board and its bed of pins, as data.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Draft {
    /// `[board]`.
    #[schema(value_type = Object)]
    pub board: Keys,
    /// `[supply]`.
    #[schema(value_type = Object)]
    pub supply: Keys,
    /// `[states]`, in the order they are walked.
    #[serde(default)]
    pub states: Vec<StateEntry>,
    /// `[points]`, each with its line of the fixture's `[pins]`.
    #[serde(default)]
    pub points: Vec<PointEntry>,
    /// `[[segment]]`.
    #[serde(default)]
    pub segments: Vec<Entry>,
    /// `[[isolation]]`.
    #[serde(default)]
    pub isolation: Vec<Entry>,
    /// `[[keep_out]]`: where no pin may stand.
    #[serde(default)]
    pub keep_outs: Vec<Entry>,
    /// `[[check]]`: what a person looks at.
    #[serde(default)]
    pub checks: Vec<Entry>,
    /// `[fixture]`.
    #[schema(value_type = Object)]
    pub fixture: Keys,
    /// `[controller]`.
    #[schema(value_type = Object)]
    pub controller: Keys,
}

/// One table of a list of tables.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Which of the file's tables this is, from 0; none if it is new.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<usize>,
    /// All of its keys, those too that nobody here knows.
    #[schema(value_type = Object)]
    pub keys: Keys,
}

/// One state.
#[derive(Clone, PartialEq, Eq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StateEntry {
    /// Its name in the file; none if it is new.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
    /// Its name.
    pub name: String,
    /// What the operator is asked to do.
    pub prompt: String,
}

/// One point.
#[derive(Clone, PartialEq, Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PointEntry {
    /// Its name in the file; none if it is new.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub was: Option<String>,
    /// Its name.
    pub name: String,
    /// Where it is and what: `at`, `side`, `kind`, and whatever else the file says.
    #[schema(value_type = Object)]
    pub keys: Keys,
    /// Its pins: `force`, `sense`, and whatever else the fixture file says; none where no pin stands.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Object>)]
    pub pins: Option<Keys>,
}

impl Draft {
    /// Is it of a size that a board may have?
    ///
    /// # Errors
    /// More of something than a board file may have.
    pub fn bounded(&self) -> Result<(), DraftError> {
        let lists = [
            ("points", self.points.len(), MOST_ITEMS),
            ("segments", self.segments.len(), MOST_ITEMS),
            ("isolations", self.isolation.len(), MOST_ITEMS),
            ("keep-outs", self.keep_outs.len(), MOST_ITEMS),
            ("checks", self.checks.len(), MOST_ITEMS),
            ("states", self.states.len(), MOST_KEYS),
        ];
        let entries = [&self.segments, &self.isolation, &self.keep_outs, &self.checks].into_iter().flatten();
        let keys = entries.map(|entry| &entry.keys).chain(self.points.iter().map(|point| &point.keys));
        let keys = keys.chain(self.points.iter().filter_map(|point| point.pins.as_ref()));
        let keys = keys.chain([&self.board, &self.supply, &self.fixture, &self.controller]);
        let keys = keys.map(|keys| ("keys", keys.len(), MOST_KEYS));
        match lists.into_iter().chain(keys).find(|(_, count, most)| count > most) {
            Some((what, count, most)) => Err(DraftError::TooMany { what, count, most }),
            None => Ok(()),
        }
    }
}
