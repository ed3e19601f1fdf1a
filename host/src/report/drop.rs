//! What a supply path costs, in words: said once for the terminal and for the page.

use crate::quantity::{Celsius, Ohms, Volts, si, with_uncertainty};
use crate::verdict::Verdict;
use crate::voltage_drop::{DropSheet, JudgedBy, LoadDrop, Origin, Part, PartSide};

/// A voltage at a load: `1.777 V`.
pub fn at_load(volts: Volts) -> String {
    if volts < Volts::ZERO { "none".to_owned() } else { glued(&si(volts.0, 4, "V")) }
}

/// A voltage that is lost or left: `22.0 mV`.
pub fn lost(volts: Volts) -> String {
    glued(&si(volts.0, 3, "V"))
}

/// A part's resistance, where it has one to show.
pub fn resistance(part: &Part) -> String {
    glued(&si(part.resistance.0, 3, "Ω"))
}

/// Heat: `2.3 mW`.
pub fn heat(watts: f64) -> String {
    glued(&si(watts, 2, "W"))
}

/// A share of everything that is lost.
pub fn share(share: f64) -> String {
    glued(&format!("{:.1} %", 100.0 * share))
}

/// What current a part carries, marked where that is less than it gets.
pub fn carries(part: &Part) -> String {
    part.capacity.map_or(String::new(), |capacity| {
        let mark = if capacity.exceeded { " ✗" } else { "" };
        glued(&format!("{}{mark}", si(capacity.ipc2221.0, 3, "A")))
    })
}

/// The lowest voltage with the uncertainty that independent errors give it.
pub fn combined(load: &LoadDrop) -> String {
    if load.middle < Volts::ZERO {
        return "none".to_owned();
    }
    // Rounded like any reading; only the letter of the unit is another.
    let rounded = with_uncertainty(Ohms(load.middle.0), Ohms(load.u95.0));
    glued(&format!("{} ± {} {}", rounded.value, rounded.uncertainty, rounded.unit.replace('Ω', "V")))
}

fn glued(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

/// Name of a part as it is listed.
pub fn name(part: &Part) -> &str {
    match part.side {
        PartSide::Source => "the cell itself",
        PartSide::Out | PartSide::Return => &part.name,
    }
}

/// Where a part's resistance comes from, where that is not a reading.
pub fn origin(part: &Part) -> &'static str {
    match part.origin {
        Origin::Reading => "",
        Origin::Limit => "from the limit",
        Origin::NotRead => "not read, from the limit",
        Origin::Open => "open, from the limit",
        Origin::Stated => "stated",
    }
}

/// Does every resistance come from a limit, so that it need not be said of each?
pub fn limits_only(load: &LoadDrop) -> bool {
    load.parts.iter().all(|part| matches!(part.origin, Origin::Limit | Origin::Stated))
}

/// What the figures stand on.
pub fn stands_on(sheet: &DropSheet) -> String {
    match &sheet.unit {
        None if sheet.limits.ends_with(" limits") => format!("by {}", sheet.limits),
        None => format!("by the limits of the {}", sheet.limits),
        Some(unit) => match unit.sweep {
            Some(sweep) => format!("unit {}, as read in sweep {sweep}", unit.serial),
            None => format!("unit {}, as read", unit.serial),
        },
    }
}

/// The conditions: supply, load, cell, temperature.
pub fn conditions(sheet: &DropSheet) -> String {
    let [low, high] = sheet.supply.map(|volts| glued(&si(volts.0, 3, "V")));
    let source = match sheet.source {
        Some(source) => format!("from a cell of {}", glued(&si(source.0, 3, "Ω"))),
        None => "from a cell without resistance".to_owned(),
    };
    let load = glued(&si(sheet.load.0, 3, "A"));
    format!("{load} at {low} to {high} {source}, {}", temperatures(sheet.temperature))
}

fn temperatures([cold, warm]: [Celsius; 2]) -> String {
    match cold == warm {
        true => glued(&format!("{} °C", cold.0)),
        false => format!("{} to {}", cold.0, glued(&format!("{} °C", warm.0))),
    }
}

