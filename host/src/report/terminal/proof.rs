//! A proof of a bench, on a terminal.

use copperwalk_wire::Gain;

use super::layout::{Cell, Column, MEASURE, paragraph, table};
use super::{Screen, heading, title};
use crate::fixture::Fixture;
use crate::meter::proven::{Found, Proven};
use crate::proof::{
    ContactFound, DAY_US, FIT_RATIO, Fault, Figures, HumFound, Proof, ThermometerFound, Value,
};
use crate::quantity::{engineering, si, with_uncertainty};
use crate::report::{figures, words};
use crate::verdict::Verdict;

/// Everything that was found, and whether the bench is fit last, where the eye is when the output has run through.
pub fn proof(proof: &Proof, fixture: &Fixture, screen: Screen) -> String {
    let found = proof.figures();
    let mut out = String::new();
    title(&mut out, &format!("{} on {}", found.fixture, found.bench_name), screen);
    meter(&mut out, found, screen);
    thermometers(&mut out, found, screen);
    noise(&mut out, found, screen);
    contacts(&mut out, &found.contacts, screen);
    repeats(&mut out, found, screen);
    out.push('\n');
    let work = format!("{} readings, {}", found.shots, figures::duration(found.device_us));
    paragraph(&mut out, "bench     ", &work, screen.width);
    paragraph(&mut out, "proof     ", &proof.hash().chars().take(16).collect::<String>(), screen.width);
    faults(&mut out, &found.faults, screen);
    closing(&mut out, found, fixture, screen);
    out
}

/// A relative error with its half width: `+0.013 % ± 0.012 %`.
fn relative(found: Found) -> String {
    // Half widths are those of rectangles that are a little wider than the interval.
    format!("{:+.4}\u{a0}% ± {:.4}\u{a0}%", 100.0 * found.off, 95.0 * found.half)
}

