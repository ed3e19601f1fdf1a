//! What a person may answer, and what it bounds.
//!
//! A beep is worth what the meter's threshold is worth, and meters differ: 20 to 100 Ω (common practice). A number between two tips
//! has the tips' own contacts in it.

use std::fmt;

use crate::{
    hypothesis::Answer,
    measurement::{Method, Touch},
    quantity::{self, Ohms, QuantityError, Unit, clip, engineering},
};

/// A meter that beeps shows at most this (common practice: thresholds lie between 20 and 100 Ω).
pub const BEEP_AT_MOST: Ohms = Ohms(100.0);
/// A meter that keeps silent on continuity shows at least this (common practice).
pub const SILENT_AT_LEAST: Ohms = Ohms(20.0);
/// `ol` without a range: above the lowest range of common meters, which one may have stood on by mistake.
pub const OVERLOAD_AT_LEAST: Ohms = Ohms(200.0);
/// Meters in the hand are right to so much of the reading … (common practice: 0.5 to 1 %).
const RELATIVE: f64 = 0.01;
/// … and to so many units of the last digit shown.
const DIGITS: f64 = 3.0;
/// Two tips on clean metal scatter by so much, also after zeroing, 95 % (common practice).
pub const TIPS: Ohms = Ohms(0.1);
/// Leads of a meter read less than this with the tips together; more is a bad lead, or another range (common practice).
pub const LEAD_AT_MOST: Ohms = Ohms(5.0);
/// A reading may lie below the leads' by so much before the leads are in doubt.
const BELOW_LEADS: Ohms = Ohms(0.2);

/// What was said.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Said {
    /// A number.
    Reads {
        /// As shown.
        resistance: Ohms,
        /// One unit of its last digit.
        digit: Ohms,
    },
    /// The meter shows an overload; above this range, if it was named.
    Overload(Option<Ohms>),
    /// It beeps.
    Beep,
    /// It does not beep.
    Silent,
    /// A point cannot be reached; `skip NAME` says which of the two, and it is not asked for any more.
    Skip,
    /// The question before once more.
    Again,
}

/// Why a text is no answer.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[allow(missing_docs)]
pub enum AnswerError {
    #[error("{0:?} has no unit: write it with the number, as in \"0.4 ohm\" or \"12 kohm\"")]
    NoUnit(String),
    #[error(
        "{text:?} is no answer ({what}): write a number with its unit, or one of ol, beep, none, skip, again"
    )]
    Nonsense { text: String, what: String },
    #[error(
        "{0} is no resistance of a unit without power: take the battery out, or zero the leads again with `zero`"
    )]
    Negative(String),
    #[error(
        "{0} is too much for leads with the tips together: press the tips on each other, and look at the leads and the range"
    )]
    BadLeads(String),
    #[error("this question has no `{0}`: write a number with its unit")]
    NotHere(&'static str),
}

impl Said {
    /// Reads an answer as it was typed.
    ///
    /// # Errors
    /// See [`AnswerError`].
    pub fn parse(text: &str) -> Result<Self, AnswerError> {
        let text = text.trim();
        match text.to_lowercase().as_str() {
            "ol" | "0l" | "o.l" | "o.l." | "0.l" | ".ol" | "open" => return Ok(Self::Overload(None)),
            "beep" => return Ok(Self::Beep),
            "none" => return Ok(Self::Silent),
            "again" => return Ok(Self::Again),
            "skip" => return Ok(Self::Skip),
            _ if text.starts_with("skip ") => return Ok(Self::Skip),
            _ => {}
        }
        let range = ["ol ", "OL ", "> ", ">"].iter().find_map(|sign| text.strip_prefix(sign));
        if let Some(range) = range {
            return number(range).map(|(resistance, _)| Self::Overload(Some(resistance)));
        }
        number(text).map(|(resistance, digit)| Self::Reads { resistance, digit })
    }
}

/// A resistance as it was typed, and one unit of its last digit.
fn number(text: &str) -> Result<(Ohms, Ohms), AnswerError> {
    let text = text.trim();
    let shown = || clip(text);
    if text.parse::<f64>().is_ok() {
        return Err(AnswerError::NoUnit(shown()));
    }
    let value = quantity::parse(text, Unit::Ohm)
        .map_err(|QuantityError { what, .. }| AnswerError::Nonsense { text: shown(), what })?;
    if value < 0.0 {
        return Err(AnswerError::Negative(shown()));
    }
    let digits = text.trim_start_matches(['+', ' ']);
    let end = digits.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(digits.len());
    let figure = digits.get(..end).unwrap_or_default();
    let places = figure.split_once('.').map_or(0, |(_, places)| places.len() as i32);
    // What the unit makes of one is the ratio of the value and its figure.
    let scale = match figure.parse::<f64>() {
        Ok(figure) if figure > 0.0 => value / figure,
        _ => {
            quantity::parse(&format!("1{}", digits.get(end..).unwrap_or_default()), Unit::Ohm).unwrap_or(1.0)
        }
    };
    Ok((Ohms(value), Ohms(scale * 10_f64.powi(-places))))
}

