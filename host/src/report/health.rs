//! How a bench has measured of late: check standards, series closure, contacts, relay closures.

use std::collections::BTreeMap;

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    evidence::{Evidence, Observation},
    quantity::Ohms,
    records::{Stored, SweepId, summary::SweepView},
    verdict::Verdict,
};

/// How the bench has measured.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct Health {
    /// Sweeps that this was made from, void ones included.
    pub sweeps: usize,
    /// Relays closed in them.
    pub closures: u64,
    /// Check standards, each over the sweeps.
    pub standards: Vec<StandardCourse>,
    /// Stretches read end to end and segment by segment, each over the sweeps.
    pub stretches: Vec<StretchCourse>,
    /// Contacts of pins, over the latest of the sweeps.
    pub contacts: Vec<ContactCourse>,
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
}

/// A reading of a check standard.
#[derive(Clone, PartialEq, Debug, Serialize, ToSchema)]
pub struct StandardReading {
    /// The sweep.
    pub sweep: SweepId,
    /// Start of the sweep, µs since 1970-01-01 UTC.
    pub started_us: i64,
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
    /// How often it was read.
    pub readings: u32,
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

/// Puts it together: of sweeps in order, and of the latest of them whole, for their contacts.
pub fn health(sweeps: &[SweepView], whole: &[Stored]) -> Health {
    let is_void = |sweep: &&SweepView| sweep.judgement.verdict == Verdict::Void;
    Health {
        sweeps: sweeps.len(),
        closures: sweeps.iter().map(|sweep| u64::from(sweep.bench.closures)).sum(),
        standards: standards(sweeps),
        stretches: stretches(sweeps),
        contacts: contacts(whole),
        void: sweeps.iter().rev().filter(is_void).map(VoidSweep::of).collect(),
    }
}

fn standards(sweeps: &[SweepView]) -> Vec<StandardCourse> {
    let mut courses = BTreeMap::new();
    for sweep in sweeps {
        for row in &sweep.judgement.standards {
            let fixture = &sweep.basis.fixture;
            let course = courses.entry((fixture, &row.name)).or_insert_with(|| StandardCourse {
                fixture: fixture.clone(),
                name: row.name.clone(),
                stated: row.stated,
                tolerance: row.tolerance,
                readings: Vec::new(),
            });
            if let (Some(read), Some(u95)) = (row.resistance, row.u95) {
                course.readings.push(StandardReading {
                    sweep: sweep.id,
                    started_us: sweep.started_us,
                    off: read / row.stated - 1.0,
                    u95: u95 / row.stated,
                    within: row.verdict == Verdict::Pass,
                });
            }
        }
    }
    courses.into_values().collect()
}

fn stretches(sweeps: &[SweepView]) -> Vec<StretchCourse> {
    let mut courses = BTreeMap::new();
    for sweep in sweeps {
        for row in &sweep.judgement.closures {
            let fixture = &sweep.basis.fixture;
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

fn contacts(sweeps: &[Stored]) -> Vec<ContactCourse> {
    let mut courses = BTreeMap::new();
    for stored in sweeps {
        // A sweep whose codes do not fit its fixture is told of where it is shown.
        let Ok(evidence) = Evidence::of(&stored.fixture, &stored.measurement.runs) else { continue };
        for observation in evidence.runs().iter().flat_map(|run| &run.observations) {
            let Observation::ForceContact(contact) = observation else { continue };
            let Some(resistance) = contact.resistance else { continue };
            let fixture = &stored.measurement.basis.fixture;
            let point = &stored.fixture.board.point(contact.point).name;
            let course = courses.entry((fixture, point, contact.plus)).or_insert_with(|| ContactCourse {
                fixture: fixture.clone(),
                point: point.clone(),
                plus: contact.plus,
                latest: resistance,
                worst: resistance,
                readings: 0,
            });
            course.latest = resistance;
            course.worst = Ohms(course.worst.0.max(resistance.0));
            course.readings += 1;
        }
    }
    courses.into_values().collect()
}

impl VoidSweep {
    fn of(sweep: &SweepView) -> Self {
        let because =
            sweep.judgement.bench_faults.iter().map(|fault| format!("{}: {}", fault.part, fault.what));
        Self { sweep: sweep.id, started_us: sweep.started_us, because: because.collect() }
    }
}
