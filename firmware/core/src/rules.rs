//! What the controller refuses, whatever the host says.
//!
//! One pin per bus holds by construction of [`Contacts`]; cold switching, break before make, lid and heartbeat
//! are kept while a plan runs. The rest is checked here, before anything moves.

use copperwalk_wire::{Contacts, Method, Shot, Source, Stop, message::Rule};

use crate::matrix::Layout;

/// Checks a whole plan. The error names the first shot that breaks a rule.
pub fn check_plan(shots: &[Shot], layout: Layout) -> Result<(), (u16, Rule)> {
    let mut residual_checked = false;
    for (index, shot) in (0_u16..).zip(shots) {
        check_shot(shot, layout).map_err(|rule| (index, rule))?;
        residual_checked |= shot.method == Method::Residual;
        if shot.source != Source::Off && !residual_checked {
            return Err((index, Rule::ResidualFirst));
        }
    }
    Ok(())
}

/// Checks one shot by itself.
pub fn check_shot(shot: &Shot, layout: Layout) -> Result<(), Rule> {
    let Shot { contacts, source, method } = shot;
    channels(contacts, layout)?;
    let off = *source == Source::Off;
    let force = contacts.force_plus.is_some() as u8 + contacts.force_minus.is_some() as u8;
    let sensed = contacts.sense_plus.is_some() && contacts.sense_minus.is_some();

    let (source_fits, contacts_fit) = match method {
        Method::Residual => (off, force == 2 && sensed),
        Method::Bleed { .. } => (off, force != 1),
        // One bus alone is the guard's question: does a welded relay of the other let current through?
        Method::Sample { .. } => (true, true),
        // Both buses or none: a bench proves its own open circuit with none.
        Method::Ratio(ratio) => (!off, force != 1 && (sensed || !(ratio.contact_check || ratio.ends))),
        Method::Settle(_) => (*source == Source::Isolation, force != 1 && sensed),
        // Whatever the host says: no load current through what may be a contact that comes and goes.
        Method::Watch(_) => (*source == Source::Dry, force == 2 && sensed),
    };
    let (counts_fit, finite) = match method {
        Method::Residual => (true, true),
        Method::Bleed { millis } => (*millis > 0, true),
        Method::Sample { count, .. } => (*count > 0, true),
        Method::Ratio(ratio) => (
            0 < ratio.triples_min && ratio.triples_min <= ratio.triples_max,
            ratio.gate.is_none_or(f32::is_finite) && ratio.stop.as_ref().is_none_or(stop_is_finite),
        ),
        Method::Settle(settle) => (
            settle.window > 0
                // Two windows are compared.
                && settle.windows_max > 1
                // As many pairs either way round.
                && (!settle.turned || settle.window.is_multiple_of(2))
                // Codes are counted in 16 bits.
                && 6 + 2 * u32::from(settle.window) * u32::from(settle.windows_max) <= u32::from(u16::MAX),
            [settle.pass, settle.slope, settle.floor].into_iter().all(f32::is_finite),
        ),
        // Codes are counted in 16 bits.
        Method::Watch(watch) => (0 < watch.pairs && watch.pairs <= u16::MAX / 2, true),
    };
    match () {
        () if !source_fits => Err(Rule::SourceForMethod),
        () if !contacts_fit => Err(Rule::ContactMissing),
        () if !counts_fit => Err(Rule::Counts),
        () if !finite => Err(Rule::NotFinite),
        () => Ok(()),
    }
}

fn channels(contacts: &Contacts, layout: Layout) -> Result<(), Rule> {
    let Contacts { force_plus, force_minus, sense_plus, sense_minus } = *contacts;
    for (plus, minus, count) in
        [(force_plus, force_minus, layout.force_channels), (sense_plus, sense_minus, layout.sense_channels)]
    {
        if [plus, minus].into_iter().flatten().any(|channel| channel >= count) {
            return Err(Rule::ChannelRange);
        }
        if plus.is_some() && plus == minus {
            return Err(Rule::SameChannelTwice);
        }
    }
    Ok(())
}

