//! The meter: noise at every setting that the plan uses, hum, gains against each other, and Rm by a standard's certificate.
//!
//! Gains need no outside value. Under load one resistor is read with each gain on pair A, while pair B keeps gain 2: with gain 2
//! on both sides the gains cancel, and what the others read differently is their own error. Gains 64 and 128 cannot hold those
//! 50 mV; they are told from gain 32 by the voltage over Rm in the wide range, 10 mV, read by all three in turn.

use std::collections::BTreeSet;

use copperwalk_wire::{
    Contacts, Gain, Input, Method, Rate, Ratio, Shot, Source,
    codes::decode,
    hardware::{DRY_AMPS, LOAD_AMPS, VREF_VOLTS},
    message::ShotEnd,
};

use super::{
    ProveError,
    bench::{Bench, across},
};
use crate::{
    evidence::CONTACTS_DIFFER,
    finding::{bench::LOUD, warmth},
    fixture::{Fixture, Standard, Thermometer},
    link::{RanShot, Transport},
    machine::spacing,
    measure::{
        self,
        hum::Hum,
        ratio::{self, Reading, Surroundings},
        uncertainty::Noise,
        voltage,
    },
    meter::{
        Band, Meter,
        noise::{MOST_FACTOR, conversion_noise},
        proven::{Found, Proven},
    },
    plan::{
        Plan,
        aim::{self, gain_for},
        builder,
    },
    proof::{Fault, Figures, HumFound, NoiseFound, StandardFound, ThermometerFound, Value},
    quantity::{Amps, Celsius, Ohms, Volts, engineering},
    statistics::sample,
};

/// Gains are told on a standard of so many ohms: less leaves too little voltage, more is beyond the range of gain 32.
const TELLING: std::ops::RangeInclusive<Ohms> = Ohms(0.5)..=Ohms(1.2);
/// The gain on either side where gains cancel, and which all others are told against.
const BASE: Gain = Gain::X2;
/// Told against [`BASE`] under load.
const UNDER_LOAD: [Gain; 5] = [Gain::X1, Gain::X4, Gain::X8, Gain::X16, Gain::X32];
/// The highest of them, and those told against it by the voltage over Rm.
const LINK: Gain = Gain::X32;
const OVER_RM: [Gain; 2] = [Gain::X64, Gain::X128];
/// Their readings in turn, so that a drift of the current cancels; even.
const ROUNDS: usize = 6;
/// How those are read: half a second each way of every gain leaves 5 ppm of noise at gain 32.
const RM_LOOK: (Rate, u8) = (Rate::Sps90, 12);
/// Triples with gain 2 on both sides: 9 µV of noise on 50 mV, twice the typical, leave 14 ppm.
const BASE_TRIPLES: u8 = 32;
/// Triples of the other gains.
const TRIPLES: u8 = 12;
/// Conversions of the shorted inputs at each setting.
const ZEROS: u8 = 64;
/// An estimate of noise may exceed what is allowed by so many of its own standard deviations before it counts.
const NOISE_SIGMAS: f64 = 4.0;
/// The same of an offset, and of standards that disagree.
const SIGMAS: f64 = 4.0;
/// A normal distribution's 95 % half width over its standard deviation.
const COVERAGE: f64 = 1.96;

/// Proves the meter, and books what was found.
pub fn prove<T: Transport>(
    bench: &mut Bench<'_, T>,
    fixture: &Fixture,
    plan: &Plan,
    figures: &mut Figures,
) -> Result<(), ProveError> {
    let Some(first) = fixture.standards.first() else { return Ok(()) };
    let around = surroundings(bench, across(first), plan, figures)?;
    let telling = fixture.standards.iter().find(|standard| TELLING.contains(&standard.resistance));
    let mut meter = Meter::PUBLISHED;
    match telling {
        Some(standard) => {
            let proven = gains(bench, standard, &around, fixture.proof.days)?;
            meter = proven.meter(Some(around.celsius));
            figures.faults.extend(beyond(&proven));
            figures.meter = Some(proven);
        }
        None => figures.faults.push(Fault {
            part: "standards".into(),
            what: "none lies between 0.5 ohm and 1.2 ohm, so that gains cannot be told: wire one of 1 ohm"
                .into(),
        }),
    }
    for standard in &fixture.standards {
        let (found, faults) = read_standard(bench, standard, &around, &meter)?;
        figures.standards.push(found);
        figures.faults.extend(faults);
    }
    for thermometer in &fixture.thermometers {
        let (found, fault) = read_thermometer(bench, thermometer, &around, &meter)?;
        figures.thermometers.push(found);
        figures.faults.extend(fault);
    }
    Ok(())
}

