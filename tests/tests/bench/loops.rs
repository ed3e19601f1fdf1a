//! Segments on loops: what force pins can tell of them, what Kirchhoff's law says of each, and a return of loops swept on the modelled
//! bench.

use copperwalk::{
    board::SegmentId,
    fixture::Fixture,
    measure::kirchhoff::{self, Reading},
    mesh::{self, circuit::Circuit},
    plan::Sampling,
    problem::Problems,
    quantity::{Amps, Ohms},
    random::Rng,
    sweep::{BenchFault, SegmentRow, Sweep},
    verdict::{Class, Verdict},
    virtual_bench::{
        Parts, Spec,
        network::{Network, Sources},
    },
};
use copperwalk_tests::{
    attack::times,
    boards::{net, net_text},
    campaign::{Bed, in_parallel},
};

fn close(a: f64, b: f64, relative: f64) {
    assert!((a / b - 1.0).abs() <= relative, "{a} is not {b}");
}

/// Resistance between two nodes of equal resistors of 1 Ω, by the circuit that the judge uses, and as the fit finds it from voltages that
/// the modelled bench's own solver made.
fn between(circuit: &Circuit, ends: [usize; 2]) -> f64 {
    let ones = vec![1.0; circuit.branches.len()];
    let solved = circuit.with(&ones).unwrap();
    let readings = voltages(circuit, &ones, &all_currents(circuit.nodes), 1e-9);
    // What is expected to be healthy is far off.
    let healthy: Vec<f64> = (0..ones.len()).map(|i| [0.3, 1.7, 2.2][i % 3]).collect();
    let fit = kirchhoff::fit(circuit, &healthy, &readings, &[]).unwrap();
    close(fit.between(ends).value, solved.between(ends), 1e-9);
    solved.between(ends)
}

fn all_currents(nodes: usize) -> Vec<[usize; 2]> {
    (1..nodes).map(|node| [0, node]).collect()
}

/// The voltage over every branch with these currents, by the modelled bench's solver, which has nothing in common with the judge's.
fn voltages(circuit: &Circuit, siemens: &[f64], currents: &[[usize; 2]], sigma: f64) -> Vec<Reading> {
    let mut network = Network::new(circuit.nodes);
    for (&[a, b], siemens) in circuit.branches.iter().zip(siemens) {
        network.resistor(a, b, Ohms(siemens.recip()));
    }
    let factored = network.factor();
    let mut readings = Vec::new();
    for &current in currents {
        let mut sources = Sources::default();
        sources.current(current[0], Amps(1.0));
        sources.current(current[1], Amps(-1.0));
        let at = factored.solve(&sources);
        readings.extend(circuit.branches.iter().map(|&between| Reading {
            current,
            between,
            ohms: (at[between[0]] - at[between[1]]).0,
            sigma,
        }));
    }
    readings
}

/// Source: the textbook cube of equal resistors: edge 7/12, face diagonal 3/4, body diagonal 5/6 of one.
#[test]
fn a_cube_of_resistors() {
    let branches =
        (0..8).flat_map(|corner| [1, 2, 4].map(|axis| [corner, corner ^ axis])).filter(|[a, b]| a < b);
    let cube = Circuit { nodes: 8, branches: branches.collect() };
    close(between(&cube, [0, 1]), 7.0 / 12.0, 1e-12);
    close(between(&cube, [0, 3]), 3.0 / 4.0, 1e-12);
    close(between(&cube, [0, 7]), 5.0 / 6.0, 1e-12);
}

/// Source: resistances of the Platonic solids (from memory: van Steenwijk, 1998): between neighbours of an octahedron of equal resistors
/// 5/12, between opposite corners 1/2 of one.
#[test]
fn an_octahedron_of_resistors() {
    // Corners 2i and 2i + 1 lie opposite each other.
    let branches = (0..6).flat_map(|a| (a + 1..6).map(move |b| [a, b])).filter(|[a, b]| a / 2 != b / 2);
    let octahedron = Circuit { nodes: 6, branches: branches.collect() };
    assert_eq!(octahedron.branches.len(), 12);
    close(between(&octahedron, [0, 2]), 5.0 / 12.0, 1e-12);
    close(between(&octahedron, [0, 1]), 1.0 / 2.0, 1e-12);
}

