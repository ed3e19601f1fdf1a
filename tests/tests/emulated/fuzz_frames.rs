//! Frames and codes altered at random, from fixed seeds: nothing panics, nothing grows without bound, and what is read is
//! whole. A short run is part of the suite; `COPPERWALK_LONG=1` makes it a hundred times as long.
#![allow(clippy::expect_used, clippy::panic, reason = "a failed expectation is the message")]

use std::time::{Duration, Instant};

use copperwalk::{
    link::{Gone, Session, Transport},
    random::Rng,
    virtual_bench::{Spec, VirtualBench},
};
use copperwalk_tests::{
    attack::{self, mutate},
    boards::example,
    frames::{below, frame},
};
use copperwalk_wire::{
    Contacts, FrameReader, FromBench, Gain, Input, MAX_FRAME, Method, Packet, Rate, Ratio, Settle, Shot,
    Source, Stop, ToBench, Watch,
    codes::{Codes, decode, possible_counts},
    message::{CODES_PER_FRAME, Identity, Refusal, Rule, RunEnd, ShotEnd},
};

/// How many times a short run.
fn times() -> usize {
    attack::times(1, 100)
}

fn one_of<T: Copy>(rng: &mut Rng, from: &[T]) -> T {
    from[below(rng, from.len())]
}

/// Alters bytes in one of the ways a line, or a peer gone mad, can.
fn alter(rng: &mut Rng, bytes: &mut Vec<u8>) {
    mutate::bytes(&mut |limit| below(rng, limit), bytes, 2 * MAX_FRAME);
}

fn any_f32(rng: &mut Rng) -> f32 {
    one_of(rng, &[0.0, 1.0, -1.0, f32::MAX, f32::MIN_POSITIVE, f32::NAN, f32::INFINITY])
}

/// Any shot, whether the rules allow it or not.
fn any_shot(rng: &mut Rng) -> Shot {
    let mut channel = || (below(rng, 4) > 0).then(|| below(rng, 1 << 16) as u16);
    let contacts = Contacts {
        force_plus: channel(),
        force_minus: channel(),
        sense_plus: channel(),
        sense_minus: channel(),
    };
    let source = one_of(rng, &[Source::Off, Source::Dry, Source::Load, Source::Wide, Source::Isolation]);
    let (gain_a, gain_b, rate) = (one_of(rng, &Gain::ALL), one_of(rng, &Gain::ALL), one_of(rng, &Rate::ALL));
    let few = |rng: &mut Rng| one_of(rng, &[0, 1, 2, 3, 5, 255]);
    let method = match below(rng, 6) {
        0 => Method::Residual,
        1 => Method::Bleed { millis: below(rng, 1 << 16) as u16 },
        2 => Method::Sample {
            input: one_of(rng, &[Input::Sense, Input::Bias, Input::PlusAlone, Input::Temperature]),
            reversed: below(rng, 2) == 0,
            burnout: below(rng, 2) == 0,
            gain: gain_a,
            rate,
            count: few(rng),
        },
        3 => {
            let stop = Stop {
                lo: any_f32(rng),
                hi: any_f32(rng),
                close: any_f32(rng),
                sigma_a: any_f32(rng),
                sigma_b: any_f32(rng),
                rel: any_f32(rng),
                k: any_f32(rng),
            };
            Method::Ratio(Ratio {
                gain_a,
                gain_b,
                rate,
                wait_us: below(rng, 1 << 16) as u16,
                contact_check: below(rng, 2) == 0,
                ends: below(rng, 2) == 0,
                triples_min: few(rng),
                triples_max: few(rng),
                stop: (below(rng, 2) == 0).then_some(stop),
                gate: (below(rng, 2) == 0).then(|| any_f32(rng)),
            })
        }
        4 => Method::Watch(Watch {
            gain_a,
            gain_b,
            rate,
            pairs: one_of(rng, &[0, 1, 3, u16::MAX / 2, u16::MAX]),
        }),
        _ => Method::Settle(Settle {
            gain_a,
            gain_b,
            rate,
            window: few(rng),
            windows_max: one_of(rng, &[0, 1, 2, 3, 100, u16::MAX]),
            pass: any_f32(rng),
            slope: any_f32(rng),
            floor: any_f32(rng),
            turned: below(rng, 2) == 0,
        }),
    };
    Shot { contacts, source, method }
}