/// A thermometer against the converter's own.
fn read_thermometer<T: Transport>(
    bench: &mut Bench<'_, T>,
    thermometer: &Thermometer,
    around: &Around,
    meter: &Meter,
) -> Result<(ThermometerFound, Option<Fault>), ProveError> {
    let shot = aim::thermometer(builder::four_wires(thermometer.force, thermometer.sense));
    let ran = bench.run("thermometers", &[shot])?;
    let mut said = None;
    for ran in &ran {
        let surroundings = &around.surroundings;
        let reading = ratio::read(meter, &shot, &ran.codes, ShotEnd::Complete, false, None, surroundings)?;
        said = warmth::said(thermometer, &reading);
    }
    let part = format!("thermometer {}", thermometer.name);
    let fault = match &said {
        None => Some(Fault {
            part,
            what: "says no temperature that a bed can have: look for a broken wire, a bad contact, or leads that touch"
                .into(),
        }),
        Some(read) => {
            let apart = (read.value.0 - around.celsius.0).abs();
            (apart > thermometer.apart_kelvin).then(|| Fault {
                part,
                what: format!(
                    "says {:.1} °C and the meter's sensor {:.1} °C, more than {} K apart: one of the two is wrong",
                    read.value.0, around.celsius.0, thermometer.apart_kelvin
                ),
            })
        }
    };
    let found = ThermometerFound {
        name: thermometer.name.clone(),
        at: said.map(|read| read.value),
        u95_kelvin: said.map(|read| read.u95_kelvin),
        sensor: around.celsius,
    };
    Ok((found, fault))
}

/// What everything is read in.
struct Around {
    celsius: Celsius,
    hum: Option<Hum>,
    surroundings: Surroundings,
}

fn sample(contacts: Contacts, input: Input, source: Source, gain: Gain, (rate, count): (Rate, u8)) -> Shot {
    let method = Method::Sample { input, reversed: false, burnout: false, gain, rate, count };
    Shot { contacts, source, method }
}

/// Temperature, hum, and noise at every setting of the plan.
fn surroundings<T: Transport>(
    bench: &mut Bench<'_, T>,
    contacts: Contacts,
    plan: &Plan,
    figures: &mut Figures,
) -> Result<Around, ProveError> {
    let settings = settings(plan);
    let (gain, rate, count) = builder::LISTEN;
    let mut shots = vec![
        sample(contacts, Input::Temperature, Source::Off, Gain::X1, (Rate::Sps1000, 1)),
        sample(contacts, Input::Sense, Source::Off, gain, (rate, count)),
    ];
    shots.extend(
        settings.iter().map(|&(gain, rate)| sample(contacts, Input::Zero, Source::Off, gain, (rate, ZEROS))),
    );
    let ran = bench.run("noise and hum", &shots)?;
    let mut answers = shots.iter().zip(&ran).map(|(shot, ran)| decode(shot, &ran.codes)?.sample());
    let mut next = || answers.next().transpose();
    let celsius = next()?.map_or(Celsius(25.0), |sample| measure::temperature(sample.first));
    let hum = next()?.and_then(|sample| Hum::find(&sample));
    let (mut chi_square, mut freedom) = (0.0, 0.0);
    for (gain, rate) in settings {
        let Some(codes) = next()? else { break };
        let volts: Vec<f64> = codes.all.iter().map(|&code| voltage(code, gain).0).collect();
        let typical = conversion_noise(gain, rate);
        let squares = sample::squares(&volts);
        let degrees = volts.len() as f64 - 1.0;
        chi_square += squares / typical.0.powi(2);
        freedom += degrees;
        let sigma = Volts((squares / degrees).sqrt());
        let offset = Volts(sample::mean(&volts).unwrap_or_default());
        let found = NoiseFound {
            gain: gain.factor(),
            rate: per_second(rate),
            sigma,
            over_typical: sigma / typical,
            offset,
        };
        figures.faults.extend(noise_fault(&found, degrees));
        figures.noise.push(found);
    }
    if let Some(hum) = hum {
        figures.hum = Some(HumFound { peak: hum.peak, hertz: hum.hertz });
        if hum.peak > LOUD {
            figures.faults.push(Fault {
                part: format!("hum of {:.0} Hz", hum.hertz),
                what: format!(
                    "{:.0} µV peak, and {:.0} µV at most can be cleared: twist the sense leads, move power supplies and \
                     mains leads away",
                    hum.peak.0 * 1e6,
                    LOUD.0 * 1e6
                ),
            });
        }
    }
    let surroundings = Surroundings { noise: Noise::pooled(chi_square, freedom), hum };
    Ok(Around { celsius, hum, surroundings })
}

