//! Shots at random, most of them within the rules.

use copperwalk_wire::{Contacts, Gain, Input, Method, Rate, Ratio, Settle, Shot, Source, Stop, Watch};
use proptest::{collection::vec, option, prelude::*, sample::select};

use crate::shots::{RESIDUAL, STOP};

fn channel(count: u16) -> impl Strategy<Value = Option<u16>> {
    option::weighted(0.9, 0..count)
}

fn any_contacts() -> impl Strategy<Value = Contacts> {
    (channel(5), channel(5), channel(13), channel(13)).prop_map(
        |(force_plus, force_minus, sense_plus, sense_minus)| Contacts {
            force_plus,
            force_minus,
            sense_plus,
            sense_minus,
        },
    )
}

fn any_source() -> impl Strategy<Value = Source> {
    select(vec![Source::Off, Source::Dry, Source::Load, Source::Wide, Source::Isolation])
}

fn any_input() -> impl Strategy<Value = Input> {
    select(vec![
        Input::Sense,
        Input::Current,
        Input::PlusContact,
        Input::MinusContact,
        Input::PlusAlone,
        Input::MinusAlone,
        Input::Bias,
        Input::Zero,
        Input::Temperature,
    ])
}

fn any_gain() -> impl Strategy<Value = Gain> {
    select(Gain::ALL.to_vec())
}

fn any_rate() -> impl Strategy<Value = Rate> {
    select(Rate::ALL[4..].to_vec())
}

fn any_stop() -> impl Strategy<Value = Stop> {
    (-1e-2_f32..1.0, 1e-6_f32..1e-1).prop_map(|(hi, close)| Stop { hi, close, ..STOP })
}

pub fn any_ratio() -> impl Strategy<Value = Ratio> {
    let gains = (any_gain(), any_gain(), any_rate());
    let flags = (any::<bool>(), any::<bool>(), select(vec![0, 700]));
    (gains, flags, 0..3_u8, 0..4_u8, option::of(any_stop()), option::weighted(0.1, 0.0_f32..1.0)).prop_map(
        |((gain_a, gain_b, rate), (contact_check, ends, wait_us), triples_min, more, stop, gate)| Ratio {
            gain_a,
            gain_b,
            rate,
            contact_check,
            ends,
            triples_min,
            wait_us,
            triples_max: triples_min + more,
            stop,
            gate,
        },
    )
}

pub fn any_settle() -> impl Strategy<Value = Settle> {
    (any_gain(), any_gain(), any_rate(), 0..4_u8, 0..5_u16, 0.0_f32..100.0, any::<bool>()).prop_map(
        |(gain_a, gain_b, rate, window, windows_max, pass, turned)| Settle {
            gain_a,
            gain_b,
            rate,
            window,
            windows_max,
            pass,
            slope: 0.01,
            floor: 1.0,
            turned,
        },
    )
}

fn any_method() -> impl Strategy<Value = Method> {
    prop_oneof![
        Just(Method::Residual),
        (0..30_u16).prop_map(|millis| Method::Bleed { millis }),
        (any_input(), any::<bool>(), any::<bool>(), any_gain(), any_rate(), 0..4_u8).prop_map(
            |(input, reversed, burnout, gain, rate, count)| Method::Sample {
                input,
                reversed,
                burnout,
                gain,
                rate,
                count
            }
        ),
        any_ratio().prop_map(Method::Ratio),
        any_settle().prop_map(Method::Settle),
        (any_gain(), any_gain(), any_rate(), 0..60_u16)
            .prop_map(|(gain_a, gain_b, rate, pairs)| Method::Watch(Watch { gain_a, gain_b, rate, pairs })),
    ]
}

pub fn any_shot() -> impl Strategy<Value = Shot> {
    (any_contacts(), any_source(), any_method()).prop_map(|(contacts, source, method)| Shot {
        contacts,
        source,
        method,
    })
}

/// Plans that the controller accepts: random shots that keep the rules, behind a residual check.
pub fn good_plan() -> impl Strategy<Value = Vec<Shot>> {
    vec(any_shot(), 1..40).prop_map(|shots| {
        let kept = shots
            .into_iter()
            .filter(|shot| copperwalk_core::rules::check_shot(shot, crate::fake::LAYOUT).is_ok());
        [RESIDUAL].into_iter().chain(kept).collect()
    })
}
