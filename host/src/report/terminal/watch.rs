//! A segment that is watched on a terminal: a line for every second while it goes on, and what came of it afterwards.

use super::layout::paragraph;
use super::{Screen, title};
use crate::disturbance::{
    Place,
    observer::{Look, Seen},
};
use crate::quantity::{Ohms, Seconds, engineering};
use crate::report::watch::{Line, WatchSheet};
use crate::report::words;

/// Levels of a column, lowest first.
const LEVELS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// A column with a conversion that is off its level.
const OFF: char = '✗';
/// Interruptions that are listed one by one.
const LISTED: usize = 6;
/// Columns beside a second's strip: time, resistance.
const BESIDE: usize = 24;

/// The live trace: a line for every second, a column for every so many milliseconds of it, each as high as its highest conversion, so
/// that nothing is lost by the coarser view. A column is full at the segment's limit.
#[derive(Debug)]
pub struct Strip {
    limit: Ohms,
    columns: usize,
    second: u64,
    line: Vec<char>,
    /// Highest of the column under way, its number, and whether a conversion in it was off.
    column: Option<(usize, Ohms, bool)>,
    last: Ohms,
    began: bool,
}

impl Strip {
    /// For a segment of this limit, on a terminal of this width.
    pub fn new(limit: Ohms, width: usize) -> Self {
        // A round number of milliseconds for each column.
        let columns = [50, 40, 25, 20].into_iter().find(|columns| columns + BESIDE < width).unwrap_or(10);
        Self { limit, columns, second: 0, line: Vec::new(), column: None, last: Ohms::ZERO, began: false }
    }

    /// What is said before.
    pub fn head(&self, name: &str, resistance: Ohms, time: Seconds) -> String {
        format!(
            "  {name}: {} at rest. Hold still for two seconds, then tap, bend, wiggle; {} s, Ctrl-C ends it.\n",
            engineering(resistance),
            time.0
        )
    }

    /// Takes pairs; gives what is to be written.
    pub fn looks(&mut self, looks: &[Look]) -> String {
        let mut out = String::new();
        for look in looks {
            let second = look.at_us / 1_000_000;
            if second != self.second || !self.began {
                if self.began {
                    out.push_str(&self.end());
                }
                (self.second, self.began) = (second, true);
            }
            let number = (look.at_us % 1_000_000) as usize * self.columns / 1_000_000;
            match &mut self.column {
                Some((at, highest, off)) if *at == number => {
                    *highest = highest.max(look.resistance);
                    *off |= look.off;
                }
                _ => {
                    self.close();
                    self.column = Some((number, look.resistance, look.off));
                }
            }
            if !look.off {
                self.last = look.resistance;
            }
        }
        if self.began {
            out.push_str(&format!("\r{}", self.shown()));
        }
        out
    }

    /// Takes what was seen; gives what is to be written.
    pub fn seen(&mut self, seen: &Seen) -> String {
        let text = match seen {
            Seen::Disturbance(found) => {
                let place = match found.place {
                    Place::Segment => "dropout",
                    Place::Elsewhere => "dropout elsewhere in the path",
                    Place::Pin => "a sense pin left its pad",
                    Place::Unknown => "dropout, too short to tell where",
                };
                format!("{place}, {} ms", tenths(found.us as f64 / 1e3))
            }
            Seen::Step(step) => format!("step from {} to {}", engineering(step.from), engineering(step.to)),
            Seen::Noise(noise) => {
                format!("noise of {} for {} s", engineering(noise.rms), tenths(noise.us as f64 / 1e6))
            }
        };
        let at_us = match seen {
            Seen::Disturbance(found) => found.at_us,
            Seen::Step(step) => step.at_us,
            Seen::Noise(noise) => noise.at_us,
        };
        let line = format!("  {:>9.3} s  {text}", at_us as f64 / 1e6);
        // Over the line that is being drawn, which then follows.
        let width = self.columns + BESIDE;
        format!("\r{line:<width$}\n")
    }

    /// Ends the line under way.
    pub fn end(&mut self) -> String {
        self.close();
        let line = if self.line.is_empty() { String::new() } else { format!("\r{}\n", self.shown()) };
        self.line.clear();
        line
    }