fn meter(out: &mut String, found: &Figures, screen: Screen) {
    if let Some(Proven { rm, gains, at, .. }) = &found.meter {
        heading(out, &format!("The meter, its converter at {:.1} °C", at.0), screen);
        match rm {
            Some(rm) => {
                paragraph(out, "Rm        ", &format!("{} by certificate", relative(*rm)), screen.width)
            }
            None => paragraph(out, "Rm        ", "as published: no standard has a certificate", screen.width),
        }
        const COLUMNS: [Column; 2] = [Column::figure("gain"), Column::figure("against gain 2")];
        let rows: Vec<[Cell; 2]> = Gain::ALL
            .into_iter()
            .zip(gains)
            .filter(|(gain, _)| *gain != Gain::X2)
            .map(|(gain, found)| [gain.factor().to_string().into(), relative(*found).into()])
            .collect();
        table(out, screen, &COLUMNS, &rows);
    }
    const COLUMNS: [Column; 4] = [
        Column::name("standard"),
        Column::figure("stated"),
        Column::figure("under load"),
        Column::figure("dry"),
    ];
    out.push('\n');
    let value = |value: Option<Value>| value.map(|v| with_uncertainty(v.ohms, v.u95_ohms).to_string());
    let rows: Vec<[Cell; 4]> = found
        .standards
        .iter()
        .map(|row| {
            let within = figures::percent(row.stated_within);
            let by = if row.certified { "certified" } else { "tolerance" };
            [
                (&row.name).into(),
                format!("{} {by} {within}", figures::stated(row.stated)).into(),
                value(row.load).unwrap_or_default().into(),
                value(row.dry).unwrap_or_default().into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn thermometers(out: &mut String, found: &Figures, screen: Screen) {
    for ThermometerFound { name, at, u95_kelvin, sensor } in &found.thermometers {
        let says = match at.zip(*u95_kelvin) {
            Some((at, u95)) => format!("{:.2} ± {u95:.2} °C", at.0),
            None => "no temperature".into(),
        };
        let text = format!("{name}: {says}, the meter's sensor {:.1} °C", sensor.0);
        paragraph(out, "in bed    ", &text, screen.width);
    }
}

fn noise(out: &mut String, found: &Figures, screen: Screen) {
    const COLUMNS: [Column; 5] = [
        Column::figure("gain"),
        Column::figure("a second"),
        Column::figure("noise"),
        Column::figure("typical"),
        Column::figure("offset"),
    ];
    if !found.noise.is_empty() {
        heading(out, "Noise of one conversion, inputs shorted", screen);
        let rows: Vec<[Cell; 5]> = found
            .noise
            .iter()
            .map(|row| {
                [
                    row.gain.to_string().into(),
                    row.rate.to_string().into(),
                    si(row.sigma.0, 3, "V").into(),
                    format!("× {:.2}", row.over_typical).into(),
                    si(row.offset.0, 2, "V").into(),
                ]
            })
            .collect();
        table(out, screen, &COLUMNS, &rows);
    }
    if let Some(HumFound { peak, hertz }) = found.hum {
        out.push('\n');
        paragraph(
            out,
            "hum       ",
            &format!("at most {} of {hertz:.0} Hz", si(peak.0, 2, "V")),
            screen.width,
        );
    }
}

fn contacts(out: &mut String, contacts: &[ContactFound], screen: Screen) {
    const COLUMNS: [Column; 4] = [
        Column::name("pin on the plate"),
        Column::figure("channel"),
        Column::figure("by + relay"),
        Column::figure("by - relay"),
    ];
    if contacts.is_empty() {
        return;
    }
    out.push('\n');
    let said = |contact: Option<&ContactFound>| match contact {
        Some(ContactFound { resistance: Some(ohms), .. }) => engineering(*ohms),
        Some(ContactFound { touches: true, .. }) => "touches".into(),
        Some(_) => "open".into(),
        None => String::new(),
    };
    let rows: Vec<[Cell; 4]> = contacts
        .iter()
        .filter(|contact| contact.plus)
        .map(|plus| {
            let minus = contacts
                .iter()
                .find(|other| !other.plus && (other.force, other.channel) == (plus.force, plus.channel));
            let line = if plus.force { "force" } else { "sense" };
            [
                (&plus.pin).into(),
                format!("{line} {}", plus.channel).into(),
                said(Some(plus)).into(),
                said(minus).into(),
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
}

fn repeats(out: &mut String, found: &Figures, screen: Screen) {
    const COLUMNS: [Column; 6] = [
        Column::name("golden unit"),
        Column::figure("mean"),
        Column::figure("lying"),
        Column::figure("seated anew"),
        Column::figure("U"),
        Column::figure("room over U"),
    ];
    if found.repeats.is_empty() {
        return;
    }
    heading(
        out,
        "Standard deviations while the unit lies there, and from seating to seating beyond that",
        screen,
    );
    let rows: Vec<[Cell; 6]> = found
        .repeats
        .iter()
        .map(|row| {
            let ratio = format!("{:.1}", row.ratio);
            [
                (&row.segment).into(),
                figures::stated(row.mean).into(),
                figures::roughly(row.within).into(),
                figures::roughly(row.between).into(),
                figures::roughly(row.u95).into(),
                if row.ratio < FIT_RATIO { Cell::tinted(Verdict::Unproven, ratio) } else { ratio.into() },
            ]
        })
        .collect();
    table(out, screen, &COLUMNS, &rows);
    let near: Vec<&str> =
        found.repeats.iter().filter(|row| row.ratio < FIT_RATIO).map(|row| row.segment.as_str()).collect();
    let text = match near.as_slice() {
        [] => format!("Every limit is {FIT_RATIO:.0} or more uncertainties from what the unit reads."),
        near => format!(
            "Nearer than {FIT_RATIO:.0} uncertainties to a limit, and judged badly by this bench: {}. Widen the limit, or \
             make pins stand better (`off` in the fixture file).",
            near.join(", ")
        ),
    };
    paragraph(out, "", &text, screen.width);
}

fn faults(out: &mut String, faults: &[Fault], screen: Screen) {
    if faults.is_empty() {
        return;
    }
    heading(out, "What is wrong with the bench", screen);
    for fault in faults {
        paragraph(out, "  • ", &format!("{}: {}", fault.part, words::sentence(&fault.what)), screen.width);
    }
}

fn closing(out: &mut String, found: &Figures, fixture: &Fixture, screen: Screen) {
    let (verdict, word) = match found.faults.is_empty() {
        true => (Verdict::Pass, "FIT"),
        false => (Verdict::Void, "NOT FIT"),
    };
    out.push('\n');
    out.push_str(&"━".repeat(screen.width.min(MEASURE)));
    out.push('\n');
    let marked = format!("{} {word}", words::mark(verdict));
    let line = format!("{}  {}", screen.bold_tint(verdict, &marked), found.fixture);
    out.push_str(&line);
    out.push('\n');
    let until = found.made_us.saturating_add(DAY_US.saturating_mul(i64::from(fixture.proof.days)));
    let says = match found.faults.is_empty() {
        true => format!("Sweeps on this bench and bed stand on this proof until {}.", figures::day(until)),
        false => "Put the bench right and prove it again. Until then no sweep stands on this proof.".into(),
    };
    paragraph(out, "", &says, screen.width);
}
