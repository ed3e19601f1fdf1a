//! The hypotheses and the choice between questions, against what is published about both.

use copperwalk::{
    board::{Board, StateId},
    hypothesis::{
        Answer, Belief, Defect, Hypothesis, Look, Question, Rates,
        information::{Chooser, entropy},
    },
    limits::LimitSet,
    quantity::Ohms,
};
use copperwalk_tests::boards;

/// What two tips on an open read.
const ABOVE: Answer = Answer::AtLeast(Ohms(20e6));

fn ladder(segments: usize) -> Board {
    boards::ladder(segments).unwrap_or_else(|problems| panic!("{problems}")).board
}

/// Two tips on points `from` and `to` of a ladder.
fn tips(board: &Board, from: usize, to: usize) -> Look {
    let point = |number: usize| board.point_named(&format!("p{number}")).unwrap();
    let state: StateId = board.state_ids().next().unwrap();
    Look::two_points(board, state, [point(from), point(to)]).unwrap()
}

/// What a healthy part of a ladder reads, or that it is open.
fn said(board: &Board, look: &Look, opens: &[usize]) -> Answer {
    let open = |id: &copperwalk::board::SegmentId| {
        opens.iter().any(|open| board.segment(*id).name == format!("s{open}"))
    };
    if look.way().iter().any(open) {
        return ABOVE;
    }
    let usual: Ohms = look.way().iter().map(|&id| board.segment(id).expected.typical).sum();
    Answer::Reads { resistance: usual, standard: Ohms(1e-3) }
}

/// Every question that two tips can put to a ladder.
fn every(board: &Board) -> Vec<Look> {
    let count = board.segments.len();
    (0..count)
        .flat_map(|from| (from + 1..=count).map(move |to| (from, to)))
        .map(|(from, to)| tips(board, from, to))
        .collect()
}