fn stop_is_finite(stop: &Stop) -> bool {
    let Stop { lo, hi, close, sigma_a, sigma_b, rel, k } = *stop;
    [lo, hi, close, sigma_a, sigma_b, rel, k].into_iter().all(f32::is_finite)
}

#[cfg(test)]
mod tests {
    use copperwalk_wire::{Gain, Input, Rate, Ratio, Settle, Watch};

    use super::*;

    const LAYOUT: Layout = Layout { force_channels: 4, sense_channels: 12 };
    const ALL: Contacts =
        Contacts { force_plus: Some(0), force_minus: Some(3), sense_plus: Some(0), sense_minus: Some(11) };
    const RATIO: Ratio = Ratio {
        gain_a: Gain::X128,
        gain_b: Gain::X4,
        rate: Rate::Sps1000,
        contact_check: true,
        ends: false,
        triples_min: 1,
        wait_us: 0,
        triples_max: 4,
        stop: None,
        gate: None,
    };
    const STOP: Stop = Stop { lo: -1.0, hi: 1.0, close: 0.1, sigma_a: 1.0, sigma_b: 1.0, rel: 0.0, k: 2.0 };
    const SETTLE: Settle = Settle {
        gain_a: Gain::X1,
        gain_b: Gain::X16,
        rate: Rate::Sps330,
        window: 4,
        windows_max: 100,
        pass: 10.0,
        slope: 0.01,
        floor: 5.0,
        turned: false,
    };
    const RESIDUAL: Shot = Shot { contacts: ALL, source: Source::Off, method: Method::Residual };

    fn sample(count: u8) -> Method {
        Method::Sample {
            input: Input::Sense,
            reversed: false,
            burnout: false,
            gain: Gain::X1,
            rate: Rate::Sps1000,
            count,
        }
    }

    fn watch(pairs: u16) -> Method {
        Method::Watch(Watch { gain_a: Gain::X64, gain_b: Gain::X128, rate: Rate::Sps1000, pairs })
    }

