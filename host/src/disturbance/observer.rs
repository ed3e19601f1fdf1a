//! All three tests over a stream of pairs.

use super::{
    Pair,
    blocks::{Block, LASTS_BLOCKS, Steps},
    dropout::{Interruptions, Thresholds},
    levels::{LEARNED_PAIRS, Levels},
    watched::{Disturbance, LISTED, Noise, Step, Watched},
};
use crate::quantity::{Ohms, Volts};

/// Something that was seen.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Seen {
    /// An interruption has ended.
    Disturbance(Disturbance),
    /// The resistance changed and stayed.
    Step(Step),
    /// Excess noise has ended.
    Noise(Noise),
}

/// A pair, for a trace on a screen.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Look {
    /// When it began, µs of watching.
    pub at_us: u64,
    /// Resistance by pair A; infinite where the segment is open.
    pub resistance: Ohms,
    /// Off its level.
    pub off: bool,
}

/// No current flows while the levels are to be learned.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct NoCurrent;

/// Watches one segment.
#[derive(Debug)]
pub struct Observer {
    resistance: Ohms,
    limit: Ohms,
    learning: Vec<Pair>,
    tests: Option<Tests>,
    watched: Watched,
    /// What was seen and not asked for yet.
    seen: Vec<Seen>,
    looks: Vec<Look>,
}

/// The tests, once there are levels.
#[derive(Debug)]
struct Tests {
    levels: Levels,
    /// Pair A as the latest undisturbed block had it.
    level: Volts,
    thresholds: Thresholds,
    interruptions: Interruptions,
    /// The latest pair, whether it was off, and whether the one before it was: its block wants to know of the one after it.
    held: Option<(Pair, [bool; 2])>,
    block: Block,
    steps: Steps,
    noise: Option<Noise>,
}

impl Observer {
    /// For a segment of this resistance, by a reading with current reversal just before, and of this upper limit.
    pub fn new(resistance: Ohms, limit: Ohms) -> Self {
        Self {
            resistance,
            limit,
            learning: Vec::new(),
            tests: None,
            watched: Watched { resistance, ..Watched::default() },
            seen: Vec::new(),
            looks: Vec::new(),
        }
    }

    /// Takes the next pair, and what lies between two conversions, µs.
    ///
    /// # Errors
    /// There is no current to watch by.
    pub fn take(&mut self, pair: Pair, period_us: f64) -> Result<(), NoCurrent> {
        self.watched.conversions += 2;
        self.watched.us = pair.at_us + (2.0 * period_us) as u64;
        if self.tests.is_some() {
            self.test(pair, period_us);
            return Ok(());
        }
        self.learning.push(pair);
        if self.learning.len() < LEARNED_PAIRS {
            return Ok(());
        }
        let learned = std::mem::take(&mut self.learning);
        let levels = Levels::learn(&learned, self.resistance).ok_or(NoCurrent)?;
        self.watched.noise = levels.noise[0] / levels.current();
        self.tests = Some(Tests::new(levels, self.limit));
        // What happened in the first second happened too.
        learned.into_iter().for_each(|pair| self.test(pair, period_us));
        Ok(())
    }

    /// Are the levels known?
    pub fn has_learned(&self) -> bool {
        self.tests.is_some()
    }

    /// What was seen since this was asked last.
    pub fn seen(&mut self) -> Vec<Seen> {
        std::mem::take(&mut self.seen)
    }

    /// The pairs since this was asked last; none in the first second.
    pub fn looks(&mut self) -> Vec<Look> {
        std::mem::take(&mut self.looks)
    }

    /// Watching ends; `unwatched_us` of it went by without a conversion. What lasts is told as far as it came.
    pub fn finish(&mut self, period_us: f64, unwatched_us: u64) -> Watched {
        if let Some(tests) = &mut self.tests {
            let lasting = tests.interruptions.finish(&tests.levels, period_us).map(Seen::Disturbance);
            let noise = tests.noise.take().map(Seen::Noise);
            lasting.into_iter().chain(noise).for_each(|seen| self.keep(seen));
        }
        self.watched.unwatched_us = unwatched_us;
        self.watched.clone()
    }

