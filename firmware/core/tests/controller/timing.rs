//! Device time as foreseen, against the controller's own clock on the fake bench, where transfers take no time.

use copperwalk_core::{
    ads1220::ASK_US,
    timing::{Before, Span, run_us},
};
use copperwalk_wire::{
    FromBench, Input, Method, Ratio, Settle, Shot, Source, Stop,
    codes::Counts,
    hardware::wait::{LOAD_QUIET_US, LOAD_TURN_US, OPERATE_US, QUIET_US, RELEASE_US, SETTLE_US, TURN_US},
    message::RunEnd,
};
use proptest::prelude::*;

use crate::{
    any::good_plan,
    fake::Setup,
    shots::{ENDS, RATIO, RESIDUAL, SETTLE, STOP, contacts, ratio, sample, watch},
};

/// What one conversion may take longer than its nominal time: until it is asked for again.
const ASKED_LATE_US: u64 = ASK_US as u64;
/// What one shot may: each of its phases may begin in the next call only.
const PHASES_US: u64 = 10;

/// Runs a plan and compares every shot, and the run as a whole, with what was foreseen.
fn check(plan: &[Shot]) {
    let mut setup = Setup::greeted();
    let FromBench::Ended { why, device_us, .. } = setup.run(plan) else { panic!("no end") };
    let (mut before, mut exact) = (Before::OPEN, Before::OPEN);
    let (mut bounds, mut allowed) = (Span::default(), PHASES_US);
    let mut ran = 0;
    for packet in &setup.heard {
        let FromBench::Shot { codes, from_us, to_us, .. } = packet.body else { continue };
        let (shot, took) = (&plan[ran], u64::from(to_us - from_us));
        let late = PHASES_US + u64::from(codes) * ASKED_LATE_US;
        // With the number of codes known it is known to a few µs …
        let Span { least_us, most_us } = exact.shot_with(shot, Counts::only(codes.into()));
        assert_eq!(least_us, most_us, "{shot:?}");
        assert!((least_us..=most_us + late).contains(&took), "{took} µs of {most_us}: {shot:?}");
        // … and without, it lies between the bounds.
        let span = before.shot(shot);
        assert!((span.least_us..=span.most_us + late).contains(&took), "{took} µs of {span:?}: {shot:?}");
        (bounds, allowed, ran) = (bounds + span, allowed + late, ran + 1);
    }
    let (whole, took) = (bounds + before.around(), u64::from(device_us));
    assert!((whole.least_us..=whole.most_us + allowed).contains(&took), "{took} µs of {whole:?}");
    if why == RunEnd::Complete {
        assert_eq!(run_us(plan), whole);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn any_plan_takes_as_long_as_foreseen(plan in good_plan()) {
        check(&plan);
    }
}

/// Named cases of what makes a shot long.
#[test]
fn each_kind_of_wait_is_foreseen() {
    let stop = |close| Ratio { stop: Some(Stop { close, ..STOP }), triples_max: 6, ..RATIO };
    let settle = |rule| Shot { contacts: ENDS, source: Source::Isolation, method: Method::Settle(rule) };
    check(&[
        RESIDUAL,
        ratio(ENDS, Source::Dry, Ratio { contact_check: true, ends: true, ..RATIO }),
        // Satisfied at once, and never.
        ratio(contacts(0, 3, 1, 11), Source::Load, stop(1.0)),
        ratio(contacts(0, 3, 1, 2), Source::Load, stop(1e-9)),
        // Ends reversed, so that the next one finds the switch turning back.
        ratio(contacts(0, 3, 1, 2), Source::Load, Ratio { triples_min: 2, triples_max: 2, ..RATIO }),
        ratio(contacts(0, 3, 1, 2), Source::Wide, Ratio { wait_us: 20_000, ..RATIO }),
        sample(ENDS, Source::Off, Input::Zero, 3),
        watch(Source::Dry, 200),
        watch(Source::Dry, 1),
        settle(SETTLE),
        settle(Settle { slope: 0.0, floor: -1.0, ..SETTLE }),
        Shot { contacts: ENDS, source: Source::Off, method: Method::Bleed { millis: 30 } },
        RESIDUAL,
    ]);
}

/// Reckoned by hand: relays, then settling, then codes.
#[test]
fn a_load_reading_takes_what_its_parts_take() {
    let quick = u64::from(copperwalk_wire::Rate::Sps1000.micros());
    let mut before = Before::OPEN;
    let first = before.shot(&RESIDUAL);
    assert_eq!(first.least_us, u64::from(QUIET_US + OPERATE_US) + 4 * quick);
    assert_eq!(first.least_us, first.most_us);
    let next = before.shot(&ratio(contacts(0, 3, 1, 11), Source::Load, RATIO));
    let relays = u64::from(QUIET_US + RELEASE_US + OPERATE_US);
    // The source comes on; then the current goes, turns round and comes back, twice.
    let round = u64::from(LOAD_TURN_US + TURN_US + SETTLE_US);
    assert_eq!(next.least_us, relays + u64::from(SETTLE_US) + 2 * round + 6 * quick);
    // The sense pair moves at once; what is left of the current dies while its relays do.
    let walked = before.shot(&ratio(contacts(0, 3, 1, 2), Source::Load, RATIO));
    assert_eq!(walked.least_us, next.least_us);
    let forced = before.shot(&ratio(contacts(0, 2, 1, 2), Source::Load, RATIO));
    assert_eq!(forced.least_us, walked.least_us + u64::from(LOAD_QUIET_US - QUIET_US));
    let margins = Span { least_us: 100_000, most_us: 200_000 }.with_margins();
    assert_eq!(margins, Span { least_us: 98_000, most_us: 224_000 });
}
