//! The copper of a net, cut into segments between points.

use std::collections::BTreeSet;

use super::super::cut::{self, Stretch};
use super::super::error::ImportError;
use super::super::layout::NetId;
use super::super::net::SpotId;
use super::super::pours;
use super::name::{free_name, quoted};
use super::stretch::{self, Drafted};
use super::{ASSUMED_LOAD, Builder, DraftKind, DraftPoint, Unsolved};
use crate::board::Side;
use crate::parallel;

impl Builder<'_> {
    /// The copper of a net between some pads and some others; the names of the points it begins and ends at.
    pub(super) fn copper(
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

    /// A stretch as a segment, unless one joins its points already.
    fn stretch(&mut self, id: NetId, stretch: &Stretch) -> Result<(), ImportError> {
        let [a, b] = stretch.ends;
        let ends = [self.point(id, a), self.point(id, b)];
        if !self.join(&ends) {
            return Ok(());
        }
        let Some(net) = self.nets.get(&id) else { return Ok(()) };
        let Drafted { name, kind, comments, question } = stretch::drafted(self.layout, net, stretch, &ends);
        self.draft.questions.extend(question);
        let of_net = format!("net {}", quoted(self.layout.net_name(id)));
        let comments = [of_net].into_iter().chain(comments).collect();
        let unsolved = matches!(kind, DraftKind::Pour { typical: None, .. });
        let segment = self.segment(&name, ends, kind, comments)?;
        if unsolved {
            self.unsolved.push(Unsolved { segment, net: id, stretch: stretch.clone() });
        }
        Ok(())
    }

    /// Solves the copper that is left, all of it at once, because that is most of an import's time.
    pub(super) fn solve(&mut self) {
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
}
