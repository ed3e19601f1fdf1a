//! The copper of one net as a graph: spots (pads, and the lands of vias by layer) and pieces (copper of one layer that hangs together
//! without passing a spot, and barrels of vias).
//!
//! A pin touches a spot, so a spot counts as one potential and parts what it lies between: a track that runs through a pad is two
//! pieces. Copper joins copper where it overlaps, widths and all, whether or not centre lines or ends meet.

use std::collections::{BTreeMap, BTreeSet};

use super::layout::{LayerId, Layout, NetId};
use super::region::{At, Region, length};
use crate::board::Side;
use crate::plane::apart;

/// Copper closer than this is joined: what rounding leaves, and what the sheet solver closes.
const GAP_MM: f64 = crate::copper::GAP_MM;
/// Steps in which a track is followed through pads, mm; where it enters is then found to a thousandth of that.
const STEP_MM: f64 = 0.05;
/// Vias that share copper on two layers and stand closer than this act as one.
const GROUP_MM: f64 = 2.5;

/// Place in [`Net::spots`].
pub type SpotId = usize;
/// Place in [`Net::pieces`].
pub type PieceId = usize;

/// A net.
pub struct Net {
    /// Which.
    pub id: NetId,
    /// Places a pin could touch, and lands inside the board.
    pub spots: Vec<Spot>,
    /// What joins them.
    pub pieces: Vec<Piece>,
}

/// Lands of one potential.
#[derive(Clone, Debug, Default)]
pub struct Spot {
    /// Pads, as places in [`Layout::pads`].
    pub pads: Vec<usize>,
    /// Vias, as places in [`Layout::vias`].
    pub vias: Vec<usize>,
    /// Copper by layer.
    pub lands: Vec<(LayerId, Region)>,
    /// Pieces that touch it.
    pub pieces: BTreeSet<PieceId>,
}

/// What joins spots.
#[derive(Clone, Debug)]
pub struct Piece {
    /// What it is.
    pub kind: PieceKind,
    /// Spots that it touches.
    pub spots: BTreeSet<SpotId>,
}

/// Copper, or barrels.
#[derive(Clone, Debug)]
pub enum PieceKind {
    /// Copper of one layer.
    Copper {
        /// Layer.
        layer: LayerId,
        /// What it consists of.
        elements: Vec<Element>,
    },
    /// Barrels side by side.
    Barrels {
        /// Vias, as places in [`Layout::vias`].
        vias: Vec<usize>,
        /// Layers they join.
        layers: [LayerId; 2],
    },
}

/// A track between spots, or an area.
#[derive(Clone, Debug)]
pub struct Element {
    /// Layer.
    pub layer: LayerId,
    /// What of it lies outside spots, for a track; the whole, for an area.
    pub copper: Region,
    /// Is it an area?
    pub area: bool,
    /// Lands at which its ends were cut off.
    ends: [Option<usize>; 2],
}

impl Element {
    /// Was this end cut off at a spot?
    pub fn is_cut(&self) -> [bool; 2] {
        self.ends.map(|end| end.is_some())
    }
}

/// Sets that grow together.
struct Groups(Vec<usize>);

impl Groups {
    fn new(count: usize) -> Self {
        Self((0..count).collect())
    }

    fn of(&mut self, mut at: usize) -> usize {
        while let Some(&up) = self.0.get(at).filter(|up| **up != at) {
            let above = self.0.get(up).copied().unwrap_or(up);
            if let Some(entry) = self.0.get_mut(at) {
                *entry = above;
            }
            at = above;
        }
        at
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.of(a), self.of(b));
        if let Some(entry) = self.0.get_mut(a.max(b)) {
            *entry = a.min(b);
        }
    }
}

/// A land before lands are joined to spots.
struct Land {
    layers: Vec<LayerId>,
    copper: Vec<Region>,
    owner: Owner,
}

#[derive(Clone, Copy, PartialEq)]
enum Owner {
    Pad(usize),
    Via(usize),
}

