//! The path of questions of a hunt on a terminal: asked, answered, what it left.

use super::layout::{Cell, Column, table};
use super::{Screen, heading};
use crate::report::figures;
use crate::sweep::StepRow;

/// All steps, in order; nothing where there are none.
pub fn steps(out: &mut String, steps: &[StepRow], screen: Screen) {
    const COLUMNS: [Column; 4] =
        [Column::name("between"), Column::name("what"), Column::name("answer"), Column::name("it leaves")];
    if steps.is_empty() {
        return;
    }
    heading(out, "Path of questions", screen);
    let cells: Vec<[Cell; 4]> = steps
        .iter()
        .map(|step| {
            let asked = &step.asked;
            [
                format!("{} to {}", asked.from, asked.to).into(),
                (&asked.what).into(),
                (&step.answered.text).into(),
                step.left.first().map(figures::left).unwrap_or_default().into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &cells);
}
