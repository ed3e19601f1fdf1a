//! One shot's conversions: which comes next, and when it is enough.
//!
//! The order is that of [`copperwalk_wire::shot`]. The sampler is pure: it says what the bench must look like for
//! the next conversion, takes the code, and decides; somebody else moves the pins.

use copperwalk_wire::{
    Gain, Input, Method, Rate, Ratio, Settle,
    message::{RunEnd, ShotEnd},
};

use crate::{
    fold::Folded,
    residual::{self, Residual},
    settle::{Progress, Windows, ZEROS},
};

/// Gain of the proofs of the force contacts.
const ENDS_GAIN: Gain = Gain::X16;
/// Codes of a proof of both sense contacts.
const PROOFS: u16 = 2;

/// A conversion, and what the bench must look like for it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Look {
    /// What to convert.
    pub input: Input,
    /// Amplifier gain.
    pub gain: Gain,
    /// Data rate.
    pub rate: Rate,
    /// Burn-out currents on.
    pub burnout: bool,
    /// The shot's source on; off otherwise.
    pub excited: bool,
    /// Current reversed.
    pub reversed: bool,
}

/// What to do next.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Next {
    /// Convert, and [`Sampler::take`] the code.
    Convert(Look),
    /// The shot is over.
    End(ShotEnd),
}

/// What the codes so far add up to.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Sum {
    /// Nothing that matters here.
    Nothing,
    Residual([i32; 4]),
    Ratio {
        folded: Folded,
        /// Code of pair A that waits for its pair B.
        a: i32,
    },
    Settle(Windows),
}

/// Where a shot stands.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Sampler {
    method: Method,
    taken: u16,
    sum: Sum,
}

impl Sampler {
    /// At the start of a shot.
    pub fn new(method: Method) -> Self {
        let sum = match method {
            Method::Residual => Sum::Residual([0; 4]),
            Method::Bleed { .. } | Method::Look { .. } => Sum::Nothing,
            Method::Ratio(_) => Sum::Ratio { folded: Folded::default(), a: 0 },
            Method::Settle(_) => Sum::Settle(Windows::default()),
        };
        Self { method, taken: 0, sum }
    }

    /// Codes taken so far.
    pub fn taken(&self) -> u16 {
        self.taken
    }

    /// What to do next.
    pub fn next(&self) -> Next {
        match (&self.method, &self.sum) {
            (Method::Look { input, reversed, burnout, gain, rate, count }, _) => {
                if self.taken == u16::from(*count) {
                    return Next::End(ShotEnd::Complete);
                }
                Next::Convert(Look {
                    input: *input,
                    gain: *gain,
                    rate: *rate,
                    burnout: *burnout,
                    excited: true,
                    reversed: *reversed,
                })
            }
            (Method::Residual, _) => match self.taken {
                0 => quiet(Input::Bias, false),
                1 => quiet(Input::PlusAlone, true),
                2 => quiet(Input::MinusAlone, true),
                3 => quiet(Input::Sense, false),
                _ => Next::End(ShotEnd::Complete),
            },
            (Method::Ratio(ratio), Sum::Ratio { folded, .. }) => self.next_of_ratio(ratio, folded),
            (Method::Settle(settle), Sum::Settle(windows)) => self.next_of_settle(settle, windows),
            // A bleed gives no codes; the other pairings are never built.
            _ => Next::End(ShotEnd::Complete),
        }
    }

