//! Between the frozen structs and the types the program works with, names looked up in board and fixture.

use copperwalk_wire::{self as wire, Contacts, message};

use super::{
    RawError,
    v2::{self, Name, Names},
};
use crate::{
    board::{Board, PointId, SegmentId},
    fixture::Fixture,
    role::Role,
};

impl Names {
    /// The index of a name, which is added if it is new.
    pub(crate) fn index(&mut self, name: &str) -> Result<Name, RawError> {
        let at = self.0.iter().position(|known| known == name).unwrap_or_else(|| {
            self.0.push(name.into());
            self.0.len() - 1
        });
        Name::try_from(at).map_err(|_| RawError::Range { what: "name", number: at })
    }

    /// The name at an index.
    pub(crate) fn name(&self, index: Name) -> Result<&str, RawError> {
        let number = usize::from(index);
        self.0.get(number).map(String::as_str).ok_or(RawError::Range { what: "name", number })
    }

    fn point(&self, board: &Board, index: Name) -> Result<PointId, RawError> {
        let name = self.name(index)?;
        board.point_named(name).ok_or_else(|| unknown("point", name))
    }

    fn segment(&self, board: &Board, index: Name) -> Result<SegmentId, RawError> {
        let name = self.name(index)?;
        board.segment_named(name).ok_or_else(|| unknown("segment", name))
    }
}

fn unknown(what: &'static str, name: &str) -> RawError {
    RawError::Unknown { what, name: name.into() }
}

/// A role by names.
pub(crate) fn role(fixture: &Fixture, names: &mut Names, role: &Role) -> Result<v2::Role, RawError> {
    let board = &fixture.board;
    let point = |names: &mut Names, id: PointId| {
        let number = id.index();
        let point = board.points.get(number).ok_or(RawError::Range { what: "point", number })?;
        names.index(&point.name)
    };
    let segment = |names: &mut Names, id: SegmentId| {
        let number = id.index();
        let segment = board.segments.get(number).ok_or(RawError::Range { what: "segment", number })?;
        names.index(&segment.name)
    };
    Ok(match *role {
        Role::Residual => v2::Role::Residual,
        Role::Bleed => v2::Role::Bleed,
        Role::Temperature => v2::Role::Temperature,
        Role::ForceGuard => v2::Role::ForceGuard,
        Role::SenseGuard => v2::Role::SenseGuard,
        Role::EndToEnd { from, to } => {
            v2::Role::EndToEnd { from: point(names, from)?, to: point(names, to)? }
        }
        Role::Segment { segment: id, swapped } => v2::Role::Segment { segment: segment(names, id)?, swapped },
        Role::Survey { segment: id, swapped } => v2::Role::Survey { segment: segment(names, id)?, swapped },
        Role::OneWay(id) => v2::Role::OneWay { segment: segment(names, id)? },
        Role::Mesh { segment: id, swapped } => v2::Role::Mesh { segment: segment(names, id)?, swapped },
        Role::PastPin { around } => v2::Role::PastPin { point: point(names, around)? },
        Role::Between { from, to } => v2::Role::Between { from: point(names, from)?, to: point(names, to)? },
        Role::Isolation(number) => {
            let item = board.isolation.get(number).ok_or(RawError::Range { what: "isolation", number })?;
            let [a, b] = item.between;
            let number = item.state.index();
            let state = board.states.get(number).ok_or(RawError::Range { what: "state", number })?;
            v2::Role::Isolation {
                between: [point(names, a)?, point(names, b)?],
                state: names.index(&state.name)?,
            }
        }
        Role::OpenSwitch(id) => v2::Role::OpenSwitch { segment: segment(names, id)? },
        Role::Standard(number) => {
            let standard =
                fixture.standards.get(number).ok_or(RawError::Range { what: "check standard", number })?;
            v2::Role::Standard { standard: names.index(&standard.name)? }
        }
        Role::OtherRelay { point: id, plus } => v2::Role::OtherRelay { point: point(names, id)?, plus },
        Role::WeldSearch { point: id } => v2::Role::WeldSearch { point: point(names, id)? },
        Role::Hum => v2::Role::Hum,
        Role::Thermometer(number) => {
            let thermometer =
                fixture.thermometers.get(number).ok_or(RawError::Range { what: "thermometer", number })?;
            v2::Role::Thermometer { thermometer: names.index(&thermometer.name)? }
        }
    })
}