impl Land {
    fn on(&self, layer: LayerId) -> bool {
        self.layers.contains(&layer)
    }

    fn holds(&self, at: At) -> bool {
        self.copper.iter().any(|copper| copper.holds(at, 0.0))
    }

    fn meets(&self, other: &Region) -> bool {
        self.copper.iter().any(|copper| copper.meets(other, GAP_MM))
    }
}

impl Net {
    /// The graph of a net.
    pub fn of(layout: &Layout, id: NetId) -> Self {
        let lands = lands(layout, id);
        let elements = elements(layout, id, &lands);
        let mut pieces = Groups::new(elements.len());
        for (i, one) in elements.iter().enumerate() {
            for (j, other) in elements.iter().enumerate().skip(i + 1) {
                if pieces.of(i) != pieces.of(j) && joined(one, other) {
                    pieces.join(i, j);
                }
            }
        }
        // Which land touches which piece.
        let mut touches: Vec<BTreeSet<usize>> = vec![BTreeSet::new(); lands.len()];
        for (land, touched) in lands.iter().zip(&mut touches) {
            for (i, element) in elements.iter().enumerate().filter(|(_, element)| land.on(element.layer)) {
                let piece = pieces.of(i);
                if !touched.contains(&piece) && land.meets(&element.copper) {
                    touched.insert(piece);
                }
            }
        }
        let mut spots = Groups::new(lands.len());
        for (i, one) in lands.iter().enumerate() {
            for (j, other) in lands.iter().enumerate().skip(i + 1) {
                let same_layer = one.layers.iter().any(|layer| other.on(*layer));
                if same_layer && other.copper.iter().any(|copper| one.meets(copper)) {
                    spots.join(i, j);
                }
            }
        }
        group_vias(layout, &lands, &touches, &mut spots);
        assemble(layout, id, lands, &elements, touches, pieces, spots)
    }

    /// The spots that a pad is part of.
    pub fn spots_of_pad(&self, pad: usize) -> impl Iterator<Item = SpotId> + '_ {
        self.spots.iter().enumerate().filter(move |(_, spot)| spot.pads.contains(&pad)).map(|(id, _)| id)
    }
}

impl Spot {
    /// From which side a pin can touch it.
    pub fn side(&self, layout: &Layout) -> Option<Side> {
        let on = |layer| self.lands.iter().any(|(land, _)| *land == layer);
        match (on(0), on(layout.back())) {
            (true, true) => Some(Side::Both),
            (true, false) => Some(Side::Front),
            (false, true) => Some(Side::Back),
            (false, false) => None,
        }
    }

    /// Where a pin touches it: the middle of its pad, or of its via.
    pub fn at(&self, layout: &Layout) -> Option<At> {
        let pad = self.pads.first().and_then(|&pad| layout.pads.get(pad)).map(|pad| pad.at);
        pad.or_else(|| {
            let vias: Vec<At> = self.vias.iter().filter_map(|&via| Some(layout.vias.get(via)?.at)).collect();
            let count = vias.len() as f64;
            let middle = [0, 1].map(|axis| vias.iter().filter_map(|at| at.get(axis)).sum::<f64>() / count);
            vias.into_iter().min_by(|a, b| apart(*a, middle).total_cmp(&apart(*b, middle)))
        })
    }
}

fn lands(layout: &Layout, id: NetId) -> Vec<Land> {
    let pads = layout.pads.iter().enumerate().filter(|(_, pad)| pad.net == Some(id)).map(|(i, pad)| Land {
        layers: pad.layers.clone(),
        copper: pad.copper.clone(),
        owner: Owner::Pad(i),
    });
    let vias = layout.vias.iter().enumerate().filter(|(_, via)| via.net == id).flat_map(|(i, via)| {
        let [first, last] = via.layers;
        (first..=last).map(move |layer| Land {
            layers: vec![layer],
            copper: vec![Region::disc(via.at, via.land_mm)],
            owner: Owner::Via(i),
        })
    });
    pads.chain(vias).collect()
}

