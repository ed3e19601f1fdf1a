//! The codes of a shot: what each of them is, in which order they come, how many there can be, and how they decode.
//!
//! This is the one place that knows. The controller's sampler asks [`code_at`] what to convert next, the host decodes
//! with [`decode`], and the line compares what comes with [`possible_counts`].

use core::{fmt, ops::RangeInclusive};

use crate::{Gain, Input, Method, Rate, Ratio, Settle, Shot, Watch};

/// Gain of everything that is measured against ground or without a source: residual and contact checks.
pub const CHECK_GAIN: Gain = Gain::X1;
/// Rate of residual and contact checks.
pub const CHECK_RATE: Rate = Rate::Sps1000;
/// Gain of the drops of the force contacts.
pub const ENDS_GAIN: Gain = Gain::X16;
/// Codes of the converter's zero at the start of an isolation reading.
pub const ZEROS: usize = 4;

/// Codes of a contact check: sense+, sense-.
const CONTACTS: usize = 2;
/// Codes of the drops of both force contacts: force-, force+.
const ENDS: usize = 2;
/// Half-cycles of a delta-mode triple, two codes each.
const TRIPLE: usize = 3;
/// Windows of an isolation reading at least: it compares two.
const WINDOWS_MIN: usize = 2;
/// What a 24-bit converter can give.
const CODE_RANGE: RangeInclusive<i32> = -0x80_0000..=0x7F_FFFF;

/// What one code is of.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub enum Code {
    /// The bias node.
    Bias,
    /// Sense+ alone with the burn-out current: its contact check.
    PlusAlone,
    /// Sense- alone with the burn-out current: its contact check.
    MinusAlone,
    /// Sense+ against sense- with nothing driven.
    Across,
    /// What a [`Method::Sample`] asks for.
    Sample,
    /// Drop of the force- contact, forward.
    MinusEnd,
    /// Drop of the force+ contact, reversed.
    PlusEnd,
    /// Pair A of a half-cycle.
    Sense {
        /// Current reversed.
        reversed: bool,
    },
    /// Pair B of a half-cycle.
    Current {
        /// Current reversed.
        reversed: bool,
    },
    /// Pair B with its inputs turned round.
    CurrentTurned,
    /// The converter's zero at the gain of pair B.
    Zero,
}

/// What the code at `index` of a shot is of; `None` where no shot of this method has so many.
pub fn code_at(method: &Method, index: usize) -> Option<Code> {
    match method {
        Method::Residual => [Code::Bias, Code::PlusAlone, Code::MinusAlone, Code::Across].get(index).copied(),
        Method::Bleed { .. } => None,
        Method::Sample { count, .. } => (index < usize::from(*count)).then_some(Code::Sample),
        Method::Ratio(ratio) => {
            let contacts = if ratio.contact_check { CONTACTS } else { 0 };
            let head = head_of_ratio(ratio);
            Some(match index {
                0 if ratio.contact_check => Code::PlusAlone,
                1 if ratio.contact_check => Code::MinusAlone,
                _ if index < head && index == contacts => Code::MinusEnd,
                _ if index < head => Code::PlusEnd,
                _ => pair(index - head, (index - head) / 2 % 2 == 1),
            })
        }
        Method::Settle(settle) => {
            let head = head_of_settle(settle);
            Some(match index {
                0 => Code::PlusAlone,
                1 => Code::MinusAlone,
                _ if index < head => Code::Zero,
                // The second of every four codes after the head is pair B as it is, the fourth turned round.
                _ if settle.turned && (index - head) % 4 == 3 => Code::CurrentTurned,
                _ => pair(index - head, false),
            })
        }
        Method::Watch(watch) => (index < 2 * watch.pairs as usize).then_some(pair(index, false)),
    }
}

/// Pair A and pair B in turn.
const fn pair(index: usize, reversed: bool) -> Code {
    if index.is_multiple_of(2) { Code::Sense { reversed } } else { Code::Current { reversed } }
}

/// Codes before the first half-cycle.
const fn head_of_ratio(ratio: &Ratio) -> usize {
    let contacts = if ratio.contact_check { CONTACTS } else { 0 };
    let ends = if ratio.ends { ENDS } else { 0 };
    contacts + ends
}

/// Codes before the first pair.
const fn head_of_settle(settle: &Settle) -> usize {
    if settle.turned { CONTACTS } else { CONTACTS + ZEROS }
}

