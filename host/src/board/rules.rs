//! Rules about the board as a whole: does the path join up, can it be walked, can it be believed?
//!
//! They run on whatever of the draft could be read, so that a slip in one line does not hide a loop in
//! another.

use std::collections::{BTreeMap, BTreeSet};

use super::drop_budget::{self, Claim, DropBudget};
use super::expected::ipc2221_current;
use super::file::{Draft, Placed, SegmentDraft, SupplyDraft};
use super::graph::{Edge, Graph, MOST_IN_MESH, Mesh, Reach};
use super::{Assumed, PointId, Pour, SegmentId, SegmentKind, Side, StateId, parts};
use crate::document::{Sheet, Told};
use crate::plane::apart;
use crate::quantity::{clip, si};

/// Judges the whole, and gives the graph of its segments and whether these are all.
pub(super) fn judge(sheet: &Sheet, draft: &Draft) -> (Graph, bool) {
    let (graph, complete) = graph(draft);
    unique_names(sheet, draft);
    loops_can_be_told(sheet, draft, &graph);
    isolation_is_apart(sheet, draft, &graph);
    if let (true, Ok(supply)) = (complete, &draft.supply) {
        joined_up(sheet, draft, supply, &graph);
    }
    copper_is_believable(sheet, draft);
    budget_is_kept(sheet, draft);
    (graph, complete)
}

/// The segments that say what they join and when, and whether these are all. A loop among some is a loop
/// among all; a gap is not.
fn graph(draft: &Draft) -> (Graph, bool) {
    let edges: Vec<_> = segments(draft)
        .filter_map(|(id, segment)| {
            Some(Edge { segment: id, ends: segment.ends.ok()?, closed: segment.closed.clone().ok()? })
        })
        .collect();
    let complete = draft.listed && edges.len() == draft.segments.len();
    let states = draft.states.as_ref().map_or(0, Vec::len);
    (Graph::new(draft.points.len(), states, edges), complete)
}

/// Segments with their ids.
fn segments(draft: &Draft) -> impl Iterator<Item = (SegmentId, &SegmentDraft)> {
    draft
        .segments
        .iter()
        .enumerate()
        .filter_map(|(i, segment)| Some((SegmentId::new(i), segment.as_ref().ok()?)))
}

fn named(draft: &Draft, id: SegmentId) -> Option<&Placed<String>> {
    draft.segments[id.index()].as_ref().ok()?.name.as_ref().ok()
}

fn point_name(draft: &Draft, id: PointId) -> String {
    clip(&draft.points[id.index()].name.value)
}

fn unique_names(sheet: &Sheet, draft: &Draft) {
    let segments = segments(draft).filter_map(|(id, _)| Some((id.index(), named(draft, id)?)));
    unique(sheet, "segment", segments, "every segment needs a name of its own; reports and repairs go by it");
    let checks = draft.checks.iter().enumerate();
    let checks = checks.filter_map(|(i, check)| Some((i, check.as_ref().ok()?.name.as_ref().ok()?)));
    let rails = draft.rails.iter().enumerate();
    let rails = rails.filter_map(|(i, rail)| Some((i, rail.as_ref().ok()?.name.as_ref().ok()?)));
    unique(sheet, "rail", rails, "every rail needs a name of its own; readings go by it");
    unique(sheet, "check", checks, "every check needs a name of its own; answers go by it");
    let holes = draft.holes.iter().enumerate();
    let holes = holes.filter_map(|(i, hole)| hole.as_ref().ok().map(|(name, _)| (i, name)));
    unique(sheet, "hole", holes, "every hole needs a name of its own; a wire's way goes by it");
}

/// Names of one kind of thing, each with its position in the file: none twice.
fn unique<'d>(
    sheet: &Sheet,
    kind: &str,
    names: impl Iterator<Item = (usize, &'d Placed<String>)>,
    help: &str,
) {
    let mut seen = BTreeMap::new();
    for (position, name) in names {
        if let Some(first) = seen.insert(&name.value, position) {
            let message =
                format!("{kind} {} has the name of {kind} {}: `{}`", position + 1, first + 1, name.value);
            sheet.refuse(Some(name.span.clone()), message, help);
        }
    }
}

