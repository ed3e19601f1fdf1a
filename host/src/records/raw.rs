//! The raw readings of a measurement as bytes and back: runs in format `raw/v2`, touches in `touches/v1`.

use serde::Deserialize;
use serde::de::IntoDeserializer;
use serde::de::value::StrDeserializer;

use super::touches;
use crate::fixture::Fixture;
use crate::measurement::{ByHand, Measurement, Purpose, Run, RunShot};
use crate::raw::v2::{self, Names};
use crate::raw::{FORMAT, READ, RawError, live, touches_v1};

/// What the raw readings of a measurement are.
#[derive(Clone, PartialEq, Debug, Default)]
pub(super) struct Unpacked {
    /// Runs of the bench.
    pub runs: Vec<Run>,
    /// What was read by hand.
    pub by_hand: Option<ByHand>,
}

/// The format of a measurement's raw readings, and their bytes in it. On a bed they name what its files name.
pub(super) fn pack_all(
    fixture: Option<&Fixture>,
    measurement: &Measurement,
) -> Result<(&'static str, Vec<u8>), RawError> {
    match (fixture, &measurement.by_hand) {
        (Some(fixture), None) => Ok((FORMAT, pack(fixture, &measurement.runs)?)),
        (_, by_hand) => {
            let touches =
                by_hand.as_ref().map_or_else(|| touches::pack(&ByHand::default()), touches::pack)?;
            Ok((touches_v1::FORMAT, touches))
        }
    }
}

/// Unpacks what [`pack_all`] gave.
pub(super) fn unpack_all(
    fixture: Option<&Fixture>,
    format: &str,
    bytes: &[u8],
) -> Result<Unpacked, RawError> {
    match (format, fixture) {
        (touches_v1::FORMAT, _) => {
            Ok(Unpacked { by_hand: Some(touches::unpack(bytes)?), ..Unpacked::default() })
        }
        (_, Some(fixture)) => Ok(Unpacked { runs: unpack(fixture, format, bytes)?, ..Unpacked::default() }),
        (_, None) => Err(RawError::Format { found: format.into() }),
    }
}

/// Packs runs in format [`FORMAT`].
pub(super) fn pack(fixture: &Fixture, runs: &[Run]) -> Result<Vec<u8>, RawError> {
    let mut names = Names::default();
    let runs = runs.iter().map(|run| freeze(fixture, &mut names, run)).collect::<Result<Vec<_>, _>>()?;
    Ok(postcard::to_allocvec(&v2::Runs { names, runs })?)
}

/// Unpacks what [`pack`] gave; `format` is the word kept beside the bytes. Nothing may be left over.
pub(super) fn unpack(fixture: &Fixture, format: &str, bytes: &[u8]) -> Result<Vec<Run>, RawError> {
    if !READ.contains(&format) {
        return Err(RawError::Format { found: format.into() });
    }
    let (v2::Runs { names, runs }, rest) = postcard::take_from_bytes(bytes)?;
    if !rest.is_empty() {
        return Err(postcard::Error::DeserializeBadEncoding.into());
    }
    runs.into_iter().map(|run| thaw(fixture, &names, run)).collect()
}

fn freeze(fixture: &Fixture, names: &mut Names, run: &Run) -> Result<v2::Run, RawError> {
    let mut clock_us = 0_u32;
    let mut shots = Vec::with_capacity(run.shots.len());
    for ran in &run.shots {
        shots.push(v2::RanShot {
            role: live::role(fixture, names, &ran.role)?,
            shot: live::shot(&ran.shot),
            codes: ran.codes.clone(),
            why: ran.why.into(),
            wait_us: ran.from_us.wrapping_sub(clock_us),
            took_us: ran.to_us.wrapping_sub(ran.from_us),
        });
        clock_us = ran.to_us;
    }
    Ok(v2::Run {
        state: names.index(&run.state)?,
        purpose: names.index(run.purpose.word())?,
        end: live::end(run.end),
        closures: run.closures,
        device_us: run.device_us,
        shots,
    })
}

