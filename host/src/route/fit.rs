//! Gauge and route together: the way depends on how thick the wire is, and what it reads on the way.

use super::gauge::{Covering, GAUGES, GaugeError, Need, Refused, Stock, against, examined};
use super::laid::Route;
use super::problem::RouteError;
use super::shortest;
use super::task::Task;
use crate::plane::apart;
use crate::quantity::Ohms;

/// Why no wire is laid.
#[derive(Clone, PartialEq, Debug, thiserror::Error)]
pub enum FitError {
    /// No gauge does.
    #[error(transparent)]
    Gauge(#[from] GaugeError),
    /// The thinnest that carries the load finds no way; a thicker one finds none either.
    #[error("AWG {awg} {}: {why}", .covering.words())]
    Route {
        /// The gauge.
        awg: u32,
        /// What is round the conductor.
        covering: Covering,
        /// Why it finds none.
        why: RouteError,
    },
}

/// A wire and where it lies.
#[derive(Clone, PartialEq, Debug)]
pub struct Fit {
    /// The wire.
    pub stock: Stock,
    /// The task with this wire.
    pub task: Task,
    /// Its route.
    pub route: Route,
}

/// The thinnest wire that does, and its route; the diameters and the bend of the task's wire are replaced by those of each gauge.
/// `reads` says what a wire of this kind and length, mm, may read at most, with whatever belongs to it.
///
/// # Errors
/// No gauge carries the load over its route, or the thinnest that carries it finds none.
pub fn fit(
    mut task: Task,
    covering: Covering,
    need: &Need,
    reads: impl Fn(&Stock, f64) -> Ohms,
) -> Result<Fit, FitError> {
    examined(need)?;
    let mut refused: Vec<(u32, Refused)> = Vec::new();
    let mut length_mm = apart(task.from.at, task.to.at);
    for awg in GAUGES {
        let stock = Stock::new(awg, covering);
        // What does not depend on the way first: no wire is shorter than the straight line.
        if let Some(why) = against(&stock, reads(&stock, length_mm), need) {
            refused.push((awg, why));
            continue;
        }
        task.wire.insulated_mm = stock.insulated_mm;
        task.wire.conductor_mm = stock.conductor_mm;
        task.wire.bend_mm = stock.bend_mm;
        let route = shortest(&task).map_err(|why| FitError::Route { awg, covering, why })?;
        length_mm = route.cut.length_mm;
        match against(&stock, reads(&stock, length_mm), need) {
            None => return Ok(Fit { stock, task, route }),
            Some(why) => refused.push((awg, why)),
        }
    }
    Err(GaugeError::None { covering, load: need.load, length_mm, refused }.into())
}
