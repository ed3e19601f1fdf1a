//! The draft as a `board.toml`: what a person would write, with a comment beside every figure that says where it came from.

use std::fmt::Write;

use serde_json::Value;

use super::draft::{ASSUMED_LOAD, Draft, DraftKind, DraftSegment};
use super::layout::{COPPER_UM, Layout, PLATING_UM};
use super::parts::Conductor;
use super::region::{At, Bounds, Region};
use crate::board::Side;
use crate::quantity::{Ohms, Volts, si};
use crate::visible::{clean, hidden};

/// How such a file begins.
pub const MARK: &str = "# Board file imported by copperwalk";

/// Letters of a name in a board file.
const NAME_LONGEST: usize = 40;
/// Digits of what is worked out.
const DIGITS: usize = 4;

/// What the supply pad of an unpowered load reads to the return at least: below a kilohm something is shorted or leaks, since what
/// loads leave between them without power (dividers, pull-ups, leakage) is kilohms and more (common practice).
const APART: Ohms = Ohms(1e3);

/// Writes the file; `source` is the name of the layout file, without its folders. Without a `max_drop` the key is left out.
pub fn text(draft: &Draft, layout: &Layout, source: &str, max_drop: Option<Volts>) -> String {
    let mut out = String::new();
    // Writing to a string does not fail.
    let _ = write(&mut out, draft, layout, source, max_drop);
    out
}

/// Everything that the file asks of its reader: what stands at its end, and on the screen.
pub fn questions(draft: &Draft, layout: &Layout) -> Vec<String> {
    let mut all = vec![
        "Which voltage, load, drop and bulk capacitance has the supply? Those in [supply] are assumed."
            .to_owned(),
    ];
    if layout.title.trim().is_empty() || layout.revision.trim().is_empty() {
        all.push("What are the board and its revision called? The layout does not say it all.".into());
    }
    if !layout.stacked && layout.has_copper {
        all.push(format!(
            "How thick is the copper? {COPPER_UM} µm is assumed, and every copper figure goes with it."
        ));
    }
    if outline(draft, layout).1 {
        all.push(
            "What is the board's outline? The layout has none around all points; a rectangle stands for it."
                .into(),
        );
    }
    all.extend(draft.to.iter().map(|load| {
        format!(
            "What does a good board read from {load} to {} without power? At least {} is assumed.",
            draft.ret,
            si(APART.0, 1, "ohm")
        )
    }));
    all.extend(draft.questions.iter().cloned());
    all.extend(layout.notes.iter().map(|note| format!("Left out or taken for granted: {note}.")));
    all.iter().map(|question| clean(question).into_owned()).collect()
}

/// Thickness and copper; of a format that knows neither both are left out, and the board file assumes them with what that brings.
fn stack_up(out: &mut String, layout: &Layout) -> std::fmt::Result {
    if !layout.stacked && layout.thickness_mm.is_none() {
        return writeln!(out, "# The layout does not tell thickness and copper: left out, they are assumed.");
    }
    let from = if layout.stacked {
        "stack-up: from middle to middle of the outer copper"
    } else {
        "the layout's board thickness"
    };
    let thickness = number(layout.between_mm(0, layout.back()).max(0.05));
    writeln!(out, "thickness = \"{thickness} mm\"{}# {from}", pad(10))?;
    let copper = layout.layers.first().map_or(COPPER_UM, |layer| layer.copper_um);
    let from = if layout.stacked { "stack-up, front" } else { "assumed" };
    writeln!(out, "copper = \"{} um\"{}# {from}", number(copper), pad(10))
}

