//! What is shown and confirmed before a unit gets power. Common practice of the trade; where local rules say more, they hold.

/// Each is shown by itself and confirmed.
pub const CAUTIONS: [&str; 4] = [
    "Take every cell and battery out, and leave them out: the supply is joined in place of the cell, never beside it. A lithium cell is never \
     charged by this; a bench supply does not know when to stop",
    "Wear eye protection and keep your face away from the board: a capacitor that is the wrong way round bursts",
    "Follow your local rules. What can be joined to the mains, chargers included, is left to people licensed for it: this is for battery-powered \
     boards on a supply that is separated from the mains",
    "Keep a hand near the supply's own switch until its output is off: if the program loses contact it rings the bell, and only you can cut the \
     power",
];

#[cfg(test)]
mod tests {
    #[test]
    fn the_cautions_name_what_must_be_named() {
        let all = super::CAUTIONS.join(" ");
        for word in ["cell", "charged by this", "eye protection", "local rules", "licensed", "switch"] {
            assert!(all.to_lowercase().contains(word), "{word}");
        }
    }
}
