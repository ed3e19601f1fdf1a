//! Every pin and every lead to a standard or a thermometer: what a proof asks about.

use crate::{evidence::Line, fixture::Fixture};

/// A channel of the matrix and what it leads to.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Pin {
    /// Force or sense.
    pub line: Line,
    /// Channel.
    pub channel: u16,
    /// Its point; of a lead the part and its sign: `standard 1R +`.
    pub name: String,
    /// The built-in part that it leads to: standards count first, then thermometers. `None` for a pin of the bed.
    pub part: Option<usize>,
}

impl Pin {
    /// `pin cell+ (sense channel 0)`.
    pub fn in_words(&self) -> String {
        let what = if self.part.is_some() { "" } else { "pin " };
        format!("{what}{} ({} channel {})", self.name, self.line.word(), self.channel)
    }
}

/// Every channel that leads somewhere, force before sense, in the order of the points.
pub fn all(fixture: &Fixture) -> Vec<Pin> {
    let standards =
        fixture.standards.iter().map(|part| (format!("standard {}", part.name), part.force, part.sense));
    let thermometers = fixture
        .thermometers
        .iter()
        .map(|part| (format!("thermometer {}", part.name), part.force, part.sense));
    let parts: Vec<(String, [u16; 2], [u16; 2])> = standards.chain(thermometers).collect();
    let of = |line: Line| {
        let points = fixture.board.points.iter().zip(&fixture.pins).filter_map(move |(point, pins)| {
            let channel = match line {
                Line::Force => pins.force,
                Line::Sense => pins.sense,
            }?;
            Some(Pin { line, channel, name: point.name.clone(), part: None })
        });
        let leads = parts.iter().enumerate().flat_map(move |(index, (name, force, sense))| {
            let channels = match line {
                Line::Force => force,
                Line::Sense => sense,
            };
            let lead = move |(&channel, sign)| Pin {
                line,
                channel,
                name: format!("{name} {sign}"),
                part: Some(index),
            };
            channels.iter().zip(['+', '-']).map(lead)
        });
        points.chain(leads)
    };
    of(Line::Force).chain(of(Line::Sense)).collect()
}
