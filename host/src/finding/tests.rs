//! Every threshold of the findings, on both of its sides.

use copperwalk_wire::{Contacts, Source, message::RunEnd};

use super::{
    bench, closure, isolation, open, segment::Finding as SegmentFinding, segment::Scene, segment::Value,
    warmth::Warmth,
};
use crate::{
    board::{PointId, SegmentId, StateId},
    evidence::{EndToEnd, Evidence, ForceContact, Observation, RunEvidence, SegmentReading},
    fixture::{Fixture, Standard},
    limits::LimitSet,
    measure::{
        isolation::Isolation,
        ratio::{HalfCycles, Motion, Reading},
        uncertainty::Budget,
    },
    plan::{self, Plan, Sampling},
    quantity::{Amps, Celsius, Ohms, Volts},
    verdict::{Class, Verdict},
};

/// State `on` of the tide gauge head, in which everything conducts; in `off` its power switch is open.
const ON: StateId = StateId::new(1);
const OFF: StateId = StateId::new(0);
/// A unit at 20 °C for certain.
const AT_20C: Warmth = Warmth { unit: Celsius(20.0), half_kelvin: 0.0, thermometer: None };

fn fixture() -> Fixture {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");
    let mut fixture = crate::fixture::read(path.as_ref()).unwrap();
    assert_eq!(fixture.board.state(ON).name, "on");
    // Pins stand where they should, so that a reading's interval is its own.
    fixture.pins.iter_mut().for_each(|pins| pins.off_mm = 0.0);
    fixture
}

fn named(fixture: &Fixture, name: &str) -> SegmentId {
    fixture.board.segment_named(name).unwrap()
}

/// All of the uncertainty is noise: `u95` is 1.96 standard deviations.
fn budget(u95: f64) -> Budget {
    Budget::of_noise(Ohms(u95 / 1.96))
}

fn reading(ohms: f64, u95: f64) -> Reading {
    Reading {
        resistance: Ohms(ohms),
        budget: budget(u95),
        voltage: Volts::ZERO,
        current: Amps(1e-3),
        flows: true,
        over_range: false,
        motion: None,
        settled: true,
        contacts: None,
        end_drops: None,
        half_cycles: HalfCycles::default(),
    }
}

fn seen(fixture: &Fixture, id: SegmentId, source: Source, reading: Reading) -> SegmentReading {
    let segment = fixture.board.segment(id);
    let ends = [segment.from, segment.to];
    let forced = [None; 2];
    SegmentReading { segment: id, forced, ends, touches: [true; 2], source, survey: false, reading }
}

fn run(state: StateId, observations: Vec<Observation>) -> RunEvidence {
    RunEvidence { state, end: RunEnd::Complete, observations }
}

/// What is found about the first of these readings' segments, at 20 °C.
fn found(fixture: &Fixture, readings: Vec<SegmentReading>) -> SegmentFinding {
    let limits = LimitSet::of_board(&fixture.board);
    let id = readings[0].segment;
    let runs = [run(ON, readings.into_iter().map(Observation::Segment).collect())];
    Scene::new(fixture, &limits, ON, runs.iter(), AT_20C).find(id)
}

/// A survey of two segments in a row whose common pin is silent, and what stands across the two.
fn silent_pin(fixture: &Fixture, across_volts: f64) -> Vec<RunEvidence> {
    let still = Reading { flows: false, ..reading(0.0, 1.0) };
    let survey = |name: &str, touches| {
        let id = named(fixture, name);
        let reading = seen(fixture, id, Source::Dry, still.clone());
        Observation::Segment(SegmentReading { touches, survey: true, ..reading })
    };
    let pin = fixture.board.segment(named(fixture, "fuse feed")).to;
    let past = Reading { voltage: Volts(across_volts), ..still.clone() };
    vec![
        run(ON, vec![survey("fuse feed", [true, false]), survey("cell fuse", [false, true])]),
        run(ON, vec![Observation::Around(pin, past)]),
    ]
}

#[test]
fn the_clamps_voltage_across_a_segment_is_an_open_from_nine_tenths_of_a_millivolt() {
    let fixture = fixture();
    let id = named(&fixture, "cell fuse");
    for (volts, is_open) in [(0.85e-3, false), (0.95e-3, true), (-0.95e-3, true)] {
        let still = Reading { flows: false, voltage: Volts(volts), ..reading(0.0, 1.0) };
        let seen = [seen(&fixture, id, Source::Dry, still)];
        let expected = if is_open { vec![open::Suspect::Open(id)] } else { vec![] };
        assert_eq!(open::suspects(seen.iter()), expected, "{volts} V");
    }
}

