//! Why something is neither proven good nor proven bad: one sentence a row.

use crate::{
    board::{Board, SegmentId},
    finding::{
        isolation,
        segment::{self, Doubt},
    },
    quantity::engineering,
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
        Doubt::NotReached => match beside(Class::Open) {
            opens if !opens.is_empty() => format!("No current reaches it past the open at {opens}."),
            _ => match beside(Class::Flaky) {
                flaky if !flaky.is_empty() => format!("No current came through it while {flaky} came and went."),
                _ => "No current could be sent through it with both its sense pins in touch.".into(),
            },
        },
        Doubt::Straddles => {
            let value = finding.value.as_ref()?;
            format!(
                "{} ± {} is neither proven inside its limits nor outside, though every sample allowed was taken.",
                engineering(value.at_20c),
                engineering(value.expanded())
            )
        }
        Doubt::Disturbed(Some(mover)) => format!("Hidden by the flaky contact at {}.", name(mover)),
        Doubt::Disturbed(None) => "It was read only while something in its path moved.".into(),
        Doubt::SurveyOnly => {
            "It was read only in the quick survey of a path that is not as it should be, which is too rough for its limit."
                .into()
        }
        Doubt::OverRange => "It reads at the end of the range: only a lower bound is known.".into(),
    })
}

/// Why an isolation is not proven; `None` where it is.
pub fn of_isolation(board: &Board, finding: &isolation::Finding) -> Option<String> {
    use isolation::Doubt;
    Some(match finding.doubt? {
        Doubt::NotReached => "It was not read: the sweep ended before it, or no current reached it.".into(),
        Doubt::Charging => "A capacitor was still charging when the time was up.".into(),
        Doubt::Straddles => "Its bounds hold the limit.".into(),
        Doubt::MaskedBy(leak) => {
            format!("It was read past the leak at {}, round by way of the bulk capacitor.", leak.name(board))
        }
    })
}
