//! Showing a value: prefixes, significant digits, rounding to its uncertainty.

use std::fmt;

use super::Ohms;
use crate::visible::clean;

/// The beginning of a text, for messages: a name of 10,000 characters helps nobody, and a control character
/// may move the cursor of the terminal it is shown on.
pub fn clip(text: &str) -> String {
    const LONGEST: usize = 60;
    let beginning = text.char_indices().nth(LONGEST).and_then(|(end, _)| text.get(..end));
    beginning.map_or_else(|| clean(text).into_owned(), |beginning| format!("{}…", clean(beginning)))
}

/// A resistance for people, three significant digits: `1.57 mΩ`, `330 Ω`, `5.00 kΩ`.
pub fn engineering(resistance: Ohms) -> String {
    si(resistance.0, 3, "Ω")
}

/// A value with an SI prefix and so many significant digits: `si(0.12, 3, "A")` is `120 mA`. What is not
/// finite is shown as `–`.
pub fn si(value: f64, digits: usize, symbol: &str) -> String {
    if !value.is_finite() {
        return format!("– {symbol}");
    }
    if value == 0.0 {
        return format!("0 {symbol}");
    }
    let decade = decade_after_rounding(value, digits);
    let prefix = Prefix::for_decade(decade);
    let places = (digits as i32 - 1 - (decade - prefix.power)).max(0) as usize;
    format!("{:.places$} {}{symbol}", prefix.scale(value), prefix.letter)
}

/// A value and its expanded uncertainty, rounded together: two significant digits of uncertainty (GUM 7.2.6),
/// the value to the same place, one prefix for both.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Rounded {
    /// The value's digits.
    pub value: String,
    /// The uncertainty's digits.
    pub uncertainty: String,
    /// Prefix and symbol.
    pub unit: String,
}

/// `with_uncertainty(Ohms(1.5713e-3), Ohms(12.4e-6))` shows as `1.571 ± 0.012 mΩ`. Without a usable uncertainty the value
/// stands alone with three digits, and the uncertainty is `–`.
pub fn with_uncertainty(resistance: Ohms, uncertainty: Ohms) -> Rounded {
    const DIGITS: usize = 2;
    let (ohms, u_ohms) = (resistance.0, uncertainty.0);
    let usable = ohms.is_finite() && u_ohms.is_finite() && u_ohms > 0.0;
    if !usable {
        let text = engineering(resistance);
        let (value, unit) = text.split_once(' ').unwrap_or((&text, ""));
        return Rounded { value: value.into(), uncertainty: "–".into(), unit: unit.into() };
    }
    let last_place = decade_after_rounding(u_ohms, DIGITS) - (DIGITS as i32 - 1);
    let prefix = Prefix::for_decade(decade_after_rounding(ohms.abs().max(u_ohms), 3));
    let places = (prefix.power - last_place).max(0) as usize;
    // Where the last place stands left of the point, digits that mean nothing become zeros.
    let coarse = 10f64.powi((last_place - prefix.power).max(0));
    let show = |x: f64| {
        let rounded = (prefix.scale(x) / coarse).round() * coarse;
        let value = if coarse > 1.0 { rounded } else { prefix.scale(x) };
        format!("{value:.places$}")
    };
    Rounded { value: show(ohms), uncertainty: show(u_ohms), unit: format!("{}Ω", prefix.letter) }
}

impl fmt::Display for Rounded {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ± {} {}", self.value, self.uncertainty, self.unit)
    }
}

/// The power of ten of the first digit once the value is rounded: 999.6 with three digits is 1.00e3.
fn decade_after_rounding(value: f64, digits: usize) -> i32 {
    let shown = format!("{:.*e}", digits.saturating_sub(1), value);
    shown.split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

#[derive(Clone, Copy)]
struct Prefix {
    letter: &'static str,
    power: i32,
}

impl Prefix {
    const ALL: [Self; 8] = [
        Self { letter: "p", power: -12 },
        Self { letter: "n", power: -9 },
        Self { letter: "µ", power: -6 },
        Self { letter: "m", power: -3 },
        Self { letter: "", power: 0 },
        Self { letter: "k", power: 3 },
        Self { letter: "M", power: 6 },
        Self { letter: "G", power: 9 },
    ];

    fn for_decade(decade: i32) -> Self {
        let [.., largest] = Self::ALL;
        let step = usize::try_from(decade.div_euclid(3) + 4).unwrap_or_default();
        Self::ALL.get(step).copied().unwrap_or(largest)
    }

    /// Dividing by a whole power of ten rounds once; multiplying by its inverse would round twice.
    fn scale(self, value: f64) -> f64 {
        match self.power {
            power if power < 0 => value * 10f64.powi(-power),
            power => value / 10f64.powi(power),
        }
    }
}
