//! Where one report leads to another.

use maud::{Markup, html};

use super::Backdrop;
use crate::board::Board;
use crate::records::summary::SweepId;

/// Addresses of other reports, as whoever makes the page has them. What has no address is named without a link.
#[derive(Clone, Copy)]
pub struct Links<'a> {
    /// Of a lot, by its name.
    pub lot: &'a dyn Fn(&str) -> Option<String>,
    /// Of a unit, by its serial number.
    pub unit: &'a dyn Fn(&str) -> Option<String>,
    /// Of a sweep, by the serial number of its unit and its own number.
    pub sweep: &'a dyn Fn(&str, SweepId) -> Option<String>,
    /// Of what was proposed for a unit before it was repaired, by its serial number.
    pub remedies: &'a dyn Fn(&str) -> Option<String>,
    /// Photos of a board, to lie behind its drawing.
    pub photos: &'a dyn Fn(&Board) -> Backdrop,
}

impl Links<'_> {
    /// A page that stands alone.
    pub const NONE: Links<'static> = Links {
        lot: &|_| None,
        unit: &|_| None,
        sweep: &|_, _| None,
        remedies: &|_| None,
        photos: &|_| Backdrop::default(),
    };

    /// A unit by its serial number.
    pub fn to_unit(&self, serial: &str) -> Markup {
        to((self.unit)(serial), serial)
    }

    /// A sweep by its number.
    pub fn to_sweep(&self, serial: &str, id: SweepId) -> Markup {
        to((self.sweep)(serial, id), &format!("sweep {id}"))
    }
}

fn to(address: Option<String>, text: &str) -> Markup {
    html! {
        @match address {
            Some(address) => { a href=(address) { (text) } }
            None => { (text) }
        }
    }
}

/// The way back from a unit or a sweep: to the lot, to the unit. Steps without an address are left out.
pub fn way_back(steps: &[(&str, Option<String>, &str)]) -> Markup {
    let steps: Vec<_> =
        steps.iter().filter_map(|(kind, address, name)| Some((kind, address.as_ref()?, name))).collect();
    html! {
        @if !steps.is_empty() {
            nav aria-label="Way back" {
                @for (kind, address, name) in steps { a href=(address) { "← " (kind) " " (name) } }
            }
        }
    }
}
