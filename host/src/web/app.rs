//! What every request may use.

use std::sync::Arc;

use tokio::sync::watch;

use super::guard::Guard;
use crate::{
    daemon::{Desk, Fixtures, Judgings, modelled::Hands},
    records::{Catalogue, Store},
};

/// The daemon's parts, shared by all requests.
#[derive(Clone, Debug)]
pub struct App {
    /// Jobs and the bench.
    pub desk: Arc<Desk>,
    /// What can be laid on.
    pub fixtures: Arc<Fixtures>,
    /// The records.
    pub store: Store,
    /// Every unit of the records at a glance.
    pub catalogue: Arc<Catalogue>,
    /// Measurements judged again.
    pub judgings: Arc<Judgings>,
    /// Hands at the virtual bench; `None` at a real one.
    pub hands: Option<Hands>,
    /// Who may ask.
    pub guard: Arc<Guard>,
    /// Turns true when the daemon ends: whoever streams has to finish.
    pub closing: watch::Receiver<bool>,
}
