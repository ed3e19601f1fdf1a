//! One thing that may be wrong, and sets of them.

use crate::board::{PointId, SegmentId};

/// One thing that may be wrong.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Defect {
    /// A segment conducts nothing.
    Open(SegmentId),
    /// It reads above its limit.
    High(SegmentId),
    /// A contact reads above its limit as long as nothing breaks through what covers it.
    Film(SegmentId),
    /// It comes and goes.
    Flaky(SegmentId),
    /// Of several parallel barrels one is lost.
    BarrelLost(SegmentId),
    /// It reads below its lower limit.
    Low(SegmentId),
    /// A switch conducts where it should be open.
    StaysClosed(SegmentId),
    /// Two nets conduct that should not: index into the board's isolation.
    Bridge(usize),
    /// A sense pin of the bench touches nothing.
    SilentPin(PointId),
}

impl Defect {
    /// The segment it sits in, if it sits in one.
    pub fn segment(self) -> Option<SegmentId> {
        match self {
            Self::Open(id)
            | Self::High(id)
            | Self::Film(id)
            | Self::Flaky(id)
            | Self::BarrelLost(id)
            | Self::Low(id)
            | Self::StaysClosed(id) => Some(id),
            Self::Bridge(_) | Self::SilentPin(_) => None,
        }
    }
}

/// A set of defects: none, one or two.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Hypothesis([Option<Defect>; 2]);

impl Hypothesis {
    /// Nothing is wrong.
    pub const HEALTHY: Self = Self([None; 2]);

    /// One thing is wrong.
    pub fn one(defect: Defect) -> Self {
        Self([Some(defect), None])
    }

    /// Two things are wrong.
    pub fn two(first: Defect, second: Defect) -> Self {
        Self([Some(first), Some(second)])
    }

    /// What is wrong.
    pub fn defects(&self) -> impl Iterator<Item = Defect> + Clone + use<> {
        self.0.into_iter().flatten()
    }
}
