//! Copper of any shape on the path: what it reads, solved for all stretches at once, because that is most of an import's time.

use std::collections::BTreeMap;

use super::cut::Stretch;
use super::draft::{ASSUMED_LOAD, Draft, DraftKind, quoted};
use super::layout::{Layout, NetId};
use super::net::Net;
use super::sheet;
use crate::copper::Neck;
use crate::parallel;

/// A segment of a draft whose copper is still to be solved.
#[derive(Debug)]
pub(super) struct Unsolved {
    /// Its name.
    pub segment: String,
    /// Its net.
    pub net: NetId,
    /// Its copper.
    pub stretch: Stretch,
}

/// Writes into a draft what these segments read, or asks.
pub(super) fn solve(layout: &Layout, nets: &BTreeMap<NetId, Net>, unsolved: &[Unsolved], draft: &mut Draft) {
    let solved = parallel::map(unsolved, |Unsolved { net, stretch, .. }| {
        let net = nets.get(net)?;
        Some((net, sheet::solve(layout, net, stretch, sheet::RELATIVE, ASSUMED_LOAD)))
    });
    for (Unsolved { segment, stretch, .. }, solved) in unsolved.iter().zip(solved) {
        let drafted = draft.segments.iter_mut().find(|drafted| drafted.name == *segment);
        let (Some(drafted), Some((net, solved))) = (drafted, solved) else { continue };
        match solved {
            Ok(solved) => {
                let percent = 100.0 * (solved.error.0 / solved.resistance.0).abs();
                drafted.comments.push(format!("solved over its copper, within {percent:.2} %"));
                drafted.comments.extend(solved.neck.map(|neck| neck_words(layout, net, stretch, &neck)));
                if let DraftKind::Pour { typical, .. } = &mut drafted.kind {
                    *typical = Some(solved.resistance);
                }
            }
            Err(error) => {
                drafted.comments.push(format!("NOT WORKED OUT: {error}"));
                draft.questions.push(format!(
                    "What does the copper from {} to {} read? It could not be worked out ({error}). Measure it on a good \
                     board and write `typical`: without it the file does not pass `check`.",
                    drafted.ends[0], drafted.ends[1]
                ));
            }
        }
    }
}

fn neck_words(layout: &Layout, net: &Net, stretch: &Stretch, neck: &Neck) -> String {
    let layer = sheet::layers(net, stretch).get(neck.layer).and_then(|layer| layout.layers.get(*layer));
    let [x, y] = neck.at;
    format!(
        "narrowest at ({x:.1}, {y:.1}) on {}: {:.2} mm for {:.0} % of the current",
        quoted(layer.map_or("", |layer| layer.name.as_str())),
        neck.width_mm,
        100.0 * neck.share
    )
}
