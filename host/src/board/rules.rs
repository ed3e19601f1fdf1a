//! Rules about the board as a whole: does the path join up, can it be walked, does it keep its budget?
//!
//! They run on whatever of the draft could be read, so that a slip in one line does not hide a loop in another.

use std::collections::{BTreeMap, BTreeSet};

use super::expected::ipc2221_amps;
use super::file::{Draft, Placed, SupplyDraft};
use super::limits::{self, Claim};
use super::network::{Edge, Network};
use super::segment_file::SegmentDraft;
use super::{
    Board, Isolation, LimitOrigin, Limits, PointId, Segment, SegmentId, SegmentKind, StateId, Supply,
};
use crate::document::{Sheet, Told};
use crate::quantity::{clip, si};

/// Judges the whole, and makes the board of it.
///
/// # Errors
/// Anything was wrong in the file, here or before.
pub(super) fn judge(sheet: &Sheet, draft: Draft) -> Result<Board, Told> {
    unique_names(sheet, &draft);
    let network = network(&draft);
    if let Ok(network) = &network {
        no_loops(sheet, &draft, network);
        isolation_is_apart(sheet, &draft, network);
        if let Ok(supply) = &draft.supply {
            joined_up(sheet, &draft, supply, network);
        }
    }
    traces_carry_the_load(sheet, &draft);
    sheet.sound()?;
    assemble(sheet, draft, &network?)
}

/// The segments as a graph, if every one of them says what it joins and when.
fn network(draft: &Draft) -> Result<Network, Told> {
    let edges = draft.segments.iter().map(|segment| {
        let segment = segment.as_ref().map_err(|told| *told)?;
        Ok(Edge { ends: segment.ends?, closed: segment.closed.clone()? })
    });
    Ok(Network::new(draft.points.len(), edges.collect::<Result<_, _>>()?))
}

/// Segments with their ids.
fn segments(draft: &Draft) -> impl Iterator<Item = (SegmentId, &SegmentDraft)> {
    draft.segments.iter().enumerate().filter_map(|(i, segment)| Some((SegmentId(i), segment.as_ref().ok()?)))
}

fn named(draft: &Draft, id: SegmentId) -> Option<&Placed<String>> {
    draft.segments[id.0].as_ref().ok()?.name.as_ref().ok()
}

fn point_name(draft: &Draft, id: PointId) -> String {
    clip(&draft.points[id.0].name.value)
}

fn unique_names(sheet: &Sheet, draft: &Draft) {
    let mut seen = BTreeMap::new();
    for (id, _) in segments(draft) {
        let Some(name) = named(draft, id) else { continue };
        if let Some(first) = seen.insert(&name.value, id) {
            sheet.refuse(
                Some(name.span.clone()),
                format!("segment {} has the name of segment {}: `{}`", id.0 + 1, first.0 + 1, name.value),
                "every segment needs a name of its own; reports and repairs go by it",
            );
        }
    }
}