    #[test]
    fn every_rule_is_kept() {
        let shot = |source, method| Shot { contacts: ALL, source, method };
        let with = |contacts, source, method| Shot { contacts, source, method };
        let one_force = Contacts { force_minus: None, ..ALL };
        let one_sense = Contacts { sense_plus: None, ..ALL };
        let open = Contacts::default();
        let ratio = |ratio: Ratio| Method::Ratio(ratio);
        let settle = |settle: Settle| Method::Settle(settle);
        let stop = |stop: Stop| ratio(Ratio { stop: Some(stop), ..RATIO });
        use Rule::*;
        use Source::*;
        let cases = [
            (RESIDUAL, Ok(())),
            (shot(Dry, ratio(RATIO)), Ok(())),
            (shot(Load, stop(STOP)), Ok(())),
            (shot(Isolation, settle(SETTLE)), Ok(())),
            (shot(Off, Method::Bleed { millis: 1 }), Ok(())),
            (with(open, Off, sample(1)), Ok(())),
            (with(open, Wide, sample(1)), Ok(())),
            (with(open, Dry, ratio(Ratio { contact_check: false, ..RATIO })), Ok(())),
            (with(Contacts { force_plus: Some(4), ..ALL }, Off, sample(1)), Err(ChannelRange)),
            (with(Contacts { sense_minus: Some(12), ..ALL }, Off, sample(1)), Err(ChannelRange)),
            (with(Contacts { sense_minus: Some(255), ..ALL }, Off, sample(1)), Err(ChannelRange)),
            (with(Contacts { force_plus: Some(3), ..ALL }, Off, sample(1)), Err(SameChannelTwice)),
            (with(Contacts { sense_plus: Some(11), ..ALL }, Off, sample(1)), Err(SameChannelTwice)),
            (shot(Dry, Method::Residual), Err(SourceForMethod)),
            (shot(Load, Method::Bleed { millis: 1 }), Err(SourceForMethod)),
            (shot(Off, ratio(RATIO)), Err(SourceForMethod)),
            (shot(Dry, settle(SETTLE)), Err(SourceForMethod)),
            (shot(Off, settle(SETTLE)), Err(SourceForMethod)),
            (with(one_force, Off, Method::Residual), Err(ContactMissing)),
            (with(one_sense, Off, Method::Residual), Err(ContactMissing)),
            (with(open, Off, Method::Residual), Err(ContactMissing)),
            (with(one_force, Off, Method::Bleed { millis: 1 }), Err(ContactMissing)),
            (with(one_force, Load, sample(1)), Ok(())),
            (with(one_force, Dry, ratio(RATIO)), Err(ContactMissing)),
            (with(one_sense, Dry, ratio(RATIO)), Err(ContactMissing)),
            (
                with(one_sense, Dry, ratio(Ratio { contact_check: false, ends: true, ..RATIO })),
                Err(ContactMissing),
            ),
            (with(one_sense, Isolation, settle(SETTLE)), Err(ContactMissing)),
            (shot(Dry, watch(1)), Ok(())),
            (shot(Dry, watch(u16::MAX / 2)), Ok(())),
            (shot(Dry, watch(0)), Err(Counts)),
            (shot(Dry, watch(u16::MAX / 2 + 1)), Err(Counts)),
            (shot(Load, watch(1)), Err(SourceForMethod)),
            (shot(Wide, watch(1)), Err(SourceForMethod)),
            (shot(Off, watch(1)), Err(SourceForMethod)),
            (with(one_force, Dry, watch(1)), Err(ContactMissing)),
            (with(one_sense, Dry, watch(1)), Err(ContactMissing)),
            (with(open, Dry, watch(1)), Err(ContactMissing)),
            (shot(Off, Method::Bleed { millis: 0 }), Err(Counts)),
            (shot(Off, sample(0)), Err(Counts)),
            (shot(Dry, ratio(Ratio { triples_min: 0, ..RATIO })), Err(Counts)),
            (shot(Dry, ratio(Ratio { triples_min: 5, ..RATIO })), Err(Counts)),
            (shot(Isolation, settle(Settle { window: 0, ..SETTLE })), Err(Counts)),
            (shot(Isolation, settle(Settle { windows_max: 1, ..SETTLE })), Err(Counts)),
            (shot(Isolation, settle(Settle { windows_max: 2, ..SETTLE })), Ok(())),
            (shot(Isolation, settle(Settle { turned: true, ..SETTLE })), Ok(())),
            (shot(Isolation, settle(Settle { turned: true, window: 3, ..SETTLE })), Err(Counts)),
            (shot(Isolation, settle(Settle { window: 255, windows_max: 65_535, ..SETTLE })), Err(Counts)),
            (shot(Dry, ratio(Ratio { gate: Some(f32::NAN), ..RATIO })), Err(NotFinite)),
            (shot(Dry, stop(Stop { hi: f32::INFINITY, ..STOP })), Err(NotFinite)),
            (shot(Dry, stop(Stop { k: f32::NAN, ..STOP })), Err(NotFinite)),
            (shot(Isolation, settle(Settle { slope: f32::NAN, ..SETTLE })), Err(NotFinite)),
        ];
        for (shot, expected) in cases {
            assert_eq!(check_shot(&shot, LAYOUT), expected, "{shot:?}");
        }
    }

    #[test]
    fn nothing_is_excited_before_a_residual_check() {
        let excited = Shot { contacts: ALL, source: Source::Load, method: sample(1) };
        let quiet = Shot { contacts: ALL, source: Source::Off, method: sample(1) };
        assert_eq!(check_plan(&[], LAYOUT), Ok(()));
        assert_eq!(check_plan(&[quiet, quiet], LAYOUT), Ok(()));
        assert_eq!(check_plan(&[quiet, RESIDUAL, excited], LAYOUT), Ok(()));
        assert_eq!(check_plan(&[quiet, excited, RESIDUAL], LAYOUT), Err((1, Rule::ResidualFirst)));
        let broken = Shot { method: sample(0), ..quiet };
        assert_eq!(check_plan(&[RESIDUAL, excited, broken], LAYOUT), Err((2, Rule::Counts)));
    }
}
