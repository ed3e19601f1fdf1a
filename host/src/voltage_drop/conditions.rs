//! What is worst about the world around a board: how warm it may be.

use std::str::FromStr;

use crate::quantity::{Celsius, clip};

/// The coldest and the warmest that is believed of a board at work, °C.
const BELIEVED: [Celsius; 2] = [Celsius(-60.0), Celsius(150.0)];

/// The range of temperatures a board works at. The supply's range and the load stand in the board file.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Conditions {
    /// Coldest and warmest.
    pub temperature: [Celsius; 2],
}

impl Default for Conditions {
    /// 0 to 40 °C: a handheld out of doors (common practice).
    fn default() -> Self {
        Self { temperature: [Celsius(0.0), Celsius(40.0)] }
    }
}

impl FromStr for Conditions {
    type Err = String;

    /// `0 to 40`, `-20 °C to 60 °C`, or one temperature alone.
    fn from_str(text: &str) -> Result<Self, String> {
        let help = "write the coldest and the warmest in °C, such as \"0 to 40\"";
        let one = |text: &str| {
            let number = text.trim();
            let number = number.strip_suffix("°C").or_else(|| number.strip_suffix('C')).unwrap_or(number);
            let celsius = number.trim_end().parse::<f64>().ok().filter(|celsius| celsius.is_finite());
            celsius.map(Celsius).ok_or_else(|| format!("`{}` is no temperature; {help}", clip(text)))
        };
        let (cold, warm) = text.split_once(" to ").unwrap_or((text, text));
        let temperature = [one(cold)?, one(warm)?];
        let [cold, warm] = temperature;
        match () {
            () if cold > warm => Err(format!("the coldest, {} °C, is above the warmest; {help}", cold.0)),
            () if cold < BELIEVED[0] || warm > BELIEVED[1] => {
                let [least, most] = BELIEVED;
                Err(format!("a board at work is believed from {} to {} °C; {help}", least.0, most.0))
            }
            () => Ok(Self { temperature }),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_range_is_read_as_people_write_it() {
        for (text, cold, warm) in [
            ("0 to 40", 0.0, 40.0),
            ("-20 °C to 60 °C", -20.0, 60.0),
            ("25", 25.0, 25.0),
            (" -5.5C to 10 C ", -5.5, 10.0),
        ] {
            assert_eq!(
                text.parse(),
                Ok(Conditions { temperature: [Celsius(cold), Celsius(warm)] }),
                "{text}"
            );
        }
        for (text, fragment) in [
            ("", "`` is no temperature; write the coldest"),
            ("warm", "`warm` is no temperature"),
            ("40 to 0", "the coldest, 40 °C, is above the warmest"),
            ("NaN to 3", "`NaN` is no temperature"),
            ("0 to inf", "`inf` is no temperature"),
            ("0 to 400", "is believed from -60 to 150 °C"),
        ] {
            let said = text.parse::<Conditions>().unwrap_err();
            assert!(said.contains(fragment), "{text}: {said}");
        }
    }
}
