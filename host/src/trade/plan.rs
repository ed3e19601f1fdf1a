//! The best way with one unit: which repair to try first, what to try when a sweep shows that it failed, and when to give
//! up.
//!
//! The model. A unit has faults that all have to be cured before it sells. Each fault is one of some suspects that exclude
//! each other, with its probability. A repair of a suspect, if that one is the fault, works with its chance; a sweep after
//! each tells. Repairs of one suspect work independently of each other. A repair may lose the board. Whoever gives up takes the
//! spares, if they are worth the time. Time costs what an hour is said to cost.
//!
//! The plan with the greatest expectation is found exactly, by dynamic programming over which repairs have been tried
//! (R. Bellman, Dynamic Programming (1957)); it tries them in the order of a test in the worst case, so nothing but the set
//! that was tried matters.

use super::odds::RepairOption;

/// Minutes for a sweep: unit onto the bed, sweep, result; common practice, from memory.
pub const SWEEP_MINUTES: f64 = 3.0;
/// Minutes to take the spares off a unit; common practice, from memory.
pub const SPARES_MINUTES: f64 = 10.0;
/// Repairs of one fault that are weighed at most: sets of them are walked, and no fault of the table has half as many.
const MOST: usize = 10;

/// What is at stake.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Stake {
    /// What a good unit brings.
    pub price: f64,
    /// What its spares are worth.
    pub spares: f64,
    /// What an hour of work costs.
    pub hour: f64,
}

/// One of the things that a fault may be.
#[derive(Clone, PartialEq, Debug)]
pub struct Suspect {
    /// Probability that it is this. Those of one fault add up to 1 at most; what is missing is nothing that any repair cures.
    pub probability: f64,
    /// What may be tried.
    pub options: Vec<RepairOption>,
}

/// What comes of something: expectations.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Outcome {
    /// What it brings, parts taken off, time not.
    pub gain: f64,
    /// Minutes it takes.
    pub minutes: f64,
    /// Chance that the unit is good at the end.
    pub cured: f64,
}

impl Outcome {
    /// What it brings with time taken off.
    pub fn net(self, hour: f64) -> f64 {
        self.gain - hour * self.minutes / 60.0
    }

    fn plus(self, share: f64, other: Self) -> Self {
        Self {
            gain: self.gain + share * other.gain,
            minutes: self.minutes + share * other.minutes,
            cured: self.cured + share * other.cured,
        }
    }
}

/// A step of a plan: the repair to try if those before it failed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Step {
    /// Number of the fault.
    pub fault: usize,
    /// Number of the suspect.
    pub suspect: usize,
    /// Number of the option.
    pub option: usize,
}

/// The best way with a unit.
#[derive(Clone, PartialEq, Debug)]
pub struct Plan {
    /// What comes of it.
    pub outcome: Outcome,
    /// What to try, in order. Empty: give it up.
    pub steps: Vec<Step>,
}

impl Stake {
    /// What comes of a good unit.
    pub fn sold(self) -> Outcome {
        Outcome { gain: self.price, minutes: 0.0, cured: 1.0 }
    }

    /// What comes of giving a unit up.
    pub fn given_up(self) -> Outcome {
        let stripped = Outcome { gain: self.spares, minutes: SPARES_MINUTES, cured: 0.0 };
        if stripped.net(self.hour) > 0.0 { stripped } else { Outcome::default() }
    }
}

/// The best plan for a unit with these faults, which are cured in this order.
pub fn best(faults: &[Vec<Suspect>], stake: Stake) -> Plan {
    let mut plan = Plan { outcome: stake.sold(), steps: Vec::new() };
    // From the last fault back: what curing one is worth follows from those after it.
    for (fault, suspects) in faults.iter().enumerate().rev() {
        let (outcome, steps) = one_fault(suspects, plan.outcome, stake);
        let steps = steps.into_iter().map(|(suspect, option)| Step { fault, suspect, option });
        // Behind a fault that is given up nothing is tried.
        let later = std::mem::take(&mut plan.steps);
        let mut steps: Vec<Step> = steps.collect();
        if !steps.is_empty() {
            steps.extend(later);
        }
        plan = Plan { outcome, steps };
    }
    plan
}

/// The best way with one fault, if `cured` comes of curing it.
fn one_fault(suspects: &[Suspect], cured: Outcome, stake: Stake) -> (Outcome, Vec<(usize, usize)>) {
    let options = weighed(suspects);
    let sets = 1_usize << options.len();
    let given_up = stake.given_up();
    let mut found: Vec<(Outcome, Option<usize>)> = vec![(given_up, None); sets];
    for tried in (0..sets).rev() {
        let mut best = (given_up, None);
        for (number, &(suspect, option)) in options.iter().enumerate() {
            let with = tried | (1 << number);
            if with == tried {
                continue;
            }
            let (Some(repair), Some((failed, _))) =
                (suspects.get(suspect).and_then(|suspect| suspect.options.get(option)), found.get(with))
            else {
                continue;
            };
            let works = chance(suspects, &options, tried, suspect) * repair.chance.mean();
            let saved = 1.0 - repair.spoils;
            let outcome =
                Outcome { gain: -repair.parts, minutes: repair.minutes + SWEEP_MINUTES, cured: 0.0 }
                    .plus(saved * works, cured)
                    .plus(saved * (1.0 - works), *failed);
            if outcome.net(stake.hour) > best.0.net(stake.hour) {
                best = (outcome, Some(number));
            }
        }
        if let Some(place) = found.get_mut(tried) {
            *place = best;
        }
    }
    let mut steps = Vec::new();
    let mut tried = 0;
    while let Some(&(_, Some(number))) = found.get(tried) {
        steps.extend(options.get(number).copied());
        tried |= 1 << number;
    }
    (found.first().map_or(given_up, |(outcome, _)| *outcome), steps)
}

/// Probability that the fault is this suspect, after these repairs have failed.
fn chance(suspects: &[Suspect], options: &[(usize, usize)], tried: usize, wanted: usize) -> f64 {
    let left = |number: usize, suspect: &Suspect| {
        let failed =
            options.iter().enumerate().filter(|(at, (of, _))| tried & (1 << at) != 0 && *of == number);
        let misses = failed.filter_map(|(_, (_, option))| suspect.options.get(*option));
        misses.fold(suspect.probability, |left, repair| left * (1.0 - repair.chance.mean()))
    };
    let listed: f64 = suspects.iter().map(|suspect| suspect.probability).sum();
    let nothing = (1.0 - listed).max(0.0);
    let all: f64 = nothing + suspects.iter().enumerate().map(|(at, suspect)| left(at, suspect)).sum::<f64>();
    let this = suspects.get(wanted).map_or(0.0, |suspect| left(wanted, suspect));
    if all > 0.0 { this / all } else { 0.0 }
}

/// The repairs that are weighed: suspect and option, the likeliest to work where there are too many.
fn weighed(suspects: &[Suspect]) -> Vec<(usize, usize)> {
    let mut all: Vec<(f64, (usize, usize))> = Vec::new();
    for (number, suspect) in suspects.iter().enumerate() {
        for (option, repair) in suspect.options.iter().enumerate() {
            all.push((suspect.probability * repair.chance.mean(), (number, option)));
        }
    }
    all.sort_by(|(a, _), (b, _)| b.total_cmp(a));
    all.truncate(MOST);
    all.into_iter().map(|(_, option)| option).collect()
}
