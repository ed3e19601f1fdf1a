//! What a question would tell: the mutual information between its answer and the hypotheses, bits (Shannon 1948).

use super::{
    belief::{Belief, STOPS_ABOVE},
    defect::{Defect, Hypothesis},
    look::{Course, Look, Question},
    values::MOST,
};
use crate::{board::SegmentId, quantity::Ohms};

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
/// One answer only.
const CERTAIN: Chances = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];

fn certainly(kind: usize) -> Chances {
    let mut chances = [0.0; KINDS];
    chances[kind] = 1.0;
    chances
}

/// Entropy of chances, bits, where any answer may come by what is not among the hypotheses. Most chances are zero, and what those add
/// is always the same.
fn blurred_entropy(chances: &Chances) -> f64 {
    const LEAST: f64 = ODD / KINDS as f64;
    let zero = -LEAST * LEAST.log2();
    let of = |&chance: &f64| {
        if chance == 0.0 {
            return zero;
        }
        let blurred = (1.0 - ODD) * chance + LEAST;
        -blurred * blurred.log2()
    };
    chances.iter().map(of).sum()
}

/// Entropy of a distribution, bits.
pub fn entropy(probabilities: impl Iterator<Item = f64>) -> f64 {
    probabilities.filter(|&p| p > 0.0).map(|p| -p * p.log2()).sum()
}

/// What an excess over the usual does to a look.
#[derive(Clone, Copy, Debug)]
struct Excess {
    /// Probability that it stands out in the look's value.
    raised: f64,
    /// Probability that it stops the current.
    stops: f64,
}

/// The hypotheses that a choice between questions looks at, taken out of a belief once for many questions.
#[derive(Clone, Debug)]
pub struct Chooser<'b, 'a> {
    belief: &'a Belief<'b>,
    probable: Vec<(&'a Hypothesis, f64)>,
}

fn by_probability(a: &(&Hypothesis, f64), b: &(&Hypothesis, f64)) -> std::cmp::Ordering {
    b.1.total_cmp(&a.1).then(a.0.cmp(b.0))
}

impl<'b, 'a> Chooser<'b, 'a> {
    /// For a belief as it stands.
    pub fn new(belief: &'a Belief<'b>) -> Self {
        let mut probable: Vec<(&Hypothesis, f64)> = belief.weighed().filter(|(_, p)| *p > 1e-9).collect();
        if probable.len() > MOST_HYPOTHESES {
            probable.select_nth_unstable_by(MOST_HYPOTHESES, by_probability);
            probable.truncate(MOST_HYPOTHESES);
        }
        probable.sort_by(by_probability);
        let mut sum = 0.0;
        let within = probable.iter().take_while(|(_, p)| {
            let more = sum < SHARE;
            sum += p;
            more
        });
        let count = within.count();
        probable.truncate(count);
        Self { belief, probable }
    }

    /// The same that looks at so many of the most probable ones only: a rough look at many questions.
    #[must_use]
    pub fn at_most(&self, count: usize) -> Self {
        let probable = self.probable.iter().take(count).copied().collect();
        Self { belief: self.belief, probable }
    }

    /// Expected information of a question, bits. `standard`: standard uncertainty that its value would have.
    pub fn information(&self, question: &Question, standard: Ohms) -> f64 {
        let mut sums = [0.0; KINDS];
        let (mut within, mut total) = (0.0, 0.0);
        let certain = blurred_entropy(&CERTAIN);
        let mut excesses = vec![None; self.belief.board().segments.len()];
        for &(hypothesis, probability) in &self.probable {
            let chances = match question {
                Question::Look(look) => self.chances(look, standard, hypothesis, &mut excesses),
                &Question::Insulation { index, state } => {
                    certainly(usize::from(self.belief.shows(hypothesis, index, state)))
                }
            };
            for (sum, chance) in sums.iter_mut().zip(chances) {
                *sum += probability * chance;
            }
            // Most hypotheses leave no doubt about the answer.
            let one_only = chances.iter().any(|&chance| chance > 0.999_999);
            within += probability * if one_only { certain } else { blurred_entropy(&chances) };
            total += probability;
        }
        if total <= 0.0 {
            return 0.0;
        }
        (blurred_entropy(&sums.map(|sum| sum / total)) - within / total).max(0.0)
    }

