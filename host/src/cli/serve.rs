//! `copperwalk serve`: the daemon. It has the bench and the records, and shows both to browsers and scripts.

use std::{
    io::IsTerminal,
    net::{IpAddr, SocketAddr},
    path::PathBuf,
    sync::Arc,
};

use tokio::{net::TcpListener, runtime, signal, sync::watch};
use tracing_subscriber::{EnvFilter, fmt};

use super::{Failure, Status, output::Output};
use crate::{
    daemon::{
        Bench, Desk, Feed, Fixtures, Judgings, Line,
        desk::BenchPicture,
        modelled::Hands,
        notice::{self, Notice, Posted},
    },
    link::discover,
    records::{self, Catalogue, Records, Store},
    visible::path as shown,
    web::{self, App, Guard, token::Tokens},
};

#[derive(clap::Args)]
pub struct Args {
    /// Address and port to listen on. Another than this computer's own needs --token-file.
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:4080")]
    listen: SocketAddr,
    /// The serial port of the controller. Without it: whichever controller is plugged in, and with none the virtual bench.
    #[arg(long, value_name = "DEV", conflicts_with = "modelled")]
    port: Option<String>,
    /// Use the virtual bench.
    #[arg(long = "virtual")]
    modelled: bool,
    /// Folder of fixture files; read again when they change. Without it: the built-in invented examples.
    #[arg(long, value_name = "DIR")]
    fixtures: Option<PathBuf>,
    /// Tokens that may sign in, made by `copperwalk token`.
    #[arg(long, value_name = "FILE")]
    token_file: Option<PathBuf>,
    /// A name that this computer is called by in browsers; may be given more than once.
    #[arg(long = "name", value_name = "HOST")]
    names: Vec<String>,
    /// How the log is written: lines for people, or JSON.
    #[arg(long, value_enum, default_value_t, value_name = "FORM")]
    log: Log,
}

#[derive(Clone, Copy, Default, clap::ValueEnum)]
enum Log {
    #[default]
    Lines,
    Json,
}

/// Why the daemon cannot begin, or ended by itself.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// Others could use the bench without a token.
    #[error("{0} can be reached from other computers: say --token-file FILE, or listen on 127.0.0.1")]
    Unguarded(IpAddr),
    /// The port is taken, or not allowed.
    #[error("cannot listen on {address}: {error}; name another with --listen")]
    Listen {
        /// Where.
        address: SocketAddr,
        /// Why not.
        error: std::io::Error,
    },
    /// The fixtures' folder.
    #[error("{}: {error}; name the folder of the fixture files with --fixtures", shown(path))]
    Folder {
        /// Which.
        path: PathBuf,
        /// Why not.
        error: std::io::Error,
    },
    /// No runtime, no thread, a broken listener.
    #[error("{0}")]
    System(#[from] std::io::Error),
    /// The tokens.
    #[error(transparent)]
    Tokens(#[from] web::token::TokenFileError),
}

/// Levels of the log, as `info` or `copperwalk=debug`.
const LEVELS: &str = "COPPERWALK_LOG";

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let tokens = args.token_file.as_deref().map(Tokens::read).transpose().map_err(ServeError::from)?;
    if tokens.is_none() && !args.listen.ip().is_loopback() {
        return Err(ServeError::Unguarded(args.listen.ip()).into());
    }
    log(args.log);
    let fixtures = match &args.fixtures {
        None => Fixtures::examples(),
        Some(path) => {
            Fixtures::of_folder(path).map_err(|error| ServeError::Folder { path: path.clone(), error })?
        }
    };
    let line = match args.port {
        Some(port) => Line::Port(port),
        None if args.modelled || discover::ports().is_empty() => Line::Virtual(Hands::default()),
        None => Line::AnyPort,
    };
    let path = records::path(store)?;
    let runtime = runtime::Builder::new_multi_thread().enable_all().build().map_err(ServeError::from)?;
    runtime.block_on(serve(args.listen, line, fixtures, Guard::new(args.names, tokens), path, output))
}

