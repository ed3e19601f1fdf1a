//! A part on the way, as a segment, with what its value does not tell.

use super::super::parts::Conductor;
use super::super::path::Link;
use super::name::quoted;
use super::{Builder, DraftKind};

impl Builder<'_> {
    /// Writes a part down; `against` where the way leads against the current.
    pub(super) fn part(&mut self, link: &Link, ends: [String; 2], against: bool) {
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
}
