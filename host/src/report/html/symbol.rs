//! The symbols of the segment kinds, after the general symbols of IEC 60617 (from memory): fuse, resistor, inductor,
//! contact. Drawn on the copper line, 56 by 24 units round the origin.

use maud::{Markup, html};

use crate::board::SegmentKind;

/// Half the width that a symbol covers of the line.
pub const HALF: f64 = 28.0;

/// The symbol of a kind. `broken` draws it interrupted, whatever it is.
pub fn symbol(kind: &SegmentKind, broken: bool) -> Markup {
    html! {
        @if broken {
            path class="lead" d="M-28 0H-9M9 0H28" {}
            path class="gap" d="M-9 -7 -5 -2 -10 2 -7 7M8 -7 11 -2 6 2 9 7" {}
        } @else {
            @match kind {
                SegmentKind::Trace { .. } => { path class="copper" d="M-28 0H28" {} }
                SegmentKind::Pour { .. } => {
                    path class="lead" d="M-28 0H28" {}
                    path class="solid" d="M-13 -7 2 -9 13 -4 11 8 -9 7Z" {}
                }
                SegmentKind::Wire { .. } => {
                    path class="lead" d="M-28 0C-18 -12 -10 -12 0 0S18 12 28 0" {}
                }
                SegmentKind::Via { count, .. } => {
                    path class="lead" d="M-28 0H28" {}
                    @for i in 0..(*count).min(3) {
                        @let x = f64::from(i) * 15.0 - f64::from((*count).min(3) - 1) * 7.5;
                        circle class="ring" cx=(x) r="6" {}
                    }
                }
                SegmentKind::Joint => {
                    path class="lead" d="M-28 0H28" {}
                    path class="solid" d="M-12 5Q-5 4 -4 -7H4Q5 4 12 5Z" {}
                }
                SegmentKind::Fuse { .. } => {
                    rect class="case" x="-15" y="-6" width="30" height="12" {}
                    path class="lead" d="M-28 0H28" {}
                }
                SegmentKind::Resettable { .. } => {
                    path class="lead" d="M-28 0H-15M15 0H28" {}
                    rect class="case" x="-15" y="-6" width="30" height="12" {}
                    path class="lead" d="M-17 10H-11L11 -10" {}
                }
                SegmentKind::Ferrite => {
                    path class="lead" d="M-28 0H28" {}
                    rect class="solid" x="-14" y="-6" width="28" height="12" rx="2" {}
                }
                SegmentKind::Inductor => {
                    path class="lead" d="M-28 0H-18A6 6 0 0 1 -6 0 6 6 0 0 1 6 0 6 6 0 0 1 18 0H28" {}
                }
                SegmentKind::Shunt { .. } => {
                    path class="lead" d="M-28 0H-15M15 0H28" {}
                    rect class="case" x="-15" y="-6" width="30" height="12" {}
                }
                SegmentKind::Switch => {
                    path class="lead" d="M-28 0H-13M13 0H28M-12 -1 13 -8" {}
                    circle class="dot" cx="-13" r="2.6" {}
                    circle class="dot" cx="13" r="2.6" {}
                }
                SegmentKind::Connector => {
                    path class="lead" d="M-28 0H-4M4 0H28M-9 -8A9 9 0 0 1 -9 8" {}
                    path class="lead" d="M-4 -6 4 0 -4 6" {}
                }
                SegmentKind::Diode { .. } => {
                    path class="lead" d="M-28 0H-8M8 0H28M8 -9V9" {}
                    path class="solid" d="M-8 -9 8 0 -8 9Z" {}
                }
                SegmentKind::Transistor { .. } => {
                    path class="lead" d="M-28 0H-14V-3M28 0H14V-3M-14 -5H-8M-3 -5H3M8 -5H14M-14 -10H14" {}
                    path class="lead" d="M-14 0H-5M5 0H14M5 -5V5" {}
                    path class="solid" d="M-5 -5 5 0 -5 5Z" {}
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{Amps, Ohms, Volts};

    #[test]
    fn every_kind_has_its_own_symbol() {
        let kinds = [
            SegmentKind::Trace { length_mm: 1.0, width_mm: 1.0, layer: crate::board::Layer::Outer },
            SegmentKind::Pour { shape: None, layer: crate::board::Layer::Outer },
            SegmentKind::Via { count: 1, drill_mm: 0.3, plating_um: 20.0 },
            SegmentKind::Via { count: 2, drill_mm: 0.3, plating_um: 20.0 },
            SegmentKind::Joint,
            SegmentKind::Fuse { rating: None },
            SegmentKind::Resettable { hold: None },
            SegmentKind::Ferrite,
            SegmentKind::Inductor,
            SegmentKind::Shunt { resistance: Ohms(0.1) },
            SegmentKind::Switch,
            SegmentKind::Connector,
            SegmentKind::Wire { length_mm: 1.0, awg: 24 },
            SegmentKind::Diode { max_forward: Volts(0.45), max_reverse: Amps(1e-4) },
            SegmentKind::Transistor { max_reverse: Amps(1e-4) },
        ];
        let drawn: std::collections::BTreeSet<_> =
            kinds.iter().map(|kind| symbol(kind, false).into_string()).collect();
        assert_eq!(drawn.len(), kinds.len());
    }
}
