//! The shapes of the verdicts: disc with tick, square with cross, diamond with question mark, broken ring with bar,
//! and a triangle for a remark. Told apart in one colour, at any size, and on paper.

use maud::{Markup, html};

use crate::report::words;
use crate::verdict::Verdict;

/// A shape with its meaning.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sign {
    /// A verdict.
    Verdict(Verdict),
    /// A fault that fails nothing: one barrel of a parallel group is dead.
    Remark,
}

impl Sign {
    /// Class name for colour.
    pub fn class(self) -> &'static str {
        match self {
            Self::Verdict(Verdict::Pass) => "pass",
            Self::Verdict(Verdict::Fail) => "fail",
            Self::Verdict(Verdict::Unproven) => "unproven",
            Self::Verdict(Verdict::Void) => "void",
            Self::Remark => "remark",
        }
    }

    /// The shape, for use inside an SVG, in a box of 24 by 24 units round the origin. It is decoration: the word
    /// stands beside it.
    pub fn shape(self) -> Markup {
        html! {
            @match self {
                Self::Verdict(Verdict::Pass) => {
                    circle class="body" r="10.5" {}
                    path class="glyph" d="M-5 .5 -1.5 4 5.2 -4" {}
                }
                Self::Verdict(Verdict::Fail) => {
                    rect class="body" x="-10" y="-10" width="20" height="20" rx="1.5" {}
                    path class="glyph" d="M-4.6 -4.6 4.6 4.6M4.6 -4.6 -4.6 4.6" {}
                }
                Self::Verdict(Verdict::Unproven) => {
                    path class="body" d="M0 -11.8 11.8 0 0 11.8 -11.8 0Z" {}
                    path class="glyph" d="M-2.9 -2.4a2.9 2.9 0 1 1 4.6 2.4q-1.7 1.1 -1.7 2.6M0 5.4v.4" {}
                }
                Self::Verdict(Verdict::Void) => {
                    circle class="ring" r="9.8" stroke-dasharray="7.7 2.56" {}
                    path class="bar" d="M-5.2 0H5.2" {}
                }
                Self::Remark => {
                    path class="body" d="M0 -10.6 11.6 9.4H-11.6Z" {}
                    path class="glyph" d="M0 -3.4v6.2M0 6.2v.4" {}
                }
            }
        }
    }

    /// The shape as a picture of its own, sized by the text round it.
    pub fn icon(self) -> Markup {
        html! {
            svg class={ "sign " (self.class()) } viewBox="-12 -12 24 24" aria-hidden="true" { (self.shape()) }
        }
    }
}

/// A remark beside a verdict.
pub fn remark(words: &str) -> Markup {
    html! { span class="verdict remark" { (Sign::Remark.icon()) (words) } }
}

/// Shape and word of a verdict, for running text and tables.
pub fn verdict(verdict: Verdict) -> Markup {
    let sign = Sign::Verdict(verdict);
    html! { span class={ "verdict " (sign.class()) } { (sign.icon()) (words::verdict(verdict)) } }
}