/// Tracks cut at the lands they run through, and areas.
fn elements(layout: &Layout, id: NetId, lands: &[Land]) -> Vec<Element> {
    let tracks = layout.tracks.iter().filter(|track| track.net == id);
    let mut elements: Vec<Element> = tracks
        .flat_map(|track| {
            let near = |land: &Land| land.on(track.layer) && land.meets(&track.copper);
            let near: Vec<_> = lands.iter().enumerate().filter(|(_, land)| near(land)).collect();
            outside(track.copper.points(), &near).into_iter().map(|(points, ends)| Element {
                layer: track.layer,
                copper: Region::line(points, track.width_mm()),
                area: false,
                ends,
            })
        })
        .collect();
    let fills = layout.fills.iter().filter(|fill| fill.net == id);
    elements.extend(fills.map(|fill| Element {
        layer: fill.layer,
        copper: fill.copper.clone(),
        area: true,
        ends: [None, None],
    }));
    elements
}

/// A line outside lands: its parts, and the lands their ends were cut off at.
type Parts = Vec<(Vec<At>, [Option<usize>; 2])>;

fn outside(points: &[At], lands: &[(usize, &Land)]) -> Parts {
    if lands.is_empty() {
        return vec![(points.to_vec(), [None, None])];
    }
    let land_at = |at: At| lands.iter().find(|(_, land)| land.holds(at)).map(|(i, _)| *i);
    let mut parts: Parts = Vec::new();
    let Some(&first) = points.first() else { return parts };
    let mut inside = land_at(first);
    let mut part = if inside.is_none() { vec![first] } else { Vec::new() };
    let mut began = None;
    for (&a, &b) in points.iter().zip(points.iter().skip(1)) {
        let steps = (apart(a, b) / STEP_MM).ceil().clamp(1.0, 100_000.0);
        let on = |t: f64| {
            let ([ax, ay], [bx, by]) = (a, b);
            [ax + (bx - ax) * t, ay + (by - ay) * t]
        };
        let mut before = 0.0;
        for step in 1..=steps as usize {
            let t = step as f64 / steps;
            let now = land_at(on(t));
            if now != inside {
                let edge = crossing(|t| land_at(on(t)) == inside, before, t);
                match (inside, now) {
                    (None, _) => {
                        part.push(on(edge));
                        parts.push((std::mem::take(&mut part), [began, now]));
                    }
                    (Some(_), None) => {
                        part = vec![on(edge)];
                        began = inside;
                    }
                    // Lands nearer to each other than a step: what lies between is copper all the same.
                    (Some(_), Some(_)) => {
                        let next = crossing(|t| land_at(on(t)) != now, edge, t);
                        parts.push((vec![on(edge), on(next)], [inside, now]));
                    }
                }
                inside = now;
            }
            before = t;
        }
        if inside.is_none() {
            part.push(b);
        }
    }
    if inside.is_none() && !part.is_empty() {
        parts.push((part, [began, None]));
    }
    // A part no longer than rounding only touches what it lies beside.
    parts.retain(|(points, ends)| length(points) > GAP_MM || *ends == [None, None]);
    parts
}

/// Where something ceases to be so between two values, to a thousandth of their distance.
fn crossing(so: impl Fn(f64) -> bool, mut from: f64, mut to: f64) -> f64 {
    for _ in 0..12 {
        let middle = (from + to) / 2.0;
        if so(middle) {
            from = middle;
        } else {
            to = middle;
        }
    }
    (from + to) / 2.0
}

