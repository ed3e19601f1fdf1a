//! What a person is asked during a first power, and what an answer means.

use super::{
    caution::CAUTIONS,
    plan::{Plan, Rail},
    within::Within,
};
use crate::{
    quantity::{self, Unit, Volts, si},
    supply::{Reading, Request, typed},
};

/// A question.
#[derive(Clone, PartialEq, Debug)]
pub enum Question {
    /// A caution, by its place, to be confirmed.
    Caution(usize),
    /// The unit is to be put into its state.
    State {
        /// What the operator does.
        prompt: String,
    },
    /// The supply is to be joined to the board.
    Join {
        /// Points of plus and minus.
        terminals: [String; 2],
    },
    /// Something is to be done at a supply that is set by hand.
    Supply(Request),
    /// Is anything hot, does anything smell?
    Warm {
        /// What gets warm first; may be empty.
        what: String,
    },
    /// How accurate is the meter?
    Meter,
    /// What does a rail read?
    Rail {
        /// Name.
        name: String,
        /// Point, and the point that it is read against.
        between: [String; 2],
    },
    /// Is a check so?
    Check {
        /// Name.
        name: String,
        /// How to look.
        help: String,
    },
}

/// What somebody noticed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sign {
    /// Something is too hot to touch.
    Hot,
    /// A smell.
    Smell,
    /// Smoke.
    Smoke,
}

impl Sign {
    /// In a sentence.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Hot => "something is too hot to touch",
            Self::Smell => "something smells",
            Self::Smoke => "something smokes",
        }
    }
}

/// An answer.
#[derive(Clone, PartialEq, Debug)]
pub enum Answer {
    /// Done, confirmed, so.
    Yes,
    /// Not so.
    No,
    /// Left out.
    Skip,
    /// What the supply shows.
    Shows(Reading),
    /// What the meter shows.
    Volts(Volts),
    /// How accurate the meter is.
    Within(Within),
    /// Something was noticed: everything stops.
    Sign(Sign),
    /// Everything stops, for no fault of the unit.
    Stop,
}

impl Question {
    /// A rail's.
    pub fn rail(plan: &Plan, rail: &Rail) -> Self {
        let [_, minus] = &plan.terminals;
        Self::Rail { name: rail.name.clone(), between: [rail.at.clone(), minus.clone()] }
    }

    /// The question in words.
    pub fn in_words(&self) -> String {
        match self {
            Self::Caution(number) => {
                let caution = CAUTIONS.get(*number).copied().unwrap_or_default();
                format!("{caution}. Is that so? (yes)")
            }
            Self::State { prompt } => format!("{prompt}, then press Enter"),
            Self::Join { terminals: [plus, minus] } => format!(
                "Cell out. Join the supply's + to {plus} and its - to {minus}; look twice, a wrong way round is the quickest way to a dead board. \
                 Then press Enter"
            ),
            Self::Supply(request) => request_in_words(request),
            Self::Warm { what } if what.is_empty() => {
                "Look, smell, and hold the back of a finger near the parts. Is everything cool and quiet? (yes, hot, smell, smoke)".into()
            }
            Self::Warm { what } => format!(
                "Look, smell, and hold the back of a finger near {what}. Is everything cool and quiet? (yes, hot, smell, smoke)"
            ),
            Self::Meter => "What does your meter's manual state for this range? (such as \"0.5 % + 2 mV\"; Enter for 1 % + 10 mV)".into(),
            Self::Rail { name, between: [at, minus] } => {
                format!("{name}: what does the meter read from {at} to {minus}? (such as 3.31 V; skip)")
            }
            Self::Check { name, help } if help.is_empty() => format!("{name}? (yes, no, skip)"),
            Self::Check { name, help } => format!("{name}? {help}. (yes, no, skip)"),
        }
    }