fn any_request(rng: &mut Rng) -> Vec<u8> {
    let seq = below(rng, 1 << 16) as u16;
    let index = below(rng, 600) as u16;
    let body = match below(rng, 5) {
        0 => ToBench::Hello { protocol: index },
        1 => ToBench::Plan { shots: index },
        2 => ToBench::Shot { index, shot: any_shot(rng) },
        3 => ToBench::Run,
        _ => ToBench::Stop,
    };
    frame(seq, body)
}

fn any_answer(rng: &mut Rng) -> Vec<u8> {
    let seq = below(rng, 1 << 16) as u16;
    let (shot, codes) = (below(rng, 600) as u16, below(rng, 1 << 16) as u16);
    let body = match below(rng, 5) {
        0 => {
            let code = |_| (rng.unit() * 2f64.powi(32) - 2f64.powi(31)) as i32;
            let codes = (0..CODES_PER_FRAME).map(code).collect();
            FromBench::Codes { shot, first: 0, codes }
        }
        1 => FromBench::Shot { shot, codes, why: ShotEnd::Budget, from_us: 0, to_us: u32::MAX },
        2 => FromBench::Ended { why: RunEnd::NoContact, shots: shot, closures: 3, device_us: 9 },
        3 => FromBench::Refused(Refusal::Rule { index: shot, rule: Rule::Counts }),
        _ => FromBench::Hello(Identity {
            protocol: 2,
            firmware: (1, 2, 3),
            serial: [7; 8],
            force_channels: shot,
            sense_channels: codes,
            plan_capacity: 512,
        }),
    };
    frame(seq, body)
}

/// Whatever is read from altered frames packs again to what it was read from, or is refused.
#[test]
fn altered_frames_are_read_whole_or_refused() {
    let (began, mut rng) = (Instant::now(), Rng::new(31));
    let (mut requests, mut answers) = (FrameReader::new(), FrameReader::new());
    let (mut bytes, mut frames, mut read, mut refused) = (0, 0, 0, 0);
    for _ in 0..10_000 * times() {
        let mut stream = any_request(&mut rng);
        stream.extend(any_answer(&mut rng));
        for _ in 0..below(&mut rng, 3) {
            alter(&mut rng, &mut stream);
        }
        (bytes, frames) = (bytes + stream.len(), frames + 2);
        for byte in stream {
            let request = requests.push::<Packet<ToBench>>(byte).map(|frame| frame.is_ok());
            let answer = answers.push::<Packet<FromBench>>(byte).map(|frame| frame.is_ok());
            // The two readers cut the stream at the same places.
            assert_eq!(request.is_some(), answer.is_some());
            for good in request.into_iter().chain(answer) {
                (read, refused) = if good { (read + 1, refused) } else { (read, refused + 1) };
            }
        }
    }
    println!("{bytes} bytes, {frames} frames: {read} read, {refused} refused, {:.1?}", began.elapsed());
    assert!(read > frames / 3 && refused > frames / 3, "{read} read, {refused} refused");
}

/// Codes of any number and size against any shot: decoded where their count is possible, refused in words otherwise.
#[test]
fn any_codes_are_decoded_or_refused() {
    let (began, mut rng) = (Instant::now(), Rng::new(32));
    let (mut decoded, mut refused, mut total) = (0, 0, 0);
    for _ in 0..20_000 * times() {
        let shot = any_shot(&mut rng);
        let possible = possible_counts(&shot);
        let count = match below(&mut rng, 3) {
            0 => below(&mut rng, 2_000),
            1 => possible.least,
            _ => (possible.least + below(&mut rng, 4) * possible.step).min(possible.most),
        };
        let extreme = below(&mut rng, 4) == 0;
        let reach = if extreme { 2f64.powi(31) } else { 2f64.powi(23) };
        let codes: Vec<i32> =
            (0..count.min(5_000)).map(|_| (reach * (2.0 * rng.unit() - 1.0)) as i32).collect();
        total += codes.len();
        match decode(&shot, &codes) {
            Ok(view) => {
                decoded += 1;
                assert!(possible.contains(codes.len()), "{shot:?}");
                let seen = match view {
                    Codes::Residual(_) => 4,
                    Codes::Bleed => 0,
                    Codes::Sample(sample) => sample.all.len(),
                    Codes::Ratio(ratio) => {
                        let head = ratio.contacts.is_some() as usize + ratio.ends.is_some() as usize;
                        2 * (head + ratio.half_cycles.len())
                    }
                    Codes::Settle(settle) => {
                        let zeros = settle.zeros.map_or(0, |zeros| zeros.len());
                        2 + zeros + 2 * settle.windows().flatten().count()
                    }
                    Codes::Watch(watch) => 2 * watch.pairs.len(),
                };
                assert_eq!(seen, codes.len(), "{shot:?}");
            }
            Err(malformed) => {
                refused += 1;
                let said = malformed.to_string();
                assert!(said.len() < 200 && !said.contains('{'), "{said}");
            }
        }
    }
    println!("{total} codes: {decoded} shots decoded, {refused} refused, {:.1?}", began.elapsed());
    assert!(decoded > refused / 10 && refused > decoded / 10, "{decoded} decoded, {refused} refused");
}

