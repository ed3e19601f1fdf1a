//! Frames both ways, and everything a line can do to them.

// Everything here is a test; the lints know only functions marked so.
#![allow(clippy::panic, clippy::unwrap_used)]

use core::fmt::Debug;

use copperwalk_wire::{
    Contacts, FrameError, FrameReader, FromBench, Gain, Input, MAX_FRAME, Method, PROTOCOL, Packet, Rate,
    Ratio, Settle, Shot, Source, Stop, ToBench, Watch, decode, encode,
    message::{CODES_PER_FRAME, ECHO_BYTES, Fault, Identity, Refusal, Rule, RunEnd, ShotEnd, Status},
};
use heapless::Vec as Short;
use proptest::{collection::vec, option, prelude::*, sample::select};
use serde::{Serialize, de::DeserializeOwned};

fn framed<T: Serialize>(packet: &T) -> Vec<u8> {
    encode(packet, &mut [0; MAX_FRAME]).unwrap().to_vec()
}

fn read<T: DeserializeOwned>(bytes: &[u8]) -> Vec<Result<T, FrameError>> {
    let mut reader = FrameReader::new();
    bytes.iter().filter_map(|byte| reader.push(*byte)).collect()
}

fn comes_back<T: Serialize + DeserializeOwned + Clone + PartialEq + Debug>(packet: &T) {
    let bytes = framed(packet);
    assert!(bytes.len() <= MAX_FRAME);
    assert_eq!(bytes.iter().position(|byte| *byte == 0), Some(bytes.len() - 1), "one zero, at the end");
    assert_eq!(read(&bytes), [Ok(packet.clone())]);
}

const GAIN: Gain = Gain::X128;
const RATE: Rate = Rate::Sps1000;

fn widest_stop() -> Stop {
    Stop {
        lo: f32::MIN,
        hi: f32::MAX,
        close: f32::MAX,
        sigma_a: f32::MAX,
        sigma_b: f32::MAX,
        rel: f32::MAX,
        k: f32::MAX,
    }
}

fn widest_shot(method: Method) -> Shot {
    let all = Some(u16::MAX);
    let contacts = Contacts { force_plus: all, force_minus: all, sense_plus: all, sense_minus: all };
    Shot { contacts, source: Source::Isolation, method }
}

/// The longest of every kind of message to the controller.
fn widest_requests() -> Vec<ToBench> {
    let (input, millis, max) = (Input::Temperature, u16::MAX, u8::MAX);
    let methods = [
        Method::Residual,
        Method::Bleed { millis },
        Method::Sample { input, reversed: true, burnout: true, gain: GAIN, rate: RATE, count: max },
        Method::Ratio(Ratio {
            gain_a: GAIN,
            gain_b: GAIN,
            rate: RATE,
            contact_check: true,
            ends: true,
            triples_min: max,
            wait_us: 0,
            triples_max: max,
            stop: Some(widest_stop()),
            gate: Some(f32::MAX),
        }),
        Method::Settle(Settle {
            gain_a: GAIN,
            gain_b: GAIN,
            rate: RATE,
            window: max,
            windows_max: u16::MAX,
            pass: f32::MAX,
            slope: f32::MAX,
            floor: f32::MAX,
            turned: true,
        }),
        Method::Watch(Watch { gain_a: GAIN, gain_b: GAIN, rate: RATE, pairs: u16::MAX }),
    ];
    let shots = methods.map(|method| ToBench::Shot { index: u16::MAX, shot: widest_shot(method) });
    let others = [
        ToBench::Hello { protocol: u16::MAX },
        ToBench::Status,
        ToBench::Plan { shots: u16::MAX },
        ToBench::Run,
        ToBench::Stop,
        ToBench::Echo { bytes: [u8::MAX; ECHO_BYTES].into() },
        ToBench::Echo { bytes: [0; ECHO_BYTES].into() },
    ];
    shots.into_iter().chain(others).collect()
}

