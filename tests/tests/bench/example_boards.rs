//! The three example boards: readable, believable, and with limits that a healthy unit keeps.
#![allow(clippy::panic)] // helpers outside a test function may fail the test, too

use copperwalk::quantity::Ohms;
use std::path::PathBuf;

use copperwalk::board::graph::Graph;
use copperwalk::board::{Board, SegmentKind};
use copperwalk::fixture::{self, Fixture};
use copperwalk::limits::{LimitOrigin, LimitSet};
use copperwalk::problem::render;

const FOLDERS: [&str; 3] = ["tide-gauge-head", "trail-counter", "greenhouse-valve-driver"];

fn examples() -> Vec<Fixture> {
    FOLDERS.map(read).into()
}

fn read(folder: &str) -> Fixture {
    let path =
        PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures").join(folder).join("fixture.toml");
    fixture::read(&path).unwrap_or_else(|problems| panic!("{}", render(&problems, 100, false)))
}

fn paths(board: &Board) -> Vec<Ohms> {
    let reach = Graph::of(board).reach(board.supply.from, None);
    let typical = |path: Vec<_>| path.iter().map(|id| board.segment(*id).expected.typical).sum();
    board.supply.to.iter().filter_map(|load| reach.path(*load)).map(typical).collect()
}

#[test]
fn they_are_as_different_as_they_claim() {
    let [tide, trail, greenhouse] = examples().try_into().unwrap();
    assert_eq!(tide.board.segments.len(), 12);
    assert_eq!(tide.board.states.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["off", "on"]);
    assert!(trail.board.segments.iter().any(|s| matches!(s.kind, SegmentKind::Resettable { .. })));
    assert!(trail.board.segments.iter().any(|s| matches!(s.kind, SegmentKind::Shunt { .. })));
    assert!(trail.board.outline.len() > 4);
    assert!(greenhouse.board.segments.len() >= 30);
    assert_eq!(greenhouse.board.supply.to.len(), 2);
}

/// The load range's compliance of 1 V at 50 mA leaves 10 Ω for the path, Rm and contacts aside.
#[test]
fn every_path_fits_the_meter() {
    for example in examples() {
        for Ohms(ohms) in paths(&example.board) {
            assert!(ohms > 0.1 && ohms < 5.0, "{}: {ohms} Ω", example.board.name);
        }
    }
}

/// Healthy contacts age and healthy copper is etched thin: limits leave room for both. Of two barrels one
/// alone reads twice the pair and still carries the path (common practice), so a pair's limit lies above
/// twice its value.
#[test]
fn limits_leave_room_for_healthy_units() {
    for example in examples() {
        let limits = LimitSet::of_board(&example.board);
        for id in example.board.segment_ids() {
            let segment = example.board.segment(id);
            let (max, expected) = (limits.of(id).max, segment.expected);
            let name = format!("{}: {}", example.board.name, segment.name);
            match segment.kind {
                SegmentKind::Via { count: 2.., .. } => {
                    let times = max / expected.typical;
                    assert!((2.2..=3.0).contains(&times), "{name}: {times}");
                }
                _ if segment.kind.is_copper() => assert!(max >= 1.35 * expected.typical, "{name}"),
                _ if segment.kind.is_contact() => assert!(max >= 1.5 * expected.high, "{name}"),
                _ => assert!(max > expected.high, "{name}"),
            }
        }
        assert!(example.board.segment_ids().any(|id| limits.of(id).origin == LimitOrigin::Derived));
    }
}

/// The budget the file states is kept by the limits, stated and derived together.
#[test]
fn limits_keep_the_budget() {
    for Fixture { board, .. } in examples() {
        let budget = board.supply.max_drop / board.supply.load;
        let limits = LimitSet::of_board(&board);
        let reach = Graph::of(&board).reach(board.supply.from, None);
        for load in &board.supply.to {
            let path = reach.path(*load).unwrap();
            let sum: Ohms = path.iter().map(|id| limits.of(*id).max).sum();
            assert!(sum <= budget, "{}: {sum:?} of {budget:?}", board.name);
        }
    }
}
