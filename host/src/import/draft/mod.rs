//! The board as a person would write it: points, segments, states, and the questions that the layout leaves open.
//!
//! In the order data flows: `way` (which nets and parts the current takes), `copper` (each net between pads, as segments between points), `stretch` and
//! `part` (what each of them is), `name`.

mod copper;
mod name;
mod part;
mod stretch;
mod way;

use std::collections::{BTreeMap, BTreeSet};

use super::cut::Stretch;
use super::error::ImportError;
use super::layout::{Layout, NetId};
use super::net::{Net, SpotId};
use super::parts::Conductor;
use super::path;
use super::region::At;
use crate::board::Side;
use crate::quantity::{Amps, Ohms};
use name::free_name;
use way::{net_of, pads_named};

/// Current that necks are judged at, and that the board file states until somebody knows better.
pub const ASSUMED_LOAD: Amps = Amps(0.1);
/// Segments a board file takes (`board::file`).
const MOST_SEGMENTS: usize = 2000;

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

impl Builder<'_> {
    fn net(&mut self, id: NetId) -> &Net {
        self.nets.entry(id).or_insert_with(|| Net::of(self.layout, id))
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

    fn finish(mut self) -> Result<Draft, ImportError> {
        self.solve();
        let mut seen = BTreeSet::new();
        self.draft.questions.retain(|question| seen.insert(question.clone()));
        self.draft.switches.dedup();
        Ok(self.draft)
    }
}
