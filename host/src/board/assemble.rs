//! A draft in which everything is there becomes the board.

use super::drop_budget::{self, DropBudget};
use super::file::{Draft, PowerDraft, SegmentDraft};
use super::graph::Graph;
use super::model::Parsed;
use super::{
    Assumed, Board, Check, Isolation, Power, Rail, Segment, SegmentKind, StateId, StatedLimits, Supply, parts,
};
use crate::document::{Sheet, Told};
use crate::quantity::{Amps, Volts};

/// Puts the board together.
///
/// # Errors
/// Anything was wrong in the file.
pub(super) fn assemble(sheet: &Sheet, draft: Draft) -> Result<Board, Told> {
    sheet.sound()?;
    let (heading, supply_draft) = (draft.heading?, draft.supply?);
    let laminate = heading.laminate?;
    let mut assumed = [heading.assumed, supply_draft.assumed].concat();
    let supply = Supply {
        from: supply_draft.from?.value,
        to: supply_draft.to?.into_iter().map(|load| load.value).collect(),
        ret: supply_draft.ret?.value,
        voltage: supply_draft.voltage?,
        load: supply_draft.load?,
        max_drop: supply_draft.max_drop?.value,
        source: supply_draft.source?,
        brown_out: supply_draft.brown_out?,
        bulk: supply_draft.bulk?,
    };
    let points = draft.points.into_iter().map(|point| point.point).collect::<Result<Vec<_>, _>>()?;
    let segments = draft.segments.into_iter().collect::<Result<Vec<_>, _>>()?;
    assumed.extend(segments.iter().flat_map(|segment| segment.assumed.iter().copied()));
    assumed.sort_unstable();
    assumed.dedup();
    let isolation = draft.isolation.into_iter().map(|isolation| {
        let isolation = isolation?;
        Ok(Isolation {
            between: isolation.between?,
            min: isolation.min?,
            state: isolation.state?,
            junction: isolation.junction?,
        })
    });
    let checks = draft.checks.into_iter().map(|check| {
        let check = check?;
        Ok(Check { name: check.name?.value, help: check.help? })
    });
    let rails = draft.rails.into_iter().map(|rail| {
        let rail = rail?;
        Ok(Rail { name: rail.name?.value, at: rail.at?, voltage: rail.voltage? })
    });
    let mut board = Board {
        name: heading.name?,
        revision: heading.revision?,
        thickness_mm: laminate.thickness_mm,
        copper_um: laminate.copper_um,
        outline: heading.outline?,
        segments: segments.into_iter().map(|draft| segment(draft, supply.load)).collect::<Result<_, _>>()?,
        supply,
        states: draft.states?,
        points,
        isolation: isolation.collect::<Result<_, Told>>()?,
        checks: checks.collect::<Result<_, Told>>()?,
        assumed,
        keep_outs: draft.keep_outs.into_iter().collect::<Result<_, _>>()?,
        holes: draft.holes.into_iter().map(|hole| hole.map(|(_, hole)| hole)).collect::<Result<_, _>>()?,
        power: None,
        rails: rails.collect::<Result<_, Told>>()?,
        source: sheet.text().to_owned(),
        hash: sheet.hash(),
        parsed: Parsed,
    };
    board.power = draft.power.map(|power| self::power(power?, &board)).transpose()?;
    if board.assumed.contains(&Assumed::MaxDrop) {
        let budget = DropBudget::of(&board.supply);
        let ample = drop_budget::ample(&drop_budget::claims(&board), &Graph::of(&board), &budget);
        if ample > budget.resistance {
            board.supply.max_drop = board.supply.load * ample;
        }
    }
    Ok(board)
}

/// What is not said follows from the supply: the middle of its voltages, its load as the limit, and a state in which everything conducts.
fn power(draft: PowerDraft, board: &Board) -> Result<Power, Told> {
    let [low, high] = board.supply.voltage;
    let conducts = |state: &StateId| board.segments.iter().all(|segment| segment.conducts_in(*state));
    let last = StateId::new(board.states.len().saturating_sub(1));
    let (idle, inrush) = (draft.idle?, draft.inrush?);
    let needed =
        [inrush, idle.map(|[_, most]| most)].into_iter().flatten().fold(board.supply.load, Amps::max);
    Ok(Power {
        idle,
        inrush,
        limit: draft.limit?.unwrap_or(needed),
        nominal: draft.nominal?.unwrap_or(Volts(0.5 * (low.0 + high.0))),
        steps: draft.steps?,
        settle: draft.settle?,
        wait: draft.wait?,
        state: draft.state?.or_else(|| board.state_ids().find(conducts)).unwrap_or(last),
        hot: draft.hot?,
    })
}

fn segment(draft: SegmentDraft, load: Amps) -> Result<Segment, Told> {
    let [from, to] = draft.ends?;
    let (kind, expected) = (draft.kind?, draft.expected?);
    let stated = StatedLimits { min: draft.min?, max: draft.max? };
    let (expected, stated) = match kind {
        SegmentKind::Diode { max_forward, .. } => {
            let expected = parts::diode(max_forward, load);
            (expected, StatedLimits { min: None, max: Some(expected.high) })
        }
        _ => (expected, stated),
    };
    Ok(Segment {
        name: draft.name?.value,
        kind,
        from,
        to,
        closed: draft.closed?,
        expected,
        stated,
        open_min: draft.open_min?,
        inductance: draft.inductance?,
    })
}