/// Segments on loops share their current. A fixture may still tell them apart, but not two between the same points, and nothing around
/// a part that conducts one way only.
fn loops_can_be_told(sheet: &Sheet, draft: &Draft, graph: &Graph) {
    let mut reported = BTreeSet::new();
    for (i, state) in draft.states.iter().flatten().enumerate() {
        let id = StateId::new(i);
        for ring in graph.rings_of_one(id).filter(|&ring| reported.insert(vec![ring])) {
            if let Some(name) = named(draft, ring) {
                let message = format!("segment `{}` begins and ends at the same point", name.value);
                sheet.refuse(Some(name.span.clone()), message, "a segment joins two points");
            }
        }
        for mesh in graph.meshes(id, &[]) {
            for members in untold(draft, &mesh) {
                if !reported.insert(members.clone()) {
                    continue;
                }
                let when = match members.iter().any(|id| only_in_some_states(draft, *id)) {
                    true => format!("in state `{}` ", state.name),
                    false => String::new(),
                };
                refuse_loop(sheet, draft, &members, &when);
            }
        }
    }
}

/// Of a mesh, what no bed of pins can tell apart: groups of segments between the same two points; all of it, where it holds a part that
/// conducts one way only, or is too large to be worked out.
fn untold(draft: &Draft, mesh: &Mesh) -> Vec<Vec<SegmentId>> {
    let one_way = |id: &SegmentId| one_way(draft, *id);
    if mesh.segments.len() > MOST_IN_MESH || mesh.segments.iter().any(one_way) {
        return vec![mesh.segments.clone()];
    }
    let mut between: BTreeMap<[PointId; 2], Vec<SegmentId>> = BTreeMap::new();
    for &id in &mesh.segments {
        if let Ok(SegmentDraft { ends: Ok([a, b]), .. }) = draft.segments[id.index()].as_ref() {
            between.entry([*a.min(b), *a.max(b)]).or_default().push(id);
        }
    }
    between.into_values().filter(|members| members.len() > 1).collect()
}

fn one_way(draft: &Draft, id: SegmentId) -> bool {
    let kind = draft.segments[id.index()].as_ref().ok().and_then(|segment| segment.kind.as_ref().ok());
    kind.is_some_and(|kind| kind.one_way().is_some())
}

fn refuse_loop(sheet: &Sheet, draft: &Draft, members: &[SegmentId], when: &str) {
    let Some(last) = members.last().and_then(|id| named(draft, *id)) else { return };
    let names: Vec<_> =
        members.iter().filter_map(|id| named(draft, *id)).map(|name| name.value.as_str()).collect();
    let (message, help) = if let Some(part) = members.iter().find(|id| one_way(draft, **id)) {
        let part = named(draft, *part).map_or(String::new(), |name| clip(&name.value));
        (
            format!(
                "{when}these segments form a loop with `{part}`, which conducts one way: {}",
                shorten(&names)
            ),
            "a diode or a transistor is read alone: leave out the way around it",
        )
    } else if members.len() > MOST_IN_MESH {
        (
            format!("{when}{} segments share their current in loops: {}", members.len(), shorten(&names)),
            "at most 100 are worked out together: write parallel ways as one segment, or leave some out",
        )
    } else {
        (
            format!(
                "{when}these segments join the same two points, and no reading tells them apart: {}",
                shorten(&names)
            ),
            "write them as one segment, which has the resistance of all in parallel (vias: `count`), or give one of them a \
             point on its way that has a sense pin",
        )
    };
    sheet.refuse(Some(last.span.clone()), message, help);
}

fn only_in_some_states(draft: &Draft, id: SegmentId) -> bool {
    draft.segments[id.index()].as_ref().is_ok_and(|segment| matches!(segment.closed, Ok(Some(_))))
}

/// The first and the last of a long list.
fn shorten(names: &[&str]) -> String {
    const SHOWN: usize = 12;
    match names {
        [first @ .., last] if first.len() >= SHOWN => {
            format!("{} … {last} ({} segments)", first[..SHOWN].join(", "), names.len())
        }
        _ => names.join(", "),
    }
}