/// How a meter is told apart in what it may prove.
#[derive(Clone, PartialEq, Debug)]
pub struct Instrument {
    /// What it calls itself, or `typed`.
    pub name: String,
    /// Does it lead the current over contacts of their own?
    pub four_wire: bool,
    /// Half width of what it shows at a resistance: a share of it, and so many ohms, 95 %. `None`: what is usual for a meter in
    /// the hand, by the digits it shows.
    pub within: Option<(f64, Ohms)>,
}

impl Instrument {
    /// A meter that a person reads.
    pub fn typed() -> Self {
        Self { name: "typed".into(), four_wire: false, within: None }
    }

    /// Half width of a reading, 95 %.
    fn half_width(&self, resistance: Ohms, digit: Ohms) -> Ohms {
        let own = match self.within {
            Some((share, floor)) => share * resistance.abs() + floor,
            None => RELATIVE * resistance.abs() + DIGITS * digit,
        };
        if self.four_wire { own } else { own + TIPS }
    }
}

/// The leads' resistance out of an answer given with the tips held together.
///
/// # Errors
/// An answer that is no number, or too large a one.
pub fn leads(said: Said) -> Result<Option<Ohms>, AnswerError> {
    match said {
        Said::Reads { resistance, .. } if resistance <= LEAD_AT_MOST => Ok(Some(resistance)),
        Said::Reads { resistance, .. } => Err(AnswerError::BadLeads(engineering(resistance))),
        // Only continuity then: a beep has no leads to take off.
        Said::Beep => Ok(None),
        Said::Overload(_) | Said::Silent => Err(AnswerError::BadLeads("an open circuit".into())),
        Said::Skip => Err(AnswerError::NotHere("skip")),
        Said::Again => Err(AnswerError::NotHere("again")),
    }
}

/// What a touch shows: its points and state are the caller's.
///
/// # Errors
/// A number far below what the leads read.
pub fn shown(
    said: Said,
    text: &str,
    instrument: &Instrument,
    lead: Option<Ohms>,
) -> Result<Touch, AnswerError> {
    let blank = Touch {
        from: String::new(),
        to: String::new(),
        state: String::new(),
        on_good_unit: false,
        answered: text.trim().into(),
        meter: instrument.name.clone(),
        method: None,
        lead: None,
        resistance: None,
        at_least: None,
        at_most: None,
    };
    let by_number = Some(if instrument.four_wire { Method::FourWire } else { Method::TwoWire });
    Ok(match said {
        Said::Reads { resistance, digit } => {
            let lead = lead.filter(|_| !instrument.four_wire);
            let net = resistance - lead.unwrap_or(Ohms::ZERO);
            if net < -BELOW_LEADS {
                return Err(AnswerError::Negative(format!(
                    "{} below what the leads read",
                    engineering(-net)
                )));
            }
            let half = instrument.half_width(resistance, digit);
            // Leads that were not zeroed may be anything up to the most that leads are.
            let leads = if lead.is_none() && !instrument.four_wire { LEAD_AT_MOST } else { Ohms::ZERO };
            Touch {
                method: by_number,
                lead,
                resistance: Some(Ohms(net.0.max(0.0))),
                at_least: Some(Ohms((net - half - leads).0.max(0.0))),
                at_most: Some(Ohms(net.0.max(0.0)) + half),
                ..blank
            }
        }
        Said::Overload(range) => {
            Touch { method: by_number, at_least: Some(range.unwrap_or(OVERLOAD_AT_LEAST)), ..blank }
        }
        Said::Beep => Touch { method: Some(Method::Continuity), at_most: Some(BEEP_AT_MOST), ..blank },
        Said::Silent => Touch { method: Some(Method::Continuity), at_least: Some(SILENT_AT_LEAST), ..blank },
        Said::Skip | Said::Again => blank,
    })
}

/// What a touch answers to the question whether two points conduct.
pub fn of_way(touch: &Touch) -> Option<Answer> {
    touch.method?;
    Some(match (touch.resistance, touch.at_least, touch.at_most) {
        (Some(resistance), _, Some(most)) => {
            // The half width covers 95 %: two standard uncertainties.
            let standard = 0.5 * (most - resistance).abs();
            Answer::Reads { resistance, standard: Ohms(standard.0.max(1e-6)) }
        }
        (None, _, Some(most)) => Answer::AtMost(most),
        (_, Some(least), None) => Answer::AtLeast(least),
        _ => return None,
    })
}

/// What a touch answers to the question whether two nets are apart; `None` where the limit lies within its bounds.
pub fn of_insulation(touch: &Touch, min: Ohms) -> Option<Answer> {
    touch.method?;
    match (touch.at_least, touch.at_most) {
        (Some(least), _) if least >= min => Some(Answer::Apart),
        (_, Some(most)) if most < min => Some(Answer::Bridged),
        _ => None,
    }
}

/// What a touch shows, in words: `beep (continuity)`, `1.2 Ω (two-wire, 0.2 Ω of leads taken off)`.
pub struct InWords<'t>(pub &'t Touch);

