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

#[cfg(test)]
mod tests {
    use copperwalk_wire::hardware::RM_OHMS;

    use super::*;
    use crate::{
        disturbance::watched::Place,
        meter::{conversion_us, noise::conversion_noise},
        plan::aim::{WATCH_GAINS, WATCH_RATE, dry_current},
        random::Rng,
        verdict::{Class, Verdict},
    };

    const REST: Ohms = Ohms(0.05);
    const LIMIT: Ohms = Ohms(1.0);
    /// Offset and thermal voltages.
    const SHIFT: Volts = Volts(-40e-6);

    /// What the loop is like at a moment: the segment, the rest of the path, and what a sense pin off its pad does to pair A.
    #[derive(Clone, Copy)]
    struct Loop {
        segment: Ohms,
        elsewhere: Ohms,
        pin: Option<Volts>,
    }

    const QUIET: Loop = Loop { segment: REST, elsewhere: Ohms(0.5), pin: None };
    const OPEN: Ohms = Ohms(1e9);

    /// Watches a loop for so many seconds; conversions are the means over their windows, with the noise of the table.
    fn watched(seconds: f64, limit: Ohms, seed: u64, at: impl Fn(f64) -> Loop) -> Watched {
        let period_us = f64::from(conversion_us(WATCH_RATE));
        let noise = WATCH_GAINS.map(|gain| conversion_noise(gain, WATCH_RATE).0);
        let mut rng = Rng::new(seed);
        let mut observer = Observer::new(REST, limit);
        let mean = |number: usize, of: &dyn Fn(Loop) -> f64| {
            // The converter samples from 100 µs after its start.
            let steps = 20;
            let from = period_us * number as f64 + 100.0;
            let sum: f64 = (0..steps)
                .map(|step| from + (period_us - 100.0) * (f64::from(step) + 0.5) / f64::from(steps))
                .map(|us| of(at(us * 1e-6)))
                .sum();
            sum / f64::from(steps)
        };
        let current = |now: Loop| dry_current(now.segment + now.elsewhere).0;
        for pair in 0..(seconds * 1e6 / (2.0 * period_us)) as usize {
            let sense = |now: Loop| now.pin.map_or(current(now) * now.segment.0, |pin| pin.0);
            let sense = mean(2 * pair, &sense) + SHIFT.0 + noise[0] * rng.normal();
            let drop = mean(2 * pair + 1, &|now| current(now) * RM_OHMS) + noise[1] * rng.normal();
            let at_us = (2.0 * period_us * pair as f64) as u64;
            observer.take(Pair { at_us, sense: Volts(sense), drop: Volts(drop) }, period_us).unwrap();
        }
        observer.finish(period_us, 0)
    }

    #[test]
    fn nothing_is_seen_of_a_quiet_contact_and_its_levels_are_those_of_the_loop() {
        let watched = watched(10.0, LIMIT, 1, |_| QUIET);
        assert_eq!((watched.verdict(), watched.class()), (Verdict::Pass, Class::Ok));
        assert!(!watched.moved() && watched.counts == [0; 4]);
        // 1.03 µV at 0.63 mA.
        assert!((watched.noise.0 / 1.64e-3 - 1.0).abs() < 0.1, "{:?}", watched.noise);
    }

    #[test]
    fn an_interruption_is_told_with_its_place_and_its_length() {
        let open = Loop { segment: OPEN, ..QUIET };
        let partial = Loop { segment: Ohms(3.0), ..QUIET };
        let elsewhere = Loop { elsewhere: OPEN, ..QUIET };
        let up = Loop { pin: Some(Volts(6e-3)), ..QUIET };
        let down = Loop { pin: Some(Volts(-6e-3)), ..QUIET };
        for (ms, other, place) in [
            (2.0, open, Place::Segment),
            (2.0, partial, Place::Segment),
            (30.0, open, Place::Segment),
            (400.0, open, Place::Segment),
            (5.0, elsewhere, Place::Elsewhere),
            (200.0, elsewhere, Place::Elsewhere),
            (10.0, up, Place::Pin),
            (10.0, down, Place::Pin),
        ] {
            // Wherever it begins in a conversion.
            for phase in 0..24_u32 {
                let begin = 3.0 + f64::from(phase) * 90e-6;
                let at = |now: f64| if (begin..begin + ms * 1e-3).contains(&now) { other } else { QUIET };
                let watched = watched(5.0, LIMIT, u64::from(phase), at);
                let [found] = watched.disturbances[..] else { panic!("{ms} {place:?}: {watched:?}") };
                assert_eq!(found.place, place, "{ms} ms at {begin}: {found:?}");
                let off_ms = found.us as f64 / 1e3 - ms;
                let most_ms = if place == Place::Segment { 0.8 } else { 3.5 };
                assert!(off_ms.abs() < most_ms, "{ms} ms at {begin}: {found:?}");
                assert!((found.at_us as f64 / 1e6 - begin).abs() < 3e-3, "{found:?}");
            }
        }
    }