/// Parallel ways share the current: a reading along one of them would print wrong ohms.
fn no_loops(sheet: &Sheet, draft: &Draft, network: &Network) {
    let mut reported = BTreeSet::new();
    for state in (0..draft.states.as_ref().map_or(0, Vec::len)).map(StateId) {
        for members in network.loops(state) {
            let Some(last) = members.last().and_then(|id| named(draft, *id)) else { continue };
            if !reported.insert(members.iter().copied().collect::<BTreeSet<_>>()) {
                continue;
            }
            if members.len() == 1 {
                let message = format!("segment `{}` begins and ends at the same point", last.value);
                sheet.refuse(Some(last.span.clone()), message, "a segment joins two points");
                continue;
            }
            let names: Vec<_> =
                members.iter().filter_map(|id| named(draft, *id)).map(|n| n.value.as_str()).collect();
            sheet.refuse(
                Some(last.span.clone()),
                format!("these segments form a loop and share the current: {}", shorten(&names)),
                "leave out the way that matters less, or write parallel vias as one segment with `count`",
            );
        }
    }
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

/// Supply, loads and return; nothing that hangs in the air.
fn joined_up(sheet: &Sheet, draft: &Draft, supply: &SupplyDraft, network: &Network) {
    let (Ok(from), Ok(ret)) = (&supply.from, &supply.ret) else { return };
    let (out, back) = (network.reach(from.value, None), network.reach(ret.value, None));
    if out.contains(ret.value) {
        let message = format!(
            "segments join `{}` to `{}`: that shorts the supply",
            point_name(draft, from.value),
            point_name(draft, ret.value)
        );
        sheet.refuse(
            Some(ret.span.clone()),
            message,
            "the load itself is no segment; end the path before it",
        );
    }
    let states = draft.states.as_ref().map_or(0, Vec::len);
    for load in supply.to.iter().flatten() {
        let name = point_name(draft, load.value);
        if load.value == from.value {
            let message = format!("the path to `{name}` has no length");
            sheet.refuse(Some(load.span.clone()), message, "name the point where the load begins");
        } else if !out.contains(load.value) {
            let message = format!("no segments join `{}` to `{name}`", point_name(draft, from.value));
            let gap = format!("the path from the supply reaches {}", reached_ends(draft, network, &out));
            sheet.refuse(Some(load.span.clone()), message, gap);
        } else if !(0..states)
            .any(|state| network.reach(from.value, Some(StateId(state))).contains(load.value))
        {
            let message = format!("no state joins `{}` to `{name}`", point_name(draft, from.value));
            sheet.refuse(
                Some(load.span.clone()),
                message,
                "add a state in which all switches on the way are closed",
            );
        }
    }
    for (id, segment) in segments(draft) {
        let (Ok([a, _]), Some(name)) = (segment.ends, named(draft, id)) else { continue };
        if !out.contains(a) && !back.contains(a) {
            let message = format!("segment `{}` joins neither the supply nor the return", name.value);
            sheet.refuse(Some(name.span.clone()), message, "add the segments between, or leave it out");
        }
    }
    let isolated: BTreeSet<_> = isolation_points(draft).collect();
    for (i, point) in draft.points.iter().enumerate() {
        let id = PointId(i);
        let used = network.degree(id) > 0 || isolated.contains(&id) || id == from.value || id == ret.value;
        if !used {
            let message = format!("point `{}` is touched by nothing", point_name(draft, id));
            sheet.refuse(Some(point.name.span.clone()), message, "join it with a segment, or leave it out");
        }
    }
}

fn isolation_points(draft: &Draft) -> impl Iterator<Item = PointId> {
    draft.isolation.iter().flatten().filter_map(|isolation| isolation.between.ok()).flatten()
}

/// The ends of what is reached, other than the start: where a gap may be.
fn reached_ends(draft: &Draft, network: &Network, reach: &super::network::Reach) -> String {
    let ends: Vec<_> = reach
        .points()
        .filter(|point| network.degree(*point) < 2)
        .map(|point| point_name(draft, point))
        .collect();
    let ends: Vec<_> = ends.iter().map(String::as_str).collect();
    shorten(&ends)
}

fn isolation_is_apart(sheet: &Sheet, draft: &Draft, network: &Network) {
    for isolation in draft.isolation.iter().flatten() {
        let (Ok([a, b]), Ok(state)) = (isolation.between, isolation.state) else { continue };
        if network.reach(a, Some(state)).contains(b) {
            let (a, b) = (point_name(draft, a), point_name(draft, b));
            sheet.refuse(
                Some(isolation.span.clone()),
                format!("segments join `{a}` and `{b}` in this state; no insulation can be between them"),
                "name two points of different nets, or a state in which a switch parts them",
            );
        }
    }
}

/// A trace that warms by more than 10 K at full load is drawn too thin, or described wrong (IPC-2221).
fn traces_carry_the_load(sheet: &Sheet, draft: &Draft) {
    const RISE_KELVIN: f64 = 10.0;
    let (Ok(heading), Ok(Ok(load))) = (&draft.heading, draft.supply.as_ref().map(|supply| supply.load_amps))
    else {
        return;
    };
    for (id, segment) in segments(draft) {
        let (Ok(SegmentKind::Trace { width_mm, .. }), Some(name)) = (&segment.kind, named(draft, id)) else {
            continue;
        };
        let carried = ipc2221_amps(*width_mm, heading.laminate.copper_um, RISE_KELVIN);
        if carried < load {
            sheet.warn(
                Some(name.span.clone()),
                format!(
                    "segment `{}` carries {} at 10 K rise (IPC-2221); the load is {}",
                    name.value,
                    si(carried, 3, "A"),
                    si(load, 3, "A")
                ),
                "check its width, or the load",
            );
        }
    }
}

/// Everything is there: derives the limits and puts the board together.
fn assemble(sheet: &Sheet, draft: Draft, network: &Network) -> Result<Board, Told> {
    let (heading, supply_draft) = (draft.heading?, draft.supply?);
    let max_drop = supply_draft.max_drop_volts?;
    let supply = Supply {
        from: supply_draft.from?.value,
        to: supply_draft.to?.into_iter().map(|load| load.value).collect(),
        ret: supply_draft.ret?.value,
        voltage: supply_draft.voltage?,
        load_amps: supply_draft.load_amps?,
        max_drop_volts: max_drop.value,
        bulk_farads: supply_draft.bulk_farads?,
    };
    let segments = draft.segments.into_iter().collect::<Result<Vec<_>, _>>()?;
    let claims = segments
        .iter()
        .map(|segment| Ok(Claim { high_ohms: segment.expected?.high_ohms, stated_ohms: segment.max_ohms? }));
    let claims = claims.collect::<Result<Vec<_>, Told>>()?;
    let points = draft.points.into_iter().map(|point| point.point).collect::<Result<Vec<_>, _>>()?;
    let maxima = limits::derive(&claims, network, &supply).map_err(|overdrawn| {
        let told = overdrawn.into_iter().map(|loss| {
            let message = format!("on the way to `{}` {}", points[loss.load.0].name, loss.message);
            sheet.refuse(
                Some(max_drop.span.clone()),
                message,
                "raise max_drop, lower load or the stated limits",
            )
        });
        told.last().unwrap_or_else(|| sheet.refuse(None, "the budget cannot be kept", ""))
    })?;
    let segments = segments.into_iter().zip(maxima).map(|(segment, max_ohms)| {
        let [from, to] = segment.ends?;
        let origin = if segment.max_ohms?.is_some() { LimitOrigin::Stated } else { LimitOrigin::Derived };
        Ok(Segment {
            name: segment.name?.value,
            kind: segment.kind?,
            from,
            to,
            closed: segment.closed?,
            expected: segment.expected?,
            limits: Limits { min_ohms: segment.min_ohms?, max_ohms, origin },
            open_min_ohms: segment.open_min_ohms?,
        })
    });
    let isolation = draft.isolation.into_iter().map(|isolation| {
        let isolation = isolation?;
        Ok(Isolation { between: isolation.between?, min_ohms: isolation.min_ohms?, state: isolation.state? })
    });
    Ok(Board {
        name: heading.name,
        revision: heading.revision,
        thickness_mm: heading.laminate.thickness_mm,
        copper_um: heading.laminate.copper_um,
        outline: heading.outline,
        supply,
        states: draft.states?,
        points,
        segments: segments.collect::<Result<_, Told>>()?,
        isolation: isolation.collect::<Result<_, Told>>()?,
        source: sheet.text().to_owned(),
        hash: sheet.hash(),
    })
}
