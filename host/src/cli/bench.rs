//! `copperwalk bench`: which controllers are plugged in, and how they stand; with `--health`, how they have measured.

use std::path::PathBuf;

use super::{
    Failure, Status, by_daemon,
    deliver::{Kind, Place},
    output::Output,
    records,
};
use crate::{
    client::{ClientError, Daemon, seen::Controller},
    link::{
        discover::{Attached, at, ports, serial_text},
        words,
    },
    records::now_us,
    report::{
        health::{LOOKED_AT, health},
        html, json, terminal,
    },
    visible::clean,
};

#[derive(clap::Args)]
pub struct Args {
    /// Ask at this serial port only, whatever is there.
    #[arg(long, value_name = "DEV", conflicts_with = "health")]
    port: Option<String>,
    /// Say what to clean or change next: check standards, contacts and relays over the last 100 sweeps in the records,
    /// each as a control chart with warning and action limits. No controller is asked.
    #[arg(long)]
    health: bool,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long, requires = "health")]
    json: bool,
    /// Also write a self-contained HTML page, with the charts.
    #[arg(long, value_name = "FILE", requires = "health")]
    html: Option<PathBuf>,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long, requires = "html")]
    force: bool,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    if args.health {
        return of_records(args, store, output);
    }
    let found = args.port.map_or_else(ports, |port| vec![port]);
    if found.is_empty() {
        output
            .text("No controller is plugged in. One that was just flashed may need its cable pulled once.")?;
        return Ok(Status::Void);
    }
    let mut answered = false;
    for port in found {
        // A controller that a daemon works with is not asked itself: the port is taken.
        let (line, answers) = match by_daemon::holding(&port, store.as_ref())? {
            Some(daemon) => held(&port, &daemon),
            None => alone(&at(port)),
        };
        output.text(&clean(&line))?;
        answered |= answers;
    }
    Ok(if answered { Status::Pass } else { Status::Void })
}

/// How the bench has measured, by the records.
fn of_records(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let records = records::open_to_read(store)?;
    let place =
        args.html.map(|path| Place::new(&path, Kind::Page, args.force, Some(records.path()))).transpose()?;
    let health = health(records.latest(LOOKED_AT)?, &records.worked()?);
    if let Some(place) = place {
        place.write(html::health(&health, now_us()))?;
    }
    if args.json {
        output.text(&json::object(&health).map_err(|error| Failure::Output(error.into()))?)?;
    } else {
        output.text(&terminal::health(&health, output.screen()))?;
    }
    Ok(Status::Pass)
}

/// One controller in one line, and whether it answers.
fn alone(Attached { port, usb_serial, answer }: &Attached) -> (String, bool) {
    match answer {
        Ok((identity, status)) => {
            let (major, minor, patch) = identity.firmware;
            let controller = Controller {
                serial: serial_text(identity.serial),
                firmware: format!("{major}.{minor}.{patch}"),
                force_channels: identity.force_channels,
                sense_channels: identity.sense_channels,
            };
            (line(port, &controller, &words::status(status)), true)
        }
        Err(error) => {
            let serial = usb_serial.as_deref().unwrap_or("of unknown number");
            (format!("{port}  controller {serial}  does not answer: {error}"), false)
        }
    }
}

/// The same of a controller that a daemon has.
fn held(port: &str, daemon: &Daemon) -> (String, bool) {
    let address = daemon.address();
    match daemon.bench() {
        Ok(bench) => match &bench.controller {
            Some(controller) => {
                let lid = if bench.lid_open == Some(true) { "lid open, " } else { "" };
                (line(port, controller, &format!("{lid}the daemon at {address} has it")), true)
            }
            None => {
                let trouble = bench.trouble.unwrap_or_default();
                (format!("{port}  the daemon at {address} has no controller now: {trouble}"), false)
            }
        },
        Err(error @ ClientError::Token { .. }) => (format!("{port}  {error}"), true),
        Err(error) => (format!("{port}  {error}"), false),
    }
}

fn line(port: &str, controller: &Controller, state: &str) -> String {
    let Controller { serial, firmware, force_channels, sense_channels } = controller;
    format!(
        "{port}  controller {serial}  firmware {firmware}  {force_channels} force + {sense_channels} sense channels  {state}"
    )
}
