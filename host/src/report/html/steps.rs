//! The path of questions of a hunt: asked, answered, what it left.

use maud::{Markup, html};

use crate::{report::figures, sweep::StepRow};

/// All steps, in order.
pub fn steps(steps: &[StepRow]) -> Markup {
    html! {
        table class="steps" {
            thead { tr {
                th { "Between" } th { "State" } th { "What" } th { "Answer" } th { "It leaves" } th class="figure" { "Told" }
            } }
            tbody {
                @for step in steps {
                    tr {
                        td { (step.asked.from) " to " (step.asked.to) }
                        td { (step.asked.state) }
                        td { (step.asked.what) }
                        td { (step.answered.text) }
                        td { @for left in &step.left { div { (figures::left(left)) } } }
                        td class="figure" { (format!("{:.1} bits", tenths(step.bits))) }
                    }
                }
            }
        }
    }
}

/// In whole tenths, of which none is a negative zero.
fn tenths(bits: f64) -> f64 {
    (10.0 * bits).round() / 10.0 + 0.0
}
