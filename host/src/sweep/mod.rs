//! A sweep: one run of a plan on one unit, and everything concluded from it.
//!
//! [`machine`] makes runs, without I/O; [`planned`] is the policy that decides which: the plan first, then whatever the
//! unit's answers call for. [`Sweep`] is what records and reports are made of.

pub mod machine;
mod outcome;
pub mod planned;

pub use outcome::*;

use crate::{
    fixture::Fixture,
    judge,
    link::{
        Bench,
        client::{self, ClientError},
    },
    measurement::{Basis, Measurement},
    plan::Plan,
};
use machine::{Machine, MachineError, Step};
use planned::Planned;

/// What is swept, and for whom.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Subject {
    /// Serial number.
    pub serial: String,
    /// Lot.
    pub lot: Option<String>,
    /// Start, microseconds since 1970-01-01 UTC.
    pub started_us: i64,
}

/// Why there is no sweep at all. Nothing was booked.
#[derive(Debug, thiserror::Error)]
pub enum SweepError {
    /// The controller.
    #[error(transparent)]
    Client(#[from] ClientError),
    /// The machine.
    #[error(transparent)]
    Machine(#[from] MachineError),
}

impl From<crate::link::LinkError> for SweepError {
    fn from(error: crate::link::LinkError) -> Self {
        Self::Client(error.into())
    }
}

/// Sweeps one unit.
pub fn sweep(
    bench: &mut dyn Bench,
    fixture: &Fixture,
    plan: &Plan,
    subject: Subject,
) -> Result<Sweep, SweepError> {
    let identity = client::greet(bench)?;
    let mut machine = Machine::new(fixture, Planned::new(fixture, plan), identity.plan_capacity);
    loop {
        match machine.step() {
            Step::Place(state) => {
                bench.place(state, &fixture.board.states[state.0].prompt)?;
                machine.placed();
            }
            Step::Run(request) => {
                let shots: Vec<_> = request.shots.iter().map(|planned| planned.shot).collect();
                machine.ran(client::run(bench, &shots)?)?;
            }
            Step::Done => break,
        }
    }
    let board = &fixture.board;
    let measurement = Measurement {
        serial: subject.serial,
        lot: subject.lot,
        started_us: subject.started_us,
        bench_name: bench.name(),
        basis: Basis {
            board: board.name.clone(),
            revision: board.revision.clone(),
            board_hash: board.hash.clone(),
            fixture: fixture.name.clone(),
            fixture_hash: fixture.hash.clone(),
            plan_hash: plan.hash.clone(),
        },
        sampling: plan.sampling,
        runs: machine.finish(),
    };
    let judgement = judge::judge(fixture, plan, &measurement).map_err(MachineError::from)?;
    Ok(Sweep { measurement, judgement })
}