/// Source: the endless ladder of equal resistors has (1 + √5)/2 of one; a dozen sections differ from it by 0.618¹²·⁴, 1 in 10¹⁰.
#[test]
fn a_ladder_of_resistors() {
    let sections = 12;
    let branches = (0..sections).flat_map(|i| [[i, i + 1], [i + 1, sections + 1]]);
    let ladder = Circuit { nodes: sections + 2, branches: branches.collect() };
    close(between(&ladder, [0, sections + 1]), 0.5 * (1.0 + 5.0_f64.sqrt()), 1e-9);
}

/// Effective resistances of graphs drawn by a rule that is the same here and there, by NetworkX 3.6.1 with SciPy 1.17.1:
///
/// ```python
/// import networkx as nx
/// def draw(seed, nodes, chords):
///     state = seed
///     def number():
///         nonlocal state
///         state = (1103515245 * state + 12345) % 2**31
///         return state // 65536
///     graph = nx.Graph()
///     for node in range(1, nodes):
///         graph.add_edge(node, number() % node, ohms=(1 + number() % 1000) / 1000)
///     while graph.number_of_edges() < nodes - 1 + chords:
///         a, b, ohms = number() % nodes, number() % nodes, (1 + number() % 1000) / 1000
///         if a != b and not graph.has_edge(a, b): graph.add_edge(a, b, ohms=ohms)
///     return graph
/// for seed, nodes, chords in [(1, 6, 4), (2, 10, 12), (3, 25, 12), (4, 40, 60)]:
///     graph = draw(seed, nodes, chords)
///     print(nx.resistance_distance(graph, 0, nodes - 1, weight="ohms", invert_weight=True))
/// ```
#[test]
fn random_graphs_as_networkx_has_them() {
    for (seed, nodes, chords, ohms) in [
        (1, 6, 4, 0.251_836_750_636_847_24),
        (2, 10, 12, 0.096_189_739_370_298_26),
        (3, 25, 12, 0.363_121_474_509_602_97),
        (4, 40, 60, 0.457_414_601_572_585_9),
    ] {
        let mut state: u64 = seed;
        let mut number = || {
            state = (1_103_515_245 * state + 12_345) % (1 << 31);
            (state / 65_536) as usize
        };
        let (mut branches, mut siemens) = (Vec::<[usize; 2]>::new(), Vec::new());
        for node in 1..nodes {
            branches.push([node, number() % node]);
            siemens.push(1e3 / (1 + number() % 1000) as f64);
        }
        while branches.len() < nodes - 1 + chords {
            let (a, b, milliohms) = (number() % nodes, number() % nodes, 1 + number() % 1000);
            if a != b && !branches.contains(&[a, b]) && !branches.contains(&[b, a]) {
                branches.push([a, b]);
                siemens.push(1e3 / milliohms as f64);
            }
        }
        let circuit = Circuit { nodes, branches };
        close(circuit.with(&siemens).unwrap().between([0, nodes - 1]), ohms, 1e-9);
    }
}

