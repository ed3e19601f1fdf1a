//! How a bench has measured of late: check standards, series closure, contacts, hum, relay closures, each over the sweeps.
//!
//! Read `course` (a control chart of readings in order), then `wear` (relay closures against what relays are good for)
//! and `todo` (what follows for whoever looks after the bench). The terminal, the page and the API show this one
//! [`Health`].

mod course;
mod todo;
mod wear;

use std::collections::BTreeMap;

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    evidence::{Evidence, Observation},
    measure::hum::Hum,
    quantity::{Ohms, Volts},
    records::{Numbered, Stored, SweepId, summary::Worked},
    statistics::{control, sample},
    verdict::Verdict,
};

pub use course::{At, Broken, Limits, Rule};
pub use todo::ToDo;
pub use wear::{Busiest, RATED, Wear};

use super::unreadable;
pub use super::unreadable::Unreadable;

/// Sweeps that it is told from: enough for limits of the first 20 and a course after them.
pub const LOOKED_AT: usize = 100;
/// Readings that limits need.
pub const BASE: usize = control::BASE;

/// How the bench has measured.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Health {
    /// Sweeps that this was made from, void ones included.
    pub sweeps: usize,
    /// Sweeps that were to be looked at and cannot be read, with the reason.
    pub left_out: Vec<Unreadable>,
    /// What to clean or change next, the most pressing first.
    pub todo: Vec<ToDo>,
    /// Relays closed in these sweeps.
    pub closures: u64,
    /// Relays by bench, over all sweeps in the records.
    pub wear: Vec<Wear>,
    /// Check standards, each over the sweeps.
    pub standards: Vec<StandardCourse>,
    /// Stretches read end to end and segment by segment, each over the sweeps.
    pub stretches: Vec<StretchCourse>,
    /// Contacts of force pins, each over the sweeps.
    pub contacts: Vec<ContactCourse>,
    /// Hum in the sense loop, by fixture, each over the sweeps.
    pub hum: Vec<HumCourse>,
    /// Void sweeps, the latest first.
    pub void: Vec<VoidSweep>,
}

/// The readings of one check standard, in the order of the sweeps.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct StandardCourse {
    /// The fixture it is built into.
    pub fixture: String,
    /// Its name.
    pub name: String,
    /// Stated value.
    #[serde(rename = "stated_ohms")]
    pub stated: Ohms,
    /// Tolerance, relative.
    pub tolerance: f64,
    /// The readings.
    pub readings: Vec<StandardReading>,
    /// Limits of their deviations, relative; `None` while there are too few.
    pub limits: Option<Limits>,
}

/// A reading of a check standard.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct StandardReading {
    /// The sweep.
    #[serde(flatten)]
    pub at: At,
    /// Deviation from the stated value, relative.
    pub off: f64,
    /// Expanded uncertainty, 95 %, relative.
    pub u95: f64,
    /// Is it within tolerance?
    pub within: bool,
}

/// Do the segments of one stretch add up to its end-to-end reading?
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct StretchCourse {
    /// Fixture.
    pub fixture: String,
    /// One end.
    pub from: String,
    /// The other end.
    pub to: String,
    /// How often it was read.
    pub readings: u32,
    /// How often the two agreed.
    pub agreed: u32,
    /// The largest difference, in units of its expanded uncertainty (95 %).
    pub worst: f64,
}

/// One force pin through one of its relays.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct ContactCourse {
    /// Fixture.
    pub fixture: String,
    /// The pin's point.
    pub point: String,
    /// Through the relay to the + bus?
    pub plus: bool,
    /// Resistance of pin, relay and reversal switch in the latest sweep.
    #[serde(rename = "latest_ohms")]
    pub latest: Ohms,
    /// The largest of them all.
    #[serde(rename = "worst_ohms")]
    pub worst: Ohms,
    /// The readings, one for each sweep: the mean where a sweep read it more often.
    pub readings: Vec<ContactReading>,
    /// Their limits, ohms; `None` while there are too few.
    pub limits: Option<Limits>,
}