/// Supply and loads joined, supply and return apart, and nothing that hangs in the air.
fn joined_up(sheet: &Sheet, draft: &Draft, supply: &SupplyDraft, graph: &Graph) {
    let (Ok(from), Ok(ret)) = (&supply.from, &supply.ret) else { return };
    let (out, back) = (graph.reach(from.value, None), graph.reach(ret.value, None));
    if out.contains(ret.value) {
        let (from, ret_name) = (point_name(draft, from.value), point_name(draft, ret.value));
        let message = format!("segments join `{from}` to `{ret_name}`: that shorts the supply");
        sheet.refuse(
            Some(ret.span.clone()),
            message,
            "the load itself is no segment; end the path before it",
        );
    }
    loads_are_reached(sheet, draft, supply, from.value, graph);

    let mut strays: Vec<(Reach, Vec<&Placed<String>>)> = Vec::new();
    for (id, segment) in segments(draft) {
        let (Ok([end, _]), Some(name)) = (segment.ends, named(draft, id)) else { continue };
        if out.contains(end) || back.contains(end) {
            continue;
        }
        match strays.iter_mut().find(|(reach, _)| reach.contains(end)) {
            Some((_, names)) => names.push(name),
            None => strays.push((graph.reach(end, None), vec![name])),
        }
    }
    for (_, names) in strays {
        let list: Vec<_> = names.iter().map(|name| name.value.as_str()).collect();
        let message = format!("joined to neither the supply nor the return: {}", shorten(&list));
        let first = names.first().map(|name| name.span.clone());
        sheet.refuse(first, message, "add the segment that is missing between, or leave these out");
    }

    let ends = [from.value, ret.value];
    let isolated: BTreeSet<_> =
        draft.isolation.iter().flatten().filter_map(|isolation| isolation.between.ok()).flatten().collect();
    let rails: BTreeSet<_> = draft.rails.iter().flatten().filter_map(|rail| rail.at.ok()).collect();
    for (i, point) in draft.points.iter().enumerate() {
        let id = PointId::new(i);
        let used =
            graph.degree(id) > 0 || isolated.contains(&id) || rails.contains(&id) || ends.contains(&id);
        if !used && point.point.is_ok() {
            let message = format!("point `{}` is touched by nothing", point_name(draft, id));
            sheet.refuse(Some(point.name.span.clone()), message, "join it with a segment, or leave it out");
        }
    }
}

fn loads_are_reached(sheet: &Sheet, draft: &Draft, supply: &SupplyDraft, from: PointId, graph: &Graph) {
    let out = graph.reach(from, None);
    let start = point_name(draft, from);
    let mut seen = BTreeSet::new();
    for load in supply.to.iter().flatten() {
        let name = point_name(draft, load.value);
        let (message, help) = if !seen.insert(load.value) {
            (format!("the load `{name}` is named twice"), "name each load once".into())
        } else if load.value == from {
            (format!("the path to `{name}` has no length"), "name the point where the load begins".into())
        } else if !out.contains(load.value) {
            let ends = out.points().filter(|point| *point != from && graph.degree(*point) == 1);
            let ends: Vec<_> = ends.map(|point| point_name(draft, point)).collect();
            let ends: Vec<_> = ends.iter().map(String::as_str).collect();
            let reached = if ends.is_empty() { start.clone() } else { shorten(&ends) };
            let help = format!("add the segment that is missing; the path from the supply ends at {reached}");
            (format!("no segments join `{start}` to `{name}`"), help)
        } else if graph.path(from, load.value).is_none() {
            let help = "add a state in which all switches on the way are closed";
            (format!("no state joins `{start}` to `{name}`"), help.into())
        } else {
            continue;
        };
        sheet.refuse(Some(load.span.clone()), message, help);
    }
}

fn isolation_is_apart(sheet: &Sheet, draft: &Draft, graph: &Graph) {
    for isolation in draft.isolation.iter().flatten() {
        let (Ok([a, b]), Ok(state)) = (isolation.between, isolation.state) else { continue };
        if graph.reach(a, Some(state)).contains(b) {
            let (a, b) = (point_name(draft, a), point_name(draft, b));
            sheet.refuse(
                Some(isolation.span.clone()),
                format!("segments join `{a}` and `{b}` in this state; no isolation can be between them"),
                "name two points of different nets, or a state in which a switch parts them",
            );
        }
    }
}

