//! The board as a person would write it: points, segments, states, and the questions that the layout leaves open.

use std::collections::{BTreeMap, BTreeSet};

use super::cut::{self, Stretch};
use super::error::ImportError;
use super::layout::{Layout, NetId, PLATING_UM, PartId};
use super::net::{Net, SpotId};
use super::parts::Conductor;
use super::path::{self, Link, Parts};
use super::pours;
use super::region::At;
use super::sheet::{self, Geometry};
use crate::board::Side;
use crate::board::expected::trace_resistance;
use crate::parallel;
use crate::plane::apart;
use crate::quantity::{Amps, Ohms};
use crate::visible::clean;

/// Current that necks are judged at, and that the board file states until somebody knows better.
pub const ASSUMED_LOAD: Amps = Amps(0.1);
/// Segments a board file takes (`board::file`).
const MOST_SEGMENTS: usize = 2000;
/// Letters of a name in a board file.
const NAME_LONGEST: usize = 40;

/// What is asked for.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Request {
    /// Where the supply comes in, such as `J1.1`.
    pub from: String,
    /// The loads.
    pub to: Vec<String>,
    /// The other terminal.
    pub ret: String,
    /// Pairs of pads of parts with more than two, such as `SW1.3-2`.
    pub through: Vec<String>,
}

/// A point to be written.
#[derive(Clone, PartialEq, Debug)]
pub struct DraftPoint {
    /// Name.
    pub name: String,
    /// Place.
    pub at: At,
    /// From which side a pin touches it.
    pub side: Side,
    /// Word of its kind.
    pub kind: &'static str,
}

/// A segment to be written.
#[derive(Clone, PartialEq, Debug)]
pub struct DraftSegment {
    /// Name.
    pub name: String,
    /// Names of its points.
    pub ends: [String; 2],
    /// What it is.
    pub kind: DraftKind,
    /// Where its figures come from, line by line.
    pub comments: Vec<String>,
}

/// What a segment is; a pour is without a figure where its copper could not be worked out.
#[derive(Clone, PartialEq, Debug)]
#[allow(missing_docs)] // the keys of board files
pub enum DraftKind {
    Trace { length_mm: f64, width_mm: f64, inner: bool },
    Pour { typical: Option<Ohms>, inner: bool },
    Via { count: usize, drill_mm: f64, typical: Option<Ohms> },
    Part(Conductor),
}

/// A board to be written.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Draft {
    /// Ends of the supply, by the names of their points: from, loads, return.
    pub from: String,
    /// Loads.
    pub to: Vec<String>,
    /// Return.
    pub ret: String,
    /// Points.
    pub points: Vec<DraftPoint>,
    /// Segments.
    pub segments: Vec<DraftSegment>,
    /// Names of switches on the path.
    pub switches: Vec<String>,
    /// What could not be decided.
    pub questions: Vec<String>,
}

impl Draft {
    /// Does every segment have its figure?
    pub fn is_whole(&self) -> bool {
        !self.segments.iter().any(|one| matches!(one.kind, DraftKind::Pour { typical: None, .. }))
    }
}

struct Builder<'l> {
    layout: &'l Layout,
    nets: BTreeMap<NetId, Net>,
    draft: Draft,
    names: BTreeMap<(NetId, SpotId), String>,
    vias: BTreeMap<(NetId, usize), usize>,
    joined: BTreeSet<[String; 2]>,
    ends: BTreeSet<usize>,
    /// Where a net was entered before, so that branches begin at one place.
    entered: BTreeMap<(NetId, Vec<usize>), SpotId>,
    /// Segments of copper that is solved once all are known.
    unsolved: Vec<Unsolved>,
}

/// A segment whose copper is still to be solved.
struct Unsolved {
    segment: String,
    net: NetId,
    stretch: Stretch,
}

