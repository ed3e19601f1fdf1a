//! Photos of units: the row in the history, and the picture by its number.

use sqlx::{Connection as _, Row as _};

use super::database::{BEGIN, Connection};
use super::ledger::{self, Line};
use super::logbook::{self, Entry, Odd, PHOTO};
use super::picture::Picture;
use super::summary::{Event, Photo, PhotoId};
use super::value::Value;
use super::{Error, Store, list, text};
use crate::hash;

/// One photo is decoded at a time, so that many of them take no more memory than one.
static AT_WORK: tokio::sync::Mutex<()> = tokio::sync::Mutex::const_new(());

impl Store {
    /// Keeps a photo of a unit: `file` is a JPEG or a PNG file, of which the picture is kept, small enough for a page.
    ///
    /// # Errors
    /// A file that is no photo or too large a one, an overlong caption (it may be empty), an unknown serial number, and
    /// what [`Store::store`] says.
    pub async fn photo(
        &self,
        serial: &str,
        at_us: i64,
        caption: &str,
        file: Vec<u8>,
    ) -> Result<PhotoId, Error> {
        if !caption.is_empty() {
            text::line("caption", caption, text::CAPTION_CHARACTERS)?;
        }
        // A second of work, on a thread that nobody else waits for, and before the lock is taken.
        let at_work = AT_WORK.lock().await;
        let picture = tokio::task::spawn_blocking(move || {
            let picture = Picture::of(&file);
            // Not before, also where nobody waits for the picture any more.
            drop(at_work);
            picture
        });
        let picture = picture.await;
        let picture = picture
            .map_err(|died| Error::Refused { path: self.path.clone(), reason: died.to_string() })??;
        let hash = hash::of(&picture.jpeg);
        let mut connection = self.writing().await?;
        let write = async {
            let mut transaction = connection.begin_with(BEGIN).await?;
            if !logbook::is_known(&mut transaction, serial).await? {
                return Ok(None);
            }
            // The number is under the digest; the lock keeps others from it.
            let id: i64 = sqlx::query_scalar("SELECT coalesce(max(photo_id), 0) + 1 FROM photo")
                .fetch_one(&mut *transaction)
                .await?;
            let values = [
                id.into(),
                caption.into(),
                picture.width_px.into(),
                picture.height_px.into(),
                Value::Whole(picture.jpeg.len() as i64),
                Value::from(&hash),
            ];
            logbook::enter(&mut transaction, &PHOTO, serial, at_us, &values).await?;
            let values = [id.into(), Value::from(&picture.jpeg)];
            list::insert(&mut transaction, "picture", &["photo_id", "jpeg"], &values).await?;
            transaction.commit().await?;
            Ok(Some(PhotoId(id)))
        };
        match write.await {
            Ok(Some(id)) => Ok(id),
            Ok(None) => Err(self.unknown_unit(serial).await),
            Err(error) => Err(self.after_failed_write(connection, &error).await),
        }
    }

    /// The picture of a photo: a JPEG file.
    ///
    /// # Errors
    /// An unknown number; a damaged store; a row or a picture that is not as it was written.
    pub async fn picture(&self, id: PhotoId) -> Result<Vec<u8>, Error> {
        let mut connection = self.reading().await?;
        let read = async {
            let mut snapshot = connection.begin().await?;
            let Some(entry) = logbook::photo(&mut snapshot, id).await? else { return Ok(None) };
            let stands = match &entry {
                Ok(Entry { serial, entry, kind, .. }) => {
                    let line = Line { serial, entry: *entry, judgement: 0, kind };
                    ledger::has(&mut snapshot, line).await?
                }
                Err(_) => true,
            };
            Ok(Some((entry, stands, jpeg(&mut snapshot, id).await?)))
        };
        let found = read.await.map_err(|error| self.said(&error))?;
        let (entry, stands, jpeg) = found.ok_or_else(|| self.unknown_photo(id))?;
        let entry = entry.map_err(|odd: Odd| self.altered(odd.in_words()))?;
        if !stands {
            return Err(self.odd_unit(&entry.serial));
        }
        match (entry.event, jpeg) {
            (Event::Photo(photo), Some(jpeg)) if is_of(&photo, &jpeg) => Ok(jpeg),
            _ => Err(self.altered(format!("the picture of photo {id}"))),
        }
    }

    fn unknown_photo(&self, id: PhotoId) -> Error {
        Error::UnknownPhoto { path: self.path.clone(), id }
    }
}

/// Is this the picture that was kept with the photo?
pub(super) fn is_of(photo: &Photo, jpeg: &[u8]) -> bool {
    super::seal(|| hash::of(jpeg).into_bytes(), photo.jpeg_hash.clone().into_bytes())
}

/// The picture of a photo, whatever it is by now.
pub(super) async fn jpeg(connection: &mut Connection, id: PhotoId) -> Result<Option<Vec<u8>>, sqlx::Error> {
    let row = sqlx::query("SELECT jpeg FROM picture WHERE photo_id = $1").bind(id.0);
    row.fetch_optional(connection).await?.map(|row| row.try_get("jpeg")).transpose()
}
