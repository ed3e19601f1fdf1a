//! Everything that is written of a bed but its printed sheets: names and bytes. Nothing here touches a disk.

use super::plate::Plate;
use super::{Bed, bill, checklist, dxf, stl, svg, wiring, xnc};
use crate::board::Board;

/// A file to be written.
pub type Written = (String, Vec<u8>);

/// Why a file cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// A table.
    #[error("a list of the bed cannot be written: {0}")]
    Table(#[from] csv::Error),
    /// A body.
    #[error("the shape of a plate cannot be worked out: {0}; look at the lengths in [bed]")]
    Body(#[from] spade::InsertionError),
}

/// All files; `fixture` is the name of the fixture file.
///
/// # Errors
/// See [`FileError`].
pub fn all(bed: &Bed, plates: &[Plate], board: &Board, fixture: &str) -> Result<Vec<Written>, FileError> {
    let mut files = Vec::new();
    let mut add = |name: String, content: Vec<u8>| files.push((name, content));
    for plate in plates {
        let level = plate.level.word();
        add(format!("{level}.xnc"), xnc::of(plate, &board.name).into_bytes());
        add(format!("{level}.dxf"), dxf::of(plate).into_bytes());
        add(format!("{level}.svg"), svg::of(plate, &board.name).into_bytes());
        add(format!("{level}.stl"), stl::of(plate)?);
    }
    add("holes.csv".into(), table(&holes(bed, plates, board))?);
    add("wiring.csv".into(), table(&wiring::rows(&wiring::wires(bed, board)))?);
    add("parts.csv".into(), table(&bill::rows(&bill::parts(bed, plates)))?);
    let steps = checklist::steps(bed, plates, board, fixture);
    let steps: Vec<_> = (1..).zip(&steps).map(|(number, step)| format!("[ ] {number}. {step}\n")).collect();
    add("checklist.txt".into(), steps.concat().into_bytes());
    Ok(files)
}

/// Every hole with where it is on its plate and on the board, the head first.
pub fn holes(bed: &Bed, plates: &[Plate], board: &Board) -> Vec<Vec<String>> {
    let head = [
        "plate",
        "hole",
        "point",
        "plate x (mm)",
        "plate y (mm)",
        "board x (mm)",
        "board y (mm)",
        "drill (mm)",
    ];
    let mut rows = vec![head.map(String::from).to_vec()];
    for plate in plates {
        for hole in &plate.holes {
            let point =
                hole.pin.and_then(|pin| bed.pins.get(pin)).map(|pin| board.point(pin.point).name.clone());
            rows.push(vec![
                plate.level.word().into(),
                hole.label.clone(),
                point.unwrap_or_default(),
                format!("{:.3}", hole.at[0]),
                format!("{:.3}", hole.at[1]),
                format!("{:.3}", hole.on_board[0]),
                format!("{:.3}", hole.on_board[1]),
                format!("{:.2}", hole.drill_mm),
            ]);
        }
    }
    rows
}

fn table(rows: &[Vec<String>]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    rows.iter().try_for_each(|row| writer.write_record(row))?;
    writer.into_inner().map_err(|error| csv::Error::from(error.into_error()))
}
