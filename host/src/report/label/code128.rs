//! Code 128: letters, digits and signs of ASCII as bars (ISO/IEC 15417; the table is from memory, and proven by a reader
//! from outside in `tests/tests/commands/paper.rs`).

/// Widths of bar, space, bar … of each value, in modules. The last is the stop.
const PATTERNS: [&str; 107] = [
    "212222", "222122", "222221", "121223", "121322", "131222", "122213", "122312", "132212", "221213",
    "221312", "231212", "112232", "122132", "122231", "113222", "123122", "123221", "223211", "221132",
    "221231", "213212", "223112", "312131", "311222", "321122", "321221", "312212", "322112", "322211",
    "212123", "212321", "232121", "111323", "131123", "131321", "112313", "132113", "132311", "211313",
    "231113", "231311", "112133", "112331", "132131", "113123", "113321", "133121", "313121", "211331",
    "231131", "213113", "213311", "213131", "311123", "311321", "331121", "312113", "312311", "332111",
    "314111", "221411", "431111", "111224", "111422", "121124", "121421", "141122", "141221", "112214",
    "112412", "122114", "122411", "142112", "142211", "241211", "221114", "413111", "241112", "134111",
    "111242", "121142", "121241", "114212", "124112", "124211", "411212", "421112", "421211", "212141",
    "214121", "412121", "111143", "111341", "131141", "114113", "114311", "411113", "411311", "113141",
    "114131", "311141", "411131", "211412", "211214", "211232", "2331112",
];

/// Set B holds the printable characters, set C pairs of digits.
const START_B: u8 = 104;
const START_C: u8 = 105;
/// From set C to B, and from B to C.
const TO_B: u8 = 100;
const TO_C: u8 = 99;
const STOP: u8 = 106;

/// Blank on either side, modules.
pub const QUIET: f32 = 10.0;

/// Widths of bars and spaces in turn, in modules, beginning with a bar. `None` for what is no printable ASCII.
pub fn bars(text: &str) -> Option<Vec<u8>> {
    let values = values(text)?;
    let all = values.iter().chain([&STOP]);
    Some(
        all.filter_map(|value| PATTERNS.get(usize::from(*value)))
            .flat_map(|pattern| pattern.bytes())
            .map(|width| width - b'0')
            .collect(),
    )
}

/// Start, content and check value.
fn values(text: &str) -> Option<Vec<u8>> {
    let bytes = text.as_bytes();
    if bytes.is_empty() || !bytes.iter().all(|byte| (b' '..=b'~').contains(byte)) {
        return None;
    }
    let digits = |at: usize| bytes[at..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    let mut pairs = digits(0) >= 4 || bytes.len() == 2 && digits(0) == 2;
    let mut values = vec![if pairs { START_C } else { START_B }];
    let mut at = 0;
    while at < bytes.len() {
        let run = digits(at);
        if pairs && run < 2 {
            values.push(TO_B);
            pairs = false;
        }
        // To change to pairs costs one value, to change back another: four digits at the end pay for the one, six for both.
        let pays = run >= 6 || run >= 4 && at + run == bytes.len();
        if !pairs && pays && run % 2 == 0 {
            values.push(TO_C);
            pairs = true;
        }
        match (pairs, &bytes[at..]) {
            (true, [tens, ones, ..]) => {
                values.push((tens - b'0') * 10 + (ones - b'0'));
                at += 2;
            }
            (_, [one, ..]) => {
                values.push(one - b' ');
                at += 1;
            }
            (_, []) => break,
        }
    }
    values.push(check(&values));
    Some(values)
}

/// The check value: the start counts once, and every value as often as its place says.
fn check(values: &[u8]) -> u8 {
    let sum = (0_u32..).zip(values).map(|(at, value)| at.max(1) * u32::from(*value) % 103).sum::<u32>() % 103;
    sum as u8 // below 103
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_pattern_is_eleven_modules_with_an_even_count_of_bars_and_no_two_are_alike() {
        for (value, pattern) in PATTERNS.iter().enumerate() {
            let widths: Vec<u32> = pattern.chars().map(|digit| digit.to_digit(10).unwrap()).collect();
            assert_eq!(widths.iter().sum::<u32>(), if value == 106 { 13 } else { 11 }, "{value}");
            if value != 106 {
                assert_eq!(widths.iter().step_by(2).sum::<u32>() % 2, 0, "{value}");
            }
        }
        assert_eq!(PATTERNS.iter().collect::<BTreeSet<_>>().len(), PATTERNS.len());
    }

    /// The example that is printed with most descriptions of the code, from memory: PJJ123C in set A has check value 54.
    #[test]
    fn the_check_value_is_that_of_the_usual_example() {
        assert_eq!(check(&[103, 48, 42, 42, 17, 18, 19, 35]), 54);
    }

    #[test]
    fn digits_are_paired_where_that_is_shorter() {
        let content = |text| {
            let values = values(text).unwrap();
            values[..values.len() - 1].to_vec()
        };
        assert_eq!(content("A1"), [104, 33, 17]);
        assert_eq!(content("1234"), [105, 12, 34]);
        assert_eq!(content("12"), [105, 12]);
        assert_eq!(content("12345"), [105, 12, 34, 100, 21]);
        assert_eq!(content("A1234"), [104, 33, 99, 12, 34]);
        assert_eq!(content("A12345"), [104, 33, 17, 99, 23, 45]);
        assert_eq!(content("A1234B"), [104, 33, 17, 18, 19, 20, 34]);
        assert_eq!(content("A123456B"), [104, 33, 99, 12, 34, 56, 100, 34]);
        assert_eq!((values(""), values("é"), values("a\tb")), (None, None, None));
    }
}
