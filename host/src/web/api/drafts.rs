//! `drafts`: boards that are drawn and changed, in the fixtures' folder of the daemon.

use std::path::PathBuf;

use axum::{
    extract::{DefaultBodyLimit, State},
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use utoipa_axum::{router::OpenApiRouter, routes};

use super::file::internal;
use crate::{
    daemon::{
        News,
        drafts::{self, DraftsError, Kept, Saving},
    },
    draft::{self, Draft, DraftError, Finding, Grade, Photos, Texts},
    photograph::Seen,
    web::{
        app::App,
        extract::{Json, Path},
        problem::Problem,
        upload::{LONGEST_UPLOAD, Parts},
    },
};

/// Longest draft, bytes: a board file has a megabyte at most, and JSON takes more.
const LONGEST_DRAFT: usize = 4 << 20;

pub fn router() -> OpenApiRouter<App> {
    let drafts = OpenApiRouter::new().routes(routes!(list, create)).routes(routes!(open, replace));
    let checks = OpenApiRouter::new().routes(routes!(check));
    drafts
        .layer(DefaultBodyLimit::max(2 * LONGEST_UPLOAD))
        .merge(checks.layer(DefaultBodyLimit::max(LONGEST_DRAFT)))
        .routes(routes!(photo))
}

/// A board that can be changed here.
#[derive(Serialize, ToSchema)]
struct DraftLine {
    /// The name of its folder.
    key: String,
}

/// Boards that can be changed here.
#[derive(Serialize, ToSchema)]
struct DraftList {
    /// Can boards be saved? Not where only the built-in examples are laid on.
    can_save: bool,
    /// They.
    boards: Vec<DraftLine>,
}

/// Lists the boards that can be changed.
#[utoipa::path(get, path = "/drafts", tag = "boards", responses((status = 200, body = DraftList)))]
async fn list(State(app): State<App>) -> axum::Json<DraftList> {
    let folder = app.fixtures.folder();
    let keys = folder.map(drafts::list).unwrap_or_default();
    let boards = keys.into_iter().map(|key| DraftLine { key }).collect();
    axum::Json(DraftList { can_save: folder.is_some(), boards })
}

/// A board as it was opened.
#[derive(Serialize, ToSchema)]
struct Opened {
    /// The name of its folder.
    key: String,
    /// By which a change of its files is seen; send it when saving.
    hash: String,
    /// The board and its bed.
    draft: Draft,
    /// Where its photos lie.
    photos: Photos,
    /// What the check says of it.
    findings: Vec<Finding>,
}

/// Opens a board.
#[utoipa::path(
    get,
    path = "/drafts/{key}",
    tag = "boards",
    params(("key" = String, Path, description = "The name of its folder")),
    responses((status = 200, body = Opened), (status = 404, body = Problem), (status = 409, body = Problem))
)]
async fn open(State(app): State<App>, Path(key): Path<String>) -> Result<axum::Json<Opened>, Problem> {
    let folder = folder(&app)?;
    blocking(move || {
        let Kept { texts, photos, hash } = drafts::read(&folder, &key)?;
        let draft = draft::open(&texts.board, &texts.fixture)?;
        let findings = draft::findings(&texts, &folder.join(&key));
        Ok(axum::Json(Opened { key, hash, draft, photos, findings }))
    })
    .await
}

/// A draft to be checked.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ToCheck {
    /// The board that was opened; none if it is new.
    key: Option<String>,
    /// The draft.
    draft: Draft,
}

/// What the check says of a draft.
#[derive(Serialize, ToSchema)]
struct Checked {
    /// The draft with a pin wherever one is needed.
    draft: Draft,
    /// What the check says of it.
    findings: Vec<Finding>,
}

/// Checks a draft as `copperwalk check` would if it were saved, and gives points their pins; nothing is saved.
#[utoipa::path(
    post,
    path = "/draft-checks",
    tag = "boards",
    request_body = ToCheck,
    responses(
        (status = 200, body = Checked),
        (status = 400, description = "No board, or too large a one", body = Problem),
        (status = 404, body = Problem)
    )
)]
async fn check(
    State(app): State<App>,
    Json(ToCheck { key, draft }): Json<ToCheck>,
) -> Result<axum::Json<Checked>, Problem> {
    // A new board is drawn and checked without a folder, too.
    let place = match &key {
        Some(_) => Some(folder(&app)?),
        None => app.fixtures.folder().map(PathBuf::from),
    };
    blocking(move || {
        let base = match (&place, &key) {
            (Some(place), Some(key)) => Some(drafts::read(place, key)?.texts),
            _ => None,
        };
        let place = place.unwrap_or_default().join(key.unwrap_or_default());
        let (draft, _, findings) = written(draft, base.as_ref(), &place)?;
        Ok(axum::Json(Checked { draft, findings }))
    })
    .await
}

