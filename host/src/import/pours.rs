//! What copper of any shape on the path reads, and what the board file says of how that was found.

use super::cut::Stretch;
use super::layout::Layout;
use super::net::Net;
use super::sheet;
use crate::copper::{CopperError, Neck};
use crate::quantity::{Amps, Ohms};
use crate::visible::clean;

/// A stretch whose copper was solved.
#[derive(Clone, PartialEq, Debug)]
pub(super) struct Worked {
    /// What it reads.
    pub resistance: Ohms,
    /// How exactly, and where it is narrowest.
    pub comments: Vec<String>,
}

/// Solves the copper of a stretch; its neck is judged at `load`.
///
/// # Errors
/// See [`CopperError`].
pub(super) fn worked_out(
    layout: &Layout,
    net: &Net,
    stretch: &Stretch,
    load: Amps,
) -> Result<Worked, CopperError> {
    let solved = sheet::solve(layout, net, stretch, sheet::RELATIVE, load)?;
    let percent = 100.0 * (solved.error.0 / solved.resistance.0).abs();
    let neck = solved.neck.map(|neck| neck_words(layout, net, stretch, &neck));
    let comments =
        [format!("solved over its copper, within {percent:.2} %")].into_iter().chain(neck).collect();
    Ok(Worked { resistance: solved.resistance, comments })
}

fn neck_words(layout: &Layout, net: &Net, stretch: &Stretch, neck: &Neck) -> String {
    let layer = sheet::layers(net, stretch).get(neck.layer).and_then(|layer| layout.layers.get(*layer));
    let [x, y] = neck.at;
    format!(
        "narrowest at ({x:.1}, {y:.1}) on `{}`: {:.2} mm for {:.0} % of the current",
        clean(layer.map_or("", |layer| layer.name.as_str())),
        neck.width_mm,
        100.0 * neck.share
    )
}
