//! Ctrl-C: the first asks whatever runs to stop and leave every relay open; the second ends the program at once.

use std::{process, thread};

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