#[test]
fn a_silent_pin_hides_an_open_only_where_the_clamps_voltage_stands_past_it() {
    let fixture = fixture();
    assert_eq!(open::opens(silent_pin(&fixture, 0.85e-3).iter()), []);
    let opens = open::opens(silent_pin(&fixture, 0.95e-3).iter()).to_vec();
    assert_eq!(opens.len(), 2);
    assert!(opens.iter().all(|open| open.probability == 0.6 && open.beside.is_some()), "{opens:?}");
}

#[test]
fn a_contact_moves_from_a_quarter_of_its_limit_and_twice_its_least() {
    let fixture = fixture();
    let switch = named(&fixture, "power switch");
    let max = LimitSet::of_board(&fixture.board).of(switch).max.0;
    let moving = |low: f64, high: f64| {
        let motion = Some(Motion::Here([Ohms(low), Ohms(high)]));
        let reading = Reading { motion, ..reading(0.5 * (low + high), 1e-3) };
        seen(&fixture, switch, Source::Dry, reading)
    };
    for (width, flaky) in [(0.24, false), (0.26, true)] {
        let low = 0.1 * max;
        let class = found(&fixture, vec![moving(low, low + width * max)]).class;
        assert_eq!(class == Class::Flaky, flaky, "a width of {width} of the limit");
    }
    for (times, flaky) in [(1.9, false), (2.1, true)] {
        let class = found(&fixture, vec![moving(max, times * max)]).class;
        assert_eq!(class == Class::Flaky, flaky, "{times} times the least");
    }
}

#[test]
fn motion_under_a_tenth_of_the_widest_is_a_neighbours() {
    let fixture = fixture();
    let [switch, fuse] = ["power switch", "cell fuse"].map(|name| named(&fixture, name));
    let max = LimitSet::of_board(&fixture.board).of(switch).max.0;
    let moving = |id, low: f64, high: f64| {
        seen(
            &fixture,
            id,
            Source::Dry,
            Reading { motion: Some(Motion::Here([Ohms(low), Ohms(high)])), ..reading(low, 1e-3) },
        )
    };
    let width = 2.0 * max;
    for (share, flaky) in [(0.09, false), (0.11, true)] {
        let widest = moving(fuse, 1.0, 1.0 + width / share);
        let class = found(&fixture, vec![moving(switch, 0.1 * max, 0.1 * max + width), widest]).class;
        assert_eq!(class == Class::Flaky, flaky, "{share} of the widest");
    }
}

#[test]
fn a_survey_proves_a_segment_too_high_from_three_times_its_uncertainty() {
    let fixture = fixture();
    let via = named(&fixture, "via pair 1");
    let max = LimitSet::of_board(&fixture.board).of(via).max.0;
    for (factor, verdict) in [(3.1, Verdict::Fail), (2.9, Verdict::Unproven)] {
        let u95 = 1e-3;
        let seen = seen(&fixture, via, Source::Dry, reading(max + factor * u95, u95));
        let finding = found(&fixture, vec![SegmentReading { survey: true, ..seen }]);
        assert_eq!(finding.verdict, verdict, "{factor} times");
        assert_ne!(finding.class, Class::Ok, "{factor} times");
    }
}

#[test]
fn a_contact_above_a_hundred_kilohms_is_open_and_below_it_high() {
    let fixture = fixture();
    let switch = named(&fixture, "power switch");
    for (ohms, class) in [(95e3, Class::High), (105e3, Class::Open)] {
        let finding = found(&fixture, vec![seen(&fixture, switch, Source::Dry, reading(ohms, 10.0))]);
        assert_eq!((finding.verdict, finding.class), (Verdict::Fail, class), "{ohms} Ω");
    }
}

#[test]
fn barrels_have_lost_copper_above_what_thin_plating_explains() {
    let fixture = fixture();
    let via = named(&fixture, "via pair 1");
    let typical = fixture.board.segment(via).expected.typical.0;
    for (times, class) in [(1.34, Class::Ok), (1.36, Class::RedundancyLost)] {
        let finding =
            found(&fixture, vec![seen(&fixture, via, Source::Load, reading(times * typical, 1e-6))]);
        assert_eq!((finding.verdict, finding.class), (Verdict::Pass, class), "{times} times");
    }
}

/// A reading of the via pair during which something else moved.
fn disturbed(fixture: &Fixture, ohms: f64, u95: f64) -> SegmentReading {
    let reading = Reading { motion: Some(Motion::Elsewhere), ..reading(ohms, u95) };
    seen(fixture, named(fixture, "via pair 1"), Source::Load, reading)
}