impl fmt::Display for InWords<'_> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let touch = self.0;
        match (touch.method, touch.resistance) {
            (None, _) => out.write_str("not reached"),
            (Some(Method::Continuity), _) => write!(out, "{} (continuity)", touch.answered),
            (Some(Method::FourWire), Some(resistance)) => {
                write!(out, "{} (four-wire)", engineering(resistance))
            }
            (Some(_), Some(resistance)) => match touch.lead {
                Some(lead) => {
                    write!(
                        out,
                        "{} (two-wire, {} of leads taken off)",
                        engineering(resistance),
                        engineering(lead)
                    )
                }
                None => write!(out, "{} (two-wire, leads not zeroed)", engineering(resistance)),
            },
            (Some(_), None) => match touch.at_least {
                Some(least) => write!(out, "over {}", engineering(least)),
                None => out.write_str(&touch.answered),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_answer_is_read_and_the_last_digit_counts() {
        for (text, said) in [
            ("ol", Said::Overload(None)),
            (" O.L ", Said::Overload(None)),
            ("> 20 Mohm", Said::Overload(Some(Ohms(20e6)))),
            ("ol 2 Mohm", Said::Overload(Some(Ohms(2e6)))),
            ("Beep", Said::Beep),
            ("none", Said::Silent),
            ("skip", Said::Skip),
            ("again", Said::Again),
            ("0.4 ohm", Said::Reads { resistance: Ohms(0.4), digit: Ohms(0.1) }),
            ("0.00 ohm", Said::Reads { resistance: Ohms(0.0), digit: Ohms(0.01) }),
        ] {
            assert_eq!(Said::parse(text), Ok(said), "{text}");
        }
        let Ok(Said::Reads { digit, .. }) = Said::parse("1.23 kohm") else { panic!() };
        assert!((digit.0 - 10.0).abs() < 1e-9, "{digit:?}");
        let Ok(Said::Reads { digit, .. }) = Said::parse("0.0 kohm") else { panic!() };
        assert!((digit.0 - 100.0).abs() < 1e-9, "{digit:?}");
    }

    #[test]
    fn what_is_no_answer_says_what_would_be() {
        let wrong = |text: &str| Said::parse(text).unwrap_err().to_string();
        assert!(wrong("0.4").contains("has no unit"), "{}", wrong("0.4"));
        for text in ["", "yes", "4 V", "0.4 ohm ohm", "1e", "\u{1b}[2J", "nan ohm"] {
            assert!(wrong(text).contains("is no"), "{text}: {}", wrong(text));
        }
        assert!(wrong("-3 ohm").contains("battery"), "{}", wrong("-3 ohm"));
    }

    #[test]
    fn leads_come_off_once_and_nothing_gets_below_zero() {
        let typed = Instrument::typed();
        let touch = shown(Said::parse("1.2 ohm").unwrap(), "1.2 ohm", &typed, Some(Ohms(0.2))).unwrap();
        assert_eq!((touch.resistance, touch.lead), (Some(Ohms(1.0)), Some(Ohms(0.2))));
        // 1 % of 1.2 Ω, three digits of 0.1 Ω, and the tips.
        assert!((touch.at_most.unwrap().0 - 1.412).abs() < 1e-9, "{touch:?}");
        assert!((touch.at_least.unwrap().0 - 0.588).abs() < 1e-9, "{touch:?}");
        let low = shown(Said::parse("0.1 ohm").unwrap(), "0.1 ohm", &typed, Some(Ohms(0.2))).unwrap();
        assert_eq!((low.resistance, low.at_least), (Some(Ohms::ZERO), Some(Ohms::ZERO)));
        let far = shown(Said::parse("0.1 ohm").unwrap(), "", &typed, Some(Ohms(4.0)));
        assert!(matches!(far, Err(AnswerError::Negative(_))));
        let unzeroed = shown(Said::parse("1.2 ohm").unwrap(), "", &typed, None).unwrap();
        assert_eq!(unzeroed.at_least, Some(Ohms::ZERO), "leads may be all of it");
    }

    #[test]
    fn a_beep_bounds_from_above_and_silence_from_below() {
        let typed = Instrument::typed();
        let beep = shown(Said::Beep, "beep", &typed, None).unwrap();
        assert_eq!(
            (beep.at_least, beep.at_most, beep.method),
            (None, Some(BEEP_AT_MOST), Some(Method::Continuity))
        );
        let none = shown(Said::Silent, "none", &typed, None).unwrap();
        assert_eq!((none.at_least, none.at_most), (Some(SILENT_AT_LEAST), None));
        assert_eq!(of_insulation(&none, Ohms(5e3)), None, "silence proves no insulation");
        assert_eq!(of_insulation(&beep, Ohms(5e3)), Some(Answer::Bridged));
        let far = shown(Said::Overload(Some(Ohms(2e7))), "> 20 Mohm", &typed, None).unwrap();
        assert_eq!(of_insulation(&far, Ohms(5e3)), Some(Answer::Apart));
    }
}
