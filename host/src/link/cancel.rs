//! How whoever started a run stops it: a flag that a session looks at while it waits.

use std::sync::{
    Arc,
    atomic::{AtomicBool, Ordering},
};

use super::error::LinkError;

/// A flag that is set once. Copies share it; a signal handler may set it.
#[derive(Clone, Debug, Default)]
pub struct CancelToken(Arc<AtomicBool>);

impl CancelToken {
    /// Asks everybody who holds a copy to stop.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether somebody has asked.
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }

    /// Fails if somebody has asked. Whether all is open is for whoever stops the controller to find out.
    pub(super) fn check(&self) -> Result<(), LinkError> {
        if self.is_cancelled() { Err(LinkError::Cancelled { all_open: false }) } else { Ok(()) }
    }
}