/// A reading of a contact.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct ContactReading {
    /// The sweep.
    #[serde(flatten)]
    pub at: At,
    /// Resistance of pin, relay and reversal switch.
    #[serde(rename = "ohms")]
    pub resistance: Ohms,
}

impl ContactCourse {
    /// Its bus, with a true minus.
    pub fn bus(&self) -> &'static str {
        if self.plus { "+" } else { "−" }
    }
}

/// Hum in the sense loop of one fixture.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct HumCourse {
    /// Fixture.
    pub fixture: String,
    /// The readings, one for each sweep: the largest where a sweep listened more often.
    pub readings: Vec<HumReading>,
    /// Their limits, volts; `None` while there are too few.
    pub limits: Option<Limits>,
}

/// A reading of hum.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct HumReading {
    /// The sweep.
    #[serde(flatten)]
    pub at: At,
    /// Peak, with the uncertainty of finding it on top.
    #[serde(rename = "peak_volts")]
    pub peak: Volts,
    /// Frequency of the mains.
    pub hertz: f64,
}

/// A void sweep, and why.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct VoidSweep {
    /// Its number.
    pub sweep: SweepId,
    /// Start, µs since 1970-01-01 UTC.
    pub started_us: i64,
    /// What was wrong with the bench, a sentence each.
    pub because: Vec<String>,
}

/// Puts it together: of sweeps in order, readable or not, and of what each bench has done in all.
pub fn health(looked_at: Vec<Numbered<Stored>>, worked: &[Worked]) -> Health {
    let (mut sweeps, mut left_out) = unreadable::part(looked_at);
    // What was read by hand says nothing of a bench.
    sweeps.retain(|stored| stored.setup.fixture().is_some());
    let is_void = |stored: &&Stored| stored.judgement.verdict == Verdict::Void;
    let read = read(&sweeps, &mut left_out);
    let (standards, contacts, hum) = (standards(&sweeps), contacts(&read), hum(&read));
    let wear = wear::wear(worked, &sweeps);
    Health {
        sweeps: sweeps.len(),
        todo: todo::todo(&standards, &contacts, &hum, &wear),
        closures: sweeps.iter().map(|stored| u64::from(stored.measurement.work().closures)).sum(),
        wear,
        standards,
        stretches: stretches(&sweeps),
        contacts,
        hum,
        void: sweeps.iter().rev().filter(is_void).map(VoidSweep::of).collect(),
        left_out,
    }
}

impl At {
    fn of(stored: &Stored) -> Self {
        Self { sweep: stored.id, started_us: stored.measurement.started_us }
    }
}

/// Name of the fixture.
fn bed(stored: &Stored) -> Option<&String> {
    stored.measurement.basis.bed.as_ref().map(|bed| &bed.fixture)
}

fn standards(sweeps: &[Stored]) -> Vec<StandardCourse> {
    let mut courses = BTreeMap::new();
    for sweep in sweeps {
        for row in &sweep.judgement.standards {
            let Some(fixture) = bed(sweep) else { continue };
            let course = courses.entry((fixture, &row.name)).or_insert_with(|| StandardCourse {
                fixture: fixture.clone(),
                name: row.name.clone(),
                stated: row.stated,
                tolerance: row.tolerance,
                readings: Vec::new(),
                limits: None,
            });
            if let (Some(read), Some(u95)) = (row.resistance, row.u95) {
                course.readings.push(StandardReading {
                    at: At::of(sweep),
                    off: read / row.stated - 1.0,
                    u95: u95 / row.stated,
                    within: row.verdict == Verdict::Pass,
                });
            }
        }
    }
    let mut courses: Vec<StandardCourse> = courses.into_values().collect();
    for course in &mut courses {
        let readings: Vec<_> = course.readings.iter().map(|reading| (reading.at, reading.off)).collect();
        course.limits = Limits::of(&readings);
    }
    courses
}

