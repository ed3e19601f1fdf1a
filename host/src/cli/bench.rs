//! `copperwalk bench`: which controllers are plugged in, and how they stand.

use super::{Failure, Status, output::Output};
use crate::link::{
    discover::{Attached, at, attached, serial_text},
    words,
};
use crate::visible::clean;

#[derive(clap::Args)]
pub struct Args {
    /// Ask at this serial port only, whatever is there.
    #[arg(long, value_name = "DEV")]
    port: Option<String>,
}

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let found = args.port.map_or_else(attached, |port| vec![at(port)]);
    if found.is_empty() {
        output
            .text("No controller is plugged in. One that was just flashed may need its cable pulled once.")?;
        return Ok(Status::Void);
    }
    for controller in &found {
        output.text(&clean(&line(controller)))?;
    }
    let answered = found.iter().any(|controller| controller.answer.is_ok());
    Ok(if answered { Status::Pass } else { Status::Void })
}

/// One controller in one line.
fn line(Attached { port, usb_serial, answer }: &Attached) -> String {
    match answer {
        Ok((identity, status)) => {
            let (major, minor, patch) = identity.firmware;
            format!(
                "{port}  controller {}  firmware {major}.{minor}.{patch}  {} force + {} sense channels  {}",
                serial_text(identity.serial),
                identity.force_channels,
                identity.sense_channels,
                words::status(status)
            )
        }
        Err(error) => {
            let serial = usb_serial.as_deref().unwrap_or("of unknown number");
            format!("{port}  controller {serial}  does not answer: {error}")
        }
    }
}
