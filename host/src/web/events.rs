//! News as server-sent events (HTML standard, "Server-sent events"): each with its number as `id`, its name as `event` and JSON
//! as `data`. A browser that comes back sends the number it heard last as `Last-Event-ID` and gets what came meanwhile; if
//! that is no longer kept, it gets a `gap` and has to look afresh.

use std::{convert::Infallible, sync::Arc, time::Duration};

use axum::{
    extract::State,
    http::{HeaderMap, header},
    response::{IntoResponse, Response, sse},
};
use futures_util::stream;
use tokio::sync::watch;

use super::app::App;
use crate::daemon::{Feed, Item};

/// A silent line is kept open by a comment so often: proxies close idle ones after 60 s (common practice).
const ALIVE: Duration = Duration::from_secs(15);
/// A browser that lost the line comes back after so long.
const RETRY: Duration = Duration::from_secs(1);

/// One listener.
struct Listener {
    feed: Arc<Feed>,
    bell: watch::Receiver<u64>,
    closing: watch::Receiver<bool>,
    known: u64,
    waiting: std::vec::IntoIter<Item>,
}

/// News from now on, or from where the listener was.
#[utoipa::path(
    get,
    path = "/events",
    tag = "bench",
    params(("Last-Event-ID" = Option<u64>, Header, description = "The number of the last item heard")),
    responses((status = 200, description = "A stream that does not end", content_type = "text/event-stream", body = String))
)]
pub async fn events(State(app): State<App>, headers: HeaderMap) -> Response {
    let feed = app.desk.feed().clone();
    let bell = feed.bell();
    let last = headers.get("last-event-id").and_then(|id| id.to_str().ok()?.trim().parse().ok());
    let known = last.unwrap_or_else(|| feed.latest());
    let listener = Listener { feed, bell, closing: app.closing, known, waiting: Vec::new().into_iter() };
    let news = stream::unfold(listener, |mut listener| async {
        let event = listener.next().await?;
        Some((Ok::<_, Infallible>(event), listener))
    });
    let stream = sse::Sse::new(news).keep_alive(sse::KeepAlive::new().interval(ALIVE));
    // A proxy in front must not collect what is to be seen at once.
    ([(header::HeaderName::from_static("x-accel-buffering"), "no")], stream).into_response()
}

impl Listener {
    /// The next event; `None` when the daemon ends.
    async fn next(&mut self) -> Option<sse::Event> {
        loop {
            if *self.closing.borrow() {
                return None;
            }
            if let Some(item) = self.waiting.next() {
                self.known = item.id;
                return Some(event(&item));
            }
            // Marked first: what is told after this look rings again.
            self.bell.borrow_and_update();
            let heard = self.feed.after(self.known);
            if heard.gap {
                self.known = self.feed.latest();
                return Some(
                    sse::Event::default().id(self.known.to_string()).event("gap").data("{}").retry(RETRY),
                );
            }
            self.waiting = heard.items.into_iter();
            if self.waiting.len() > 0 {
                continue;
            }
            tokio::select! {
                changed = self.bell.changed() => changed.ok()?,
                changed = self.closing.changed() => changed.ok()?,
            }
        }
    }
}

fn event(item: &Item) -> sse::Event {
    sse::Event::default().id(item.id.to_string()).event(item.name).data(&*item.data)
}
