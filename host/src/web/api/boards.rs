//! `fixtures` and `boards`: what can be laid on the bench.
#![allow(unused_qualifications)] // the code that utoipa writes for `params` names its types in full

use axum::extract::State;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::{router::OpenApiRouter, routes};

use super::jobs::no_fixture;
use crate::{
    board::Board,
    daemon::fixtures::Known,
    report::plan::{PlanSheet, plan_sheet},
    web::{
        app::App,
        extract::{Path, Query},
        problem::Problem,
    },
};

pub fn router() -> OpenApiRouter<App> {
    OpenApiRouter::new()
        .routes(routes!(fixtures))
        .routes(routes!(fixture))
        .routes(routes!(plan))
        .routes(routes!(boards))
        .routes(routes!(board))
}

/// A fixture.
#[derive(Serialize, ToSchema)]
struct FixturePicture {
    /// Name.
    name: String,
    /// The board it is for.
    board: String,
    /// Revision of the board.
    revision: String,
    /// SHA-256 of the fixture's file.
    hash: String,
    /// SHA-256 of the board's file.
    board_hash: String,
    /// Force channels it needs.
    force_channels: u16,
    /// Sense channels it needs.
    sense_channels: u16,
    /// Pins.
    pins: usize,
    /// Check standards.
    standards: Vec<String>,
    /// Readings of a sweep that stops when verdicts are clear.
    readings: usize,
    /// Why its file as it is now cannot be used; the fixture is then that of an earlier reading.
    problems: Option<String>,
}

/// The fixtures, and files that are none.
#[derive(Serialize, ToSchema)]
struct FixtureList {
    /// Those that can be used.
    fixtures: Vec<FixturePicture>,
    /// What is wrong with the others, a text each.
    unread: Vec<String>,
}

impl FixturePicture {
    fn of(known: &Known) -> Self {
        let fixture = &known.laid.fixture;
        let used = |pins: &crate::fixture::Pins| {
            usize::from(pins.force.is_some()) + usize::from(pins.sense.is_some())
        };
        let legs = known.laid.quick.stages.iter().flat_map(|stage| &stage.legs);
        Self {
            name: fixture.name.clone(),
            board: fixture.board.name.clone(),
            revision: fixture.board.revision.clone(),
            hash: fixture.hash.clone(),
            board_hash: fixture.board.hash.clone(),
            force_channels: fixture.force_channels,
            sense_channels: fixture.sense_channels,
            pins: fixture.pins.iter().map(used).sum(),
            standards: fixture.standards.iter().map(|standard| standard.name.clone()).collect(),
            readings: legs.map(|leg| leg.shots.len()).sum(),
            problems: known.problems.clone(),
        }
    }
}

/// The fixtures.
#[utoipa::path(get, path = "/fixtures", tag = "boards", responses((status = 200, body = FixtureList)))]
async fn fixtures(State(app): State<App>) -> axum::Json<FixtureList> {
    let fixtures = app.fixtures.all().iter().map(FixturePicture::of).collect();
    let unread = app.fixtures.unread();
    let unread = unread.iter().map(|(path, why)| format!("{}: {why}", path.display())).collect();
    axum::Json(FixtureList { fixtures, unread })
}

/// One fixture.
#[utoipa::path(
    get,
    path = "/fixtures/{name}",
    tag = "boards",
    params(("name" = String, Path, description = "Its name")),
    responses((status = 200, body = FixturePicture), (status = 404, body = Problem))
)]
async fn fixture(
    State(app): State<App>,
    Path(name): Path<String>,
) -> Result<axum::Json<FixturePicture>, Problem> {
    let known = app.fixtures.get(&name).ok_or_else(|| no_fixture(&app, &name))?;
    Ok(axum::Json(FixturePicture::of(&known)))
}