/// The budget is looked at as far as the segments are known: what could not be read takes nothing of it, and a switch
/// of unknown states conducts in all of them. A budget that is overdrawn even so stays overdrawn.
fn budget_is_kept(sheet: &Sheet, draft: &Draft) {
    let Ok(supply) = &draft.supply else { return };
    // One that is assumed is made as large as it has to be.
    if supply.assumed.contains(&Assumed::MaxDrop) {
        return;
    }
    let (Ok(from), Ok(to), Ok(ret)) = (&supply.from, &supply.to, &supply.ret) else { return };
    let (Ok(load), Ok(max_drop)) = (supply.load, &supply.max_drop) else { return };
    let edges = segments(draft).filter_map(|(id, segment)| {
        let closed = segment.closed.clone().unwrap_or_default();
        Some(Edge { segment: id, ends: segment.ends.ok()?, closed })
    });
    let states = draft.states.as_ref().map_or(1, Vec::len);
    let graph = Graph::new(draft.points.len(), states, edges.collect());
    let claim = |segment: &Result<SegmentDraft, Told>| {
        let known = segment.as_ref().ok();
        let high = |segment: &SegmentDraft| match segment.kind.as_ref().ok()? {
            SegmentKind::Diode { max_forward, .. } => Some(parts::diode(*max_forward, load).high),
            _ => Some(segment.expected.as_ref().ok()?.high),
        };
        Claim {
            high: known.and_then(high).unwrap_or_default(),
            stated: known.and_then(|segment| segment.max.ok()?),
        }
    };
    let claims: Vec<_> = draft.segments.iter().map(claim).collect();
    let budget = DropBudget {
        from: from.value,
        to: to.iter().map(|load| load.value).collect(),
        ret: ret.value,
        resistance: max_drop.value / load,
    };
    for (load, most, figures) in drop_budget::overdrawn(&claims, &graph, &budget) {
        let whose = named(draft, most).map_or(String::new(), |name| format!(", `{}`", clip(&name.value)));
        sheet.refuse(
            Some(max_drop.span.clone()),
            format!("on the way to `{}` {figures}{whose}", point_name(draft, load)),
            "raise max_drop, or lower load or the stated limits",
        );
    }
}

/// Copper stays on its side and carries the load, and a trace is no shorter than the straight way between its ends.
fn copper_is_believable(sheet: &Sheet, draft: &Draft) {
    /// Points are measured off a drawing.
    const PLACING_MM: f64 = 0.5;
    /// Rise of a trace's temperature at full load that needs no thought.
    const RISE_KELVIN: f64 = 10.0;
    let load = draft.supply.as_ref().ok().and_then(|supply| supply.load.ok());
    let copper = draft
        .heading
        .as_ref()
        .ok()
        .and_then(|heading| heading.laminate.ok())
        .map(|laminate| laminate.copper_um);
    for (id, segment) in segments(draft) {
        // Where it is narrowest, and the share of the load that goes there.
        let (Ok(kind), Some(name)) = (&segment.kind, named(draft, id)) else { continue };
        let (width_mm, share, layer) = match kind {
            SegmentKind::Trace { width_mm, layer, .. } => (*width_mm, 1.0, *layer),
            SegmentKind::Pour { shape: Some(Pour { neck: Some(neck), .. }), layer } => {
                (neck.width_mm, neck.share, *layer)
            }
            _ => continue,
        };
        let warn = |message: String, help: &str| {
            sheet.warn(Some(name.span.clone()), format!("segment `{}` {message}", clip(&name.value)), help);
        };
        let ends = segment.ends.map(|ends| ends.map(|end| draft.points[end.index()].point.as_ref()));
        if let Ok([Ok(from), Ok(to)]) = ends {
            let straight = apart(from.at, to.at);
            if let SegmentKind::Trace { length_mm, .. } = kind
                && length_mm + PLACING_MM < straight
            {
                let message = format!("is {length_mm} mm long, but its ends lie {straight:.1} mm apart");
                warn(message, "check its length, or the places of its points");
            }
            if let (Side::Front, Side::Back) | (Side::Back, Side::Front) = (from.side, to.side) {
                warn(
                    "leads from one side to the other".into(),
                    "put a via between, or name the sides of its points",
                );
            }
        }
        if let (Some(load), Some(copper)) = (load, copper) {
            let carried = ipc2221_current(width_mm, copper, layer, RISE_KELVIN) / share;
            if carried < load {
                let (carried, load) = (si(carried.0, 3, "A"), si(load.0, 3, "A"));
                let place = match kind {
                    SegmentKind::Pour { shape: Some(Pour { neck: Some(neck), .. }), .. } => {
                        let [x, y] = neck.at;
                        format!(", where it is {width_mm:.2} mm wide at [{x:.1}, {y:.1}],")
                    }
                    _ => String::new(),
                };
                let message = format!(
                    "carries {carried}{place} at a rise of {RISE_KELVIN} K (IPC-2221); the load is {load}"
                );
                warn(message, "check its width, or the load");
            }
        }
    }
}
