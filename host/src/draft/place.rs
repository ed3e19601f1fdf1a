//! The place of a problem: from bytes of a file to the part of the draft that they are about.

use std::ops::Range;

use serde::Serialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};
use utoipa::ToSchema;

/// A part of a board or fixture file.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, ToSchema)]
pub struct Place {
    /// The table: `board`, `supply`, `points`, `segment`, `pins` …
    pub part: String,
    /// Which of several, from 0.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index: Option<usize>,
    /// Which by name: a point, a state.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The key in it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
}

/// Tables whose keys are names.
const NAMED: [&str; 4] = ["points", "pins", "states", "reach"];

/// Everything that has a place in a text, with the bytes it takes.
pub(super) fn places(text: &str) -> Vec<(Range<usize>, Place)> {
    let (document, _) = DeTable::parse_recoverable(text);
    let mut found = Vec::new();
    for (part, value) in document.get_ref().iter() {
        let place = Place { part: part.get_ref().to_string(), index: None, name: None, key: None };
        found.push((part.span(), place.clone()));
        found.push((value.span(), place.clone()));
        match value.get_ref() {
            DeValue::Table(table) if NAMED.contains(&place.part.as_str()) => {
                for (name, value) in table.iter() {
                    let place = Place { name: Some(name.get_ref().to_string()), ..place.clone() };
                    found.push((name.span(), place.clone()));
                    found.push((value.span(), place.clone()));
                    inner(&place, value, &mut found);
                }
            }
            DeValue::Table(_) => inner(&place, value, &mut found),
            DeValue::Array(items) => {
                for (index, item) in items.iter().enumerate() {
                    let place = Place { index: Some(index), ..place.clone() };
                    found.push((item.span(), place.clone()));
                    inner(&place, item, &mut found);
                }
            }
            _ => {}
        }
    }
    found
}

/// The keys of a table.
fn inner(place: &Place, value: &Spanned<DeValue<'_>>, found: &mut Vec<(Range<usize>, Place)>) {
    let DeValue::Table(table) = value.get_ref() else { return };
    for (key, value) in table.iter() {
        let place = Place { key: Some(key.get_ref().to_string()), ..place.clone() };
        found.push((key.span(), place.clone()));
        found.push((value.span(), place));
    }
}

/// The narrowest place that a span lies in.
pub(super) fn of_span(places: &[(Range<usize>, Place)], span: &Range<usize>) -> Option<Place> {
    let around = places.iter().filter(|(range, _)| range.start <= span.start && span.end <= range.end);
    around.min_by_key(|(range, _)| range.len()).map(|(_, place)| place.clone())
}