fn thaw(fixture: &Fixture, names: &Names, run: v2::Run) -> Result<Run, RawError> {
    let mut clock_us = 0_u32;
    let mut shots = Vec::with_capacity(run.shots.len());
    for ran in run.shots {
        let from_us = clock_us.wrapping_add(ran.wait_us);
        clock_us = from_us.wrapping_add(ran.took_us);
        shots.push(RunShot {
            role: live::role_of(fixture, names, ran.role)?,
            shot: live::shot_of(ran.shot)?,
            codes: ran.codes,
            why: ran.why.into(),
            from_us,
            to_us: clock_us,
        });
    }
    let word = names.name(run.purpose)?;
    let source: StrDeserializer<'_, serde::de::value::Error> = word.into_deserializer();
    let purpose =
        Purpose::deserialize(source).map_err(|_| RawError::Unknown { what: "purpose", name: word.into() })?;
    Ok(Run {
        state: names.name(run.state)?.into(),
        purpose,
        end: live::end_of(run.end),
        closures: run.closures,
        device_us: run.device_us,
        shots,
    })
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::message::{Fault, RunEnd, ShotEnd};
    use copperwalk_wire::{Contacts, Gain, Input, Method, Rate, Ratio, Settle, Shot, Source, Stop};
    use proptest::prelude::*;

    use super::*;
    use crate::board::{PointId, SegmentId};
    use crate::fixture::{Accuracy, Thermometer};
    use crate::records::sample;
    use crate::role::Role;

    fn shot(role: Role, source: Source, method: Method, codes: Vec<i32>) -> RunShot {
        let contacts = Contacts { force_plus: Some(3), sense_minus: Some(47), ..Default::default() };
        let shot = Shot { contacts, source, method };
        RunShot { role, shot, codes, why: ShotEnd::Decided, from_us: 1, to_us: u32::MAX }
    }

    fn run(shots: Vec<RunShot>) -> Run {
        let end = RunEnd::Fault(Fault::Lid);
        Run { state: "on".into(), purpose: Purpose::DrySurvey, end, closures: 7, device_us: 300, shots }
    }

    fn bleed(codes: Vec<i32>) -> RunShot {
        shot(Role::Bleed, Source::Off, Method::Bleed { millis: 5 }, codes)
    }

    /// Every role and every way of sampling.
    fn everything() -> Vec<Run> {
        let stop = Stop { lo: -1.0, hi: 2.0, close: 0.5, sigma_a: 3.0, sigma_b: 4.0, rel: 5.0, k: 7.0 };
        let ratio = Method::Ratio(Ratio {
            gain_a: Gain::X128,
            gain_b: Gain::X2,
            rate: Rate::Sps1000,
            contact_check: true,
            ends: false,
            triples_min: 1,
            wait_us: 9,
            triples_max: 16,
            stop: Some(stop),
            gate: Some(0.25),
        });
        let settle = Method::Settle(Settle {
            gain_a: Gain::X4,
            gain_b: Gain::X64,
            rate: Rate::Sps20,
            window: 8,
            windows_max: 500,
            pass: 1.0,
            slope: 2.0,
            floor: 3.0,
            turned: false,
        });
        let look = Method::Sample {
            input: Input::Temperature,
            reversed: true,
            burnout: false,
            gain: Gain::X1,
            rate: Rate::Sps90,
            count: 2,
        };
        let (segment, point) = (SegmentId::new(2), PointId::new(3));
        let roles = [
            (Role::Residual, Source::Off, Method::Residual),
            (Role::Bleed, Source::Off, Method::Bleed { millis: 5 }),
            (Role::Temperature, Source::Off, look),
            (Role::ForceGuard, Source::Dry, look),
            (Role::SenseGuard, Source::Dry, look),
            (Role::EndToEnd { from: PointId::new(0), to: point }, Source::Dry, ratio),
            (Role::Segment { segment, swapped: true }, Source::Load, ratio),
            (Role::Survey { segment, swapped: false }, Source::Dry, ratio),
            (Role::PastPin { around: point }, Source::Wide, ratio),
            (Role::Isolation(0), Source::Isolation, settle),
            (Role::OpenSwitch(segment), Source::Isolation, settle),
            (Role::Standard(0), Source::Dry, ratio),
            (Role::OtherRelay { point, plus: true }, Source::Off, look),
            (Role::WeldSearch { point }, Source::Load, look),
        ];
        let shots = roles.map(|(role, source, method)| shot(role, source, method, vec![1, -1, i32::MIN]));
        vec![run(shots.to_vec()), run(vec![])]
    }

    #[test]
    fn every_role_and_method_comes_back() {
        let fixture = sample::fixture();
        let packed = pack(&fixture, &everything()).unwrap();
        assert_eq!(unpack(&fixture, FORMAT, &packed).unwrap(), everything());
    }

    /// Vectors from the postcard wire format specification, "varint" and "zigzag" (from memory): zigzag maps
    /// 0, -1, 1, -2 to 0, 1, 2, 3; a varint's groups come lowest first, all but the last with the high bit set.
    #[test]
    fn codes_are_zigzag_varints() {
        let runs = [run(vec![bleed(vec![0, -1, 1, -2, 64, -8_388_608])])];
        let packed = pack(&sample::fixture(), &runs).unwrap();
        let codes = [6, 0x00, 0x01, 0x02, 0x03, 0x80, 0x01, 0xff, 0xff, 0xff, 0x07];
        assert!(packed.windows(codes.len()).any(|window| window == codes), "{packed:02x?}");
    }

    /// Fails when the bytes change. They are frozen: a change is a new format beside this one. What v1 had is still the same
    /// to the byte, so bytes of v1 are read as they were written.
    #[test]
    fn the_bytes_are_those_written_since_v1() {
        let fixture = sample::fixture();
        let packed = pack(&fixture, &everything()).unwrap();
        let digest = crate::hash::of(&packed);
        assert_eq!(digest, "05e6de6590dc96bb7b7833f3867f0f0d4c742f664999578e41e08bce39ab9d00");
        assert_eq!(unpack(&fixture, "raw/v1", &packed).unwrap(), everything());
    }

    #[test]
    fn what_v2_added_comes_back() {
        let mut fixture = sample::fixture();
        fixture.thermometers.push(Thermometer {
            name: "plate".into(),
            force: [12, 13],
            sense: [44, 45],
            accuracy: Accuracy::ClassB,
            rested_kelvin: 1.0,
            apart_kelvin: 5.0,
        });
        let [Run { shots, .. }, _] = &everything()[..] else { panic!() };
        let isolation = shots.iter().find(|shot| shot.role == Role::Isolation(0)).unwrap();
        let Method::Settle(settle) = isolation.shot.method else { panic!("{isolation:?}") };
        let turned = Method::Settle(Settle { turned: true, ..settle });
        let turned_input = Method::Sample {
            input: Input::CurrentTurned,
            reversed: false,
            burnout: false,
            gain: Gain::X128,
            rate: Rate::Sps1000,
            count: 3,
        };
        let added = [run(vec![
            shot(Role::Isolation(0), Source::Isolation, turned, vec![1, 2]),
            shot(Role::Hum, Source::Off, turned_input, vec![3]),
            shot(Role::Thermometer(0), Source::Off, turned_input, vec![4]),
            shot(Role::OneWay(SegmentId::new(1)), Source::Wide, Method::Residual, vec![4, 5]),
            shot(
                Role::Mesh { segment: SegmentId::new(2), swapped: true },
                Source::Load,
                Method::Residual,
                vec![6],
            ),
        ])];
        let packed = pack(&fixture, &added).unwrap();
        assert_eq!(unpack(&fixture, FORMAT, &packed).unwrap(), added);
        fixture.thermometers[0].name = "renamed".into();
        let gone = RawError::Unknown { what: "thermometer", name: "plate".into() };
        assert_eq!(unpack(&fixture, FORMAT, &packed).unwrap_err(), gone);
    }

    #[test]
    fn torn_or_padded_bytes_and_other_formats_are_refused() {
        let fixture = sample::fixture();
        let packed = pack(&fixture, &everything()).unwrap();
        assert!(matches!(unpack(&fixture, FORMAT, &packed[..packed.len() - 1]), Err(RawError::Bytes(_))));
        assert!(matches!(unpack(&fixture, FORMAT, &[&packed[..], &[0]].concat()), Err(RawError::Bytes(_))));
        assert_eq!(
            unpack(&fixture, "raw/v9", &packed).unwrap_err().to_string(),
            "they are in format \"raw/v9\", this program reads up to \"raw/v2\": use the copperwalk that wrote them"
        );
    }

    /// Lists of points and segments may be ordered otherwise; a name that is gone is said.
    #[test]
    fn names_and_not_places_in_lists_are_kept() {
        let fixture = sample::fixture();
        let packed = pack(&fixture, &everything()).unwrap();
        let mut other = fixture.clone();
        other.board.segments.swap(2, 0);
        let role = unpack(&other, FORMAT, &packed).unwrap()[0].shots[6].role;
        assert_eq!(role, Role::Segment { segment: SegmentId::new(0), swapped: true });
        other.board.segments[0].name = "renamed".into();
        let name = &fixture.board.segments[2].name;
        assert_eq!(
            unpack(&other, FORMAT, &packed).unwrap_err(),
            RawError::Unknown { what: "segment", name: name.clone() }
        );
        let beyond = [run(vec![shot(Role::Standard(9), Source::Off, Method::Residual, vec![])])];
        assert!(matches!(
            pack(&fixture, &beyond),
            Err(RawError::Range { what: "check standard", number: 9 })
        ));
    }

    proptest! {
        #[test]
        fn codes_come_back(codes in prop::collection::vec(any::<i32>(), 0..50)) {
            let fixture = sample::fixture();
            let runs = vec![run(vec![bleed(codes.clone()), bleed(codes)])];
            prop_assert_eq!(unpack(&fixture, FORMAT, &pack(&fixture, &runs).unwrap()).unwrap(), runs);
        }

        /// Bytes altered in a few places: they are refused in words, or they are codes that can be judged.
        #[test]
        fn altered_bytes_are_refused_or_judged(
            places in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4),
            length in any::<prop::sample::Index>(),
        ) {
            let fixture = sample::fixture();
            let sweep = sample::sweep("A-1", None, 1, None);
            let mut bytes = pack(&fixture, &sweep.measurement.runs).unwrap();
            if length.index(4) == 0 {
                bytes.truncate(length.index(bytes.len()));
            }
            for (place, byte) in places {
                if !bytes.is_empty() {
                    let at = place.index(bytes.len());
                    bytes[at] = byte;
                }
            }
            match unpack(&fixture, FORMAT, &bytes) {
                Err(error) => prop_assert!(error.to_string().len() > 20),
                Ok(runs) => {
                    let measurement = Measurement { runs, ..sweep.measurement };
                    let limits = crate::limits::LimitSet::of_board(&fixture.board);
                    let plan = crate::plan::compile(&fixture, &limits, measurement.sampling).unwrap();
                    if let Err(error) = crate::judge::judge(&fixture, &limits, &plan, &measurement) {
                        prop_assert!(error.to_string().len() > 20);
                    }
                }
            }
        }

        #[test]
        fn garbage_never_panics(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let _ = unpack(&sample::fixture(), FORMAT, &bytes);
        }
    }
}
