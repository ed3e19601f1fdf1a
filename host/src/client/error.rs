//! Why a daemon did not do what it was asked.

use std::net::SocketAddr;

use hyper::StatusCode;

/// Environment variable with the token for a daemon that asks for one. Not an argument: others can read those.
pub const TOKEN: &str = "COPPERWALK_TOKEN";

/// Why there is no answer, or none of use.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
pub enum ClientError {
    /// Nothing came back, or not in time.
    #[error("the daemon at {address} does not answer: {reason}; see its log, or stop it, then do it again")]
    Silent {
        /// Where.
        address: SocketAddr,
        /// What happened.
        reason: String,
    },
    /// It wants a token, or another one.
    #[error("the daemon at {address} refused: {detail}; set {TOKEN} to a token that it knows")]
    Token {
        /// Where.
        address: SocketAddr,
        /// Its own words.
        detail: String,
    },
    /// It answered, and refused.
    #[error("the daemon at {address} refused: {detail}")]
    Refused {
        /// Where.
        address: SocketAddr,
        /// The status of its answer.
        status: StatusCode,
        /// Its own words.
        detail: String,
    },
    /// It answered something that no daemon of ours does.
    #[error(
        "the daemon at {address} gave an answer that this program does not read ({reason}); use one copperwalk for both"
    )]
    Unreadable {
        /// Where.
        address: SocketAddr,
        /// What is wrong with it.
        reason: String,
    },
}

impl ClientError {
    /// Is what was asked for the reason, and not the daemon's state?
    pub fn is_input(&self) -> bool {
        match self {
            Self::Token { .. } => true,
            Self::Refused { status, .. } => status.is_client_error(),
            Self::Silent { .. } | Self::Unreadable { .. } => false,
        }
    }
}
