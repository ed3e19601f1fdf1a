//! What can be done about a unit, on a terminal: the list first, then each proposal in full, and at the end what to do together.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title, verdict};
use crate::remedy::{Proposal, Together};
use crate::report::remedies::{self, Sheet};
use crate::report::{figures, words};

/// The proposals for a unit.
pub fn remedies(sheet: &Sheet<'_>, screen: Screen) -> String {
    const COLUMNS: [Column; 7] = [
        Column::figure("no."),
        Column::name("where"),
        Column::word("class"),
        Column::name("remedy"),
        Column::figure("cures"),
        Column::figure("effort"),
        Column::word("then"),
    ];
    let mut out = String::new();
    let head =
        format!("{} · {}, revision {} · sweep {}", sheet.serial, sheet.board, sheet.revision, sheet.sweep);
    title(&mut out, &head, screen);
    let all = &sheet.remedies.proposals;
    let rows: Vec<[Cell; 7]> = all.iter().map(row).collect();
    match rows.is_empty() {
        true => paragraph(&mut out, "", "No repair is known for what was found.", screen.width),
        false => {
            table(&mut out, screen, &COLUMNS, &rows);
            let legend = "Cures: the fault is there and the repair works. Effort: minutes for each unit cured, its sweep included.";
            paragraph(&mut out, "", legend, screen.width);
        }
    }
    for proposal in all {
        in_full(&mut out, proposal, screen);
    }
    if !sheet.remedies.excluded.is_empty() {
        heading(&mut out, "Not possible here", screen);
        for excluded in &sheet.remedies.excluded {
            let lead = format!("{}, {}: ", excluded.place, remedies::method(excluded.method));
            paragraph(&mut out, "  ", &format!("{lead}{}", words::sentence(&excluded.why)), screen.width);
        }
    }
    if let Some(together) = &sheet.remedies.together {
        set(&mut out, together, all, screen);
    }
    if !all.is_empty() {
        out.push('\n');
        let next = format!("Take one: copperwalk repair {} --remedy N; then sweep it again.", sheet.serial);
        paragraph(&mut out, "", &next, screen.width);
    }
    out
}

fn row(proposal: &Proposal) -> [Cell; 7] {
    [
        proposal.number.to_string().into(),
        (&proposal.place).into(),
        words::class(proposal.class).into(),
        remedies::method(proposal.method).into(),
        figures::chance(proposal.chance).into(),
        remedies::effort(proposal).into(),
        proposal.predicted.as_ref().map_or_else(|| "".into(), |predicted| Cell::verdict(predicted.verdict)),
    ]
}

fn in_full(out: &mut String, proposal: &Proposal, screen: Screen) {
    let name = format!("{}. {}: {}", proposal.number, proposal.place, remedies::method(proposal.method));
    heading(out, &name, screen);
    paragraph(out, "  ", &words::sentence(&proposal.how), screen.width);
    if let Some(wiring) = &proposal.wire {
        paragraph(out, "  Cut      ", &words::sentence(&wiring.cutting), screen.width);
        let held = wiring.route.reliefs.len();
        let held = words::counted(held, "place", "places");
        let lies = format!("lies across {}; held down with adhesive at {held}", wiring.bypasses.join(", "));
        paragraph(out, "  Way      ", &words::sentence(&lies), screen.width);
    }
    let takes = format!(
        "{}; spoils the board in {}",
        remedies::minutes(proposal.minutes),
        figures::chance(proposal.spoils)
    );
    let lines = [
        (
            "  Chance   ",
            format!(
                "there in {}; {}",
                figures::chance(proposal.probability),
                remedies::works(&proposal.works)
            ),
        ),
        ("  Takes    ", takes),
        (
            "  Needs    ",
            [proposal.tools.as_str(), &proposal.parts]
                .into_iter()
                .filter(|text| !text.is_empty())
                .collect::<Vec<_>>()
                .join("; "),
        ),
        ("  Then     ", proposal.predicted.as_ref().map(remedies::prediction).unwrap_or_default()),
        ("  Care     ", proposal.caution.clone()),
    ];
    for (lead, text) in lines.iter().filter(|(_, text)| !text.is_empty()) {
        paragraph(out, lead, &words::sentence(text), screen.width);
    }
}

fn set(out: &mut String, together: &Together, all: &[Proposal], screen: Screen) {
    heading(out, "For the whole path", screen);
    let names =
        together.numbers.iter().filter_map(|number| all.get(number.wrapping_sub(1))).map(|proposal| {
            format!("{}. {}: {}", proposal.number, proposal.place, remedies::method(proposal.method))
        });
    let names: Vec<String> = names.collect();
    let proven = match together.suffices {
        true => "The least effort that brings the whole path inside its budget",
        false => "No combination is proven to bring the whole path inside its budget; the least effort",
    };
    let text = format!(
        "{proven}: {}. About {:.0} min with the sweep; all of it works in {}.",
        names.join("; "),
        together.minutes,
        figures::chance(together.chance)
    );
    paragraph(out, "  ", &text, screen.width);
    for load in &together.loads {
        let line = format!(
            "{} in state {}: at least {:.3} V at full load, {:.0} mV to spare",
            load.load,
            load.state,
            load.lowest.0,
            load.margin.0 * 1e3
        );
        paragraph(out, &format!("  {}  ", verdict(load.verdict)), &line, screen.width);
    }
}