/// Does copper of one element touch that of another? Two tracks that leave the same spot side by side overlap beside it without
/// being joined elsewhere; that beginning is left out.
fn joined(one: &Element, other: &Element) -> bool {
    if one.layer != other.layer || !one.copper.meets(&other.copper, GAP_MM) {
        return false;
    }
    let shared = |end: &Option<usize>, of: &Element| end.is_some() && of.ends.contains(end);
    let reach = 3.0 * one.copper.radius().max(other.copper.radius());
    let without = |element: &Element, of: &Element| -> Option<Region> {
        let mut points = element.copper.points().to_vec();
        for (end, turn) in element.ends.iter().zip([false, true]) {
            if shared(end, of) {
                points = shortened(points, turn, reach)?;
            }
        }
        Some(Region::line(points, 2.0 * element.copper.radius()))
    };
    if one.area || other.area || !one.ends.iter().any(|end| shared(end, other)) {
        return true;
    }
    match (without(one, other), without(other, one)) {
        (Some(one), Some(other)) => one.meets(&other, GAP_MM),
        _ => false,
    }
}

/// A line without so much of its beginning, or of its end; `None` if nothing is left.
fn shortened(mut points: Vec<At>, from_end: bool, by: f64) -> Option<Vec<At>> {
    if from_end {
        points.reverse();
    }
    let mut left = by;
    let mut rest = Vec::new();
    for (&a, &b) in points.iter().zip(points.iter().skip(1)) {
        let ([ax, ay], [bx, by], step) = (a, b, apart(a, b));
        if left >= step {
            left -= step;
            continue;
        }
        if rest.is_empty() {
            let t = left / step;
            rest.push([ax + (bx - ax) * t, ay + (by - ay) * t]);
            left = 0.0;
        }
        rest.push(b);
    }
    if from_end {
        rest.reverse();
    }
    (rest.len() > 1).then_some(rest)
}

/// Vias of one drill within a few millimetres of each other that share copper on two layers become one.
fn group_vias(layout: &Layout, lands: &[Land], touches: &[BTreeSet<usize>], spots: &mut Groups) {
    let mut lands_of: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    let mut alike: BTreeMap<(i64, [LayerId; 2]), BTreeSet<usize>> = BTreeMap::new();
    for (i, land) in lands.iter().enumerate() {
        let Owner::Via(via) = land.owner else { continue };
        lands_of.entry(via).or_default().push(i);
        if let Some(of) = layout.vias.get(via) {
            alike.entry(((of.drill_mm * 1e4) as i64, of.layers)).or_default().insert(via);
        }
    }
    let shares = |(one, other): (&usize, &usize)| match (touches.get(*one), touches.get(*other)) {
        (Some(one), Some(other)) => !one.is_disjoint(other),
        _ => false,
    };
    for vias in alike.values() {
        for (n, one) in vias.iter().enumerate() {
            for other in vias.iter().skip(n + 1) {
                let near = match (layout.vias.get(*one), layout.vias.get(*other)) {
                    (Some(one), Some(other)) => apart(one.at, other.at) <= GROUP_MM,
                    _ => false,
                };
                let (Some(mine), Some(theirs)) = (lands_of.get(one), lands_of.get(other)) else { continue };
                if near && mine.iter().zip(theirs).filter(|pair| shares(*pair)).count() > 1 {
                    mine.iter().zip(theirs).for_each(|(a, b)| spots.join(*a, *b));
                }
            }
        }
    }
}

