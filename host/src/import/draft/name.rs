//! Names of points and segments, and what a question calls a place.

use std::collections::BTreeSet;

use super::super::layout::Layout;
use super::super::net::{Net, SpotId};
use crate::visible::{clean, hidden};

/// Letters of a name in a board file.
const NAME_LONGEST: usize = 40;

/// A text of the layout, in a comment or a question.
pub fn quoted(text: &str) -> String {
    format!("`{}`", clean(text))
}

/// A part's reference, or a via without its side: what a segment is named after.
pub fn landmark(point: &str) -> &str {
    let part = point.rsplit_once('.').map_or(point, |(reference, _)| reference);
    part.strip_suffix(" front").or(part.strip_suffix(" back")).unwrap_or(part)
}

/// A name that a board file takes and that is not taken.
pub fn free_name(wanted: &str, taken: &BTreeSet<&str>) -> String {
    let plain: String = wanted
        .chars()
        .map(|c| match c {
            '~' | '=' => '-',
            c if hidden(c).is_some() => ' ',
            c => c,
        })
        .collect();
    let cut =
        |text: &str, longest: usize| text.trim().chars().take(longest).collect::<String>().trim().to_owned();
    let plain =
        Some(cut(&plain, NAME_LONGEST)).filter(|name| !name.is_empty()).unwrap_or_else(|| "pad".into());
    if !taken.contains(plain.as_str()) {
        return plain;
    }
    let numbered = (2..).map(|n| format!("{} ({n})", cut(&plain, NAME_LONGEST - 8)));
    numbered.into_iter().find(|name| !taken.contains(name.as_str())).unwrap_or(plain)
}

/// Spots of one of two ways, in words.
pub fn ways(layout: &Layout, net: &Net, spots: &[SpotId]) -> String {
    const SHOWN: usize = 4;
    let name = |spot: &SpotId| -> Option<String> {
        let spot = net.spots.get(*spot)?;
        let pad = spot.pads.first().and_then(|pad| layout.pads.get(*pad));
        Some(match pad {
            Some(pad) => clean(&layout.pad_name(pad)).into_owned(),
            None => {
                let [x, y] = spot.at(layout)?;
                format!("the via at ({x:.1}, {y:.1})")
            }
        })
    };
    let mut names: Vec<String> = spots.iter().filter_map(name).collect();
    names.dedup();
    if names.is_empty() {
        return "directly".into();
    }
    let more = names.len().saturating_sub(SHOWN);
    names.truncate(SHOWN);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("by {}{more}", names.join(", "))
}
