//! What a question would tell: the mutual information between its answer and the hypotheses, bits (Shannon 1948).

use super::{
    belief::{Belief, STOPS_ABOVE},
    defect::{Defect, Hypothesis},
    look::{Course, Look, Question},
    values::{MOST, sigma},
};
use crate::quantity::Ohms;

/// An answer is another one than a hypothesis makes certain this often; probability. It keeps certainties finite.
const ODD: f64 = 1e-3;
/// A value stands out from what is usual by at least so many standard deviations of it.
const STANDS_OUT: f64 = 3.0;
/// Hypotheses that make up so much of the posterior are looked at; the rest would change no choice …
const SHARE: f64 = 0.9995;
/// … and at most so many of them, the most probable ones.
const MOST_HYPOTHESES: usize = 4_000;

/// Kinds of answers, as far as a choice between questions needs them.
const KINDS: usize = 7;
/// As a healthy unit, higher, no current with the source's voltage between the sensed points, no current without,
/// and the first, the second or both of the sensed points floating.
type Chances = [f64; KINDS];

/// Entropy of a distribution, bits.
pub fn entropy(probabilities: impl Iterator<Item = f64>) -> f64 {
    probabilities.filter(|&p| p > 0.0).map(|p| -p * p.log2()).sum()
}

/// The hypotheses that a choice between questions looks at, taken out of a belief once for many questions.
#[derive(Clone, Debug)]
pub struct Chooser<'b, 'a> {
    belief: &'a Belief<'b>,
    probable: Vec<(&'a Hypothesis, f64)>,
}

impl<'b, 'a> Chooser<'b, 'a> {
    /// For a belief as it stands.
    pub fn new(belief: &'a Belief<'b>) -> Self {
        let mut probable: Vec<(&Hypothesis, f64)> = belief.weighed().filter(|(_, p)| *p > 1e-9).collect();
        probable.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut sum = 0.0;
        let within = probable.iter().take_while(|(_, p)| {
            let more = sum < SHARE;
            sum += p;
            more
        });
        let count = within.count().min(MOST_HYPOTHESES);
        probable.truncate(count);
        Self { belief, probable }
    }

    /// Expected information of a question, bits. `standard`: standard uncertainty that its value would have.
    pub fn information(&self, question: &Question, standard: Ohms) -> f64 {
        let mut sums = [0.0; KINDS];
        let (mut within, mut total) = (0.0, 0.0);
        let answers = match question {
            Question::Look(look) => Answers::of_look(self.belief, look, standard),
            &Question::Insulation { .. } => Answers { positions: Vec::new(), spread: 0.0 },
        };
        for &(hypothesis, probability) in &self.probable {
            let chances = match question {
                Question::Look(look) => answers.chances(self.belief, look, hypothesis),
                &Question::Insulation { index, state } => {
                    let bridged = f64::from(u8::from(self.belief.shows(hypothesis, index, state)));
                    [1.0 - bridged, bridged, 0.0, 0.0, 0.0, 0.0, 0.0]
                }
            };
            let blurred = chances.map(|chance| (1.0 - ODD) * chance + ODD / KINDS as f64);
            for (sum, chance) in sums.iter_mut().zip(blurred) {
                *sum += probability * chance;
            }
            within += probability * entropy(blurred.into_iter());
            total += probability;
        }
        if total <= 0.0 {
            return 0.0;
        }
        (entropy(sums.into_iter().map(|sum| sum / total)) - within / total).max(0.0)
    }
}

/// What a look's answers depend on.
struct Answers {
    /// For each segment of the board, where on the way it lies; `u32::MAX`: nowhere.
    positions: Vec<u32>,
    /// Standard deviation of a healthy unit's value, Ω.
    spread: f64,
}

impl Answers {
    fn of_look(belief: &Belief<'_>, look: &Look, standard: Ohms) -> Self {
        let mut positions = vec![u32::MAX; belief.board().segments.len()];
        for (at, id) in look.way().iter().enumerate() {
            positions[id.index()] = at as u32;
        }
        let own = look.between().iter().map(|&id| sigma(belief.board().segment(id)).powi(2));
        let spread = (own.sum::<f64>() + standard.0.powi(2)).sqrt();
        Self { positions, spread }
    }

    fn position(&self, defect: Defect) -> Option<usize> {
        let at = self.positions[defect.segment()?.index()];
        (at != u32::MAX).then_some(at as usize)
    }

    fn chances(&self, belief: &Belief<'_>, look: &Look, hypothesis: &Hypothesis) -> Chances {
        let opens = hypothesis
            .defects()
            .filter(|defect| matches!(defect, Defect::Open(_)))
            .filter_map(|defect| self.position(defect));
        match look.course(opens) {
            Course::Stops { touches: [true, true], across } => {
                if across {
                    [0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0]
                } else {
                    [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0]
                }
            }
            Course::Stops { touches: [false, true], .. } => [0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0],
            Course::Stops { touches: [true, false], .. } => [0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0],
            Course::Stops { .. } => [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0],
            Course::Flows => self.chances_of_value(belief, look, hypothesis),
        }
    }

    fn chances_of_value(&self, belief: &Belief<'_>, look: &Look, hypothesis: &Hypothesis) -> Chances {
        let (mut usual, mut stops_here, mut stops_elsewhere) = (1.0, 0.0, 0.0);
        for defect in hypothesis.defects() {
            if let Defect::SilentPin(point) = defect {
                if look.sensed[0] == point {
                    return [0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0];
                }
                if look.sensed[1] == point {
                    return [0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 0.0];
                }
                continue;
            }
            let Some(at) = self.position(defect) else { continue };
            let here = look.is_between(at);
            let stops = if here { &mut stops_here } else { &mut stops_elsewhere };
            match defect {
                Defect::Flaky(_) => *stops = 0.25,
                Defect::High(id) | Defect::Film(id) => {
                    let (raised, stopped) = self.excess(belief, id.index(), look, here);
                    usual *= 1.0 - raised;
                    *stops = stopped;
                }
                _ => {}
            }
        }
        let flows = (1.0 - stops_here - stops_elsewhere).max(0.0);
        [flows * usual, flows * (1.0 - usual), stops_here, stops_elsewhere, 0.0, 0.0, 0.0]
    }

    /// Probabilities that an excess stands out in the look's value, and that it stops the current.
    fn excess(&self, belief: &Belief<'_>, segment: usize, look: &Look, here: bool) -> (f64, f64) {
        let threshold = STANDS_OUT * self.spread;
        let flowed = belief.values().excess(segment);
        if let Some((mean, deviation)) = flowed
            && mean > 2.0 * deviation
        {
            return (f64::from(u8::from(here && mean > threshold)), 0.0);
        }
        // Nothing is known of its size: evenly over the decades.
        let id = look.way().iter().copied().find(|id| id.index() == segment);
        let least = id.map_or(1e-3, |id| {
            (belief.limits().of(id).max - belief.board().segment(id).expected.typical).0.max(1e-6)
        });
        let above = |ohms: f64| ((MOST.0 / ohms.max(least)).ln() / (MOST.0 / least).ln()).clamp(0.0, 1.0);
        let stops = above(STOPS_ABOVE.0);
        let raised = if here { (above(threshold) - stops).max(0.0) / (1.0 - stops).max(1e-9) } else { 0.0 };
        (raised, stops)
    }
}