/// A role by names, looked up.
pub(crate) fn role_of(fixture: &Fixture, names: &Names, role: v2::Role) -> Result<Role, RawError> {
    let board = &fixture.board;
    let point = |index| names.point(board, index);
    let segment = |index| names.segment(board, index);
    Ok(match role {
        v2::Role::Residual => Role::Residual,
        v2::Role::Bleed => Role::Bleed,
        v2::Role::Temperature => Role::Temperature,
        v2::Role::ForceGuard => Role::ForceGuard,
        v2::Role::SenseGuard => Role::SenseGuard,
        v2::Role::EndToEnd { from, to } => Role::EndToEnd { from: point(from)?, to: point(to)? },
        v2::Role::Segment { segment: index, swapped } => Role::Segment { segment: segment(index)?, swapped },
        v2::Role::Survey { segment: index, swapped } => Role::Survey { segment: segment(index)?, swapped },
        v2::Role::OneWay { segment: index } => Role::OneWay(segment(index)?),
        v2::Role::Mesh { segment: index, swapped } => Role::Mesh { segment: segment(index)?, swapped },
        v2::Role::PastPin { point: index } => Role::PastPin { around: point(index)? },
        v2::Role::Between { from, to } => Role::Between { from: point(from)?, to: point(to)? },
        v2::Role::Isolation { between: [a, b], state } => {
            let (between, state) = ([point(a)?, point(b)?], names.name(state)?);
            let is_it = |item: &crate::board::Isolation| {
                item.between == between
                    && board.states.get(item.state.index()).is_some_and(|known| known.name == state)
            };
            let found = board.isolation.iter().position(is_it);
            Role::Isolation(found.ok_or_else(|| {
                let [a, b] = between.map(|id| &board.point(id).name);
                unknown("isolation", &format!("{a}~{b}, {state}"))
            })?)
        }
        v2::Role::OpenSwitch { segment: index } => Role::OpenSwitch(segment(index)?),
        v2::Role::Standard { standard } => {
            let name = names.name(standard)?;
            let found = fixture.standards.iter().position(|standard| standard.name == name);
            Role::Standard(found.ok_or_else(|| unknown("check standard", name))?)
        }
        v2::Role::OtherRelay { point: index, plus } => Role::OtherRelay { point: point(index)?, plus },
        v2::Role::WeldSearch { point: index } => Role::WeldSearch { point: point(index)? },
        v2::Role::Hum => Role::Hum,
        v2::Role::Thermometer { thermometer } => {
            let name = names.name(thermometer)?;
            let found = fixture.thermometers.iter().position(|thermometer| thermometer.name == name);
            Role::Thermometer(found.ok_or_else(|| unknown("thermometer", name))?)
        }
    })
}

/// A channel number; the wire's own type may be narrower than the format's.
fn channel<T: TryFrom<u16>>(number: Option<u16>) -> Result<Option<T>, RawError> {
    let narrow =
        |number| T::try_from(number).map_err(|_| RawError::Range { what: "channel", number: number.into() });
    number.map(narrow).transpose()
}

fn wide(number: Option<impl Into<u16>>) -> Option<u16> {
    number.map(Into::into)
}

/// A shot, frozen.
pub(crate) fn shot(shot: &wire::Shot) -> v2::Shot {
    let Contacts { force_plus, force_minus, sense_plus, sense_minus } = shot.contacts;
    let method = match shot.method {
        wire::Method::Residual => v2::Method::Residual,
        wire::Method::Bleed { millis } => v2::Method::Bleed { millis },
        wire::Method::Sample { input, reversed, burnout, gain, rate, count } => v2::Method::Sample {
            input: input.into(),
            reversed,
            burnout,
            gain: gain.into(),
            rate: rate.into(),
            count,
        },
        wire::Method::Ratio(ratio) => v2::Method::Ratio(v2::Ratio {
            gain_a: ratio.gain_a.into(),
            gain_b: ratio.gain_b.into(),
            rate: ratio.rate.into(),
            wait_us: ratio.wait_us,
            contact_check: ratio.contact_check,
            ends: ratio.ends,
            triples_min: ratio.triples_min,
            triples_max: ratio.triples_max,
            stop: ratio.stop.map(|wire::Stop { lo, hi, close, sigma_a, sigma_b, rel, k }| v2::Stop {
                lo,
                hi,
                close,
                sigma_a,
                sigma_b,
                rel,
                k,
            }),
            gate: ratio.gate,
        }),
        wire::Method::Settle(settle) => {
            let frozen = v2::Settle {
                gain_a: settle.gain_a.into(),
                gain_b: settle.gain_b.into(),
                rate: settle.rate.into(),
                window: settle.window,
                windows_max: settle.windows_max,
                pass: settle.pass,
                slope: settle.slope,
                floor: settle.floor,
            };
            if settle.turned { v2::Method::SettleTurned(frozen) } else { v2::Method::Settle(frozen) }
        }
        wire::Method::Watch(wire::Watch { gain_a, gain_b, rate, pairs }) => v2::Method::Watch(v2::Watch {
            gain_a: gain_a.into(),
            gain_b: gain_b.into(),
            rate: rate.into(),
            pairs,
        }),
    };
    v2::Shot {
        contacts: [wide(force_plus), wide(force_minus), wide(sense_plus), wide(sense_minus)],
        source: shot.source.into(),
        method,
    }
}

