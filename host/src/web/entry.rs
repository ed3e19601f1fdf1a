//! What people write down, by a page or by the API: held against what may be kept, kept, and told to everybody.

use std::collections::{BTreeMap, BTreeSet};

use axum::http::StatusCode;

use super::{app::App, problem::Problem};
use crate::{
    daemon::News,
    proposed::{self, Experience, Proposed},
    records::{Coming, PhotoId, SweepId, now_us, status::Said, text},
    trade::{
        Book,
        book::{Dealing, SaidOfLot},
    },
};

/// Most units received in one go: more than come in on one day.
const MOST_RECEIVED: usize = 10_000;

impl App {
    /// Writes down that units came in; gives how many were new.
    ///
    /// # Errors
    /// A serial number or lot that cannot be kept; what looks like a slip, unless it is `meant`; those of the records.
    pub async fn receive(
        &self,
        serials: &[String],
        lot: Option<&str>,
        meant: bool,
    ) -> Result<Coming, Problem> {
        if serials.is_empty() || serials.len() > MOST_RECEIVED {
            let detail = format!("name 1 to {MOST_RECEIVED} serial numbers; got {}", serials.len());
            return Err(Problem::bad_request(detail));
        }
        let lot = lot.map(text::lot).transpose()?;
        let listed = serials.iter().map(|serial| text::serial(serial)).collect::<Result<BTreeSet<_>, _>>()?;
        let (known, lots) = (self.catalogue.units(|_| true).await?, self.store.lot_names().await?);
        let coming = Coming::of(listed, lot.as_deref(), &known, &lots);
        if !coming.doubts.is_empty() && !meant {
            return Err(Problem::doubtful(coming.doubts));
        }
        self.store.receive(&coming.new, lot.as_deref(), now_us()).await?;
        for serial in &coming.new {
            self.desk.feed().tell(&News::Unit { serial: serial.clone() });
        }
        self.take_in().await;
        Ok(coming)
    }

    /// Writes down where a unit stands in the work; gives its serial number as it is kept.
    ///
    /// # Errors
    /// A serial number that cannot be kept, an unknown unit, those of the records.
    pub async fn status(&self, serial: &str, said: Said) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        self.store.set_status(&serial, now_us(), said).await?;
        Ok(self.written(serial).await)
    }

    /// Writes a note down.
    ///
    /// # Errors
    /// As [`status`](Self::status), and a text that cannot be kept.
    pub async fn note(&self, serial: &str, note: &str) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        self.store.note(&serial, now_us(), note).await?;
        Ok(self.written(serial).await)
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
        Ok(self.written(serial).await)
    }

    /// What can be done about a unit.
    ///
    /// # Errors
    /// An unknown unit, nothing to be done, with the reason, and a damaged store.
    pub async fn proposed(&self, serial: &str) -> Result<Proposed, Problem> {
        let unit = self.store.unit(serial).await?;
        let experience = Experience {
            board: self.store.board_of(&unit).await?,
            book: match unit.lot.as_deref() {
                Some(lot) => self.store.book(lot).await?,
                None => Book::default(),
            },
            readings: match proposed::board_hash(&unit) {
                Some(hash) => self.store.good_readings(hash).await?,
                None => BTreeMap::new(),
            },
        };
        // Ways of wires take some milliseconds.
        let worked = tokio::task::spawn_blocking(move || Proposed::of(&unit, experience)).await;
        let failed =
            |_| Problem::new(StatusCode::INTERNAL_SERVER_ERROR, "the proposals could not be worked out");
        worked.map_err(failed)?.map_err(|none| Problem::new(StatusCode::CONFLICT, none.to_string()))
    }

    /// Writes down that a proposal was carried out: the one of this number, if it is still this method at this place.
    ///
    /// # Errors
    /// As [`proposed`](Self::proposed) and [`note`](Self::note), and a list that has changed since.
    pub async fn take(
        &self,
        serial: &str,
        number: usize,
        method: &str,
        place: &str,
        more: &str,
    ) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        let proposal = self.proposed(&serial).await?.numbered(number);
        let proposal = proposal.map_err(|none| Problem::not_found(none.to_string()))?;
        if proposal.place != place || proposal.method.word() != method {
            let changed = "the list of proposals has changed since it was shown: look at it again; nothing was written down";
            return Err(Problem::new(StatusCode::CONFLICT, changed));
        }
        self.store.take(&serial, now_us(), &proposal.taken(), more).await?;
        Ok(self.written(serial).await)
    }

    /// Declares a sweep void.
    ///
    /// # Errors
    /// As [`note`](Self::note), and a sweep that is not the unit's, or is void already.
    pub async fn void(&self, serial: &str, sweep: SweepId, because: &str) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        self.store.void(&serial, sweep, now_us(), because).await?;
        Ok(self.written(serial).await)
    }

    /// Writes the answer to a check of the unit's board down.
    ///
    /// # Errors
    /// As [`note`](Self::note), and a check that the board does not have.
    pub async fn tick(&self, serial: &str, check: &str, done: bool, note: &str) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        let check = self.store.check_named(&serial, check).await?;
        self.store.tick(&serial, now_us(), &check, done, note).await?;
        Ok(self.written(serial).await)
    }

    /// Keeps a photo, a JPEG or PNG file; gives the unit's serial number and the photo's own.
    ///
    /// # Errors
    /// As [`note`](Self::note), and a file that is no photo or too large a one.
    pub async fn photo(
        &self,
        serial: &str,
        caption: &str,
        file: Vec<u8>,
    ) -> Result<(String, PhotoId), Problem> {
        let serial = text::serial(serial)?;
        let id = self.store.photo(&serial, now_us(), caption, file).await?;
        Ok((self.written(serial).await, id))
    }

    /// Writes down what concerns a unit's trade.
    ///
    /// # Errors
    /// A serial number that cannot be kept, and what [`Store::deal`](crate::records::Store::deal) says.
    pub async fn deal(&self, serial: &str, dealing: &Dealing) -> Result<String, Problem> {
        let serial = text::serial(serial)?;
        self.store.deal(&serial, now_us(), dealing).await?;
        Ok(self.written(serial).await)
    }

    /// Writes down what is said of a lot as a whole; gives its name as it is kept.
    ///
    /// # Errors
    /// A name that cannot be kept, and what [`Store::say_of_lot`](crate::records::Store::say_of_lot) says.
    pub async fn say_of_lot(&self, lot: &str, said: &[SaidOfLot]) -> Result<String, Problem> {
        let lot = text::lot(lot)?;
        self.store.say_of_lot(&lot, now_us(), said).await?;
        self.take_in().await;
        Ok(lot)
    }

    async fn written(&self, serial: String) -> String {
        self.desk.feed().tell(&News::Unit { serial: serial.clone() });
        self.take_in().await;
        serial
    }

    /// Sweeps that were put beside the records while those were locked go in now that something could be written.
    async fn take_in(&self) {
        for news in self.store.take_in().await {
            tracing::info!("{news}");
        }
    }
}
