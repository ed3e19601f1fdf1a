//! The machine with a scripted policy and scripted reports.

use std::{cell::RefCell, rc::Rc};

use copperwalk_wire::{
    codes::possible_counts,
    contact::NOMINAL_BIAS,
    message::{Fault, ShotEnd},
};

use super::*;
use crate::link::RanShot;

fn fixture() -> Fixture {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../fixtures/tide-gauge-head/fixture.toml");
    crate::fixture::read(path.as_ref()).unwrap()
}

/// Makes its moves one after the other, then again and again if it is endless, and keeps what it was told.
struct Script {
    moves: Vec<Move>,
    at: usize,
    endless: bool,
    told: Rc<RefCell<Vec<Option<Ended>>>>,
}

impl Policy for Script {
    fn next(&mut self, so_far: SoFar<'_>) -> Move {
        self.told.borrow_mut().push(so_far.ended);
        self.at += 1;
        let at = if self.endless { 0 } else { self.at - 1 };
        self.moves.get(at).cloned().unwrap_or(Move::Done)
    }
}

/// A run of so many bleeds: shots that give no codes.
fn run(fixture: &Fixture, shots: usize) -> Move {
    let supply = &fixture.board.supply;
    let mut builder = Builder::new(fixture, Sampling::Quick);
    (0..shots).for_each(|_| builder.bleed(supply.from, supply.ret, Farads(1e-6)));
    Move::Run { purpose: Purpose::Plan, shots: builder.finish() }
}

/// A report of the first so many shots. Contacts touch, or do not.
fn report(request: &Request, count: usize, touches: bool, end: RunEnd) -> RunReport {
    let alone = if touches { NOMINAL_BIAS } else { 0x7F_FFFF };
    let codes = |planned: &PlannedShot| match planned.role {
        Role::Residual => vec![NOMINAL_BIAS, alone, alone, 0],
        _ => vec![0; possible_counts(&planned.shot).least],
    };
    let shots = request.shots[..count]
        .iter()
        .map(|planned| RanShot { codes: codes(planned), why: ShotEnd::Complete, span_us: (0, 1) })
        .collect();
    RunReport { shots, end, closures: 0, device_us: 1 }
}

/// Drives a machine through scripted ends; gives the purposes of its runs and what the policy was told.
fn driven(moves: Vec<Move>, ends: &[(RunEnd, bool)]) -> (Vec<Purpose>, Vec<Option<Ended>>) {
    let (fixture, told) = (fixture(), Rc::new(RefCell::new(Vec::new())));
    let policy = Script { moves, at: 0, endless: false, told: told.clone() };
    let mut machine = Machine::new(&fixture, policy, 512, Evidence::default());
    let mut ends = ends.iter().copied();
    let mut purposes = Vec::new();
    while let Step::Run(request) = machine.step() {
        assert_eq!(machine.step(), Step::Run(request.clone()), "the same until it is done");
        purposes.push(request.purpose);
        let (end, touches) = match request.purpose {
            Purpose::Plan => ends.next().unwrap_or((RunEnd::Complete, true)),
            _ => (RunEnd::Complete, true),
        };
        let count = if matches!(end, RunEnd::Residual | RunEnd::NoContact) { 1 } else { request.shots.len() };
        machine.ran(report(&request, count, touches, end)).unwrap();
    }
    assert_eq!(machine.step(), Step::Done);
    let told = told.borrow().clone();
    (purposes, told)
}

/// Its name, how the runs end and whether contacts touch, the purposes of the runs, what the policy is told.
type Case<'c> = (&'c str, &'c [(RunEnd, bool)], &'c [Purpose], Vec<Option<Ended>>);

#[test]
fn every_end_of_a_run_leads_to_what_the_drawing_says() {
    use Purpose::{Bleed, Diagnosis, Plan};
    let (complete, residual) = ((RunEnd::Complete, true), (RunEnd::Residual, true));
    let (silent, broken) = ((RunEnd::NoContact, false), (RunEnd::Fault(Fault::Lid), true));
    let asked = |end| Some(Ended { end, shots: 2 });
    let cases: [Case<'_>; 6] = [
        ("complete", &[complete], &[Plan], vec![None, asked(RunEnd::Complete)]),
        ("gate", &[(RunEnd::Gate, true)], &[Plan], vec![None, asked(RunEnd::Gate)]),
        ("charged", &[residual, complete], &[Plan, Bleed, Plan], vec![None, asked(RunEnd::Complete)]),
        ("battery", &[residual; 3], &[Plan, Bleed, Plan, Bleed, Plan], vec![None]),
        (
            "silent terminals",
            &[silent; 3],
            &[Plan, Bleed, Plan, Bleed, Plan, Diagnosis, Diagnosis],
            vec![None],
        ),
        ("broken controller", &[broken], &[Plan], vec![None]),
    ];
    for (name, ends, purposes, told) in cases {
        assert_eq!(driven(vec![run(&fixture(), 2)], ends), (purposes.to_vec(), told), "{name}");
    }
}

#[test]
fn a_run_that_says_nothing_ends_and_names_the_bench() {
    let fixture = fixture();
    let plan =
        crate::plan::compile(&fixture, &crate::limits::LimitSet::of_board(&fixture.board), Sampling::Quick)
            .unwrap();
    let mut machine =
        Machine::new(&fixture, planned::Planned::new(&fixture, &plan), 512, Evidence::default());
    loop {
        match machine.step() {
            Step::Place(_) => machine.placed(),
            Step::Run(_) => {
                let nothing =
                    RunReport { shots: Vec::new(), end: RunEnd::NoContact, closures: 0, device_us: 0 };
                machine.ran(nothing).unwrap();
            }
            Step::Done => break,
        }
    }
    let runs = machine.finish();
    assert!(runs.len() <= 5, "{} runs", runs.len());
    let mut evidence = Evidence::default();
    runs.iter().for_each(|run| evidence.add(&fixture, run).unwrap());
    assert_eq!(bench::findings(&fixture, &plan, &evidence), [bench::BenchFinding::UnsteadySupply]);
}

#[test]
fn what_does_not_fit_the_controller_is_made_in_parts_each_with_its_check() {
    let (fixture, told) = (fixture(), Rc::new(RefCell::new(Vec::new())));
    let policy = Script { moves: vec![run(&fixture, 7)], at: 0, endless: false, told: told.clone() };
    let mut machine = Machine::new(&fixture, policy, 4, Evidence::default());
    let mut parts = Vec::new();
    while let Step::Run(request) = machine.step() {
        assert_eq!(request.shots[0].role, Role::Residual);
        parts.push(request.shots.len());
        // The last part ends at a gate after its first shot.
        let last = parts.len() == 3;
        let (count, end) = if last { (2, RunEnd::Gate) } else { (request.shots.len(), RunEnd::Complete) };
        machine.ran(report(&request, count, true, end)).unwrap();
    }
    assert_eq!(parts, [4, 4, 2]);
    assert_eq!(told.borrow().last(), Some(&Some(Ended { end: RunEnd::Gate, shots: 7 })));
}

#[test]
fn runs_without_an_end_are_ended() {
    let fixture = fixture();
    let policy = Script { moves: vec![run(&fixture, 1)], at: 0, endless: true, told: Rc::default() };
    let mut machine = Machine::new(&fixture, policy, 512, Evidence::default());
    for made in 0..=MOST_RUNS {
        let Step::Run(request) = machine.step() else { panic!("ended by itself") };
        let ran = machine.ran(report(&request, request.shots.len(), true, RunEnd::Complete));
        assert_eq!(ran.is_err(), made == MOST_RUNS, "after {made} runs");
    }
}
