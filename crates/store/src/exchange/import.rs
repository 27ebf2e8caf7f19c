//! Reads an export into a new record.

use super::{EVENTS, FILES, LONGEST, file};
use crate::bulk;
use crate::error::StoreError;
use crate::outside::Outside;
use crate::store::Store;
use notebook::{Event, Hash, canonical};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Largest file of events that is read, in bytes.
const MOST: u64 = 64 * 1024 * 1024 * 1024;
/// Largest attached file that is read, in bytes.
const MOST_ATTACHED: u64 = 64 * 1024 * 1024;

/// An export that is read: a folder, or a zip file.
enum Source {
    Folder(PathBuf),
    Zip(Box<zip::ZipArchive<std::fs::File>>),
}

impl Source {
    fn open(from: &Path) -> Result<Self, StoreError> {
        if from.is_dir() {
            return Ok(Self::Folder(from.to_path_buf()));
        }
        let opened = std::fs::File::open(from).map_err(|e| file(from, &e))?;
        let archive = zip::ZipArchive::new(opened).map_err(|e| file(from, &e))?;
        Ok(Self::Zip(Box::new(archive)))
    }

    /// The events; those of a zip file are unpacked beside the place of the new record first, since a zip file is read
    /// from its end.
    fn events(&mut self, from: &Path, place: &str) -> Result<std::fs::File, StoreError> {
        match self {
            Self::Folder(folder) => {
                let path = folder.join(EVENTS);
                std::fs::File::open(&path).map_err(|e| file(&path, &e))
            }
            Self::Zip(archive) => {
                let mut unpacked = tempfile(place)?;
                let inside = archive.by_name(EVENTS).map_err(|e| file(from, &e))?;
                std::io::copy(&mut inside.take(MOST), &mut unpacked).map_err(|e| file(from, &e))?;
                std::io::Seek::rewind(&mut unpacked).map_err(|e| file(from, &e))?;
                Ok(unpacked)
            }
        }
    }

    /// The hashes that attached files are named by.
    fn attached(&self) -> Vec<Hash> {
        let names: Vec<String> = match self {
            Self::Folder(folder) => std::fs::read_dir(folder.join(FILES))
                .into_iter()
                .flatten()
                .filter_map(|entry| entry.ok()?.file_name().into_string().ok())
                .collect(),
            Self::Zip(archive) => archive
                .file_names()
                .filter_map(|name| {
                    let inner = name
                        .ok()?
                        .strip_prefix(FILES)?
                        .strip_prefix('/')?
                        .to_string();
                    Some(inner)
                })
                .collect(),
        };
        names.iter().filter_map(|name| name.parse().ok()).collect()
    }

    fn file(&mut self, from: &Path, hash: Hash) -> Result<Vec<u8>, StoreError> {
        let name = format!("{FILES}/{hash}");
        let mut bytes = Vec::new();
        match self {
            Self::Folder(folder) => {
                let path = folder.join(&name);
                let opened = std::fs::File::open(&path).map_err(|e| file(&path, &e))?;
                opened.take(MOST_ATTACHED + 1).read_to_end(&mut bytes)
            }
            Self::Zip(archive) => {
                let inside = archive.by_name(&name).map_err(|e| file(from, &e))?;
                inside.take(MOST_ATTACHED + 1).read_to_end(&mut bytes)
            }
        }
        .map_err(|e| file(from, &e))?;
        if Hash::of(&bytes) != hash {
            return Err(StoreError::Unsound(format!(
                "the attached file {hash} was altered"
            )));
        }
        Ok(bytes)
    }
}

/// Reads an export, a folder or a zip file, into a new record. Every event is read, hashed and compared; the new record
/// has the same hashes.
///
/// # Errors
/// [`StoreError::Unsound`] naming the first line that does not hold; [`StoreError::Exists`]. Nothing is left then.
pub async fn import(
    from: &Path,
    place: &str,
    outside: Arc<dyn Outside>,
) -> Result<Store, StoreError> {
    let mut source = Source::open(from)?;
    let mut lines = source.events(from, place)?;
    let store = Store::create(place, Arc::clone(&outside)).await?;
    let read = match fill(&store, &mut lines).await {
        Ok(()) => keep_files(&store, &mut source, from).await,
        failed => failed,
    };
    if let Err(error) = read {
        store.close().await;
        if store.place().is_file() {
            for end in ["", "-wal", "-shm"] {
                let _ = std::fs::remove_file(format!("{place}{end}"));
            }
        }
        return Err(error);
    }
    Ok(store)
}

/// Keeps the attached files that the export holds.
async fn keep_files(store: &Store, source: &mut Source, from: &Path) -> Result<(), StoreError> {
    for hash in source.attached() {
        store.keep_file(source.file(from, hash)?).await?;
    }
    Ok(())
}

/// A file without a name, beside the place of the new record.
fn tempfile(place: &str) -> Result<std::fs::File, StoreError> {
    let path = match crate::place::Place::of(place) {
        crate::place::Place::File(path) => path.with_extension("unpacked"),
        crate::place::Place::Server(_) => {
            std::env::temp_dir().join(format!("halfdrop-import-{}", std::process::id()))
        }
    };
    let made = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .create_new(true)
        .open(&path)
        .map_err(|e| file(&path, &e))?;
    // It lives as long as it is open.
    std::fs::remove_file(&path).map_err(|e| file(&path, &e))?;
    Ok(made)
}

async fn fill(store: &Store, lines: &mut (dyn Read + Send)) -> Result<(), StoreError> {
    let mut reader = std::io::BufReader::new(lines);
    let mut previous = Hash::ZERO;
    let mut number = 0_u64;
    let mut line = String::new();
    bulk::fill(store, || {
        line.clear();
        let mut limited = std::io::Read::take(&mut reader, LONGEST as u64 + 1);
        let length = std::io::BufRead::read_line(&mut limited, &mut line)
            .map_err(|e| StoreError::Unsound(format!("line {} cannot be read: {e}", number + 1)))?;
        if length == 0 {
            return Ok(None);
        }
        number += 1;
        let (event, body) = import_line(line.trim_end(), number, previous)?;
        previous = Hash::of(body.as_bytes());
        Ok(Some((event, body)))
    })
    .await
}

/// The event of a line of `events.jsonl` and its body, if it is as it was written, has this number, and follows on the
/// event with this hash.
///
/// # Errors
/// [`StoreError::Unsound`] naming the line and what is wrong.
pub fn import_line(line: &str, number: u64, previous: Hash) -> Result<(Event, String), StoreError> {
    let unsound = |what: String| StoreError::Unsound(format!("line {number}: {what}"));
    if line.len() > LONGEST {
        return Err(unsound("too long for an event".into()));
    }
    let mut value: serde_json::Value =
        serde_json::from_str(line).map_err(|e| unsound(format!("not JSON: {e}")))?;
    let hash = value
        .as_object_mut()
        .and_then(|members| members.remove("hash"))
        .and_then(|hash| hash.as_str().map(str::to_string))
        .ok_or_else(|| unsound("the hash is missing".into()))?;
    let body = canonical(&value);
    if Hash::of(body.as_bytes()).to_string() != hash {
        return Err(unsound("its content or its hash was altered".into()));
    }
    let event = Event::read(&body).map_err(|e| unsound(e.to_string()))?;
    if event.number != number || event.previous != previous {
        return Err(unsound(
            "it does not follow on the line before: a line was taken out, put in or moved".into(),
        ));
    }
    Ok((event, body))
}
