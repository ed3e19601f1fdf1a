//! What a shot is for. The controller never learns it; the host needs it to read the codes.

use serde::{Deserialize, Serialize};

use crate::board::{PointId, SegmentId};

/// What a shot is for.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Serialize, Deserialize)]
pub enum Role {
    /// Is the unit without voltage, and do the supply's contacts touch?
    Residual,
    /// Discharge of a charged unit.
    Bleed,
    /// Air temperature.
    Temperature,
    /// Hum in the sense loop: conversions one after the other with the source off.
    Hum,
    /// One force bus alone: current means that a relay of the other force bus is welded.
    ForceGuard,
    /// A sense bus with none of its relays closed must float: anything else is a welded relay.
    SenseGuard,
    /// End to end over one stretch.
    EndToEnd {
        /// Forced and sensed at +.
        from: PointId,
        /// Forced and sensed at -.
        to: PointId,
    },
    /// One segment, sense+ at its end nearer force+ unless `swapped`.
    Segment {
        /// The segment.
        segment: SegmentId,
        /// Sense+ stands at the end nearer force-, so that the ratio comes out negative.
        swapped: bool,
    },
    /// Two points next but one to each other, around a pin that does not answer.
    PastPin {
        /// The pin's point.
        around: PointId,
    },
    /// Isolation: index into the board's list.
    Isolation(usize),
    /// A switch that must read open.
    OpenSwitch(SegmentId),
    /// A check standard: index into the fixture's list.
    Standard(usize),
    /// A thermometer of the bed: index into the fixture's list.
    Thermometer(usize),
    /// Contact check of one pin on the relay it does not usually take, to tell pin from relay.
    OtherRelay {
        /// The pin's point.
        point: PointId,
        /// On the + relay.
        plus: bool,
    },
    /// Where does a welded relay sit? The point its bus is compared with.
    WeldSearch {
        /// The point.
        point: PointId,
    },
    /// One segment in the quick dry survey of a path that is not as it should be.
    Survey {
        /// The segment.
        segment: SegmentId,
        /// Sense+ stands at the end nearer force-, so that the ratio comes out negative.
        swapped: bool,
    },
    /// A diode, or a transistor without power, in both directions; sense+ at its anode.
    OneWay(SegmentId),
    /// The voltage between two points of a way that a current is sent along: a hunt's look.
    Between {
        /// Sense+ stands here, at the end nearer force+.
        from: PointId,
        /// Sense-.
        to: PointId,
    },
    /// One segment of a mesh, between its own ends: only a share of the current flows through it. Sense+ at its `from` unless `swapped`.
    Mesh {
        /// The segment.
        segment: SegmentId,
        /// Sense+ stands at its `to`.
        swapped: bool,
    },
}