    fn close(&mut self) {
        let Some((number, highest, off)) = self.column.take() else { return };
        self.line.resize(number.max(self.line.len()), ' ');
        self.line.push(if off { OFF } else { level(highest / self.limit) });
    }

    fn shown(&self) -> String {
        let line: String = self.line.iter().collect();
        let columns = self.columns;
        format!("{:>6} s  {line:<columns$}  {:>9}", self.second, engineering(self.last.max(Ohms::ZERO)))
    }
}

/// The column of a share of the limit.
fn level(share: f64) -> char {
    let step = (share.clamp(0.0, 1.0) * LEVELS.len() as f64) as usize;
    LEVELS.get(step).or(LEVELS.last()).copied().unwrap_or(' ')
}

fn tenths(value: f64) -> String {
    format!("{value:.1}")
}

/// What came of watching; `serial`: the unit it was kept under.
pub fn watch(sheet: &WatchSheet, serial: Option<&str>, screen: Screen) -> String {
    let mut out = String::new();
    title(&mut out, &format!("{} · {} · state {}", sheet.segment, sheet.board, sheet.state), screen);
    let mut row =
        |label: &str, text: String| paragraph(&mut out, &format!("{label:<12}"), &text, screen.width);
    row(
        "watched",
        format!("{} s, {} conversions, dry; {}", tenths(sheet.seconds), sheet.conversions, sheet.bench),
    );
    row(
        "at rest",
        format!(
            "{}, limit {}; one conversion scatters by {}",
            engineering(sheet.ohms),
            engineering(sheet.max_ohms),
            engineering(sheet.noise_ohms)
        ),
    );
    row("dropouts", interruptions(&sheet.dropouts, sheet.dropout_count, sheet.longest_dropout_ms));
    let steps = sheet.steps.iter().take(LISTED).map(|step| {
        let [from, to] = [step.from_ohms, step.to_ohms].map(engineering);
        format!("at {:.3} s from {from} to {to}", step.at_ms / 1e3)
    });
    row("steps", counted(sheet.steps.len() as u64, steps.collect()));
    let noise = sheet.noise.iter().take(LISTED).map(|noise| {
        format!(
            "at {:.3} s for {} s, {}",
            noise.at_ms / 1e3,
            tenths(noise.ms / 1e3),
            engineering(noise.rms_ohms)
        )
    });
    row("noise", counted(sheet.noise.len() as u64, noise.collect()));
    for (label, count, lines) in [
        ("elsewhere", sheet.elsewhere_count, &sheet.elsewhere),
        ("sense pin", sheet.pin_count, &sheet.pins),
        ("too short", sheet.unplaced_count, &sheet.unplaced),
    ] {
        if count > 0 {
            let longest = lines.iter().map(|line| line.ms).fold(0.0, f64::max);
            row(label, interruptions(lines, count, longest));
        }
    }
    if sheet.unwatched_ms > 0.0 {
        row("not watched", format!("{:.0} ms: the line to the controller had no room", sheet.unwatched_ms));
    }
    match sheet.ended.as_str() {
        "time" => {}
        "stopped" => row("ended", "early, as asked".into()),
        why => row("ended", format!("early: {why}")),
    }
    if let Some(serial) = serial {
        row("record", format!("kept in the history of {serial}"));
    }
    out.push('\n');
    let word = words::verdict(sheet.verdict).to_uppercase();
    let verdict = format!("{} {word}", words::mark(sheet.verdict));
    out.push_str(&screen.bold_tint(sheet.verdict, &verdict));
    out.push('\n');
    paragraph(&mut out, "", &words::watched(sheet), screen.width);
    out
}

/// `none`, or a count and the first of them.
fn counted(count: u64, first: Vec<String>) -> String {
    if count == 0 {
        return "none".into();
    }
    let more = if count > first.len() as u64 { ", …" } else { "" };
    format!("{count}: {}{more}", first.join(", "))
}

fn interruptions(lines: &[Line], count: u64, longest_ms: f64) -> String {
    let first =
        lines.iter().take(LISTED).map(|line| format!("at {:.3} s {} ms", line.at_ms / 1e3, tenths(line.ms)));
    match count {
        0 => "none".into(),
        _ => format!("{}; the longest {} ms", counted(count, first.collect()), tenths(longest_ms)),
    }
}
