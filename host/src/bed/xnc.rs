//! Drill files in XNC, the open subset of IPC-NC-349 that is published for the exchange of drill data (XNC Format Specification, 2021):
//! metric, decimal points written out, absolute coordinates, one tool for each drill.

use std::fmt::Write as _;

use super::plate::Plate;

/// One plate. Comments may hold no line breaks; names of boards have none.
pub fn of(plate: &Plate, board: &str) -> String {
    let mut text = String::from("M48\n");
    let _ = writeln!(
        text,
        "; {} plate for {board}, from copperwalk {}",
        plate.level.word(),
        env!("CARGO_PKG_VERSION")
    );
    let _ = writeln!(text, "; {}", plate.view());
    let _ = writeln!(
        text,
        "; plate {:.2} x {:.2} x {:.2} mm, origin at its lower left corner",
        plate.size_mm[0], plate.size_mm[1], plate.thickness_mm
    );
    text.push_str("; #@! TF.FileFunction,NonPlated,1,2,NPTH\nMETRIC\n");
    let drills = plate.by_drill();
    for (number, (drill, holes)) in (1..).zip(&drills) {
        let mut what: Vec<_> = holes.iter().map(|hole| hole.what).collect();
        what.sort();
        what.dedup();
        let what: Vec<_> = what.into_iter().map(super::plate::Use::word).collect();
        let _ = writeln!(text, "; {} for {}", holes.len(), what.join(", "));
        let _ = writeln!(text, "T{number:02}C{drill:.3}");
    }
    text.push_str("%\nG05\n");
    for (number, (_, holes)) in (1..).zip(&drills) {
        let _ = writeln!(text, "T{number:02}");
        for hole in holes {
            let _ = writeln!(text, "X{:.4}Y{:.4}", hole.at[0], hole.at[1]);
        }
    }
    text.push_str("M30\n");
    text
}
