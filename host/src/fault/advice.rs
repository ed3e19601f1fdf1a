//! Advice: what usually causes a fault, the fitting repair, and what to take care of.
//!
//! Common practice of board repair, in our own words.

use crate::{
    board::{Board, Point, Segment, SegmentId, SegmentKind, Side},
    finding::isolation::{Barrier, Finding},
    fitted::Wire,
    sweep::Advice,
    verdict::Class,
};

const SOLDER: &str = "Battery out first. Wear eye protection and draw the fumes away.";
const HEAT: &str = "Battery out first. Do not reflow near a lithium cell or a plastic switch body without a shield; \
                    wear eye protection and draw the fumes away.";
const CLEANER: &str =
    "Battery out first. Contact cleaner is flammable: no iron nearby, and let it dry before power.";

/// Advice on a segment.
pub fn for_segment(board: &Board, id: SegmentId, class: Class) -> Advice {
    let segment = board.segment(id);
    let [from, to] = [segment.from, segment.to].map(|point| board.point(point));
    let (cause, repair, caution) = match (&segment.kind, class) {
        (_, Class::Flaky) if segment.kind.is_contact() => moving_contact(segment),
        (_, Class::Flaky) => (
            "a crack that opens and closes with heat or bending".into(),
            format!("look at it under magnification while flexing the board gently; then {}", mend(segment, from, to)),
            SOLDER.into(),
        ),
        (_, Class::Low) => (
            "another path lies in parallel: a solder bridge, a whisker, or a part of the wrong value".into(),
            format!("inspect between {} and {}, clear bridges, compare the part with the parts list", from.name, to.name),
            SOLDER.into(),
        ),
        (SegmentKind::Via { count, .. }, Class::RedundancyLost) => (
            format!("one of the {count} parallel plated holes is cracked or was never plated through; the others still carry"),
            "no repair is needed to run it; rebuild it while the board is open, because the next crack ends it"
                .into(),
            SOLDER.into(),
        ),
        (_, Class::Film) => (
            "an insulating film on the contact: it reads high in a dry circuit and low once load current has broken through".into(),
            "clean the contact with contact cleaner and work it ten times; if the film comes back, replace the part"
                .into(),
            CLEANER.into(),
        ),
        (kind, class) => usual(kind, class, segment, from, to),
    };
    Advice { cause, repair, caution }
}