/// A modelled bench on a line that alters some of what passes, either way.
struct BadLine {
    bench: VirtualBench,
    rng: Rng,
    bytes: usize,
}

impl BadLine {
    fn spoil(&mut self, bytes: &mut Vec<u8>) {
        self.bytes += bytes.len();
        if below(&mut self.rng, 40) == 0 {
            alter(&mut self.rng, bytes);
        }
    }
}

impl Transport for BadLine {
    fn name(&self) -> String {
        "a bad line".into()
    }

    fn now(&self) -> Duration {
        self.bench.now()
    }

    fn send(&mut self, frame: &[u8]) -> Result<(), Gone> {
        let mut frame = frame.to_vec();
        self.spoil(&mut frame);
        self.bench.send(&frame)
    }

    fn receive(&mut self, deadline: Duration, bytes: &mut Vec<u8>) -> Result<(), Gone> {
        let mut more = Vec::new();
        self.bench.receive(deadline, &mut more)?;
        if !more.is_empty() {
            self.spoil(&mut more);
        }
        bytes.append(&mut more);
        Ok(())
    }
}

/// Whole conversations over a bad line: each ends by itself, in time, with every shot of the plan or with an error.
#[test]
fn conversations_over_a_bad_line_end() {
    let fixture = example("tide-gauge-head");
    let [from, ret] = [fixture.board.supply.from, fixture.board.supply.ret].map(|point| fixture.pins(point));
    let contacts = Contacts {
        force_plus: from.force,
        force_minus: ret.force,
        sense_plus: from.sense,
        sense_minus: ret.sense,
    };
    let sample = Method::Sample {
        input: Input::Sense,
        reversed: false,
        burnout: false,
        gain: Gain::X1,
        rate: Rate::Sps1000,
        count: 90,
    };
    let shot = |method| Shot { contacts, source: Source::Off, method };
    let plan = [shot(Method::Residual), shot(sample), shot(Method::Residual), shot(sample)];
    let (began, before) = (Instant::now(), attack::peak_kib());
    let (mut whole, mut broken, mut bytes) = (0, 0, 0);
    for seed in 0..60 * times() as u64 {
        let bench = VirtualBench::new(&fixture, &Spec::new(3)).expect("a spec for this fixture");
        let line = BadLine { bench, rng: Rng::new(seed), bytes: 0 };
        let Ok(mut session) = Session::open(line) else {
            broken += 1;
            continue;
        };
        match session.run(&plan) {
            Ok(report) => {
                whole += 1;
                assert!(report.shots.len() <= plan.len());
                for (shot, ran) in plan.iter().zip(&report.shots) {
                    assert!(decode(shot, &ran.codes).is_ok(), "seed {seed}: {} codes", ran.codes.len());
                }
            }
            Err(_) => broken += 1,
        }
        let transport = session.transport();
        bytes += transport.bytes;
        assert!(
            transport.now() < Duration::from_secs(60),
            "seed {seed}: {:?} of model time",
            transport.now()
        );
    }
    let grown = attack::peak_kib() - before;
    println!(
        "{bytes} bytes: {whole} runs whole, {broken} broken, {grown} KiB grown, {:.1?}",
        began.elapsed()
    );
    assert!(whole > 0 && broken > 0, "{whole} whole, {broken} broken");
    assert!(grown < 100 << 10, "{grown} KiB");
}
