//! News of the bench, numbered from 1, for any number of listeners.
//!
//! A ring keeps the latest [`KEPT`] items as finished JSON. A listener asks for what came after the number it knows, so that
//! one that was away gets what it missed, and one that never reads holds nothing and nobody up.

use std::{
    collections::VecDeque,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use serde::Serialize;
use tokio::sync::watch;

use super::{desk::BenchPicture, job::JobPicture};
use crate::quantity::Ohms;

/// Items kept: the sweep of a board of 300 segments gives some 700.
pub const KEPT: usize = 4096;
/// Items handed to one listener at a time.
const AT_ONCE: usize = 256;

/// Something that happened.
#[derive(Clone, PartialEq, Debug, Serialize)]
#[serde(tag = "event", rename_all = "snake_case")]
pub enum News {
    /// The bench stands otherwise than before.
    Bench(BenchPicture),
    /// A job stands otherwise than before.
    Job(Box<JobPicture>),
    /// A run of readings begins.
    Run {
        /// The job.
        job: u64,
        /// Why, in words; `None` for the readings that every unit gets.
        why: Option<&'static str>,
        /// Readings in it.
        readings: usize,
    },
    /// A reading is over.
    Reading {
        /// The job.
        job: u64,
        /// Which of the run, counted from 1.
        number: usize,
        /// When the controller's answer came in, microseconds since 1970-01-01 UTC.
        at_us: i64,
    },
    /// A segment was read. What the records say in the end may differ.
    Segment {
        /// The job.
        job: u64,
        /// Its name.
        name: String,
        /// As measured.
        #[serde(rename = "ohms")]
        resistance: Ohms,
        /// Expanded uncertainty, 95 %.
        #[serde(rename = "u95_ohms")]
        u95: Ohms,
        /// Both, as a person reads them.
        text: String,
        /// What this reading says by itself.
        verdict: &'static str,
        /// When the controller's answer came in, microseconds since 1970-01-01 UTC.
        at_us: i64,
    },
    /// Something was written down about a unit.
    Unit {
        /// Its serial number.
        serial: String,
    },
    /// The list of fixtures, or one of them, changed.
    Fixtures,
}

impl News {
    /// The name of the event.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Bench(_) => "bench",
            Self::Job(_) => "job",
            Self::Run { .. } => "run",
            Self::Reading { .. } => "reading",
            Self::Segment { .. } => "segment",
            Self::Unit { .. } => "unit",
            Self::Fixtures => "fixtures",
        }
    }
}

/// One of the news.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Item {
    /// Its number.
    pub id: u64,
    /// The name of the event.
    pub name: &'static str,
    /// JSON.
    pub data: Arc<str>,
}

/// What a listener gets.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Heard {
    /// Items that it should have had are no longer kept: it has to look afresh.
    pub gap: bool,
    /// The next ones, in order.
    pub items: Vec<Item>,
}

/// The news.
#[derive(Debug)]
pub struct Feed {
    ring: Mutex<Ring>,
    latest: watch::Sender<u64>,
}

#[derive(Debug, Default)]
struct Ring {
    last: u64,
    items: VecDeque<Item>,
}

impl Default for Feed {
    fn default() -> Self {
        Self { ring: Mutex::default(), latest: watch::Sender::new(0) }
    }
}

impl Feed {
    /// Tells everybody. Never waits for anybody.
    pub fn tell(&self, news: &News) {
        // Plain data with names for keys always becomes JSON.
        let Ok(data) = serde_json::to_string(news) else { return };
        let mut ring = self.ring();
        ring.last += 1;
        let id = ring.last;
        if ring.items.len() == KEPT {
            ring.items.pop_front();
        }
        ring.items.push_back(Item { id, name: news.name(), data: data.into() });
        drop(ring);
        self.latest.send_replace(id);
    }

    /// The number of the latest item; 0 before the first.
    pub fn latest(&self) -> u64 {
        self.ring().last
    }

    /// What came after `known`.
    pub fn after(&self, known: u64) -> Heard {
        let ring = self.ring();
        let first = ring.items.front().map_or(ring.last + 1, |item| item.id);
        // Somebody who knows more than there is listened to a daemon that is gone.
        if known > ring.last || known + 1 < first {
            return Heard { gap: true, items: Vec::new() };
        }
        let skip = usize::try_from(known + 1 - first).unwrap_or(usize::MAX);
        Heard { gap: false, items: ring.items.iter().skip(skip).take(AT_ONCE).cloned().collect() }
    }

    /// Wakes whenever something was told.
    pub fn bell(&self) -> watch::Receiver<u64> {
        self.latest.subscribe()
    }

    fn ring(&self) -> MutexGuard<'_, Ring> {
        // Whoever panicked while it held the ring left it whole: each change is one push.
        self.ring.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(count: usize) -> Feed {
        let feed = Feed::default();
        (0..count).for_each(|number| feed.tell(&News::Reading { job: 1, number, at_us: 7 }));
        feed
    }

    fn ids(heard: &Heard) -> Vec<u64> {
        heard.items.iter().map(|item| item.id).collect()
    }

    #[test]
    fn who_was_away_gets_what_came_meanwhile() {
        let feed = told(5);
        assert_eq!(ids(&feed.after(0)), [1, 2, 3, 4, 5]);
        assert_eq!(ids(&feed.after(3)), [4, 5]);
        assert_eq!(feed.after(5), Heard { gap: false, items: vec![] });
        assert_eq!(&*feed.after(4).items[0].data, r#"{"event":"reading","job":1,"number":4,"at_us":7}"#);
    }

    #[test]
    fn who_was_away_too_long_is_told() {
        let feed = told(KEPT + 10);
        assert!(feed.after(9).gap, "item 10 is gone");
        let heard = feed.after(10);
        assert!(!heard.gap);
        assert_eq!(heard.items.first().map(|item| item.id), Some(11));
        assert_eq!(heard.items.len(), AT_ONCE);
        assert!(feed.after(99_999).gap, "a number of an earlier daemon");
    }

    #[test]
    fn memory_is_bounded_and_nobody_waits() {
        let feed = told(3 * KEPT);
        assert_eq!(feed.ring().items.len(), KEPT);
        assert_eq!(feed.latest(), 3 * KEPT as u64);
    }
}
