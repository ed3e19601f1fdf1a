//! The daemon's bench: jobs queue, one thread has the controller, and everybody may watch.
//!
//! Read in this order: [`job`] (what is asked for, and how it stands), [`feed`] (news, numbered, for any number of
//! listeners), [`desk`] (what callers and the bench's thread share), [`fixtures`] (what can be laid on, re-read when its
//! files change), `operator` (whoever is at the page puts the unit into its states), `arrival` (when the controller was last
//! heard), `bench` (the thread itself), [`modelled`] with `draw`: a bench without hardware that runs in real time, with units
//! that have believable faults, [`drafts`] (boards drawn and changed by the page), and [`notice`] (how other commands find the daemon). [`judging`] judges stored measurements
//! again, beside the bench.
//!
//! Nothing here speaks HTTP. A slow or stalled listener costs the bench nothing: news lie in a ring of bounded size, and who
//! comes too late is told that there is a gap.

mod arrival;
mod bench;
pub mod desk;
pub mod drafts;
mod draw;
pub mod feed;
pub mod fixtures;
pub mod job;
pub mod judging;
pub mod modelled;
pub mod notice;
mod operator;

pub use bench::{Bench, Line};
pub use desk::Desk;
pub use feed::{Feed, Item, News};
pub use fixtures::Fixtures;
pub use job::{JobId, JobPicture};
pub use judging::Judgings;
