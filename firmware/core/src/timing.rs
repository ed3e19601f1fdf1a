//! How long a shot takes: the one owner of device time.
//!
//! The controller waits by these functions; the figures of a plan and the deadlines of the line add them up. All times
//! are nominal: the converter runs on its nominal clock, and transfers and the controller's own work take no time.
//! [`Span::with_margins`] allows for what they really take.

use core::{iter::Sum, ops::Add};

use copperwalk_wire::{
    Method, Shot,
    codes::{Counts, code_at, possible_counts},
    hardware::wait::{OPERATE_US, RELEASE_US},
};

use crate::{
    drive::Drive,
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
/// work (`tests/tests/emulated/run.rs` holds it to that).
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
    /// Which way the reversal switch stands, and how much of the load current may be left. Two, since it depends on where
    /// the stop rule of the shot before was satisfied.
    drives: [Drive; 2],
}

impl Before {
    /// Every relay open, as at the start of a run.
    pub const OPEN: Self = Self { closed: Closed::NONE, drives: [Drive::OFF; 2] };

    /// Device time of a shot, from the end of the shot before to its own. Leaves the bench as the shot does.
    pub fn shot(&mut self, shot: &Shot) -> Span {
        self.shot_with(shot, possible_counts(shot))
    }

    /// The same for a shot that gives one of these numbers of codes.
    pub fn shot_with(&mut self, shot: &Shot, counts: Counts) -> Span {
        let target = Closed::of(shot);
        let starts = self.drives.map(|drive| relays_us(&self.closed, &target, drive, hold_us(shot)));
        let took = |count| starts.map(|(us, drive)| us + sampling_us(shot, count, drive).0);
        let [least, most] = [took(counts.least), took(counts.most)];
        // Half-cycles alternate: the first two counts end both ways if any do. What a shot without an excitation leaves as it
        // found it stays two.
        let next = (counts.least + counts.step).min(counts.most);
        let [(_, first), (_, second)] = starts;
        self.drives = [sampling_us(shot, counts.least, first).1, sampling_us(shot, next, second).1];
        self.closed = target;
        Span { least_us: least[0].min(least[1]), most_us: most[0].max(most[1]) }
    }

    /// Device time of a run besides its shots: every relay let go before the first, and the current gone after the last, which
    /// left the bench like this.
    pub fn around(&self) -> Span {
        let [first, second] = self.drives.map(|drive| u64::from(RELEASE_US + drive.quiet_us(true)));
        Span { least_us: first.min(second), most_us: first.max(second) }
    }
}

/// Device time of a run of all these shots, from the request to the last relay open.
pub fn run_us(shots: &[Shot]) -> Span {
    let mut before = Before::OPEN;
    let shots: Span = shots.iter().map(|shot| before.shot(shot)).sum();
    shots + before.around()
}

/// Moving the relays from one shot to the next and holding them, µs, and the front end after it.
fn relays_us(before: &Closed, target: &Closed, drive: Drive, hold_us: u32) -> (u64, Drive) {
    let us = if before == target {
        hold_us
    } else {
        let kept = before.kept(target);
        let quiet_us = drive.quiet_us(before.force_moves(target));
        quiet_us + release_us(before, &kept) + operate_us(&kept, target) + hold_us
    };
    (u64::from(us), drive.after(us))
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

/// From one half-cycle of a resistance reading to the next, µs.
pub fn half_cycle_us(shot: &Shot) -> u64 {
    // The last two codes of the fewest: the current turns round before them.
    let codes = possible_counts(shot).least;
    let [whole, before] =
        [codes, codes.saturating_sub(2)].map(|codes| sampling_us(shot, codes, Drive::OFF).0);
    whole - before
}

/// Settling and conversions of so many codes, µs, and the front end after them with its source off.
fn sampling_us(shot: &Shot, codes: usize, mut drive: Drive) -> (u64, Drive) {
    let mut total = 0;
    for code in (0..codes).map_while(|index| code_at(&shot.method, index)) {
        let setting = setting(&shot.method, code);
        let wanted = excitation(shot, &setting);
        loop {
            let step = drive.next(wanted);
            drive = step.drive;
            if step.there {
                total += u64::from(settle_shot_us(shot, step.wait_us));
                break;
            }
            total += u64::from(step.wait_us);
        }
        total += u64::from(setting.rate.micros());
    }
    (total, drive.off())
}

/// What the unit is driven with during a conversion.
pub const fn excitation(shot: &Shot, setting: &Setting) -> Excitation {
    match shot.method {
        _ if setting.excited => Excitation::of(shot.source, setting.reversed),
        Method::Ratio(_) => Excitation::REST,
        _ => Excitation::OFF,
    }
}

/// Wait after the last step to an excitation, with what the shot asks for on top, for the capacitors of its unit, µs.
pub const fn settle_shot_us(shot: &Shot, settle_us: u32) -> u32 {
    match shot.method {
        Method::Ratio(ratio) if settle_us > 0 => settle_us + ratio.wait_us as u32,
        _ => settle_us,
    }
}
