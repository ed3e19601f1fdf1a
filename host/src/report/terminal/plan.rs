//! A plan on a terminal: what will be read, how often relays operate, how long it takes, what an open would hide.

use super::layout::{Cell, Column, paragraph, table};
use super::{Screen, heading, title};
use crate::report::plan::{HiddenLine, LoopLine, PlanSheet, StateLines, WalkLine};
use crate::report::words::counted;

/// One plan.
pub fn plan(plan: &PlanSheet, screen: Screen) -> String {
    let mut out = String::new();
    title(&mut out, &format!("{}, revision {} · {}", plan.board, plan.revision, plan.fixture), screen);
    for state in &plan.states {
        steps(&mut out, state, screen);
    }
    if !plan.loops.is_empty() {
        heading(&mut out, "Loops", screen);
        for line in &plan.loops {
            paragraph(&mut out, "  ", &shared(line), screen.width);
        }
    }
    heading(&mut out, "Relays", screen);
    for line in &plan.walks {
        paragraph(&mut out, "  ", &walk(line), screen.width);
    }
    let all = format!(
        "{} relay operations in all, with checks, end-to-end readings, standards and isolation",
        plan.closures
    );
    paragraph(&mut out, "  ", &all, screen.width);
    heading(&mut out, "Time", screen);
    let time = format!(
        "{} readings: {:.0} ms at least, when the first samples of each decide; {:.1} s at most, when each takes its \
         full number",
        plan.shots,
        plan.quick_ms.ceil(),
        plan.full_ms / 1e3
    );
    paragraph(&mut out, "  ", &time, screen.width);
    hidden(&mut out, &plan.hidden, screen);
    out.push('\n');
    paragraph(&mut out, "plan  ", &plan.plan_hash, screen.width);
    out
}

fn steps(out: &mut String, state: &StateLines, screen: Screen) {
    const COLUMNS: [Column; 3] =
        [Column::name("reading"), Column::word("test current"), Column::word("limit")];
    heading(out, &format!("State \"{}\"", state.name), screen);
    if !state.prompt.is_empty() {
        paragraph(out, "operator  ", &state.prompt, screen.width);
    }
    let rows: Vec<[Cell; 3]> = state
        .steps
        .iter()
        .map(|step| [(&step.what).into(), step.current.into(), (&step.limit).into()])
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn walk(line: &WalkLine) -> String {
    let WalkLine { state, stretches, segments, closures, bound } = line;
    let segments = counted(*segments, "segment", "segments");
    if *stretches == 1 {
        let over = 100.0 * (*closures as f64 / *bound as f64 - 1.0);
        format!(
            "in state \"{state}\": {segments} in series, {closures} relay operations; at least {bound} are needed \
             (+{over:.1} %)"
        )
    } else {
        format!(
            "in state \"{state}\": {segments} on {stretches} sections of the path, {closures} relay operations"
        )
    }
}

fn shared(line: &LoopLine) -> String {
    let LoopLine { state, segments, currents } = line;
    let currents: Vec<_> = currents.iter().map(|[from, to]| format!("{from} to {to}")).collect();
    format!(
        "in state \"{state}\" these share the current, and Kirchhoff's law tells them apart: {}; each is read with every current: {}",
        segments.join(", "),
        currents.join(", ")
    )
}

/// Opens that leave the same segments in the dark are told together: the open one and those it hides make one set.
fn hidden(out: &mut String, lines: &[HiddenLine], screen: Screen) {
    heading(out, "What an open would hide", screen);
    let groups = groups(lines);
    if groups.is_empty() {
        let text = "Nothing: every other segment stays within reach of two force pins.";
        paragraph(out, "  ", text, screen.width);
        return;
    }
    let (mutual, one_way): (Vec<_>, Vec<_>) = groups.iter().partition(|group| group.others().is_empty());
    if !mutual.is_empty() {
        paragraph(out, "  ", "An open at one segment of a line hides the others of that line:", screen.width);
        for group in mutual {
            paragraph(out, "  • ", &group.opens.join(", "), screen.width);
        }
    }
    for group in one_way {
        let others = group.others().join(", ");
        let text = match group.opens.as_slice() {
            [open] => format!("An open at {open} hides: {others}"),
            opens => {
                format!("An open at one of {} hides the others of these, and: {others}", opens.join(", "))
            }
        };
        paragraph(out, "  ", &text, screen.width);
    }
}

/// Segments of which each, when open, hides the others and the same further ones.
struct Group<'a> {
    opens: Vec<&'a str>,
    /// Everything that is not measured then, the open one included.
    dark: Vec<&'a str>,
}

impl<'a> Group<'a> {
    /// What is hidden and hides nothing of the group in turn.
    fn others(&self) -> Vec<&'a str> {
        self.dark.iter().filter(|name| !self.opens.contains(name)).copied().collect()
    }
}

fn groups(lines: &[HiddenLine]) -> Vec<Group<'_>> {
    let mut groups: Vec<Group<'_>> = Vec::new();
    for line in lines.iter().filter(|line| !line.hides.is_empty()) {
        let mut dark: Vec<_> = line.hides.iter().map(String::as_str).chain([line.open.as_str()]).collect();
        dark.sort_unstable();
        match groups.iter_mut().find(|group| group.dark == dark) {
            Some(group) => group.opens.push(&line.open),
            None => groups.push(Group { opens: vec![&line.open], dark }),
        }
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(open: &str, hides: &[&str]) -> HiddenLine {
        HiddenLine { open: open.into(), hides: hides.iter().map(|name| (*name).to_owned()).collect() }
    }

    fn shown(lines: &[HiddenLine]) -> String {
        let mut out = String::new();
        hidden(&mut out, lines, Screen::PLAIN);
        out
    }

    #[test]
    fn opens_that_hide_the_same_are_told_together() {
        let lines = [
            line("a", &["b", "c"]),
            line("b", &["a", "c"]),
            line("c", &["a", "b"]),
            line("d", &[]),
            line("e", &["f"]),
        ];
        assert_eq!(
            shown(&lines),
            "\nWhat an open would hide\n  An open at one segment of a line hides the others of that line:\n  • a, b, c\n  \
             An open at e hides: f\n"
        );
        assert_eq!(
            shown(&[line("a", &["b", "c"]), line("b", &["a", "c"])]),
            "\nWhat an open would hide\n  An open at one of a, b hides the others of these, and: c\n"
        );
        assert!(shown(&[line("a", &[])]).contains("Nothing: every other segment"));
    }
}
