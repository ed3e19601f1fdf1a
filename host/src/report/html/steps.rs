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
                        td class="figure" { (format!("{:.1} bits", step.bits)) }
                    }
                }
            }
        }
    }
}