async fn serve(
    address: SocketAddr,
    line: Line,
    fixtures: Fixtures,
    guard: Guard,
    path: PathBuf,
    output: &mut Output,
) -> Result<Status, Failure> {
    let listener = TcpListener::bind(address).await.map_err(|error| ServeError::Listen { address, error })?;
    let address = listener.local_addr().map_err(ServeError::from)?;
    let store = Store::open(&path).await?;
    store.news().iter().for_each(|news| tracing::info!("{news}"));
    let feed = Arc::new(Feed::default());
    let desk = Arc::new(Desk::new(feed));
    let fixtures = Arc::new(fixtures);
    let hands = match &line {
        Line::Virtual(hands) => Some(hands.clone()),
        Line::Port(_) | Line::AnyPort => None,
    };
    let own = store.path().to_owned();
    let mut notice = Notice::own(address, &own, hands.is_some());
    if let Line::Port(port) = &line {
        notice.port = Some(std::path::absolute(port).map_err(ServeError::from)?);
    }
    let bench = Bench::start(line, desk.clone(), fixtures.clone(), move || Records::open(&own))
        .map_err(ServeError::from)?;
    let posted = tokio::spawn(post(notice, desk.clone()));
    let (close, closing) = watch::channel(false);
    let catalogue = Arc::new(Catalogue::of(store.clone()));
    let judgings = Arc::new(Judgings::of(store.path().to_owned()));
    let app = App {
        desk,
        fixtures,
        store: store.clone(),
        catalogue: catalogue.clone(),
        judgings: judgings.clone(),
        hands,
        guard: guard.into(),
        closing: closing.clone(),
    };
    // The first list is then there at once. Whatever is wrong with the records is told to whoever asks for it.
    tokio::spawn(async move { catalogue.lots().await.map(drop) });
    output.text(&format!("The bench is at http://{address}/ ; Ctrl-C ends it."))?;
    if !address.ip().is_loopback() {
        tracing::warn!("traffic is not encrypted; put a proxy that speaks TLS in front of it");
    }
    let serving = tokio::spawn(web::serve(listener, app, closing));
    asked_to_end().await;
    tracing::info!("ending");
    // Dropped with its notice: nobody is to come any more.
    posted.abort();
    let _ = posted.await;
    let _ = close.send(true);
    judgings.stop();
    // The thread cancels its job and opens every relay while answers under way are finished.
    let ended = tokio::task::spawn_blocking(move || drop(bench));
    let served = serving.await;
    let _ = ended.await;
    store.close().await;
    match served {
        Ok(Err(error)) => Err(ServeError::from(error).into()),
        _ => Ok(Status::Pass),
    }
}

/// Keeps the notice by which other commands find this daemon. Without one they do not, and nothing else is amiss.
async fn post(notice: Notice, desk: Arc<Desk>) {
    let folder = notice::folder(&notice.records);
    let mut bell = desk.feed().bell();
    let kept = async {
        let mut posted = Posted::new(&folder, notice)?;
        loop {
            bell.borrow_and_update();
            let bench = desk.bench();
            // Before the first look at the line nothing is known but what the arguments say.
            if bench != BenchPicture::default() {
                let port = Some(bench.line).filter(|line| bench.hands.is_none() && !line.is_empty());
                posted.holds(port.map(std::path::absolute).transpose()?)?;
            }
            if bell.changed().await.is_err() {
                return std::io::Result::Ok(());
            }
        }
    };
    if let Err(error) = kept.await {
        tracing::warn!(folder = %shown(&folder), %error, "other commands will not find this daemon");
    }
}

/// Ctrl-C, or what ends a service.
async fn asked_to_end() {
    #[cfg(unix)]
    {
        use signal::unix::{SignalKind, signal};
        if let Ok(mut ended) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = signal::ctrl_c() => {}
                _ = ended.recv() => {}
            }
            return;
        }
    }
    let _ = signal::ctrl_c().await;
}

/// The log goes to standard error.
fn log(form: Log) {
    let levels = EnvFilter::try_from_env(LEVELS).unwrap_or_else(|_| EnvFilter::new("info"));
    let lines = fmt().with_env_filter(levels).with_writer(std::io::stderr);
    match form {
        Log::Lines => lines.with_ansi(std::io::stderr().is_terminal()).with_target(false).init(),
        Log::Json => lines.json().init(),
    }
}