/// Gauss and Markov: the covariance that is stated is that of the estimates over repeated readings, errors in common included.
#[test]
fn the_stated_covariance_is_that_of_repeated_readings() {
    let circuit =
        Circuit { nodes: 5, branches: vec![[0, 1], [1, 2], [2, 3], [3, 4], [4, 0], [0, 2], [1, 3]] };
    let siemens = [200.0, 90.0, 400.0, 150.0, 60.0, 250.0, 30.0];
    let sigma = 4e-6;
    let exact = voltages(&circuit, &siemens, &[[0, 3], [1, 4], [2, 4]], sigma);
    // One error for each current, and one of the pin at node 2.
    let mut shared: Vec<kirchhoff::Shared> = Vec::new();
    for current in [[0, 3], [1, 4], [2, 4]] {
        shared.push(exact.iter().map(|read| if read.current == current { 8e-6 } else { 0.0 }).collect());
    }
    let pin = |read: &Reading| {
        let end = f64::from(u8::from(read.between[0] == 2)) - f64::from(u8::from(read.between[1] == 2));
        end * 10e-6
    };
    shared.push(exact.iter().map(pin).collect());
    let mut rng = Rng::new(11);
    let draws = 4000;
    let (mut sums, mut squares, mut chi_square) = ([0.0; 7], [0.0; 7], 0.0);
    let mut stated = [0.0; 7];
    for _ in 0..draws {
        let in_common: Vec<f64> = shared.iter().map(|_| rng.normal()).collect();
        let mut readings = exact.clone();
        for (i, reading) in readings.iter_mut().enumerate() {
            let common: f64 = shared.iter().zip(&in_common).map(|(shared, draw)| shared[i] * draw).sum();
            reading.ohms += sigma * rng.normal() + common;
        }
        let fit = kirchhoff::fit(&circuit, &siemens, &readings, &shared).unwrap();
        chi_square += fit.chi_square / fit.freedom;
        for branch in 0..siemens.len() {
            let found = fit.resistance(branch);
            let off = found.value * siemens[branch] - 1.0;
            sums[branch] += off;
            squares[branch] += off * off;
            let mut variance: f64 = found.weights.iter().map(|weight| (weight * sigma).powi(2)).sum();
            for shared in &shared {
                let part: f64 =
                    shared.iter().zip(&found.weights).map(|(shared, weight)| shared * weight).sum();
                variance += part * part;
            }
            stated[branch] += variance * siemens[branch].powi(2);
        }
    }
    let draws = f64::from(draws);
    for branch in 0..siemens.len() {
        let mean = sums[branch] / draws;
        let (variance, stated) = (squares[branch] / draws - mean * mean, stated[branch] / draws);
        // A variance of 4000 draws is known to 2.2 %, its root to 1.1 %.
        close(variance.sqrt(), stated.sqrt(), 0.045);
        assert!(mean.abs() < 4.0 * (stated / draws).sqrt() + 0.3 * stated, "{branch}: {mean}");
    }
    close(chi_square / draws, 1.0, 0.03);
}

/// A net of points on a random tree, with so many further traces; lengths of 4 to 60 mm.
fn random_net(rng: &mut Rng) -> (usize, Vec<(usize, usize, f64)>) {
    let points = 4 + (rng.unit() * 9.0) as usize;
    let loops = 1 + (rng.unit() * 12.0) as usize;
    let mut pick = |below: usize| (rng.unit() * below as f64) as usize;
    let mut joined: Vec<[usize; 2]> = (1..points).map(|point| [pick(point), point]).collect();
    for _ in 0..200 {
        let (a, b) = (pick(points), pick(points));
        let pair = [a.min(b), a.max(b)];
        if joined.len() < points - 1 + loops && a != b && !joined.contains(&pair) {
            joined.push(pair);
        }
    }
    let traces = joined.into_iter().map(|[a, b]| (a, b, rng.decades(4.0, 60.0)));
    (points, traces.collect())
}

/// The points that a refused fixture names for a force pin.
fn named(problems: &Problems, points: usize) -> Vec<usize> {
    let text = problems.to_string();
    (0..points).filter(|point| text.contains(&format!("\"g{point}\" = {{ force = …"))).collect()
}

/// How well currents between forced points tell the traces that lie on loops, found another way: the voltages' changes with each trace's
/// conductance, by differences and the modelled bench's solver, and what elimination leaves of the column that the others explain
/// best, over the longest. Where something is not told at all it is rounding.
fn least_told(points: usize, traces: &[(usize, usize, f64)], forced: &[usize]) -> f64 {
    let circuit = Circuit { nodes: points, branches: traces.iter().map(|&(a, b, _)| [a, b]).collect() };
    let siemens: Vec<f64> = traces.iter().map(|(.., length)| 1e3 / length).collect();
    let ports: Vec<usize> = [&[0, points - 1], forced].concat();
    let currents: Vec<[usize; 2]> =
        ports[1..].iter().filter(|port| **port != 0).map(|&port| [0, port]).collect();
    let read = |siemens: &[f64]| -> Vec<f64> {
        voltages(&circuit, siemens, &currents, 1.0).iter().map(|reading| reading.ohms).collect()
    };
    let on_loop: Vec<usize> = (0..traces.len()).filter(|&trace| is_on_loop(&circuit, trace)).collect();
    let mut columns: Vec<Vec<f64>> = on_loop
        .iter()
        .map(|&trace| {
            let changed = |factor: f64| {
                let mut changed = siemens.clone();
                changed[trace] *= factor;
                read(&changed)
            };
            let (more, less) = (changed(1.001), changed(0.999));
            more.iter().zip(&less).map(|(more, less)| (more - less) / 0.002).collect()
        })
        .collect();
    // Gram and Schmidt, the longest first: what is left of a column that others make up is rounding.
    let longest = columns.iter().map(|column| norm(column)).fold(0.0, f64::max);
    if longest == 0.0 {
        return 0.0;
    }
    let mut least = 1.0_f64;
    while !columns.is_empty() {
        let at = (0..columns.len()).max_by(|&a, &b| norm(&columns[a]).total_cmp(&norm(&columns[b]))).unwrap();
        let pivot = columns.swap_remove(at);
        least = least.min(norm(&pivot) / longest);
        for column in &mut columns {
            let along: f64 =
                column.iter().zip(&pivot).map(|(a, b)| a * b).sum::<f64>() / norm(&pivot).powi(2);
            column.iter_mut().zip(&pivot).for_each(|(a, b)| *a -= along * b);
        }
    }
    least
}