/// The draft with its pins, its files, and what the check says of them.
fn written(
    mut draft: Draft,
    base: Option<&Texts>,
    place: &std::path::Path,
) -> Result<(Draft, Texts, Vec<Finding>), Problem> {
    draft.bounded()?;
    draft::assign(&mut draft, base)?;
    let texts = draft::merge(&draft, base)?;
    let findings = draft::findings(&texts, place);
    Ok((draft, texts, findings))
}

/// What is to be saved, beside new photos.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct ToSave {
    /// The draft.
    draft: Draft,
    /// Where the photos lie, those too that are there already.
    #[serde(default)]
    photos: Photos,
    /// The hash that the board was opened with; none if it is new.
    opened: Option<String>,
    /// Save it although the check finds errors.
    #[serde(default)]
    yes: bool,
}

/// A board, as a form sends it.
#[derive(ToSchema)]
#[allow(dead_code, reason = "only described: `Parts` reads it")]
struct SavingForm {
    /// The board.
    #[schema(inline)]
    board: ToSave,
    /// The front's photo, flattened: a JPEG or a PNG file.
    #[schema(value_type = Option<String>, format = Binary, content_media_type = "application/octet-stream")]
    front: Option<Vec<u8>>,
    /// The back's.
    #[schema(value_type = Option<String>, format = Binary, content_media_type = "application/octet-stream")]
    back: Option<Vec<u8>>,
}

/// A board that is saved.
#[derive(Serialize, ToSchema)]
struct Saved {
    /// The name of its folder.
    key: String,
    /// Send it when saving again.
    hash: String,
    /// The board as it lies in its files now.
    draft: Draft,
    /// What the check says of it.
    findings: Vec<Finding>,
}

/// Saves a new board in a folder of its own.
#[utoipa::path(
    post,
    path = "/drafts",
    tag = "boards",
    request_body(content = SavingForm, content_type = "multipart/form-data"),
    responses(
        (status = 201, description = "Saved; `Location` opens it", body = Saved),
        (status = 400, description = "No board, or a photo that is none", body = Problem),
        (status = 409, description = "There is one already, or the check finds errors", body = Problem)
    )
)]
async fn create(State(app): State<App>, parts: Parts) -> Result<Response, Problem> {
    let folder = folder(&app)?;
    let (wanted, files) = sent(parts)?;
    let saved = blocking(move || {
        let text =
            |key: &str| wanted.draft.board.get(key).and_then(|value| value.as_str()).unwrap_or_default();
        let key = drafts::key_of(text("name"), text("revision"));
        let (_, texts, findings) = written(wanted.draft, None, &folder.join(&key))?;
        doubted(&findings, wanted.yes)?;
        drafts::create(&folder, &key, Saving { texts, photos: wanted.photos, files })?;
        as_kept(&folder, key, findings)
    });
    let saved = saved.await?;
    laid_on(&app).await?;
    let place = HeaderValue::try_from(format!("/api/v1/drafts/{}", saved.key)).map_err(internal)?;
    Ok((StatusCode::CREATED, [(header::LOCATION, place)], axum::Json(saved)).into_response())
}

/// Saves a board that was opened.
#[utoipa::path(
    put,
    path = "/drafts/{key}",
    tag = "boards",
    params(("key" = String, Path, description = "The name of its folder")),
    request_body(content = SavingForm, content_type = "multipart/form-data"),
    responses(
        (status = 200, body = Saved),
        (status = 400, description = "No board, or a photo that is none", body = Problem),
        (status = 404, body = Problem),
        (status = 409, description = "It has been changed meanwhile, or the check finds errors", body = Problem)
    )
)]
async fn replace(
    State(app): State<App>,
    Path(key): Path<String>,
    parts: Parts,
) -> Result<axum::Json<Saved>, Problem> {
    let folder = folder(&app)?;
    let (wanted, files) = sent(parts)?;
    let saved = blocking(move || {
        let kept = drafts::read(&folder, &key)?;
        let opened = wanted.opened.unwrap_or_default();
        if kept.hash != opened {
            return Err(DraftsError::Changed { key }.into());
        }
        let (_, texts, findings) = written(wanted.draft, Some(&kept.texts), &folder.join(&key))?;
        doubted(&findings, wanted.yes)?;
        drafts::replace(&folder, &key, &opened, Saving { texts, photos: wanted.photos, files })?;
        as_kept(&folder, key, findings)
    });
    let saved = saved.await?;
    laid_on(&app).await?;
    Ok(axum::Json(saved))
}