fn usual(
    kind: &SegmentKind,
    class: Class,
    segment: &Segment,
    from: &Point,
    to: &Point,
) -> (String, String, String) {
    let open = class == Class::Open;
    let cause = match kind {
        SegmentKind::Trace { .. } if open => {
            "a broken trace: corrosion under the mask, a scratch, or a crack at a bend"
        }
        SegmentKind::Trace { .. } => "a trace eaten thin by corrosion, or cracked part of the way across",
        SegmentKind::Pour { .. } if open => {
            "the pour is cut off from one of its ends: thermal spokes or its narrowest place are corroded or cracked through"
        }
        SegmentKind::Pour { .. } => {
            "a pour eaten thin by corrosion, or some of the thermal spokes at its ends are broken"
        }
        SegmentKind::Via { .. } if open => {
            "the via barrels, the copper sleeves of the plated holes, are cracked or corroded through, often where liquid stood"
        }
        SegmentKind::Via { .. } => {
            "via barrels, the copper sleeves of the plated holes, cracked part of the way round or thinned by corrosion"
        }
        SegmentKind::Joint if open => "the joint has let go: a cracked or dry solder joint, or a lifted pad",
        SegmentKind::Joint => "a poor joint: cracked, dry, or with flux between the faces",
        SegmentKind::Fuse { .. } if open => "the fuse is blown; something behind it may have drawn too much",
        SegmentKind::Fuse { .. } => "an aged fuse, or one of a lower rating",
        SegmentKind::Resettable { .. } if open => "the resettable fuse is cracked or has burnt out",
        SegmentKind::Resettable { .. } => {
            "the resettable fuse has tripped lately or often and did not come back to its value"
        }
        SegmentKind::Ferrite if open => {
            "the bead is cracked, usually by bending the board or by too much current"
        }
        SegmentKind::Ferrite => "a bead of the wrong type, or one end poorly soldered",
        SegmentKind::Inductor if open => "the winding is broken, usually at the lead-out",
        SegmentKind::Inductor => "wrong part, or one end poorly soldered",
        SegmentKind::Shunt { .. } if open => "the shunt is cracked or burnt",
        SegmentKind::Shunt { .. } => "a shunt of the wrong value, overheated, or poorly soldered",
        SegmentKind::Switch if open => "the switch does not make: worn, bent or heavily tarnished contacts",
        SegmentKind::Switch => "dirty or worn contacts: hundreds of ohms mean dirt, a few ohms mean wear",
        SegmentKind::Connector if open => "the connector is not seated, or a contact is bent back or gone",
        SegmentKind::Connector => "tarnished or slack contacts in the connector",
        SegmentKind::Wire { .. } if open => "the wire is broken, usually where it leaves its solder joint",
        SegmentKind::Wire { .. } => "strands broken, or a poor joint at an end",
        SegmentKind::Diode { .. } | SegmentKind::Transistor { .. } => match class {
            Class::Open => "no current passes it even forward: burnt out, cracked, or a lifted leg",
            Class::Shorted => {
                "it conducts both ways: broken down, often by a reversed battery or a surge, or bridged by solder"
            }
            Class::Leaky => {
                "it lets current through backwards: damaged by heat or a surge, or residue around it"
            }
            _ => {
                "its forward voltage is too high: a wrong part, such as silicon instead of Schottky, or a poor joint"
            }
        },
    };
    let caution = match kind {
        SegmentKind::Switch | SegmentKind::Connector => CLEANER.into(),
        SegmentKind::Joint => HEAT.into(),
        SegmentKind::Fuse { .. } | SegmentKind::Resettable { .. } if open => {
            format!("Never bridge a fuse: fit the same rating. {SOLDER}")
        }
        _ => SOLDER.into(),
    };
    (cause.into(), mend(segment, from, to), caution)
}

/// The repair that fits the kind.
fn mend(segment: &Segment, from: &Point, to: &Point) -> String {
    let around = format!("run an insulated wire from {} to {}{}", from.name, to.name, sides(from, to));
    match &segment.kind {
        SegmentKind::Trace { width_mm, .. } => format!(
            "scrape and bridge the break, or {around}; use wire with at least the copper of a {width_mm} mm trace, keep it off \
             switch travel, screw holes, the battery bay and the board's edge"
        ),
        SegmentKind::Pour { .. } => format!(
            "look at the spokes round {} and {} first; scrape and bridge what is broken, or {around}, to places of the \
             pour that read good",
            from.name, to.name
        ),
        SegmentKind::Via { .. } => format!(
            "rebuild the via: clean the hole, pass a thin wire through it and solder it on both sides; if the hole is lost, \
             {around}, not across the battery bay, a screw boss or the edge where the case closes"
        ),
        SegmentKind::Joint => format!(
            "reflow the joint at {} and {} with fresh flux and a little solder; if the pad has lifted, {around}",
            from.name, to.name
        ),
        SegmentKind::Fuse { .. } => format!(
            "look for a short behind {} first, then replace the fuse with one of the same rating and speed",
            to.name
        ),
        SegmentKind::Resettable { .. } => {
            "let it cool for an hour and sweep again; if it stays high, replace it with the same hold current".into()
        }
        SegmentKind::Ferrite => {
            "reflow both ends; if it stays open, replace it with a bead of the same impedance and at least the same current"
                .into()
        }
        SegmentKind::Inductor => {
            "reflow both ends; if it stays open, replace it with the same inductance and saturation current".into()
        }
        SegmentKind::Shunt { .. } => {
            "replace it with the same value and power; never bridge it, the current limit depends on it".into()
        }
        SegmentKind::Switch => {
            "clean it with contact cleaner and work it twenty times; if it does not come back, replace the switch".into()
        }
        SegmentKind::Connector => {
            "reseat it, clean both halves with contact cleaner, tighten slack contacts; else replace the connector".into()
        }
        SegmentKind::Diode { .. } | SegmentKind::Transistor { .. } => format!(
            "reflow its legs and look for bridges; if it stays, replace it with the same type, its current-carrying direction from {} to {}",
            from.name, to.name
        ),
        SegmentKind::Wire { awg, .. } => {
            format!("replace the wire with AWG {awg} or thicker, and give it a loop so that the joint is not pulled")
        }
    }
}

