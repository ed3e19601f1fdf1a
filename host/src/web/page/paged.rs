//! Long lists of units on the pages: which are meant, and a screenful at a time.

use maud::{Markup, html};
use serde::Deserialize;

use super::link::encoded;
use crate::{
    report::words,
    verdict::Verdict,
    web::{problem::Problem, selection::Selection},
};

/// Rows of a page.
const ROWS: usize = 100;

/// Verdicts by which the list can be cut down.
pub const VERDICTS: [Verdict; 4] = [Verdict::Pass, Verdict::Fail, Verdict::Unproven, Verdict::Void];

/// Which units, and which page of them. Fields of a form come empty where nothing was chosen.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct Wanted {
    text: String,
    lot: String,
    verdict: String,
    /// Counted from 1; 0 is the first as well.
    pub page: usize,
}

impl Wanted {
    /// What the serial number has in it.
    pub fn text(&self) -> Option<&str> {
        Some(self.text.as_str()).filter(|text| !text.is_empty())
    }

    /// The lot.
    pub fn lot(&self) -> Option<&str> {
        Some(self.lot.as_str()).filter(|lot| !lot.is_empty())
    }

    /// Is this the verdict asked for?
    pub fn is(&self, verdict: Verdict) -> bool {
        self.verdict == words::verdict(verdict)
    }

    /// The units that are meant, those swept last first.
    ///
    /// # Errors
    /// A word that is no verdict.
    pub fn selection(&self) -> Result<Selection<'_>, Problem> {
        let verdict = VERDICTS.into_iter().find(|verdict| self.is(*verdict));
        if verdict.is_none() && !self.verdict.is_empty() {
            return Err(Problem::bad_request(format!(
                "{:?} is no verdict; choose one of the list",
                self.verdict
            )));
        }
        Ok(Selection { lot: self.lot(), verdict, text: self.text(), latest_first: true })
    }

    /// The address of a page of the same units.
    pub fn address(&self, page: usize) -> String {
        let [text, lot, verdict] = [&self.text, &self.lot, &self.verdict].map(|text| encoded(text));
        format!("?text={text}&lot={lot}&verdict={verdict}&page={page}")
    }
}

/// The rows of one page.
pub fn cut<T>(all: &[T], page: usize) -> impl Iterator<Item = &T> {
    all.iter().skip(page.saturating_sub(1).saturating_mul(ROWS)).take(ROWS)
}

/// Ways to the other pages.
pub fn ways(page: usize, total: usize, address: &dyn Fn(usize) -> String) -> Markup {
    let (page, last) = (page.max(1), total.div_ceil(ROWS).max(1));
    html! {
        @if last > 1 {
            nav class="ways" aria-label="Pages of the list" {
                @if page > 1 { a href=(address(page - 1)) rel="prev" { "Before" } }
                span { "Page " (page) " of " (last) }
                @if page < last { a href=(address(page + 1)) rel="next" { "Next" } }
            }
        }
    }
}
