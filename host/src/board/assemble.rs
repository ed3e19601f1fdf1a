//! A draft in which everything is there becomes the board.

use super::file::{Draft, SegmentDraft};
use super::model::Parsed;
use super::{Board, Check, Isolation, Segment, StatedLimits, Supply};
use crate::document::{Sheet, Told};

/// Puts the board together.
///
/// # Errors
/// Anything was wrong in the file.
pub(super) fn assemble(sheet: &Sheet, draft: Draft) -> Result<Board, Told> {
    sheet.sound()?;
    let (heading, supply_draft) = (draft.heading?, draft.supply?);
    let laminate = heading.laminate?;
    let supply = Supply {
        from: supply_draft.from?.value,
        to: supply_draft.to?.into_iter().map(|load| load.value).collect(),
        ret: supply_draft.ret?.value,
        voltage: supply_draft.voltage?,
        load: supply_draft.load?,
        max_drop: supply_draft.max_drop?.value,
        bulk: supply_draft.bulk?,
    };
    let points = draft.points.into_iter().map(|point| point.point).collect::<Result<Vec<_>, _>>()?;
    let segments = draft.segments.into_iter().collect::<Result<Vec<_>, _>>()?;
    let isolation = draft.isolation.into_iter().map(|isolation| {
        let isolation = isolation?;
        Ok(Isolation { between: isolation.between?, min: isolation.min?, state: isolation.state? })
    });
    let checks = draft.checks.into_iter().map(|check| {
        let check = check?;
        Ok(Check { name: check.name?.value, help: check.help? })
    });
    Ok(Board {
        name: heading.name?,
        revision: heading.revision?,
        thickness_mm: laminate.thickness_mm,
        copper_um: laminate.copper_um,
        outline: heading.outline?,
        supply,
        states: draft.states?,
        points,
        segments: segments.into_iter().map(segment).collect::<Result<_, _>>()?,
        isolation: isolation.collect::<Result<_, Told>>()?,
        checks: checks.collect::<Result<_, Told>>()?,
        source: sheet.text().to_owned(),
        hash: sheet.hash(),
        parsed: Parsed,
    })
}

fn segment(draft: SegmentDraft) -> Result<Segment, Told> {
    let [from, to] = draft.ends?;
    Ok(Segment {
        name: draft.name?.value,
        kind: draft.kind?,
        from,
        to,
        closed: draft.closed?,
        expected: draft.expected?,
        stated: StatedLimits { min: draft.min?, max: draft.max? },
        open_min: draft.open_min?,
    })
}
