//! A control chart: readings in order with their limits and their moving average, drawn as SVG.
//!
//! What is outside is told by its shape, a square instead of a disc; colour repeats it. A title and a description say
//! in words what is drawn.

use maud::{Markup, html};

use super::page::scroller;
use crate::report::{health::Limits, words};

/// What a chart shows.
pub struct Chart<'c> {
    /// Tells it from the others of its page.
    pub id: String,
    /// What is read.
    pub title: String,
    /// The readings, each with half the width of its interval; zero for none.
    pub readings: &'c [(f64, f64)],
    /// Their limits, once there are enough readings.
    pub limits: Option<&'c Limits>,
    /// What is allowed whatever the course, such as a standard's tolerance.
    pub allowed: Option<[f64; 2]>,
    /// A value in words.
    pub say: &'c dyn Fn(f64) -> String,
}

/// Size, in units of the drawing, and the room for lettering on both sides.
const SIZE: [f64; 2] = [720.0, 170.0];
const LEFT: f64 = 8.0;
const RIGHT: f64 = 118.0;
/// Lines of lettering stand at least so far apart.
const LETTERING: f64 = 12.0;

impl Chart<'_> {
    /// The least and the largest value drawn, and a little more.
    fn scale(&self) -> [f64; 2] {
        let mut all: Vec<f64> =
            self.readings.iter().flat_map(|(value, half)| [value - half, value + half]).collect();
        all.extend(self.limits.iter().flat_map(|limits| limits.action));
        all.extend(self.allowed.into_iter().flatten());
        let low = all.iter().copied().fold(f64::INFINITY, f64::min);
        let high = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let margin = 0.06 * (high - low).max(1e-9 * high.abs()).max(1e-12);
        [low - margin, high + margin]
    }

    /// Lettered lines, from the centre outwards; what would stand on another is left out.
    fn lettering(&self, y: impl Fn(f64) -> f64) -> Vec<(f64, String)> {
        let mut lines = Vec::new();
        if let Some(limits) = self.limits {
            let [[low, high], [warn_low, warn_high]] = [limits.action, limits.warning];
            lines.extend([
                (limits.centre, "centre"),
                (high, "action"),
                (low, "action"),
                (warn_high, "warning"),
                (warn_low, "warning"),
            ]);
        }
        lines.extend(self.allowed.into_iter().flatten().map(|edge| (edge, "tolerance")));
        let mut kept: Vec<(f64, String)> = Vec::new();
        for (value, word) in lines {
            let at = y(value);
            if kept.iter().all(|(other, _)| (other - at).abs() >= LETTERING) {
                kept.push((at, format!("{word} {}", (self.say)(value))));
            }
        }
        kept
    }

    /// What is drawn, in a sentence or two.
    fn description(&self) -> String {
        let count = words::counted(self.readings.len(), "reading", "readings");
        let latest = self.readings.last().map(|(value, _)| (self.say)(*value)).unwrap_or_default();
        let course = match self.limits {
            None => "Too few readings for limits.".to_owned(),
            Some(limits) => {
                let [low, high] = limits.action.map(|limit| (self.say)(limit));
                let standing = match limits.standing() {
                    Some(broken) => {
                        format!("Now broken: {}, since sweep {}.", broken.rule.in_words(), broken.since.sweep)
                    }
                    None => "No rule is broken now.".to_owned(),
                };
                format!("Action limits {low} and {high}. {standing}")
            }
        };
        format!("{count}, the latest {latest}. {course}")
    }

    /// The drawing in a frame, which scrolls where the screen is too narrow for its lettering.
    pub fn framed(&self) -> Markup {
        scroller(&self.title, &self.drawing())
    }

    fn drawing(&self) -> Markup {
        let [low, high] = self.scale();
        let y = |value: f64| SIZE[1] * (high - value) / (high - low);
        let end = SIZE[0] - RIGHT;
        let step = (end - LEFT - 16.0) / (self.readings.len().max(2) - 1) as f64;
        let x = |number: usize| LEFT + 8.0 + step * number as f64;
        let average = self.limits.map(|limits| limits.average.iter().enumerate());
        let path: String = average
            .into_iter()
            .flatten()
            .map(|(number, value)| {
                format!("{}{:.1} {:.1}", if number == 0 { "M" } else { "L" }, x(number), y(*value))
            })
            .collect();
        let (title, description) = (format!("{}-title", self.id), format!("{}-text", self.id));
        html! {
            svg class="chart" viewBox={ "0 0 " (SIZE[0]) " " (SIZE[1]) } role="img"
                aria-labelledby={ (title) " " (description) } {
                title id=(title) { (self.title) }
                desc id=(description) { (self.description()) }
                @if let Some([from, to]) = self.allowed {
                    rect class="allowed" x=(LEFT) width=(end - LEFT) y=(y(to)) height=(y(from) - y(to)) {}
                }
                @if let Some(limits) = self.limits {
                    path class="axis" d={ "M" (LEFT) " " (y(limits.centre)) "H" (end) } {}
                    @for limit in limits.warning { path class="warning" d={ "M" (LEFT) " " (y(limit)) "H" (end) } {} }
                    @for limit in limits.action { path class="action" d={ "M" (LEFT) " " (y(limit)) "H" (end) } {} }
                    @if limits.base < self.readings.len() {
                        path class="warning" d={ "M" (x(limits.base) - step / 2.0) " 0V" (SIZE[1]) } {}
                    }
                    path class="average" d=(path) {}
                }
                @for (at, words) in self.lettering(y) {
                    text class="mark" x=(end + 6.0) y=(at + 4.0) { (words) }
                }
                @for (number, (value, half)) in self.readings.iter().enumerate() {
                    @let is_out = self.limits.is_some_and(|limits| *value < limits.action[0] || *value > limits.action[1]);
                    g class=(if is_out { "fail" } else { "reading" }) {
                        @if *half > 0.0 {
                            path class="whisker" d={ "M" (x(number)) " " (y(value - half)) "V" (y(value + half)) } {}
                        }
                        @if is_out {
                            rect class="point" x=(x(number) - 4.5) y=(y(*value) - 4.5) width="9" height="9" {}
                        } @else {
                            circle class="point" cx=(x(number)) cy=(y(*value)) r="3" {}
                        }
                    }
                }
            }
        }
    }
}
