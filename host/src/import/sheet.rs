//! What a stretch of copper reads: a plain track by its length and width, barrels by drill and plating, anything else by the
//! sheet solver.
//!
//! Conventions: each end is one potential over its whole pad or land, on every layer where it has copper; plated holes between are one
//! potential on each layer, joined by their barrels as if nothing filled them; plating lies outside the finished hole. A pin that
//! touches a spot of a pad reads up to a square's fraction more.

use std::collections::BTreeSet;

use super::cut::Stretch;
use super::layout::{LayerId, Layout};
use super::net::{Element, Net, Piece, PieceKind, Spot};
use super::region::{At, Region};
use crate::board::expected::RHO_COPPER;
use crate::copper::{Barrel, Conductor, CopperError, Layer, Shape, Solved, Terminal, Wanted, resistance};
use crate::plane::apart;
use crate::quantity::{Amps, Ohms};

/// How exactly the solver is asked for a board file: copper's own tolerance is tens of percent.
pub const RELATIVE: f64 = 0.005;
/// What is taken where more costs too much.
const COARSE: f64 = 0.03;
/// Triangles it may take for one stretch.
const MOST_TRIANGLES: usize = 400_000;
/// Copper this wide counts whole: an outline may be off by the relative error that is asked for, times this.
const DETAIL_MM: f64 = 1.0;
/// Ends of tracks so close meet, mm.
const MEET_MM: f64 = 0.02;

/// What a stretch is made of.
#[derive(Clone, PartialEq, Debug)]
pub enum Geometry {
    /// One track of one width between its ends.
    Track {
        /// From the edge of one land to that of the other.
        length_mm: f64,
        /// Width.
        width_mm: f64,
        /// Layer.
        layer: LayerId,
    },
    /// Barrels.
    Barrels {
        /// Vias, as places in [`Layout::vias`].
        vias: Vec<usize>,
        /// Layers they join.
        layers: [LayerId; 2],
    },
    /// Copper of any other shape.
    Pour,
}

/// What a stretch is made of.
pub fn geometry(net: &Net, stretch: &Stretch) -> Geometry {
    let mut pieces = stretch.pieces.iter().filter_map(|id| net.pieces.get(*id));
    match (pieces.next(), pieces.next()) {
        (Some(Piece { kind: PieceKind::Barrels { vias, layers }, .. }), None) => {
            Geometry::Barrels { vias: vias.clone(), layers: *layers }
        }
        (Some(Piece { kind: PieceKind::Copper { layer, elements }, .. }), None)
            if stretch.within.is_empty() =>
        {
            plain(elements).map_or(Geometry::Pour, |(length_mm, width_mm)| Geometry::Track {
                length_mm,
                width_mm,
                layer: *layer,
            })
        }
        _ => Geometry::Pour,
    }
}

/// Length and width of tracks that follow each other end to end with one width, from one land to another.
fn plain(elements: &[Element]) -> Option<(f64, f64)> {
    let width = 2.0 * elements.first()?.copper.radius();
    let ends: Vec<(At, bool)> = elements
        .iter()
        .flat_map(|element| {
            let points = element.copper.points();
            let [first, last] = element.is_cut();
            [points.first().map(|at| (*at, first)), points.last().map(|at| (*at, last))]
        })
        .flatten()
        .collect();
    let alike = |element: &Element| !element.area && (2.0 * element.copper.radius() - width).abs() < 1e-3;
    let partners = |at: At| ends.iter().filter(|(other, cut)| !cut && apart(at, *other) <= MEET_MM).count();
    // Two ends meet at every corner (each finds itself and the other), and just two end at lands.
    let follows = ends.iter().all(|(at, cut)| *cut || partners(*at) == 2);
    let cut = ends.iter().filter(|(_, cut)| *cut).count();
    let sound = elements.iter().all(alike) && follows && cut == 2 && elements.len() <= 2000;
    let length: f64 = elements.iter().map(|element| element.copper.length()).sum();
    (sound && length >= 0.01).then_some((length, width))
}

/// Layers whose copper a stretch takes, front to back.
pub fn layers(net: &Net, stretch: &Stretch) -> Vec<LayerId> {
    let pieces = stretch.pieces.iter().filter_map(|id| net.pieces.get(*id));
    let used: BTreeSet<LayerId> = pieces
        .flat_map(|piece| match &piece.kind {
            PieceKind::Copper { layer, .. } => vec![*layer],
            PieceKind::Barrels { layers, .. } => layers.to_vec(),
        })
        .collect();
    used.into_iter().collect()
}

