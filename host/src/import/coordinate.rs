//! Coordinates as Gerber and drill files write them: digits without a decimal point, and letters with digits after them.

/// Coordinates beyond this are no board's, mm.
pub const FARTHEST_MM: f64 = 10_000.0;

/// How coordinates are written.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Format {
    /// Are trailing zeros left out instead of leading ones? No longer allowed, and still found.
    trailing_left_out: bool,
    /// Digits before and after the decimal point that is not written.
    digits: [usize; 2],
}

impl Format {
    /// Of so many digits before and after the decimal point, without trailing zeros or without leading ones.
    pub fn new(trailing_left_out: bool, digits: [usize; 2]) -> Self {
        Self { trailing_left_out, digits }
    }

    /// Of `FSLAX46Y46`.
    ///
    /// # Errors
    /// It is no such command, or asks for coordinates relative to those before.
    pub fn read(word: &str) -> Result<Self, String> {
        let wrong =
            || format!("`{}` is no format of coordinates such as FSLAX46Y46", crate::quantity::clip(word));
        let mut letters = word.strip_prefix("FS").ok_or_else(wrong)?.chars();
        let zeros = letters.next().ok_or_else(wrong)?;
        let notation = letters.next().ok_or_else(wrong)?;
        let mut digit = |letter: Option<char>| -> Result<usize, String> {
            let wanted = |next: Option<char>| letter.is_none() || next == letter;
            if letter.is_some() && !wanted(letters.next()) {
                return Err(wrong());
            }
            letters
                .next()
                .and_then(|c| c.to_digit(10))
                .filter(|n| *n <= 8)
                .map(|n| n as usize)
                .ok_or_else(wrong)
        };
        let digits = [digit(Some('X'))?, digit(None)?];
        if digits != [digit(Some('Y'))?, digit(None)?] || !matches!(zeros, 'L' | 'T' | 'D') {
            return Err(wrong());
        }
        match notation {
            'A' => Ok(Self { trailing_left_out: zeros == 'T', digits }),
            _ => {
                Err("coordinates are relative to those before them; export with absolute coordinates".into())
            }
        }
    }

    /// A coordinate, mm.
    ///
    /// # Errors
    /// It is no number, or farther than any board reaches.
    pub fn length(self, text: &str, unit_mm: f64) -> Result<f64, String> {
        let wrong = || format!("`{}` is no coordinate", crate::quantity::clip(text));
        if text.contains('.') {
            return bounded(text.parse::<f64>().map_err(|_| wrong())? * unit_mm, FARTHEST_MM);
        }
        let (sign, digits) = match text.strip_prefix('-') {
            Some(digits) => (-1.0, digits),
            None => (1.0, text.strip_prefix('+').unwrap_or(text)),
        };
        let [whole, decimals] = self.digits;
        if digits.is_empty() || digits.len() > 15 || !digits.bytes().all(|b| b.is_ascii_digit()) {
            return Err(wrong());
        }
        let number: f64 = digits.parse().map_err(|_| wrong())?;
        let missing =
            if self.trailing_left_out { (whole + decimals).saturating_sub(digits.len()) } else { 0 };
        bounded(
            sign * number * 10f64.powi(missing as i32) / 10f64.powi(decimals as i32) * unit_mm,
            FARTHEST_MM,
        )
    }
}

/// A figure that is finite and no farther from zero than this.
///
/// # Errors
/// It is not.
pub fn bounded(figure: f64, most: f64) -> Result<f64, String> {
    if figure.abs() <= most { Ok(figure) } else { Err(format!("{figure} is more than any board has")) }
}

/// Letters with the digits after them, such as `X100Y-5D01`.
///
/// # Errors
/// Something stands before the first letter.
pub fn fields(word: &str) -> Result<Vec<(char, &str)>, String> {
    let mut found = Vec::new();
    let mut rest = word;
    while let Some(letter) = rest.chars().next() {
        if !letter.is_ascii_uppercase() {
            return Err(format!("`{}` is no command", crate::quantity::clip(word)));
        }
        let after = rest.get(1..).unwrap_or_default();
        let end = after.find(|c: char| !matches!(c, '0'..='9' | '+' | '-' | '.')).unwrap_or(after.len());
        let (digits, next) = after.split_at(end);
        found.push((letter, digits));
        rest = next;
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coordinates_follow_their_format() {
        let leading = Format::read("FSLAX46Y46").unwrap();
        let trailing = Format::read("FSTAX24Y24").unwrap();
        assert_eq!(leading.length("-1500000", 1.0), Ok(-1.5));
        assert_eq!(trailing.length("015", 25.4), Ok(1.5 * 25.4));
        assert_eq!(leading.length("1.25", 25.4), Ok(31.75));
        for bad in ["FSLIX46Y46", "FSLAX46", "FSLAX46Y45", "FSLAX4", "FSQAX46Y46", "FSLAX99Y99"] {
            assert!(Format::read(bad).is_err(), "{bad}");
        }
        for bad in ["", "-", "1e5", "99999999999999999", "999999999999999", "1.2.3"] {
            assert!(leading.length(bad, 1.0).is_err(), "{bad}");
        }
        assert_eq!(fields("G01X-5Y+6D01").unwrap(), [('G', "01"), ('X', "-5"), ('Y', "+6"), ('D', "01")]);
        assert!(fields("5X").is_err() && fields("X5é").is_err());
    }
}