/// What is needed, and what that leaves for the path: `brown-out at 1.7 V`.
pub fn needed(sheet: &DropSheet) -> String {
    match (sheet.judged_by, sheet.brown_out) {
        (JudgedBy::BrownOut, Some(volts)) => format!("brown-out at {}", glued(&si(volts.0, 3, "V"))),
        _ => format!("max_drop {} at 20\u{a0}°C", lost(sheet.max_drop)),
    }
}

/// How much may be lost at the lowest supply, the cell's part included.
pub fn allowed(sheet: &DropSheet) -> Volts {
    match (sheet.judged_by, sheet.brown_out) {
        (JudgedBy::BrownOut, Some(volts)) => sheet.supply[0] - volts,
        _ => sheet.max_drop + sheet.load * sheet.source.unwrap_or_default(),
    }
}

/// What is found about one load, in a sentence.
pub fn finding(sheet: &DropSheet, load: &LoadDrop) -> String {
    let LoadDrop { load: name, margin, lowest, verdict, .. } = load;
    let brown_out = sheet.judged_by == JudgedBy::BrownOut;
    let needed = sheet.brown_out.map(|volts| glued(&si(volts.0, 3, "V"))).unwrap_or_default();
    let (at, left) = (at_load(*lowest), lost(margin.abs()));
    let max_drop = lost(sheet.max_drop);
    if !load.cut.is_empty() {
        return format!("No current reaches {name}: {} is open.", load.cut.join(", "));
    }
    match (verdict, brown_out) {
        (Verdict::Pass, true) => {
            format!("{name} keeps {at} at least, {left} above its brown-out at {needed}.")
        }
        (Verdict::Pass, false) => {
            format!("The path to {name} and back costs at most its {max_drop}; {left} are left.")
        }
        (Verdict::Fail, true) => format!(
            "{name} browns out: in the worst case it is below {needed} even by the least that the path may have."
        ),
        (Verdict::Fail, false) => format!(
            "The path to {name} and back costs more than its {max_drop} even by the least that it may have."
        ),
        (_, true) if *margin < Volts::ZERO => {
            format!(
                "{name} may fall to {at}, {left} below its brown-out at {needed}; by the least that the path may have it does not."
            )
        }
        (_, false) if *margin < Volts::ZERO => {
            format!(
                "The path to {name} and back may cost {left} more than its {max_drop}; by the least that it may have it does not."
            )
        }
        _ => format!(
            "{name} has what it needs if what was not read keeps its limits: {}.",
            load.not_read.join(", ")
        ),
    }
}

/// The worst of the loads, in a sentence.
pub fn headline(sheet: &DropSheet) -> String {
    let rank = |load: &&LoadDrop| match load.verdict {
        Verdict::Fail | Verdict::Void => 0,
        Verdict::Unproven => 1,
        Verdict::Pass => 2,
    };
    let worst = sheet.loads.iter().min_by(|a, b| rank(a).cmp(&rank(b)).then(a.margin.total_cmp(&b.margin)));
    worst.map_or_else(|| "No state supplies a load.".to_owned(), |load| finding(sheet, load))
}

/// What takes most, and what gains most.
pub fn advice(load: &LoadDrop) -> Vec<String> {
    /// A gain of less is not worth an iron.
    const LEAST: Volts = Volts(1e-3);
    let mut said = Vec::new();
    if let Some(part) = load.parts.iter().max_by(|a, b| a.drop.total_cmp(&b.drop)) {
        let of = share(part.share);
        said.push(format!("Most is lost in {}: {}, {of} of all.", name(part), lost(part.drop)));
    }
    if let Some(gain) = &load.halved {
        said.push(format!(
            "Of all segments {} gains most: half its resistance is worth {} at {}.",
            gain.segment,
            lost(gain.gain),
            load.load
        ));
    }
    if let Some(gain) = load.healthy.as_ref().filter(|gain| gain.gain >= LEAST) {
        said.push(format!(
            "Where {} reads what a healthy one does, {} come back.",
            gain.segment,
            lost(gain.gain)
        ));
    }
    said
}
