//! `[[isolation]]`: points that must be apart.

use std::ops::Range;

use super::{ISOLATION_MOST, Names};
use crate::board::{PointId, StateId};
use crate::document::{Item, Told};
use crate::quantity::Ohms;

/// An `[[isolation]]`.
pub(in crate::board) struct IsolationDraft {
    pub span: Range<usize>,
    pub between: Result<[PointId; 2], Told>,
    pub min: Result<Ohms, Told>,
    pub state: Result<StateId, Told>,
    pub junction: Result<bool, Told>,
}

/// Reads one isolation.
///
/// # Errors
/// It is not even a table.
pub(super) fn read(item: &Item<'_>, names: &Names<'_>) -> Result<IsolationDraft, Told> {
    let table = item.table("an [[isolation]]", "write it as [[isolation]]")?;
    table.only(&["between", "min", "state", "junction"]);
    let pair_help = r#"between = ["reg.in", "cell-"]"#;
    let between = table.must("between", pair_help).and_then(|item| {
        let [a, b] = item.pair(pair_help)?;
        let (first, second) = (names.point(&a), names.point(&b));
        match (first?, second?) {
            (first, second) if first == second => {
                Err(b.refuse("an isolation lies between two points", pair_help))
            }
            between => Ok(between.into()),
        }
    });
    let only_one_state = names.states.as_ref().is_ok_and(|states| states.len() == 1);
    let state = match table.item("state") {
        Some(item) => names.state(&item),
        None if only_one_state => Ok(StateId::new(0)),
        None => {
            table.must("state", "the state it is judged in, such as state = \"on\"").map(|_| StateId::new(0))
        }
    };
    Ok(IsolationDraft {
        between,
        span: table.span.clone(),
        min: table.must("min", r#"min = "5 kohm""#).and_then(|item| item.ohms(Ohms(1.0), ISOLATION_MOST)),
        state,
        junction: table.item("junction").map_or(Ok(false), |item| item.yes_or_no()),
    })
}
