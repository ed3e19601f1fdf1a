//! Names that people give: what may be one, and which known one was meant.

use crate::quantity::clip;

/// Longest name in characters: two of them still fit a line of a report.
pub const NAME_LONGEST: usize = 40;

/// The text, if it is a name; else what is wrong with it, and what would be right.
pub fn check_name(text: &str) -> Result<&str, (String, String)> {
    let letters = text.chars().count();
    if letters > NAME_LONGEST {
        let help = format!("at most {NAME_LONGEST} characters fit a report");
        return Err((format!("`{}` has {letters} characters", clip(text)), help));
    }
    if text.trim().is_empty() {
        return Err(("is empty".into(), "give it a name".into()));
    }
    if text.chars().any(char::is_control) || text.trim() != text {
        let what = format!(
            "`{}` has control characters, or blanks at an end",
            clip(&text.escape_debug().to_string())
        );
        return Err((what, "use letters, digits, inner blanks and signs".into()));
    }
    // A short is reported as `POINT~POINT`, a fault is asked for as `NAME=open`.
    if text.contains(['~', '=']) {
        return Err((
            format!("`{text}` contains `~` or `=`"),
            "these two join names in reports and commands".into(),
        ));
    }
    Ok(text)
}

/// What to say when a word is none of those known.
pub fn suggestion(word: &str, known: &[&str]) -> String {
    const SHOWN: usize = 12;
    match nearest(word, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => "none is defined".into(),
        None if known.len() <= SHOWN => format!("known: {}", known.join(", ")),
        None => format!("known: {} and {} more", known[..SHOWN].join(", "), known.len() - SHOWN),
    }
}

/// The known word that differs by the fewest letters, if that is few enough to be a slip.
fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let letters = word.chars().count();
    if letters > NAME_LONGEST {
        return None;
    }
    let slips = (letters / 3).clamp(1, 3);
    known
        .filter(|name| name.chars().count().abs_diff(letters) <= slips)
        .map(|name| (letters_apart(word, name), name))
        .filter(|(apart, _)| *apart <= slips)
        .min_by_key(|(apart, _)| *apart)
        .map(|(_, name)| name)
}

/// Letters to insert, drop or change to get from one word to the other (Levenshtein's distance).
pub(crate) fn letters_apart(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, letter) in a.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, other) in b.iter().enumerate() {
            let change = diagonal + usize::from(letter != *other);
            diagonal = row[j + 1];
            row[j + 1] = change.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_apart_are_counted() {
        // The first is the textbook example of the distance.
        for (a, b, apart) in
            [("kitten", "sitting", 3), ("", "abc", 3), ("via1", "via1", 0), ("µΩ", "mΩ", 1), ("ab", "ba", 2)]
        {
            assert_eq!(letters_apart(a, b), apart, "{a} {b}");
            assert_eq!(letters_apart(b, a), apart, "{b} {a}");
        }
    }

    #[test]
    fn a_slip_is_recognised_and_a_guess_is_not() {
        let known = ["reg.in", "cell+", "cell-"];
        assert_eq!(suggestion("reg.im", &known), "did you mean `reg.in`?");
        assert_eq!(suggestion("battery", &known), "known: reg.in, cell+, cell-");
        assert_eq!(suggestion("x", &[]), "none is defined");
        assert!(suggestion("zzzz", &["name"; 40]).ends_with("and 28 more"));
    }

    #[test]
    fn names_that_would_break_a_report_are_refused() {
        for (name, what) in [
            ("", "is empty"),
            (" a", "blanks at an end"),
            ("a\nb", "control characters"),
            ("a~b", "contains `~` or `=`"),
            ("a=b", "contains `~` or `=`"),
            (&"x".repeat(41), "has 41 characters"),
        ] {
            assert!(check_name(name).unwrap_err().0.contains(what), "{name}");
        }
        assert_eq!(check_name("Größe / µ-Punkt \"3\""), Ok("Größe / µ-Punkt \"3\""));
    }
}
