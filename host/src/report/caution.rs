//! What to take care of before and during a repair: one text, shown in full on pages and in short on the terminal.
//!
//! Common practice of the trade; where local rules say more, they hold.

/// One caution.
pub struct Caution {
    /// What to do, in a few words; the terminal shows these alone.
    pub short: &'static str,
    /// Why, and how.
    pub full: &'static str,
}

/// All of them, in the order they matter.
pub const CAUTIONS: [Caution; 5] = [
    Caution {
        short: "take the battery out",
        full: "Take every battery and cell out before the board goes on the pins or under the iron, and let \
               capacitors discharge. The bench does not switch its test current \
               on while it sees voltage; a soldering iron has no such check.",
    },
    Caution {
        short: "wear eye protection and vent fumes when soldering",
        full: "Wear eye protection when soldering, cutting or drilling, and draw flux fumes away from your face. \
               Wash your hands afterwards: many old boards carry leaded solder.",
    },
    Caution {
        short: "never charge or heat a damaged cell",
        full: "Never charge, heat, solder to or press on a swollen, dented, leaking or once deeply discharged lithium \
               cell. Put it aside on something that does not burn and hand it to a collection point.",
    },
    Caution {
        short: "follow local rules",
        full: "Follow local rules: for batteries, for waste, for who may repair what. They come before anything \
               written here.",
    },
    Caution {
        short: "leave mains-powered work to licensed people",
        full: "Leave everything that can be joined to the mains, chargers included, to people licensed for it. This \
               bench is for battery-powered boards out of their case.",
    },
];

/// The short form, one sentence.
pub fn short() -> String {
    let parts: Vec<&str> = CAUTIONS.iter().map(|caution| caution.short).collect();
    format!("Before a repair: {}.", parts.join("; "))
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_long_form_says_all_the_short_one_says() {
        let full: String = super::CAUTIONS.iter().map(|caution| caution.full).collect();
        for word in ["battery", "eye protection", "fumes", "charge, heat", "local rules", "mains", "licensed"]
        {
            assert!(full.contains(word), "{word}");
        }
    }

    #[test]
    fn the_short_form_keeps_every_caution() {
        let short = super::short();
        for word in ["battery", "eye protection", "fumes", "damaged cell", "local rules", "mains", "licensed"]
        {
            assert!(short.contains(word), "{word}");
        }
    }
}
