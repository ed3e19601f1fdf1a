//! What to do with the plates, and how to prove the finished bed, in order.

use super::plate::Plate;
use super::{Bed, bow, family};
use crate::board::Board;

/// The steps; `fixture` is the name of the fixture file.
pub fn steps(bed: &Bed, plates: &[Plate], board: &Board, fixture: &str) -> Vec<String> {
    let mut steps = vec![
        "Print the drawings at 100 % (no fitting to the page) and measure the check square: 50.0 mm each way.".into(),
        "Lay a board on the drawing of each plate: every pin's cross lies on its copper, and no part stands where a pin or a post does."
            .into(),
    ];
    for plate in plates {
        let turned = if plate.mirrored { "mirrored against the board file" } else { "not mirrored" };
        steps.push(format!(
            "Drill the {} plate from the side that faces the board ({turned}, touches the {}). One hole in scrap first: a receptacle is pressed in, not dropped in.",
            plate.level.word(),
            plate.face.word()
        ));
    }
    let travels = bed.pins.iter().filter_map(|pin| bed.families.list().get(pin.family));
    let least = travels.map(|family| family.travel_mm * family::WORKING).fold(f64::INFINITY, f64::min);
    if least.is_finite() {
        steps.push(format!(
            "Set posts and stops so that the closed bed presses every pin in by {least:.1} mm, two thirds of the shortest travel."
        ));
    }
    for plate in plates {
        let own = board.keep_outs.iter().filter(|keep_out| keep_out.side == plate.face);
        let tallest = own.filter_map(|keep_out| keep_out.height_mm).fold(0.0, f64::max);
        if tallest > 0.0 {
            steps.push(format!(
                "Posts and pins of the {} plate keep it more than {tallest:.1} mm from the board: so high is the tallest part there.",
                plate.level.word()
            ));
        }
    }
    for plate in plates.iter().filter(|plate| plate.support.newton > 0.0) {
        steps.push(format!(
            "The {} plate's posts hold against {:.0} N; the board bows by {:.2} mm at most between them (spans up to {:.0} mm).",
            plate.level.word(),
            plate.support.newton,
            plate.support.bow_mm,
            plate.support.span_mm
        ));
    }
    if plates.iter().any(|plate| plate.support.bow_mm > bow::MOST_BOW_MM) {
        steps.push(format!(
            "Somewhere the board bows by more than {} mm: there was no room for a post. Make room, or use lighter springs.",
            bow::MOST_BOW_MM
        ));
    }
    steps.extend([
        "Wire by the list, one channel after the other, and tick each off; twist the force pairs and the sense pairs each by themselves.".into(),
        format!("Check the fixture file by itself: copperwalk check {fixture}"),
        format!("Empty bed, then bare copper on the pins: copperwalk prove {fixture} --plate"),
        format!("A golden unit, seated ten times: copperwalk prove {fixture} --plate --golden 10"),
        "Keep the golden unit, and prove the bed again after any work on it and when its proof runs out.".into(),
    ]);
    steps
}
