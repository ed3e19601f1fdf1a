//! What has to be bought or cut for a bed, with counts.

use super::plate::{Plate, Use};
use super::{Bed, Family, family, locate};

/// One kind of thing.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Part {
    /// How many.
    pub count: usize,
    /// What.
    pub what: String,
    /// What to look for.
    pub detail: String,
}

/// Everything, pins first.
pub fn parts(bed: &Bed, plates: &[Plate]) -> Vec<Part> {
    let mut parts = Vec::new();
    for (at, family) in bed.families.list().iter().enumerate() {
        let count = bed.pins.iter().filter(|pin| pin.family == at).count();
        if count > 0 {
            parts.extend(pins(family, count));
        }
    }
    let holes =
        |what: Use| plates.iter().flat_map(|plate| &plate.holes).filter(|hole| hole.what == what).count();
    for plate in plates {
        parts.push(Part {
            count: 1,
            what: format!("{} plate", plate.level.word()),
            detail: format!(
                "{:.0} x {:.0} mm, {} mm thick, insulating (FR-4, acrylic or printed)",
                plate.size_mm[0], plate.size_mm[1], plate.thickness_mm
            ),
        });
    }
    for tooling in &bed.start.plates.tooling {
        parts.push(Part {
            count: 1,
            what: "tooling pin".into(),
            detail: format!("{:.2} mm diameter", tooling.pin_mm),
        });
    }
    let mut add = |count: usize, what: &str, detail: String| {
        if count > 0 {
            parts.push(Part { count, what: what.into(), detail });
        }
    };
    add(holes(Use::Stop), "stop", format!("dowel pin, {} mm diameter", locate::STOP_MM));
    add(
        holes(Use::Post),
        "post",
        "M3 spacer, nylon, with screw; its length so that pins work at two thirds of their travel".into(),
    );
    add(holes(Use::Pillar) / 2, "pillar", "M4 spacer with two screws, or hinge and latch instead".into());
    for standard in &bed.start.standards {
        add(
            1,
            "check standard",
            format!(
                "{}: {} ohm, {} %, four wires",
                standard.name,
                standard.resistance.0,
                standard.tolerance * 100.0
            ),
        );
    }
    parts
}

fn pins(family: &Family, count: usize) -> [Part; 2] {
    let Family { name, pitch_mm, drill_mm, diameter_mm, travel_mm, tip, force_newton } = family;
    let pin = format!(
        "{name}: {} tip, {diameter_mm} mm, travel {travel_mm} mm, {force_newton} N at {:.1} mm",
        tip.word(),
        travel_mm * family::WORKING
    );
    [
        Part { count, what: "spring pin".into(), detail: pin },
        Part {
            count,
            what: "receptacle".into(),
            detail: format!("{name}: pitch {pitch_mm:.2} mm, drill {drill_mm} mm"),
        },
    ]
}

/// The list as rows of text, the head first.
pub fn rows(parts: &[Part]) -> Vec<Vec<String>> {
    let head = ["count", "part", "detail"].map(String::from).to_vec();
    let row = |part: &Part| vec![part.count.to_string(), part.what.clone(), part.detail.clone()];
    std::iter::once(head).chain(parts.iter().map(row)).collect()
}
