//! The pages of boards: drawn, with points, pins, limits and the plan.

use axum::{extract::State, response::Html};
use maud::{Markup, html};

use super::{
    backdrop, link,
    sheet::{self, Head, heads},
};
use crate::{
    daemon::{drafts, fixtures::Laid},
    report::{
        figures, html as report,
        plan::plan_sheet,
        terminal::{self, Screen},
    },
    web::{api::no_fixture, app::App, extract::Path, problem::Problem},
};

/// The list.
pub async fn list(State(app): State<App>) -> Html<String> {
    let fixtures = app.fixtures.all();
    // Unfinished ones, too, which the bench does not know.
    let editable = app.fixtures.folder().map(drafts::list).unwrap_or_default();
    let body = html! {
        main id="content" {
            h1 { "Boards and fixtures" }
            p class="ways-out" { a href="/editor" { "Draw a new board" } }
            (sheet::unusable(&app))
            @if !editable.is_empty() {
                p class="ways-out" { "Change: " @for key in &editable { a href=(link::editor(key)) { (key) } } }
            }
            div class="scroller" role="region" aria-label="Fixtures" tabindex="0" {
                table {
                    thead {
                        tr {
                            (heads(&[Head::Text("Fixture"), Head::Text("Board"), Head::Text("Revision"), Head::Figure("Segments"), Head::Figure("States"), Head::Figure("Check standards")]))
                        }
                    }
                    tbody {
                        @for known in &fixtures {
                            @let fixture = &known.laid.fixture;
                            @let board = &fixture.board;
                            tr {
                                th scope="row" { a href=(link::board(&fixture.name)) { (fixture.name) } }
                                td { (board.name) }
                                td { (board.revision) }
                                td class="count" { (board.segments.len()) }
                                td class="count" { (board.states.len()) }
                                td class="count" { (fixture.standards.len()) }
                            }
                        }
                    }
                }
            }
        }
    };
    sheet::page("/boards", "Boards", None, &body)
}

/// One fixture with its board.
pub async fn board(State(app): State<App>, Path(name): Path<String>) -> Result<Html<String>, Problem> {
    let known = app.fixtures.get(&name).ok_or_else(|| no_fixture(&app, &name))?;
    let fixture = &known.laid.fixture;
    let board = &fixture.board;
    let body = html! {
        main id="content" {
            h1 { (board.name) ", revision " (board.revision) }
            p { "Fixture " b { (fixture.name) } }
            @if let Some(problems) = &known.problems { p class="complaint" { (problems) } }
            section class="map" aria-label="Board and supply path" { (report::blank_board(board, &backdrop::of(&app, board))) }
            section { h2 { "Segments and limits" } (segments(&known.laid)) }
            section { h2 { "Points and pins" } (points(&known.laid)) }
            section {
                h2 { "Plan" }
                pre class="plan" tabindex="0" { (terminal::plan(&plan_sheet(&known.laid.quick, fixture), Screen { width: 100, colour: false })) }
            }
        }
    };
    Ok(sheet::page("/boards", &fixture.name, None, &body))
}

fn segments(laid: &Laid) -> Markup {
    let board = &laid.fixture.board;
    html! {
        div class="scroller" role="region" aria-label="Segments" tabindex="0" {
            table {
                thead {
                    tr {
                        (heads(&[Head::Figure("No."), Head::Text("Segment"), Head::Text("Kind"), Head::Text("From"), Head::Text("To"), Head::Figure("Expected"), Head::Figure("At least"), Head::Figure("At most")]))
                    }
                }
                tbody {
                    @for (number, id) in (1..).zip(board.segment_ids()) {
                        @let segment = board.segment(id);
                        @let limits = laid.quick.limits.of(id);
                        tr {
                            td class="count" { (number) }
                            th scope="row" { (segment.name) }
                            td { (segment.kind.word()) }
                            td { (board.point(segment.from).name) }
                            td { (board.point(segment.to).name) }
                            td class="count" { (figures::roughly(segment.expected.typical)) }
                            td class="count" { @if let Some(min) = limits.min { (figures::stated(min)) } }
                            td class="count" { (figures::stated(limits.max)) }
                        }
                    }
                }
            }
        }
    }
}

fn points(laid: &Laid) -> Markup {
    use crate::board::Side;
    let fixture = &laid.fixture;
    html! {
        div class="scroller" role="region" aria-label="Points and pins" tabindex="0" {
            table {
                thead {
                    tr {
                        (heads(&[Head::Text("Point"), Head::Text("Side"), Head::Figure("x, mm"), Head::Figure("y, mm"), Head::Figure("Force channel"), Head::Figure("Sense channel")]))
                    }
                }
                tbody {
                    @for (point, pins) in fixture.board.points.iter().zip(&fixture.pins) {
                        tr {
                            th scope="row" { (point.name) }
                            td { @match point.side { Side::Front => "front", Side::Back => "back", Side::Both => "both" } }
                            td class="count" { (format!("{:.1}", point.at[0])) }
                            td class="count" { (format!("{:.1}", point.at[1])) }
                            td class="count" { @if let Some(channel) = pins.force { (channel) } }
                            td class="count" { @if let Some(channel) = pins.sense { (channel) } }
                        }
                    }
                }
            }
        }
    }
}
