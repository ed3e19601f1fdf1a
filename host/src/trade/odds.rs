//! Chances, minutes and parts of repairs: the table of methods as a prior opinion, and the lot's own record, by itself and as far
//! as it tells how well repairs go on this bench at all ([`super::skill`]).

use serde::Serialize;

use super::book::Book;
use super::skill::{Record, Skill};
use crate::{
    fault::method::{At, Method, Practice, practices},
    statistics::beta::Beta,
    verdict::Class,
};

/// The table's minutes weigh like so many repairs of the lot.
const TABLE_REPAIRS: f64 = 3.0;

/// A repair that may be tried on a fault.
#[derive(Clone, Copy, PartialEq, Debug, Serialize)]
pub struct RepairOption {
    /// How.
    pub method: Method,
    /// Chance that it cures the fault it is meant for.
    pub chance: Beta,
    /// What that stands on.
    #[serde(skip)]
    pub record: Record,
    /// Minutes, expected, without the sweep after it.
    pub minutes: f64,
    /// Cost of parts, expected, in the lot's currency.
    pub parts: f64,
    /// Chance that the board is lost by it.
    pub spoils: f64,
}

/// How often a method worked.
#[derive(Clone, Copy, Debug)]
struct Count {
    at: At,
    class: Class,
    method: Method,
    record: Record,
}

/// What a lot has taught about repairs.
#[derive(Clone, Debug)]
pub struct Odds {
    counts: Vec<Count>,
    skill: Skill,
    jobs: Vec<Jobs>,
}

/// The pieces of work that name a method.
#[derive(Clone, Copy, Debug)]
struct Jobs {
    method: Method,
    pieces: f64,
    minutes: f64,
    /// What they used up, in the lot's currency.
    parts: f64,
}

impl Odds {
    /// Of a lot's record.
    pub fn of(book: &Book) -> Self {
        let mut counts: Vec<Count> = Vec::new();
        for tried in book.units.iter().flat_map(|unit| &unit.tried) {
            let Some(at) = tried.at else { continue };
            count(&mut counts, at, tried.class, tried.method, tried.worked);
        }
        let mut jobs: Vec<Jobs> = Vec::new();
        for done in book.units.iter().flat_map(|unit| &unit.work) {
            let Some(method) = done.method else { continue };
            let minutes = f64::from(done.minutes);
            let parts = done.parts.as_ref().map_or(0.0, |parts| parts.as_f64());
            match jobs.iter_mut().find(|known| known.method == method) {
                Some(known) => {
                    known.pieces += 1.0;
                    known.minutes += minutes;
                    known.parts += parts;
                }
                None => jobs.push(Jobs { method, pieces: 1.0, minutes, parts }),
            }
        }
        let skill = Skill::of(counts.iter().map(|count| &count.record));
        Self { counts, skill, jobs }
    }

    /// Repairs that were counted, of all kinds.
    pub fn tries(&self) -> u32 {
        self.counts.iter().map(|count| count.record.tries()).fold(0, u32::saturating_add)
    }

    /// How well repairs go on this bench.
    pub fn skill(&self) -> &Skill {
        &self.skill
    }

    /// What may be tried on a fault of this class at such a place, in the order of the table.
    pub fn options(&self, at: At, class: Class) -> Vec<RepairOption> {
        practices(at, class).into_iter().map(|practice| self.option(at, class, &practice)).collect()
    }

    /// A method as it is practised on one kind of place, with what the lot has taught of it.
    pub fn option(&self, at: At, class: Class, practice: &Practice) -> RepairOption {
        let method = practice.method;
        let count =
            self.counts.iter().find(|count| (count.at, count.class, count.method) == (at, class, method));
        let record = count.map_or(nothing(practice), |count| count.record);
        let none = Jobs { method, pieces: 0.0, minutes: 0.0, parts: 0.0 };
        let jobs = self.jobs.iter().find(|known| known.method == method).copied().unwrap_or(none);
        RepairOption {
            method,
            chance: self.skill.chance(record),
            record,
            minutes: (TABLE_REPAIRS * practice.minutes.mean() + jobs.minutes) / (TABLE_REPAIRS + jobs.pieces),
            parts: if jobs.pieces > 0.0 { jobs.parts / jobs.pieces } else { 0.0 },
            spoils: practice.spoils,
        }
    }
}

fn nothing(practice: &Practice) -> Record {
    Record { table: practice.cures, worked: 0, failed: 0 }
}

/// Counts a try. One by a method that the table does not have for such a fault teaches nothing that is asked for.
fn count(counts: &mut Vec<Count>, at: At, class: Class, method: Method, worked: bool) {
    let same = |count: &&mut Count| (count.at, count.class, count.method) == (at, class, method);
    let (yes, no) = (u32::from(worked), u32::from(!worked));
    if let Some(known) = counts.iter_mut().find(same) {
        known.record.worked = known.record.worked.saturating_add(yes);
        known.record.failed = known.record.failed.saturating_add(no);
        return;
    }
    let practice = practices(at, class).into_iter().find(|practice| practice.method == method);
    if let Some(practice) = practice {
        let record = Record { worked: yes, failed: no, ..nothing(&practice) };
        counts.push(Count { at, class, method, record });
    }
}
