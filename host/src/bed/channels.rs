//! Channels for new pins: whatever standards, thermometers and the pins that are there leave free, in ascending order.

use super::{BedError, Line, Start, Trouble};

/// Channels that nobody uses, ascending.
pub fn free(start: &Start, line: Line) -> Vec<u16> {
    let built_in = start.standards.iter().map(|standard| (standard.force, standard.sense));
    let built_in = built_in.chain(start.thermometers.iter().map(|one| (one.force, one.sense)));
    let mut used: Vec<u16> = Vec::new();
    for (force, sense) in built_in {
        used.extend(if line == Line::Force { force } else { sense });
    }
    used.extend(start.pins.iter().filter_map(|pins| match line {
        Line::Force => pins.force,
        Line::Sense => pins.sense,
    }));
    let count = match line {
        Line::Force => start.force_channels,
        Line::Sense => start.sense_channels,
    };
    (0..count).filter(|channel| !used.contains(channel)).collect()
}

/// Are there channels for so many new pins of each line?
///
/// # Errors
/// Too few, of either.
pub fn suffice(start: &Start, wanted: [(Line, usize); 2]) -> Result<(), BedError> {
    let lacking = wanted.into_iter().filter_map(|(line, wanted)| {
        let free = free(start, line).len();
        (wanted > free).then_some(Trouble::Channels { line, wanted, free })
    });
    let troubles: Vec<_> = lacking.collect();
    if troubles.is_empty() { Ok(()) } else { Err(BedError(troubles)) }
}
