//! The way of the current: over which nets and parts, from the supply to each load and from the return to it.

use std::collections::BTreeSet;

use super::super::error::ImportError;
use super::super::layout::{Layout, NetId, Pad, PartId};
use super::super::path::{Link, Parts};
use super::{Builder, Request};
use crate::plane::apart;

/// Pads that a point names. One reference and number may be several pads.
pub(super) fn pads_named(layout: &Layout, given: &str) -> Result<Vec<usize>, ImportError> {
    let Some((reference, number)) = given.rsplit_once('.') else {
        return Err(ImportError::NotAPoint { given: given.into() });
    };
    let of_part = |pad: &&Pad| layout.part(pad.part).is_some_and(|part| part.reference == reference);
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

pub(super) fn net_of(layout: &Layout, pads: &[usize], given: &str) -> Result<NetId, ImportError> {
    let net = pads.iter().filter_map(|pad| layout.pads.get(*pad)).find_map(|pad| pad.net);
    net.ok_or_else(|| ImportError::NoNet { given: given.into() })
}

impl Builder<'_> {
    /// Ways that leave out one part each of the way that was taken.
    pub(super) fn other_ways(
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
    pub(super) fn walk(
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

    /// From the return to the part that a load is a pad of.
    #[allow(clippy::too_many_arguments)] // each is another thing that the request says
    pub(super) fn walk_back(
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
}
