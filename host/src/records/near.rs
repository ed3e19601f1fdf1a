//! Names that look like the one asked for.

/// At most three, the most alike first; ties stay in the order given.
pub fn near(asked: &str, known: Vec<String>) -> Vec<String> {
    // A third of the characters may differ: `A-0012` finds `A-0021`, and `7` does not find `8`.
    let allowed = asked.chars().count() / 3;
    let lower = asked.to_lowercase();
    let mut alike: Vec<(usize, String)> = known
        .into_iter()
        .map(|name| (strsim::levenshtein(&lower, &name.to_lowercase()), name))
        .filter(|(apart, name)| *apart <= allowed && name != asked)
        .collect();
    alike.sort_by_key(|(apart, _)| *apart);
    alike.into_iter().take(3).map(|(_, name)| name).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_is_found() {
        let known = || ["A-0021", "A-0012", "a-0013", "B-7777", "7", "8"].map(String::from).to_vec();
        assert_eq!(near("A-0011", known()), ["A-0021", "A-0012", "a-0013"]);
        assert_eq!(near("b-7777", known()), ["B-7777"], "capitals do not matter");
        assert!(near("9", known()).is_empty(), "one character says nothing");
        assert!(near("quite another", known()).is_empty());
    }
}
