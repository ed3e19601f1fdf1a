//! Long lists of units on the pages: which are meant, and a screenful at a time.

use maud::{Markup, html};
use serde::Deserialize;

use super::link::encoded;
use crate::{
    records::status::Status,
    report::words,
    verdict::Verdict,
    web::{
        problem::Problem,
        selection::{Order, Selection},
    },
};

/// Rows of a page.
const ROWS: usize = 100;

/// Verdicts by which the list can be cut down.
pub const VERDICTS: [Verdict; 4] = [Verdict::Pass, Verdict::Fail, Verdict::Unproven, Verdict::Void];

/// Orders of the list, each with the word for it.
pub const ORDERS: [(Order, &str); 4] = [
    (Order::Latest, "last swept"),
    (Order::Serial, "serial number"),
    (Order::Status, "status"),
    (Order::Fault, "most likely fault"),
];

/// Which units, and which page of them. Fields of a form come empty where nothing was chosen.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct Wanted {
    text: String,
    lot: String,
    verdict: String,
    status: String,
    order: String,
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

    /// Is this the status asked for?
    pub fn stands(&self, status: Status) -> bool {
        self.status == words::status(status)
    }

    /// Is this word the order asked for?
    pub fn is_by(&self, order: &str) -> bool {
        self.order == order
    }

    /// The units that are meant, of one lot where the page is that lot's.
    ///
    /// # Errors
    /// A word that stands in none of the lists.
    pub fn selection(&self, lot: Option<&str>) -> Result<Selection, Problem> {
        Ok(Selection {
            lot: lot.or(self.lot()).map(str::to_owned),
            verdict: chosen(&self.verdict, VERDICTS.map(|verdict| (verdict, words::verdict(verdict))))?,
            status: chosen(&self.status, Status::ALL.map(|status| (status, words::status(status))))?,
            text: self.text().map(str::to_owned),
            order: chosen(&self.order, ORDERS)?.unwrap_or(Order::Latest),
        })
    }

    /// The address of a page of the same units.
    pub fn address(&self, page: usize) -> String {
        let [text, lot, verdict, status, order] =
            [&self.text, &self.lot, &self.verdict, &self.status, &self.order].map(|text| encoded(text));
        format!("?text={text}&lot={lot}&verdict={verdict}&status={status}&order={order}&page={page}")
    }
}

/// What a word of a form's list stands for; `None` where nothing was chosen.
fn chosen<T>(word: &str, list: impl IntoIterator<Item = (T, &'static str)>) -> Result<Option<T>, Problem> {
    if word.is_empty() {
        return Ok(None);
    }
    match list.into_iter().find(|(_, known)| *known == word) {
        Some((meant, _)) => Ok(Some(meant)),
        None => Err(Problem::bad_request(format!("{word:?} is not in the list; choose what is"))),
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