/// The longest of every kind of message from the controller. Codes of 24 bits, and what no converter gives.
fn widest_answers() -> Vec<FromBench> {
    let refusals = [
        Refusal::Protocol { mine: u16::MAX },
        Refusal::NoHello,
        Refusal::Busy,
        Refusal::PlanTooLong { capacity: u16::MAX },
        Refusal::ShotMissing { expected: u16::MAX },
        Refusal::Rule { index: u16::MAX, rule: Rule::NotFinite },
        Refusal::LidOpen,
        Refusal::Broken(Fault::Line),
    ];
    let codes = [-0x80_0000, 0x7F_FFFF, i32::MIN, i32::MAX].map(|code| FromBench::Codes {
        shot: u16::MAX,
        first: u16::MAX,
        codes: [code; CODES_PER_FRAME].into(),
    });
    let (shot, micros) = (u16::MAX, u32::MAX);
    let others = [
        FromBench::Hello(Identity {
            protocol: u16::MAX,
            firmware: (u8::MAX, u8::MAX, u8::MAX),
            serial: [u8::MAX; 8],
            force_channels: u16::MAX,
            sense_channels: u16::MAX,
            plan_capacity: u16::MAX,
        }),
        FromBench::Status(Status {
            running: true,
            lid_open: true,
            fault: Some(Fault::Line),
            watchdog_reset: true,
        }),
        FromBench::Done,
        FromBench::Shot { shot, codes: u16::MAX, why: ShotEnd::Budget, from_us: micros, to_us: micros },
        FromBench::Ended {
            why: RunEnd::Fault(Fault::Line),
            shots: shot,
            closures: micros,
            device_us: micros,
        },
        FromBench::Echo { bytes: [u8::MAX; ECHO_BYTES].into() },
    ];
    refusals.map(FromBench::Refused).into_iter().chain(codes).chain(others).collect()
}

#[test]
fn the_longest_message_of_every_kind_fits_a_frame_and_comes_back() {
    for body in widest_requests() {
        comes_back(&Packet { seq: u16::MAX, body });
    }
    let mut longest = 0;
    for body in widest_answers() {
        let packet = Packet { seq: u16::MAX, body };
        longest = longest.max(framed(&packet).len());
        comes_back(&packet);
    }
    println!("longest frame: {longest} bytes of {MAX_FRAME}");
}

#[test]
fn a_frame_one_byte_too_long_is_dropped_and_the_next_one_read() {
    let packet = Packet { seq: 5, body: ToBench::Status };
    let good = framed(&packet);
    for (length, expected) in [
        (MAX_FRAME - 2, FrameError::Stuffing),
        (MAX_FRAME - 1, FrameError::Content),
        (MAX_FRAME, FrameError::TooLong),
        (MAX_FRAME + 1, FrameError::TooLong),
        (10 * MAX_FRAME, FrameError::TooLong),
    ] {
        // No zero within: one frame. The longest allowed is one full COBS block of nonsense.
        let bytes = [vec![0xFF; length], vec![0], good.clone()].concat();
        assert_eq!(read(&bytes), [Err(expected), Ok(packet.clone())], "{length}");
    }
    assert_eq!(decode::<Packet<ToBench>>(&[1; MAX_FRAME]), Err(FrameError::TooLong));
}

#[test]
fn a_message_too_large_for_a_frame_is_refused_by_the_sender() {
    assert_eq!(encode(&[[7_u8; 32]; 8], &mut [0; MAX_FRAME]), Err(FrameError::TooLong));
    // The largest that fits packs to 254 bytes with its checksum.
    let mut sizes = (0..MAX_FRAME).filter(|size| {
        let bytes: Short<u8, MAX_FRAME> = (0..*size).map(|_| 7).collect();
        encode(&bytes, &mut [0; MAX_FRAME]).is_ok()
    });
    let largest = sizes.next_back().unwrap();
    assert!((MAX_FRAME - 10..MAX_FRAME - 6).contains(&largest), "{largest}");
}

#[test]
fn lone_zeros_are_passed_over() {
    let packet = Packet { seq: 1, body: ToBench::Run };
    let bytes = [vec![0, 0, 0], framed(&packet), vec![0, 0]].concat();
    assert_eq!(read(&bytes), [Ok(packet)]);
}

#[test]
fn bytes_after_the_message_make_it_no_message() {
    let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
    let mut packed = vec![1, 1];
    packed.extend(check.checksum(&packed).to_le_bytes());
    let stuffed = |packed: &[u8]| {
        let mut buffer = [0; MAX_FRAME];
        let used = cobs::encode(packed, &mut buffer);
        buffer[..used].to_vec()
    };
    assert_eq!(decode(&stuffed(&packed)), Ok(Packet { seq: 1, body: ToBench::Status }));
    packed.push(9);
    assert_eq!(decode::<Packet<ToBench>>(&stuffed(&packed)), Err(FrameError::Content));
}

