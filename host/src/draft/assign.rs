//! Which points need which pins, and a free channel for each that lacks one.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use toml_edit::Item;

use super::open::{FIXTURE, document};
use super::{Draft, DraftError, Keys, Texts};

/// Channels of a bench as it is built by the guide, where the fixture says nothing.
const USUAL: [(&str, u64); 2] = [("force_channels", 16), ("sense_channels", 48)];

/// Gives every point the pins that the check asks for: force and sense at the ends of the supply path and of branches and where
/// isolation is proven, sense wherever a segment ends. Channels that are given already stay, as do pins that nothing asks for. `base` is the fixture
/// file so far, whose check standards and thermometers have channels of their own.
///
/// # Errors
/// The fixture file is not TOML.
pub fn assign(draft: &mut Draft, base: Option<&Texts>) -> Result<(), DraftError> {
    for (key, usual) in USUAL {
        draft.controller.entry(key).or_insert_with(|| usual.into());
    }
    let needs = needs(draft);
    let built_in = base.map(|texts| built_in(&texts.fixture)).transpose()?.unwrap_or_default();
    for ((word, (key, _)), fixed) in ["force", "sense"].into_iter().zip(USUAL).zip(built_in) {
        let count = draft.controller.get(key).and_then(Value::as_u64).unwrap_or(0);
        let mut used = fixed;
        for point in &mut draft.points {
            let Some(pins) = &mut point.pins else { continue };
            // A channel that leads somewhere already is given anew.
            if let Some(channel) = pins.get(word).and_then(Value::as_u64)
                && !used.insert(channel)
            {
                pins.remove(word);
            }
        }
        let mut free = (0..count).filter(|channel| !used.contains(channel));
        for point in &mut draft.points {
            let need = needs.get(&point.name).copied().unwrap_or_default();
            let wanted = if word == "force" { need.force } else { need.sense };
            let has = point.pins.as_ref().is_some_and(|pins| pins.contains_key(word));
            if wanted
                && !has
                && let Some(channel) = free.next()
            {
                point.pins.get_or_insert_with(Keys::new).insert(word.into(), channel.into());
            }
        }
    }
    for point in &mut draft.points {
        let leads_nowhere = |pins: &Keys| !pins.contains_key("force") && !pins.contains_key("sense");
        if point.pins.as_ref().is_some_and(leads_nowhere) {
            point.pins = None;
        }
    }
    Ok(())
}

/// What is asked of a point.
#[derive(Clone, Copy, Default)]
struct Need {
    touched: usize,
    force: bool,
    sense: bool,
}

/// By the names that supply, segments and isolations use.
fn needs(draft: &Draft) -> BTreeMap<String, Need> {
    let mut needs: BTreeMap<String, Need> = BTreeMap::new();
    let texts = |value: Option<&Value>| -> Vec<String> {
        match value {
            Some(Value::String(text)) => vec![text.clone()],
            Some(Value::Array(all)) => {
                all.iter().filter_map(|text| text.as_str().map(str::to_owned)).collect()
            }
            _ => Vec::new(),
        }
    };
    for segment in &draft.segments {
        for end in ["from", "to"].into_iter().flat_map(|key| texts(segment.keys.get(key))) {
            needs.entry(end).or_default().touched += 1;
        }
    }
    let ends = ["from", "to", "return"].into_iter().flat_map(|key| texts(draft.supply.get(key)));
    let apart = draft.isolation.iter().flat_map(|entry| texts(entry.keys.get("between")));
    for name in ends.chain(apart) {
        needs.entry(name).or_default().force = true;
    }
    for need in needs.values_mut() {
        need.force |= need.touched == 1;
        need.sense = need.force || need.touched > 0;
    }
    needs
}

/// Force and sense channels of what is built into the bed.
fn built_in(fixture: &str) -> Result<[BTreeSet<u64>; 2], DraftError> {
    let document = document(FIXTURE, fixture)?;
    let lists =
        ["standard", "thermometer"].into_iter().filter_map(|key| document.get(key)?.as_array_of_tables());
    let tables: Vec<_> = lists.flatten().collect();
    Ok(["force", "sense"].map(|key| {
        let pairs = tables.iter().filter_map(|table| table.get(key).and_then(Item::as_array));
        pairs.flatten().filter_map(|channel| u64::try_from(channel.as_integer()?).ok()).collect()
    }))
}