#[test]
fn a_disturbed_reading_shows_a_lost_barrel_from_three_times_its_uncertainty() {
    let fixture = fixture();
    let high = fixture.board.segment(named(&fixture, "via pair 1")).expected.high.0;
    let u95 = 0.01 * high;
    for (factor, class) in [(2.9, Class::Ok), (3.1, Class::RedundancyLost)] {
        let finding = found(&fixture, vec![disturbed(&fixture, high + factor * u95, u95)]);
        assert_eq!((finding.verdict, finding.class), (Verdict::Unproven, class), "{factor} times");
        let widened = finding.value.unwrap().expanded().0;
        // Referring to 20 °C adds a little.
        assert!((widened / u95 - 3.0).abs() < 0.01, "{widened}");
    }
}

/// The survey passes by itself in both cases; the finer reading lies inside the limit by 3.1 and 2.9 times its uncertainty.
#[test]
fn a_survey_passes_only_while_a_finer_reading_that_was_disturbed_does_not_contradict_it() {
    let fixture = fixture();
    let via = named(&fixture, "via pair 1");
    let max = LimitSet::of_board(&fixture.board).of(via).max.0;
    let survey =
        SegmentReading { survey: true, ..seen(&fixture, via, Source::Dry, reading(0.2 * max, 0.5 * max)) };
    let u95 = 0.01 * max;
    for (factor, verdict) in [(3.1, Verdict::Pass), (2.9, Verdict::Unproven)] {
        let moved = run(ON, vec![Observation::Segment(disturbed(&fixture, max - factor * u95, u95))]);
        let runs = [run(ON, vec![Observation::Segment(survey.clone())]), moved];
        let limits = LimitSet::of_board(&fixture.board);
        let finding = Scene::new(&fixture, &limits, ON, runs.iter(), AT_20C).find(via);
        assert_eq!(finding.verdict, verdict, "{factor} times");
        assert_eq!(finding.class, Class::RedundancyLost, "near its limit the pair has one barrel");
    }
}

#[test]
fn a_survey_that_cannot_exclude_a_lost_barrel_proves_nothing() {
    let fixture = fixture();
    let via = named(&fixture, "via pair 1");
    let typical = fixture.board.segment(via).expected.typical.0;
    let line = fixture.board.segment(via).expected.high.0;
    for (upper, verdict) in [(0.98 * line, Verdict::Pass), (1.02 * line, Verdict::Unproven)] {
        let seen = seen(&fixture, via, Source::Dry, reading(0.5 * typical, upper - 0.5 * typical));
        let finding = found(&fixture, vec![SegmentReading { survey: true, ..seen }]);
        assert_eq!((finding.verdict, finding.class), (verdict, Class::Ok), "{upper} Ω");
    }
}

#[test]
fn a_pair_that_lies_outside_its_limit_is_high_and_not_only_short_of_a_barrel() {
    let fixture = fixture();
    let via = named(&fixture, "via pair 1");
    let max = LimitSet::of_board(&fixture.board).of(via).max.0;
    // Outside by once its uncertainty, which a survey does not prove.
    for (ohms, class) in [(1.1 * max, Class::High), (0.99 * max, Class::RedundancyLost)] {
        let seen = seen(&fixture, via, Source::Dry, reading(ohms, 0.05 * max));
        let finding = found(&fixture, vec![SegmentReading { survey: true, ..seen }]);
        assert_eq!((finding.verdict, finding.class), (Verdict::Unproven, class), "{ohms} Ω");
    }
}

fn leak(ohms: f64) -> Isolation {
    Isolation {
        at_least: Some(Ohms(0.99 * ohms)),
        at_most: Some(Ohms(1.01 * ohms)),
        resistance: Some(Ohms(ohms)),
        driven: true,
        still_charging: false,
        contacts: [0; 2],
    }
}

fn planned(fixture: &Fixture) -> Plan {
    plan::compile(fixture, &LimitSet::of_board(&fixture.board), Sampling::Quick).unwrap()
}

#[test]
fn a_leak_under_a_hundred_ohms_is_a_short() {
    let fixture = fixture();
    assert_eq!(fixture.board.isolation[0].state, OFF);
    for (ohms, class) in [(95.0, Class::Shorted), (105.0, Class::Leaky)] {
        let evidence = Evidence::from_iter([run(OFF, vec![Observation::Isolation(0, leak(ohms))])]);
        let found = isolation::find(&fixture.board, &planned(&fixture), &evidence);
        let supply = found.iter().find(|finding| finding.barrier == isolation::Barrier::Between(0)).unwrap();
        assert_eq!((supply.verdict, supply.class), (Verdict::Fail, class), "{ohms} Ω");
    }
}