/// How many codes a shot can give: `least`, and from there in steps to `most`.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Counts {
    /// The fewest.
    pub least: usize,
    /// The most.
    pub most: usize,
    /// From one to the next.
    pub step: usize,
}

impl Counts {
    /// This one only.
    pub const fn only(count: usize) -> Self {
        Self { least: count, most: count, step: 1 }
    }

    /// Is this one of them?
    pub const fn contains(&self, count: usize) -> bool {
        self.least <= count && count <= self.most && (count - self.least).is_multiple_of(self.step)
    }

    /// All of them, ascending.
    pub fn iter(&self) -> impl Iterator<Item = usize> {
        (self.least..=self.most).step_by(self.step.max(1))
    }
}

impl fmt::Display for Counts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { least, most, step } = *self;
        match (most - least) / step.max(1) {
            0 => write!(f, "{least}"),
            1 => write!(f, "{least} or {most}"),
            2 => write!(f, "{least}, {} or {most}", least + step),
            _ => write!(f, "{least}, {}, … or {most}", least + step),
        }
    }
}

/// How many codes a shot that keeps the controller's rules can give when it runs to its end.
pub const fn possible_counts(shot: &Shot) -> Counts {
    match &shot.method {
        Method::Residual => Counts::only(4),
        Method::Bleed { .. } => Counts::only(0),
        Method::Sample { count, .. } => Counts::only(larger(*count as usize, 1)),
        Method::Ratio(ratio) => {
            // A budget without a stop rule is spent whole.
            let (min, max) = (ratio.triples_min as usize, ratio.triples_max as usize);
            let fewest = if ratio.stop.is_none() { larger(min, max) } else { min };
            let least = larger(fewest, 1);
            in_steps(head_of_ratio(ratio), least, larger(least, max), 2 * TRIPLE)
        }
        Method::Settle(settle) => {
            let most = larger(settle.windows_max as usize, WINDOWS_MIN);
            in_steps(head_of_settle(settle), WINDOWS_MIN, most, 2 * larger(settle.window as usize, 1))
        }
        Method::Watch(watch) => Counts::only(2 * larger(watch.pairs as usize, 1)),
    }
}

const fn in_steps(head: usize, least: usize, most: usize, step: usize) -> Counts {
    Counts { least: head + least * step, most: head + most * step, step }
}

const fn larger(a: usize, b: usize) -> usize {
    if a > b { a } else { b }
}

/// Codes, by what they are.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Codes<'c> {
    /// Of a residual check.
    Residual(Residual),
    /// A bleed gives none.
    Bleed,
    /// Of equal conversions.
    Sample(SampleCodes<'c>),
    /// Of a resistance reading.
    Ratio(RatioCodes<'c>),
    /// Of an isolation reading.
    Settle(SettleCodes<'c>),
    /// Of a segment that is watched.
    Watch(WatchCodes<'c>),
}

/// Codes of a residual check, gain 1.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Residual {
    /// The bias node.
    pub bias: i32,
    /// Contact check: sense+, sense-.
    pub contacts: [i32; 2],
    /// Voltage on the unit: sense+ against sense-.
    pub across: i32,
}

/// Codes of equal conversions, at least one.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct SampleCodes<'c> {
    /// What was converted.
    pub input: Input,
    /// Current reversed.
    pub reversed: bool,
    /// At this gain.
    pub gain: Gain,
    /// At this rate.
    pub rate: Rate,
    /// The first one.
    pub first: i32,
    /// All of them, the first one included.
    pub all: &'c [i32],
}

impl SampleCodes<'_> {
    /// The last one, when whatever charges has charged.
    pub fn last(&self) -> i32 {
        self.all.last().copied().unwrap_or(self.first)
    }
}

/// Codes of a resistance reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct RatioCodes<'c> {
    /// How it was read.
    pub method: Ratio,
    /// Contact check, if asked for: sense+, sense-. Gain 1.
    pub contacts: Option<[i32; 2]>,
    /// Drops of the force contacts, if asked for: force- forward, force+ reversed. [`ENDS_GAIN`].
    pub ends: Option<[i32; 2]>,
    /// Pair A and pair B of each half-cycle, forward and reversed in turn; whole triples, at least one.
    pub half_cycles: &'c [[i32; 2]],
}

