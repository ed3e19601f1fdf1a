//! Every pin and every lead to a standard: what a proof asks about.

use crate::{evidence::Line, fixture::Fixture};

/// A channel of the matrix and what it leads to.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Pin {
    /// Force or sense.
    pub line: Line,
    /// Channel.
    pub channel: u16,
    /// Its point; a standard's lead by the standard's name and sign.
    pub name: String,
    /// The standard that it leads to: index into the fixture's list.
    pub standard: Option<usize>,
}

impl Pin {
    /// `pin cell+ (sense channel 0)`.
    pub fn in_words(&self) -> String {
        let what = if self.standard.is_some() { "standard" } else { "pin" };
        format!("{what} {} ({} channel {})", self.name, self.line.word(), self.channel)
    }
}

/// Every channel that leads somewhere, force before sense, in the order of the points.
pub fn all(fixture: &Fixture) -> Vec<Pin> {
    let of = |line: Line| {
        let points = fixture.board.points.iter().zip(&fixture.pins).filter_map(move |(point, pins)| {
            let channel = match line {
                Line::Force => pins.force,
                Line::Sense => pins.sense,
            }?;
            Some(Pin { line, channel, name: point.name.clone(), standard: None })
        });
        let standards = fixture.standards.iter().enumerate().flat_map(move |(index, standard)| {
            let channels = match line {
                Line::Force => standard.force,
                Line::Sense => standard.sense,
            };
            let lead = move |(channel, sign)| Pin {
                line,
                channel,
                name: format!("{}{sign}", standard.name),
                standard: Some(index),
            };
            channels.into_iter().zip([" +", " -"]).map(lead)
        });
        points.chain(standards)
    };
    of(Line::Force).chain(of(Line::Sense)).collect()
}
