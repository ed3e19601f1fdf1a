//! A reading counts once the current stands, and its own codes have to show it: chokes and capacitors on the modelled bench.

use copperwalk::{board::Board, plan::Sampling, verdict::Verdict, virtual_bench::Spec};
use copperwalk_tests::{
    boards::buoy_lamp_text,
    campaign::{Bed, in_parallel},
};

/// The lamp with this choke and this bulk capacitor.
fn bed(choke: &str, bulk: &str) -> Bed {
    let (board, fixture) = buoy_lamp_text(choke);
    let board = board.replace("bulk = \"10 uF\"", &format!("bulk = \"{bulk}\""));
    let board: Board = copperwalk::board::parse("board.toml", &board).unwrap();
    Bed::new(copperwalk::fixture::parse("fixture.toml", &fixture, board).unwrap(), Sampling::Quick)
}

#[test]
fn what_is_read_behind_a_choke_is_right_or_refused() {
    for (choke, bulk) in [("22 uH", "10 uF"), ("470 uH", "10 uF"), ("2.2 mH", "100 uF"), ("10 mH", "470 uF")]
    {
        let bed = bed(choke, bulk);
        let sweeps = in_parallel(12, |seed| bed.sweep(&Spec::new(seed as u64)));
        let (mut passed, mut covered, mut values) = (0, 0, 0);
        for (sweep, truth) in &sweeps {
            passed += usize::from(sweep.judgement.verdict == Verdict::Pass);
            assert_ne!(sweep.judgement.verdict, Verdict::Fail, "{choke} {bulk}: {:#?}", sweep.judgement);
            for row in sweep.judgement.segments.iter().filter(|row| row.verdict == Verdict::Pass) {
                let (Some(value), Some(u95)) = (row.at_20c, row.u95) else { continue };
                let id = bed.fixture.board.segment_named(&row.name).unwrap();
                let off = (value - truth.segment_at_20c(id)).abs();
                assert!(off <= 3.0 * u95, "{choke} {bulk}: {row:?}, is {:?}", truth.segment_at_20c(id));
                values += 1;
                covered += usize::from(off <= u95);
            }
        }
        println!("{choke}, {bulk}: {passed} of 12 pass, {covered} of {values} inside their interval");
        assert!(covered * 100 >= values * 95, "{choke} {bulk}: {covered} of {values}");
        assert_eq!(passed, sweeps.len(), "{choke} {bulk}");
    }
}