/// Codes of an isolation reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SettleCodes<'c> {
    /// How it was read.
    pub method: Settle,
    /// Contact check: sense+, sense-. Gain 1.
    pub contacts: [i32; 2],
    /// The converter's zero at the gain of pair B, unless pair B was turned round.
    pub zeros: Option<[i32; ZEROS]>,
    /// Pair A and pair B in turn; whole windows, at least two.
    pub pairs: &'c [[i32; 2]],
}

/// Codes of a segment that is watched.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct WatchCodes<'c> {
    /// How it was watched.
    pub method: Watch,
    /// Pair A and pair B in turn; at least one.
    pub pairs: &'c [[i32; 2]],
}

impl<'c> SettleCodes<'c> {
    /// The windows, in order.
    pub fn windows(&self) -> impl DoubleEndedIterator<Item = &'c [[i32; 2]]> {
        self.pairs.chunks_exact(usize::from(self.method.window).max(1))
    }

    /// Means of pair A and pair B over a window, codes, what the converter adds to pair B of itself taken off.
    pub fn means(&self, window: &[[i32; 2]]) -> [f64; 2] {
        let zero = self
            .zeros
            .map_or(0.0, |zeros| zeros.iter().map(|&code| f64::from(code)).sum::<f64>() / ZEROS as f64);
        let (mut a, mut b) = (0.0, 0.0);
        for (at, &[sense, current]) in window.iter().enumerate() {
            a += f64::from(sense);
            b += f64::from(if self.method.turned && at % 2 == 1 { -current } else { current });
        }
        let count = window.len().max(1) as f64;
        [a / count, b / count - zero]
    }
}

/// Decodes the codes of a shot that ran to its end.
///
/// # Errors
/// There are fewer or more than the shot can give, or one of them no 24-bit converter can give.
pub fn decode<'c>(shot: &Shot, codes: &'c [i32]) -> Result<Codes<'c>, Malformed> {
    let (reading, possible) = (ReadingKind::of(&shot.method), possible_counts(shot));
    let miscounted = Malformed::Count { reading, codes: codes.len(), possible };
    if !possible.contains(codes.len()) {
        return Err(miscounted);
    }
    if let Some((place, code)) = (1..).zip(codes).find(|(_, code)| !CODE_RANGE.contains(code)) {
        return Err(Malformed::Range { reading, place, code: *code });
    }
    match &shot.method {
        Method::Residual => residual(codes),
        Method::Bleed { .. } => Some(Codes::Bleed),
        Method::Sample { input, reversed, gain, rate, .. } => codes.first().map(|&first| {
            let (input, reversed, gain, rate) = (*input, *reversed, *gain, *rate);
            Codes::Sample(SampleCodes { input, reversed, gain, rate, first, all: codes })
        }),
        Method::Ratio(ratio) => ratio_codes(ratio, codes),
        Method::Settle(settle) => settle_codes(settle, codes),
        Method::Watch(watch) => {
            let (pairs, _) = codes.as_chunks();
            Some(Codes::Watch(WatchCodes { method: *watch, pairs }))
        }
    }
    .ok_or(miscounted)
}

fn residual(codes: &[i32]) -> Option<Codes<'_>> {
    let &[bias, plus, minus, across] = codes else { return None };
    Some(Codes::Residual(Residual { bias, contacts: [plus, minus], across }))
}

fn ratio_codes<'c>(ratio: &Ratio, codes: &'c [i32]) -> Option<Codes<'c>> {
    let (contacts, rest) = split_if(ratio.contact_check, codes)?;
    let (ends, rest) = split_if(ratio.ends, rest)?;
    let (half_cycles, _) = rest.as_chunks();
    Some(Codes::Ratio(RatioCodes { method: *ratio, contacts, ends, half_cycles }))
}

fn split_if(present: bool, codes: &[i32]) -> Option<(Option<[i32; 2]>, &[i32])> {
    if !present {
        return Some((None, codes));
    }
    let (pair, rest) = codes.split_first_chunk()?;
    Some((Some(*pair), rest))
}

fn settle_codes<'c>(settle: &Settle, codes: &'c [i32]) -> Option<Codes<'c>> {
    let (contacts, rest) = codes.split_first_chunk()?;
    let (zeros, rest) = match settle.turned {
        true => (None, rest),
        false => rest.split_first_chunk().map(|(zeros, rest)| (Some(*zeros), rest))?,
    };
    let (pairs, _) = rest.as_chunks();
    Some(Codes::Settle(SettleCodes { method: *settle, contacts: *contacts, zeros, pairs }))
}

