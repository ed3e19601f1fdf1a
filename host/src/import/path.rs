//! The way of the supply from net to net: which parts it passes, found by fewest parts over what is known to conduct.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use super::error::ImportError;
use super::layout::{Layout, NetId, PartId};
use super::parts::{Conductor, Role, named, role};

/// Names shown at most in a message.
const SHOWN: usize = 8;

/// A part with the two pads that the current passes.
#[derive(Clone, PartialEq, Debug)]
pub struct Link {
    /// The part.
    pub part: PartId,
    /// What it is.
    pub conductor: Conductor,
    /// Numbers of its pads and their nets; of what conducts one way, where the current enters first.
    pub ends: [(String, NetId); 2],
}

impl Link {
    /// The net behind it, if the current can enter at this one; `against` walks from the load to the supply.
    fn leads_from(&self, net: NetId, against: bool) -> Option<NetId> {
        let [(_, first), (_, second)] = self.ends;
        let both = !matches!(self.conductor, Conductor::Diode { .. } | Conductor::Transistor);
        if net == first && (both || !against) {
            Some(second)
        } else {
            (net == second && (both || against)).then_some(first)
        }
    }
}

/// Parts that may be in the way, by what is known of them.
pub struct Parts {
    /// Those that conduct.
    links: Vec<Link>,
    /// Those with two pads of which it is not known, with their nets.
    unsure: Vec<(PartId, BTreeSet<NetId>)>,
    /// Those with more than two pads, with their nets.
    many: Vec<(PartId, BTreeSet<NetId>)>,
}

/// Sorts the parts of a layout; `through` names pairs of pads, such as `SW1.3-2`.
///
/// # Errors
/// A pair is written wrongly, or no part has it.
pub fn parts(layout: &Layout, through: &[String]) -> Result<Parts, ImportError> {
    let mut by_part: BTreeMap<PartId, BTreeMap<&str, NetId>> = BTreeMap::new();
    // Pads without a net count too: a switch of which one throw is not used still has three.
    let mut numbers: BTreeMap<PartId, BTreeSet<&str>> = BTreeMap::new();
    for pad in &layout.pads {
        if !pad.number.is_empty() {
            numbers.entry(pad.part).or_default().insert(&pad.number);
        }
        if let Some(net) = pad.net {
            by_part.entry(pad.part).or_default().entry(&pad.number).or_insert(net);
        }
    }
    let mut found = Parts { links: Vec::new(), unsure: Vec::new(), many: Vec::new() };
    for pair in through {
        found.links.push(pair_of(layout, &by_part, pair)?);
    }
    let given: BTreeSet<PartId> = found.links.iter().map(|link| link.part).collect();
    for (&id, pads) in by_part.iter().filter(|(id, _)| !given.contains(id)) {
        let Some(part) = layout.part(id) else { continue };
        let nets: BTreeSet<NetId> = pads.values().copied().collect();
        let ends: Vec<(String, NetId)> =
            pads.iter().map(|(number, net)| ((*number).to_owned(), *net)).collect();
        let many = numbers.get(&id).is_some_and(|numbers| numbers.len() > 2);
        match <[_; 2]>::try_from(ends) {
            _ if many && nets.len() > 1 => found.many.push((id, nets)),
            Ok([(_, first), (_, second)]) if first == second => {}
            Ok([one, other]) => match role(&part.reference, &part.value) {
                Role::Conducts(conductor) => {
                    // Pad 1 of a diode is its cathode (common practice; KiCad's libraries hold to it).
                    let turned =
                        matches!(conductor, Conductor::Diode { .. }) && !matches!(&*one.0, "2" | "A");
                    let ends = if turned { [other, one] } else { [one, other] };
                    found.links.push(Link { part: id, conductor, ends });
                }
                Role::Unsure => found.unsure.push((id, nets)),
                Role::Blocks => {}
            },
            Err(_) => {}
        }
    }
    Ok(found)
}