#[test]
fn a_leak_across_the_switch_masks_the_supplys_where_it_is_lower_than_seven_tenths_of_it() {
    let fixture = fixture();
    let switch = named(&fixture, "power switch");
    for (share, kept) in [(0.65, true), (0.75, false)] {
        let evidence = Evidence::from_iter([run(
            OFF,
            vec![Observation::OpenSwitch(switch, leak(share * 5e3)), Observation::Isolation(0, leak(5e3))],
        )]);
        let found = isolation::find(&fixture.board, &planned(&fixture), &evidence);
        let across =
            found.iter().find(|finding| finding.barrier == isolation::Barrier::Switch(switch)).unwrap();
        assert_eq!(across.verdict == Verdict::Fail, kept, "{share}: {across:?}");
    }
}

#[test]
fn a_closure_disagrees_beyond_2_3_times_its_uncertainty() {
    let fixture = fixture();
    let via = named(&fixture, "via pair 1");
    let segment = fixture.board.segment(via);
    let u95 = 1e-5;
    let (resistance, budget) = (Ohms(1e-3), budget(u95));
    let value = Value { resistance, at_20c: resistance, as_measured: budget, budget };
    let finding = SegmentFinding {
        segment: via,
        state: ON,
        value: Some(value),
        verdict: Verdict::Pass,
        class: Class::Ok,
        located: None,
        doubt: None,
        one_way: None,
    };
    // Two readings of the same uncertainty: their difference has √2 of it.
    for (factor, agrees) in [(2.2, true), (2.4, false)] {
        let end_to_end = EndToEnd {
            from: segment.from,
            to: segment.to,
            touches: [true; 2],
            reading: reading(1e-3 + factor * u95 * 2.0_f64.sqrt(), u95),
        };
        let evidence = Evidence::from_iter([run(ON, vec![Observation::EndToEnd(end_to_end)])]);
        let closures = closure::find(&fixture.board, &evidence, std::slice::from_ref(&finding), &[]);
        assert_eq!(closures[0].agrees, agrees, "{factor} times");
    }
}

#[test]
fn a_force_contact_above_three_ohms_is_asked_about() {
    let fixture = fixture();
    for (ohms, asked) in [(2.9, 0), (3.1, 1)] {
        let supply = &fixture.board.supply;
        let (point, other) = (supply.from, supply.ret);
        let contact = ForceContact { point, other, plus: true, resistance: Some(Ohms(ohms)), missing: false };
        let evidence = Evidence::from_iter([run(ON, vec![Observation::ForceContact(contact)])]);
        assert_eq!(bench::questions(&fixture, &evidence, ON).len(), asked, "{ohms} Ω");
    }
}

#[test]
fn a_standard_is_off_beyond_its_tolerance_and_four_standard_uncertainties() {
    let (force, sense, resistance) = ([0, 1], [0, 1], Ohms(1.0));
    let standard = Standard {
        name: "1R".into(),
        force,
        sense,
        resistance,
        tolerance: 0.001,
        in_sweeps: true,
        certificate: None,
    };
    let sigma = 1e-4;
    for (sigmas, verdict) in [(3.8, Verdict::Pass), (4.2, Verdict::Fail), (-4.2, Verdict::Fail)] {
        let off: f64 = 0.001_f64.copysign(sigmas) + sigmas * sigma;
        let reading = reading(1.0 + off, 1.96 * sigma);
        assert_eq!(bench::standard(&standard, &reading), verdict, "{sigmas}");
    }
}

#[test]
fn a_silent_sense_contact_is_asked_about_and_one_that_touches_is_not() {
    let fixture = fixture();
    let pins = |point: PointId| fixture.pins(point);
    let supply = &fixture.board.supply;
    for (touches, asked) in [(true, 0), (false, 1)] {
        let contact = crate::evidence::SenseContact {
            channel: pins(supply.from).sense.unwrap(),
            plus: true,
            touches,
            lift: Volts::ZERO,
            contacts: Contacts {
                force_plus: pins(supply.from).force,
                force_minus: pins(supply.ret).force,
                ..Contacts::default()
            },
        };
        let evidence = Evidence::from_iter([run(ON, vec![Observation::SenseContact(contact)])]);
        assert_eq!(bench::questions(&fixture, &evidence, ON).len(), asked);
    }
}
