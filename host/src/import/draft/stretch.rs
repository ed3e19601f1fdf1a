//! What a stretch of copper is as a segment: a track, barrels side by side, or copper of any other shape.

use super::super::cut::{self, Stretch};
use super::super::layout::{COPPER_UM, LayerId, Layout, PLATING_UM};
use super::super::net::{Net, PieceKind, SpotId};
use super::super::sheet::{self, Geometry};
use super::DraftKind;
use super::name::{landmark, quoted, ways};
use crate::board::expected::trace_resistance;

/// Layers of copper whose thickness differs by no more are alike, µm.
const ALIKE_UM: f64 = 0.1;

/// A stretch, ready to be written.
pub struct Drafted {
    /// The name it should have.
    pub name: String,
    /// What it is.
    pub kind: DraftKind,
    /// Where its figures come from, line by line.
    pub comments: Vec<String>,
    /// What the layout leaves open.
    pub question: Option<String>,
}

/// What a stretch between two points is.
pub fn drafted(layout: &Layout, net: &Net, stretch: &Stretch, ends: &[String; 2]) -> Drafted {
    match sheet::geometry(net, stretch) {
        Geometry::Track { length_mm, width_mm, layer } => track(layout, [length_mm, width_mm], layer, ends),
        Geometry::Barrels { vias, layers } => barrels(layout, &vias, layers, ends),
        Geometry::Pour => pour(layout, net, stretch, ends),
    }
}

fn between(ends: &[String; 2]) -> String {
    format!("{} to {}", landmark(&ends[0]), landmark(&ends[1]))
}

fn layer_name(layout: &Layout, layer: LayerId) -> String {
    quoted(layout.layers.get(layer).map_or("", |layer| layer.name.as_str()))
}

fn is_inner(layout: &Layout, layer: LayerId) -> bool {
    layer != 0 && layer != layout.back()
}

fn track(layout: &Layout, [length_mm, width_mm]: [f64; 2], layer: LayerId, ends: &[String; 2]) -> Drafted {
    let mut comments = vec![format!("one track on {}, from pad edge to pad edge", layer_name(layout, layer))];
    let inner = is_inner(layout, layer);
    // The file has one copper thickness; a layer of another gets what it reads.
    let front_um = layout.layers.first().map_or(COPPER_UM, |layer| layer.copper_um);
    let copper_um = layout.layers.get(layer).map_or(0.0, |layer| layer.copper_um);
    let alike = (copper_um - front_um).abs() <= ALIKE_UM;
    if inner || !alike {
        comments.push(format!("copper of {copper_um:.0} µm here"));
    }
    let kind = if alike {
        DraftKind::Trace { length_mm, width_mm, inner }
    } else {
        comments.push(format!("{length_mm:.2} mm long, {width_mm:.3} mm wide"));
        DraftKind::Pour { typical: Some(trace_resistance(length_mm, width_mm, copper_um)), inner }
    };
    Drafted { name: between(ends), kind, comments, question: None }
}

fn barrels(layout: &Layout, vias: &[usize], [upper, lower]: [LayerId; 2], ends: &[String; 2]) -> Drafted {
    let drills = vias.iter().filter_map(|via| layout.vias.get(*via)).map(|via| via.drill_mm);
    let drill_mm = drills.fold(10.0, f64::min);
    let mut comments = vec![format!(
        "finished hole {drill_mm} mm in the layout; {PLATING_UM} µm of plating outside it is assumed"
    )];
    let whole = [upper, lower] == [0, layout.back()];
    if !whole {
        comments.push(format!(
            "between {} and {} only",
            layer_name(layout, upper),
            layer_name(layout, lower)
        ));
    }
    let typical = (!whole).then(|| layout.barrel(drill_mm, upper, lower) / vias.len() as f64);
    let [a, b] = [landmark(&ends[0]), landmark(&ends[1])];
    let one = match (a.starts_with("via"), b.starts_with("via")) {
        (true, _) => a.to_owned(),
        (false, true) => b.to_owned(),
        (false, false) => format!("via in {a}"),
    };
    let name = if vias.len() > 1 { format!("{one} and {} beside it", vias.len() - 1) } else { one };
    let kind = DraftKind::Via { count: vias.len().min(100), drill_mm: drill_mm + 2e-3 * PLATING_UM, typical };
    Drafted { name, kind, comments, question: None }
}

fn pour(layout: &Layout, net: &Net, stretch: &Stretch, ends: &[String; 2]) -> Drafted {
    let used = sheet::layers(net, stretch);
    let inner = !used.is_empty() && used.iter().all(|layer| is_inner(layout, *layer));
    let (mut comments, mut question) = (Vec::new(), None);
    if let Some([one, other]) = cut::two_ways(net, stretch) {
        let name = |spots: &[SpotId]| ways(layout, net, spots);
        comments.push(match one.is_empty() && other.is_empty() {
            true => "two ways side by side, with no pad or via on either".into(),
            false => format!("two ways side by side: {}, and {}", name(&one), name(&other)),
        });
        question = tracks_alone(net, stretch).then(|| {
            format!(
                "Between {} and {} copper runs two ways ({}; {}). They are one segment, since one reads the other too: \
                 is either meant to carry the current alone?",
                ends[0],
                ends[1],
                name(&one),
                name(&other)
            )
        });
    }
    Drafted { name: between(ends), kind: DraftKind::Pour { typical: None, inner }, comments, question }
}

/// Does a stretch consist of tracks and vias, without a pour?
fn tracks_alone(net: &Net, stretch: &Stretch) -> bool {
    let pieces = stretch.pieces.iter().filter_map(|id| net.pieces.get(*id));
    pieces.into_iter().all(|piece| match &piece.kind {
        PieceKind::Copper { elements, .. } => elements.iter().all(|element| !element.area),
        PieceKind::Barrels { .. } => true,
    })
}
