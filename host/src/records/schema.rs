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

    /// A store of an edited layout would be taken for a damaged one. Until the first release whoever edits a file gives stores a new
    /// `application_id` and the old one to `TRIAL_IDS`; after it a file is never edited (`migrations/README.md`).
    #[test]
    fn no_file_is_edited_under_the_same_application_id() {
        let made = FILES.map(|(.., text)| crate::hash::of(text));
        let of_this_id = [
            "0291a6b67c7341ebce3d6fb30feb34f337a9aa9ef5784f1b9f8bd20eeb6ef3ba",
            "979bd7ebdffaf0e8b2fa05c31beac7d31ce6404b656b30d5bda4258fd035fad6",
            "24cf4154a5464fde0a3ee334bf6646507759c83848d70c4d553ecc5e84940c90",
            "a5a858b26af90b3ad3edb4a9c84e43d8257860f0e3b218dad81b479713283d10",
            "f50286246268f18f0e22c8be66f17fc37a32137fcef3912fc3e72f533199c104",
            "03c7a7c1384a08866138bfb8e5d2bc5f558202aec18faeab71e0a3694aaf9352",
            "b183b1fbb960b538f914e0de9cf450881279665986a27e017816a8ed751d5c33",
        ];
        assert_eq!(made, of_this_id);
    }
}
