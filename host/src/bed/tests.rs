//! Beds against brute force, and against what a plan says of them.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use super::*;
use crate::board::{self, Board, SegmentId};
use crate::fixture::{self, Fixture, examples::EXAMPLES};
use crate::hypothesis::{Defect, Rates};
use crate::plan::{self, Sampling, forest::Forest, stretch::cover};
use proptest::prelude::*;

/// A board whose supply side is a tree: point `i` hangs on point `parents[i - 1]`; a grid of 6 mm keeps points apart.
fn tree(parents: &[usize], kinds: &[usize]) -> String {
    const KINDS: [&str; 4] = ["joint", "fuse", "ferrite", "inductor"];
    let count = parents.len() + 1;
    let leaves: Vec<String> =
        (1..count).filter(|i| !parents.contains(i)).map(|i| format!("\"p{i}\"")).collect();
    let mut text = format!(
        "format = 1\n[board]\nname = \"tree\"\nrevision = \"A\"\nthickness = \"1.6 mm\"\ncopper = \"35 um\"\n\
         outline = [[0, 0], [80, 0], [80, 80], [0, 80]]\n[supply]\nfrom = \"p0\"\nto = [{}]\nreturn = \"r\"\n\
         voltage = [\"2.0 V\", \"3.0 V\"]\nload = \"100 mA\"\nmax_drop = \"1.5 V\"\n[points]\n\"r\" = {{ at = [75, 75], side = \"front\", kind = \"pad\" }}\n",
        leaves.join(", ")
    );
    for i in 0..count {
        let (x, y) = (6 + 9 * (i % 8), 6 + 9 * (i / 8));
        let _ = writeln!(text, "\"p{i}\" = {{ at = [{x}, {y}], side = \"both\", kind = \"pad\" }}");
    }
    for (i, parent) in (1..).zip(parents) {
        let kind = KINDS[kinds[i - 1] % KINDS.len()];
        let _ = writeln!(
            text,
            "[[segment]]\nname = \"s{i}\"\nkind = \"{kind}\"\nfrom = \"p{parent}\"\nto = \"p{i}\"\ntypical = \"50 mohm\"\nmax = \"100 mohm\""
        );
    }
    text
}

fn read(text: &str) -> Board {
    board::parse("board.toml", text).unwrap_or_else(|problems| panic!("{problems}\n{text}"))
}

fn fixture_of(bed: &Bed, board: &Board) -> Fixture {
    let text = text::whole(bed, board, "board.toml");
    fixture::parse("fixture.toml", &text, board.clone())
        .unwrap_or_else(|problems| panic!("{problems}\n{text}"))
}

/// Expected number of segments read after one break, by what the plan's own walk covers.
fn by_the_plan(fixture: &Fixture) -> f64 {
    let board = &fixture.board;
    let opens = Rates::table().weights(board).into_iter();
    let opens: Vec<(SegmentId, f64)> = opens
        .filter_map(|(defect, weight)| match defect {
            Defect::Open(id) => Some((id, weight)),
            _ => None,
        })
        .collect();
    let sum: f64 = opens.iter().map(|(_, weight)| weight).sum();
    let read = |broken: SegmentId| {
        let forest = Forest::new(board, board.state_ids().next().unwrap(), &[broken]);
        let wanted: BTreeSet<_> = board.segment_ids().filter(|id| *id != broken).collect();
        let (_, unreached) = cover(&forest, fixture, &wanted);
        (wanted.len() - unreached.len()) as f64
    };
    opens.into_iter().map(|(id, weight)| weight / sum * read(id)).sum()
}