fn write(
    out: &mut String,
    draft: &Draft,
    layout: &Layout,
    source: &str,
    max_drop: Option<Volts>,
) -> std::fmt::Result {
    writeln!(out, "{MARK} from {} ({}).", clean(source), clean(&layout.format))?;
    out.write_str(
        "# Figures come from the layout unless marked as assumed. Copper is read from pad to pad: each pad or land counts as one\n\
         # potential, over all of it and on every layer, so a pin beside the middle of a wide pad reads a little more or less.\n\
         # Holes are counted as if no solder filled them. Of segments that fork where no pin can touch, each holds the copper\n\
         # they share. Segments without `max` get their share of the drop budget. Questions stand at the end.\n\
         format = 1\n\n[board]\n",
    )?;
    let named =
        |text: &str, other: &str| quoted(&Some(name(text)).filter(|n| !n.is_empty()).unwrap_or(other.into()));
    let stem = source.rsplit_once('.').map_or(source, |(stem, _)| stem);
    writeln!(out, "name = {}", named(&layout.title, &name(stem)))?;
    writeln!(out, "revision = {}", named(&layout.revision, "-"))?;
    stack_up(out, layout)?;
    let corners: Vec<String> = outline(draft, layout).0.iter().map(|at| place(*at)).collect();
    writeln!(out, "outline = [{}]        # mm, seen from the front", corners.join(", "))?;

    writeln!(out, "\n[supply]\nfrom = {}", quoted(&draft.from))?;
    let loads: Vec<String> = draft.to.iter().map(|load| quoted(load)).collect();
    match loads.as_slice() {
        [load] => writeln!(out, "to = {load}")?,
        _ => writeln!(out, "to = [{}]", loads.join(", "))?,
    }
    writeln!(out, "return = {}", quoted(&draft.ret))?;
    writeln!(out, "voltage = [\"3 V\", \"5 V\"]        # assumed")?;
    writeln!(out, "load = \"{}\"        # assumed", si(ASSUMED_LOAD.0, 3, "A"))?;
    if let Some(max_drop) = max_drop {
        writeln!(
            out,
            "max_drop = \"{}\"        # assumed: about twice what healthy segments take at this load",
            si(max_drop.0, 3, "V")
        )?;
    }
    if !draft.switches.is_empty() {
        let all = name(&draft.switches.join(", "));
        writeln!(out, "\n[states]\noff = {}", quoted(&format!("Set {all} to OFF")))?;
        writeln!(out, "on = {}", quoted(&format!("Set {all} to ON")))?;
    }
    out.push_str("\n[points]\n");
    for point in &draft.points {
        let side = match point.side {
            Side::Front => "front",
            Side::Back => "back",
            Side::Both => "both",
        };
        writeln!(
            out,
            "{} = {{ at = {}, side = \"{side}\", kind = \"{}\" }}",
            quoted(&point.name),
            place(point.at),
            point.kind
        )?;
    }
    for one in &draft.segments {
        segment(out, one)?;
    }
    for load in &draft.to {
        isolation(out, load, draft)?;
    }
    out.push_str("\n# Questions that the layout leaves open\n");
    for (i, question) in questions(draft, layout).iter().enumerate() {
        writeln!(out, "# {}. {question}", i + 1)?;
    }
    Ok(())
}

/// A load's supply pad against the return. Where switches are closed, what lies before them is judged too; so this one state
/// is enough.
fn isolation(out: &mut String, load: &str, draft: &Draft) -> std::fmt::Result {
    writeln!(
        out,
        "\n[[isolation]]\n# assumed: less than this between supply and return of unpowered electronics is a short or a leak\n\
         # (common practice); chips conduct one way, from return to supply\n\
         between = [{}, {}]\nmin = \"{}\"\njunction = true",
        quoted(load),
        quoted(&draft.ret),
        si(APART.0, 1, "ohm")
    )?;
    match draft.switches.is_empty() {
        true => Ok(()),
        false => writeln!(out, "state = \"on\""),
    }
}

fn segment(out: &mut String, segment: &DraftSegment) -> std::fmt::Result {
    out.push_str("\n[[segment]]\n");
    for comment in &segment.comments {
        writeln!(out, "# {}", clean(comment))?;
    }
    let [from, to] = &segment.ends;
    let mut keys: Vec<(&str, String)> = Vec::new();
    let mm = |mm: f64| format!("\"{} mm\"", number(mm));
    let ohms = |ohms: Ohms| format!("\"{}\"", si(ohms.0.max(1e-6), DIGITS, "ohm"));
    let kind = match &segment.kind {
        DraftKind::Trace { length_mm, width_mm, inner } => {
            keys.extend([("length", mm(*length_mm)), ("width", mm(*width_mm))]);
            keys.extend(inner.then(|| ("layer", "\"inner\"".to_owned())));
            "trace"
        }
        DraftKind::Pour { typical, inner } => {
            keys.extend(typical.map(|typical| ("typical", ohms(typical))));
            keys.extend(inner.then(|| ("layer", "\"inner\"".to_owned())));
            "pour"
        }
        DraftKind::Via { count, drill_mm, typical } => {
            keys.push(("count", count.to_string()));
            keys.push(("drill", mm(*drill_mm)));
            keys.push(("plating", format!("\"{} um\"", number(PLATING_UM))));
            keys.extend(typical.map(|typical| ("typical", ohms(typical))));
            "via"
        }
        DraftKind::Part(conductor) => part(*conductor, &mut keys),
    };
    writeln!(
        out,
        "name = {}\nkind = \"{kind}\"\nfrom = {}\nto = {}",
        quoted(&segment.name),
        quoted(from),
        quoted(to)
    )?;
    for (key, value) in keys {
        writeln!(out, "{key} = {value}")?;
    }
    Ok(())
}

