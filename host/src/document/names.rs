//! Names that people give: what may be one, and which known one was meant.

use crate::quantity::clip;
use crate::visible::first_hidden;

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
    check_visible(text)?;
    if text.trim() != text {
        return Err((format!("`{}` has blanks at an end", clip(text)), "leave them out".into()));
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

/// The text, if every character of it can be seen; else which one cannot, and what to do about it.
pub(super) fn check_visible(text: &str) -> Result<&str, (String, String)> {
    match first_hidden(text) {
        None => Ok(text),
        Some((at, character, what)) => Err((
            format!(
                "`{}` has {what} (U+{:04X}) as character {}",
                clip(text),
                u32::from(character),
                text.char_indices().take_while(|(before, _)| *before < at).count() + 1
            ),
            "type it anew without that character".into(),
        )),
    }
}

/// What to say when a word is none of those known.
pub fn suggestion(word: &str, known: &[&str]) -> String {
    const SHOWN: usize = 12;
    match nearest(word, known.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None if known.is_empty() => "none is defined".into(),
        None => match known.split_at_checked(SHOWN) {
            Some((shown, more)) if !more.is_empty() => {
                format!("known: {} and {} more", shown.join(", "), more.len())
            }
            _ => format!("known: {}", known.join(", ")),
        },
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
        .map(|name| (strsim::levenshtein(word, name), name))
        .filter(|(apart, _)| *apart <= slips)
        .min_by_key(|(apart, _)| *apart)
        .map(|(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::*;

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
            ("a\nb", "`a\\nb` has a line break (U+000A) as character 2"),
            ("ä\u{202e}b", "has a mark that turns the writing direction (U+202E) as character 2"),
            ("a~b", "contains `~` or `=`"),
            ("a=b", "contains `~` or `=`"),
            (&"x".repeat(41), "has 41 characters"),
        ] {
            assert!(check_name(name).unwrap_err().0.contains(what), "{name}");
        }
        assert_eq!(check_name("Größe / µ-Punkt \"3\""), Ok("Größe / µ-Punkt \"3\""));
    }
}
