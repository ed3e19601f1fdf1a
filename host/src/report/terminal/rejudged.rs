//! What judging again would change, on a terminal.

use super::layout::paragraph;
use super::{Screen, heading, title, verdict};
use crate::judge::Opinion;
use crate::rejudge::{Outcome, Rejudged};
use crate::report::words;
use crate::verdict::Verdict;

/// Every sweep that would change with its rows, and those that could not be judged.
pub fn rejudged(outcome: &Outcome, screen: Screen) -> String {
    let mut out = String::new();
    title(&mut out, &summary(outcome), screen);
    for sweep in &outcome.changed {
        one(&mut out, sweep, screen);
    }
    if !outcome.skipped.is_empty() {
        heading(&mut out, "Not judged", screen);
        for skipped in &outcome.skipped {
            paragraph(&mut out, "  • ", &format!("sweep {}: {}", skipped.sweep, skipped.why), screen.width);
        }
    }
    if !outcome.changed.is_empty() && outcome.kept == 0 {
        out.push('\n');
        let text = "Nothing was kept; --keep adds these judgements to the records.";
        paragraph(&mut out, "", text, screen.width);
    }
    out
}

/// `3 sweeps judged again and kept; 1 changes`.
fn summary(outcome: &Outcome) -> String {
    if outcome.judged == 0 {
        return "no sweep judged again".into();
    }
    let kept = outcome.kept > 0;
    let change = match (outcome.changed.len(), kept) {
        (0, _) => "nothing changes".to_owned(),
        (changed, true) => words::counted(changed, "changes", "change"),
        (changed, false) => format!("{changed} would change"),
    };
    format!(
        "{} judged again{}; {change}",
        words::counted(outcome.judged, "sweep", "sweeps"),
        if kept { " and kept" } else { "" }
    )
}

fn one(out: &mut String, sweep: &Rejudged, screen: Screen) {
    out.push('\n');
    let verdicts = turn(sweep.before, sweep.after, verdict);
    let lead = format!("sweep {} · {} · {}: ", sweep.sweep, sweep.serial, sweep.board);
    let mut lines = String::new();
    paragraph(&mut lines, "", &format!("{lead}{verdicts}"), screen.width);
    out.push_str(&tinted(&lines, sweep.before, sweep.after, screen));
    for change in &sweep.changes {
        let text = format!("{}, {}: {}", change.place, change.state, opinions(change.before, change.after));
        paragraph(out, "  • ", &text, screen.width);
        paragraph(out, "    ", &change.why, screen.width);
    }
}

/// `pass → fail, class ok → high`; a class that stays is said once, without a word of change.
fn opinions(before: Opinion, after: Opinion) -> String {
    let verdicts = turn(before.verdict, after.verdict, |verdict| words::verdict(verdict).to_owned());
    let classes = turn(before.class, after.class, |class| words::class(class).to_owned());
    format!("{verdicts}, class {classes}")
}

/// `before → after`, or the one word that stays.
fn turn<T: Copy + PartialEq>(before: T, after: T, word: impl Fn(T) -> String) -> String {
    if before == after { word(after) } else { format!("{} → {}", word(before), word(after)) }
}

/// The same lines with the last mention of each verdict coloured; the names before them may hold the same words.
fn tinted(lines: &str, before: Verdict, after: Verdict, screen: Screen) -> String {
    let mut lines = lines.to_owned();
    let mut end = lines.len();
    for one in if before == after { vec![after] } else { vec![after, before] } {
        let word = verdict(one);
        // Where the line was broken inside a verdict it stays as it is.
        let Some(at) = lines[..end].rfind(&word) else { break };
        lines.replace_range(at..at + word.len(), &screen.tint(one, &word));
        end = at;
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Change;
    use crate::records::SweepId;
    use crate::rejudge::Skipped;
    use crate::report::sample;
    use crate::verdict::Class;

    fn outcome(kept: bool) -> Outcome {
        let change = |place: &str, before, after| Change {
            place: place.into(),
            state: "on".into(),
            before,
            after,
            why: "the limit was at most 12.0 mΩ and is at most 2.00 mΩ".into(),
        };
        let [good, high] = [(Verdict::Pass, Class::Ok), (Verdict::Fail, Class::High)]
            .map(|(verdict, class)| Opinion { verdict, class });
        let flaky = Opinion { class: Class::Flaky, ..high };
        let sweep = |id, before, changes| Rejudged {
            sweep: SweepId(id),
            serial: "A-1".into(),
            board: "tide gauge head".into(),
            before,
            after: Verdict::Fail,
            changes,
            judgement: sample::good().judgement,
        };
        Outcome {
            judged: 3,
            kept: if kept { 3 } else { 0 },
            changed: vec![
                sweep(1, Verdict::Pass, vec![change("tail trace", good, high)]),
                sweep(2, Verdict::Fail, vec![change("power switch", high, flaky)]),
            ],
            skipped: vec![Skipped { sweep: SweepId(4), why: "sweep 4 is not as it was written".into() }],
        }
    }

    #[test]
    fn a_change_says_from_what_to_what_and_why() {
        assert_eq!(
            rejudged(&outcome(false), Screen::PLAIN),
            "3 sweeps judged again; 2 would change\n\
             \n\
             sweep 1 · A-1 · tide gauge head: ✓ pass → ✗ fail\n  \
               • tail trace, on: pass → fail, class ok → high\n    \
                 the limit was at most 12.0 mΩ and is at most 2.00 mΩ\n\
             \n\
             sweep 2 · A-1 · tide gauge head: ✗ fail\n  \
               • power switch, on: fail, class high → flaky\n    \
                 the limit was at most 12.0 mΩ and is at most 2.00 mΩ\n\
             \n\
             Not judged\n  \
               • sweep 4: sweep 4 is not as it was written\n\
             \n\
             Nothing was kept; --keep adds these judgements to the records.\n"
        );
        let kept = rejudged(&outcome(true), Screen::PLAIN);
        assert!(kept.starts_with("3 sweeps judged again and kept; 2 change\n"), "{kept}");
        assert!(!kept.contains("Nothing was kept"), "{kept}");
    }

    #[test]
    fn nothing_to_change_and_nothing_to_judge_are_told_apart() {
        let same = Outcome { judged: 3, ..Outcome::default() };
        assert_eq!(rejudged(&same, Screen::PLAIN), "3 sweeps judged again; nothing changes\n");
        assert_eq!(rejudged(&Outcome::default(), Screen::PLAIN), "no sweep judged again\n");
    }

    #[test]
    fn colour_only_repeats_the_verdicts() {
        let coloured = rejudged(&outcome(false), Screen { width: 80, colour: true });
        assert!(coloured.contains("\u{1b}[32m✓ pass\u{1b}[0m → \u{1b}[31m✗ fail\u{1b}[0m"), "{coloured}");
        let plain = ["\u{1b}[31m", "\u{1b}[32m", "\u{1b}[0m"]
            .iter()
            .fold(coloured, |text, code| text.replace(code, ""));
        assert_eq!(plain, rejudged(&outcome(false), Screen::PLAIN));
        for width in [40, 60] {
            let text = rejudged(&outcome(false), Screen { width, colour: false });
            assert!(text.lines().all(|line| line.chars().count() <= width), "{text}");
        }
    }
}