    fn test(&mut self, pair: Pair, period_us: f64) {
        let Some(tests) = &mut self.tests else { return };
        let (look, seen) = tests.take(pair, period_us, self.limit);
        self.looks.push(look);
        seen.into_iter().flatten().for_each(|seen| self.keep(seen));
    }

    fn keep(&mut self, seen: Seen) {
        self.seen.push(seen);
        match seen {
            Seen::Disturbance(found) => self.watched.add(found),
            Seen::Step(step) if self.watched.steps.len() < LISTED => self.watched.steps.push(step),
            Seen::Noise(noise) if self.watched.noises.len() < LISTED => self.watched.noises.push(noise),
            Seen::Step(_) | Seen::Noise(_) => {}
        }
    }
}

impl Tests {
    fn new(levels: Levels, limit: Ohms) -> Self {
        Self {
            level: levels.sense,
            thresholds: Thresholds::new(&levels, levels.sense, limit),
            interruptions: Interruptions::default(),
            held: None,
            block: Block::default(),
            steps: Steps::new(&levels, limit),
            noise: None,
            levels,
        }
    }

    fn take(&mut self, pair: Pair, period_us: f64, limit: Ohms) -> (Look, [Option<Seen>; 3]) {
        let (off, ended) =
            self.interruptions.take(&pair, &self.levels, self.level, &self.thresholds, period_us);
        let look = Look { at_us: pair.at_us, resistance: self.levels.resistance_at(pair.sense), off };
        let mut seen = [ended.map(Seen::Disturbance), None, None];
        let off_before = self.held.is_some_and(|(_, [_, off])| off);
        if let Some((held, [before, it])) = self.held.replace((pair, [off_before, off])) {
            // A pair beside an interruption may hold a piece of it.
            let calm = !before && !it && !off;
            if self.block.take(&held, calm, &self.levels) {
                [seen[1], seen[2]] = self.close(limit, pair.at_us);
            }
        }
        (look, seen)
    }

    /// A block is whole: was there a step, and has noise ended?
    fn close(&mut self, limit: Ohms, now_us: u64) -> [Option<Seen>; 2] {
        let block = std::mem::take(&mut self.block);
        let said = block.said(&self.levels, limit);
        let step = match &said {
            Some(said) if said.noise.is_none() => {
                self.settle(said.sense, limit);
                self.steps.take(said)
            }
            _ => {
                self.steps.pass_over();
                self.stays(&block, limit)
            }
        };
        let noisy = said.and_then(|said| said.noise.map(|rms| (said.at_us, rms)));
        let ended = match (noisy, &mut self.noise) {
            (Some((at_us, rms)), noise) => {
                let noise = noise.get_or_insert(Noise { at_us, us: 0, rms });
                noise.us = now_us - noise.at_us;
                noise.rms = noise.rms.max(rms);
                None
            }
            (None, noise) => noise.take(),
        };
        [step.map(Seen::Step), ended.map(Seen::Noise)]
    }

    fn settle(&mut self, level: Volts, limit: Ohms) {
        self.level = level;
        self.thresholds = Thresholds::new(&self.levels, level, limit);
    }

    /// An interruption that lasts, and leaves the segment steady and within its limit, is a step.
    fn stays(&mut self, block: &Block, limit: Ohms) -> Option<Step> {
        let since_us = self.interruptions.since_us()?;
        let length_us = self.held?.0.at_us.saturating_sub(block.at_us());
        if block.at_us().saturating_sub(since_us) < (LASTS_BLOCKS - 1) as u64 * length_us {
            return None;
        }
        let level = block.steady(&self.levels).filter(|level| self.levels.resistance_at(*level) <= limit)?;
        let from = self.levels.resistance_at(self.level);
        self.interruptions.give_up();
        self.settle(level, limit);
        let to = self.levels.resistance_at(level);
        self.steps.begin_anew(block.at_us(), to);
        Some(Step { at_us: since_us, from, to })
    }
}
