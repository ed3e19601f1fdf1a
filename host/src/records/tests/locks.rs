//! Several programs with one store.

use std::sync::{Arc, Barrier};
use std::thread;
use std::time::Duration;

use sqlx::Connection;
use sqlx::sqlite::SqliteConnectOptions;

use super::super::{Error, Records, Store, database, sample};
use super::fresh;

/// Each thread is its own store with its own connections and locks, as separate programs are.
#[test]
fn many_create_and_fill_one_store_at_once() {
    const WRITERS: u32 = 4;
    const SWEEPS: u32 = 20;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let start = Arc::new(Barrier::new(WRITERS as usize));
    let writers: Vec<_> = (0..WRITERS)
        .map(|writer| {
            let (path, start) = (path.clone(), Arc::clone(&start));
            thread::spawn(move || {
                start.wait();
                let records = Records::open(&path).unwrap();
                for number in 0..SWEEPS {
                    let sweep = sample::sweep(&format!("W-{writer}"), Some("both"), number, None);
                    let id = records.store(&sweep, &sample::fixture()).unwrap();
                    assert_eq!(records.sweep(id).unwrap(), sweep);
                }
            })
        })
        .collect();
    writers.into_iter().for_each(|writer| writer.join().unwrap());
    let lot = Records::open(&path).unwrap().lot("both").unwrap();
    assert_eq!(lot.sweeps, WRITERS * SWEEPS);
    assert!(lot.units.iter().all(|unit| unit.swept.as_ref().is_some_and(|swept| swept.sweeps == SWEEPS)));
}

#[test]
fn a_second_writer_waits_and_readers_do_not() {
    let (_folder, records) = fresh();
    records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    let path = records.path().to_owned();
    let (locked, go_on) = (Arc::new(Barrier::new(2)), Arc::new(Barrier::new(2)));
    let other = {
        let (path, locked, go_on) = (path.clone(), Arc::clone(&locked), Arc::clone(&go_on));
        thread::spawn(move || {
            let other = Records::open(&path).unwrap();
            other.runtime.block_on(async {
                let mut connection = other.store.pool.acquire().await.unwrap();
                let transaction = connection.begin_with(database::BEGIN).await.unwrap();
                locked.wait();
                go_on.wait();
                tokio::time::sleep(Duration::from_millis(50)).await;
                transaction.commit().await.unwrap();
            });
        })
    };
    locked.wait();
    assert_eq!(records.unit("A-1").unwrap().events.len(), 1, "reading goes on");

    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
    let impatient = SqliteConnectOptions::new().busy_timeout(Duration::from_millis(20));
    let error = runtime.block_on(async {
        let store = Store::open_with(&path, impatient).await.unwrap();
        store.note("A-1", 1, "too early").await.unwrap_err()
    });
    assert!(matches!(error, Error::Busy { .. }), "{error}");

    go_on.wait();
    records.note("A-1", 1, "in time").unwrap();
    assert_eq!(records.unit("A-1").unwrap().events.len(), 2);
    other.join().unwrap();
}

/// The later web page calls it like this: from many tasks, on any thread.
#[test]
fn the_store_serves_many_tasks() {
    let (_folder, records) = fresh();
    records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    let runtime =
        tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_time().build().unwrap();
    let path = records.path().to_owned();
    runtime.block_on(async {
        let store = Store::open(&path).await.unwrap();
        let tasks: Vec<_> = (2..12)
            .map(|number| {
                let store = store.clone();
                tokio::spawn(async move {
                    let sweep = sample::sweep("A-1", Some("May"), number, None);
                    let id = store.store(&sweep, &sample::fixture()).await.unwrap();
                    assert_eq!(store.sweep(id).await.unwrap(), sweep);
                    store.unit("A-1").await.unwrap();
                    store.lot("May").await.unwrap();
                })
            })
            .collect();
        for task in tasks {
            task.await.unwrap();
        }
        store.close().await;
    });
    assert_eq!(records.unit("A-1").unwrap().events.len(), 11);
}