/// Finds the supply path and cuts it into segments.
///
/// # Errors
/// A point is unknown, nets do not meet, or copper is missing.
pub fn draft(layout: &Layout, request: &Request) -> Result<Draft, ImportError> {
    let parts = path::parts(layout, &request.through)?;
    let from = pads_named(layout, &request.from)?;
    let ret = pads_named(layout, &request.ret)?;
    let (from_net, ret_net) = (net_of(layout, &from, &request.from)?, net_of(layout, &ret, &request.ret)?);
    let one_net = |other: &str, net: NetId, why| ImportError::OneNet {
        one: request.from.clone(),
        other: other.into(),
        net: layout.net_name(net).into(),
        why,
    };
    if from_net == ret_net {
        return Err(one_net(
            &request.ret,
            ret_net,
            "supply and return must be apart; name the other terminal",
        ));
    }
    let mut builder = Builder {
        layout,
        nets: BTreeMap::new(),
        draft: Draft::default(),
        names: BTreeMap::new(),
        vias: BTreeMap::new(),
        joined: BTreeSet::new(),
        ends: from.iter().chain(&ret).copied().collect(),
        entered: BTreeMap::new(),
        unsolved: Vec::new(),
    };
    let mut supply_nets = BTreeSet::from([from_net]);
    let mut loads = Vec::new();
    for name in &request.to {
        let pads = pads_named(layout, name)?;
        let net = net_of(layout, &pads, name)?;
        if net == ret_net {
            return Err(one_net(
                name,
                net,
                "a load's supply pad is not on the return's net; name its other pad",
            ));
        }
        builder.ends.extend(&pads);
        let barred = BTreeSet::from([ret_net]);
        let goal = BTreeSet::from([net]);
        let Some((links, _)) = parts.way(from_net, &goal, &barred, &BTreeSet::new(), false) else {
            let between = parts.between(layout, from_net, net, &barred);
            return Err(ImportError::Apart { from: request.from.clone(), to: name.clone(), between });
        };
        builder.other_ways(&parts, from_net, &goal, &barred, &links);
        supply_nets.extend(links.iter().flat_map(|link| link.ends.iter().map(|(_, net)| *net)));
        loads.push((name.clone(), pads, links));
    }
    for (name, pads, links) in &loads {
        let [first, last] = builder.walk(&request.from, &from, links, name, pads, false)?;
        builder.draft.from = first;
        builder.draft.to.push(last);
    }
    for (name, pads, _) in &loads {
        builder.walk_back(&parts, request, &ret, ret_net, name, pads, &supply_nets)?;
    }
    builder.finish()
}

/// Pads that a point names. One reference and number may be several pads.
fn pads_named(layout: &Layout, given: &str) -> Result<Vec<usize>, ImportError> {
    let Some((reference, number)) = given.rsplit_once('.') else {
        return Err(ImportError::NotAPoint { given: given.into() });
    };
    let of_part =
        |pad: &&super::layout::Pad| layout.part(pad.part).is_some_and(|part| part.reference == reference);
    let pads = layout.pads.iter().enumerate();
    let found: Vec<usize> =
        pads.filter(|(_, pad)| of_part(pad) && pad.number == number).map(|(id, _)| id).collect();
    if !found.is_empty() {
        return Ok(found);
    }
    let numbers: BTreeSet<&str> = layout.pads.iter().filter(of_part).map(|pad| pad.number.as_str()).collect();
    let help = if numbers.is_empty() {
        let all: Vec<&str> = layout.parts.iter().map(|part| part.reference.as_str()).collect();
        crate::document::suggestion(reference, &all)
    } else {
        let some: Vec<&str> = numbers.into_iter().take(20).collect();
        format!("{reference} has the pads {}", some.join(", "))
    };
    Err(ImportError::NoPad { given: given.into(), help })
}

fn net_of(layout: &Layout, pads: &[usize], given: &str) -> Result<NetId, ImportError> {
    let net = pads.iter().filter_map(|pad| layout.pads.get(*pad)).find_map(|pad| pad.net);
    net.ok_or_else(|| ImportError::NoNet { given: given.into() })
}