#[test]
fn every_byte_cut_off_and_every_bit_turned_is_noticed() {
    let packet = Packet {
        seq: 300,
        body: ToBench::Shot { index: 3, shot: widest_shot(Method::Bleed { millis: 250 }) },
    };
    let bytes = framed(&packet);
    let body = &bytes[..bytes.len() - 1];
    for cut in 1..body.len() {
        assert!(decode::<Packet<ToBench>>(&body[..cut]).is_err(), "first {cut}");
        assert!(decode::<Packet<ToBench>>(&body[cut..]).is_err(), "without {cut}");
    }
    for bit in 0..8 * body.len() {
        let mut altered = body.to_vec();
        altered[bit / 8] ^= 1 << (bit % 8);
        assert!(decode::<Packet<ToBench>>(&altered).is_err(), "bit {bit}");
    }
}

#[test]
fn lists_longer_than_their_room_are_refused() {
    // Echo (variant 6) of one byte more than fits, honestly summed.
    let mut packed = vec![0, 6, 0xC1, 0x01];
    packed.extend([1; ECHO_BYTES + 1]);
    let check = crc::Crc::<u32>::new(&crc::CRC_32_ISO_HDLC).checksum(&packed);
    packed.extend(check.to_le_bytes());
    let mut buffer = [0; MAX_FRAME];
    let used = cobs::encode(&packed, &mut buffer);
    assert_eq!(decode::<Packet<ToBench>>(&buffer[..used]), Err(FrameError::Content));
}

#[test]
fn conversion_times_are_those_of_the_data_sheet() {
    // SBAS501, single-shot conversion times in periods of 4.096 MHz: 20 SPS 204850 (seen in a maker's thread),
    // the others from memory; continuous mode (seen, second hand) is 82 or 98 periods shorter at each rate.
    let continuous = [204_768, 91_120, 46_128, 23_664, 12_464, 6_896, 4_144];
    for (rate, clocks) in Rate::ALL.into_iter().zip(continuous) {
        assert!([82, 98].contains(&(rate.clocks() - clocks)), "{rate:?}");
    }
    assert_eq!(Rate::Sps1000.micros(), 1_036);
    assert_eq!(Rate::Sps20.micros(), 50_013);
    assert_eq!(Gain::ALL.map(Gain::factor), [1, 2, 4, 8, 16, 32, 64, 128]);
}

fn any_contacts() -> impl Strategy<Value = Contacts> {
    any::<[Option<u16>; 4]>().prop_map(|[force_plus, force_minus, sense_plus, sense_minus]| Contacts {
        force_plus,
        force_minus,
        sense_plus,
        sense_minus,
    })
}

fn finite() -> impl Strategy<Value = f32> {
    proptest::num::f32::NORMAL | proptest::num::f32::ZERO | proptest::num::f32::SUBNORMAL
}

fn any_method() -> impl Strategy<Value = Method> {
    let gain = || select(Gain::ALL.to_vec());
    let rate = || select(Rate::ALL.to_vec());
    let input =
        select(vec![Input::Sense, Input::Current, Input::PlusContact, Input::Zero, Input::Temperature]);
    let stop = vec(finite(), 7).prop_map(|x| Stop {
        lo: x[0],
        hi: x[1],
        close: x[2],
        sigma_a: x[3],
        sigma_b: x[4],
        rel: x[5],
        k: x[6],
    });
    prop_oneof![
        Just(Method::Residual),
        any::<u16>().prop_map(|millis| Method::Bleed { millis }),
        (input, any::<[bool; 2]>(), gain(), rate(), any::<u8>()).prop_map(
            |(input, [reversed, burnout], gain, rate, count)| Method::Sample {
                input,
                reversed,
                burnout,
                gain,
                rate,
                count
            }
        ),
        (
            gain(),
            gain(),
            rate(),
            any::<[bool; 2]>(),
            any::<[u8; 2]>(),
            option::of(stop),
            option::of(finite())
        )
            .prop_map(
                |(gain_a, gain_b, rate, [contact_check, ends], [triples_min, triples_max], stop, gate)| {
                    Method::Ratio(Ratio {
                        gain_a,
                        gain_b,
                        rate,
                        contact_check,
                        ends,
                        triples_min,
                        wait_us: 0,
                        triples_max,
                        stop,
                        gate,
                    })
                }
            ),
        (gain(), gain(), rate(), any::<u8>(), any::<u16>(), [finite(), finite(), finite()], any::<bool>(),)
            .prop_map(|(gain_a, gain_b, rate, window, windows_max, [pass, slope, floor], turned)| {
                Method::Settle(Settle {
                    gain_a,
                    gain_b,
                    rate,
                    window,
                    windows_max,
                    pass,
                    slope,
                    floor,
                    turned,
                })
            }),
        (gain(), gain(), rate(), any::<u16>()).prop_map(|(gain_a, gain_b, rate, pairs)| {
            Method::Watch(Watch { gain_a, gain_b, rate, pairs })
        }),
    ]
}

