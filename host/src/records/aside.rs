//! Sweeps that could not be stored because the store was locked: each in a small store of its own beside it, with the
//! same tables and digests, taken in when the store is next opened for writing.

use std::path::{Path, PathBuf};

use sqlx::sqlite::SqliteConnectOptions;

use super::judgement::{self, Judged, Which};
use super::stored::{self, Of};
use super::write::{File, Parcel, put as put_into};
use super::{Error, Store, open};
use crate::hash;

/// Between the store's name and what tells its files apart.
const ASIDE: &str = ".aside-";
/// Bytes of the raw codes' hash in a name: enough to tell the sweeps of one microsecond and one program apart.
const HASH_BYTES: usize = 4;
/// Ends the name of a file that is whole.
const WHOLE: &str = ".sweep";

/// Puts a sweep into a new file beside the store at `path`.
pub(super) async fn put(path: &Path, parcel: &Parcel) -> Result<PathBuf, Error> {
    let hash = hash::hex(parcel.head.raw_hash.get(..HASH_BYTES).unwrap_or_default());
    let name = format!("{ASIDE}{}-{}-{hash}", parcel.head.started_us, std::process::id());
    let (part, whole) =
        (open::beside(path, &format!("{name}.part")), open::beside(path, &format!("{name}{WHOLE}")));
    let store = Store::open_alone(&part, SqliteConnectOptions::new()).await?;
    let written = async {
        let mut connection = store.writing().await?;
        put_into(&mut connection, parcel, None).await.map_err(|error| store.said(&error))
    };
    let written = written.await;
    store.close().await;
    // Only a whole file gets the name that is looked for.
    let renamed = written.and_then(|_| {
        let waiting = open::beside(&part, "-wal");
        if open::is_filled(&waiting) {
            return Err(Error::Waiting { path: part.clone() });
        }
        std::fs::rename(&part, &whole)
            .map_err(|error| Error::Unwritable { path: whole.clone(), reason: error.to_string() })
    });
    if renamed.is_err() {
        let _ = std::fs::remove_file(&part);
    }
    renamed.map(|()| whole)
}

/// Takes in what lies beside a store that was just opened for writing, and says what became of each file.
pub(super) async fn take_in(store: &Store) -> Vec<String> {
    let mut news = Vec::new();
    for file in lying_beside(&store.path) {
        let shown = file.display();
        match take(store, &file).await {
            Ok(taken) => {
                news.extend(taken);
                // Of two programs that open the store, one takes it in and both remove it.
                if let Err(error) = std::fs::remove_file(&file)
                    && error.kind() != std::io::ErrorKind::NotFound
                {
                    news.push(format!("{shown} has been taken in but cannot be removed: {error}"));
                }
            }
            Err(Error::Missing { .. }) => {}
            Err(error) => {
                news.push(format!("{shown} cannot be taken in and was left where it is: {error}"));
                // The next one would wait as long for the same lock.
                if matches!(error, Error::Busy { .. }) {
                    break;
                }
            }
        }
    }
    news
}

impl Store {
    /// Takes in what lies beside the store, as opening it for writing does, and says what became of each file.
    pub async fn take_in(&self) -> Vec<String> {
        take_in(self).await
    }

    /// The files beside the store with finished sweeps of a unit that have not been taken in yet. A file that cannot be
    /// read is left out: the next opening for writing says what is wrong with it.
    pub async fn aside(&self, serial: &str) -> Vec<PathBuf> {
        let mut found = Vec::new();
        for file in lying_beside(&self.path) {
            if self.has_taken_in(&file).await {
                continue;
            }
            let Ok(small) = Store::open_still(&file).await else { continue };
            if small.serials().await.is_ok_and(|serials| serials.iter().any(|known| known == serial)) {
                found.push(file);
            }
            small.close().await;
        }
        found
    }