fn assemble(
    layout: &Layout,
    id: NetId,
    lands: Vec<Land>,
    elements: &[Element],
    touches: Vec<BTreeSet<usize>>,
    mut groups: Groups,
    mut joined: Groups,
) -> Net {
    let mut pieces: Vec<Piece> = Vec::new();
    let mut piece_of: BTreeMap<usize, PieceId> = BTreeMap::new();
    for (i, element) in elements.iter().enumerate() {
        let root = groups.of(i);
        let at = *piece_of.entry(root).or_insert_with(|| {
            let kind = PieceKind::Copper { layer: element.layer, elements: Vec::new() };
            pieces.push(Piece { kind, spots: BTreeSet::new() });
            pieces.len() - 1
        });
        if let Some(Piece { kind: PieceKind::Copper { elements, .. }, .. }) = pieces.get_mut(at) {
            elements.push(element.clone());
        }
    }
    // A via's land inside the board counts only where something touches it, or a land that it is joined to.
    let needed: BTreeSet<usize> = lands
        .iter()
        .zip(&touches)
        .enumerate()
        .filter(|(_, (land, touched))| {
            let outer = land.layers.iter().any(|&layer| layer == 0 || layer == layout.back());
            outer || !touched.is_empty() || matches!(land.owner, Owner::Pad(_))
        })
        .map(|(i, _)| joined.of(i))
        .collect();
    let mut spots: Vec<Spot> = Vec::new();
    let mut spot_of: BTreeMap<usize, SpotId> = BTreeMap::new();
    let mut spot_of_land: Vec<Option<SpotId>> = Vec::new();
    for (i, (land, touched)) in lands.iter().zip(&touches).enumerate() {
        let root = joined.of(i);
        if !needed.contains(&root) {
            spot_of_land.push(None);
            continue;
        }
        let at = *spot_of.entry(root).or_insert_with(|| {
            spots.push(Spot::default());
            spots.len() - 1
        });
        spot_of_land.push(Some(at));
        let Some(spot) = spots.get_mut(at) else { continue };
        match land.owner {
            Owner::Pad(pad) => spot.pads.push(pad),
            Owner::Via(via) if !spot.vias.contains(&via) => spot.vias.push(via),
            Owner::Via(_) => {}
        }
        let copper =
            |layer: &LayerId| land.copper.iter().map(|copper| (*layer, copper.clone())).collect::<Vec<_>>();
        spot.lands.extend(land.layers.iter().flat_map(copper));
        for piece in touched.iter().filter_map(|&root| piece_of.get(&groups.of(root))) {
            spot.pieces.insert(*piece);
            if let Some(piece) = pieces.get_mut(*piece) {
                piece.spots.insert(at);
            }
        }
    }
    if !layout.has_copper {
        // Pads alone: what the list says is joined is joined somehow.
        let kind = PieceKind::Copper { layer: 0, elements: Vec::new() };
        spots.iter_mut().for_each(|spot| spot.pieces.extend([pieces.len()]));
        pieces.push(Piece { kind, spots: (0..spots.len()).collect() });
    }
    add_barrels(layout, &lands, &spot_of_land, &mut spots, &mut pieces);
    Net { id, spots, pieces }
}

/// Barrels between the lands of each via that count; those between the same spots are one piece.
fn add_barrels(
    layout: &Layout,
    lands: &[Land],
    spot_of_land: &[Option<SpotId>],
    spots: &mut [Spot],
    pieces: &mut Vec<Piece>,
) {
    let mut between: BTreeMap<([SpotId; 2], [LayerId; 2]), Vec<usize>> = BTreeMap::new();
    let mut above: Option<(usize, LayerId, SpotId)> = None;
    for (land, spot) in lands.iter().zip(spot_of_land) {
        let (Owner::Via(via), Some(spot), Some(&layer)) = (land.owner, *spot, land.layers.first()) else {
            continue;
        };
        if let Some((of, upper, from)) = above
            && of == via
            && from != spot
        {
            between.entry(([from, spot], [upper, layer])).or_default().push(via);
        }
        above = Some((via, layer, spot));
    }
    for ((ends, layers), vias) in between {
        // Barrels of one piece have one drill, so that it can be written down.
        let drill = |via: &usize| layout.vias.get(*via).map_or(0, |via| (via.drill_mm * 1e4) as i64);
        let mut by_drill: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
        vias.into_iter().for_each(|via| by_drill.entry(drill(&via)).or_default().push(via));
        for vias in by_drill.into_values() {
            let piece = pieces.len();
            pieces.push(Piece { kind: PieceKind::Barrels { vias, layers }, spots: ends.into() });
            for spot in ends {
                if let Some(spot) = spots.get_mut(spot) {
                    spot.pieces.insert(piece);
                }
            }
        }
    }
}
