//! The daemon that holds a port, and what it is asked.

use std::{
    net::SocketAddr,
    path::{Path, PathBuf},
    time::Duration,
};

use http_body_util::BodyExt;
use hyper::{
    Method,
    body::{Buf, Bytes, Incoming},
};
use tokio::{
    runtime::{Builder, Runtime},
    time::timeout,
};

use super::{
    error::ClientError,
    http::Peer,
    news::{Reader, TooLong},
    seen::{Asked, Bench, Fixture, FixtureList, Job, News},
};
use crate::daemon::{JobId, notice};

/// Whether a daemon lives is known at once.
const ALIVE: Duration = Duration::from_secs(2);
/// The daemon says something every 15 s, if only a comment; after two of those that did not come the line is dead.
const DEAD: Duration = Duration::from_secs(40);

/// A daemon that runs. Its methods wait; not for use inside an asynchronous runtime.
#[derive(Debug)]
pub struct Daemon {
    runtime: Runtime,
    peer: Peer,
    records: PathBuf,
}

impl Daemon {
    /// The daemon that holds the controller at this port, if one does. Daemons are looked for where those of this user leave their
    /// notices; `records` is this command's own record store.
    ///
    /// # Errors
    /// The token in the environment is none.
    pub fn holding(port: &str, records: &Path) -> Result<Option<Self>, ClientError> {
        let port = Path::new(port);
        let held = notice::all(&notice::folder(records)).into_iter().filter(|notice| notice.holds(port));
        for notice in held {
            let peer = Peer::new(notice.address)?;
            let runtime = Builder::new_current_thread().enable_all().build();
            let runtime = runtime.map_err(|error| peer.silent(&error))?;
            let alive =
                runtime.block_on(async { timeout(ALIVE, peer.text(Method::GET, "/healthz", None)).await });
            if matches!(alive, Ok(Ok(_))) {
                return Ok(Some(Self { runtime, peer, records: notice.records }));
            }
        }
        Ok(None)
    }

    /// Where it answers.
    pub fn address(&self) -> SocketAddr {
        self.peer.address
    }

    /// Its record store.
    pub fn records(&self) -> &Path {
        &self.records
    }

    /// How the bench stands.
    ///
    /// # Errors
    /// See [`ClientError`]; so for the methods below.
    pub fn bench(&self) -> Result<Bench, ClientError> {
        self.ask(Method::GET, "/api/v1/bench", None)
    }

    /// The fixture of this name, if it knows one.
    pub fn fixture(&self, name: &str) -> Result<Option<Fixture>, ClientError> {
        let list: FixtureList = self.ask(Method::GET, "/api/v1/fixtures", None)?;
        Ok(list.fixtures.into_iter().find(|fixture| fixture.name == name))
    }

    /// Asks for a sweep.
    pub fn sweep(&self, asked: &Asked<'_>) -> Result<Job, ClientError> {
        let body = serde_json::to_string(asked).map_err(|error| self.peer.unreadable(&error))?;
        self.ask(Method::POST, "/api/v1/jobs", Some(body))
    }

    /// How a job stands.
    pub fn job(&self, id: JobId) -> Result<Job, ClientError> {
        self.ask(Method::GET, &format!("/api/v1/jobs/{id}"), None)
    }

    /// Says that what a job asks for is done.
    pub fn confirm(&self, id: JobId) -> Result<Job, ClientError> {
        self.ask(Method::POST, &format!("/api/v1/jobs/{id}/confirm"), None)
    }

    /// Cancels a job.
    pub fn cancel(&self, id: JobId) -> Result<Job, ClientError> {
        self.ask(Method::DELETE, &format!("/api/v1/jobs/{id}"), None)
    }

    /// Listens to the news from now on.
    pub fn listen(&self) -> Result<Listening<'_>, ClientError> {
        let body = self.runtime.block_on(self.peer.stream("/api/v1/events"))?;
        Ok(Listening {
            daemon: self,
            body,
            reader: Reader::default(),
            bytes: Bytes::new(),
            silent: Duration::ZERO,
        })
    }

    fn ask<T: serde::de::DeserializeOwned>(
        &self,
        method: Method,
        path: &str,
        body: Option<String>,
    ) -> Result<T, ClientError> {
        self.runtime.block_on(self.peer.ask(method, path, body))
    }
}

/// A stream of news.
#[derive(Debug)]
pub struct Listening<'d> {
    daemon: &'d Daemon,
    body: Incoming,
    reader: Reader,
    /// Heard and not read yet.
    bytes: Bytes,
    silent: Duration,
}

impl Listening<'_> {
    /// The next of the news; `None` if none comes within so long. At most one part of the stream is waited for, so that a daemon
    /// that talks without end holds nobody up.
    ///
    /// # Errors
    /// The stream ended, or nobody speaks any more; see [`ClientError`].
    pub fn next(&mut self, patience: Duration) -> Result<Option<News>, ClientError> {
        if let Some(news) = self.read()? {
            return Ok(Some(news));
        }
        let peer = &self.daemon.peer;
        let heard = self.daemon.runtime.block_on(async { timeout(patience, self.body.frame()).await });
        let Ok(frame) = heard else {
            self.silent += patience;
            return if self.silent < DEAD { Ok(None) } else { Err(peer.late(DEAD)) };
        };
        self.silent = Duration::ZERO;
        let frame = frame.ok_or_else(|| peer.silent(&"it ended"))?.map_err(|error| peer.silent(&error))?;
        self.bytes = frame.into_data().unwrap_or_default();
        self.read()
    }

    /// The next of what was heard already.
    fn read(&mut self) -> Result<Option<News>, ClientError> {
        let peer = &self.daemon.peer;
        while let Some(&byte) = self.bytes.first() {
            self.bytes.advance(1);
            let event = self.reader.push(byte);
            let Some(event) = event.map_err(|TooLong| peer.unreadable(&"an event without an end"))? else {
                continue;
            };
            let news = match event.name.as_str() {
                "bench" | "job" | "run" | "segment" => serde_json::from_str(&event.data),
                _ => continue,
            };
            return news.map(Some).map_err(|error| peer.unreadable(&error));
        }
        Ok(None)
    }
}