    /// What a look answers under a hypothesis. `excesses`: of each segment, what was worked out for another hypothesis about this look.
    fn chances(
        &self,
        look: &Look,
        standard: Ohms,
        hypothesis: &Hypothesis,
        excesses: &mut [Option<Excess>],
    ) -> Chances {
        match look.course_of(hypothesis, |defect| matches!(defect, Defect::Open(_))) {
            Course::Stops { touches: [true, true], across: true } => certainly(2),
            Course::Stops { touches: [true, true], .. } => certainly(3),
            Course::Stops { touches: [false, true], .. } => certainly(4),
            Course::Stops { touches: [true, false], .. } => certainly(5),
            Course::Stops { .. } => certainly(6),
            Course::Flows => self.chances_of_value(look, standard, hypothesis, excesses),
        }
    }

    fn chances_of_value(
        &self,
        look: &Look,
        standard: Ohms,
        hypothesis: &Hypothesis,
        excesses: &mut [Option<Excess>],
    ) -> Chances {
        let (mut usual, mut stops_here, mut stops_elsewhere) = (1.0, 0.0, 0.0);
        for defect in hypothesis.defects() {
            if let Defect::SilentPin(point) = defect {
                if look.sensed[0] == point {
                    return certainly(4);
                }
                if look.sensed[1] == point {
                    return certainly(5);
                }
                continue;
            }
            let Some(at) = defect.segment().and_then(|id| look.position(id)) else { continue };
            let here = look.is_between(at);
            let stops = if here { &mut stops_here } else { &mut stops_elsewhere };
            match defect {
                // It conducts, badly or not at all, as it happens.
                Defect::Flaky(_) => {
                    *stops = 0.25;
                    if here {
                        usual *= 0.75;
                    }
                }
                Defect::High(id) | Defect::Film(id) => {
                    let known = &mut excesses[id.index()];
                    let excess = *known.get_or_insert_with(|| self.excess(id, look, standard, here));
                    usual *= 1.0 - excess.raised;
                    *stops = excess.stops;
                }
                _ => {}
            }
        }
        let flows = (1.0 - stops_here - stops_elsewhere).max(0.0);
        [flows * usual, flows * (1.0 - usual), stops_here, stops_elsewhere, 0.0, 0.0, 0.0]
    }

    fn excess(&self, id: SegmentId, look: &Look, standard: Ohms, here: bool) -> Excess {
        let board = self.belief.board();
        let threshold = STANDS_OUT * (look.variance() + standard.0.powi(2)).sqrt();
        let flowed = self.belief.values().excess(id.index());
        if let Some((mean, deviation)) = flowed
            && mean > 2.0 * deviation
        {
            return Excess { raised: f64::from(u8::from(here && mean > threshold)), stops: 0.0 };
        }
        // What was read over it bounds its size; otherwise nothing is known of it: evenly over the decades.
        let most = flowed.map_or(MOST.0, |(mean, deviation)| (mean + STANDS_OUT * deviation).max(0.0));
        let least = (self.belief.limits().of(id).max - board.segment(id).expected.typical).0.max(1e-6);
        if most <= least {
            return Excess { raised: 0.0, stops: 0.0 };
        }
        let above = |ohms: f64| ((most / ohms.max(least)).ln() / (most / least).ln()).clamp(0.0, 1.0);
        let stops = above(STOPS_ABOVE.0);
        let raised = if here { (above(threshold) - stops).max(0.0) / (1.0 - stops).max(1e-9) } else { 0.0 };
        Excess { raised, stops }
    }
}
