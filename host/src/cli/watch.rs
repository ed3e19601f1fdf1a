//! `copperwalk watch FIXTURE SEGMENT`: one segment without a pause while somebody taps, bends or wiggles it.

use std::{
    io::{IsTerminal, Write, stderr},
    path::PathBuf,
};

use super::{
    Failure, Status, by_daemon, interrupt,
    output::{Output, complain, status_of, stderr_columns},
    records,
    sweep::BenchArgs,
};
use crate::{
    board::{SegmentId, StateId},
    document::suggestion,
    fixture::{self, Fixture},
    quantity::Seconds,
    records::{now_us, text},
    report::{
        json,
        terminal::{self, Strip},
        watch::WatchSheet,
    },
    verdict::Verdict,
    watch::{End, LONGEST, News, SHORTEST, Task, Watcher},
};

/// Lines of the trace are laid out for so many columns at most: more do not fit the eye.
const WIDEST: usize = 100;

#[derive(clap::Args)]
pub struct Args {
    /// The fixture file.
    #[arg(value_name = "FIXTURE")]
    fixture: PathBuf,
    /// The segment, as the board file names it.
    #[arg(value_name = "SEGMENT")]
    segment: String,
    #[command(flatten)]
    bench: BenchArgs,
    /// Keep what is seen under the unit's serial number; the records must know the unit.
    #[arg(long, value_name = "SN")]
    serial: Option<String>,
    /// State to watch it in; without it the first one in which it conducts.
    #[arg(long, value_name = "NAME")]
    state: Option<String>,
    /// How long: from 2 s to 30 min. Ctrl-C ends it earlier, and keeps what was seen.
    #[arg(long = "for", value_name = "TIME", default_value = "30 s", value_parser = time)]
    time: Seconds,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
}

/// A time to watch for.
fn time(given: &str) -> Result<Seconds, String> {
    let (number, scale) = match (given.strip_suffix("min"), given.strip_suffix('s')) {
        (Some(minutes), _) => (minutes, 60.0),
        (None, Some(seconds)) => (seconds, 1.0),
        (None, None) => (given, f64::NAN),
    };
    let seconds = number.trim().parse::<f64>().map(|number| Seconds(number * scale)).ok();
    let fits = seconds.filter(|time| SHORTEST <= *time && *time <= LONGEST);
    fits.ok_or_else(|| "a time from \"2 s\" to \"30 min\" belongs here".into())
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = args.serial.as_deref().map(text::serial).transpose()?;
    let fixture = fixture::read(&args.fixture)?;
    let (segment, state) = named(&fixture, &args.segment, args.state.as_deref())?;
    let task = Task::new(&fixture, segment, state)?;
    if let Some(port) = args.bench.port() {
        by_daemon::has_not(port, store.as_ref(), "a segment is watched")?;
    }
    // Before anything is watched: a unit that the records do not know, or a store that cannot be written to, would lose it.
    let kept = match serial {
        Some(serial) => {
            let records = records::open(store)?;
            records.unit(&serial)?;
            Some((records, serial))
        }
        None => None,
    };
    let cancel = interrupt::token();
    let (mut session, mut operator) = args.bench.open(&fixture, &cancel)?;
    let bench = session.name();
    let mut trace = Trace::new(&fixture, segment, args.time);
    let mut watcher = Watcher { session: &mut session, operator: operator.as_mut(), fixture: &fixture };
    let watched = watcher.watch(&task, args.time, &mut |news| trace.take(news));
    trace.end();
    let (watched, end) = watched?;
    let ended = match &end {
        End::Time => "time".into(),
        End::Asked { .. } => "stopped".into(),
        End::Broke(why) => why.clone(),
    };
    let mut sheet = WatchSheet::new(&fixture, segment, state, &bench, &watched, ended);
    // What was seen before it broke off is seen; nothing seen proves nothing.
    if matches!(end, End::Broke(_)) && sheet.verdict == Verdict::Pass {
        sheet.verdict = Verdict::Void;
    }
    let object = json::object(&sheet).map_err(|error| Failure::Output(error.into()))?;
    if let Some((records, serial)) = &kept {
        records.keep_watch(serial, &sheet.entry(now_us(), object.clone()))?;
    }
    let status = status_of(sheet.verdict);
    output.settle(status);
    if args.json {
        output.text(&object)?;
    } else {
        output.text(&terminal::watch(
            &sheet,
            kept.as_ref().map(|(_, serial)| serial.as_str()),
            output.screen(),
        ))?;
    }
    if end == (End::Asked { all_open: false }) {
        complain("the controller did not confirm that its relays are open: unplug it");
        return Ok(Status::Void);
    }
    Ok(status)
}

/// Segment and state by their names.
fn named(fixture: &Fixture, segment: &str, state: Option<&str>) -> Result<(SegmentId, StateId), Failure> {
    let board = &fixture.board;
    let unknown = |what, name: &str, known: Vec<&str>| Failure::Unknown {
        what,
        name: name.into(),
        board: board.name.clone(),
        help: suggestion(name, &known),
    };
    let id = board.segment_named(segment).ok_or_else(|| {
        unknown("segment", segment, board.segments.iter().map(|segment| segment.name.as_str()).collect())
    })?;
    let state = match state {
        None => Task::usual_state(fixture, id),
        Some(name) => board.state_named(name).ok_or_else(|| {
            unknown("state", name, board.states.iter().map(|state| state.name.as_str()).collect())
        })?,
    };
    Ok((id, state))
}

/// The live trace, on standard error, where that is a terminal.
struct Trace {
    strip: Option<Strip>,
    name: String,
    time: Seconds,
}

impl Trace {
    fn new(fixture: &Fixture, segment: SegmentId, time: Seconds) -> Self {
        let width = stderr_columns().min(WIDEST);
        let limit = fixture.limits.of(segment).max;
        Self {
            strip: stderr().is_terminal().then(|| Strip::new(limit, width)),
            name: fixture.board.segment(segment).name.clone(),
            time,
        }
    }

    fn take(&mut self, news: News) {
        let Some(strip) = &mut self.strip else { return };
        let text = match news {
            News::Began { resistance } => strip.head(&self.name, resistance, self.time),
            News::Looks(looks) => strip.looks(&looks),
            News::Seen(seen) => strip.seen(&seen),
        };
        // Whoever closed standard error does not want to see it.
        let mut stderr = stderr();
        let _ = stderr.write_all(text.as_bytes());
        let _ = stderr.flush();
    }

    fn end(&mut self) {
        if let Some(strip) = &mut self.strip {
            let _ = stderr().write_all(strip.end().as_bytes());
        }
    }
}