fn pair_of(
    layout: &Layout,
    by_part: &BTreeMap<PartId, BTreeMap<&str, NetId>>,
    given: &str,
) -> Result<Link, ImportError> {
    let refuse = |why: &str| Err(ImportError::Through { given: given.into(), why: why.into() });
    let Some((reference, (one, other))) =
        given.split_once('.').and_then(|(reference, pads)| Some((reference, pads.split_once('-')?)))
    else {
        return refuse("this is no pair of pads");
    };
    let all =
        by_part.iter().filter(|(id, _)| layout.part(**id).is_some_and(|part| part.reference == reference));
    let found = all.filter_map(|(id, pads)| Some((*id, *pads.get(one)?, *pads.get(other)?))).next();
    let Some((part, first, second)) = found else {
        return refuse("the layout has no part with these two pads on nets");
    };
    if first == second {
        return refuse("both pads are on one net, so nothing is passed between them");
    }
    let value = layout.part(part).map_or("", |part| part.value.as_str());
    let ends = [(one.to_owned(), first), (other.to_owned(), second)];
    Ok(Link { part, conductor: named(reference, value), ends })
}

impl Parts {
    /// Parts from one net to the first of some others, fewest first; none are passed that touch a barred net or are left out.
    pub fn way(
        &self,
        from: NetId,
        to: &BTreeSet<NetId>,
        barred: &BTreeSet<NetId>,
        without: &BTreeSet<PartId>,
        against: bool,
    ) -> Option<(Vec<Link>, NetId)> {
        let mut came: BTreeMap<NetId, Option<(NetId, &Link)>> = BTreeMap::from([(from, None)]);
        let mut queue = VecDeque::from([from]);
        while let Some(net) = queue.pop_front() {
            if to.contains(&net) {
                let mut links = Vec::new();
                let mut at = net;
                while let Some(Some((before, link))) = came.get(&at) {
                    links.push((*link).clone());
                    at = *before;
                }
                links.reverse();
                return Some((links, net));
            }
            for link in self.links.iter().filter(|link| !without.contains(&link.part)) {
                let Some(next) = link.leads_from(net, against) else { continue };
                if !came.contains_key(&next) && !barred.contains(&next) {
                    came.insert(next, Some((net, link)));
                    queue.push_back(next);
                }
            }
        }
        None
    }

    /// Nets that can be reached from one.
    fn reach(&self, from: NetId, barred: &BTreeSet<NetId>, against: bool) -> BTreeSet<NetId> {
        let mut reached = BTreeSet::from([from]);
        let mut queue = vec![from];
        while let Some(net) = queue.pop() {
            let next: Vec<_> = self.links.iter().filter_map(|link| link.leads_from(net, against)).collect();
            queue.extend(next.into_iter().filter(|net| !barred.contains(net) && reached.insert(*net)));
        }
        reached
    }

    /// What stands between two nets that nothing joins: parts that touch what either of them reaches.
    pub fn between(&self, layout: &Layout, from: NetId, to: NetId, barred: &BTreeSet<NetId>) -> String {
        let (near, far) = (self.reach(from, barred, false), self.reach(to, barred, true));
        let names = |parts: &[(PartId, BTreeSet<NetId>)], both: bool| -> Vec<String> {
            let stands =
                |nets: &BTreeSet<NetId>| !nets.is_disjoint(&near) && (!both || !nets.is_disjoint(&far));
            let parts = parts.iter().filter(|(_, nets)| stands(nets)).filter_map(|(id, _)| layout.part(*id));
            let mut names: Vec<String> = parts
                .map(|part| match part.value.is_empty() {
                    true => part.reference.clone(),
                    false => format!("{} ({})", part.reference, crate::quantity::clip(&part.value)),
                })
                .collect();
            names.sort();
            names.dedup();
            let more = names.len().saturating_sub(SHOWN);
            names.truncate(SHOWN);
            names.extend((more > 0).then(|| format!("{more} more")));
            names
        };
        let (unsure, many) = (names(&self.unsure, true), names(&self.many, true));
        let direct: Vec<String> = unsure.into_iter().chain(many).collect();
        if !direct.is_empty() {
            return format!(
                "between them stand {}: if the current passes one, name its pads with --through, such as SW1.3-2",
                direct.join(", ")
            );
        }
        let beside: Vec<String> =
            names(&self.unsure, false).into_iter().chain(names(&self.many, false)).collect();
        match beside.is_empty() {
            true => "no part leads on from the first: check the names".into(),
            false => format!(
                "the way ends at {}: name the pads that the current passes with --through, once for each part",
                beside.join(", ")
            ),
        }
    }
}