fn any_request() -> impl Strategy<Value = ToBench> {
    let source = select(vec![Source::Off, Source::Dry, Source::Load, Source::Wide, Source::Isolation]);
    prop_oneof![
        any::<u16>().prop_map(|protocol| ToBench::Hello { protocol }),
        Just(ToBench::Status),
        any::<u16>().prop_map(|shots| ToBench::Plan { shots }),
        (any::<u16>(), any_contacts(), source, any_method()).prop_map(|(index, contacts, source, method)| {
            ToBench::Shot { index, shot: Shot { contacts, source, method } }
        }),
        Just(ToBench::Run),
        Just(ToBench::Stop),
        vec(any::<u8>(), 0..=ECHO_BYTES)
            .prop_map(|bytes| ToBench::Echo { bytes: bytes.into_iter().collect() }),
    ]
}

fn any_answer() -> impl Strategy<Value = FromBench> {
    prop_oneof![
        select(widest_answers()),
        (any::<u16>(), any::<u16>(), vec(any::<i32>(), 0..=CODES_PER_FRAME)).prop_map(
            |(shot, first, codes)| { FromBench::Codes { shot, first, codes: codes.into_iter().collect() } }
        ),
        any::<(u16, u16, u32, u32)>().prop_map(|(shot, codes, from_us, to_us)| FromBench::Shot {
            shot,
            codes,
            why: ShotEnd::Decided,
            from_us,
            to_us
        }),
        any::<(u16, u32, u32)>().prop_map(|(shots, closures, device_us)| FromBench::Ended {
            why: RunEnd::Gate,
            shots,
            closures,
            device_us
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn requests_come_back_as_they_went(seq: u16, body in any_request()) {
        comes_back(&Packet { seq, body });
    }

    #[test]
    fn answers_come_back_as_they_went(seq: u16, body in any_answer()) {
        comes_back(&Packet { seq, body });
    }

    #[test]
    fn noise_is_never_a_message_and_never_a_panic(noise in vec(any::<u8>(), 0..2_000)) {
        for packet in read::<Packet<ToBench>>(&noise) {
            prop_assert!(packet.is_err(), "{:?}", packet);
        }
        for packet in read::<Packet<FromBench>>(&noise) {
            prop_assert!(packet.is_err(), "{:?}", packet);
        }
        let _ = decode::<Packet<ToBench>>(&noise);
    }

    #[test]
    fn damage_costs_the_frames_it_touches_and_no_other(
        before in any_request(), hit in any_request(), after in any_request(),
        at in any::<proptest::sample::Index>(), with in any::<u8>(),
    ) {
        let packets = [before, hit, after].map(|body| Packet { seq: 7, body });
        let [first, middle, last] = packets.each_ref().map(framed);
        let place = at.index(middle.len());
        prop_assume!(middle[place] != with);
        let length = middle.len();
        let mut damaged = middle;
        damaged[place] = with;
        let seen = read::<Packet<ToBench>>(&[first, damaged, last].concat());
        prop_assert_eq!(seen.first(), Some(&Ok(packets[0].clone())));
        if place + 1 < length {
            prop_assert_eq!(seen.last(), Some(&Ok(packets[2].clone())));
        }
        // Only a lost closing zero may cost the frame after it. Nothing is ever read that was not said.
        let good: Vec<_> = seen.into_iter().flatten().collect();
        prop_assert!(good.len() <= 2 && good.iter().all(|packet| packets.contains(packet)));
    }
}

#[test]
fn the_protocol_version_is_part_of_the_contract() {
    // Raising it is a decision: hosts and controllers in the field refuse each other across it.
    assert_eq!(PROTOCOL, 4);
    // And this is what every version must be able to read: the handshake itself.
    assert_eq!(framed(&Packet { seq: 0, body: ToBench::Hello { protocol: 1 } })[..4], [1, 1, 6, 1]);
}
