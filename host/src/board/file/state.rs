//! `[states]`: the positions a unit is put in.

use crate::board::State;
use crate::document::{Table, Told, check_name};

/// Order is the order of the file; without `[states]` there is the one a unit lies in.
pub(super) fn read(root: &Table<'_>) -> Result<Vec<State>, Told> {
    let Some(item) = root.item("states") else {
        return Ok(vec![State { name: "as placed".into(), prompt: String::new() }]);
    };
    let table = item.table("[states]", r#"write lines such as on = "Slide the switch to ON""#)?;
    let items = table.items();
    if !(1..=16).contains(&items.len()) {
        let message = format!("[states] has {} states", items.len());
        return Err(
            table.refuse(message, "from 1 to 16 belong here; leave [states] out if there is nothing to do")
        );
    }
    let states: Vec<_> = items
        .iter()
        .map(|(name, _, item)| {
            let name =
                check_name(name).map_err(|(what, help)| item.refuse(format!("the state {what}"), help));
            let prompt = item.text();
            Ok(State { name: name?.to_owned(), prompt: prompt?.to_owned() })
        })
        .collect();
    states.into_iter().collect()
}