impl Builder<'_> {
    fn net(&mut self, id: NetId) -> &Net {
        self.nets.entry(id).or_insert_with(|| Net::of(self.layout, id))
    }

    /// Ways that leave out one part each of the way that was taken.
    fn other_ways(
        &mut self,
        parts: &Parts,
        from: NetId,
        to: &BTreeSet<NetId>,
        barred: &BTreeSet<NetId>,
        taken: &[Link],
    ) {
        let names = |links: &[Link]| -> String {
            let parts = links.iter().filter_map(|link| self.layout.part(link.part));
            parts.map(|part| part.reference.clone()).collect::<Vec<_>>().join(", ")
        };
        let mut told = BTreeSet::new();
        for link in taken {
            let without = BTreeSet::from([link.part]);
            if let Some((other, _)) = parts.way(from, to, barred, &without, false) {
                told.insert(names(&other));
            }
        }
        let questions = told.into_iter().map(|other| {
            format!(
                "The supply can also pass {other}; the way through {} was taken. Where both conduct, the readings of each \
                 include the other: is that so?",
                names(taken)
            )
        });
        let questions: Vec<_> =
            questions.filter(|question| !self.draft.questions.contains(question)).collect();
        self.draft.questions.extend(questions);
    }

    /// One way from pads to pads over parts; the names of its first and last point. `against` when it leads from the return to a load.
    fn walk(
        &mut self,
        from_name: &str,
        from: &[usize],
        links: &[Link],
        to_name: &str,
        to: &[usize],
        against: bool,
    ) -> Result<[String; 2], ImportError> {
        let mut at: Vec<usize> = from.to_vec();
        let mut label = from_name.to_owned();
        let mut first = None;
        let mut came: Option<(&Link, String)> = None;
        for step in 0..=links.len() {
            let link = links.get(step);
            let net = at
                .iter()
                .filter_map(|pad| self.layout.pads.get(*pad))
                .find_map(|pad| pad.net)
                .unwrap_or_default();
            let (goal, goal_label, (next, next_label)) = match link {
                Some(link) => {
                    let [(a, near), (b, _)] = &link.ends;
                    let (enter, leave) = if *near == net { (a, b) } else { (b, a) };
                    let pads = |number: &str| self.pads_of(link.part, number);
                    let name = |number: &str| self.part_name(link.part, number);
                    (pads(enter), name(enter), (pads(leave), name(leave)))
                }
                None => (to.to_vec(), to_name.to_owned(), (Vec::new(), String::new())),
            };
            let mark = self.draft.segments.len();
            let [a, b] = self.copper(net, &at, &goal, &label, &goal_label)?;
            if let Some((link, before)) = came.take() {
                let count = self.draft.segments.len();
                self.part(link, [before, a.clone()], against);
                // In the order of the way: a part stands before the copper behind it, whose first point names its end.
                if self.draft.segments.len() > count
                    && let Some(behind) = self.draft.segments.get_mut(mark..)
                {
                    behind.rotate_right(1);
                }
            }
            first.get_or_insert_with(|| a.clone());
            if let Some(link) = link {
                let leaving = if next.is_empty() { goal.clone() } else { next.clone() };
                label = next_label;
                at = leaving;
                came = Some((link, b));
            } else {
                return Ok([first.unwrap_or(a), b]);
            }
        }
        Ok([first.unwrap_or_default(), String::new()])
    }

    fn pads_of(&self, part: PartId, number: &str) -> Vec<usize> {
        let pads = self.layout.pads.iter().enumerate();
        pads.filter(|(_, pad)| pad.part == part && pad.number == number && pad.net.is_some())
            .map(|(i, _)| i)
            .collect()
    }

    fn part_name(&self, part: PartId, number: &str) -> String {
        format!("{}.{number}", self.layout.part(part).map_or("", |part| part.reference.as_str()))
    }

    /// The copper of a net between some pads and some others; the names of the points it begins and ends at.
    fn copper(
        &mut self,
        id: NetId,
        from: &[usize],
        to: &[usize],
        from_name: &str,
        to_name: &str,
    ) -> Result<[String; 2], ImportError> {
        let layout = self.layout;
        let entered = self.entered.get(&(id, from.to_vec())).copied();
        self.net(id);
        let Some(net) = self.nets.get(&id) else { return Ok([String::new(), String::new()]) };
        let spots = |pads: &[usize]| -> BTreeSet<SpotId> {
            pads.iter().flat_map(|pad| net.spots_of_pad(*pad)).collect()
        };
        let starts = entered.map_or_else(|| spots(from), |spot| BTreeSet::from([spot]));
        let goals = spots(to);
        let pairs = starts.iter().flat_map(|a| goals.iter().map(move |b| (*a, *b)));
        let nearest = pairs.filter_map(|(a, b)| Some((cut::steps(net, a, b)?, a, b))).min();
        let Some((_, a, b)) = nearest else {
            let (net, from, to) = (layout.net_name(id).to_owned(), from_name.to_owned(), to_name.to_owned());
            let unfilled = layout.unfilled.iter().find(|(net, _)| *net == id);
            return Err(match unfilled.and_then(|(_, layer)| layout.layers.get(*layer)) {
                Some(layer) => ImportError::Unfilled { net, from, to, layer: layer.name.clone() },
                None => ImportError::Broken { net, from, to },
            });
        };
        self.entered.insert((id, from.to_vec()), a);
        if a == b {
            let name = self.point(id, a);
            return Ok([name.clone(), name]);
        }
        let stretches = cut::stretches(layout, net, a, b).unwrap_or_default();
        for stretch in &stretches {
            self.stretch(id, stretch)?;
        }
        Ok([self.point(id, a), self.point(id, b)])
    }

    /// The point of a spot, made when it is first asked for.
    fn point(&mut self, id: NetId, spot_id: SpotId) -> String {
        if let Some(name) = self.names.get(&(id, spot_id)) {
            return name.clone();
        }
        let layout = self.layout;
        self.net(id);
        let Some(spot) = self.nets.get(&id).and_then(|net| net.spots.get(spot_id)) else {
            return String::new();
        };
        let side = spot.side(layout).unwrap_or(Side::Front);
        let at = spot.at(layout).unwrap_or_default();
        let end = spot.pads.iter().find(|pad| self.ends.contains(pad));
        let pad = end.or(spot.pads.first()).and_then(|pad| layout.pads.get(*pad));
        let (wanted, kind) = match pad {
            Some(pad) => {
                let reference = layout.part(pad.part).map_or("", |part| part.reference.as_str());
                let kind = match () {
                    () if end.is_some() => "terminal",
                    () if reference.starts_with("TP") => "test",
                    () if pad.hole.is_some() => "leg",
                    () => "pad",
                };
                (layout.pad_name(pad), kind)
            }
            None => {
                let first = spot.vias.first().copied().unwrap_or_default();
                let next = self.vias.len() + 1;
                let number = *self.vias.entry((id, first)).or_insert(next);
                let side = match side {
                    Side::Front => " front",
                    Side::Back => " back",
                    Side::Both => "",
                };
                (format!("via {number}{side}"), "via")
            }
        };
        let taken: BTreeSet<&str> = self.draft.points.iter().map(|point| point.name.as_str()).collect();
        let name = free_name(&wanted, &taken);
        self.draft.points.push(DraftPoint { name: name.clone(), at, side, kind });
        self.names.insert((id, spot_id), name.clone());
        name
    }

    fn stretch(&mut self, id: NetId, stretch: &Stretch) -> Result<(), ImportError> {
        let [a, b] = stretch.ends;
        let ends = [self.point(id, a), self.point(id, b)];
        if !self.join(&ends) {
            return Ok(());
        }
        let layout = self.layout;
        let Some(net) = self.nets.get(&id) else { return Ok(()) };
        let mut comments = vec![format!("net {}", quoted(layout.net_name(id)))];
        let layer_name = |layer: usize| layout.layers.get(layer).map_or("", |layer| layer.name.as_str());
        let mut questions = Vec::new();
        let mut wanted = format!("{} to {}", landmark(&ends[0]), landmark(&ends[1]));
        let kind = match sheet::geometry(net, stretch) {
            Geometry::Track { length_mm, width_mm, layer } => {
                comments
                    .push(format!("one track on {}, from pad edge to pad edge", quoted(layer_name(layer))));
                let inner = layer != 0 && layer != layout.back();
                let odd = layout.layers.get(layer).map_or(0.0, |layer| layer.copper_um);
                if inner || (odd - front_um(layout)).abs() > 0.1 {
                    // The file has one copper thickness; a layer of another gets what it reads.
                    comments.push(format!("copper of {odd:.0} µm here"));
                    let typical = trace_resistance(length_mm, width_mm, odd);
                    if (odd - front_um(layout)).abs() > 0.1 {
                        comments.push(format!("{length_mm:.2} mm long, {width_mm:.3} mm wide"));
                        DraftKind::Pour { typical: Some(typical), inner }
                    } else {
                        DraftKind::Trace { length_mm, width_mm, inner }
                    }
                } else {
                    DraftKind::Trace { length_mm, width_mm, inner }
                }
            }
            Geometry::Barrels { vias, layers: [upper, lower] } => {
                let drill_mm = vias
                    .iter()
                    .filter_map(|via| layout.vias.get(*via))
                    .map(|via| via.drill_mm)
                    .fold(10.0, f64::min);
                comments.push(format!(
                    "finished hole {drill_mm} mm in the layout; {PLATING_UM} µm of plating outside it is assumed"
                ));
                let whole = [upper, lower] == [0, layout.back()];
                let each = layout.barrel(drill_mm, upper, lower);
                if !whole {
                    let (upper, lower) = (quoted(layer_name(upper)), quoted(layer_name(lower)));
                    comments.push(format!("between {upper} and {lower} only"));
                }
                let [a, b] = [landmark(&ends[0]), landmark(&ends[1])];
                wanted = match a.starts_with("via") {
                    true => a.to_owned(),
                    false if b.starts_with("via") => b.to_owned(),
                    false => format!("via in {a}"),
                };
                if vias.len() > 1 {
                    wanted = format!("{wanted} and {} beside it", vias.len() - 1);
                }
                let typical = (!whole).then(|| each / vias.len() as f64);
                DraftKind::Via { count: vias.len().min(100), drill_mm: drill_mm + 2e-3 * PLATING_UM, typical }
            }
            Geometry::Pour => {
                let used = sheet::layers(net, stretch);
                let inner =
                    !used.is_empty() && used.iter().all(|layer| *layer != 0 && *layer != layout.back());
                if let Some([one, other]) = cut::two_ways(net, stretch) {
                    let name = |spots: &[SpotId]| ways(layout, net, spots);
                    comments.push(match one.is_empty() && other.is_empty() {
                        true => "two ways side by side, with no pad or via on either".into(),
                        false => format!("two ways side by side: {}, and {}", name(&one), name(&other)),
                    });
                    if tracks_alone(net, stretch) {
                        questions.push(format!(
                            "Between {} and {} copper runs two ways ({}; {}). They are one segment, since one reads the other too: \
                             is either meant to carry the current alone?",
                            ends[0], ends[1], name(&one), name(&other)
                        ));
                    }
                }
                DraftKind::Pour { typical: None, inner }
            }
        };
        let unsolved = matches!(kind, DraftKind::Pour { typical: None, .. });
        self.draft.questions.extend(questions);
        let segment = self.segment(&wanted, ends, kind, comments)?;
        if unsolved {
            self.unsolved.push(Unsolved { segment, net: id, stretch: stretch.clone() });
        }
        Ok(())
    }

    /// Notes that two points are joined; false if they were.
    fn join(&mut self, [a, b]: &[String; 2]) -> bool {
        let key = if a <= b { [a.clone(), b.clone()] } else { [b.clone(), a.clone()] };
        self.joined.insert(key)
    }

    fn segment(
        &mut self,
        wanted: &str,
        ends: [String; 2],
        kind: DraftKind,
        comments: Vec<String>,
    ) -> Result<String, ImportError> {
        let taken: BTreeSet<&str> = self.draft.segments.iter().map(|segment| segment.name.as_str()).collect();
        // Where parts alone do not tell two apart, the pads do.
        let full = format!("{} to {}", ends[0], ends[1]);
        let name = if taken.contains(wanted) { free_name(&full, &taken) } else { free_name(wanted, &taken) };
        self.draft.segments.push(DraftSegment { name: name.clone(), ends, kind, comments });
        match self.draft.segments.len() {
            count if count > MOST_SEGMENTS => Err(ImportError::TooLong { count, most: MOST_SEGMENTS }),
            _ => Ok(name),
        }
    }

    fn part(&mut self, link: &Link, ends: [String; 2], against: bool) {
        if ends[0] == ends[1] || !self.join(&ends) {
            return;
        }
        let layout = self.layout;
        let Some(part) = layout.part(link.part) else { return };
        let reference = &part.reference;
        let mut comments = vec![match part.value.is_empty() {
            true => format!("part {}, no value in the layout", quoted(reference)),
            false => format!("part {}, value {}", quoted(reference), quoted(&part.value)),
        }];
        let mut ask = |question: String| self.draft.questions.push(question);
        let word = match link.conductor {
            Conductor::Fuse(rating) => {
                if rating.is_none() {
                    ask(format!("Which rating has the fuse {reference}? Without one, 1 A is taken."));
                }
                "fuse"
            }
            Conductor::Resettable(hold) => {
                if hold.is_none() {
                    ask(format!("Which hold current has {reference}? Without one, 0.5 A is taken."));
                }
                "resettable"
            }
            Conductor::Ferrite => {
                ask(format!(
                    "What does the ferrite {reference} read? Write its `typical` from its data sheet."
                ));
                "ferrite"
            }
            Conductor::Inductor(inductance) => {
                let also = if inductance.is_none() { ", and its `inductance`" } else { "" };
                ask(format!(
                    "What does the inductor {reference} read? Write its `typical` from its data sheet{also}."
                ));
                "inductor"
            }
            Conductor::Shunt(_) => "shunt",
            Conductor::Link => {
                comments.push("a link; 50 mΩ at most for zero-ohm resistors (common practice)".into());
                "link"
            }
            Conductor::Switch => {
                self.draft.switches.push(reference.clone());
                ask(format!(
                    "In which position does {reference} conduct? It is written as closed in state \"on\"."
                ));
                "switch"
            }
            Conductor::Diode { schottky } => {
                let kind = if schottky { "Schottky" } else { "silicon" };
                comments.push(format!("forward voltage of a {kind} diode: assumed"));
                ask(format!(
                    "What is the greatest forward voltage of {reference} at full load? See its data sheet."
                ));
                "diode"
            }
            Conductor::Transistor => {
                ask(format!(
                    "Is {reference} a MOSFET whose body diode leads the way of the current? It is written as one; a load switch \
                     does not conduct without power, and no reading passes it."
                ));
                "transistor"
            }
            Conductor::Contact => {
                ask(format!(
                    "What does {reference} read when it conducts? It is written as a contact; write `typical`."
                ));
                "contact"
            }
        };
        // On the way back current flows towards the return, so what conducts one way begins at the far end.
        let one_way = matches!(link.conductor, Conductor::Diode { .. } | Conductor::Transistor);
        let [a, b] = ends;
        let ends = if one_way && against { [b, a] } else { [a, b] };
        let wanted = format!("{word} {reference}");
        // There are fewer parts on a path than pieces of copper, which are counted.
        let _ = self.segment(&wanted, ends, DraftKind::Part(link.conductor), comments);
    }

    /// From the return to the part that a load is a pad of.
    #[allow(clippy::too_many_arguments)] // each is another thing that the request says
    fn walk_back(
        &mut self,
        parts: &Parts,
        request: &Request,
        ret: &[usize],
        ret_net: NetId,
        load: &str,
        load_pads: &[usize],
        supply: &BTreeSet<NetId>,
    ) -> Result<(), ImportError> {
        let layout = self.layout;
        let Some(load_pad) = load_pads.first().and_then(|pad| layout.pads.get(*pad)) else { return Ok(()) };
        let own: Vec<usize> = layout
            .pads
            .iter()
            .enumerate()
            .filter(|(_, pad)| pad.part == load_pad.part && pad.net.is_some_and(|net| !supply.contains(&net)))
            .map(|(i, _)| i)
            .collect();
        let pad_net = |pad: &usize| layout.pads.get(*pad).and_then(|pad| pad.net);
        let goals: BTreeSet<NetId> = own.iter().filter_map(pad_net).collect();
        let part = layout.part(load_pad.part).map_or("", |part| part.reference.as_str()).to_owned();
        let Some((links, net)) = parts.way(ret_net, &goals, supply, &BTreeSet::new(), true) else {
            let between = goals.first().map_or_else(
                || "name as load a part that has one".to_owned(),
                |net| parts.between(layout, *net, ret_net, supply),
            );
            let net = layout.net_name(ret_net).to_owned();
            return Err(ImportError::NoReturn {
                ret: request.ret.clone(),
                load: load.into(),
                part,
                net,
                between,
            });
        };
        let on_net: Vec<usize> = own.into_iter().filter(|pad| pad_net(pad) == Some(net)).collect();
        let distance =
            |pad: &usize| layout.pads.get(*pad).map_or(f64::INFINITY, |pad| apart(pad.at, load_pad.at));
        let Some(nearest) = on_net.iter().copied().min_by(|a, b| distance(a).total_cmp(&distance(b))) else {
            return Ok(());
        };
        if on_net.len() > 1
            && let Some(pad) = layout.pads.get(nearest)
        {
            self.draft.questions.push(format!(
                "{part} has {} pads on the return's net; the way back begins at {}, the nearest to {load}. Do all carry current?",
                on_net.len(),
                layout.pad_name(pad)
            ));
        }
        let name = layout.pads.get(nearest).map(|pad| layout.pad_name(pad)).unwrap_or_default();
        let [first, _] = self.walk(&request.ret, ret, &links, &name, &[nearest], true)?;
        self.draft.ret = first;
        Ok(())
    }

    /// Solves the copper that is left, all of it at once, because that is most of an import's time.
    fn solve(&mut self) {
        let (layout, nets) = (self.layout, &self.nets);
        let worked = parallel::map(&self.unsolved, |Unsolved { net, stretch, .. }| {
            Some(pours::worked_out(layout, nets.get(net)?, stretch, ASSUMED_LOAD))
        });
        for (Unsolved { segment, .. }, worked) in self.unsolved.iter().zip(worked) {
            let drafted = self.draft.segments.iter_mut().find(|drafted| drafted.name == *segment);
            let (Some(drafted), Some(worked)) = (drafted, worked) else { continue };
            match worked {
                Ok(worked) => {
                    drafted.comments.extend(worked.comments);
                    if let DraftKind::Pour { typical, .. } = &mut drafted.kind {
                        *typical = Some(worked.resistance);
                    }
                }
                Err(error) => {
                    drafted.comments.push(format!("NOT WORKED OUT: {error}"));
                    self.draft.questions.push(format!(
                        "What does the copper from {} to {} read? It could not be worked out ({error}). Measure it on a \
                         good board and write `typical`: without it the file does not pass `check`.",
                        drafted.ends[0], drafted.ends[1]
                    ));
                }
            }
        }
    }

    fn finish(mut self) -> Result<Draft, ImportError> {
        self.solve();
        let mut seen = BTreeSet::new();
        self.draft.questions.retain(|question| seen.insert(question.clone()));
        self.draft.switches.dedup();
        Ok(self.draft)
    }
}