fn propose_with(board: &Board, force_channels: u16) -> Result<Bed, BedError> {
    let mut start = Start::new(board);
    start.force_channels = force_channels;
    start.standards[0].force = [0, 1];
    propose(board, start, Families::generic())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, ..ProptestConfig::default() })]

    /// On every tree small enough, no set of as many force pins reads more after a break than the one chosen, worked out by trying all.
    #[test]
    fn no_other_force_pins_are_better(
        seeds in prop::collection::vec(0..1000usize, 3..9),
        kinds in prop::collection::vec(0..4usize, 9),
        more in 0..4usize,
    ) {
        let parents: Vec<usize> = seeds.iter().enumerate().map(|(i, seed)| seed % (i + 1)).collect();
        let board = read(&tree(&parents, &kinds));
        let least = propose_with(&board, 40).unwrap();
        let needed = least.pins.iter().filter(|pin| pin.line == Line::Force && !pin.why.contains("after a break")).count();
        let bed = propose_with(&board, (needed + 2 + more) as u16).unwrap();
        let fixture = fixture_of(&bed, &board);
        let choice = bed.choice.clone().unwrap();
        prop_assert!(choice.optimal && choice.bound == choice.after);
        prop_assert!((by_the_plan(&fixture) - choice.after).abs() < 1e-6, "{} {}", by_the_plan(&fixture), choice.after);
        let forced = |point: usize| fixture.pins[point].force.is_some();
        let optional: Vec<usize> = (0..board.points.len())
            .filter(|&point| !bed.pins.iter().any(|pin| pin.point.index() == point && pin.line == Line::Force && !pin.why.contains("after a break")))
            .filter(|&point| fixture.pins[point].sense.is_some())
            .collect();
        let mut best: f64 = 0.0;
        for set in 0u32..1 << optional.len() {
            if set.count_ones() as usize > more {
                continue;
            }
            let mut other = fixture.clone();
            for (bit, &point) in optional.iter().enumerate() {
                other.pins[point].force = (set >> bit & 1 == 1).then_some(99);
            }
            best = best.max(by_the_plan(&other));
        }
        prop_assert!((best - choice.after).abs() < 1e-6, "{best} {} {}", choice.after, (0..board.points.len()).filter(|&p| forced(p)).count());
    }
}

/// What the choice says it reads is what the plan does not hide.
#[test]
fn what_is_uncovered_is_what_a_plan_shows() {
    for example in EXAMPLES {
        let board = board::parse("board.toml", example.board).unwrap();
        let bed = propose(&board, Start::new(&board), Families::generic()).unwrap();
        let fixture = fixture_of(&bed, &board);
        let plan = plan::compile(&fixture, &fixture.limits, Sampling::Quick).unwrap();
        let opens = Rates::table().weights(&board).into_iter();
        let opens: Vec<(SegmentId, f64)> = opens
            .filter_map(|(defect, weight)| match defect {
                Defect::Open(id) => Some((id, weight)),
                _ => None,
            })
            .collect();
        let sum: f64 = opens.iter().map(|(_, weight)| weight).sum();
        let hides = |id: SegmentId| {
            let lines = plan::hidden(&plan, &fixture);
            let lines = lines.into_iter().filter(|line| line.open == id).flat_map(|line| line.hides);
            lines.collect::<BTreeSet<_>>().len()
        };
        let count = board.segments.len() as f64 - 1.0;
        let read: f64 = opens.iter().map(|&(id, weight)| weight / sum * (count - hides(id) as f64)).sum();
        let choice = bed.choice.clone().unwrap();
        assert!((read - choice.after).abs() < 1e-6, "{}: {read} {choice:?}", board.name);
        assert!(choice.after >= choice.before && choice.bound >= choice.after && choice.all >= choice.bound);
        println!("{}: {choice:?}", board.name);
    }
}

