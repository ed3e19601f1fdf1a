//! What the sampler converts and what the host decodes are the same, for every shot the rules allow.

use copperwalk_core::{
    rules::check_shot,
    sampler::{Next, Sampler, Setting},
};
use copperwalk_wire::{
    Input, Method, Ratio, Settle, Shot, Source, Stop,
    codes::{self, Codes, Malformed, ReadingKind, decode, possible_counts},
};
use proptest::{collection::vec, prelude::*};

use crate::{
    any::any_shot,
    fake::LAYOUT,
    shots::{ENDS, RATIO, RESIDUAL, SETTLE, STOP, ratio, sample, watch},
};

/// Samples a shot to its end; what each code was converted with, and the code.
fn sampled(shot: &Shot, mut code: impl FnMut(usize) -> i32) -> Vec<(Setting, i32)> {
    let mut sampler = Sampler::new(shot.method);
    let mut taken = Vec::new();
    while let Next::Convert(setting) = sampler.next() {
        let value = code(taken.len());
        sampler.take(value);
        taken.push((setting, value));
    }
    taken
}

fn values(taken: &[(Setting, i32)]) -> Vec<i32> {
    taken.iter().map(|(_, value)| *value).collect()
}

/// The codes whose conversion fits.
fn those(taken: &[(Setting, i32)], fits: impl Fn(&Setting) -> bool) -> Vec<i32> {
    values(&taken.iter().copied().filter(|(setting, _)| fits(setting)).collect::<Vec<_>>())
}

/// The two contact checks, by what the converter was told: one input alone, burn-out current on, source off.
fn contact_checks(taken: &[(Setting, i32)]) -> Vec<i32> {
    let check = |input| those(taken, |s| s.input == input && s.burnout && !s.excited);
    [check(Input::PlusAlone), check(Input::MinusAlone)].concat()
}

fn pairs(taken: &[(Setting, i32)]) -> Vec<[i32; 2]> {
    let excited = |inputs: &[Input]| those(taken, |s| inputs.contains(&s.input) && s.excited);
    let current = excited(&[Input::Current, Input::CurrentTurned]);
    let pairs = excited(&[Input::Sense]).into_iter().zip(current);
    pairs.map(|(a, b)| [a, b]).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(500))]

    #[test]
    fn what_the_sampler_asked_for_decodes_to_the_same_roles(
        shot in any_shot().prop_filter("the rules allow it", |shot| check_shot(shot, LAYOUT).is_ok()),
        noise in vec(-0x80_0000..=0x7F_FFFF, 1..40),
        steady in any::<bool>(),
    ) {
        // Noise spends the budget; the same pair again and again is decided early.
        let taken = sampled(&shot, |index| noise[if steady { index % 2 } else { index } % noise.len()]);
        let codes = values(&taken);
        prop_assert!(possible_counts(&shot).contains(codes.len()), "{} of {shot:?}", codes.len());
        match decode(&shot, &codes).unwrap() {
            Codes::Residual(codes::Residual { bias, contacts, across }) => {
                prop_assert_eq!(those(&taken, |s| s.input == Input::Bias), [bias]);
                prop_assert_eq!(contact_checks(&taken), contacts);
                prop_assert_eq!(those(&taken, |s| s.input == Input::Sense && !s.burnout), [across]);
            }
            Codes::Bleed => prop_assert!(codes.is_empty()),
            Codes::Sample(sample) => {
                prop_assert_eq!(sample.all, codes.as_slice());
                prop_assert_eq!(Some((&sample.first, sample.last())), codes.first().zip(codes.last().copied()));
            }
            Codes::Ratio(ratio) => {
                prop_assert_eq!(contact_checks(&taken), ratio.contacts.as_slice().concat());
                let end = |input, reversed| those(&taken, |s| s.input == input && s.reversed == reversed);
                let ends = [end(Input::MinusContact, false), end(Input::PlusContact, true)].concat();
                prop_assert_eq!(ends, ratio.ends.as_slice().concat());
                prop_assert_eq!(pairs(&taken), ratio.half_cycles);
                prop_assert!(ratio.half_cycles.len().is_multiple_of(3) && !ratio.half_cycles.is_empty());
                // Forward and reversed in turn, in both pairs.
                let reversed = |input| those(&taken, move |s| s.input == input && s.reversed).len();
                prop_assert_eq!(reversed(Input::Sense), ratio.half_cycles.len() / 2);
                prop_assert_eq!(reversed(Input::Current), ratio.half_cycles.len() / 2);
            }
            Codes::Settle(settle) => {
                prop_assert_eq!(contact_checks(&taken), settle.contacts);
                let zeros = those(&taken, |s| s.input == Input::Zero);
                prop_assert_eq!(zeros, settle.zeros.map_or_else(Vec::new, Vec::from));
                prop_assert_eq!(pairs(&taken), settle.pairs);
                // Pair B as it is and turned round, in turn.
                let turned = those(&taken, |s| s.input == Input::CurrentTurned).len();
                prop_assert_eq!(turned, if settle.method.turned { settle.pairs.len() / 2 } else { 0 });
                prop_assert_eq!(settle.windows().flatten().count(), settle.pairs.len());
                prop_assert!(settle.windows().count() >= 2);
            }
            Codes::Watch(watch) => {
                prop_assert_eq!(pairs(&taken), watch.pairs);
                prop_assert_eq!(watch.pairs.len(), usize::from(watch.method.pairs));
                prop_assert!(taken.iter().all(|(setting, _)| !setting.reversed && setting.excited));
            }
        }
    }

    #[test]
    fn no_codes_of_any_shot_make_decoding_panic(
        shot in any_shot(),
        codes in vec(any::<i32>(), 0..60),
    ) {
        let possible = possible_counts(&shot);
        match decode(&shot, &codes) {
            Ok(_) => prop_assert!(possible.contains(codes.len())),
            Err(malformed) => assert!(!malformed.to_string().contains('{'), "a debug dump"),
        }
        prop_assert!(possible.iter().take(100).all(|count| possible.contains(count)));
    }
}

