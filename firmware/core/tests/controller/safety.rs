//! The rules hold for thousands of plans, messages and mishaps nobody thought of.
//!
//! The fake bench itself checks, at every change of a pin, that relays move only without current and that no bus
//! ever has two contacts; here it is driven at random and must end all open.

use copperwalk_core::Instant;
use copperwalk_wire::{FromBench, PROTOCOL, ToBench, hardware::wait::HEARTBEAT_US};
use proptest::{collection::vec, prelude::*};

use crate::{
    any::{any_shot, good_plan},
    fake::Setup,
    shots::RESIDUAL,
};

/// What may happen to a bench.
#[derive(Clone, Debug)]
enum Event {
    Say(ToBench),
    Bytes(Vec<u8>),
    LidOpens,
    LidCloses,
    HostGoesSilent,
    HostStopsReading,
    ReadyStuck(bool),
    AdcReset,
    AdcBus,
    MatrixBus,
    HangUp,
}

fn any_message() -> impl Strategy<Value = ToBench> {
    prop_oneof![
        Just(ToBench::Hello { protocol: PROTOCOL }),
        any::<u16>().prop_map(|protocol| ToBench::Hello { protocol }),
        Just(ToBench::Status),
        (0..4_u16).prop_map(|shots| ToBench::Plan { shots }),
        (0..4_u16, any_shot()).prop_map(|(index, shot)| ToBench::Shot { index, shot }),
        Just(ToBench::Shot { index: 0, shot: RESIDUAL }),
        Just(ToBench::Run),
        Just(ToBench::Stop),
        vec(any::<u8>(), 0..192).prop_map(|bytes| ToBench::Echo { bytes: bytes.into_iter().collect() }),
    ]
}

fn any_event() -> impl Strategy<Value = Event> {
    prop_oneof![
        6 => any_message().prop_map(Event::Say),
        2 => vec(any::<u8>(), 0..600).prop_map(Event::Bytes),
        1 => Just(Event::LidOpens),
        1 => Just(Event::LidCloses),
        1 => Just(Event::HostGoesSilent),
        1 => Just(Event::HostStopsReading),
        1 => any::<bool>().prop_map(Event::ReadyStuck),
        1 => Just(Event::AdcReset),
        1 => Just(Event::AdcBus),
        1 => Just(Event::MatrixBus),
        1 => Just(Event::HangUp),
    ]
}

fn happen(setup: &mut Setup, event: Event) {
    match event {
        Event::Say(message) => {
            // A new host opens everything without waiting for quiet.
            let hello = matches!(message, ToBench::Hello { .. });
            setup.world.borrow_mut().strict &= !hello;
            setup.say(message);
            setup.world.borrow_mut().strict = true;
        }
        // Closed by a zero: what a torn frame swallows of the next one is another test's subject.
        Event::Bytes(bytes) => setup.say_bytes(&[bytes.as_slice(), &[0]].concat()),
        Event::LidOpens => setup.world.borrow_mut().faults.lid_open = true,
        Event::LidCloses => setup.world.borrow_mut().faults.lid_open = false,
        Event::HostGoesSilent => setup.heartbeat_us = 0,
        Event::HostStopsReading => setup.reads = false,
        Event::ReadyStuck(high) => {
            let mut world = setup.world.borrow_mut();
            (world.faults.ready_stuck_high, world.faults.ready_stuck_low) = (high, !high);
        }
        Event::AdcReset => setup.world.borrow_mut().faults.adc_reset = true,
        Event::AdcBus => setup.world.borrow_mut().faults.adc_bus = true,
        Event::MatrixBus => setup.world.borrow_mut().faults.matrix_bus = true,
        Event::HangUp => {
            let now = setup.now();
            setup.controller.hang_up(Instant(now));
        }
    }
}

/// Is this one of the events after which the controller has to open by itself?
fn must_open(event: &Event) -> Option<u64> {
    match event {
        Event::LidOpens | Event::HangUp | Event::Say(ToBench::Stop | ToBench::Hello { .. }) => Some(0),
        Event::HostGoesSilent => Some(u64::from(HEARTBEAT_US)),
        _ => None,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_plan_that_is_accepted_runs_by_the_rules(plan in good_plan(), a in -9_000..9_000, b in -9_000..9_000) {
        let mut setup = Setup::greeted();
        setup.world.borrow_mut().pair_a = a;
        setup.world.borrow_mut().pair_b = b;
        let ended = setup.run(&plan);
        let FromBench::Ended { shots, .. } = ended else { panic!("{ended:?}") };
        // Every shot that is told of has all its codes.
        for packet in &setup.heard {
            if let FromBench::Shot { shot, codes, .. } = packet.body {
                prop_assert_eq!(setup.codes(shot).len(), usize::from(codes));
            }
        }
        let told = setup.heard.iter().filter(|packet| matches!(packet.body, FromBench::Shot { .. })).count();
        prop_assert_eq!(told, usize::from(shots));
    }

    #[test]
    fn whatever_happens_it_ends_all_open(
        plan in good_plan(),
        events in vec((any_event(), 0..30_000_u64), 1..12),
    ) {
        let mut setup = Setup::greeted();
        setup.load(&plan);
        setup.say(ToBench::Run);
        for (event, micros) in events {
            setup.pass(micros);
            let deadline = must_open(&event);
            happen(&mut setup, event);
            if let Some(patience) = deadline {
                setup.pass(patience + 100_000);
                // With the ADC's bus dead its own source cannot be reached, but the relays are open.
                let world = setup.world.borrow();
                prop_assert!(world.closed().is_empty());
                prop_assert!(!world.current() || world.faults.adc_bus);
            }
        }
        // The host is gone.
        setup.heartbeat_us = 0;
        setup.pass(u64::from(HEARTBEAT_US) + 100_000);
        let world = setup.world.borrow();
        prop_assert!(world.closed().is_empty());
        prop_assert!(!world.current() || world.faults.adc_bus);
    }

    #[test]
    fn noise_on_the_line_changes_nothing(noise in vec(any::<u8>(), 0..5_000)) {
        let mut setup = Setup::new();
        for piece in noise.chunks(64) {
            setup.say_bytes(piece);
            setup.pass(100);
        }
        prop_assert!(setup.world.borrow().relay_log.is_empty());
        prop_assert!(setup.world.borrow().safe());
        // Resynchronised by the next zero, it answers.
        setup.say_bytes(&[0]);
        let answer = setup.ask(ToBench::Hello { protocol: PROTOCOL });
        prop_assert!(matches!(answer, Some(FromBench::Hello(_))), "{:?}", answer);
    }
}
