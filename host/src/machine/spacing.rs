//! Where a hum would shift a reading by a good part of its limit, half-cycles are spaced over whole line periods.

use copperwalk_wire::Method;

use crate::{
    limits::LimitSet,
    measure::{hum::Hum, ratio::half_cycle},
    plan::{PlannedShot, Role, aim},
    quantity::{Ohms, Seconds, Volts},
};

/// Less than this share of the limit is left to the uncertainty; no unit.
const SHARE: f64 = 0.05;
/// Triples of a spaced reading: an even number, so that each phase of the hum comes as often with either sign.
const TRIPLES: u8 = 4;

/// The same shots, those spaced that need it.
pub fn spaced(mut shots: Vec<PlannedShot>, limits: &LimitSet, hum: Hum) -> Vec<PlannedShot> {
    for planned in &mut shots {
        let shot = planned.shot;
        let (Role::Segment { segment, .. } | Role::Mesh { segment, .. }, Method::Ratio(ratio)) =
            (planned.role, &mut planned.shot.method)
        else {
            continue;
        };
        let current = aim::nominal_current(shot.source, Ohms(1.0));
        let natural = half_cycle(&shot);
        let left = Volts(hum.left_by(3 * usize::from(ratio.triples_min), natural)) / current;
        if left <= SHARE * limits.of(segment).max {
            continue;
        }
        ratio.wait_us = ratio.wait_us.saturating_add(longer_us(natural, hum));
        (ratio.triples_min, ratio.triples_max, ratio.stop) = match ratio.stop {
            // The rule could stop after an odd number.
            Some(_) => (TRIPLES, TRIPLES, None),
            None => (ratio.triples_max.next_multiple_of(2), ratio.triples_max.next_multiple_of(2), None),
        };
    }
    shots
}

/// How much longer half-cycles have to be that are so long by themselves, µs: a line period more where a third of one is shorter
/// than they are already.
pub fn longer_us(natural: Seconds, hum: Hum) -> u16 {
    let mut more = hum.spacing() - natural;
    while more < Seconds::ZERO {
        more = more + Seconds(1.0 / hum.hertz);
    }
    (more.0 * 1e6).round() as u16
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::Source;

    use super::*;
    use crate::{
        board::StateId,
        fixture,
        plan::{self, Sampling},
    };

    #[test]
    fn contacts_with_tight_limits_are_spaced_and_load_readings_are_not() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");
        let fixture = fixture::read(path.as_ref()).unwrap();
        let limits = LimitSet::of_board(&fixture.board);
        let plan = plan::compile(&fixture, &limits, Sampling::Quick).unwrap();
        let on = plan.stages.iter().find(|stage| stage.state == StateId::new(1)).unwrap();
        let shots: Vec<PlannedShot> = on.legs.iter().flat_map(|leg| leg.shots.iter().copied()).collect();
        for (peak, hertz, slower) in [(0.0, 50.0, 0), (5e-6, 50.0, 1), (5e-6, 60.0, 1)] {
            let hum = Hum { peak: Volts(peak), hertz };
            let spaced = spaced(shots.clone(), &limits, hum);
            let changed: Vec<&PlannedShot> =
                spaced.iter().zip(&shots).filter(|(now, before)| now != before).map(|(now, _)| now).collect();
            assert_eq!(changed.len(), slower, "{peak} {hertz}: {changed:?}");
            for planned in changed {
                assert_eq!(planned.shot.source, Source::Dry);
                let Method::Ratio(ratio) = planned.shot.method else { panic!() };
                let periods = half_cycle(&planned.shot).0 * hertz * 3.0;
                assert!((periods - periods.round()).abs() < 1e-3 && ratio.triples_min % 2 == 0, "{periods}");
            }
        }
    }
}