fn norm(column: &[f64]) -> f64 {
    column.iter().map(|value| value * value).sum::<f64>().sqrt()
}

/// Are the ends of a branch still joined without it?
fn is_on_loop(circuit: &Circuit, branch: usize) -> bool {
    let [from, to] = circuit.branches[branch];
    let mut reached = vec![from];
    let mut at = 0;
    while at < reached.len() {
        for (other, &[a, b]) in circuit.branches.iter().enumerate() {
            for (here, there) in [(a, b), (b, a)] {
                if other != branch && here == reached[at] && !reached.contains(&there) {
                    reached.push(there);
                }
            }
        }
        at += 1;
    }
    reached.contains(&to)
}

/// A fixture is refused exactly where its force pins leave something untold, and with the pins that the message names it is not.
#[test]
fn force_pins_that_do_not_tell_a_loop_are_refused_and_the_missing_ones_named() {
    let count = times(150, 500);
    let found = in_parallel(count, |seed| {
        let mut rng = Rng::new(seed as u64);
        let (points, traces) = random_net(&mut rng);
        let degree = |point| traces.iter().filter(|(a, b, _)| [*a, *b].contains(&point)).count();
        // The ends of branches have a force pin anyway.
        let forced: Vec<usize> =
            (1..points - 1).filter(|&point| degree(point) == 1 || rng.unit() < 0.2).collect();
        let least = least_told(points, &traces, &forced);
        match net(points, &traces, &forced) {
            Ok(_) => {
                assert!(least > 1e-5, "seed {seed} was accepted: {least}");
                true
            }
            Err(problems) => {
                // What changes no voltage by a thousandth of what the others do is not told on any bench either.
                assert!(least < 1e-3, "seed {seed}: {problems}: {least}");
                assert!(problems.to_string().contains("tell the segments of a loop apart"), "{problems}");
                let more = named(&problems, points);
                assert!(!more.is_empty(), "seed {seed}: {problems}");
                let forced = [&forced[..], &more].concat();
                assert!(net(points, &traces, &forced).is_ok(), "seed {seed}: with {more:?}");
                false
            }
        }
    });
    let told = found.iter().filter(|told| **told).count();
    println!("{count} nets: {told} told, {} refused with the pins that are missing", count - told);
    assert!(told > count / 20 && told < count - count / 20);
}

/// A net whose force pins tell everything well: a random one, with the pins that checking it asks for.
fn told_net(seed: u64) -> Fixture {
    let mut rng = Rng::new(1_000_000 + seed);
    let (points, traces) = random_net(&mut rng);
    let everywhere: Vec<usize> = (0..points).collect();
    let board = net(points, &traces, &everywhere).unwrap().board;
    let number = |id| (0..points).find(|point| board.point_named(&format!("g{point}")) == Some(id));
    let degree = |point| traces.iter().filter(|(a, b, _)| [*a, *b].contains(&point)).count();
    let mut forced: Vec<usize> = (1..points - 1).filter(|&point| degree(point) == 1).collect();
    let terminals = ["in", "load", "ret", "gnd"].map(|name| board.point_named(name));
    loop {
        let is_forced =
            |id| terminals.contains(&Some(id)) || number(id).is_some_and(|point| forced.contains(&point));
        let more: Vec<usize> = mesh::lacks(&board, is_forced)
            .iter()
            .flat_map(|lack| &lack.points)
            .filter_map(|&id| number(id))
            .collect();
        if more.is_empty() {
            return net(points, &traces, &forced).unwrap();
        }
        forced.extend(more);
    }
}

