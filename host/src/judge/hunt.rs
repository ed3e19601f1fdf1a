//! What a hunt makes of its looks: the path of questions, the verdict on a unit of which most segments were not read by themselves,
//! and the probabilities of its faults.

use crate::{
    board::{Board, SegmentId, StateId},
    evidence::Evidence,
    fault::{self, advice},
    finding::{
        isolation::{self, Barrier},
        mesh, path,
        segment::{Doubt, Finding},
        witness,
    },
    fixture::Fixture,
    hypothesis::{Answer, Belief, Defect, Place, Question, words},
    limits::LimitSet,
    measurement::{Measurement, Purpose},
    plan::{Plan, Stage, Stretch},
    quantity::engineering,
    sweep::{Answered, Asked, Left, StepRow, UnitFault},
    verdict::{Class, Verdict},
};

/// What a hunt has come to.
pub struct Hunted<'b> {
    belief: Belief<'b>,
    /// Stretches that are proven within their limit end to end, each with the state it was read in.
    carrying: Vec<(StateId, &'b Stretch)>,
    /// Its questions in order, with what each answer left.
    pub steps: Vec<StepRow>,
}

/// Weighs the hypotheses again, answer by answer.
pub fn weigh<'b>(
    fixture: &'b Fixture,
    limits: &'b LimitSet,
    plan: &'b Plan,
    measurement: &Measurement,
    evidence: &Evidence,
) -> Hunted<'b> {
    let board = &fixture.board;
    let pins = fixture.sensed_points();
    let mut belief = Belief::new(board, limits, &measurement.rates, &pins);
    let mut open = belief.entropy();
    let mut steps = Vec::new();
    for (run, question, answer) in witness::answers(board, evidence) {
        let by_itself = measurement
            .runs
            .get(run)
            .is_some_and(|run| !matches!(run.purpose, Purpose::Look | Purpose::Plan));
        let asked = asked(board, &question, by_itself);
        belief.see(question, answer);
        let left = belief.entropy();
        steps.push(StepRow { asked, answered: answered(&answer), left: left_of(&belief), bits: open - left });
        open = left;
    }
    let stretches =
        plan.stages.iter().flat_map(|stage| path::stretches(stage).map(|stretch| (stage.state, stretch)));
    let carrying = stretches
        .filter(|(state, stretch)| path::carries(board, limits, *state, evidence, stretch))
        .collect();
    Hunted { belief, carrying, steps }
}

impl Hunted<'_> {
    /// The unit's faults with the hunt's own probabilities, and the places that are suspected without proof, most probable first.
    /// A segment of a stretch that is within its limit end to end keeps no unit from working.
    pub fn faults(&self, board: &Board, proven: Vec<UnitFault>) -> Vec<UnitFault> {
        let places = self.belief.places();
        let probability = |name: &str| {
            places.iter().find(|(place, _)| name_of(board, *place).as_deref() == Some(name)).map(|(_, p)| *p)
        };
        let mut faults: Vec<UnitFault> = proven
            .into_iter()
            .map(|fault| UnitFault {
                probability: probability(&fault.place).unwrap_or(fault.probability).min(fault::MOST),
                ..fault
            })
            .collect();
        for &(place, probability) in places.iter().filter(|(_, probability)| *probability >= fault::NAMED) {
            let Some(name) = name_of(board, place) else { continue };
            if matches!(place, Place::Segment(id) if self.carrying.iter().any(|(_, stretch)| holds(stretch, id)))
            {
                continue;
            }
            let class = self.belief.most_probable_at(place).and_then(class);
            let (Some(class), false) = (class, faults.iter().any(|fault| fault.place == name)) else {
                continue;
            };
            let advice = match place {
                Place::Segment(id) => advice::for_segment(board, id, class),
                // Two nets that conduct are proven by the very reading that shows it.
                Place::Bridge(_) | Place::Pin(_) => continue,
            };
            let probability = probability.min(fault::MOST);
            faults.push(UnitFault { place: name, class, probability, alternative: None, advice });
        }
        faults.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        faults
    }

    /// What is judged good without a reading of every segment: every stretch of a state end to end within its limit, every segment on a
    /// loop, and everything that insulates in it.
    pub fn is_shown_good(
        &self,
        plan: &Plan,
        evidence: &Evidence,
        meshes: &[mesh::Finding],
        isolations: &[isolation::Finding],
    ) -> bool {
        let good = |stage: &&Stage| {
            let count = path::stretches(stage).count();
            let carrying = self.carrying.iter().filter(|(state, _)| *state == stage.state).count();
            let in_meshes = meshes.iter().filter(|found| found.state == stage.state);
            let in_meshes = in_meshes.flat_map(|found| &found.segments).map(|finding| finding.verdict);
            let insulating = isolations.iter().filter(|finding| finding.state == stage.state);
            let mut parts = in_meshes.chain(insulating.map(|finding| finding.verdict));
            count > 0 && carrying == count && parts.all(|verdict| verdict == Verdict::Pass)
        };
        let visited = |stage: &&Stage| evidence.in_state(stage.state).next().is_some();
        let mut visited = plan.stages.iter().filter(visited).peekable();
        visited.peek().is_some() && visited.all(|stage| good(&stage))
    }

    /// Why a segment that a hunt did not read by itself is not proven.
    pub fn reason(&self, board: &Board, finding: &Finding) -> Option<String> {
        if finding.doubt != Some(Doubt::NotReached) {
            return None;
        }
        let mut carrying = self.carrying.iter().filter(|(state, _)| *state == finding.state);
        Some(match carrying.find(|(_, stretch)| holds(stretch, finding.segment)) {
            Some((_, stretch)) => {
                let [from, to] = [stretch.from, stretch.to].map(|point| &board.point(point).name);
                format!(
                    "Read only as a part of {from} to {to}, which is within its limit end to end; a sweep reads it by itself."
                )
            }
            None => "The hunt did not read it by itself; a sweep does.".into(),
        })
    }
}