/// Its plan: the object that `copperwalk plan --json` prints.
#[utoipa::path(
    get,
    path = "/fixtures/{name}/plan",
    tag = "boards",
    params(("name" = String, Path, description = "Its name"), Depth),
    responses((status = 200, body = Object), (status = 400, body = Problem), (status = 404, body = Problem))
)]
async fn plan(
    State(app): State<App>,
    Path(name): Path<String>,
    Query(depth): Query<Depth>,
) -> Result<axum::Json<PlanSheet>, Problem> {
    let known = app.fixtures.get(&name).ok_or_else(|| no_fixture(&app, &name))?;
    let plan = if depth.full { &known.laid.full } else { &known.laid.quick };
    Ok(axum::Json(plan_sheet(plan, &known.laid.fixture)))
}

/// How thoroughly.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Depth {
    /// The full number of samples for every reading.
    #[serde(default)]
    full: bool,
}

/// A board.
#[derive(Serialize, ToSchema)]
struct BoardPicture {
    /// Name.
    name: String,
    /// Revision.
    revision: String,
    /// SHA-256 of its file.
    hash: String,
    /// Its file.
    source: String,
    /// Names of its points.
    points: Vec<String>,
    /// Its segments.
    segments: Vec<SegmentPicture>,
    /// States a unit is put in, in this order.
    states: Vec<String>,
    /// Fixtures made for it.
    fixtures: Vec<String>,
}

/// A segment of the supply path.
#[derive(Serialize, ToSchema)]
struct SegmentPicture {
    /// Name.
    name: String,
    /// The word for its kind, as in board files.
    kind: &'static str,
    /// One end.
    from: String,
    /// The other end.
    to: String,
}

impl BoardPicture {
    fn of(board: &Board, fixtures: Vec<String>) -> Self {
        let segment = |segment: &crate::board::Segment| SegmentPicture {
            name: segment.name.clone(),
            kind: segment.kind.word(),
            from: board.point(segment.from).name.clone(),
            to: board.point(segment.to).name.clone(),
        };
        Self {
            name: board.name.clone(),
            revision: board.revision.clone(),
            hash: board.hash.clone(),
            source: board.source.clone(),
            points: board.points.iter().map(|point| point.name.clone()).collect(),
            segments: board.segments.iter().map(segment).collect(),
            states: board.states.iter().map(|state| state.name.clone()).collect(),
            fixtures,
        }
    }
}

/// Every board that a fixture is for; two revisions are two boards.
fn all(app: &App) -> Vec<BoardPicture> {
    let mut boards: Vec<BoardPicture> = Vec::new();
    for known in app.fixtures.all() {
        let fixture = &known.laid.fixture;
        match boards.iter_mut().find(|board| board.hash == fixture.board.hash) {
            Some(board) => board.fixtures.push(fixture.name.clone()),
            None => boards.push(BoardPicture::of(&fixture.board, vec![fixture.name.clone()])),
        }
    }
    boards
}

/// The boards.
#[utoipa::path(get, path = "/boards", tag = "boards", responses((status = 200, body = Vec<BoardPicture>)))]
async fn boards(State(app): State<App>) -> axum::Json<Vec<BoardPicture>> {
    axum::Json(all(&app))
}

/// The boards of one name: one for each revision.
#[utoipa::path(
    get,
    path = "/boards/{name}",
    tag = "boards",
    params(("name" = String, Path, description = "Its name")),
    responses((status = 200, body = Vec<BoardPicture>), (status = 404, body = Problem))
)]
async fn board(
    State(app): State<App>,
    Path(name): Path<String>,
) -> Result<axum::Json<Vec<BoardPicture>>, Problem> {
    let boards = all(&app);
    let near: Vec<String> = boards.iter().map(|board| board.name.clone()).collect();
    let named: Vec<_> = boards.into_iter().filter(|board| board.name == name).collect();
    if named.is_empty() {
        let detail = format!("no fixture is for a board {name:?}; there are: {}", near.join(", "));
        return Err(Problem { near, ..Problem::not_found(detail) });
    }
    Ok(axum::Json(named))
}