fn stretches(sweeps: &[Stored]) -> Vec<StretchCourse> {
    let mut courses = BTreeMap::new();
    for sweep in sweeps {
        for row in &sweep.judgement.closures {
            let Some(fixture) = bed(sweep) else { continue };
            let course = courses.entry((fixture, &row.from, &row.to)).or_insert_with(|| StretchCourse {
                fixture: fixture.clone(),
                from: row.from.clone(),
                to: row.to.clone(),
                readings: 0,
                agreed: 0,
                worst: 0.0,
            });
            course.readings += 1;
            course.agreed += u32::from(row.agrees);
            let off = ((row.whole - row.sum) / row.u95).abs();
            if off.is_finite() {
                course.worst = course.worst.max(off);
            }
        }
    }
    courses.into_values().collect()
}

/// What the codes of the sweeps say; those that say nothing are told.
fn read<'s>(sweeps: &'s [Stored], left_out: &mut Vec<Unreadable>) -> Vec<(&'s Stored, Evidence)> {
    let mut read = Vec::with_capacity(sweeps.len());
    for stored in sweeps {
        let Some(fixture) = stored.setup.fixture() else { continue };
        match Evidence::of(fixture, &stored.measurement) {
            Ok(evidence) => read.push((stored, evidence)),
            Err(error) => {
                let why = format!("its contacts and hum cannot be read: {error}");
                left_out.push(Unreadable { sweep: stored.id, why });
            }
        }
    }
    read
}

fn hum(read: &[(&Stored, Evidence)]) -> Vec<HumCourse> {
    let mut courses = BTreeMap::new();
    for (stored, evidence) in read {
        let Some(Hum { peak, hertz }) = evidence.surroundings().hum else { continue };
        let Some(fixture) = bed(stored) else { continue };
        let course = courses.entry(fixture).or_insert_with(|| HumCourse {
            fixture: fixture.clone(),
            readings: Vec::new(),
            limits: None,
        });
        course.readings.push(HumReading { at: At::of(stored), peak, hertz });
    }
    let mut courses: Vec<HumCourse> = courses.into_values().collect();
    for course in &mut courses {
        let readings: Vec<_> = course.readings.iter().map(|reading| (reading.at, reading.peak.0)).collect();
        course.limits = Limits::of(&readings);
    }
    courses
}

fn contacts(read: &[(&Stored, Evidence)]) -> Vec<ContactCourse> {
    let mut courses = BTreeMap::new();
    for (stored, evidence) in read {
        // A sweep may read a contact several times; its readings are one point of the course.
        let mut of_sweep = BTreeMap::<_, Vec<f64>>::new();
        for observation in evidence.runs().iter().flat_map(|run| &run.observations) {
            let Observation::ForceContact(contact) = observation else { continue };
            let Some(resistance) = contact.resistance else { continue };
            of_sweep.entry((contact.point, contact.plus)).or_default().push(resistance.0);
        }
        for ((point, plus), ohms) in of_sweep {
            let Some(mean) = sample::mean(&ohms).map(Ohms) else { continue };
            let Some(fixture) = bed(stored) else { continue };
            let point = &stored.setup.board().point(point).name;
            let course = courses.entry((fixture, point, plus)).or_insert_with(|| ContactCourse {
                fixture: fixture.clone(),
                point: point.clone(),
                plus,
                latest: mean,
                worst: mean,
                readings: Vec::new(),
                limits: None,
            });
            course.latest = mean;
            course.worst = Ohms(course.worst.0.max(mean.0));
            course.readings.push(ContactReading { at: At::of(stored), resistance: mean });
        }
    }
    let mut courses: Vec<ContactCourse> = courses.into_values().collect();
    for course in &mut courses {
        let readings: Vec<_> =
            course.readings.iter().map(|reading| (reading.at, reading.resistance.0)).collect();
        course.limits = Limits::of(&readings);
    }
    courses
}

impl VoidSweep {
    fn of(sweep: &Stored) -> Self {
        let because =
            sweep.judgement.bench_faults.iter().map(|fault| format!("{}: {}", fault.part, fault.what));
        Self { sweep: sweep.id, started_us: sweep.measurement.started_us, because: because.collect() }
    }
}

#[cfg(test)]
pub(super) mod tests;
