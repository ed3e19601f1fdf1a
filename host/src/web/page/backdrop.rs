//! The photos of a board that the daemon's folder has, behind its drawings.

use std::path::Path;

use super::link::encoded;
use crate::{board::Board, daemon::drafts, photograph::Seen, report::html::Backdrop, web::app::App};

/// Photos of a board as its files are now; none of one whose files have changed since, which may be another board.
pub fn of(app: &App, board: &Board) -> Backdrop {
    let find = || {
        let folder = app.fixtures.folder()?;
        let same = app.fixtures.all().into_iter().filter(|known| known.laid.fixture.board.hash == board.hash);
        let key = same.filter_map(|known| key(folder, known.path.as_deref()?)).next()?;
        let kept = drafts::read(folder, &key).ok()?;
        Some(Backdrop::new(kept.photos, |side| {
            let side = if side == Seen::Front { "front" } else { "back" };
            Some(format!("/api/v1/drafts/{}/photos/{side}", encoded(&key)))
        }))
    };
    find().unwrap_or_default()
}

/// The name of the folder that a fixture file lies in, within the fixtures' folder.
fn key(folder: &Path, file: &Path) -> Option<String> {
    let inner = file.parent()?;
    (inner.parent()? == folder).then(|| inner.file_name()?.to_str().map(str::to_owned)).flatten()
}