fn in_mesh(fixture: &Fixture, row: &SegmentRow) -> bool {
    let id = fixture.board.segment_named(&row.name).unwrap();
    let only = fixture.board.state_ids().next().unwrap();
    let places = mesh::places(&fixture.board, only, &[], |_| false);
    places.iter().any(|place| place.mesh.segments.contains(&id))
}

/// Sweeps of random nets with up to twelve loops on modelled benches whose figures are drawn over their whole published bands, as the
/// intervals take them to be: how often the truth lies inside.
#[test]
fn intervals_of_random_nets_hold_the_truth() {
    let count = times(60, 500);
    let found = in_parallel(count, |seed| {
        let bed = Bed::new(told_net(seed as u64), Sampling::Quick);
        let (sweep, truth) = bed.sweep(&Spec { parts: Parts::Hostile, ..Spec::new(seed as u64) });
        let judgement = &sweep.judgement;
        assert_ne!(judgement.verdict, Verdict::Fail, "seed {seed}: {judgement:#?}");
        assert_ne!(judgement.verdict, Verdict::Void, "seed {seed}: {judgement:#?}");
        let (mut inside, mut values, mut relative, mut untold) = (0, 0, 0.0, 0);
        for row in judgement.segments.iter().filter(|row| in_mesh(&bed.fixture, row)) {
            let (Some(value), Some(u95)) = (row.at_20c, row.u95) else {
                assert!(row.verdict == Verdict::Unproven && row.reason.is_some(), "{row:?}");
                untold += 1;
                continue;
            };
            let id = bed.fixture.board.segment_named(&row.name).unwrap();
            let real = truth.segment_at_20c(id);
            values += 1;
            inside += usize::from((value - real).abs() <= u95);
            relative += u95 / real;
        }
        (inside, values, relative, untold, judgement.verdict == Verdict::Pass)
    });
    let sum = |of: fn(&(usize, usize, f64, usize, bool)) -> usize| found.iter().map(of).sum::<usize>();
    let (inside, values, untold, passed) =
        (sum(|net| net.0), sum(|net| net.1), sum(|net| net.3), sum(|net| usize::from(net.4)));
    let relative = found.iter().map(|net| net.2).sum::<f64>() / values as f64;
    let share = 100.0 * inside as f64 / values as f64;
    println!(
        "{count} nets: {passed} pass; {share:.1} % of {values} values inside their interval, which is {:.1} % of the value in \
         the mean; {untold} unproven without a value",
        100.0 * relative
    );
    assert!((94.0..97.5).contains(&share), "{share}");
}

/// A ring of six points with the return terminal at one side and the load at the other, forced at one more point.
fn ring() -> Bed {
    let traces: Vec<_> = (0..6).map(|i| (i, (i + 1) % 6, 18.0 + i as f64)).collect();
    let traces: Vec<_> = traces.iter().map(|&(a, b, length)| (a.min(b), a.max(b), length)).collect();
    Bed::new(net(6, &traces, &[2]).unwrap(), Sampling::Quick)
}

fn row<'s>(sweep: &'s Sweep, name: &str) -> &'s SegmentRow {
    sweep.judgement.segments.iter().find(|row| row.name == name).unwrap()
}