    /// What an answer to it means. Whatever the question is, `hot`, `smell`, `smoke` and `stop` end it all.
    ///
    /// # Errors
    /// What would be an answer.
    pub fn parse(&self, text: &str) -> Result<Answer, String> {
        let text = text.trim();
        let word = text.to_lowercase();
        match word.as_str() {
            "hot" => return Ok(Answer::Sign(Sign::Hot)),
            "smell" | "smells" => return Ok(Answer::Sign(Sign::Smell)),
            "smoke" | "smokes" => return Ok(Answer::Sign(Sign::Smoke)),
            "stop" => return Ok(Answer::Stop),
            _ => {}
        }
        let yes = matches!(word.as_str(), "y" | "yes");
        let no = matches!(word.as_str(), "n" | "no");
        match self {
            Self::Caution(_) if yes => Ok(Answer::Yes),
            Self::Caution(_) if no => Ok(Answer::Stop),
            Self::Caution(_) => Err("yes confirms it; stop ends here, before there is any power".into()),
            Self::Supply(Request::Set(_) | Request::Show) => typed::parse(text).map(Answer::Shows),
            Self::State { .. } | Self::Join { .. } | Self::Supply(_) if yes || word.is_empty() => {
                Ok(Answer::Yes)
            }
            Self::State { .. } | Self::Join { .. } | Self::Supply(_) => {
                Err("press Enter once it is done; stop ends it".into())
            }
            Self::Warm { .. } if yes => Ok(Answer::Yes),
            Self::Warm { .. } => Err("yes if everything is cool and quiet; else hot, smell or smoke".into()),
            Self::Meter if word.is_empty() => Ok(Answer::Within(Within::METER)),
            Self::Meter => Within::volts(text).map(Answer::Within).map_err(|error| error.to_string()),
            Self::Rail { .. } | Self::Check { .. } if word == "skip" => Ok(Answer::Skip),
            Self::Rail { .. } => quantity::parse(text, Unit::Volt)
                .map(|volts| Answer::Volts(Volts(volts)))
                .map_err(|error| format!("{error}: {}", error.help)),
            Self::Check { .. } if yes => Ok(Answer::Yes),
            Self::Check { .. } if no => Ok(Answer::No),
            Self::Check { .. } => Err("yes, no, or skip".into()),
        }
    }
}

fn request_in_words(request: &Request) -> String {
    match request {
        Request::Bound(bounds) => format!(
            "Output off. Set the voltage to 0 V, the current limit to {}, the over-voltage trip to {} and the over-current trip to {}; a supply \
             without trips is not left alone. Then press Enter",
            si(bounds.limit.0, 3, "A"),
            si(bounds.over_voltage.0, 3, "V"),
            si(bounds.over_current.0, 3, "A"),
        ),
        Request::On => "Switch the output on, then press Enter".into(),
        Request::Set(volts) => format!(
            "Set {}. What does the supply show? (such as 1.20 V 4.1 mA; off, if it has switched itself off)",
            si(volts.0, 3, "V")
        ),
        Request::Show => "What does the supply show now? (such as 3.00 V 5.2 mA)".into(),
        Request::Off => "Switch the output off, then press Enter".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_answer_means_one_thing_and_signs_count_at_any_question() {
        let check = Question::Check { name: "display lights".into(), help: String::new() };
        let rail = Question::Rail { name: "3V3".into(), between: ["reg.out".into(), "cell-".into()] };
        let warm = Question::Warm { what: "U2".into() };
        let join = Question::Join { terminals: ["a".into(), "b".into()] };
        for question in [&check, &rail, &warm, &join, &Question::Caution(0), &Question::Meter] {
            assert_eq!(question.parse(" Smoke "), Ok(Answer::Sign(Sign::Smoke)));
            assert_eq!(question.parse("stop"), Ok(Answer::Stop));
            assert!(question.parse("perhaps").is_err(), "{question:?}");
            assert!(!question.in_words().is_empty());
        }
        assert_eq!(check.parse("y"), Ok(Answer::Yes));
        assert_eq!(check.parse("No"), Ok(Answer::No));
        assert_eq!(check.parse("skip"), Ok(Answer::Skip));
        assert_eq!(rail.parse("3.31 V"), Ok(Answer::Volts(Volts(3.31))));
        assert_eq!(rail.parse("-5.0 V"), Ok(Answer::Volts(Volts(-5.0))));
        assert!(rail.parse("3.31").unwrap_err().contains("has no unit"));
        assert_eq!(join.parse(""), Ok(Answer::Yes));
        // An empty line confirms no caution and no look.
        assert!(Question::Caution(0).parse("").is_err() && warm.parse("").is_err());
        assert_eq!(Question::Caution(0).parse("no"), Ok(Answer::Stop));
        assert_eq!(Question::Meter.parse(""), Ok(Answer::Within(Within::METER)));
    }
}