/// No two pins of a plate stand nearer than their sizes allow, and none nearer than the drills.
#[test]
fn pins_keep_their_pitch() {
    for example in EXAMPLES {
        let board = board::parse("board.toml", example.board).unwrap();
        let bed = propose(&board, Start::new(&board), Families::generic()).unwrap();
        let list = bed.families.list();
        for (i, a) in bed.pins.iter().enumerate() {
            for b in &bed.pins[..i] {
                let room = (list[a.family].pitch_mm + list[b.family].pitch_mm) / 2.0;
                assert!(a.face != b.face || crate::plane::apart(a.at, b.at) > room - 1e-3, "{a:?} {b:?}");
            }
        }
        let mut channels: Vec<_> = bed.pins.iter().map(|pin| (pin.line, pin.channel)).collect();
        channels.sort();
        channels.dedup();
        assert_eq!(channels.len(), bed.pins.len(), "no channel twice");
    }
}

/// A fixture keeps its pins, their channels and its comments; what is added passes, too.
#[test]
fn a_fixture_that_is_there_is_kept() {
    for example in EXAMPLES {
        let fixture = example.read().unwrap();
        let bed = propose(&fixture.board, Start::of(&fixture), Families::generic()).unwrap();
        let text = text::with_new_pins(example.fixture, &bed, &fixture.board).unwrap();
        let again = fixture::parse("fixture.toml", &text, fixture.board.clone())
            .unwrap_or_else(|p| panic!("{p}\n{text}"));
        for (old, new) in fixture.pins.iter().zip(&again.pins) {
            assert!(old.force.is_none() || old.force == new.force);
            assert!(old.sense.is_none() || old.sense == new.sense);
        }
        assert_eq!((again.standards.len(), &again.name), (fixture.standards.len(), &fixture.name));
        assert!(text.starts_with(example.fixture.lines().next().unwrap()));
        // Proposed again, nothing changes.
        let twice = propose(&again.board, Start::of(&again), Families::generic()).unwrap();
        assert_eq!(text::with_new_pins(&text, &twice, &again.board).unwrap(), text);
    }
}

fn refused(text: &str, families: Families) -> String {
    let board = read(text);
    propose(&board, Start::new(&board), families).unwrap_err().to_string()
}

#[test]
fn what_cannot_be_made_is_told() {
    let text = tree(&[0, 1, 2], &[0; 9]);
    let over = |side: &str| {
        format!(
            "[[keep_out]]\nside = \"{side}\"\npolygon = [[13, 4], [17, 4], [17, 8], [13, 8]]\nwhy = \"a connector\"\n"
        )
    };
    let both = format!("{text}{}{}", over("front"), over("back"));
    assert!(
        refused(&both, Families::generic())
            .contains("point \"p1\" has to be touched, and a keep-out on the front covers it (a connector)"),
        "{}",
        refused(&both, Families::generic())
    );
    // Covered on one face, it is touched on the other, and so is everything else.
    let board = read(&format!("{text}{}", over("back")));
    let bed = propose(&board, Start::new(&board), Families::generic()).unwrap();
    assert!(bed.pins.iter().all(|pin| pin.face == Face::Front));

    let near =
        text.replace("\"p1\" = { at = [15, 6], side = \"both\"", "\"p1\" = { at = [6.2, 6], side = \"both\"");
    let stuck = near.replace("at = [24, 6]", "at = [6.4, 6]").replace("at = [33, 6]", "at = [6.2, 6.2]");
    assert!(refused(&stuck, Families::generic()).contains("mm apart, and the finest pins need 1.27 mm"));

    let parents: Vec<usize> = (0..50).collect();
    assert!(refused(&tree(&parents, &[0; 50]), Families::generic()).contains(
        "the board needs 52 sense pins, and 46 sense channels are free: a larger matrix is needed"
    ),);
}

/// Sixty-four pins, and a board with more segments than any bench reaches, do not take long.
#[test]
fn a_full_matrix_is_quick() {
    let parents: Vec<usize> = (0..44).map(|i| if i == 20 { 5 } else { i }).collect();
    let board = read(&tree(&parents, &(0..45).collect::<Vec<_>>()));
    let begun = std::time::Instant::now();
    let bed = propose_with(&board, 18).unwrap();
    println!("{} pins in {:?}: {:?}", bed.pins.len(), begun.elapsed(), bed.choice);
}