impl<'c> Codes<'c> {
    /// As those of a residual check.
    ///
    /// # Errors
    /// The shot is of another kind.
    pub fn residual(self) -> Result<Residual, Malformed> {
        match self {
            Self::Residual(residual) => Ok(residual),
            other => Err(other.not(ReadingKind::Residual)),
        }
    }

    /// As those of equal conversions.
    ///
    /// # Errors
    /// The shot is of another kind.
    pub fn sample(self) -> Result<SampleCodes<'c>, Malformed> {
        match self {
            Self::Sample(codes) => Ok(codes),
            other => Err(other.not(ReadingKind::Sample)),
        }
    }

    /// As those of a resistance reading.
    ///
    /// # Errors
    /// The shot is of another kind.
    pub fn ratio(self) -> Result<RatioCodes<'c>, Malformed> {
        match self {
            Self::Ratio(ratio) => Ok(ratio),
            other => Err(other.not(ReadingKind::Ratio)),
        }
    }

    /// As those of an isolation reading.
    ///
    /// # Errors
    /// The shot is of another kind.
    pub fn settle(self) -> Result<SettleCodes<'c>, Malformed> {
        match self {
            Self::Settle(settle) => Ok(settle),
            other => Err(other.not(ReadingKind::Settle)),
        }
    }

    /// As those of a segment that is watched.
    ///
    /// # Errors
    /// The shot is of another kind.
    pub fn watch(self) -> Result<WatchCodes<'c>, Malformed> {
        match self {
            Self::Watch(watch) => Ok(watch),
            other => Err(other.not(ReadingKind::Watch)),
        }
    }

    fn not(self, wanted: ReadingKind) -> Malformed {
        let reading = match self {
            Self::Residual(_) => ReadingKind::Residual,
            Self::Bleed => ReadingKind::Bleed,
            Self::Sample(_) => ReadingKind::Sample,
            Self::Ratio(_) => ReadingKind::Ratio,
            Self::Settle(_) => ReadingKind::Settle,
            Self::Watch(_) => ReadingKind::Watch,
        };
        Malformed::Kind { reading, wanted }
    }
}

/// The kinds of reading, one a [`Method`]; shown in the words of the trade.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[allow(missing_docs)]
pub enum ReadingKind {
    Residual,
    Bleed,
    Sample,
    Ratio,
    Settle,
    Watch,
}

impl ReadingKind {
    /// That of a method.
    pub const fn of(method: &Method) -> Self {
        match method {
            Method::Residual => Self::Residual,
            Method::Bleed { .. } => Self::Bleed,
            Method::Sample { .. } => Self::Sample,
            Method::Ratio(_) => Self::Ratio,
            Method::Settle(_) => Self::Settle,
            Method::Watch(_) => Self::Watch,
        }
    }
}

impl fmt::Display for ReadingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Residual => "a residual voltage check",
            Self::Bleed => "a bleed",
            Self::Sample => "a plain voltage reading",
            Self::Ratio => "a resistance reading",
            Self::Settle => "an isolation reading",
            Self::Watch => "a watched segment",
        })
    }
}

/// Codes that the shot they are said to come from cannot have given.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Malformed {
    /// Not so many.
    Count {
        /// What gave them.
        reading: ReadingKind,
        /// How many there are.
        codes: usize,
        /// How many there can be.
        possible: Counts,
    },
    /// One is beyond 24 bits.
    Range {
        /// What gave it.
        reading: ReadingKind,
        /// Which one, counted from 1.
        place: usize,
        /// The code.
        code: i32,
    },
    /// They are of another kind of reading.
    Kind {
        /// What gave them.
        reading: ReadingKind,
        /// What they were taken for.
        wanted: ReadingKind,
    },
}

impl fmt::Display for Malformed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count { reading, codes, possible } => {
                write!(f, "{reading} has {codes} conversions where it can only have {possible}")
            }
            Self::Range { reading, place, code } => write!(
                f,
                "conversion {place} of {reading} is {code}, beyond the 24 bits of the converter ({} to {})",
                CODE_RANGE.start(),
                CODE_RANGE.end()
            ),
            Self::Kind { reading, wanted } => {
                write!(f, "the conversions of {reading} stand where those of {wanted} belong")
            }
        }
    }
}

impl core::error::Error for Malformed {}
