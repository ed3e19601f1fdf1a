//! The schema of a store, compiled in: the files of `migrations/sqlite`.

use std::sync::LazyLock;

use sqlx::SqlSafeStr as _;
use sqlx::migrate::{Migration, MigrationType, Migrator};

/// One of them, by the number and the name that its file has.
macro_rules! file {
    ($number:literal, $name:literal) => {
        ($number, $name, include_str!(concat!("../../migrations/sqlite/", $number, "_", $name, ".sql")))
    };
}

/// Number, name and text. Listed here rather than by sqlx's own macro, which builds SQLite and a runtime a second time for the
/// compiler alone.
const FILES: [(&str, &str, &str); 7] = [
    file!("0001", "basis"),
    file!("0002", "measurement"),
    file!("0003", "judgement"),
    file!("0004", "logbook"),
    file!("0005", "append_only"),
    file!("0006", "start"),
    file!("0007", "trade"),
];

/// The migrations that make a store, in the order of their numbers from 1.
pub(super) static SCHEMA: LazyLock<Migrator> = LazyLock::new(|| {
    let migration = |(number, (_, name, text)): (i64, &(&str, &str, &'static str))| {
        Migration::new(
            number,
            name.replace('_', " ").into(),
            MigrationType::Simple,
            text.into_sql_str(),
            false,
        )
    };
    Migrator::with_migrations((1..).zip(&FILES).map(migration).collect())
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_of_the_folder_is_listed_by_its_number() {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/migrations/sqlite");
        let mut there: Vec<String> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        there.sort();
        let listed: Vec<String> =
            FILES.iter().map(|(number, name, _)| format!("{number}_{name}.sql")).collect();
        assert_eq!(there, listed);
        let numbers: Vec<i64> = SCHEMA.iter().map(|migration| migration.version).collect();
        let written: Vec<i64> = FILES.iter().map(|(number, ..)| number.parse().unwrap()).collect();
        assert_eq!(numbers, written);
    }
}
