//! The line to the real firmware: descriptors, handshake, echo, and whatever else can come down a wire.
#![allow(clippy::expect_used, reason = "a failed expectation is the message")]

use std::time::{Duration, Instant};

use copperwalk::{link::Session, virtual_bench::Spec};
use copperwalk_tests::{attack::times, boards::example, emulator::bench::EmulatedBench, frames::frame};
use copperwalk_wire::{FromBench, PROTOCOL, ToBench, message::ECHO_BYTES};

fn bench() -> Session<EmulatedBench> {
    EmulatedBench::greeted(&example("tide-gauge-head"), &Spec::new(7))
}

#[test]
fn the_controller_introduces_itself() {
    let mut bench = bench();
    let identity = *bench.identity();
    assert_eq!(identity.protocol, PROTOCOL);
    assert_eq!((identity.force_channels, identity.sense_channels), (16, 48));
    assert!(identity.plan_capacity >= 512);
    // The same number on the bus and in the answer, read from the (stand-in) flash chip.
    let usb = bench.transport_mut().around.usb.clone().unwrap();
    assert_eq!(usb.serial, "E660C0D1CE5EED01");
    assert_eq!(identity.serial, 0xE660_C0D1_CE5E_ED01_u64.to_be_bytes());
    let status = bench.status().unwrap();
    assert!(
        !status.running && !status.lid_open && status.fault.is_none() && !status.watchdog_reset,
        "{status:?}"
    );
}

/// An eighth of a mebibyte there and back, in the long run a whole one, in frames of the greatest length, sent without waiting for answers.
#[test]
fn what_is_sent_comes_back_whole() {
    let total = times(1 << 17, 1 << 20);
    let mut bench = bench();
    let start_us = bench.transport().now_us();
    let wall = Instant::now();
    let payload = |number: u16| -> [u8; ECHO_BYTES] {
        // Every byte value, zeros and runs included; each frame differs.
        std::array::from_fn(|index| (index as u16).wrapping_mul(number | 1).wrapping_add(number >> 3) as u8)
    };
    let frames = u16::try_from(total.div_ceil(ECHO_BYTES)).unwrap();
    let mut next = 0;
    for number in 0..frames {
        // A few frames ahead: the operating system's buffer, not a flood.
        while next < frames && next < number + 16 {
            bench
                .transport_mut()
                .send_raw(&frame(next, ToBench::Echo { bytes: payload(next).into_iter().collect() }));
            next += 1;
        }
        let packet = loop {
            let packet = bench.hear(Duration::from_secs(1)).unwrap().unwrap();
            // Heartbeats are answered in between.
            if !matches!(packet.body, FromBench::Status(_)) {
                break packet;
            }
        };
        assert_eq!(packet.seq, number);
        assert_eq!(
            packet.body,
            FromBench::Echo { bytes: payload(number).into_iter().collect() },
            "frame {number}"
        );
    }
    let micros = bench.transport().now_us() - start_us;
    println!(
        "echo: {total} bytes each way in {:.3} s of device time ({:.0} KB/s), {:.1} s of wall time",
        micros as f64 * 1e-6,
        total as f64 / micros as f64 * 1e3,
        wall.elapsed().as_secs_f64()
    );
}