    #[test]
    fn one_too_short_to_place_is_charged_to_nobody() {
        let mut unknown = 0;
        for phase in 0..24_u32 {
            let begin = 3.0 + f64::from(phase) * 90e-6;
            let open = Loop { segment: OPEN, ..QUIET };
            let at = |now: f64| if (begin..begin + 0.3e-3).contains(&now) { open } else { QUIET };
            let watched = watched(5.0, LIMIT, u64::from(phase), at);
            unknown += watched.count(Place::Unknown);
            assert_eq!(watched.count(Place::Elsewhere) + watched.count(Place::Pin), 0, "{watched:?}");
        }
        assert!(unknown > 12, "{unknown}");
    }

    #[test]
    fn a_step_is_told_from_a_dropout() {
        for to in [Ohms(0.4), Ohms(0.8)] {
            let watched =
                watched(8.0, LIMIT, 3, |at| if at < 4.0 { QUIET } else { Loop { segment: to, ..QUIET } });
            let [step] = watched.steps[..] else { panic!("{watched:?}") };
            assert!((step.at_us as f64 / 1e6 - 4.0).abs() < 0.2, "{step:?}");
            assert!((step.from - REST).abs() < Ohms(2e-3) && (step.to - to).abs() < Ohms(0.02), "{step:?}");
            assert_eq!((watched.count(Place::Segment), watched.noises.len()), (0, 0), "{watched:?}");
        }
        // Above the limit it has dropped out, and stays there.
        let out =
            watched(8.0, LIMIT, 3, |at| if at < 4.0 { QUIET } else { Loop { segment: Ohms(3.0), ..QUIET } });
        assert_eq!((out.count(Place::Segment), out.steps.len()), (1, 0));
        assert!((out.longest_us as f64 / 4e6 - 1.0).abs() < 0.01, "{}", out.longest_us);
    }

    #[test]
    fn a_slow_change_is_told_and_a_thermal_voltage_is_not() {
        let slow = watched(10.0, LIMIT, 4, |at| Loop {
            segment: REST + Ohms(0.45) * ((at - 3.0) / 4.0).clamp(0.0, 1.0),
            ..QUIET
        });
        assert!(!slow.steps.is_empty(), "{slow:?}");
        // The same as voltage: the relays of a hostile bench, warming up.
        let thermal = watched(60.0, Ohms(2.5e-3), 5, |at| Loop {
            pin: Some(Volts(dry_current(Ohms(0.55)).0 * REST.0 + 100e-6 * (1.0 - (-at / 20.0).exp()))),
            ..QUIET
        });
        assert!(!thermal.moved(), "{thermal:?}");
    }

    #[test]
    fn more_noise_than_at_rest_is_told_with_its_time() {
        // A contact that shivers by a tenth of its limit.
        let shiver = |at: f64| {
            let size = if (4.0..5.0).contains(&at) { 0.1 } else { 0.0 };
            Loop { segment: REST + Ohms(size) * (1.0 + (at * 1_100.0).sin()), ..QUIET }
        };
        let watched = watched(8.0, LIMIT, 6, shiver);
        let rms = watched.noises.iter().map(|noise| noise.rms.0).fold(0.0, f64::max);
        assert!((0.04..0.12).contains(&rms), "{watched:?}");
        let lasted_us: u64 = watched.noises.iter().map(|noise| noise.us).sum();
        assert!((700_000..1_300_000).contains(&lasted_us), "{watched:?}");
    }

    #[test]
    fn what_happens_in_the_first_second_is_told_too() {
        let watched = watched(4.0, LIMIT, 7, |at| {
            if at % 0.1 < 0.03 && at < 1.0 { Loop { segment: OPEN, ..QUIET } } else { QUIET }
        });
        assert_eq!(watched.count(Place::Segment), 10, "{watched:?}");
    }

    #[test]
    fn without_a_current_nothing_can_be_watched() {
        let mut observer = Observer::new(REST, LIMIT);
        let pair = Pair { at_us: 0, sense: Volts(18e-3), drop: Volts(1e-6) };
        let last = (0..LEARNED_PAIRS).map(|_| observer.take(pair, 1_086.0)).last();
        assert_eq!(last, Some(Err(NoCurrent)));
    }
}
