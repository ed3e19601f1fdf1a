//! The readings of one segment over many units, as a strip of dots against the limits. Drawn here: it is a band, dots and
//! four words, less than any charting library would need to be told.

use maud::{Markup, html};

use crate::report::{figures, spread::Spread, words};

/// Size of a strip, in units of its drawing.
const SIZE: [f64; 2] = [720.0, 76.0];
/// Where the scale begins and ends.
const SCALE: [f64; 2] = [12.0, 660.0];
/// Height of the line that lettering stands under.
const BASE: f64 = 52.0;
/// The scale reaches so far beyond the upper limit; what reads more stands beyond its end.
const BEYOND: f64 = 1.6;
/// Dots stand above each other by their order, in so many rows: units that read the same stay apart.
const ROWS: usize = 6;

/// One strip.
pub fn strip(spread: &Spread) -> Markup {
    let most = spread.max.0 * BEYOND;
    let x = |ohms: f64| SCALE[0] + (SCALE[1] - SCALE[0]) * (ohms / most).clamp(0.0, 1.0);
    let at_end = (SCALE[1] + SIZE[0]) / 2.0;
    let limits = [spread.min, Some(spread.max)];
    let beyond = spread.readings.iter().filter(|reading| reading.resistance.0 > most).count();
    let (read, without) = (spread.readings.len(), spread.without as usize);
    let said = words::counted(read, "unit", "units");
    html! {
        section class="spread" {
            h2 { (spread.segment) span class="small" { " " (spread.board) ", " (spread.revision) ", " (spread.state) } }
            svg class="chart" viewBox={ "0 0 " (SIZE[0]) " " (SIZE[1]) } role="img"
                aria-label={ (spread.segment) ": " (said) ", limit " (figures::stated(spread.max)) } {
                @let from = spread.min.map_or(SCALE[0], |min| x(min.0));
                rect class="allowed" x=(from) y="4" width=(x(spread.max.0) - from) height=(BASE - 4.0) {}
                path class="axis" d={ "M" (SCALE[0]) " " (BASE) "H" (SCALE[1]) } {}
                @for limit in limits.into_iter().flatten() {
                    path class="axis" d={ "M" (x(limit.0)) " 4V" (BASE + 4.0) } {}
                    text class="mark" x=(x(limit.0)) y=(BASE + 18.0) text-anchor="middle" { (figures::stated(limit)) }
                }
                @for (number, reading) in spread.readings.iter().enumerate() {
                    @let is_beyond = reading.resistance.0 > most;
                    circle class={ "point " (words::verdict(reading.verdict)) } r="3.5"
                        cx=(if is_beyond { at_end } else { x(reading.resistance.0) })
                        cy=(10.0 + 7.0 * (number % ROWS) as f64) {
                        title { (reading.serial) ": " (figures::roughly(reading.resistance)) ", " (words::verdict(reading.verdict)) }
                    }
                }
                @if beyond > 0 { text class="mark" x=(at_end) y=(BASE + 18.0) text-anchor="middle" { (beyond) " beyond" } }
            }
            p class="small" {
                (said) " read"
                @if let Some(median) = spread.median { ", median " (figures::roughly(median)) }
                @if without > 0 { "; open or not reached in " (words::counted(without, "unit", "units")) }
                "."
            }
        }
    }
}