#[test]
fn a_ring_shaped_return_is_swept_end_to_end() {
    let bed = ring();
    for seed in 0..10 {
        let (sweep, _) = bed.sweep(&Spec::new(seed));
        assert_eq!(sweep.judgement.verdict, Verdict::Pass, "{:#?}", sweep.judgement);
        assert!(sweep.judgement.closures.iter().all(|closure| closure.agrees));
    }
    for faulty in 0..6 {
        let name = format!("t{faulty}");
        let (sweep, truth) = bed.sweep(&Spec::new(faulty).fault(format!("{name}=90 mohm")));
        assert_eq!(sweep.judgement.verdict, Verdict::Fail, "{:#?}", sweep.judgement);
        let found = row(&sweep, &name);
        assert_eq!((found.verdict, found.class), (Verdict::Fail, Class::High), "{found:?}");
        let id: SegmentId = bed.fixture.board.segment_named(&name).unwrap();
        assert!(
            (found.at_20c.unwrap() - truth.segment_at_20c(id)).abs() <= 2.0 * found.u95.unwrap(),
            "{found:?}"
        );
        let (sweep, _) = bed.sweep(&Spec::new(faulty).fault(format!("{name}=open")));
        assert_eq!(sweep.judgement.verdict, Verdict::Fail, "{:#?}", sweep.judgement);
        let found = row(&sweep, &name);
        assert_eq!((found.verdict, found.class), (Verdict::Fail, Class::Open), "{found:?}");
        let others = sweep.judgement.segments.iter().filter(|row| row.name != name);
        assert!(others.clone().all(|row| row.verdict != Verdict::Fail), "{:#?}", sweep.judgement);
        assert_eq!(sweep.judgement.faults[0].place, name);
    }
}

/// Solder between two points that no current between the force pins can mistake for the loop's own segments.
#[test]
fn a_path_that_the_file_does_not_know_is_named_by_its_two_ends() {
    let bed = ring();
    for (seed, (short, ends)) in
        [("g1~g4=5 mohm", "g1 and g4"), ("g1~g4=50 mohm", "g1 and g4"), ("g0~g3=50 mohm", "g0 and g3")]
            .into_iter()
            .enumerate()
    {
        let (sweep, _) = bed.sweep(&Spec::new(seed as u64).fault(short));
        assert_eq!(sweep.judgement.verdict, Verdict::Unproven, "{short}: {:#?}", sweep.judgement);
        let told = format!("as if something joined {ends}");
        assert!(
            sweep.judgement.notes.iter().any(|note| note.contains(&told)),
            "{short}: {:?}",
            sweep.judgement.notes
        );
        for row in sweep.judgement.segments.iter().filter(|row| in_mesh(&bed.fixture, row)) {
            assert_eq!(row.verdict, Verdict::Unproven, "{short}: {row:?}");
            assert!(row.reason.as_ref().is_some_and(|reason| reason.contains(&told)), "{short}: {row:?}");
        }
    }
}

/// Two opens in a ring leave a part of it without current, or floating, and one that comes and goes shakes all of it. No other segment is
/// blamed, nothing passes, and no pin is blamed but those between two opens, which nothing tells from dirty ones.
#[test]
fn two_opens_and_a_contact_that_comes_and_goes_blame_nobody_else() {
    let bed = ring();
    let of_ring = || (0..6).map(|i| format!("t{i}"));
    let pairs =
        of_ring().enumerate().flat_map(|(i, a)| of_ring().skip(i + 1).map(move |b| vec![a.clone(), b]));
    let mut void = Vec::new();
    for broken in pairs {
        let spec = broken.iter().fold(Spec::new(7), |spec, name| spec.fault(format!("{name}=open")));
        let (sweep, _) = bed.sweep(&spec);
        let judgement = &sweep.judgement;
        assert!(matches!(judgement.verdict, Verdict::Fail | Verdict::Void), "{broken:?}: {judgement:#?}");
        for row in judgement.segments.iter().filter(|row| row.verdict == Verdict::Fail) {
            assert!(broken.contains(&row.name) && row.class == Class::Open, "{broken:?}: {row:?}");
        }
        if judgement.verdict == Verdict::Void {
            let pins = |fault: &&BenchFault| fault.what.starts_with("does not touch");
            assert_eq!(
                judgement.bench_faults.iter().filter(pins).count(),
                judgement.bench_faults.len(),
                "{broken:?}"
            );
            assert!(judgement.bench_faults.len() <= 2, "{broken:?}: {judgement:#?}");
            void.push(broken);
        }
    }
    println!("void, pins between two opens: {void:?}");
    let mut caught = 0;
    for (seed, name) in of_ring().chain(of_ring()).enumerate() {
        let (sweep, _) = bed.sweep(&Spec::new(seed as u64).fault(format!("{name}=flaky")));
        let judgement = &sweep.judgement;
        assert!(matches!(judgement.verdict, Verdict::Fail | Verdict::Unproven), "{name}: {judgement:#?}");
        for row in judgement.segments.iter().filter(|row| row.verdict == Verdict::Fail) {
            assert_eq!((&row.name, row.class), (&name, Class::Flaky), "{row:?}");
            caught += 1;
        }
    }
    println!("of 12 that came and went, {caught} were caught by name");
    assert!(caught >= 4, "{caught}");
}