/// A flattened photo of a board.
#[utoipa::path(
    get,
    path = "/drafts/{key}/photos/{side}",
    tag = "boards",
    params(("key" = String, Path, description = "The name of its folder"), ("side" = Seen, Path, description = "Which side")),
    responses(
        (status = 200, content_type = "image/jpeg", body = Vec<u8>),
        (status = 404, body = Problem),
        (status = 409, body = Problem)
    )
)]
async fn photo(State(app): State<App>, Path((key, side)): Path<(String, Seen)>) -> Result<Response, Problem> {
    let folder = folder(&app)?;
    let picture = blocking(move || Ok(drafts::photo(&folder, &key, side)?)).await?;
    let picture = picture.ok_or_else(|| Problem::not_found("there is no photo of that side"))?;
    Ok(([(header::CONTENT_TYPE, "image/jpeg")], picture).into_response())
}

/// The folder that boards are saved in.
fn folder(app: &App) -> Result<PathBuf, Problem> {
    app.fixtures.folder().map(PathBuf::from).ok_or_else(|| {
        let detail = "this daemon shows the built-in examples only: start it with --fixtures FOLDER to keep boards of your own";
        Problem::new(StatusCode::CONFLICT, detail)
    })
}

/// New photos of front and back.
type NewPhotos = [Option<Vec<u8>>; 2];

/// The parts of a form that is to be saved.
fn sent(mut parts: Parts) -> Result<(ToSave, NewPhotos), Problem> {
    let board = parts.take("board").ok_or_else(|| Problem::bad_request("the form has no field `board`"))?;
    let wanted = serde_json::from_slice(&board)
        .map_err(|error| Problem::bad_request(format!("the field `board` is no board: {error}")))?;
    Ok((wanted, ["front", "back"].map(|name| parts.take(name).filter(|file| !file.is_empty()))))
}

/// Errors of the check are doubts: an unfinished board may be kept, and the bench does not use it.
fn doubted(findings: &[Finding], yes: bool) -> Result<(), Problem> {
    const SHOWN: usize = 5;
    let errors = findings.iter().filter(|finding| finding.grade == Grade::Error);
    let doubts: Vec<String> = errors.take(SHOWN).map(|finding| finding.message.clone()).collect();
    if doubts.is_empty() || yes { Ok(()) } else { Err(Problem::doubtful(doubts)) }
}

fn as_kept(folder: &std::path::Path, key: String, findings: Vec<Finding>) -> Result<Saved, Problem> {
    let kept = drafts::read(folder, &key)?;
    let draft = draft::open(&kept.texts.board, &kept.texts.fixture)?;
    Ok(Saved { key, hash: kept.hash, draft, findings })
}

/// The fixtures are looked at at once, and whoever listens is told.
async fn laid_on(app: &App) -> Result<(), Problem> {
    let fixtures = app.fixtures.clone();
    if blocking(move || Ok(fixtures.look())).await? {
        app.desk.feed().tell(&News::Fixtures);
    }
    Ok(())
}

/// On a thread that nothing else waits for.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Problem> + Send + 'static,
) -> Result<T, Problem> {
    tokio::task::spawn_blocking(work).await.map_err(internal)?
}

impl From<DraftError> for Problem {
    fn from(error: DraftError) -> Self {
        Self::bad_request(error.to_string())
    }
}

impl From<DraftsError> for Problem {
    fn from(error: DraftsError) -> Self {
        let status = match &error {
            DraftsError::NoBoard { .. } => StatusCode::NOT_FOUND,
            DraftsError::Unreadable(_) | DraftsError::Changed { .. } | DraftsError::Taken { .. } => {
                StatusCode::CONFLICT
            }
            DraftsError::Photo { .. } => StatusCode::BAD_REQUEST,
            DraftsError::System { .. } | DraftsError::Interrupted { .. } => StatusCode::SERVICE_UNAVAILABLE,
        };
        Self::new(status, error.to_string())
    }
}
