//! Whoever is at the page puts the unit into its states. Where the bench sees it, nobody has to say so.

use super::{
    desk::Desk,
    job::{JobId, Stage},
};
use crate::{
    board::StateId,
    fixture::Fixture,
    link::CancelToken,
    operator::{LOOK, Operator, Unattended, Watch, wait},
};

/// The operator of one job.
pub struct DeskOperator<'d> {
    /// Where it is asked, and where somebody answers.
    pub desk: &'d Desk,
    /// The job.
    pub job: JobId,
    /// Withdraws the question.
    pub cancel: CancelToken,
    /// The fixture on the bench.
    pub fixture: &'d Fixture,
}

impl Operator for DeskOperator<'_> {
    fn place(&mut self, state: StateId, prompt: &str, watch: &mut dyn Watch) -> Result<(), Unattended> {
        if prompt.is_empty() {
            return Ok(());
        }
        let ask = || {
            let sentence = self.fixture.ask(state);
            self.desk.job_is(self.job, |job| {
                job.stage = Stage::WaitingForState;
                job.ask = Some(sentence);
            });
        };
        let said = || match self.cancel.is_cancelled() {
            true => Err(Unattended::Cancelled),
            false => Ok(self.desk.heard(self.job, LOOK)),
        };
        wait(watch, ask, said)?;
        self.desk.job_is(self.job, |job| {
            job.stage = Stage::Measuring;
            job.ask = None;
        });
        Ok(())
    }
}
