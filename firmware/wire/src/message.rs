//! The whole protocol on one screen.
//!
//! The host asks, the controller answers every request with the request's sequence number in `seq`; while a
//! plan runs it also streams [`FromBench::Codes`] and [`FromBench::Shot`] under the number of the `Run`, and
//! closes with [`FromBench::Ended`]. Streamed frames carry `index` counters, so a lost one shows.

// The field names are the documentation; the variants say the rest.
#![allow(missing_docs)]

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::shot::Shot;

/// A message with its sequence number. Requests count up; what belongs to a request repeats its number.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub struct Packet<T> {
    /// Sequence number, wrapping.
    pub seq: u16,
    /// What is said.
    pub body: T,
}

/// Codes in one [`FromBench::Codes`]: 40 × up to 4 varint bytes stay within [`MAX_FRAME`](crate::MAX_FRAME).
pub const CODES_PER_FRAME: usize = 40;
/// Bytes in one echo.
pub const ECHO_BYTES: usize = 192;

/// From the host.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum ToBench {
    /// First word after opening the line. Answer: `Hello`, or `Refused(Protocol)`. Stops and opens everything.
    Hello { protocol: u16 },
    /// Answer: `Status`. Also the heartbeat while nothing else is said.
    Status,
    /// Forget the plan and make room for `shots`. Answer: `Done` or `Refused`.
    Plan { shots: u16 },
    /// One shot of the plan, in order. Answer: none when it fits (flow: `Run` checks that all have come), else
    /// `Refused`: once for the first that does not, not for those already on their way behind it. A shot that
    /// repeats an earlier one unchanged is an echo of the line and passed over.
    Shot { index: u16, shot: Shot },
    /// Run the whole plan. Answer: `Done`, the stream, `Ended`; or `Refused`. A `Run` under the number of the last
    /// one is an echo of the line and passed over.
    Run,
    /// Open everything now. Answer: `Done`, with the current off; and for a running plan `Ended`, with all open.
    Stop,
    /// Line test. Answer: the same bytes.
    Echo { bytes: Vec<u8, ECHO_BYTES> },
}

/// From the controller.
#[derive(Clone, PartialEq, Debug, Serialize, Deserialize)]
pub enum FromBench {
    /// Who answers.
    Hello(Identity),
    /// How it stands.
    Status(Status),
    /// Done as asked.
    Done,
    /// Not done, and why. Nothing changed, unless it says `Fault`.
    Refused(Refusal),
    /// Raw codes of the running shot, `first` = index of the first one within the shot.
    Codes { shot: u16, first: u16, codes: Vec<i32, CODES_PER_FRAME> },
    /// A shot is over: how many codes it gave, why it stopped, device time since `Run` at its start and its end, µs.
    Shot { shot: u16, codes: u16, why: ShotEnd, from_us: u32, to_us: u32 },
    /// The run is over and every relay is open.
    Ended { why: RunEnd, shots: u16, closures: u32, device_us: u32 },
    /// Line test.
    Echo { bytes: Vec<u8, ECHO_BYTES> },
}

/// Who the controller is.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Identity {
    pub protocol: u16,
    pub firmware: (u8, u8, u8),
    /// Unique number of the controller's flash chip.
    pub serial: [u8; 8],
    pub force_channels: u16,
    pub sense_channels: u16,
    pub plan_capacity: u16,
}

/// How the controller stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub struct Status {
    pub running: bool,
    pub lid_open: bool,
    /// Why the last run ended badly, or what is wrong now.
    pub fault: Option<Fault>,
    /// The watchdog restarted the controller, and this is the first `Hello` since.
    pub watchdog_reset: bool,
}

/// Why sampling of a shot stopped.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum ShotEnd {
    /// All codes asked for.
    Complete,
    /// The stop rule was satisfied before the budget was spent.
    Decided,
    /// The budget is spent and the stop rule is not satisfied.
    Budget,
}

/// Why a run ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum RunEnd {
    /// Every shot was run.
    Complete,
    /// The last shot's ratio was above its gate.
    Gate,
    /// The residual check saw voltage on the unit.
    Residual,
    /// A contact of the residual check does not touch, so that it says nothing.
    NoContact,
    /// The host said `Stop` or `Hello`.
    Stopped,
    /// Something broke.
    Fault(Fault),
}

/// What can break while the controller works. Each leads to the same all-open state.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Fault {
    /// The lid was opened.
    Lid,
    /// No message from the host for longer than the heartbeat allows.
    Heartbeat,
    /// The ADC did not say ready within twice its conversion time.
    AdcTimeout,
    /// The ADC's registers do not read back as written.
    AdcRegisters,
    /// The shift-register chain could not be written, or what was written does not come back.
    Matrix,
    /// The line to the host broke while codes were to be sent.
    Line,
    /// A shift register of the chain does not pass on what it is given; so many registers behind it do.
    Register { behind: u16 },
}

/// Why a request was refused.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Refusal {
    /// The other side speaks this version.
    Protocol { mine: u16 },
    /// `Hello` has not been said.
    NoHello,
    /// A plan is running.
    Busy,
    /// More shots than the controller holds.
    PlanTooLong { capacity: u16 },
    /// Shots came out of order or some are missing; this one is next.
    ShotMissing { expected: u16 },
    /// The shot at `index` breaks a rule.
    Rule { index: u16, rule: Rule },
    /// The lid is open.
    LidOpen,
    /// The controller found itself broken.
    Broken(Fault),
}

/// Safety rules the controller keeps whatever the host says.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Rule {
    /// A channel number the matrix does not have.
    ChannelRange,
    /// One channel on both buses of a pair: a short through its two relays.
    SameChannelTwice,
    /// An excited shot with no residual check before it in the plan.
    ResidualFirst,
    /// This method needs another source, or none.
    SourceForMethod,
    /// A ratio or an isolation with one force bus closed to the unit, or a contact check without sense contacts.
    ContactMissing,
    /// A count of zero, or a minimum above its maximum.
    Counts,
    /// A threshold that is not a finite number.
    NotFinite,
}
