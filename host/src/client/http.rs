//! One request over a connection of its own: nothing is waited for longer, and nothing longer is read, than is said here.

use std::{net::SocketAddr, time::Duration};

use http_body_util::{BodyExt, Full, Limited};
use hyper::{
    Method, Request, Response, StatusCode,
    body::{Bytes, Incoming},
    client::conn::http1,
    header::{self, HeaderValue},
};
use hyper_util::rt::TokioIo;
use serde::{Deserialize, de::DeserializeOwned};
use tokio::{net::TcpStream, time::timeout};

use super::error::{ClientError, TOKEN};

/// A connection to this computer, or one beside it, is there at once or not at all.
const CONNECT: Duration = Duration::from_secs(2);
/// The longest an answer takes: the daemon may wait for a locked record store, which it does for 10 s, and looks into it twice.
const ANSWER: Duration = Duration::from_secs(30);
/// Longest answer, bytes: the list of a thousand fixtures has some 400,000.
const LONGEST: usize = 4 << 20;

/// Where requests go.
#[derive(Clone, Debug)]
pub struct Peer {
    /// The daemon's address.
    pub address: SocketAddr,
    token: Option<HeaderValue>,
}

/// The members of problem details (RFC 9457) that are shown.
#[derive(Default, Deserialize)]
struct Problem {
    #[serde(default)]
    detail: String,
}

impl Peer {
    /// The daemon at this address, asked with the token of the environment, if there is one.
    ///
    /// # Errors
    /// The token holds what no token does.
    pub fn new(address: SocketAddr) -> Result<Self, ClientError> {
        let named = std::env::var_os(TOKEN).filter(|token| !token.is_empty());
        let header = |token: std::ffi::OsString| {
            let mut value = HeaderValue::from_str(&format!("Bearer {}", token.to_str()?.trim())).ok()?;
            value.set_sensitive(true);
            Some(value)
        };
        let token = named
            .map(|token| {
                let detail = format!("{TOKEN} holds characters that no token has");
                header(token).ok_or(ClientError::Token { address, detail })
            })
            .transpose()?;
        Ok(Self { address, token })
    }

    /// Asks, and reads the whole answer.
    ///
    /// # Errors
    /// See [`ClientError`].
    pub async fn ask<T: DeserializeOwned>(
        &self,
        method: Method,
        path: &str,
        body: Option<String>,
    ) -> Result<T, ClientError> {
        let text = self.text(method, path, body).await?;
        serde_json::from_slice(&text).map_err(|error| self.unreadable(&error))
    }

    /// Asks, and reads the whole answer as it is.
    ///
    /// # Errors
    /// As [`ask`](Self::ask).
    pub async fn text(&self, method: Method, path: &str, body: Option<String>) -> Result<Bytes, ClientError> {
        let answer = async { self.whole(self.send(method, path, body).await?).await };
        timeout(ANSWER, answer).await.map_err(|_| self.late(ANSWER))?
    }

    /// Asks for an answer that does not end; its head is there.
    ///
    /// # Errors
    /// As [`ask`](Self::ask).
    pub async fn stream(&self, path: &str) -> Result<Incoming, ClientError> {
        let answer = timeout(ANSWER, self.send(Method::GET, path, None));
        Ok(answer.await.map_err(|_| self.late(ANSWER))??.into_body())
    }

    /// Nothing was heard.
    pub fn silent(&self, error: &impl ToString) -> ClientError {
        ClientError::Silent { address: self.address, reason: error.to_string() }
    }

    /// Nothing was heard for so long.
    pub fn late(&self, waited: Duration) -> ClientError {
        self.silent(&format!("nothing within {} s", waited.as_secs()))
    }

    /// What was heard makes no sense.
    pub fn unreadable(&self, error: &impl ToString) -> ClientError {
        ClientError::Unreadable { address: self.address, reason: error.to_string() }
    }

    /// Sends a request; the answer is one that grants it.
    async fn send(
        &self,
        method: Method,
        path: &str,
        body: Option<String>,
    ) -> Result<Response<Incoming>, ClientError> {
        let connected = timeout(CONNECT, TcpStream::connect(self.address)).await;
        let stream = connected.map_err(|_| self.late(CONNECT))?.map_err(|error| self.silent(&error))?;
        let shaken = http1::handshake(TokioIo::new(stream)).await;
        let (mut sender, connection) = shaken.map_err(|error| self.silent(&error))?;
        // Its end is told by the answer's.
        drop(tokio::spawn(connection));
        let mut request =
            Request::builder().method(method).uri(path).header(header::HOST, self.address.to_string());
        if body.is_some() {
            request = request.header(header::CONTENT_TYPE, "application/json");
        }
        if let Some(token) = &self.token {
            request = request.header(header::AUTHORIZATION, token);
        }
        let request = request
            .body(Full::<Bytes>::from(body.unwrap_or_default()))
            .map_err(|error| self.unreadable(&error))?;
        let answer = sender.send_request(request).await.map_err(|error| self.silent(&error))?;
        let status = answer.status();
        if status.is_success() { Ok(answer) } else { Err(self.refused(status, answer).await) }
    }

    /// Why a request was refused, in the daemon's words.
    async fn refused(&self, status: StatusCode, answer: Response<Incoming>) -> ClientError {
        let body = self.whole(answer).await.unwrap_or_default();
        let problem: Problem = serde_json::from_slice(&body).unwrap_or_default();
        let detail = if problem.detail.is_empty() { status.to_string() } else { problem.detail };
        let address = self.address;
        match status {
            StatusCode::UNAUTHORIZED => ClientError::Token { address, detail },
            status => ClientError::Refused { address, status, detail },
        }
    }

    async fn whole(&self, answer: Response<Incoming>) -> Result<Bytes, ClientError> {
        let body = Limited::new(answer.into_body(), LONGEST).collect().await;
        Ok(body.map_err(|error| self.unreadable(&error))?.to_bytes())
    }
}
