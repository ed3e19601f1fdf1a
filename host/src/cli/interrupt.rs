//! Ctrl-C: the first asks whatever runs to stop and leave every relay open; the second ends the program at once.

use std::{process, thread};

#[cfg(unix)]
use tokio::signal::unix::{SignalKind, signal as of_kind};
use tokio::{runtime::Builder, signal};

use super::Status;
use crate::link::CancelToken;

/// A token that Ctrl-C sets. Where signals cannot be had, Ctrl-C ends the program as it does any other, and the
/// controller, which hears nothing more, opens every relay by itself.
pub fn token() -> CancelToken {
    let token = CancelToken::default();
    let asked = token.clone();
    thread::spawn(move || {
        let Ok(runtime) = Builder::new_current_thread().enable_io().build() else { return };
        runtime.block_on(async {
            if signal::ctrl_c().await.is_ok() {
                asked.cancel();
            }
            if signal::ctrl_c().await.is_ok() {
                process::exit(Status::Cancelled as i32);
            }
        });
    });
    token
}

/// The same token, which the end of the terminal and whoever ends programs set too: something that must not be left as it is depends on it.
pub fn token_of_every_end() -> CancelToken {
    let token = token();
    #[cfg(unix)]
    for kind in [SignalKind::hangup(), SignalKind::terminate()] {
        let asked = token.clone();
        thread::spawn(move || {
            let Ok(runtime) = Builder::new_current_thread().enable_io().build() else { return };
            runtime.block_on(async {
                if let Ok(mut signals) = of_kind(kind)
                    && signals.recv().await.is_some()
                {
                    asked.cancel();
                }
            });
        });
    }
    token
}