    fn next_of_ratio(&self, ratio: &Ratio, folded: &Folded) -> Next {
        let proofs = if ratio.proof { PROOFS } else { 0 };
        let head = header(ratio);
        if self.taken < proofs {
            return proof(self.taken);
        }
        let look = |input, gain, reversed| {
            Next::Convert(Look { input, gain, rate: ratio.rate, burnout: false, excited: true, reversed })
        };
        if self.taken < head {
            return match self.taken - proofs {
                0 => look(Input::MinusContact, ENDS_GAIN, false),
                _ => look(Input::PlusContact, ENDS_GAIN, true),
            };
        }
        let code = self.taken - head;
        let (half_cycle, triples) = (code / 2, folded.triples());
        if code.is_multiple_of(6) && triples >= u16::from(ratio.triples_min) {
            if ratio.stop.is_some_and(|stop| folded.decided(&stop)) {
                return Next::End(ShotEnd::Decided);
            }
            if triples >= u16::from(ratio.triples_max) {
                return Next::End(if ratio.stop.is_some() { ShotEnd::Budget } else { ShotEnd::Complete });
            }
        }
        let reversed = half_cycle % 2 == 1;
        match code % 2 {
            0 => look(Input::Sense, ratio.gain_a, reversed),
            _ => look(Input::Current, ratio.gain_b, reversed),
        }
    }

    fn next_of_settle(&self, settle: &Settle, windows: &Windows) -> Next {
        let look = |input, gain, excited| {
            Next::Convert(Look { input, gain, rate: settle.rate, burnout: false, excited, reversed: false })
        };
        let head = PROOFS + ZEROS;
        if self.taken < PROOFS {
            return proof(self.taken);
        }
        if self.taken < head {
            return look(Input::Zero, settle.gain_b, false);
        }
        let code = self.taken - head;
        if u32::from(code) == 2 * u32::from(settle.window) * u32::from(windows.windows()) {
            if matches!(windows.progress(), Some(Progress::Passed | Progress::Still)) {
                return Next::End(ShotEnd::Decided);
            }
            if windows.windows() >= settle.windows_max {
                return Next::End(ShotEnd::Budget);
            }
        }
        match code % 2 {
            0 => look(Input::Sense, settle.gain_a, true),
            _ => look(Input::Current, settle.gain_b, true),
        }
    }

    /// Takes the code of the conversion that [`next`](Self::next) asked for.
    pub fn take(&mut self, code: i32) {
        let index = self.taken;
        self.taken = self.taken.saturating_add(1);
        match (&self.method, &mut self.sum) {
            (_, Sum::Residual(codes)) => {
                if let Some(slot) = codes.get_mut(usize::from(index)) {
                    *slot = code;
                }
            }
            (Method::Ratio(ratio), Sum::Ratio { folded, a }) => match index.checked_sub(header(ratio)) {
                Some(pair) if pair % 2 == 0 => *a = code,
                Some(_) => folded.add(*a, code),
                None => {}
            },
            (Method::Settle(settle), Sum::Settle(windows)) => match index.checked_sub(PROOFS) {
                Some(zero) if zero < ZEROS => windows.add_zero(code),
                Some(pair) if pair % 2 == 0 => windows.add_a(code),
                Some(_) => windows.add_b(code, settle),
                None => {}
            },
            _ => {}
        }
    }

    /// After the shot's end: does the run have to end with it, and why?
    pub fn ends_run(&self) -> Option<RunEnd> {
        match (&self.method, &self.sum) {
            (_, Sum::Residual(codes)) => match residual::judge(*codes) {
                Residual::Dead => None,
                Residual::Alive => Some(RunEnd::Residual),
                Residual::Unproven => Some(RunEnd::Unproven),
            },
            (Method::Ratio(Ratio { gate: Some(gate), .. }), Sum::Ratio { folded, .. }) => {
                folded.above_gate(*gate).then_some(RunEnd::Gate)
            }
            _ => None,
        }
    }
}

/// Codes before the first half-cycle.
fn header(ratio: &Ratio) -> u16 {
    PROOFS * (u16::from(ratio.proof) + u16::from(ratio.ends))
}

/// A quick look at gain 1 with the source off.
fn quiet(input: Input, burnout: bool) -> Next {
    Next::Convert(Look {
        input,
        gain: Gain::X1,
        rate: Rate::Sps1000,
        burnout,
        excited: false,
        reversed: false,
    })
}

/// The proofs of both sense contacts.
fn proof(index: u16) -> Next {
    quiet(if index == 0 { Input::PlusAlone } else { Input::MinusAlone }, true)
}
