//! What `check` says of a draft, each with the place it belongs to.

use std::path::Path;

use serde::Serialize;
use utoipa::ToSchema;

use super::open::{BOARD, FIXTURE};
use super::place::{of_span, places};
use super::{Place, Texts};
use crate::document::Sheet;
use crate::fixture;
use crate::problem::{self, Problem};

/// How bad it is.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Grade {
    /// The file cannot be used.
    Error,
    /// Somebody should look at it.
    Warning,
}

/// One thing that `check` finds.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Finding {
    /// How bad it is.
    pub grade: Grade,
    /// What is wrong.
    pub message: String,
    /// What would be right.
    pub help: String,
    /// What it is about, where it is about a part of the board.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub place: Option<Place>,
}

/// Findings at most; who has more begins with these.
const MOST: usize = 200;

/// Checks both texts as `copperwalk check` would if they were files in this folder.
pub fn findings(texts: &Texts, folder: &Path) -> Vec<Finding> {
    let path = folder.join(FIXTURE);
    let board = |_: &str| Ok(Sheet::new(BOARD, &texts.board));
    let problems = match fixture::examine_sheets(&path, Sheet::new(FIXTURE, &texts.fixture), board) {
        Ok((_, warnings)) => warnings,
        Err(problems) => problems,
    };
    let (of_board, of_fixture) = (places(&texts.board), places(&texts.fixture));
    let place = |problem: &Problem| {
        let places = match problem.file.name() {
            BOARD => &of_board,
            FIXTURE => &of_fixture,
            _ => return None,
        };
        of_span(places, problem.span.as_ref()?)
    };
    let finding = |problem: &Problem| Finding {
        grade: match problem.grade {
            problem::Grade::Error => Grade::Error,
            problem::Grade::Warning => Grade::Warning,
        },
        message: problem.message.clone(),
        help: problem.help.clone(),
        place: place(problem),
    };
    problems.0.iter().take(MOST).map(finding).collect()
}
