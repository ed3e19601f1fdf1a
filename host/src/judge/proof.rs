//! What the fixture asks of a proof of the bench, held against the proof there is.

use crate::{
    fixture::{Fixture, Without},
    measurement::Measurement,
    proof::Standing,
    sweep::BenchFault,
};

/// What a missing proof does to a sweep.
#[derive(Clone, PartialEq, Debug)]
pub enum Lack {
    /// It is void.
    Void(BenchFault),
    /// It is judged by published worst cases, and says so.
    Notice(String),
}

/// `None` where the proof holds, or the fixture asks for none.
pub fn lack(fixture: &Fixture, measurement: &Measurement) -> Option<Lack> {
    let standing = Standing::of(measurement.proof.as_ref(), fixture, measurement.started_us);
    let why = why(standing, fixture.proof.days)?;
    match fixture.proof.without {
        Without::Published => None,
        Without::Notice => Some(Lack::Notice(format!(
            "{why}: the uncertainties stand on the published worst cases of the bench's parts"
        ))),
        Without::Void => {
            let what = format!("{why}; run copperwalk prove, then sweep again");
            Some(Lack::Void(BenchFault { part: "proof of the bench".into(), what }))
        }
    }
}

/// Why a proof does not hold.
fn why(standing: Standing, days: u16) -> Option<String> {
    Some(match standing {
        Standing::Holds => return None,
        Standing::Missing => "nobody has proven this bench with this bed".into(),
        Standing::Failed => "the bench's latest proof found it unfit".into(),
        Standing::OtherBed => {
            "the bed's pins, channels or standards have changed since the bench's latest proof".into()
        }
        Standing::PastDue => format!("the bench's latest proof is more than {days} days old"),
        Standing::Future => {
            "the bench's latest proof is dated later than this sweep: a clock is wrong".into()
        }
    })
}
