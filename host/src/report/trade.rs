//! How a lot's trade is said, in every report alike.

use crate::fault::method::Method;
use crate::quantity::Money;
use crate::trade::book::Dealing;
use crate::trade::stop::{Next, Stop};
use crate::trade::triage::{Act, Item};
use crate::trade::worth::Worth;
use crate::trade::{Account, Assessment};

use super::words::counted;

/// What stands above the triage list.
pub const TRIAGE: &str = "Repair next, the best hour first";
/// What a triage list stands on, in small print.
pub const TRIAGE_BASIS: &str = "Chances: the table of repair methods (common practice, from memory), and what repairs of this lot have shown. Gain: \
                                what the unit is expected to sell for, parts taken off; minutes with the sweeps after each try. The order \
                                is the best where the work may end at any time.";
/// What a forecast takes for granted, in small print.
pub const WORTH_BASIS: &str = "Taken for granted: the next lot is like this one, every good unit finds a buyer, and units are repaired as the list \
                               above would have it. A small lot teaches little, so its interval is wide.";
/// What is to be done before anything can be forecast.
pub const NO_PRICE: &str = "What the units may bring is not known: say what a good one sells for (`copperwalk cost LOT --price`, or the lot's page), \
                            or write down the first sale (`copperwalk sold`, or the unit's page).";

/// The lines of an account: what, and how much; what nothing was written down of is left out.
pub fn account(account: &Account) -> Vec<(&'static str, String)> {
    let money = |what, money: &Option<Money>| money.as_ref().map(|money| (what, money.to_string()));
    let lines = [
        money("paid, freight and other costs", &account.cost),
        Some(("units", account.units.to_string())).filter(|_| account.cost.is_some()),
        money("cost of a unit", &account.cost_of_unit),
        money("parts", &account.parts),
        money("sales", &account.sales),
        Some(("sold", account.sold.to_string())).filter(|_| account.sales.is_some()),
        money("fees", &account.fees),
        money("given back", &account.refunds),
        money("earned so far", &account.earned),
        (account.minutes > 0).then(|| ("worked", hours(account.minutes))),
        money("earned in an hour", &account.earned_per_hour),
    ];
    lines.into_iter().flatten().collect()
}

/// Minutes as hours and minutes.
pub fn hours(minutes: u64) -> String {
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, minutes) => format!("{hours} h {minutes:02} min"),
    }
}

/// What to do with a unit, in a word.
pub fn act(act: Act) -> &'static str {
    match act {
        Act::Repair => "repair",
        Act::Sweep => "sweep again",
        Act::Spares => "worth more as spares",
        Act::Leave => "leave",
    }
}

/// A method of repair, as people say it.
pub fn method(method: Method) -> &'static str {
    match method {
        Method::Clean => "clean",
        Method::Reflow => "reflow",
        Method::Replace => "replace",
        Method::RebuildVia => "rebuild the via",
        Method::WireAround => "wire around",
        Method::ParallelWire => "parallel wire",
        Method::Leave => "let it rest",
    }
}

/// What to try on a unit: `power switch: clean, else replace`.
pub fn tries(item: &Item) -> String {
    let mut said = String::new();
    let mut place = None;
    for step in &item.tries {
        match place {
            Some(known) if known == step.place => said += ", else ",
            Some(_) => said += &format!("; {}: ", step.place),
            None => said += &format!("{}: ", step.place),
        }
        said += method(step.method);
        place = Some(step.place.as_str());
    }
    said
}

/// A share as whole percent.
pub fn percent(share: f64) -> String {
    format!("{:.0}\u{a0}%", 100.0 * share)
}

/// What another such lot is worth, in sentences.
pub fn worth(worth: &Worth) -> String {
    let [low, high] = &worth.interval;
    let units = counted(worth.units as usize, "unit", "units");
    format!(
        "Another such lot of {units} is worth at most {}, freight and all; nine of ten such lots bring {low} to {high}. \
         Expected of it: {:.0} sold, {:.0} hours of work, {} a unit. Learnt from {}.",
        worth.at_most,
        worth.sold,
        worth.hours,
        worth.of_unit,
        counted(worth.learnt_from as usize, "unit that was swept", "units that were swept")
    )
}

/// Whether to go on, in sentences.
pub fn stop(stop: &Stop, first: Option<&Item>) -> String {
    let mut said = match (stop.next, first) {
        (Next::Repair, Some(item)) => format!("Go on with {}: {}.", item.serial, act(item.act)),
        (Next::Repair, None) | (Next::Stop, _) => {
            "Stop here: nothing that is left pays for its time.".to_owned()
        }
        (Next::Sweep, _) => "Sweep one more unit.".to_owned(),
        (Next::Done, _) => "Nothing waits: every unit is swept, and none is left to repair.".to_owned(),
    };
    if let Some(rate) = &stop.repair_per_hour {
        said += &format!(" The best repair that waits brings {rate} in an hour.");
    }
    if let (Some(rate), Some(worth)) = (&stop.sweep_per_hour, &stop.sweep_is_worth) {
        let left = counted(stop.unswept as usize, "unit is", "units are");
        said += &format!(
            " {left} left to sweep; the next one is expected to bring {rate} in an hour, and to sweep it is worth {worth}"
        );
        if let Some(information) = stop.information.as_ref().filter(|money| !money.is_zero()) {
            said += &format!(", of which {information} for what it tells of the others");
        }
        said.push('.');
    }
    match &stop.hour {
        Some(hour) => said += &format!(" An hour costs {hour}."),
        None => said += " What an hour costs was not said, so time counts for nothing here.",
    }
    said
}

/// The first of the triage list that anything pays with.
pub fn first(found: &Assessment) -> Option<&Item> {
    found.triage.iter().find(|item| item.act != Act::Leave)
}

/// What was written down about a unit's trade, in words.
pub fn dealing(dealing: &Dealing) -> String {
    let corrected = |instead: &bool| if *instead { ", in place of what was written before" } else { "" };
    match dealing {
        Dealing::Work { minutes, parts, method: how, instead } => {
            let how = how.map(|how| format!(" ({})", method(how))).unwrap_or_default();
            let parts = parts.as_ref().map(|parts| format!(", parts {parts}")).unwrap_or_default();
            format!("worked {minutes} min{how}{parts}{}", corrected(instead))
        }
        Dealing::Sale { price, fees, instead } => {
            let fees = fees.as_ref().map(|fees| format!(", fees {fees}")).unwrap_or_default();
            format!("sold for {price}{fees}{}", corrected(instead))
        }
        Dealing::Return { refund, because } => {
            let refund = refund.as_ref().map(|refund| format!(", refunded {refund}")).unwrap_or_default();
            let because = if because.is_empty() { String::new() } else { format!(", because: {because}") };
            format!("given back by the buyer{refund}{because}")
        }
        Dealing::Spare { part, unit, put_back: false } => {
            let unit = unit.as_ref().map(|unit| format!(" for unit {unit}")).unwrap_or_default();
            format!("taken off as a spare{unit}: {part}")
        }
        Dealing::Spare { part, put_back: true, .. } => format!("put back: {part}"),
    }
}
