//! What people write down about a unit, by a page or by the API: held against what may be kept, kept, and told to everybody.

use super::{app::App, problem::Problem};
use crate::{
    daemon::News,
    records::{SweepId, now_us, text},
};

impl App {
    /// Writes a note down; gives the unit's serial number as it is kept.
    ///
    /// # Errors
    /// A serial number or text that cannot be kept, an unknown unit, those of the records.
    pub async fn note(&self, serial: &str, note: &str) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        self.store.note(&serial, now_us(), note).await?;
        Ok(self.written(serial))
    }

    /// Writes a repair down: at a segment, a point or `point~point` of the unit's board.
    ///
    /// # Errors
    /// As [`note`](Self::note), and a place that the board does not have.
    pub async fn repair(
        &self,
        serial: &str,
        place: &str,
        action: &str,
        more: &str,
    ) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        let place = self.store.place(&serial, place).await?;
        self.store.repair(&serial, now_us(), &place, action, more).await?;
        Ok(self.written(serial))
    }

    /// Declares a sweep void.
    ///
    /// # Errors
    /// As [`note`](Self::note), and a sweep that is not the unit's, or is void already.
    pub async fn void(&self, serial: &str, sweep: SweepId, because: &str) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        self.store.void(&serial, sweep, now_us(), because).await?;
        Ok(self.written(serial))
    }

    fn written(&self, serial: String) -> String {
        self.desk.feed().tell(&News::Unit { serial: serial.clone() });
        serial
    }
}