/// A ring with two plugs in it, which are read dry: two pins of one cable side by side.
fn ring_with_plugs() -> Bed {
    let traces: Vec<_> = (0..6).map(|i| (i.min((i + 1) % 6), i.max((i + 1) % 6), 18.0 + i as f64)).collect();
    let (mut board, fixture) = net_text(6, &traces, &[2, 3]);
    for plug in ["t1", "t4"] {
        let at = board.find(&format!("name = \"{plug}\"")).unwrap();
        let rest = board.split_off(at);
        let (segment, after) = rest.split_once("length").unwrap();
        let after = after.split_once("1 mm\"\n").unwrap().1;
        board.push_str(&segment.replace("trace", "connector"));
        board.push_str("max = \"80 mohm\"\n");
        board.push_str(after);
    }
    let board = copperwalk::board::parse("board.toml", &board).unwrap();
    Bed::new(copperwalk::fixture::parse("fixture.toml", &fixture, board).unwrap(), Sampling::Quick)
}

#[test]
fn contacts_on_a_loop_are_read_dry_and_copper_under_load() {
    let bed = ring_with_plugs();
    for seed in 0..6 {
        let (sweep, truth) = bed.sweep(&Spec::new(seed));
        assert_eq!(sweep.judgement.verdict, Verdict::Pass, "{:#?}", sweep.judgement);
        for row in sweep.judgement.segments.iter().filter(|row| in_mesh(&bed.fixture, row)) {
            let id = bed.fixture.board.segment_named(&row.name).unwrap();
            let off = (row.at_20c.unwrap() - truth.segment_at_20c(id)).abs();
            assert!(off <= 2.0 * row.u95.unwrap(), "{row:?}, is {:?}", truth.segment_at_20c(id));
        }
    }
    for (fault, class) in [("0.5 ohm", Class::High), ("open", Class::Open), ("film", Class::High)] {
        for plug in ["t1", "t4"] {
            let (sweep, _) = bed.sweep(&Spec::new(3).fault(format!("{plug}={fault}")));
            let found = row(&sweep, plug);
            assert_eq!(found.verdict, Verdict::Fail, "{fault}: {found:?}");
            assert!(found.class == class || found.class == Class::Open, "{fault}: {found:?}");
            let others = sweep.judgement.segments.iter().filter(|row| row.name != plug);
            assert!(
                others.clone().all(|row| row.verdict != Verdict::Fail),
                "{fault}: {:#?}",
                sweep.judgement
            );
        }
    }
}

#[test]
fn a_plan_says_which_currents_tell_a_loop_and_what_an_open_in_it_would_hide() {
    let bed = ring();
    let sheet = copperwalk::report::plan::plan_sheet(&bed.plan, &bed.fixture);
    let [line] = &sheet.loops[..] else { panic!("{} loops", sheet.loops.len()) };
    assert_eq!(line.segments, ["t0", "t1", "t2", "t3", "t4", "t5"]);
    assert!(line.currents.len() >= 2 && line.currents[0] == ["ret", "gnd"], "{:?}", line.currents);
    let hidden = |open: &str| {
        let line = sheet.hidden.iter().find(|line| line.open == open).unwrap();
        line.hides.iter().map(String::as_str).collect::<Vec<_>>()
    };
    // Force pins stand at g0, g2 and g5: between g0 and g2 lie two segments, and either leaves the other without current.
    assert_eq!(hidden("t0"), ["t1"]);
    assert_eq!(hidden("t3"), ["t2", "t4"]);
    assert!(hidden("t5").is_empty());
    // Past an open at the terminal's joint only one current is left.
    assert_eq!(hidden("ret joint").len(), 6);
}