/// Answers needed, each the most telling one, until a belief is sure; that something is open is known beforehand.
fn needed(
    board: &Board,
    limits: &LimitSet,
    opens: &[usize],
    questions: &[Look],
    sure: impl Fn(&Belief<'_>) -> bool,
) -> usize {
    let mut belief = Belief::new(board, limits, &Rates::table(), &[]);
    belief.see(Question::Look(tips(board, 0, board.segments.len())), ABOVE);
    for count in 0..64 {
        if sure(&belief) {
            return count;
        }
        let chooser = Chooser::new(&belief);
        let telling = |look: &&Look| chooser.information(&Question::Look((*look).clone()), Ohms(1e-3));
        let next = questions.iter().max_by(|a, b| telling(a).total_cmp(&telling(b))).unwrap().clone();
        let answer = said(board, &next, opens);
        belief.see(Question::Look(next), answer);
    }
    panic!("{opens:?} is not found");
}

fn open(board: &Board, number: usize) -> Defect {
    Defect::Open(board.segment_named(&format!("s{number}")).unwrap())
}

/// Is one open the only single one that is left? The trees below know of no others.
fn is_only_one(board: &Board, belief: &Belief<'_>, number: usize) -> bool {
    let single = |hypothesis: &Hypothesis| {
        (0..board.segments.len()).any(|number| *hypothesis == Hypothesis::one(open(board, number)))
    };
    let of = |wanted: &dyn Fn(&Hypothesis) -> bool| -> f64 {
        belief
            .weighed()
            .filter(|(hypothesis, _)| wanted(hypothesis))
            .map(|(_, probability)| probability)
            .sum()
    };
    of(&|hypothesis| *hypothesis == Hypothesis::one(open(board, number))) > 0.999 * of(&single)
}

/// Are two opens more probable than everything else together?
fn is_pair(board: &Board, belief: &Belief<'_>, [first, second]: [usize; 2]) -> bool {
    let (best, probability) = belief.posterior()[0];
    probability > 0.5 && best == Hypothesis::two(open(board, first), open(board, second))
}

/// Cover and Thomas, Elements of Information Theory, 2nd edition, section 5.3 and example 2.1.2 (from memory): eight horses that win
/// with these probabilities have an entropy of 2 bits, and a fair coin of 1.
#[test]
fn entropies_of_the_textbook() {
    let horses = [2.0, 4.0, 8.0, 16.0, 64.0, 64.0, 64.0, 64.0].map(|odds: f64| odds.recip());
    assert!((entropy(horses.into_iter()) - 2.0).abs() < 1e-12);
    assert!((entropy([0.5, 0.5].into_iter()) - 1.0).abs() < 1e-12);
    assert_eq!(entropy([1.0, 0.0].into_iter()), 0.0);
}

/// Mean depth of Huffman's tree (Huffman 1952): the least of any tree of yes and no over these weights.
fn huffman(mut weights: Vec<f64>) -> f64 {
    let mut depth = 0.0;
    while weights.len() > 1 {
        weights.sort_by(|a, b| b.total_cmp(a));
        let two = weights.pop().unwrap() + weights.pop().unwrap();
        depth += two;
        weights.push(two);
    }
    depth
}

/// Mean depth of the best tree whose questions are "is the open one within this stretch?", by trying all of them. `alive`: bit k for
/// segment k.
fn best_tree(weights: &[f64], alive: u32, known: &mut std::collections::HashMap<u32, f64>) -> f64 {
    if alive.count_ones() <= 1 {
        return 0.0;
    }
    if let Some(&depth) = known.get(&alive) {
        return depth;
    }
    let total: f64 = (0..weights.len()).filter(|bit| alive >> bit & 1 == 1).map(|bit| weights[bit]).sum();
    let mut least = f64::INFINITY;
    for from in 0..weights.len() {
        for to in from + 1..=weights.len() {
            let within = alive & ((1 << to) - (1 << from));
            if within != 0 && within != alive {
                let deeper = best_tree(weights, within, known) + best_tree(weights, alive & !within, known);
                least = least.min(total + deeper);
            }
        }
    }
    known.insert(alive, least);
    least
}

/// Shannon 1948, theorem 9 and Huffman 1952: no tree of yes and no is on average shallower than the entropy, the best one is less than a
/// bit deeper. The most telling question each time comes within a tenth of the best tree of its questions.
#[test]
fn the_greedy_rule_keeps_close_to_the_best_tree() {
    for segments in 2..=8 {
        let board = ladder(segments);
        let limits = LimitSet::of_board(&board);
        let belief = Belief::new(&board, &limits, &Rates::table(), &[]);
        let weight = |number: usize| {
            belief
                .weighed()
                .find(|(hypothesis, _)| **hypothesis == Hypothesis::one(open(&board, number)))
                .map(|(_, p)| p)
                .unwrap()
        };
        let total: f64 = (0..segments).map(weight).sum();
        let weights: Vec<f64> = (0..segments).map(|number| weight(number) / total).collect();
        let bits = entropy(weights.iter().copied());
        let least = huffman(weights.clone());
        let best = best_tree(&weights, (1 << segments) - 1, &mut Default::default());
        assert!(
            bits <= least + 1e-12 && least < bits + 1.0 && least <= best + 1e-12,
            "{bits} {least} {best}"
        );
        let questions = every(&board);
        let of_one = |number| {
            needed(&board, &limits, &[number], &questions, |belief| is_only_one(&board, belief, number))
        };
        let greedy: f64 = (0..segments).map(|open| weights[open] * (of_one(open) as f64)).sum();
        println!(
            "{segments} segments: {bits:.2} bits, Huffman {least:.2}, best {best:.2}, greedy {greedy:.2}"
        );
        assert!(greedy <= 1.1 * best + 1e-9, "{segments}: {greedy} against {best}");
    }
}

/// Hwang 1972, "A method for detecting all defective members in a population by group testing" (from memory): d defectives among n are
/// found by at most ⌈log2 C(n, d)⌉ + d − 1 tests. Two tips can only ask about stretches, and nothing says beforehand that there are two: one
/// more test on average.
#[test]
fn pairs_of_opens_keep_to_hwangs_bound() {
    for segments in [6, 8, 12] {
        let board = ladder(segments);
        let limits = LimitSet::of_board(&board);
        let questions = every(&board);
        let pairs: Vec<[usize; 2]> = (0..segments)
            .flat_map(|a| (a + 1..segments).map(move |b| [a, b]))
            .step_by(segments / 4)
            .collect();
        let of_pair = |pair: &[usize; 2]| {
            needed(&board, &limits, pair, &questions, |belief| is_pair(&board, belief, *pair))
        };
        let counts: Vec<usize> = pairs.iter().map(of_pair).collect();
        let mean = counts.iter().sum::<usize>() as f64 / counts.len() as f64;
        let ways = (segments * (segments - 1) / 2) as f64;
        let bound = ways.log2().ceil() + 1.0;
        println!("{segments} segments: {mean:.2} of {bound} by Hwang, at most {:?}", counts.iter().max());
        assert!(mean <= bound + 1.0, "{segments}: {mean}");
    }
}

/// Laplace's rule of succession in its general form (Gelman et al., Bayesian Data Analysis, 3rd edition, 2.4, from memory): a beta prior of
/// weight a + b and k of n counted have the mean (a + k)/(a + b + n). The table has 20 units, of which a fifth is good.
#[test]
fn what_a_lot_teaches_is_counted_like_the_table() {
    let board = ladder(4);
    let nothing = Rates::of_lot(&board, std::iter::empty(), 0, 0);
    assert_eq!(nothing, Rates::table());
    assert!((nothing.healthy() - 0.2).abs() < 1e-12);
    let lot = Rates::of_lot(&board, std::iter::empty(), 10, 40);
    assert!((lot.healthy() - (4.0 + 30.0) / (20.0 + 40.0)).abs() < 1e-12);
    // Thirty opens in vias: a via's open has the table's share and half of them, since there are two like it.
    let open = |rates: &Rates, name: &str| {
        let id = board.segment_named(name).unwrap();
        rates.weights(&board).into_iter().find(|(defect, _)| *defect == Defect::Open(id)).unwrap().1
    };
    let taught = Rates::of_lot(&board, [("s1", copperwalk::verdict::Class::Open, 30)].into_iter(), 30, 30);
    for name in ["s1", "s3"] {
        assert!((open(&taught, name) - open(&Rates::table(), name) - 15.0).abs() < 1e-12);
    }
    assert_eq!(open(&taught, "s0"), open(&Rates::table(), "s0"));
}
