//! The store on real files.

mod answers;
mod broken;
mod crash;
mod locks;
mod whole;

use tempfile::TempDir;

use super::Records;

/// A new store in a folder that goes away with it.
fn fresh() -> (TempDir, Records) {
    let folder = tempfile::tempdir().unwrap();
    let records = Records::open(&folder.path().join("records.sqlite")).unwrap();
    (folder, records)
}
