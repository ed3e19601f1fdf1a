//! How often each kind of part is the culprit, relative to the others.
//!
//! Common practice, not statistics: what moves or carries a current limit fails before what lies still. Only used
//! to share out evidence that points at several segments at once.

use crate::board::SegmentKind;

/// Relative rate of faults.
pub fn rate(kind: &SegmentKind) -> f64 {
    match kind {
        SegmentKind::Switch => 10.0,
        SegmentKind::Connector => 8.0,
        SegmentKind::Joint => 6.0,
        SegmentKind::Fuse { .. } => 5.0,
        SegmentKind::Via { .. } | SegmentKind::Wire { .. } => 3.0,
        SegmentKind::Resettable { .. }
        | SegmentKind::Ferrite
        | SegmentKind::Diode { .. }
        | SegmentKind::Transistor { .. } => 2.0,
        SegmentKind::Trace { .. } | SegmentKind::Inductor | SegmentKind::Shunt { .. } => 1.0,
    }
}
