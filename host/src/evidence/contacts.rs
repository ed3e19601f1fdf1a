//! Pins and relays as single shots see them.

use copperwalk_wire::Contacts;

use crate::board::PointId;
use crate::fixture::Line;
use crate::quantity::{Ohms, Volts};

/// A matrix bus.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[allow(missing_docs)]
pub enum Bus {
    ForcePlus,
    ForceMinus,
    SensePlus,
    SenseMinus,
}

impl Bus {
    /// Which kind of pins hang on it.
    pub fn line(self) -> Line {
        match self {
            Self::ForcePlus | Self::ForceMinus => Line::Force,
            Self::SensePlus | Self::SenseMinus => Line::Sense,
        }
    }

    /// Is it the + one of its pair?
    pub fn plus(self) -> bool {
        matches!(self, Self::ForcePlus | Self::SensePlus)
    }
}

/// One sense contact, checked by the burn-out current: a bus that touches the unit stays near the bias node, one
/// that floats goes to the supply rail.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SenseContact {
    /// Sense channel.
    pub channel: u16,
    /// On the + relay?
    pub plus: bool,
    /// Does it touch?
    pub touches: bool,
    /// How far the burn-out current lifts its input above the bias node.
    pub lift: Volts,
    /// The relays of its shot.
    pub contacts: Contacts,
}

/// One of the two force contacts of an end-to-end reading.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ForceContact {
    /// The point.
    pub point: PointId,
    /// The other end of its stretch.
    pub other: PointId,
    /// On the + relay?
    pub plus: bool,
    /// Resistance of pin, relay and reversal switch; `None` when no steady current came through.
    pub resistance: Option<Ohms>,
    /// With no current: did the unit stand at the source's end, so that this contact is the missing one?
    pub missing: bool,
}

/// Does a pin answer through one relay?
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct RelayAnswer {
    /// The pin's point.
    pub point: PointId,
    /// Its force pin or its sense pin.
    pub line: Line,
    /// Through the + relay?
    pub plus: bool,
    /// The points forced meanwhile: +, -. One alone where a current is looked for that enters by a stuck relay.
    pub forced: [Option<PointId>; 2],
    /// Does it answer?
    pub answers: bool,
}

/// The voltage between a bus with a stuck relay and a point, while current flows one way and the other.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Potential {
    /// The bus.
    pub bus: Bus,
    /// The point.
    pub point: PointId,
    /// While the current flows forward.
    pub forward: Volts,
    /// While it flows reversed.
    pub reversed: Volts,
}

impl Potential {
    /// The part that turns round with the current: offset and thermal EMF cancel.
    pub fn driven(&self) -> Volts {
        ((self.forward - self.reversed) / 2.0).abs()
    }

    /// The larger of the two as they are.
    pub fn most(&self) -> Volts {
        self.forward.abs().max(self.reversed.abs())
    }
}