    /// Is the first sweep of a file here already? A file that cannot be removed may lie there for ever.
    async fn has_taken_in(&self, file: &Path) -> bool {
        let query = sqlx::query_scalar::<_, i64>("SELECT count(*) FROM taken_in WHERE file = $1");
        query.bind(numbered(file, 0)).fetch_one(&self.pool).await.is_ok_and(|count| count > 0)
    }
}

/// What a sweep of a file is noted under once it is taken in.
fn numbered(file: &Path, number: usize) -> String {
    format!("{}#{number}", file.file_name().unwrap_or_default().to_string_lossy())
}

fn lying_beside(path: &Path) -> Vec<PathBuf> {
    let (Some(folder), Some(name)) = (path.parent(), path.file_name().and_then(|name| name.to_str())) else {
        return Vec::new();
    };
    let begins = format!("{name}{ASIDE}");
    let Ok(files) = folder.read_dir() else { return Vec::new() };
    let mut files: Vec<PathBuf> = files
        .flatten()
        .filter(|file| {
            file.file_name().to_str().is_some_and(|name| name.starts_with(&begins) && name.ends_with(WHOLE))
        })
        .map(|file| file.path())
        .collect();
    files.sort();
    files
}

/// Takes the sweeps of one file in, each once.
async fn take(store: &Store, file: &Path) -> Result<Vec<String>, Error> {
    // A whole file is never changed again; of several programs that read it, one may remove it meanwhile.
    let small = Store::open_still(file).await?;
    let parcels = parcels(&small).await;
    small.close().await;
    let mut news = Vec::new();
    for (number, parcel) in parcels?.iter().enumerate() {
        let mut connection = store.writing().await?;
        match put_into(&mut connection, parcel, Some(&numbered(file, number))).await {
            Ok(Some(id)) => news.push(format!(
                "a sweep of unit {:?} that had been put aside while the records were locked is now sweep {id}",
                parcel.head.serial
            )),
            Ok(None) => {}
            Err(error) => return Err(store.after_failed_write(connection, &error).await),
        }
    }
    Ok(news)
}

/// Everything in a small store, checked against its digests.
async fn parcels(small: &Store) -> Result<Vec<Parcel>, Error> {
    let mut parcels = Vec::new();
    for id in small.numbers(Of::All).await? {
        let mut connection = small.reading().await?;
        let [head] = small.heads(&mut connection, [id]).await?;
        let head = head?;
        let files = small.texts(&mut connection, &head.basis).await?;
        let proof = small.named_proof(&mut connection, head.proof.as_deref()).await?;
        let read = async {
            let packed = stored::packed(&mut connection, &[id.0]).await?.remove(&id.0);
            let judged = judgement::read(&mut connection, &[id.0], Which::All).await?.remove(&id.0);
            Ok((packed, judged.unwrap_or_default()))
        };
        let (packed, judged) = read.await.map_err(|error| small.said(&error))?;
        let altered = || Error::Altered { path: small.path.clone(), what: format!("sweep {id}") };
        let packed = packed.filter(|packed| packed.hash() == head.raw_hash).ok_or_else(altered)?;
        let judgements = judged
            .into_iter()
            .map(|judged| match judged {
                Ok(Judged { made_us, judgement, .. }) => Ok((made_us, judgement)),
                Err(altered) => Err(altered.error(&small.path)),
            })
            .collect::<Result<Vec<_>, _>>()?;
        let basis = &head.basis;
        let board = File {
            hash: basis.board_hash.clone(),
            name: basis.board.clone(),
            revision: Some(basis.revision.clone()),
            source: files.board,
        };
        let fixture = basis.bed.as_ref().zip(files.fixture).map(|(bed, source)| File {
            hash: bed.fixture_hash.clone(),
            name: bed.fixture.clone(),
            revision: None,
            source,
        });
        parcels.push(Parcel { head, packed, judgements, board, fixture, proof });
    }
    Ok(parcels)
}