/// Every gain and rate that a shot of the plan converts with.
fn settings(plan: &Plan) -> BTreeSet<(Gain, Rate)> {
    let shots = plan.stages.iter().flat_map(|stage| &stage.legs).flat_map(|leg| &leg.shots);
    shots
        .flat_map(|planned| match planned.shot.method {
            Method::Ratio(ratio) => [ratio.gain_a, ratio.gain_b].map(|gain| (gain, ratio.rate)).to_vec(),
            Method::Settle(settle) => [settle.gain_a, settle.gain_b].map(|gain| (gain, settle.rate)).to_vec(),
            _ => Vec::new(),
        })
        .collect()
}

fn per_second(rate: Rate) -> u16 {
    match rate {
        Rate::Sps20 => 20,
        Rate::Sps45 => 45,
        Rate::Sps90 => 90,
        Rate::Sps175 => 175,
        Rate::Sps330 => 330,
        Rate::Sps600 => 600,
        Rate::Sps1000 => 1000,
    }
}

fn noise_fault(found: &NoiseFound, degrees: f64) -> Option<Fault> {
    let setting = format!("converter at gain {}, {} conversions a second", found.gain, found.rate);
    // A standard deviation is known to 1/√(2·n) of itself.
    if found.over_typical > MOST_FACTOR * (1.0 + NOISE_SIGMAS / (2.0 * degrees).sqrt()) {
        let what = format!(
            "its noise is {:.1} times the typical figure, and {MOST_FACTOR:.0} times is allowed for: look at its supply and its reference",
            found.over_typical
        );
        return Some(Fault { part: setting, what });
    }
    // The converter's bend counts from the middle of its range, and need not be nothing there.
    let bend = Meter::PUBLISHED.linearity * VREF_VOLTS / f64::from(found.gain);
    let unsure = SIGMAS * found.sigma.0 / (degrees + 1.0).sqrt();
    (found.offset.0.abs() > Meter::PUBLISHED.offset + bend + unsure).then(|| Fault {
        part: setting,
        what: format!(
            "its inputs shorted it reads {:.0} µV, and {:.0} µV is its published worst case: replace it",
            found.offset.0 * 1e6,
            Meter::PUBLISHED.offset * 1e6
        ),
    })
}

/// A meter that adds nothing of its own gains and Rm to a reading's uncertainty: these are what is asked about.
fn bare() -> Meter {
    let nothing = Band::around_nothing(0.0);
    Meter { rm: nothing, gains: [nothing; 8], ..Meter::PUBLISHED }
}

fn ratio_shot(
    contacts: Contacts,
    source: Source,
    [gain_a, gain_b]: [Gain; 2],
    rate: Rate,
    triples: u8,
    hum: Option<Hum>,
) -> Shot {
    let ratio = Ratio {
        gain_a,
        gain_b,
        rate,
        wait_us: 0,
        contact_check: true,
        ends: false,
        triples_min: triples,
        triples_max: triples,
        stop: None,
        gate: None,
    };
    let shot = Shot { contacts, source, method: Method::Ratio(ratio) };
    let wait_us = hum.map_or(0, |hum| spacing::longer_us(ratio::half_cycle(&shot), hum));
    Shot { method: Method::Ratio(Ratio { wait_us, ..ratio }), ..shot }
}

fn read(
    meter: &Meter,
    standard: &Standard,
    shot: &Shot,
    ran: &RanShot,
    around: &Around,
) -> Result<Reading, ProveError> {
    let path = Some(standard.resistance + CONTACTS_DIFFER);
    Ok(ratio::read(meter, shot, &ran.codes, ShotEnd::Complete, false, path, &around.surroundings)?)
}

