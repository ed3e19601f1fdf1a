//! Answers to questions.

use crate::quantity::Ohms;

/// What came of a question.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Answer {
    /// A current flows; the resistance between the sensed points, and its standard uncertainty.
    Reads {
        /// As measured.
        resistance: Ohms,
        /// Standard uncertainty.
        standard: Ohms,
    },
    /// A current flows, and the resistance is at most this: a continuity tester that sounds.
    AtMost(Ohms),
    /// The resistance is at least this: a reading beyond the range, a continuity tester that stays silent.
    AtLeast(Ohms),
    /// No current flows; the source's voltage stands between the sensed points, or elsewhere on the way.
    Stops {
        /// Between them?
        across: bool,
    },
    /// No current flows, and of the two sensed points these hang on neither end.
    Floats {
        /// The first and the second.
        floats: [bool; 2],
    },
    /// A current flows, but a sense pin touches nothing.
    Silent {
        /// The first and the second.
        silent: [bool; 2],
    },
    /// Something moved while it was read.
    Moves,
    /// The two nets are apart.
    Apart,
    /// They conduct.
    Bridged,
}
