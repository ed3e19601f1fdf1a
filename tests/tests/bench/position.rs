//! The look at a unit's switches: the bench sees in which state a unit is, and says nothing where it cannot.

use copperwalk::{
    fixture::{Fixture, examples::EXAMPLES},
    link::Session,
    position::{Position, conducts, position, probes},
    virtual_bench::{Spec, VirtualBench, trace},
};

/// What a look says of every state, after the unit was put into one.
fn looks(fixture: &Fixture, spec: &Spec) -> Vec<Vec<Position>> {
    let mut bench = Session::open(VirtualBench::new(fixture, spec).unwrap()).unwrap();
    let probes = probes(fixture);
    let states: Vec<_> = fixture.board.state_ids().collect();
    let look = |placed| {
        bench.transport_mut().place(placed);
        let shots: Vec<_> = probes.iter().map(|probe| probe.shot).collect();
        let report = bench.run(&shots).unwrap();
        let contacts: Vec<_> = probes
            .iter()
            .zip(&report.shots)
            .map(|(probe, ran)| conducts(probe, &ran.codes).unwrap())
            .collect();
        states.iter().map(|state| position(fixture, &probes, &contacts, *state)).collect()
    };
    states.clone().into_iter().map(look).collect()
}

#[test]
fn the_bench_sees_which_state_a_sound_unit_is_in() {
    for example in EXAMPLES {
        let fixture = example.read().unwrap();
        for seed in 0..20 {
            let seen = looks(&fixture, &Spec::new(seed));
            for (placed, says) in seen.iter().enumerate() {
                for (asked, says) in says.iter().enumerate() {
                    let expected = if placed == asked { Position::There } else { Position::Elsewhere };
                    assert_eq!(*says, expected, "{}, seed {seed}: in {placed}, asked {asked}", fixture.name);
                }
            }
        }
    }
}

#[test]
fn an_open_elsewhere_on_the_path_hides_no_switch() {
    let fixture = EXAMPLES[0].read().unwrap();
    let broken = fixture.board.segments.iter().filter(|segment| segment.closed.is_none());
    for segment in broken {
        let spec = Spec::new(7).fault(format!("{}=open", segment.name));
        let seen = looks(&fixture, &spec);
        assert_eq!(seen[0], [Position::There, Position::Elsewhere], "{}", segment.name);
        assert_eq!(seen[1], [Position::Elsewhere, Position::There], "{}", segment.name);
    }
}

#[test]
fn a_switch_that_is_broken_is_never_seen_closed_and_a_worn_one_is() {
    let fixture = EXAMPLES[0].read().unwrap();
    let seen = looks(&fixture, &Spec::new(3).fault("power switch=open"));
    assert_eq!(seen[1], [Position::There, Position::Elsewhere], "it still reads open");
    let seen = looks(&fixture, &Spec::new(3).fault("power switch=330 ohm"));
    assert_eq!(seen[1], [Position::Elsewhere, Position::There]);
}

#[test]
fn a_look_drives_nothing_through_the_unit() {
    for example in EXAMPLES {
        let fixture = example.read().unwrap();
        let mut bench = Session::open(VirtualBench::new(&fixture, &Spec::new(1)).unwrap()).unwrap();
        bench.transport_mut().keep_trace(true);
        let shots: Vec<_> = probes(&fixture).iter().map(|probe| probe.shot).collect();
        bench.run(&shots).unwrap();
        let trace = bench.transport().trace();
        let excited = |event: &trace::Event| matches!(event.what, trace::Change::Excitation { on: true });
        assert!(!trace.is_empty() && !trace.iter().any(excited));
    }
}
