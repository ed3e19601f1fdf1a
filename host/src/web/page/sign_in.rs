//! Where a browser hands its token in, once.

use axum::{
    extract::State,
    http::{StatusCode, header},
    response::{Html, IntoResponse, Redirect, Response},
};
use maud::html;
use serde::Deserialize;

use super::sheet;
use crate::web::{
    app::App,
    extract::Form,
    guard::{COOKIE, SIGN_IN, later},
    problem::Problem,
    token::Worth,
};

/// The form.
pub async fn form() -> Html<String> {
    with_word(None)
}

fn with_word(word: Option<&str>) -> Html<String> {
    let body = html! {
        main id="content" class="narrow" {
            h1 { "Sign in" }
            @if let Some(word) = word { p class="complaint" role="alert" { (word) } }
            form method="post" action=(SIGN_IN) {
                label { "Token" input name="token" type="password" autocomplete="current-password" required autofocus; }
                button type="submit" { "Sign in" }
            }
            p class="small" { "Whoever started the daemon made tokens with `copperwalk token`." }
        }
    };
    sheet::page(SIGN_IN, "Sign in", None, &body)
}

/// What the form sends.
#[derive(Deserialize)]
pub struct Sent {
    token: String,
}

/// Takes a token and gives a cookie.
pub async fn sign_in(State(app): State<App>, Form(Sent { token }): Form<Sent>) -> Response {
    let Some(tokens) = app.guard.tokens() else { return Redirect::to("/").into_response() };
    match tokens.worth(token.trim()) {
        Worth::Good => match tokens.sign_in() {
            Ok(session) => {
                let cookie = format!("{COOKIE}={session}; HttpOnly; SameSite=Strict; Path=/");
                ([(header::SET_COOKIE, cookie)], Redirect::to("/")).into_response()
            }
            Err(error) => Problem::new(StatusCode::INTERNAL_SERVER_ERROR, error.to_string()).into_response(),
        },
        Worth::Wrong => {
            (StatusCode::UNAUTHORIZED, with_word(Some("This token is not known."))).into_response()
        }
        Worth::Later(wait) => later(wait),
    }
}
