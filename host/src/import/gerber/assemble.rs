//! From objects and holes to a layout: lands of pins over all layers become pads, lands with a hole become vias, lines become tracks.

use std::collections::{BTreeMap, HashMap};

use super::Set;
use super::image::{Mark, Object};
use crate::import::attribute::Tags;
use crate::import::drill::{Hole, Plating};
use crate::import::edge;
use crate::import::layout::{CopperLayer, Fill, LayerId, Layout, NetId, Pad, Part, PartId, Track, Via};
use crate::import::region::{At, Region};
use crate::plane::apart;

/// Holes without a land at their place, times the corners they are looked for between: seconds.
const MOST_COMPARED: usize = 2_000_000_000;
/// Places so close are one: what rounding leaves.
const SAME_MM: f64 = 0.002;

/// Lands of one pin, or of one via, at one place.
#[derive(Default)]
struct Lands {
    /// Part and number, of a pin.
    pin: Option<[String; 2]>,
    net: Option<NetId>,
    at: At,
    /// Is it made for a drilled hole?
    drilled: bool,
    copper: BTreeMap<LayerId, Vec<Region>>,
    hole: Option<Region>,
}

/// A place to a micrometre.
type Cell = [i64; 2];

fn cell(at: At) -> Cell {
    at.map(|mm| (mm * 1000.0).round() as i64)
}

#[derive(Default)]
pub struct Assembly {
    layout: Layout,
    nets: HashMap<String, NetId>,
    parts: HashMap<String, PartId>,
    lands: Vec<Lands>,
    /// Lands by pin and place.
    known: HashMap<(Option<[String; 2]>, Cell), usize>,
    /// Lands by place.
    places: HashMap<Cell, Vec<usize>>,
    netless: usize,
    joining: usize,
    lonely: usize,
    holeless: usize,
}

impl Assembly {
    /// The layout of a set; `None` where holes are too many to be matched.
    pub fn of(mut set: Set) -> Option<Layout> {
        let mut assembly = Self::default();
        let copper = std::mem::take(&mut set.copper);
        let layers = copper.len();
        for (layer, (_, _, objects)) in copper.into_iter().enumerate() {
            for object in objects {
                assembly.object(layer, object);
            }
        }
        let holes = std::mem::take(&mut set.holes);
        let unsaid = holes.iter().any(|hole| hole.plating == Plating::Unsaid);
        assembly.holes(holes, layers)?;
        for lands in std::mem::take(&mut assembly.lands) {
            assembly.lands_of(lands);
        }
        assembly.values(&set.components);
        Some(assembly.finish(set, layers, unsaid))
    }

    fn net(&mut self, tags: &Tags) -> Option<NetId> {
        let name = tags.nets.first()?;
        self.joining += usize::from(tags.nets.len() > 1);
        let next = self.layout.nets.len();
        let id = *self.nets.entry(name.clone()).or_insert(next);
        if id == next {
            self.layout.nets.push(name.clone());
        }
        Some(id)
    }

    fn object(&mut self, layer: LayerId, object: Object) {
        let tags = &object.tags;
        let net = self.net(tags);
        // A line of a pin is part of its land, unless it says that it leads away from it.
        let leads = object.mark == Mark::Draw && tags.is_for("Conductor");
        let pin = tags.pin.clone().filter(|_| !leads);
        let via =
            matches!(object.mark, Mark::Flash(_)) && (tags.is_for("ViaPad") || tags.function.is_empty());
        if pin.is_some() || (via && net.is_some()) {
            let drilled = tags.is_for("ViaPad") || tags.is_for("ComponentPad");
            let at = match object.mark {
                Mark::Flash(at) => at,
                _ => middle(&object.copper),
            };
            self.land(layer, Lands { pin, net, at, drilled, ..Lands::default() }, object.copper);
            return;
        }
        let Some(net) = net else {
            self.netless += 1;
            return;
        };
        for copper in object.copper {
            if object.mark == Mark::Draw {
                if copper.radius() > 0.0 {
                    self.layout.tracks.push(Track { net, layer, copper });
                }
            } else {
                self.layout.fills.push(Fill { net, layer, copper });
            }
        }
    }

    fn land(&mut self, layer: LayerId, lands: Lands, copper: Vec<Region>) {
        let next = self.lands.len();
        let at = cell(lands.at);
        let id = *self.known.entry((lands.pin.clone(), at)).or_insert(next);
        if id == next {
            self.lands.push(lands);
            self.places.entry(at).or_default().push(id);
        } else if let Some(known) = self.lands.get_mut(id) {
            known.drilled |= lands.drilled;
            known.net = known.net.or(lands.net);
        }
        if let Some(known) = self.lands.get_mut(id) {
            known.copper.entry(layer).or_default().extend(copper);
        }
    }

    /// Lands at a place, to rounding.
    fn lands_at(&self, at: At) -> Vec<usize> {
        let [x, y] = cell(at);
        let cells = (-2..=2).flat_map(|dx| (-2..=2).map(move |dy| [x + dx, y + dy]));
        let found = cells.filter_map(|cell| self.places.get(&cell)).flatten().copied();
        found.filter(|id| self.lands.get(*id).is_some_and(|lands| apart(lands.at, at) <= SAME_MM)).collect()
    }