/// A shot from its frozen form.
pub(crate) fn shot_of(shot: v2::Shot) -> Result<wire::Shot, RawError> {
    let [force_plus, force_minus, sense_plus, sense_minus] = shot.contacts;
    let method = match shot.method {
        v2::Method::Residual => wire::Method::Residual,
        v2::Method::Bleed { millis } => wire::Method::Bleed { millis },
        v2::Method::Sample { input, reversed, burnout, gain, rate, count } => wire::Method::Sample {
            input: input.into(),
            reversed,
            burnout,
            gain: gain.into(),
            rate: rate.into(),
            count,
        },
        v2::Method::Ratio(ratio) => wire::Method::Ratio(wire::Ratio {
            gain_a: ratio.gain_a.into(),
            gain_b: ratio.gain_b.into(),
            rate: ratio.rate.into(),
            wait_us: ratio.wait_us,
            contact_check: ratio.contact_check,
            ends: ratio.ends,
            triples_min: ratio.triples_min,
            triples_max: ratio.triples_max,
            stop: ratio.stop.map(|v2::Stop { lo, hi, close, sigma_a, sigma_b, rel, k }| wire::Stop {
                lo,
                hi,
                close,
                sigma_a,
                sigma_b,
                rel,
                k,
            }),
            gate: ratio.gate,
        }),
        v2::Method::Settle(frozen) => wire::Method::Settle(settle_of(frozen, false)),
        v2::Method::SettleTurned(frozen) => wire::Method::Settle(settle_of(frozen, true)),
        v2::Method::Watch(v2::Watch { gain_a, gain_b, rate, pairs }) => wire::Method::Watch(wire::Watch {
            gain_a: gain_a.into(),
            gain_b: gain_b.into(),
            rate: rate.into(),
            pairs,
        }),
    };
    let contacts = Contacts {
        force_plus: channel(force_plus)?,
        force_minus: channel(force_minus)?,
        sense_plus: channel(sense_plus)?,
        sense_minus: channel(sense_minus)?,
    };
    Ok(wire::Shot { contacts, source: shot.source.into(), method })
}

fn settle_of(settle: v2::Settle, turned: bool) -> wire::Settle {
    wire::Settle {
        gain_a: settle.gain_a.into(),
        gain_b: settle.gain_b.into(),
        rate: settle.rate.into(),
        window: settle.window,
        windows_max: settle.windows_max,
        pass: settle.pass,
        slope: settle.slope,
        floor: settle.floor,
        turned,
    }
}

/// What broke, frozen.
fn frozen_fault(fault: message::Fault) -> v2::Fault {
    match fault {
        message::Fault::Lid => v2::Fault::Lid,
        message::Fault::Heartbeat => v2::Fault::Heartbeat,
        message::Fault::AdcTimeout => v2::Fault::AdcTimeout,
        message::Fault::AdcRegisters => v2::Fault::AdcRegisters,
        message::Fault::Matrix => v2::Fault::Matrix,
        message::Fault::Line => v2::Fault::Line,
        message::Fault::Register { behind } => v2::Fault::Register { behind },
    }
}

/// What broke, from its frozen form.
fn fault_of(fault: v2::Fault) -> message::Fault {
    match fault {
        v2::Fault::Lid => message::Fault::Lid,
        v2::Fault::Heartbeat => message::Fault::Heartbeat,
        v2::Fault::AdcTimeout => message::Fault::AdcTimeout,
        v2::Fault::AdcRegisters => message::Fault::AdcRegisters,
        v2::Fault::Matrix => message::Fault::Matrix,
        v2::Fault::Line => message::Fault::Line,
        v2::Fault::Register { behind } => message::Fault::Register { behind },
    }
}

/// Why a run ended, frozen.
pub(crate) fn end(end: message::RunEnd) -> v2::RunEnd {
    match end {
        message::RunEnd::Complete => v2::RunEnd::Complete,
        message::RunEnd::Gate => v2::RunEnd::Gate,
        message::RunEnd::Residual => v2::RunEnd::Residual,
        message::RunEnd::NoContact => v2::RunEnd::NoContact,
        message::RunEnd::Stopped => v2::RunEnd::Stopped,
        message::RunEnd::Fault(fault) => v2::RunEnd::Fault(frozen_fault(fault)),
    }
}

/// Why a run ended, from its frozen form.
pub(crate) fn end_of(end: v2::RunEnd) -> message::RunEnd {
    match end {
        v2::RunEnd::Complete => message::RunEnd::Complete,
        v2::RunEnd::Gate => message::RunEnd::Gate,
        v2::RunEnd::Residual => message::RunEnd::Residual,
        v2::RunEnd::NoContact => message::RunEnd::NoContact,
        v2::RunEnd::Stopped => message::RunEnd::Stopped,
        v2::RunEnd::Fault(fault) => message::RunEnd::Fault(fault_of(fault)),
    }
}
