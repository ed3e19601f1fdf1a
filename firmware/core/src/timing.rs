//! How long a shot takes: the one owner of device time.
//!
//! The controller waits by these functions; the figures of a plan and the deadlines of the line add them up. All times
//! are nominal: the converter runs on its nominal clock, and transfers and the controller's own work take no time.
//! [`Span::with_margins`] allows for what they really take.

use core::{iter::Sum, ops::Add};

use copperwalk_wire::{
    Method, Shot, Source,
    codes::{Counts, code_at, possible_counts},
    hardware::wait::{IDAC_START_US, OPERATE_US, QUIET_US, RELEASE_US, REVERSE_US, SETTLE_US},
};

use crate::{
    front_end::Excitation,
    matrix::Closed,
    sampler::{Setting, setting},
};

/// Shortest and longest device time, µs.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Span {
    /// Every stop rule is satisfied at the first look.
    pub least_us: u64,
    /// No stop rule is ever satisfied.
    pub most_us: u64,
}

/// So much less than its nominal time can a run take, per cent: the converter's oscillator may be 2 % fast (ADS1220 data
/// sheet, internal oscillator).
const SHORTER_PERCENT: u64 = 2;
/// So much more, per cent: the oscillator may be 2 % slow, and the firmware adds at most a tenth for transfers and its own
/// work (`tests/tests/emulated_run.rs` holds it to that).
const LONGER_PERCENT: u64 = 12;

impl Span {
    /// Between what a real run can take.
    #[must_use]
    pub const fn with_margins(self) -> Self {
        Self {
            least_us: self.least_us * (100 - SHORTER_PERCENT) / 100,
            most_us: self.most_us.saturating_mul(100 + LONGER_PERCENT) / 100,
        }
    }

    const fn exactly(us: u64) -> Self {
        Self { least_us: us, most_us: us }
    }
}

impl Add for Span {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { least_us: self.least_us + other.least_us, most_us: self.most_us + other.most_us }
    }
}

impl Sum for Span {
    fn sum<I: Iterator<Item = Self>>(spans: I) -> Self {
        spans.fold(Self::default(), Self::add)
    }
}

/// How a shot finds the bench: source off, and these relays closed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Before {
    closed: Closed,
    /// Is the reversal switch turning back, and nobody has waited for it yet? At the least, at the most: it depends on
    /// where the stop rule of the shot before was satisfied.
    turning_back: [bool; 2],
}

impl Before {
    /// Every relay open, as at the start of a run.
    pub const OPEN: Self = Self { closed: Closed::NONE, turning_back: [false; 2] };

    /// Device time of a shot, from the end of the shot before to its own. Leaves the bench as the shot does.
    pub fn shot(&mut self, shot: &Shot) -> Span {
        self.shot_with(shot, possible_counts(shot))
    }

    /// The same for a shot that gives one of these numbers of codes.
    pub fn shot_with(&mut self, shot: &Shot, counts: Counts) -> Span {
        let target = Closed::of(shot);
        let moving = Span::exactly(relays_us(&self.closed, &target) + u64::from(hold_us(shot)));
        let [certain, possible] = self.turning_back;
        let (least_us, _) = sampling_us(shot, counts.least, certain);
        let (most_us, _) = sampling_us(shot, counts.most, possible);
        // Half-cycles alternate: the first two counts end both ways if any do.
        let ends: [_; 2] = core::array::from_fn(|step| {
            let count = (counts.least + step * counts.step).min(counts.most);
            self.turning_back.map(|turning_back| sampling_us(shot, count, turning_back).1)
        });
        let ends = ends.as_flattened();
        self.closed = target;
        self.turning_back = [ends.iter().all(|end| *end), ends.iter().any(|end| *end)];
        moving + Span { least_us, most_us }
    }
}

/// What a run takes besides its shots, µs: every relay let go before the first, the current gone after the last.
pub const AROUND_US: u64 = (RELEASE_US + QUIET_US) as u64;

/// Device time of a run of all these shots, from the request to the last relay open.
pub fn run_us(shots: &[Shot]) -> Span {
    let mut before = Before::OPEN;
    Span::exactly(AROUND_US) + shots.iter().map(|shot| before.shot(shot)).sum()
}

/// Moving the relays from one shot to the next, µs.
fn relays_us(before: &Closed, target: &Closed) -> u64 {
    if before == target {
        return 0;
    }
    let kept = before.kept(target);
    u64::from(QUIET_US + release_us(before, &kept) + operate_us(&kept, target))
}

/// Wait after the relays that go have been released, µs.
pub fn release_us(before: &Closed, kept: &Closed) -> u32 {
    if kept == before { 0 } else { RELEASE_US }
}

/// Wait after the new relays have been driven, µs.
pub fn operate_us(kept: &Closed, target: &Closed) -> u32 {
    if target.closures_after(kept) > 0 { OPERATE_US } else { 0 }
}

/// How long the relays of a shot stay closed before anything else happens, µs.
pub const fn hold_us(shot: &Shot) -> u32 {
    match shot.method {
        Method::Bleed { millis } => millis as u32 * 1_000,
        _ => 0,
    }
}

/// Settling and conversions of so many codes, µs; and whether the reversal switch turns back when the source goes off.
fn sampling_us(shot: &Shot, codes: usize, turning_back: bool) -> (u64, bool) {
    let (mut present, mut turning_back, mut total) = (Excitation::OFF, turning_back, 0);
    for code in (0..codes).map_while(|index| code_at(&shot.method, index)) {
        let setting = setting(&shot.method, code);
        let wanted = excitation(shot, &setting);
        let settle_us = settle_shot_us(shot, settle_us(present, wanted, turning_back));
        total += u64::from(settle_us + setting.rate.micros());
        turning_back &= wanted == present;
        present = wanted;
    }
    (total, turning_back || present.reversed)
}

/// What the unit is driven with during a conversion.
pub const fn excitation(shot: &Shot, setting: &Setting) -> Excitation {
    match shot.method {
        _ if setting.excited => Excitation::of(shot.source, setting.reversed),
        Method::Ratio(_) => Excitation::REST,
        _ => Excitation::OFF,
    }
}

/// Wait after the excitation has changed until the source's own transients are gone, µs. `turning_back`: the reversal
/// switch was told to turn back and has not been waited for.
pub fn settle_us(present: Excitation, wanted: Excitation, turning_back: bool) -> u32 {
    if wanted == present {
        return 0;
    }
    let turns = turning_back || wanted.reversed != present.reversed;
    let start = match wanted.source {
        Source::Dry | Source::Wide | Source::Isolation if wanted.source != present.source => IDAC_START_US,
        _ => 0,
    };
    start + if turns { REVERSE_US } else { SETTLE_US }
}

/// The same with what the shot asks for on top, for the capacitors of its unit, µs.
pub const fn settle_shot_us(shot: &Shot, settle_us: u32) -> u32 {
    match shot.method {
        Method::Ratio(ratio) if settle_us > 0 => settle_us + ratio.wait_us as u32,
        _ => settle_us,
    }
}