/// A part's kind, and what its value tells.
fn part(conductor: Conductor, keys: &mut Vec<(&str, String)>) -> &'static str {
    let amps = |amps: crate::quantity::Amps| format!("\"{}\"", si(amps.0, 3, "A"));
    match conductor {
        Conductor::Fuse(rating) => {
            keys.extend(rating.map(|rating| ("rating", amps(rating))));
            "fuse"
        }
        Conductor::Resettable(hold) => {
            keys.extend(hold.map(|hold| ("hold", amps(hold))));
            "resettable"
        }
        Conductor::Ferrite => "ferrite",
        Conductor::Inductor(inductance) => {
            keys.extend(inductance.map(|henries| ("inductance", format!("\"{}\"", si(henries.0, 3, "H")))));
            "inductor"
        }
        Conductor::Shunt(resistance) => {
            keys.push(("value", format!("\"{}\"", si(resistance.0, DIGITS, "ohm"))));
            "shunt"
        }
        Conductor::Link => {
            keys.extend([("typical", "\"20 mohm\"".to_owned()), ("max", "\"100 mohm\"".to_owned())]);
            "joint"
        }
        Conductor::Switch => {
            keys.push(("closed", "[\"on\"]".into()));
            "switch"
        }
        Conductor::Diode { schottky } => {
            let volts = if schottky { "0.5 V" } else { "1 V" };
            keys.push(("max_forward", format!("\"{volts}\"")));
            "diode"
        }
        Conductor::Transistor => "transistor",
        Conductor::Contact => "connector",
    }
}

/// The outline, and whether a rectangle stands for it: where the layout has none, or one that leaves a point outside.
fn outline(draft: &Draft, layout: &Layout) -> (Vec<At>, bool) {
    const MARGIN_MM: f64 = 1.0;
    let points = || draft.points.iter().map(|point| &point.at);
    if let Some(outline) = &layout.outline {
        // As written: a pad on the very edge stays on it, or does not.
        let written = |at: &At| at.map(|mm| (mm * 1e3).round() / 1e3);
        let edge = Region::polygon(outline.iter().map(written).collect(), 0.0);
        if points().all(|at| edge.holds(written(at), 0.0)) {
            return (outline.clone(), false);
        }
    }
    let pads = layout.pads.iter().map(|pad| &pad.at);
    let [[lx, ly], [hx, hy]] =
        Bounds::of(points().chain(pads).chain(layout.outline.iter().flatten())).corners();
    let ([lx, ly], [hx, hy]) = ([lx - MARGIN_MM, ly - MARGIN_MM], [hx + MARGIN_MM, hy + MARGIN_MM]);
    (vec![[lx, ly], [hx, ly], [hx, hy], [lx, hy]], true)
}

fn place([x, y]: At) -> String {
    format!("[{}, {}]", number(x), number(y))
}

/// Micrometres are the last place that a bed of pins knows of.
fn number(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".into() } else { text.into() }
}

fn pad(count: usize) -> String {
    " ".repeat(count)
}

/// JSON's way to write a text is one of TOML's, too.
fn quoted(text: &str) -> String {
    Value::from(text).to_string()
}

/// A text as a name: every letter to be seen, and not too many.
fn name(text: &str) -> String {
    let seen = text.chars().map(|c| if hidden(c).is_some() || matches!(c, '~' | '=') { ' ' } else { c });
    let words: String = seen.collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ");
    words.chars().take(NAME_LONGEST).collect::<String>().trim().to_owned()
}