    /// Gives each plated hole to the lands around it.
    fn holes(&mut self, holes: Vec<Hole>, layers: usize) -> Option<()> {
        let mut elsewhere = Vec::new();
        for hole in holes.into_iter().filter(|hole| hole.plating != Plating::Bare) {
            let here = self.lands_at(hole.at());
            let via =
                here.iter().copied().find(|id| self.lands.get(*id).is_some_and(|lands| lands.pin.is_none()));
            let pin =
                here.iter().copied().find(|id| self.lands.get(*id).is_some_and(|lands| lands.pin.is_some()));
            // A via in the middle of a surface land belongs to the via; a pad that says nothing else has it itself.
            let chosen = if hole.function == "ComponentDrill" { pin.or(via) } else { via.or(pin) };
            match chosen {
                Some(id) => self.drill(id, &hole, layers),
                None => elsewhere.push(hole),
            }
        }
        let tracks = self.layout.tracks.iter().map(|track| &track.copper);
        let fills = self.layout.fills.iter().map(|fill| &fill.copper);
        let lands = self.lands.iter().flat_map(|lands| lands.copper.values().flatten());
        let corners: usize = tracks.chain(fills).chain(lands).map(|copper| copper.points().len()).sum();
        if corners.saturating_mul(elsewhere.len()) > MOST_COMPARED {
            return None;
        }
        for hole in elsewhere {
            self.off_centre(&hole, layers);
        }
        Some(())
    }

    fn drill(&mut self, id: usize, hole: &Hole, layers: usize) {
        let Some(lands) = self.lands.get_mut(id) else { return };
        let at = hole.at();
        // A via has one land on all its layers: the smallest. What is more of it on others is copper that joins it.
        let of_layer = |copper: &Vec<Region>| copper.iter().map(width).fold(0.0, f64::max);
        let least = lands.copper.values().map(of_layer).fold(f64::INFINITY, f64::min);
        let land_mm = least.max(2.0 * hole.copper.radius());
        match (&lands.pin, lands.net) {
            (Some(_), _) => {
                lands.at = at;
                lands.hole = Some(hole.copper.clone());
            }
            (None, Some(net)) => {
                let is_land = |copper: &Region| {
                    copper.points().len() == 1 && (2.0 * copper.radius() - land_mm).abs() < SAME_MM
                };
                let other = std::mem::take(&mut lands.copper).into_iter();
                let other =
                    other.flat_map(|(layer, copper)| copper.into_iter().map(move |copper| (layer, copper)));
                let fills = other.filter(|(_, copper)| !is_land(copper)).map(|(layer, copper)| Fill {
                    net,
                    layer,
                    copper,
                });
                self.layout.fills.extend(fills);
                self.via(net, hole, land_mm, layers);
            }
            (None, None) => self.netless += 1,
        }
    }

    fn via(&mut self, net: NetId, hole: &Hole, land_mm: f64, layers: usize) {
        let last = layers.saturating_sub(1);
        let [first, end] = hole.span.unwrap_or([1, layers]).map(|layer| layer.saturating_sub(1).min(last));
        let drill_mm = 2.0 * hole.copper.radius();
        self.layout.vias.push(Via { net, at: hole.at(), land_mm, drill_mm, layers: [first, end] });
    }

    /// A hole that has no land at its middle: of a pad that lies off its hole, or a via in other copper of one net.
    fn off_centre(&mut self, hole: &Hole, layers: usize) {
        let at = hole.at();
        let holds = |copper: &Region| copper.holds(at, 0.0);
        let pad = self.lands.iter().position(|lands| {
            let through = lands.drilled || lands.copper.len() > 1;
            lands.pin.is_some()
                && lands.hole.is_none()
                && through
                && lands.copper.values().flatten().any(holds)
        });
        if let Some(pad) = pad {
            return self.drill(pad, hole, layers);
        }
        let tracks = self.layout.tracks.iter().map(|track| (track.net, track.layer, &track.copper));
        let fills = self.layout.fills.iter().map(|fill| (fill.net, fill.layer, &fill.copper));
        let lands = self.lands.iter().filter_map(|lands| Some((lands.net?, &lands.copper)));
        let lands = lands.flat_map(|(net, all)| {
            all.iter().flat_map(move |(layer, copper)| copper.iter().map(move |copper| (net, *layer, copper)))
        });
        let around = tracks.chain(fills).chain(lands).filter(|(_, _, copper)| holds(copper));
        let mut found: Vec<(NetId, LayerId)> = around.map(|(net, layer, _)| (net, layer)).collect();
        found.sort_unstable();
        found.dedup();
        match found.as_slice() {
            [(net, _), rest @ ..] if !rest.is_empty() && rest.iter().all(|(other, _)| other == net) => {
                self.via(*net, hole, 2.0 * hole.copper.radius(), layers);
            }
            _ => self.lonely += 1,
        }
    }

