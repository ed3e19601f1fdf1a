//! Files and disks that are not as they should be. Each leaves what was there untouched.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use sqlx::Executor;
use sqlx::sqlite::SqliteConnectOptions;

use super::super::stored::Packed;
use super::super::{Error, Records, Store, SweepId, head, open, sample, whole};
use super::{fresh, run, unlock};

/// What opening says about a file with these bytes, which must be the same afterwards. Nothing is left beside a file
/// that is no store.
fn said_about(bytes: &[u8]) -> Error {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    fs::write(&path, bytes).unwrap();
    let error = Records::open(&path).expect_err("this is no record store");
    assert_eq!(fs::read(&path).unwrap(), bytes, "touched, though: {error}");
    let files = folder.path().read_dir().unwrap().count();
    assert!(files == 1 || matches!(error, Error::Damaged { .. }), "left something beside, though: {error}");
    error
}

const PAGE: usize = open::PAGE_BYTES as usize;

/// The bytes of a closed store with a dozen sweeps.
fn stored() -> Vec<u8> {
    let (_folder, records) = fresh();
    let path = records.path().to_owned();
    for number in 0..12 {
        records.store(&sample::sweep("A-1", None, number, None), &sample::fixture()).unwrap();
    }
    drop(records);
    fs::read(path).unwrap()
}

#[test]
fn other_files_are_not_taken_for_a_store() {
    for bytes in [&b"format = 1\n[board]\n"[..], b"x", &[0; 4096], b"SQLite format 3", &[0xff; 100_000]] {
        let error = said_about(bytes);
        assert!(matches!(error, Error::NotAStore { .. }), "{error}");
    }
    let path = Path::new("/somewhere/board.toml").to_owned();
    assert_eq!(
        Error::NotAStore { path, reason: "it does not begin like one".into() }.to_string(),
        "/somewhere/board.toml is not a record store (it does not begin like one); it was left untouched; name \
         another file with --records PATH"
    );
}

#[test]
fn another_programs_database_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("photos.db");
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
    runtime.block_on(async {
        let options = SqliteConnectOptions::new().filename(&path).create_if_missing(true);
        let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
        pool.execute("CREATE TABLE photo (name TEXT)").await.unwrap();
        pool.close().await;
    });
    let error = said_about(&fs::read(path).unwrap());
    assert!(error.to_string().contains("it is the database of another program"), "{error}");
}

#[test]
fn an_empty_file_becomes_a_store() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    fs::write(&path, b"").unwrap();
    assert!(Records::open(&path).unwrap().units().unwrap().is_empty());
}

/// Cut between pages and inside them.
#[test]
fn a_truncated_store_is_damaged() {
    let whole = stored();
    for length in (100..whole.len()).step_by(3000).chain([whole.len() - PAGE, whole.len() - 1]) {
        let error = said_about(&whole[..length]);
        assert!(matches!(error, Error::Damaged { .. } | Error::NotAStore { .. }), "{length}: {error}");
    }
}

/// Each page in turn. A page may hold nothing that is asked for, but what comes back is right.
#[test]
fn an_overwritten_page_never_changes_an_answer() {
    let whole = stored();
    let right: Vec<_> = (0..12).map(|number| sample::sweep("A-1", None, number, None)).collect();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("records.sqlite");
    let mut errors = 0;
    for page in 0..whole.len() / PAGE {
        let mut bytes = whole.clone();
        bytes[page * PAGE..(page + 1) * PAGE].fill(0xa5);
        fs::write(&path, &bytes).unwrap();
        let answers = Records::open(&path)
            .and_then(|records| (1..=12).map(|id| records.sweep(SweepId(id))).collect::<Result<Vec<_>, _>>());
        match answers {
            Ok(sweeps) => assert!(sweeps == right, "page {page} changed an answer"),
            Err(Error::Damaged { .. } | Error::NotAStore { .. } | Error::UnknownSweep { .. }) => errors += 1,
            Err(other) => panic!("page {page}: {other}"),
        }
        for beside in ["-wal", "-shm"] {
            let _ = fs::remove_file(folder.path().join(format!("records.sqlite{beside}")));
        }
    }
    assert!(errors > 10, "only {errors} pages mattered");
}