fn holds(stretch: &Stretch, id: SegmentId) -> bool {
    stretch.steps.iter().any(|step| step.segment == id)
}

/// The most probable hypotheses, as a step keeps them.
pub fn left_of(belief: &Belief<'_>) -> Vec<Left> {
    let first = belief.posterior().into_iter().take(StepRow::LEFT);
    first.map(|(of, probability)| Left { what: words::in_words(belief.board(), &of), probability }).collect()
}

fn name_of(board: &Board, place: Place) -> Option<String> {
    match place {
        Place::Segment(id) => Some(board.segment(id).name.clone()),
        Place::Bridge(index) => board.isolation.get(index).map(|_| Barrier::Between(index).name(board)),
        Place::Pin(_) => None,
    }
}

fn class(defect: Defect) -> Option<Class> {
    Some(match defect {
        Defect::Open(_) => Class::Open,
        Defect::High(_) | Defect::StaysClosed(_) => Class::High,
        Defect::Film(_) => Class::Film,
        Defect::Flaky(_) => Class::Flaky,
        Defect::BarrelLost(_) => Class::RedundancyLost,
        Defect::Low(_) => Class::Low,
        Defect::Bridge(_) => Class::Leaky,
        Defect::SilentPin(_) => return None,
    })
}

fn asked(board: &Board, question: &Question, by_itself: bool) -> Asked {
    let name = |point| board.point(point).name.clone();
    match question {
        Question::Look(look) => {
            let [from, to] = look.sensed.map(name);
            let what = match look.between() {
                [id] if by_itself || look.way().len() > 1 => format!("{} by itself", board.segment(*id).name),
                _ if look.sensed == look.forced => "end to end".into(),
                between => format!("{} of {} segments", between.len(), look.way().len()),
            };
            Asked { from, to, state: board.state(look.state).name.clone(), what }
        }
        &Question::Insulation { index, state } => {
            let between = board.isolation.get(index).map(|entry| entry.between.map(name));
            let [from, to] = between.unwrap_or_default();
            Asked { from, to, state: board.state(state).name.clone(), what: "insulation".into() }
        }
    }
}

fn answered(answer: &Answer) -> Answered {
    let (text, resistance) = match *answer {
        Answer::Reads { resistance, .. } => (engineering(resistance), Some(resistance)),
        Answer::AtMost(most) => (format!("at most {}", engineering(most)), None),
        Answer::AtLeast(least) => (format!("at least {}", engineering(least)), None),
        Answer::Stops { across: true } => ("no current, open between them".into(), None),
        Answer::Stops { across: false } => ("no current, open elsewhere".into(), None),
        Answer::Floats { .. } => ("no current, and a sense pin hangs on neither end".into(), None),
        Answer::Silent { .. } => ("a sense pin does not touch".into(), None),
        Answer::Moves => ("it moved while it was read".into(), None),
        Answer::Apart => ("apart".into(), None),
        Answer::Bridged => ("they conduct".into(), None),
    };
    Answered { text, resistance }
}
