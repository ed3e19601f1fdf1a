//! Lists: a page of them at a time, filtered and sorted.

use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::web::problem::Problem;

/// Items on a page at most.
const MOST: usize = 1_000;

/// Which page of a list.
#[derive(Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub struct Paging {
    /// The page, counted from 1.
    #[serde(default = "first")]
    #[param(minimum = 1, default = 1)]
    page: usize,
    /// Items on a page, 1 to 1000.
    #[serde(default = "usual")]
    #[param(minimum = 1, maximum = 1000, default = 100)]
    per_page: usize,
}

fn first() -> usize {
    1
}

fn usual() -> usize {
    100
}

/// A page of a list.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Listed<T> {
    /// Items in the whole list.
    pub total: usize,
    /// This page, counted from 1.
    pub page: usize,
    /// Items on a page.
    pub per_page: usize,
    /// The items.
    pub items: Vec<T>,
}

impl Paging {
    /// Cuts the page out of the whole list.
    ///
    /// # Errors
    /// A page 0, or more items on a page than there may be.
    pub fn cut<T>(self, all: Vec<T>) -> Result<Listed<T>, Problem> {
        let Self { page, per_page } = self;
        if page == 0 || per_page == 0 || per_page > MOST {
            let detail = format!(
                "pages count from 1 and hold 1 to {MOST} items; got page={page}, per_page={per_page}"
            );
            return Err(Problem::bad_request(detail));
        }
        let total = all.len();
        let skip = (page - 1).saturating_mul(per_page);
        let items = all.into_iter().skip(skip).take(per_page).collect();
        Ok(Listed { total, page, per_page, items })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cut(page: usize, per_page: usize) -> Result<Vec<usize>, Problem> {
        Paging { page, per_page }.cut((0..10).collect()).map(|listed| listed.items)
    }

    #[test]
    fn pages_join_up_and_end() {
        assert_eq!(cut(1, 4), Ok(vec![0, 1, 2, 3]));
        assert_eq!(cut(3, 4), Ok(vec![8, 9]));
        assert_eq!(cut(4, 4), Ok(vec![]));
        assert_eq!(cut(usize::MAX, 1_000), Ok(vec![]));
    }

    #[test]
    fn what_is_no_page_is_refused() {
        for (page, per_page) in [(0, 10), (1, 0), (1, MOST + 1)] {
            assert_eq!(cut(page, per_page).unwrap_err().status, 400);
        }
    }
}