/// These tests may run as root, whom no permission stops: a folder under a regular file stops everybody.
#[test]
fn a_place_that_cannot_be_written_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    fs::write(&file, "x").unwrap();
    for path in [file.join("records.sqlite"), file.join("deep").join("records.sqlite")] {
        let error = Records::open(&path).expect_err("not writable");
        assert!(matches!(error, Error::Unwritable { .. }), "{error}");
        assert!(error.to_string().starts_with(&format!("cannot write records at {}: ", path.display())));
    }
}

#[test]
fn folders_are_made_and_odd_names_are_files() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["a/b/c/records.sqlite", ":memory:", "file:x?mode=memory", "100 % ünïcode.sqlite"] {
        let path = folder.path().join(name);
        drop(Records::open(&path).unwrap());
        assert!(path.is_file(), "{name}");
    }
}

#[test]
fn a_newer_layout_is_not_touched() {
    let (_folder, records) = fresh();
    let path = records.path().to_owned();
    let later = "INSERT INTO _sqlx_migrations VALUES (9001, 'later', CURRENT_TIMESTAMP, TRUE, x'00', 0)";
    records.runtime.block_on(records.store.pool.execute(later)).unwrap();
    drop(records);
    let error = said_about(&fs::read(&path).unwrap());
    assert!(matches!(error, Error::Newer { found: 9001, known: 7, .. }), "{error}");
    assert!(error.to_string().ends_with(
        "have layout 9001, this program knows layouts up to 7: use the newer copperwalk that wrote them"
    ));
}

#[test]
fn raw_codes_in_another_layout_are_not_guessed_at() {
    let (_folder, records) = fresh();
    let id = records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    // As a later program would have written it: the word, and the hash over it.
    let later = Packed { format: "raw/v9".into(), runs: vec![0] };
    let mut head = records.runtime.block_on(async {
        let mut connection = records.store.pool.acquire().await.unwrap();
        head::numbered(&mut connection, &[id.0]).await.unwrap().remove(0).unwrap()
    });
    head.raw_hash = later.hash();
    unlock(&records);
    run(&records, "DELETE FROM raw; DELETE FROM measurement");
    records.runtime.block_on(async {
        let mut connection = records.store.pool.acquire().await.unwrap();
        head.write(&mut connection).await.unwrap();
    });
    run(&records, "INSERT INTO raw VALUES (1, 'raw/v9', x'00')");
    assert_eq!(
        records.sweep(id).unwrap_err().to_string(),
        format!(
            "the raw readings of sweep 1 in the records at {} cannot be read: they are in format \"raw/v9\", this program \
             reads up to \"raw/v2\": use the copperwalk that wrote them; its values and verdicts stand",
            records.path().display()
        )
    );
    assert_eq!(records.unit("A-1").unwrap().events.len(), 1);
}

/// A full disk, by SQLite's own limit on the size of the file.
#[test]
fn a_full_disk_loses_nothing_and_the_store_goes_on_afterwards() {
    let (_folder, records) = fresh();
    let path = records.path().to_owned();
    drop(records);
    let pages = fs::metadata(&path).unwrap().len() / PAGE as u64;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
    let limit = |pages: u64| SqliteConnectOptions::new().pragma("max_page_count", pages.to_string());
    let fixture = sample::fixture();
    let sweep = |number| sample::sweep("A-1", None, number, None);
    let stored: u32 = runtime.block_on(async {
        let store = Store::open_with(&path, limit(pages + 80)).await.unwrap();
        let mut stored = 0;
        let error = loop {
            match store.store(&sweep(stored), &fixture).await {
                Ok(_) => stored += 1,
                Err(error) => break error,
            }
            assert!(stored < 1000, "the limit does not work");
        };
        assert!(matches!(error, Error::Full { .. }), "{error}");
        assert!(error.to_string().contains("nothing was half-written and all earlier records are whole"));
        // Full a second time: the connection is not left in a broken transaction.
        assert!(matches!(store.store(&sweep(stored), &fixture).await, Err(Error::Full { .. })));
        assert_eq!(store.unit("A-1").await.unwrap().events.len() as u32, stored);
        store.close().await;
        stored
    });
    assert!(stored > 0);
    let records = Records::open(&path).unwrap();
    assert_eq!(records.sweep(SweepId(stored.into())).unwrap(), sweep(stored - 1));
    let next = records.store(&sweep(stored), &fixture).unwrap();
    assert_eq!(next, SweepId(i64::from(stored) + 1), "no number is lost either");
}