/// Gains against each other and, with a certificate, Rm.
fn gains<T: Transport>(
    bench: &mut Bench<'_, T>,
    standard: &Standard,
    around: &Around,
    days: u16,
) -> Result<Proven, ProveError> {
    let contacts = across(standard);
    let turned = Contacts {
        force_plus: contacts.force_minus,
        force_minus: contacts.force_plus,
        sense_plus: contacts.sense_minus,
        sense_minus: contacts.sense_plus,
    };
    let load = |contacts, gain, triples| {
        ratio_shot(contacts, Source::Load, [gain, BASE], Rate::Sps90, triples, around.hum)
    };
    let mut shots = vec![load(contacts, BASE, BASE_TRIPLES), load(turned, BASE, BASE_TRIPLES)];
    shots.extend(UNDER_LOAD.map(|gain| load(contacts, gain, TRIPLES)));
    let ran = bench.run("gains under load", &shots)?;
    let bare = bare();
    let mut readings = Vec::new();
    for (shot, ran) in shots.iter().zip(&ran) {
        let reading = read(&bare, standard, shot, ran, around)?;
        if !reading.flows || reading.over_range {
            return Err(ProveError::Standard(standard.name.clone()));
        }
        readings.push(reading);
    }
    let (base, others) = readings.split_at(2);
    // Straight and turned round: what a relay's warming adds to one it takes from the other.
    let whole = (base[0].resistance + base[1].resistance) / 2.0;
    let relative = |reading: &Reading| reading.budget.expanded() / reading.resistance.abs();
    let base_half = base.iter().map(relative).fold(0.0, f64::hypot) / 2.0;
    let bend = bare.linearity;

    let mut gains = [Found::new(0.0, 0.0); 8];
    for (gain, reading) in UNDER_LOAD.into_iter().zip(others) {
        let off = reading.resistance / whole - 1.0;
        gains[gain as usize] = Found::new(off, relative(reading).hypot(base_half));
    }
    let link = gains[LINK as usize];
    for (gain, (off, half)) in OVER_RM.into_iter().zip(over_rm(bench, contacts, around)?) {
        // One more place on the converter's bend.
        gains[gain as usize] =
            Found { off: link.off + off, half: link.half.hypot(Found::new(0.0, half.hypot(bend)).half) };
    }
    let rm = standard.certificate.map(|certificate| {
        let off = certificate.resistance / whole - 1.0;
        Found::new(off, certificate.u95.hypot(base_half))
    });
    Ok(Proven { rm, gains, at: around.celsius, days })
}

/// What of the meter is beyond its published worst case.
fn beyond(proven: &Proven) -> Vec<Fault> {
    let published = Meter::PUBLISHED;
    let mut faults = Vec::new();
    if let Some(rm) = proven.rm.filter(|rm| rm.off.abs() > published.rm.half + rm.half) {
        faults.push(Fault {
            part: "Rm".into(),
            what: format!(
                "is {:+.2} % off its nominal value, and {:.2} % is its worst case: check the standard's leads, then replace Rm",
                100.0 * rm.off,
                100.0 * published.rm.half
            ),
        });
    }
    for gain in Gain::ALL {
        let (found, base) = (proven.gains[gain as usize], published.gains[BASE as usize].half);
        let most = published.gains[gain as usize].half + base;
        if found.off.abs() > most + found.half {
            faults.push(Fault {
                part: format!("converter, gain {}", gain.factor()),
                what: format!(
                    "is {:+.2} % off gain {}, and {:.2} % is the worst case of the two: replace the converter",
                    100.0 * found.off,
                    BASE.factor(),
                    100.0 * most
                ),
            });
        }
    }
    faults
}

