//! Why something is neither proven good nor proven bad: one sentence a row.

use crate::{
    board::{Board, SegmentId, SegmentKind},
    finding::{
        isolation,
        segment::{self, Doubt, Value},
        wire,
    },
    measure::one_way::OneWay,
    quantity::{engineering, si},
    verdict::Class,
};

/// Why a segment is not proven; `None` where it is.
pub fn of_segment(board: &Board, finding: &segment::Finding, all: &[segment::Finding]) -> Option<String> {
    let name = |id: SegmentId| board.segment(id).name.as_str();
    let beside = |class: Class| {
        let others = all.iter().filter(|other| other.state == finding.state && other.class == class);
        let names: Vec<&str> = others.map(|other| name(other.segment)).collect();
        names.join(" and ")
    };
    Some(match finding.doubt? {
        Doubt::NotReached => not_reached(&beside),
        Doubt::Conducts(most) => {
            let most = engineering(most);
            format!("{} By the contact check it conducts, below {most}.", not_reached(&beside))
        }
        Doubt::Straddles => straddles(finding.value.as_ref()?, "its limits"),
        Doubt::Disturbed(Some(mover)) => format!("Hidden by the flaky contact at {}.", name(mover)),
        Doubt::Disturbed(None) => "It was read only while something in its path moved.".into(),
        Doubt::SurveyOnly => {
            "It was read only in the quick survey of a path that is not as it should be, which is too rough for its limit."
                .into()
        }
        Doubt::Unsettled => "The current had not settled when it was read, even with the longest wait.".into(),
        Doubt::Backwards => {
            let [_, most] = finding.one_way?.backwards;
            format!("It lets through at most {} backwards, which may be too much.", si(most.0, 2, "A"))
        }
        Doubt::Unpowered => format!("Not judged unpowered: {}.", unpowered(board, finding)?),
        Doubt::LittleCurrent => "Too little of the current through its loop takes it to tell it.".into(),
        Doubt::Unaccounted(ends) => {
            let [a, b] = ends.map(|point| &board.point(point).name);
            format!("The currents in its loop do not add up, as if something joined {a} and {b}.")
        }
        Doubt::Bypassed => "A wire fitted to the unit lies across it; the two are judged together.".into(),
        Doubt::OverRange => "It reads at the end of the range: only a lower bound is known.".into(),
    })
}

/// Why a wire fitted to the unit is not proven; `None` where it is.
pub fn of_wire(finding: &wire::Finding) -> Option<String> {
    Some(match finding.doubt? {
        Doubt::Straddles => straddles(finding.value.as_ref()?, "its limit"),
        Doubt::NotReached | Doubt::Conducts(_) => {
            "Not everything between its ends was read, so what it has together with what it bypasses is not known.".into()
        }
        _ => "Something between its ends was read only roughly or while something moved.".into(),
    })
}

/// The value's interval holds a limit.
fn straddles(value: &Value, limit: &str) -> String {
    format!(
        "{} ± {} is neither proven inside {limit} nor outside, though every sample allowed was taken.",
        engineering(value.at_20c),
        engineering(value.expanded())
    )
}

/// Why no current came through a segment, by what is wrong beside it.
fn not_reached(beside: &impl Fn(Class) -> String) -> String {
    match beside(Class::Open) {
        opens if !opens.is_empty() => format!("No current reaches it past the open at {opens}."),
        _ => match beside(Class::Flaky) {
            flaky if !flaky.is_empty() => format!("No current came through it while {flaky} came and went."),
            _ => "No current could be sent through it with both its sense pins in touch.".into(),
        },
    }
}

/// What a reading without power says of a diode or a transistor, and what it leaves open.
pub fn unpowered(board: &Board, finding: &segment::Finding) -> Option<String> {
    let OneWay { forward, u95, current, backwards: [_, most], .. } = finding.one_way?;
    let figures = format!(
        "{} ± {} forward at {}, at most {} backwards",
        si(forward.0, 3, "V"),
        si(u95.0, 2, "V"),
        si(current.0, 3, "A"),
        si(most.0.max(0.0), 2, "A")
    );
    Some(match board.segment(finding.segment).kind {
        SegmentKind::Diode { max_forward, .. } => format!(
            "{figures}; whether it keeps to {} at {} shows only under power",
            si(max_forward.0, 3, "V"),
            si(board.supply.load.0, 3, "A")
        ),
        _ => format!("{figures}, which is its body diode; whether it switches on shows only under power"),
    })
}

/// Why an isolation is not proven; `None` where it is.
pub fn of_isolation(board: &Board, finding: &isolation::Finding) -> Option<String> {
    use isolation::Doubt;
    Some(match finding.doubt? {
        Doubt::NotReached => "It was not read: the sweep ended before it, or no current reached it.".into(),
        Doubt::Charging => "A capacitor was still charging when the time was up.".into(),
        Doubt::Straddles => "Its bounds hold the limit.".into(),
        Doubt::Junction => {
            "It conducts one way only, or only above some tenths of a volt: a semiconductor in the unit, or a leak beside one. \
             If good units are so, write `junction = true` in the board file."
                .into()
        }
        Doubt::MaskedBy(leak) => {
            format!("It was read past the leak at {}, round by way of the bulk capacitor.", leak.name(board))
        }
    })
}