/// A column's type in bytes that are no text, where a definition is kept as it was typed. Whoever asked for the column
/// would wait for an answer for ever.
#[test]
fn a_column_type_that_is_no_text_is_refused_by_every_opening() {
    let (_folder, records) = fresh();
    let path = records.path().to_owned();
    records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    run(
        &records,
        "PRAGMA writable_schema = ON;
         UPDATE sqlite_schema SET sql = replace(sql, 'TEXT', CAST(x'54ff5854' AS TEXT)) WHERE name = 'measurement'",
    );
    drop(records);
    let bytes = fs::read(&path).unwrap();
    let error = said_about(&bytes);
    let words = "(the definition of measurement is not as this program made it); the file was left as it is";
    assert!(matches!(error, Error::Damaged { .. }) && error.to_string().contains(words), "{error}");
    let error = Records::open_to_read(&path).expect_err("its definitions are no text");
    assert!(error.to_string().contains(words), "{error}");
    let error =
        Records::restore(&path, &path.with_file_name("copy.sqlite")).expect_err("nor those of a copy");
    assert!(error.to_string().contains(words), "{error}");
    assert_eq!(fs::read(&path).unwrap(), bytes);
}

/// Altered, but still a text: nothing is written any more, and what was written can still be read and checked.
#[test]
fn a_definition_that_was_altered_stops_writing_and_is_named_by_a_check() {
    let (_folder, records) = fresh();
    let path = records.path().to_owned();
    let id = records.store(&sample::sweep("A-1", None, 1, None), &sample::fixture()).unwrap();
    run(&records, "CREATE INDEX by_hand ON measurement (lot)");
    drop(records);
    let words = "the definition of by_hand is not as this program made it";
    let error = Records::open(&path).expect_err("not to be written to");
    assert!(matches!(error, Error::Damaged { .. }) && error.to_string().contains(words), "{error}");
    let records = Records::open_to_read(&path).unwrap();
    assert_eq!(records.sweep(id).unwrap(), sample::sweep("A-1", None, 1, None));
    assert_eq!(records.check().unwrap().wrong, [words]);
}

#[test]
fn an_answer_that_never_comes_is_given_up_in_words() {
    let (_folder, records) = fresh();
    let error = records
        .ask(Duration::from_millis(20), std::future::pending::<Result<(), Error>>())
        .expect_err("nothing ever comes");
    assert_eq!(
        error.to_string(),
        format!(
            "the records at {} gave no answer in 0 s, and waiting was given up; what was being written is there whole \
             or not at all: see with `copperwalk unit SN` which, then do it again; if it stops again, \
             `copperwalk records check`, and bring back the latest copy where that stops too",
            records.path().display()
        )
    );
    // Nor does going away wait for it.
    let began = Instant::now();
    drop(records);
    assert!(began.elapsed() < Duration::from_secs(10));
    // One that does come in time is handed on.
    let (_folder, records) = fresh();
    assert_eq!(records.ask(Duration::from_secs(60), async { Ok(7) }).unwrap(), 7);
}

#[test]
fn a_file_that_is_walked_as_a_whole_is_given_a_second_for_every_mebibyte() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("long");
    for (bytes, seconds) in [((1 << 20) - 1, 120), (1 << 20, 121), (3 << 20, 123)] {
        fs::File::create(&path).unwrap().set_len(bytes).unwrap();
        assert_eq!(whole(&path).as_secs(), seconds, "{bytes}");
    }
}
