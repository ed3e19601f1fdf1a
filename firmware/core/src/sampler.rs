//! One shot's conversions: which comes next, and when it is enough.
//!
//! The order is that of [`copperwalk_wire::codes`]. The sampler is pure: it says what the bench must look like for
//! the next conversion, takes the code, and decides; somebody else moves the pins.

use copperwalk_wire::{
    Gain, Input, Method, Rate, Ratio, Settle,
    codes::{self, CHECK_GAIN, CHECK_RATE, Code, ENDS_GAIN, code_at},
    message::{RunEnd, ShotEnd},
};

use crate::{
    delta::Delta,
    residual::{self, Residual},
    settle::{Progress, Windows},
};

/// How to convert a code: what the bench and the converter must be set to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Setting {
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
    Convert(Setting),
    /// The shot is over.
    End(ShotEnd),
}

/// What the codes so far add up to.
#[derive(Clone, Copy, PartialEq, Debug)]
enum Sum {
    /// Nothing that matters here.
    Nothing,
    Residual(codes::Residual),
    Ratio {
        delta: Delta,
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
            Method::Residual => Sum::Residual(codes::Residual { bias: 0, contacts: [0; 2], across: 0 }),
            Method::Bleed { .. } | Method::Sample { .. } | Method::Watch(_) => Sum::Nothing,
            Method::Ratio(_) => Sum::Ratio { delta: Delta::default(), a: 0 },
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
        let Some(code) = code_at(&self.method, usize::from(self.taken)) else {
            return Next::End(ShotEnd::Complete);
        };
        // A shot can be over only between pairs.
        let over = match (&self.method, &self.sum, code) {
            (Method::Ratio(ratio), Sum::Ratio { delta, .. }, Code::Sense { .. }) => ratio_over(ratio, delta),
            (Method::Settle(settle), Sum::Settle(windows), Code::Sense { .. }) => {
                settle_over(settle, windows)
            }
            _ => None,
        };
        over.map_or_else(|| Next::Convert(setting(&self.method, code)), Next::End)
    }

    /// Takes the code of the conversion that [`next`](Self::next) asked for.
    pub fn take(&mut self, value: i32) {
        let code = code_at(&self.method, usize::from(self.taken));
        self.taken = self.taken.saturating_add(1);
        match (&self.method, &mut self.sum, code) {
            (_, Sum::Residual(codes), Some(code)) => match code {
                Code::Bias => codes.bias = value,
                Code::PlusAlone => codes.contacts[0] = value,
                Code::MinusAlone => codes.contacts[1] = value,
                _ => codes.across = value,
            },
            (_, Sum::Ratio { a, .. }, Some(Code::Sense { .. })) => *a = value,
            (_, Sum::Ratio { delta, a }, Some(Code::Current { .. })) => delta.add(*a, value),
            (_, Sum::Settle(windows), Some(Code::Zero)) => windows.add_zero(value),
            (_, Sum::Settle(windows), Some(Code::Sense { .. })) => windows.add_a(value),
            (Method::Settle(settle), Sum::Settle(windows), Some(Code::Current { .. })) => {
                windows.add_b(value, settle);
            }
            (Method::Settle(settle), Sum::Settle(windows), Some(Code::CurrentTurned)) => {
                windows.add_b(-value, settle);
            }
            _ => {}
        }
    }

    /// After the shot's end: does the run have to end with it, and why?
    pub fn ends_run(&self) -> Option<RunEnd> {
        match (&self.method, &self.sum) {
            (_, Sum::Residual(codes)) => match residual::judge(*codes) {
                Residual::Dead => None,
                Residual::Alive => Some(RunEnd::Residual),
                Residual::NoContact => Some(RunEnd::NoContact),
            },
            (Method::Ratio(Ratio { gate: Some(gate), .. }), Sum::Ratio { delta, .. }) => {
                delta.above_gate(*gate).then_some(RunEnd::Gate)
            }
            _ => None,
        }
    }
}

/// Is a resistance reading over, and why?
fn ratio_over(ratio: &Ratio, delta: &Delta) -> Option<ShotEnd> {
    let triples = delta.triples();
    if !delta.is_whole() || triples < u16::from(ratio.triples_min) {
        return None;
    }
    if ratio.stop.is_some_and(|stop| delta.decided(&stop)) {
        return Some(ShotEnd::Decided);
    }
    let spent = if ratio.stop.is_some() { ShotEnd::Budget } else { ShotEnd::Complete };
    (triples >= u16::from(ratio.triples_max)).then_some(spent)
}

/// Is an isolation reading over, and why?
fn settle_over(settle: &Settle, windows: &Windows) -> Option<ShotEnd> {
    if !windows.is_whole() {
        return None;
    }
    if matches!(windows.progress(), Some(Progress::Passed | Progress::Still)) {
        return Some(ShotEnd::Decided);
    }
    (windows.windows() >= settle.windows_max).then_some(ShotEnd::Budget)
}

/// How to convert a code of a shot of this method.
pub const fn setting(method: &Method, code: Code) -> Setting {
    let (input, burnout, reversed) = match code {
        Code::Bias => (Input::Bias, false, false),
        Code::PlusAlone => (Input::PlusAlone, true, false),
        Code::MinusAlone => (Input::MinusAlone, true, false),
        Code::Across => (Input::Sense, false, false),
        Code::Zero => (Input::Zero, false, false),
        Code::MinusEnd => (Input::MinusContact, false, false),
        Code::PlusEnd => (Input::PlusContact, false, true),
        Code::Sense { reversed } => (Input::Sense, false, reversed),
        Code::Current { reversed } => (Input::Current, false, reversed),
        Code::CurrentTurned => (Input::CurrentTurned, false, false),
        Code::Sample => match method {
            Method::Sample { input, burnout, reversed, .. } => (*input, *burnout, *reversed),
            // No other method has such a code.
            _ => (Input::Zero, false, false),
        },
    };
    let (gain, rate) = match (method, code) {
        (_, Code::Bias | Code::PlusAlone | Code::MinusAlone | Code::Across) => (CHECK_GAIN, CHECK_RATE),
        (Method::Sample { gain, rate, .. }, _) => (*gain, *rate),
        (Method::Ratio(ratio), Code::MinusEnd | Code::PlusEnd) => (ENDS_GAIN, ratio.rate),
        (Method::Ratio(ratio), Code::Sense { .. }) => (ratio.gain_a, ratio.rate),
        (Method::Ratio(ratio), _) => (ratio.gain_b, ratio.rate),
        (Method::Settle(settle), Code::Sense { .. }) => (settle.gain_a, settle.rate),
        (Method::Settle(settle), _) => (settle.gain_b, settle.rate),
        (Method::Watch(watch), Code::Sense { .. }) => (watch.gain_a, watch.rate),
        (Method::Watch(watch), _) => (watch.gain_b, watch.rate),
        (Method::Residual | Method::Bleed { .. }, _) => (CHECK_GAIN, CHECK_RATE),
    };
    let excited = matches!(
        code,
        Code::Sample
            | Code::MinusEnd
            | Code::PlusEnd
            | Code::Sense { .. }
            | Code::Current { .. }
            | Code::CurrentTurned
    );
    Setting { input, gain, rate, burnout, excited, reversed }
}
