//! How a proof runs its shots: in runs that the controller can hold, each after the residual check on a standard's own pins,
//! since nothing else need be on the bed.

use copperwalk_wire::{
    Contacts, Method, Shot, Source,
    codes::decode,
    contact::NOMINAL_BIAS,
    message::{Fault, RunEnd},
};

use super::{Event, ProveError};
use crate::{
    fixture::{Fixture, Standard},
    job,
    link::{RanShot, Session, Transport, discover::serial_text},
    plan::builder,
    proof::Figures,
};

/// A bench whose shots begin on a standard.
pub struct Bench<'b, T: Transport> {
    session: &'b mut Session<T>,
    listener: &'b mut dyn FnMut(Event<'_>),
    standard: &'b Standard,
    shots: u32,
    device_us: u64,
    /// Code of the bias node as the latest residual check read it.
    pub bias: i32,
}

/// The contacts of a standard.
pub fn across(standard: &Standard) -> Contacts {
    builder::four_wires(standard.force, standard.sense)
}

impl<'b, T: Transport> Bench<'b, T> {
    /// A bench with the channels that the fixture uses, and a standard to begin on.
    pub fn new(
        session: &'b mut Session<T>,
        fixture: &'b Fixture,
        listener: &'b mut dyn FnMut(Event<'_>),
    ) -> Result<Self, ProveError> {
        let standard =
            fixture.standards.first().ok_or_else(|| ProveError::NoStandard(fixture.name.clone()))?;
        job::fits(session, fixture)?;
        Ok(Self { session, listener, standard, shots: 0, device_us: 0, bias: NOMINAL_BIAS })
    }

    /// The controller's serial number, hex.
    pub fn serial(&self) -> String {
        serial_text(self.session.identity().serial)
    }

    /// The same for people.
    pub fn name(&self) -> String {
        self.session.name()
    }

    /// Books the work.
    pub fn book(&self, figures: &mut Figures) {
        figures.shots += self.shots;
        figures.device_us += self.device_us;
    }

    /// Runs all of these shots; the answer has as many. `part`: what they are for.
    pub fn run(&mut self, part: &'static str, shots: &[Shot]) -> Result<Vec<RanShot>, ProveError> {
        let check = Shot { contacts: across(self.standard), source: Source::Off, method: Method::Residual };
        let room = usize::from(self.session.identity().plan_capacity).saturating_sub(1).max(1);
        let mut ran = Vec::with_capacity(shots.len());
        for chunk in shots.chunks(room) {
            (self.listener)(Event::Shots(part, ran.len(), shots.len()));
            let plan: Vec<Shot> = std::iter::once(check).chain(chunk.iter().copied()).collect();
            let report = self.session.run(&plan)?;
            self.shots += report.shots.len() as u32;
            self.device_us += u64::from(report.device_us);
            match report.end {
                RunEnd::Complete => {}
                RunEnd::Residual | RunEnd::NoContact => {
                    return Err(ProveError::Standard(self.standard.name.clone()));
                }
                RunEnd::Fault(Fault::Lid) => return Err(ProveError::Lid),
                end => return Err(ProveError::Ended(end)),
            }
            let mut answers = report.shots.into_iter();
            if let Some(checked) = answers.next() {
                self.bias = decode(&check, &checked.codes)?.residual()?.bias;
            }
            ran.extend(answers);
        }
        (self.listener)(Event::Shots(part, ran.len(), shots.len()));
        Ok(ran)
    }
}
