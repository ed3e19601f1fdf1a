//! The steps of a first power, and what bounds it.

use super::{Window, Within};
use crate::{
    board::{self, Board, PointId, Power, SegmentId, SegmentKind, graph::Graph},
    quantity::{Amps, Seconds, Volts},
    supply::Bounds,
};

/// The over-voltage trip stands above the highest supply voltage by this share, so that a supply's own overshoot does not set it off.
const OVER_VOLTAGE: f64 = 1.05;
/// The over-current trip stands above the limit: while the limit holds it never acts.
const OVER_CURRENT: f64 = 1.25;
/// At rest in a step a board may draw so many times the most it draws at rest later: a converter draws more current at less voltage.
const CEILING: f64 = 3.0;

/// What is asked of one unit.
#[derive(Clone, PartialEq, Debug)]
pub struct Plan {
    /// Voltages of the ramp, ascending; the last one is that which the board is run at.
    pub steps: Vec<Volts>,
    /// What the supply is held to.
    pub bounds: Bounds,
    /// How long each step is left alone.
    pub settle: Seconds,
    /// How long after the last one the board is at rest.
    pub wait: Seconds,
    /// What it may draw for a moment.
    pub inrush: Option<Amps>,
    /// What it may draw at rest.
    pub window: Option<Window>,
    /// Of the supply's current.
    pub supply_within: Within,
    /// Of the meter that rails are read with; `None`: it is asked for.
    pub meter_within: Option<Within>,
    /// Name of the state, and what the operator does to reach it.
    pub state: [String; 2],
    /// Points that the supply is joined to: plus and minus.
    pub terminals: [String; 2],
    /// What gets warm first.
    pub hot: String,
    /// Rails to be read.
    pub rails: Vec<Rail>,
    /// Checks to be answered: name and how to look.
    pub checks: Vec<[String; 2]>,
}

/// A rail to be read.
#[derive(Clone, PartialEq, Debug)]
pub struct Rail {
    /// Name.
    pub name: String,
    /// Point.
    pub at: String,
    /// Lowest and highest.
    pub voltage: [Volts; 2],
    /// Segments that conduct one way only and that this rail shows to conduct if it is in its window.
    pub shows: Vec<String>,
}

impl Plan {
    /// Of a board whose file says how it is put under power.
    pub fn of(board: &Board, power: &Power, window: Option<Window>, supply_within: Within) -> Self {
        let [lowest, highest] = board.supply.voltage;
        let step = |number: u32| lowest * (f64::from(number) / f64::from(power.steps));
        let mut steps: Vec<Volts> =
            (1..=power.steps).map(step).filter(|volts| *volts > Volts::ZERO).collect();
        if steps.last().is_none_or(|last| *last < power.nominal) {
            steps.push(power.nominal);
        }
        let state = board.state(power.state);
        let name = |id| board.point(id).name.clone();
        Self {
            steps,
            bounds: Bounds {
                limit: power.limit,
                over_voltage: highest * OVER_VOLTAGE,
                over_current: power.limit * OVER_CURRENT,
            },
            settle: power.settle,
            wait: power.wait,
            inrush: power.inrush,
            window,
            supply_within,
            meter_within: None,
            state: [state.name.clone(), state.prompt.clone()],
            terminals: [name(board.supply.from), name(board.supply.ret)],
            hot: power.hot.clone(),
            rails: board
                .rails
                .iter()
                .map(|rail| Rail {
                    name: rail.name.clone(),
                    at: name(rail.at),
                    voltage: rail.voltage,
                    shows: shown_by(board, power, rail),
                })
                .collect(),
            checks: board.checks.iter().map(|check| [check.name.clone(), check.help.clone()]).collect(),
        }
    }

    /// The voltage it is run at.
    pub fn nominal(&self) -> Volts {
        self.steps.last().copied().unwrap_or_default()
    }

    /// The most it may draw at rest in any step before it is stopped.
    pub fn ceiling(&self) -> Amps {
        let most = self.window.as_ref().map(|window| CEILING * window.most);
        most.map_or(self.bounds.limit, |most| most.min(self.bounds.limit))
    }
}

/// Pieces that conduct one way only and that every way from the supply to the rail goes over, if the rail's window leaves no room for a piece that does not do
/// what it should.
fn shown_by(board: &Board, power: &Power, rail: &board::Rail) -> Vec<String> {
    let lost = power.nominal - rail.voltage[0];
    board
        .segment_ids()
        .filter(|id| board.segment(*id).kind.one_way().is_some())
        .filter(|id| is_needed(board, power, *id, rail.at))
        .filter(|id| match board.segment(*id).kind {
            // A channel that stays off leaves its body diode, which costs 0.4 V and more at any current a board draws (common practice).
            SegmentKind::Transistor { .. } => lost < BODY_DIODE,
            SegmentKind::Diode { max_forward, .. } => lost <= max_forward + board.supply.max_drop,
            _ => false,
        })
        .map(|id| board.segment(id).name.clone())
        .collect()
}

/// The least that the body diode of a MOSFET costs.
const BODY_DIODE: Volts = Volts(0.4);

fn is_needed(board: &Board, power: &Power, id: SegmentId, at: PointId) -> bool {
    let reached = |graph: Graph| graph.reach(board.supply.from, Some(power.state)).contains(at);
    reached(Graph::of(board)) && !reached(Graph::of(board).without(id))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{board, start::sample};

    #[test]
    fn the_ramp_goes_in_even_steps_to_the_lowest_supply_voltage_and_then_to_the_nominal_one() {
        let plan = sample::plan();
        let volts: Vec<f64> = plan.steps.iter().map(|step| (step.0 * 1e6).round() / 1e6).collect();
        assert_eq!(volts, [0.4, 0.8, 1.2, 1.6, 2.0, 2.6]);
        assert_eq!(plan.nominal(), Volts(2.6));
        // The bounds by hand: the load of the board file, 5 % above 3.2 V, a quarter above the limit; three times 9 mA.
        assert_eq!(plan.bounds.limit, Amps(0.12));
        assert!((plan.bounds.over_voltage.0 - 3.36).abs() < 1e-12);
        assert!((plan.bounds.over_current.0 - 0.15).abs() < 1e-12);
        assert!((plan.ceiling().0 - 0.027).abs() < 1e-12);
    }

    #[test]
    fn a_rail_shows_that_a_transistor_conducts_only_where_its_window_leaves_no_room_for_the_body_diode() {
        let shown = |low: &str| {
            let text = sample::text()
                .replace("\"2.4 V\", \"3.2 V\"", &format!("\"{low}\", \"3.2 V\""))
                .replacen("kind = \"ferrite\"", "kind = \"transistor\"\nmax_reverse = \"50 uA\"", 1);
            let text = text.replace("max = \"200 mohm\"\n", "");
            let board = board::parse("board.toml", &text).unwrap();
            let plan = Plan::of(&board, board.power.as_ref().unwrap(), None, Within::SUPPLY);
            plan.rails[0].shows.clone()
        };
        assert_eq!(shown("2.3 V"), ["input ferrite"]);
        assert!(shown("2.1 V").is_empty());
    }
}