/// Every count that is said to be possible is one the sampler can end with.
#[test]
fn every_possible_count_can_happen() {
    // Certain as soon as there is any current.
    let certain = Stop { sigma_a: 0.0, sigma_b: 0.0, rel: 0.0, ..STOP };
    for (triples_min, triples_max, stop, contact_check, ends) in [
        (1, 1, None, false, false),
        (2, 7, None, true, false),
        (1, 5, Some(certain), true, true),
        (3, 6, Some(certain), false, true),
        (255, 255, Some(certain), true, true),
    ] {
        let shot =
            ratio(ENDS, Source::Dry, Ratio { triples_min, triples_max, stop, contact_check, ends, ..RATIO });
        let head = 2 * (usize::from(contact_check) + usize::from(ends));
        // A current in the first half-cycle of one triple, and none before: undecided up to then.
        let counts = (0..usize::from(triples_max)).map(|triple| {
            let first = head + 6 * triple;
            sampled(&shot, |index| i32::from((first..first + 2).contains(&index))).len()
        });
        check_all(&shot, counts);
    }
    for (window, windows_max) in [(1, 2), (3, 5), (255, 3), (2, 100)] {
        // Still only if nothing at all changes.
        let rule = Settle { window, windows_max, slope: 0.0, floor: 0.0, ..SETTLE };
        let shot = Shot { contacts: ENDS, source: Source::Isolation, method: Method::Settle(rule) };
        let counts = (2..=usize::from(windows_max)).map(|last| {
            sampled(&shot, |index| {
                let window = index.saturating_sub(6) / (2 * usize::from(window));
                -(window.min(last - 2) as i32)
            })
            .len()
        });
        check_all(&shot, counts);
    }
    for (shot, count) in
        [(RESIDUAL, 4), (sample(ENDS, Source::Off, Input::Zero, 9), 9), (watch(Source::Dry, 7), 14)]
    {
        check_all(&shot, [sampled(&shot, |_| 0).len()].into_iter());
        assert!(possible_counts(&shot).contains(count));
    }
}

fn check_all(shot: &Shot, counts: impl Iterator<Item = usize>) {
    let mut counts: Vec<_> = counts.collect();
    counts.dedup();
    assert_eq!(counts, possible_counts(shot).iter().collect::<Vec<_>>(), "{shot:?}");
}

#[test]
fn malformed_codes_are_told_in_plain_words() {
    let plain = ratio(ENDS, Source::Dry, Ratio { contact_check: true, ..RATIO });
    let budget = ratio(ENDS, Source::Dry, Ratio { stop: Some(STOP), triples_max: 9, ..RATIO });
    let settle = Shot { contacts: ENDS, source: Source::Isolation, method: Method::Settle(SETTLE) };
    for (shot, codes, expected) in [
        (RESIDUAL, vec![0; 3], "a residual voltage check has 3 conversions where it can only have 4"),
        (plain, vec![0; 7], "a resistance reading has 7 conversions where it can only have 8"),
        (
            budget,
            vec![0; 55],
            "a resistance reading has 55 conversions where it can only have 6, 12, … or 54",
        ),
        (settle, vec![], "an isolation reading has 0 conversions where it can only have 18, 24, … or 36"),
        (
            sample(ENDS, Source::Off, Input::Zero, 2),
            vec![0, 0x80_0000],
            "conversion 2 of a plain voltage reading is 8388608, beyond the 24 bits of the converter \
             (-8388608 to 8388607)",
        ),
    ] {
        assert_eq!(decode(&shot, &codes).unwrap_err().to_string(), expected);
    }
    let misplaced = decode(&RESIDUAL, &[0; 4]).unwrap().ratio().unwrap_err();
    let (reading, wanted) = (ReadingKind::Residual, ReadingKind::Ratio);
    assert_eq!(misplaced, Malformed::Kind { reading, wanted });
    assert_eq!(
        misplaced.to_string(),
        "the conversions of a residual voltage check stand where those of a resistance reading belong"
    );
}
