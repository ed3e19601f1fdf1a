//! Who may ask, and what an answer may do in a browser.
//!
//! A page on the web can make a browser send requests to this computer. Three things keep it out. `Host` has to be an address,
//! `localhost` or a name given at the start, because a name on the web that is pointed here (DNS rebinding) is none of them. A
//! request that changes something has to come from our own origin, if a browser sent it. And no answer may be read by another
//! origin, because no answer says so. The daemon listens to this computer alone unless there are tokens.

use std::{net::IpAddr, sync::Arc};

use axum::{
    extract::{Request, State},
    http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header},
    middleware::Next,
    response::{IntoResponse, Redirect, Response},
};

use super::{
    problem::Problem,
    token::{Tokens, Worth},
};

/// The cookie of a browser that is signed in.
pub const COOKIE: &str = "copperwalk";
/// Where a browser signs in.
pub const SIGN_IN: &str = "/sign-in";

/// Everything comes from here and no script is written inline; nobody may frame a page, and it posts to nobody else. Drawings
/// carry lengths in `style` attributes, numbers of our own making, which run nothing.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; \
    style-src-attr 'unsafe-inline'; img-src 'self' blob:; \
    connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Who may ask.
#[derive(Debug)]
pub struct Guard {
    /// Names besides addresses and `localhost` that this computer is called by.
    names: Vec<String>,
    /// Needed to ask; `None` where only this computer can.
    tokens: Option<Tokens>,
}

impl Guard {
    /// A guard for a daemon with these names and tokens.
    pub fn new(names: Vec<String>, tokens: Option<Tokens>) -> Self {
        Self { names: names.into_iter().map(|name| name.to_lowercase()).collect(), tokens }
    }

    /// The tokens, if any are needed.
    pub fn tokens(&self) -> Option<&Tokens> {
        self.tokens.as_ref()
    }

    fn knows_host(&self, authority: &str) -> bool {
        let host = host_of(authority).to_lowercase();
        let address = host.trim_start_matches('[').trim_end_matches(']');
        host == "localhost" || address.parse::<IpAddr>().is_ok() || self.names.contains(&host)
    }

