//! Whoever stands beside a modelled unit: answers at once, with what the model says.

use super::{Attendant, Question};
use crate::{operator::Unattended, quantity::si, virtual_bench::Bystander};

/// A modelled person. What is told goes to a real one.
pub struct Modelled<'m> {
    bystander: Bystander,
    tell: &'m mut dyn FnMut(&str),
}

impl<'m> Modelled<'m> {
    /// Beside this unit.
    pub fn new(bystander: Bystander, tell: &'m mut dyn FnMut(&str)) -> Self {
        Self { bystander, tell }
    }
}

impl Attendant for Modelled<'_> {
    fn ask(&mut self, question: &Question) {
        (self.tell)(&question.in_words());
    }

    fn answer(&mut self, question: &Question) -> Result<Option<String>, Unattended> {
        let answer = match question {
            Question::Warm { .. } => self.bystander.nose().unwrap_or("yes").to_owned(),
            Question::Meter => String::new(),
            Question::Rail { name, .. } => match self.bystander.rail(name) {
                Some(volts) => si(volts.0, 4, "V"),
                None => "skip".into(),
            },
            Question::Check { name, .. } => {
                if self.bystander.check(name) {
                    "yes".into()
                } else {
                    "no".into()
                }
            }
            Question::Caution(_) => "yes".into(),
            Question::State { .. } | Question::Join { .. } | Question::Supply(_) => String::new(),
        };
        (self.tell)(&format!("  > {answer}"));
        Ok(Some(answer))
    }

    fn refuse(&mut self, why: &str) {
        (self.tell)(why);
    }

    fn tell(&mut self, text: &str) {
        (self.tell)(text);
    }

    fn alarm(&mut self, text: &str) {
        (self.tell)(text);
    }
}