fn front_um(layout: &Layout) -> f64 {
    layout.layers.first().map_or(super::layout::COPPER_UM, |layer| layer.copper_um)
}

fn quoted(text: &str) -> String {
    format!("`{}`", clean(text))
}

/// A part's reference, or a via without its side: what a segment is named after.
fn landmark(point: &str) -> &str {
    let part = point.rsplit_once('.').map_or(point, |(reference, _)| reference);
    part.strip_suffix(" front").or(part.strip_suffix(" back")).unwrap_or(part)
}

/// A name that a board file takes and that is not taken.
fn free_name(wanted: &str, taken: &BTreeSet<&str>) -> String {
    let plain: String = wanted
        .chars()
        .map(|c| match c {
            '~' | '=' => '-',
            c if crate::visible::hidden(c).is_some() => ' ',
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
fn ways(layout: &Layout, net: &Net, spots: &[SpotId]) -> String {
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

/// Does a stretch consist of tracks and vias, without a pour?
fn tracks_alone(net: &Net, stretch: &Stretch) -> bool {
    let pieces = stretch.pieces.iter().filter_map(|id| net.pieces.get(*id));
    pieces.into_iter().all(|piece| match &piece.kind {
        super::net::PieceKind::Copper { elements, .. } => elements.iter().all(|element| !element.area),
        super::net::PieceKind::Barrels { .. } => true,
    })
}