    /// Lets a request through, or says why not.
    fn admit(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Result<(), Box<Response>> {
        let host =
            text(headers, header::HOST).or_else(|| uri.authority().map(|authority| authority.as_str()));
        let Some(host) = host.filter(|host| self.knows_host(host)) else {
            let detail = "this daemon is not called that: ask it by its address, or start it with --name";
            return Err(Problem::new(StatusCode::MISDIRECTED_REQUEST, detail).into_response().into());
        };
        if !method.is_safe() && !same_origin(host, headers) {
            let detail =
                "the request comes from another site; only this daemon's own pages may change something";
            return Err(Problem::new(StatusCode::FORBIDDEN, detail).into_response().into());
        }
        let Some(tokens) = &self.tokens else { return Ok(()) };
        if is_open(uri.path()) || cookie(headers).is_some_and(|session| tokens.is_signed_in(session)) {
            return Ok(());
        }
        let bearer = text(headers, header::AUTHORIZATION).and_then(|text| text.strip_prefix("Bearer "));
        match bearer.map(|token| tokens.worth(token.trim())) {
            Some(Worth::Good) => Ok(()),
            Some(Worth::Wrong) => Err(unauthorized("this token is not known").into()),
            Some(Worth::Later(wait)) => Err(later(wait).into()),
            None if uri.path().starts_with("/api/") => {
                Err(unauthorized("a token is needed: send `Authorization: Bearer TOKEN`").into())
            }
            None => Err(Redirect::to(SIGN_IN).into_response().into()),
        }
    }
}

/// Refuses whoever may not ask, and puts on every answer what it may do in a browser.
pub async fn guard(State(guard): State<Arc<Guard>>, request: Request, next: Next) -> Response {
    let (method, uri) = (request.method().clone(), request.uri().clone());
    let mut answer = match guard.admit(&method, &uri, request.headers()) {
        Ok(()) => next.run(request).await,
        Err(refusal) => {
            tracing::warn!(%method, path = uri.path(), status = refusal.status().as_u16(), "refused");
            *refusal
        }
    };
    let headers = answer.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        // Not `no-referrer`: browsers then call the origin of our own forms `null`.
        (header::REFERRER_POLICY, "same-origin"),
        (header::X_FRAME_OPTIONS, "DENY"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    answer
}

/// What everybody may ask: is the daemon alive, how to sign in, and what that page looks like.
fn is_open(path: &str) -> bool {
    path == "/healthz" || path == SIGN_IN || path.starts_with("/static/")
}

/// The host of `host:port`.
fn host_of(authority: &str) -> &str {
    let end = match authority.starts_with('[') {
        // Without its closing bracket it is no address.
        true => authority.find(']').map_or(0, |end| end + 1),
        false => authority.find(':').unwrap_or(authority.len()),
    };
    authority.get(..end).unwrap_or_default()
}

/// Did our own page send this, or no browser at all? Browsers name the origin in whatever is not a plain read.
fn same_origin(host: &str, headers: &HeaderMap) -> bool {
    if let Some(origin) = text(headers, header::ORIGIN) {
        return origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://")) == Some(host);
    }
    matches!(headers.get("sec-fetch-site").map(HeaderValue::as_bytes), None | Some(b"same-origin" | b"none"))
}

fn cookie(headers: &HeaderMap) -> Option<&str> {
    let pairs = text(headers, header::COOKIE)?.split(';');
    pairs
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(name, _)| *name == COOKIE)
        .map(|(_, value)| value)
}

fn text(headers: &HeaderMap, name: header::HeaderName) -> Option<&str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

fn unauthorized(detail: &str) -> Response {
    let challenge = [(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"))];
    (challenge, Problem::new(StatusCode::UNAUTHORIZED, detail)).into_response()
}

/// Too many wrong tokens: come back in so long.
pub fn later(wait: std::time::Duration) -> Response {
    let seconds = wait.as_secs() + 1;
    let detail = format!("too many wrong tokens; nothing is looked at for {seconds} s");
    ([(header::RETRY_AFTER, seconds.to_string())], Problem::new(StatusCode::TOO_MANY_REQUESTS, detail))
        .into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(method: Method, headers: &[(&'static str, &str)]) -> u16 {
        let guard = Guard::new(vec!["bench.example".into()], None);
        let headers = headers
            .iter()
            .map(|(name, value)| (header::HeaderName::from_static(name), value.parse().unwrap()));
        match guard.admit(&method, &Uri::from_static("/api/v1/jobs"), &headers.collect()) {
            Ok(()) => 200,
            Err(refusal) => refusal.status().as_u16(),
        }
    }

    #[test]
    fn a_name_on_the_web_that_is_pointed_here_is_refused() {
        for (host, admitted) in [
            ("127.0.0.1:4080", true),
            ("[::1]:4080", true),
            ("192.168.1.7", true),
            ("localhost:4080", true),
            ("LOCALHOST", true),
            ("Bench.Example:4080", true),
            ("attacker.example:4080", false),
            ("127.0.0.1.attacker.example", false),
            ("localhost.attacker.example", false),
            ("[::1", false),
            ("", false),
        ] {
            let expected = if admitted { 200 } else { 421 };
            assert_eq!(status(Method::GET, &[("host", host)]), expected, "{host}");
        }
        assert_eq!(status(Method::GET, &[]), 421, "no host at all");
    }

    #[test]
    fn another_site_changes_nothing() {
        let host = ("host", "127.0.0.1:4080");
        for (header, expected) in [
            (("origin", "http://127.0.0.1:4080"), 200),
            (("origin", "https://127.0.0.1:4080"), 200), // behind a proxy that speaks TLS
            (("origin", "http://attacker.example"), 403),
            (("origin", "http://127.0.0.1:9999"), 403),
            (("origin", "null"), 403),
            (("sec-fetch-site", "cross-site"), 403),
            (("sec-fetch-site", "same-site"), 403),
            (("sec-fetch-site", "same-origin"), 200),
            (("accept", "*/*"), 200), // no browser
        ] {
            assert_eq!(status(Method::POST, &[host, header]), expected, "{header:?}");
            assert_eq!(status(Method::GET, &[host, header]), 200, "reading shows nothing to another site");
        }
    }

    #[test]
    fn the_cookie_is_found_among_others() {
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_static("a=b; copperwalk=12ab; c=d"));
        assert_eq!(cookie(&headers), Some("12ab"));
    }
}