    /// A pad of a pin; or, without pin, copper.
    fn lands_of(&mut self, lands: Lands) {
        let Lands { pin, net, at, drilled, copper, hole } = lands;
        let Some([reference, number]) = pin else {
            let Some(net) = net else { return };
            self.holeless += usize::from(drilled && !copper.is_empty());
            let all = copper
                .into_iter()
                .flat_map(|(layer, copper)| copper.into_iter().map(move |copper| (layer, copper)));
            self.layout.fills.extend(all.map(|(layer, copper)| Fill { net, layer, copper }));
            return;
        };
        let part = self.part(reference);
        let pad = |copper: Vec<Region>, layers, hole| Pad {
            part,
            number: number.clone(),
            net,
            at,
            copper,
            layers,
            hole,
        };
        if hole.is_none() {
            // Nothing joins the layers of a pad without a hole.
            self.layout.pads.extend(copper.into_iter().map(|(layer, copper)| pad(copper, vec![layer], None)));
            return;
        }
        // A pad has one shape on all its layers: the smallest. What is more of it on others is copper that joins it.
        let size = |copper: &[Region]| copper.iter().map(width).fold(0.0, f64::max);
        let smallest =
            copper.values().min_by(|a, b| size(a).total_cmp(&size(b))).cloned().unwrap_or_default();
        if let Some(net) = net {
            let other = copper.iter().filter(|(_, copper)| **copper != smallest);
            let more = other.flat_map(|(layer, copper)| copper.iter().map(|copper| (*layer, copper.clone())));
            self.layout.fills.extend(more.map(|(layer, copper)| Fill { net, layer, copper }));
        }
        self.layout.pads.push(pad(smallest, copper.into_keys().collect(), hole));
    }

    fn part(&mut self, reference: String) -> PartId {
        let next = self.layout.parts.len();
        let id = *self.parts.entry(reference.clone()).or_insert(next);
        if id == next {
            self.layout.parts.push(Part { reference, value: String::new() });
        }
        id
    }

    /// Values of parts, which component layers hold.
    fn values(&mut self, components: &[Object]) {
        for tags in components.iter().map(|object| &object.tags) {
            let named = tags.part.as_ref().or(tags.pin.as_ref().and_then(|pin| pin.first()));
            let part =
                named.and_then(|name| self.parts.get(name)).and_then(|id| self.layout.parts.get_mut(*id));
            if let (Some(part), Some(value)) = (part, &tags.value) {
                part.value.clone_from(value);
            }
        }
    }

    fn finish(self, set: Set, layers: usize, unsaid: bool) -> Layout {
        let mut layout = self.layout;
        layout.format = "Gerber files with X2 attributes".into();
        (layout.title, layout.revision) = (set.title, set.revision);
        layout.outline = edge::outline(set.edge);
        layout.layers = CopperLayer::evenly(layers.max(2));
        layout.has_copper = true;
        let mut note = |said: bool, text: String| {
            if said {
                layout.notes.push(text);
            }
        };
        let listed =
            |names: &[String]| names.iter().take(5).map(String::as_str).collect::<Vec<_>>().join(", ");
        note(
            !set.nameless.is_empty(),
            format!(
                "{} Gerber files do not say what they hold ({})",
                set.nameless.len(),
                listed(&set.nameless)
            ),
        );
        note(
            self.netless > 0,
            format!("{} pieces of copper belong to no net (drawings, texts)", self.netless),
        );
        note(
            self.joining > 0,
            format!("{} pieces of copper join several nets and count as of the first", self.joining),
        );
        note(unsaid, "a drill file does not say whether its holes are plated: where copper of a net surrounds one, it is".into());
        note(self.lonely > 0, format!("{} plated holes lie in no copper of one net", self.lonely));
        note(self.holeless > 0, format!("{} lands of vias have no hole in the drill files", self.holeless));
        let valued = layout.parts.iter().any(|part| !part.value.is_empty());
        note(
            !valued,
            "the files have no values of parts (no X3 component layer): kinds are told by references alone"
                .into(),
        );
        layout.settle();
        layout
    }
}

/// Width of a region across, at its narrowest along the axes.
fn width(region: &Region) -> f64 {
    let [[lx, ly], [hx, hy]] = region.bounds().corners();
    // To a nanometre: corners carry the rounding of their place.
    ((hx - lx).min(hy - ly) * 1e6).round() / 1e6
}

/// The middle of copper, moved onto it where it is not on it.
fn middle(copper: &[Region]) -> At {
    let corners = copper.iter().flat_map(|region| region.bounds().corners()).collect::<Vec<_>>();
    let [[lx, ly], [hx, hy]] = crate::import::region::Bounds::of(&corners).corners();
    let at = [(lx + hx) / 2.0, (ly + hy) / 2.0];
    if copper.iter().any(|region| region.holds(at, 0.0)) {
        return at;
    }
    copper.iter().find_map(|region| region.points().first().copied()).unwrap_or(at)
}