fn moving_contact(segment: &Segment) -> (String, String, String) {
    match segment.kind {
        SegmentKind::Joint => (
            "a cracked solder joint: it makes and breaks with heat, bending or a touch".into(),
            "reflow the joint with fresh flux; add a little solder; if the part moves, reflow its other joints too".into(),
            HEAT.into(),
        ),
        _ => (
            "a contact that makes and breaks by itself: wear, slack springs or dirt".into(),
            "clean it with contact cleaner and work it; if it still moves, replace the part".into(),
            CLEANER.into(),
        ),
    }
}

/// Advice on a wire that a repair fitted.
pub fn for_wire(wire: &Wire, class: Class) -> Advice {
    let cause = match class {
        Class::Open => "the wire is off at an end, or broken where it leaves its joint",
        Class::Flaky => "a joint of the wire comes and goes: cold, or on a pad that has lifted",
        _ => "a poor joint at an end of the wire, or a wire too thin or too long",
    };
    Advice {
        cause: cause.into(),
        repair: format!(
            "pull gently at both ends; then clean, flux and reflow the joints at {} and {}; if a pad has lifted, solder the wire to the \
             next sound place of the same net",
            wire.from, wire.to
        ),
        caution: SOLDER.into(),
    }
}

/// Says when a wire has to change sides.
fn sides(from: &Point, to: &Point) -> &'static str {
    match (from.side, to.side) {
        (Side::Front, Side::Back) | (Side::Back, Side::Front) => {
            " (it changes sides: lead it round through an unused hole)"
        }
        _ => "",
    }
}

/// Advice on an isolation fault.
pub fn for_isolation(board: &Board, finding: &Finding) -> Advice {
    let [a, b] = finding.between.map(|point| &board.point(point).name);
    let is_switch = matches!(finding.barrier, Barrier::Switch(_));
    let (cause, repair, caution) = match (is_switch, finding.class) {
        (true, Class::Shorted) => (
            "the switch conducts while it should be open: welded contacts, or a solder bridge across it".to_owned(),
            format!("look for a bridge between {a} and {b}; if there is none, replace the switch"),
            SOLDER,
        ),
        (true, _) => (
            "current creeps across the open switch: residue or moisture inside or under it".to_owned(),
            "wash around and under the switch with isopropyl alcohol, dry it warm, sweep again; else replace it".to_owned(),
            CLEANER,
        ),
        (false, Class::Shorted) => (
            format!("{a} and {b} are shorted: a solder bridge, a failed capacitor or a dead regulator"),
            "do not power it. Look for bridges; lift the capacitors one by one, sweeping after each, until the short is gone"
                .to_owned(),
            SOLDER,
        ),
        (false, _) => (
            format!("current leaks between {a} and {b}: flux or electrolyte residue, moisture, or a leaky capacitor"),
            "wash the area with isopropyl alcohol and a brush, dry it warm, sweep again; if it stays, suspect the bulk capacitor"
                .to_owned(),
            "Battery out first. Alcohol is flammable; electrolyte residue is corrosive: wear gloves and eye protection.",
        ),
    };
    Advice { cause, repair, caution: caution.into() }
}
