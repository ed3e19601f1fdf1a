//! Units for the virtual bench, drawn by serial number: the same number is the same unit with the same fault, until a repair of
//! it is in the records. The shares of faults are invented for demonstration.

use sha2::{Digest, Sha256};

use crate::{
    board::{Board, Segment, SegmentKind},
    fixture::Fixture,
    random::Rng,
    records::summary::{Event, UnitHistory},
    virtual_bench::{Spec, spec},
};

/// Share of units with nothing wrong.
const GOOD: f64 = 0.4;

/// Kinds of faults, with their share among faulty units; no unit.
const FAULTS: [(f64, Draw); 8] = [
    (0.26, Draw::Via("open")),
    (0.10, Draw::Via("one barrel open")),
    (0.18, Draw::Contact("film")),
    (0.12, Draw::Contact("flaky")),
    (0.14, Draw::Fuse("open")),
    (0.08, Draw::Switch("330 ohm")),
    (0.06, Draw::Joint("open")),
    (0.06, Draw::Short("2 ohm")),
];

/// Where a fault is looked for, and what it is there.
#[derive(Clone, Copy)]
enum Draw {
    Via(&'static str),
    Contact(&'static str),
    Fuse(&'static str),
    Switch(&'static str),
    Joint(&'static str),
    /// Between the first load and the return.
    Short(&'static str),
}

/// The unit of this serial number, as the virtual bench takes it.
pub fn unit(fixture: &Fixture, serial: &str, history: Option<&UnitHistory>) -> Spec {
    let digest = Sha256::digest(format!("{}\n{serial}", fixture.name));
    let seed = digest.iter().take(8).fold(0, |seed, byte| seed << 8 | u64::from(*byte));
    // Seeds are shown, so they are kept short.
    let spec = Spec::new(seed % 1_000_000);
    let wires = history.map(|history| history.wires_before(i64::MAX)).unwrap_or_default();
    let spec = match fault(&fixture.board, &mut Rng::new(seed)) {
        Some((place, what)) if !is_repaired(&place, history) => spec.fault(format!("{place}={what}")),
        _ => spec,
    };
    wires
        .iter()
        .fold(spec, |spec, wire| spec.fault(spec::wire([&wire.from, &wire.to], wire.awg, wire.length_mm)))
}

/// Place and kind of the fault drawn.
fn fault(board: &Board, rng: &mut Rng) -> Option<(String, &'static str)> {
    if rng.unit() < GOOD {
        return None;
    }
    // A board may lack what was drawn; then another is.
    (0..20).find_map(|_| {
        let mut left = rng.unit();
        let (_, draw) = FAULTS.iter().find(|(share, _)| {
            left -= share;
            left <= 0.0
        })?;
        let (fits, what): (fn(&Segment) -> bool, _) = match *draw {
            Draw::Via("one barrel open") => {
                let pair = |s: &Segment| matches!(s.kind, SegmentKind::Via { count: 2.., .. });
                (pair, "one barrel open")
            }
            Draw::Via(what) => (|s| matches!(s.kind, SegmentKind::Via { .. }), what),
            Draw::Contact(what) => (|s| s.kind.is_contact(), what),
            Draw::Fuse(what) => (|s| matches!(s.kind, SegmentKind::Fuse { .. }), what),
            Draw::Switch(what) => (|s| matches!(s.kind, SegmentKind::Switch), what),
            Draw::Joint(what) => (|s| matches!(s.kind, SegmentKind::Joint), what),
            Draw::Short(what) => {
                let load = board.supply.to.first()?;
                let place = format!("{}~{}", board.point(*load).name, board.point(board.supply.ret).name);
                return Some((place, what));
            }
        };
        let places: Vec<&Segment> = board.segments.iter().filter(|segment| fits(segment)).collect();
        let place = places.get((rng.unit() * places.len() as f64) as usize)?;
        Some((place.name.clone(), what))
    })
}

/// Was it mended? What a wire was led around is still broken.
fn is_repaired(place: &str, history: Option<&UnitHistory>) -> bool {
    let mended = |event: &Event| match event {
        Event::Repair(repair) if repair.place == place => {
            repair.taken.as_ref().is_none_or(|taken| taken.wire.is_none())
        }
        _ => false,
    };
    history.is_some_and(|history| history.events.iter().any(mended))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture::examples::EXAMPLES;
    use crate::virtual_bench::VirtualBench;

    #[test]
    fn every_unit_can_be_laid_down_and_most_kinds_of_faults_come() {
        for example in EXAMPLES {
            let fixture = example.read().unwrap();
            let specs: Vec<_> = (0..200).map(|number| unit(&fixture, &format!("U-{number}"), None)).collect();
            for spec in &specs {
                VirtualBench::new(&fixture, spec).unwrap();
            }
            let good = specs.iter().filter(|spec| spec.faults.is_empty()).count();
            assert!((50..=110).contains(&good), "{good} of 200");
            let mut kinds: Vec<_> = specs
                .iter()
                .flat_map(|spec| &spec.faults)
                .filter_map(|fault| fault.rsplit('=').next())
                .collect();
            kinds.sort_unstable();
            kinds.dedup();
            assert!(kinds.len() >= 4, "{kinds:?}");
        }
    }

    #[test]
    fn a_serial_number_is_one_unit() {
        let fixture = EXAMPLES[0].read().unwrap();
        assert_eq!(unit(&fixture, "A-1", None).faults, unit(&fixture, "A-1", None).faults);
    }
}
