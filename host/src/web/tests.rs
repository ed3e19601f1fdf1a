//! How long lists take over many units. The figures hold for a release build, where they are asserted:
//! `COPPERWALK_LONG=1 cargo test --release -p copperwalk --lib many_units -- --nocapture`.

use std::{
    io::{Read, Write},
    net::{SocketAddr, TcpStream},
    sync::Arc,
    time::{Duration, Instant},
};

use tokio::{net::TcpListener, runtime::Runtime, sync::watch};

use super::{App, Guard, serve};
use crate::{
    daemon::{Desk, Feed, Fixtures, Judgings},
    records::{Catalogue, Store, sample},
};

/// Asked: every page and list within this, at the 95th percentile; a lot as CSV within the other.
const LIST: Duration = Duration::from_millis(200);
const TABLE: Duration = Duration::from_secs(2);

/// A daemon without a bench, over this store.
struct Served {
    runtime: Runtime,
    address: SocketAddr,
    store: Store,
    close: watch::Sender<bool>,
}

impl Served {
    fn new(folder: &std::path::Path) -> Self {
        let runtime = Runtime::new().unwrap();
        let (close, closing) = watch::channel(false);
        let store = runtime.block_on(Store::open(&folder.join("records.sqlite"))).unwrap();
        let app = App {
            desk: Arc::new(Desk::new(Arc::new(Feed::default()))),
            fixtures: Arc::new(Fixtures::examples()),
            store: store.clone(),
            catalogue: Arc::new(Catalogue::of(store.clone())),
            judgings: Arc::new(Judgings::of(store.path().to_owned())),
            hands: None,
            guard: Guard::new(Vec::new(), None).into(),
            closing: closing.clone(),
        };
        let listener = runtime.block_on(TcpListener::bind("127.0.0.1:0")).unwrap();
        let address = listener.local_addr().unwrap();
        runtime.spawn(serve(listener, app, closing));
        Self { runtime, address, store, close }
    }

    /// Asks for this; gives the length of the whole answer and the time until its end.
    fn get(&self, way: &str) -> (usize, Duration) {
        let began = Instant::now();
        let mut line = TcpStream::connect(self.address).unwrap();
        write!(line, "GET {way} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.address).unwrap();
        let mut answer = Vec::new();
        line.read_to_end(&mut answer).unwrap();
        assert!(answer.starts_with(b"HTTP/1.1 200 "), "{way}: {}", String::from_utf8_lossy(&answer));
        (answer.len(), began.elapsed())
    }
}

#[test]
fn lists_of_many_units_are_there_in_time() {
    let is_long = std::env::var_os("COPPERWALK_LONG").is_some_and(|long| long == "1");
    let (units, times) = if is_long { (10_000, 40) } else { (60, 3) };
    let folder = tempfile::tempdir().unwrap();
    let served = Served::new(folder.path());
    let fixture = sample::fixture();
    let swept = |number: u32, at: u32| {
        let broken = number.is_multiple_of(4).then_some(number as usize % 12);
        let mut sweep = sample::sweep(&format!("SN-{number:05}"), Some("lot"), at, broken);
        let rows = sweep.judgement.segments.clone();
        sweep.judgement.segments.extend(rows.into_iter().cycle().take(100));
        sweep.judgement.segments.truncate(100);
        sweep
    };
    served.runtime.block_on(async {
        for number in 0..units {
            served.store.store(&swept(number, number), &fixture).await.unwrap();
        }
    });
    let ways = [
        "/units",
        "/units?text=9&order=status&page=2",
        "/lots",
        "/lots/lot",
        "/lots/lot/readings",
        "/units/SN-00004",
        "/health",
        "/api/v1/units?per_page=1000",
        "/api/v1/units?verdict=fail&sort=fault&page=3",
        "/api/v1/lots",
        "/api/v1/lots/lot",
        "/api/v1/lots/lot/readings",
        "/api/v1/sweeps?per_page=100",
        "/api/v1/sweeps?lot=lot&per_page=100",
        "/api/v1/bench/health",
    ];
    println!(
        "{units} units of 100 readings; 95th percentile of {times} answers, a sweep written before each:"
    );
    let (_, first) = served.get("/units");
    println!("  {first:>10.1?}  the first question of all");
    let mut slowest = Duration::ZERO;
    for way in ways {
        let mut took: Vec<Duration> = (0..times)
            .map(|turn| {
                // The bench goes on working: what is kept in memory has to follow.
                let sweep = swept(turn % units, units + turn);
                served.runtime.block_on(served.store.store(&sweep, &fixture)).unwrap();
                served.get(way).1
            })
            .collect();
        took.sort_unstable();
        let p95 = took[(took.len() * 95).div_ceil(100) - 1];
        println!("  {p95:>10.1?}  {way}");
        slowest = slowest.max(p95);
    }
    let (length, table) = served.get("/api/v1/lots/lot/table.csv");
    println!("  {table:>10.1?}  the lot as CSV, {length} bytes");
    let _ = served.close.send(true);
    assert!(cfg!(debug_assertions) || !is_long || (slowest <= LIST && table <= TABLE));
}