/// What a stretch reads by the sheet solver, to a relative error, with its neck judged at a current.
///
/// # Errors
/// See [`CopperError`].
pub fn solve(
    layout: &Layout,
    net: &Net,
    stretch: &Stretch,
    relative: f64,
    current: Amps,
) -> Result<Solved, CopperError> {
    let detail_mm = relative * DETAIL_MM;
    let pieces: Vec<&Piece> = stretch.pieces.iter().filter_map(|id| net.pieces.get(*id)).collect();
    let used = layers(net, stretch);
    let place = |layer: LayerId| used.iter().position(|used| *used == layer);
    let mut layers: Vec<Layer> = used.iter().map(|id| sheet(layout, *id)).collect();
    let mut add = |layer: LayerId, copper: &Region| {
        if let Some(layer) = place(layer).and_then(|at| layers.get_mut(at)) {
            layer.shapes.extend(copper.shapes(detail_mm));
        }
    };
    for piece in &pieces {
        if let PieceKind::Copper { layer, elements } = &piece.kind {
            elements.iter().for_each(|element| add(*layer, &element.copper));
        }
    }
    let spots = stretch.within.iter().chain(&stretch.ends).filter_map(|id| net.spots.get(*id));
    spots.flat_map(|spot| &spot.lands).for_each(|(layer, land)| add(*layer, land));
    let mut barrels = Vec::new();
    for piece in &pieces {
        if let PieceKind::Barrels { vias, layers: [upper, lower] } = &piece.kind {
            for via in vias.iter().filter_map(|via| layout.vias.get(*via)) {
                if let (Some(one), Some(other)) = (place(*upper), place(*lower)) {
                    let rim = Shape::Disc { at: via.at, diameter_mm: via.drill_mm };
                    let resistance = layout.barrel(via.drill_mm, *upper, *lower);
                    barrels.push(Barrel { rim, layers: (one, other), resistance });
                }
            }
        }
    }
    for spot in stretch.within.iter().filter_map(|id| net.spots.get(*id)) {
        barrels.extend(holes(layout, spot, &used));
    }
    let conductor = Conductor { layers, barrels };
    let [from, to] = stretch.ends.map(|end| terminal(net.spots.get(end), place));
    // Of copper with very many details, less exact is better than nothing.
    let tolerable = relative.max(COARSE);
    resistance(
        &conductor,
        &from,
        &to,
        &Wanted { relative, tolerable, most_triangles: MOST_TRIANGLES, current },
    )
}

fn sheet(layout: &Layout, id: LayerId) -> Layer {
    let copper_um = layout.layers.get(id).map_or(super::layout::COPPER_UM, |layer| layer.copper_um);
    Layer {
        shapes: Vec::new(),
        cuts: Vec::new(),
        // Ω·mm²/m over µm is ohms a square.
        sheet: Ohms(RHO_COPPER / copper_um),
        copper_um,
        outer: id == 0 || id == layout.back(),
    }
}

/// Barrels of the plated holes of a spot's pads, between the layers in use.
fn holes(layout: &Layout, spot: &Spot, used: &[LayerId]) -> Vec<Barrel> {
    let pads = spot.pads.iter().filter_map(|pad| layout.pads.get(*pad));
    pads.filter_map(|pad| Some((pad, pad.hole.as_ref()?)))
        .flat_map(|(pad, hole)| {
            let on: Vec<_> =
                used.iter().enumerate().filter(|(_, layer)| pad.layers.contains(layer)).collect();
            let pairs: Vec<_> = on.iter().zip(on.iter().skip(1)).map(|(a, b)| (*a, *b)).collect();
            pairs.into_iter().filter_map(move |((one, upper), (other, lower))| {
                let rim = hole.shapes(0.0).into_iter().next()?;
                let resistance = layout.barrel(2.0 * hole.radius(), *upper, *lower);
                Some(Barrel { rim, layers: (one, other), resistance })
            })
        })
        .collect()
}

fn terminal(spot: Option<&Spot>, place: impl Fn(LayerId) -> Option<usize>) -> Terminal {
    let lands = spot.into_iter().flat_map(|spot| &spot.lands);
    let areas = lands.filter_map(|(layer, land)| Some((place(*layer)?, land)));
    let areas = areas.flat_map(|(at, land)| land.shapes(0.0).into_iter().map(move |shape| (at, shape)));
    Terminal { areas: areas.collect() }
}
