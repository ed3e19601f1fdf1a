//! What the next sweep should read where a repair was made.

use super::healthy::{Expectation, StandsOn};
use crate::board::expected::wire_resistance;
use crate::board::{Board, Segment, SegmentKind};
use crate::fault::method::Method;
use crate::quantity::Ohms;
use crate::verdict::Class;

/// A wire's resistance over that by its gauge and length, in the middle: what is cut and soldered by hand is rather longer than
/// asked, and drawn copper has up to 2.5 % more than annealed copper (common practice).
const WIRE: f64 = 1.02;
/// Half widths of what it is unsure by, relative: length 5 %, cross-section 2 % (makers hold diameters to a hundredth), resistivity
/// 1.25 % (common practice).
const WIRE_EDGES: [f64; 3] = [0.05, 0.02, 0.0125];
/// A joint of a wire on a clean pad: the middle, and half the width (common practice: well under a milliohm).
const JOINT: [Ohms; 2] = [Ohms(0.45e-3), Ohms(0.35e-3)];
/// Half the width that holds 95 of 100 of a sum of rectangles of like width, over its standard deviation.
const NORMAL_FACTOR: f64 = 1.96;
/// A strand through a hole stands out by so much on either side, and is bent over onto the land, mm (common practice).
const STRAND_BEYOND_MM: f64 = 0.5;
/// A strand is so much thinner than the hole that it goes through (common practice).
const STRAND_PLAY: f64 = 0.8;
/// Gauges of bare wire that strands are taken from, thickest first, AWG.
const STRANDS: [u32; 8] = [20, 22, 24, 26, 28, 30, 32, 34];

/// What a wire of this length and gauge reads at 20 °C, its two joints included.
pub fn wire(length_mm: f64, awg: u32) -> Expectation {
    let copper = wire_resistance(length_mm, awg);
    let [joint, joint_edge] = JOINT;
    let middle = copper * WIRE + joint * 2.0;
    let edges = WIRE_EDGES.into_iter().map(|edge| copper * edge).chain([joint_edge; 2]);
    let half = edges.fold(Ohms::ZERO, Ohms::hypot) * (NORMAL_FACTOR / 3.0_f64.sqrt());
    Expectation {
        middle,
        interval: [(middle - half).max(Ohms::ZERO), middle + half],
        stands_on: StandsOn::Wire,
    }
}

/// The thickest strand that goes through the plated holes of a via group; `None` where none does, or what is given is no via.
pub fn strand(kind: &SegmentKind) -> Option<u32> {
    let SegmentKind::Via { drill_mm, plating_um, .. } = *kind else { return None };
    let room = STRAND_PLAY * (drill_mm - 2e-3 * plating_um);
    STRANDS.into_iter().find(|awg| crate::board::expected::awg_diameter_mm(*awg) <= room)
}

/// What a segment reads after a repair; `None` where nothing can be said: no strand fits, or nothing was read that is left as it is.
/// `read` is what it reads now, if it reads anything.
pub fn after(
    board: &Board,
    segment: &Segment,
    method: Method,
    class: Class,
    read: Option<[Ohms; 2]>,
    healthy: Expectation,
) -> Option<Expectation> {
    match method {
        Method::Clean | Method::Reflow | Method::Replace => Some(healthy),
        Method::RebuildVia => rebuilt(board, segment, class, healthy),
        Method::Leave => {
            let [value, u95] = read?;
            Some(Expectation {
                middle: value,
                interval: [value - u95, value + u95],
                stands_on: healthy.stands_on,
            })
        }
        // These depend on the wire.
        Method::WireAround | Method::ParallelWire => None,
    }
}

/// Holes that conduct nothing get a strand each; beside those that do it lies in parallel.
fn rebuilt(board: &Board, segment: &Segment, class: Class, healthy: Expectation) -> Option<Expectation> {
    let SegmentKind::Via { count, .. } = segment.kind else { return None };
    let strand = wire(board.thickness_mm + 2.0 * STRAND_BEYOND_MM, strand(&segment.kind)?);
    let count = f64::from(count);
    let dead = if class == Class::RedundancyLost { 1.0 } else { count };
    let strands = strand.map(|ohms| ohms / dead);
    // Each of the others has what the healthy group has, times their number.
    let left = (dead < count).then(|| healthy.map(|ohms| ohms * (count / (count - dead))));
    Some(match left {
        Some(left) => in_parallel(left, strands),
        None => strands,
    })
}

/// Two in parallel, both at the same end of what they may have.
pub fn in_parallel(one: Expectation, other: Expectation) -> Expectation {
    let both = |a: Ohms, b: Ohms| Ohms(a.0 * b.0 / (a.0 + b.0));
    let ends = [0, 1].map(|end: usize| {
        let of = |expectation: Expectation| expectation.interval.get(end).copied().unwrap_or_default();
        both(of(one), of(other))
    });
    Expectation { middle: both(one.middle, other.middle), interval: ends, stands_on: StandsOn::Wire }
}

impl Expectation {
    /// The same of a quantity that grows with this one.
    fn map(self, to: impl Fn(Ohms) -> Ohms) -> Self {
        Self { middle: to(self.middle), interval: self.interval.map(to), stands_on: StandsOn::Wire }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Handbook value of AWG 30: 338.6 Ω/km (table of ASTM B258, annealed copper at 20 °C); 100 mm are 33.9 mΩ and two joints.
    #[test]
    fn a_wire_reads_what_its_gauge_says() {
        let found = wire(100.0, 30);
        assert!((found.middle.0 - (1.02 * 33.86e-3 + 0.9e-3)).abs() < 0.1e-3, "{found:?}");
        // √(5² + 2² + 1.25²) % of 33.86 mΩ and √2 times 0.35 mΩ, as standard deviations times 1.96.
        let [low, high] = found.interval;
        assert!(((high - low).0 / 2.0 - 2.2e-3).abs() < 0.1e-3, "{found:?}");
    }

    #[test]
    fn a_strand_fits_its_hole() {
        // 0.3 mm less twice 20 µm leave 0.26 mm, four fifths of it 0.208 mm: AWG 32 is 0.202 mm.
        let via = SegmentKind::Via { count: 2, drill_mm: 0.3, plating_um: 20.0 };
        assert_eq!(strand(&via), Some(32));
        assert_eq!(strand(&SegmentKind::Via { count: 1, drill_mm: 0.15, plating_um: 20.0 }), None);
        assert_eq!(strand(&SegmentKind::Joint), None);
    }

    #[test]
    fn parallel_resistances_add_by_their_conductances() {
        let one =
            Expectation { middle: Ohms(2.0), interval: [Ohms(1.0), Ohms(3.0)], stands_on: StandsOn::Wire };
        let other =
            Expectation { middle: Ohms(6.0), interval: [Ohms(1.0), Ohms(6.0)], stands_on: StandsOn::Wire };
        let both = in_parallel(one, other);
        assert_eq!((both.middle, both.interval), (Ohms(1.5), [Ohms(0.5), Ohms(2.0)]));
    }
}
