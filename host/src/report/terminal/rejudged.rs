//! What judging again would change, on a terminal.

use super::layout::paragraph;
use super::{Screen, heading, title, verdict};
use crate::rejudge::{Outcome, Rejudged};
use crate::report::words;

/// Every sweep that would change with its rows, and those that could not be judged.
pub fn rejudged(outcome: &Outcome, kept: bool, screen: Screen) -> String {
    let mut out = String::new();
    let changed = outcome.changed.len();
    let summary = format!(
        "{} judged again, {}",
        words::counted(outcome.judged, "sweep", "sweeps"),
        match changed {
            0 => "nothing changes".to_owned(),
            _ => format!(
                "{} {}",
                words::counted(changed, "changes", "change"),
                if kept { "and are kept" } else { "if kept" }
            ),
        }
    );
    title(&mut out, &summary, screen);
    for sweep in &outcome.changed {
        one(&mut out, sweep, screen);
    }
    if !outcome.skipped.is_empty() {
        heading(&mut out, "Not judged", screen);
        for skipped in &outcome.skipped {
            paragraph(&mut out, "  • ", &format!("sweep {}: {}", skipped.sweep, skipped.why), screen.width);
        }
    }
    if changed > 0 && !kept {
        out.push('\n');
        paragraph(
            &mut out,
            "",
            "Nothing was kept; --keep adds these judgements to the records.",
            screen.width,
        );
    }
    out
}

fn one(out: &mut String, sweep: &Rejudged, screen: Screen) {
    out.push('\n');
    let [before, after] = [sweep.before, sweep.after].map(verdict);
    let verdicts = if before == after { before } else { format!("{before} → {after}") };
    let line = format!("sweep {} · {} · {}: {verdicts}", sweep.sweep, sweep.serial, sweep.board);
    paragraph(out, "", &line, screen.width);
    for change in &sweep.changes {
        let opinion = |opinion: crate::judge::Opinion| {
            format!("{}, {}", words::verdict(opinion.verdict), words::class(opinion.class))
        };
        let text = format!(
            "{} ({}): {} → {}; {}",
            change.place,
            change.state,
            opinion(change.before),
            opinion(change.after),
            change.why
        );
        paragraph(out, "  • ", &text, screen.width);
    }
}