/// Each of the highest gains against the link, with its expanded uncertainty: by the voltage over Rm.
fn over_rm<T: Transport>(
    bench: &mut Bench<'_, T>,
    contacts: Contacts,
    around: &Around,
) -> Result<Vec<(f64, f64)>, ProveError> {
    let all: Vec<Gain> = std::iter::once(LINK).chain(OVER_RM).collect();
    let mut order: Vec<Gain> = Vec::new();
    for round in 0..ROUNDS {
        // There and back, so that a drift cancels.
        match round % 2 {
            0 => order.extend(&all),
            _ => order.extend(all.iter().rev()),
        }
    }
    let turned = [Input::Current, Input::CurrentTurned];
    let shots: Vec<Shot> = order
        .iter()
        .flat_map(|&gain| turned.map(|input| sample(contacts, input, Source::Wide, gain, RM_LOOK)))
        .collect();
    let ran = bench.run("gains over Rm", &shots)?;
    let mut drops: Vec<Vec<f64>> = vec![Vec::new(); Gain::ALL.len()];
    for ((&gain, shots), ran) in order.iter().zip(shots.chunks(2)).zip(ran.chunks(2)) {
        let mut means = Vec::new();
        for (shot, ran) in shots.iter().zip(ran) {
            let codes = decode(shot, &ran.codes)?.sample()?;
            let volts: Vec<f64> = codes.all.iter().map(|&code| voltage(code, gain).0).collect();
            means.push(sample::mean(&volts).unwrap_or_default());
        }
        if let (Some(drops), [straight, turned]) = (drops.get_mut(gain as usize), means.as_slice()) {
            // Half the difference: offset and common mode come with the same sign either way.
            drops.push((straight - turned) / 2.0);
        }
    }
    let of = |gain: Gain| sample::mean(&drops[gain as usize]).unwrap_or_default();
    let (rate, count) = RM_LOOK;
    let noise = |gain: Gain| {
        let readings = (2 * ROUNDS * usize::from(count)) as f64;
        around.surroundings.noise.factor * conversion_noise(gain, rate).0 / readings.sqrt()
    };
    let link = of(LINK);
    let told = OVER_RM.map(|gain| {
        let half = COVERAGE * noise(gain).hypot(noise(LINK)) / link.abs().max(f64::MIN_POSITIVE);
        (of(gain) / link - 1.0, half)
    });
    Ok(told.to_vec())
}

/// A standard under load and dry, with the meter as it is now known, and what does not agree.
fn read_standard<T: Transport>(
    bench: &mut Bench<'_, T>,
    standard: &Standard,
    around: &Around,
    meter: &Meter,
) -> Result<(StandardFound, Vec<Fault>), ProveError> {
    let of = |source, current| {
        let gain = gain_for(1.5 * standard.resistance * current);
        let gain_b = if source == Source::Load { BASE } else { Gain::X64 };
        ratio_shot(across(standard), source, [gain, gain_b], Rate::Sps330, TRIPLES, around.hum)
    };
    let shots = [of(Source::Load, Amps(LOAD_AMPS)), of(Source::Dry, Amps(DRY_AMPS))];
    let ran = bench.run("standards", &shots)?;
    let mut values = Vec::new();
    let mut faults = Vec::new();
    let (stated, within) = standard.known();
    let name = format!("standard {}", standard.name);
    for (shot, ran) in shots.iter().zip(&ran) {
        let reading = read(meter, standard, shot, ran, around)?;
        if !reading.flows || reading.over_range {
            let what =
                "no current flows through it, or it is far off: check its wiring and its relays".into();
            faults.push(Fault { part: name.clone(), what });
            values.push(None);
            continue;
        }
        let u95 = reading.budget.expanded();
        let off = (reading.resistance - stated).abs();
        if faults.is_empty() && off > (stated * within + u95) * (SIGMAS / COVERAGE) {
            faults.push(Fault {
                part: name.clone(),
                what: format!(
                    "reads {} instead of {}, by more than both uncertainties: check its sense leads, then Rm",
                    engineering(reading.resistance),
                    engineering(stated)
                ),
            });
        }
        values.push(Some(Value { ohms: reading.resistance, u95_ohms: u95 }));
    }
    if let [Some(load), Some(dry)] = values[..] {
        let apart = (load.ohms - dry.ohms).abs();
        let unsure = load.u95_ohms.hypot(dry.u95_ohms) * (SIGMAS / COVERAGE);
        if apart > unsure {
            faults.push(Fault {
                part: name,
                what: format!(
                    "reads {} under load and {} dry: a contact in its leads is not sound",
                    engineering(load.ohms),
                    engineering(dry.ohms)
                ),
            });
        }
    }
    let mut values = values.into_iter().flatten();
    let found = StandardFound {
        name: standard.name.clone(),
        stated,
        stated_within: within,
        certified: standard.certificate.is_some(),
        load: values.next(),
        dry: values.next(),
    };
    Ok((found, faults))
}
