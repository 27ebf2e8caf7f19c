//! Reads an export into a new record.

use super::{EVENTS, FILES, LIST, LONGEST, SUMS, file};
use crate::beside::{self, Beside};
use crate::bulk;
use crate::error::StoreError;
use crate::outside::Outside;
use crate::place::Place;
use crate::store::Store;
use notebook::payload::Payload;
use notebook::{Event, Hash, canonical};
use std::collections::{HashMap, HashSet};
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

/// What becomes of an export that does not hold together.
const NOT_IMPORTED: &str = "nothing was imported; take another copy of the export";

fn altered(from: &Path, found: String) -> StoreError {
    StoreError::Altered {
        place: from.display().to_string(),
        found,
        so: NOT_IMPORTED,
    }
}

/// A file of an export with the hash that `SHA256SUMS` gives it.
struct Sum {
    hash: Hash,
    name: String,
}

impl Source {
    fn open(from: &Path) -> Result<Self, StoreError> {
        if from.is_dir() {
            return Ok(Self::Folder(from.to_path_buf()));
        }
        let opened = std::fs::File::open(from).map_err(|e| file(from, &e))?;
        let archive = zip::ZipArchive::new(opened).map_err(|error| match error {
            zip::result::ZipError::Io(error) => file(from, &error),
            _ => StoreError::File {
                place: from.display().to_string(),
                reason: "this is neither the folder of an export nor a whole zip file of one"
                    .into(),
            },
        })?;
        Ok(Self::Zip(Box::new(archive)))
    }

    /// Reads a file of the export; none if it is not there.
    fn read<T>(
        &mut self,
        from: &Path,
        name: &str,
        read: impl FnOnce(&mut dyn Read) -> std::io::Result<T>,
    ) -> Result<Option<T>, StoreError> {
        let unread = |error: &dyn std::fmt::Display| {
            altered(from, format!("{name} cannot be read: {error}"))
        };
        match self {
            Self::Folder(folder) => {
                let path = folder.join(name);
                match std::fs::File::open(&path) {
                    Ok(mut opened) => read(&mut opened).map(Some).map_err(|e| file(&path, &e)),
                    Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
                    Err(error) => Err(file(&path, &error)),
                }
            }
            Self::Zip(archive) => match archive.by_name(name) {
                Ok(mut inside) => read(&mut inside).map(Some).map_err(|e| unread(&e)),
                Err(zip::result::ZipError::FileNotFound) => Ok(None),
                Err(error) => Err(unread(&error)),
            },
        }
    }

    /// What `SHA256SUMS` lists, each file of it there and with its hash.
    fn sums(&mut self, from: &Path) -> Result<Vec<Sum>, StoreError> {
        let altered = |found: String| Err(altered(from, found));
        let text = self.read(from, SUMS, |inside| {
            let mut text = String::new();
            inside.take(MOST_ATTACHED).read_to_string(&mut text)?;
            Ok(text)
        })?;
        let Some(text) = text else {
            return altered(format!(
                "{SUMS} is missing, which lists its files: it is no export, or not a whole one"
            ));
        };
        let mut sums = Vec::new();
        for (number, line) in (1..).zip(text.lines()) {
            let sum = line.split_once("  ").and_then(|(hash, name)| {
                let inside = Path::new(name)
                    .components()
                    .all(|part| matches!(part, std::path::Component::Normal(_)));
                let hash = hash.parse().ok().filter(|_| inside)?;
                Some(Sum {
                    hash,
                    name: name.into(),
                })
            });
            match sum {
                Some(sum) => sums.push(sum),
                None => {
                    return altered(format!(
                        "line {number} of {SUMS} names no file with its hash"
                    ));
                }
            }
        }
        for needed in [EVENTS, LIST] {
            if !sums.iter().any(|sum| sum.name == needed) {
                return altered(format!("{SUMS} does not list {needed}"));
            }
        }
        for Sum { hash, name } in &sums {
            match self.read(from, name, hashed)? {
                Some(found) if found == *hash => {}
                Some(_) => {
                    return altered(format!(
                        "{name} was altered or cut short: its hash is not the one in {SUMS}"
                    ));
                }
                None => return altered(format!("{name} is missing, which {SUMS} lists")),
            }
        }
        Ok(sums)
    }

    /// The events; those of a zip file are unpacked beside the place of the new record first, since a zip file is read
    /// from its end.
    fn events(&mut self, from: &Path, place: &Place) -> Result<std::fs::File, StoreError> {
        match self {
            Self::Folder(folder) => {
                let path = folder.join(EVENTS);
                std::fs::File::open(&path).map_err(|e| file(&path, &e))
            }
            Self::Zip(_) => {
                let (mut unpacked, path) = tempfile(place)?;
                self.read(from, EVENTS, |inside| {
                    std::io::copy(&mut inside.take(MOST), &mut unpacked)
                })?;
                std::io::Seek::rewind(&mut unpacked).map_err(|e| file(&path, &e))?;
                Ok(unpacked)
            }
        }
    }

    fn file(&mut self, from: &Path, name: &str, hash: Hash) -> Result<Vec<u8>, StoreError> {
        let bytes = self.read(from, name, |inside| {
            let mut bytes = Vec::new();
            inside.take(MOST_ATTACHED + 1).read_to_end(&mut bytes)?;
            Ok(bytes)
        })?;
        match bytes {
            Some(bytes) if Hash::of(&bytes) == hash => Ok(bytes),
            _ => Err(altered(
                from,
                format!("the attached file {name} was altered"),
            )),
        }
    }

    /// Hashes of the attached files of which the list says that they were not in the record that was exported.
    fn not_here(&mut self, from: &Path) -> Result<HashSet<Hash>, StoreError> {
        let hashes = self.read(from, LIST, |inside| {
            let lines = std::io::BufRead::lines(std::io::BufReader::new(inside));
            let mut hashes = HashSet::new();
            for line in lines {
                let line = line?;
                let hash = line
                    .split(',')
                    .next()
                    .and_then(|hash| hash.parse::<Hash>().ok());
                hashes.extend(hash.filter(|_| line.ends_with(",no")));
            }
            Ok(hashes)
        })?;
        Ok(hashes.unwrap_or_default())
    }
}

/// The hash of all that can be read.
fn hashed(inside: &mut dyn Read) -> std::io::Result<Hash> {
    let mut hash = sha2::Sha256::default();
    std::io::copy(inside, &mut Hashing(&mut hash))?;
    let digest: [u8; 32] = sha2::Digest::finalize(hash).into();
    let text: String = digest.iter().map(|b| format!("{b:02x}")).collect();
    text.parse()
        .map_err(|_| std::io::ErrorKind::InvalidData.into())
}

struct Hashing<'a>(&'a mut sha2::Sha256);

impl std::io::Write for Hashing<'_> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        sha2::Digest::update(self.0, bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Reads an export, a folder or a zip file, into a new record. Every file of it is compared with its hash, every event is
/// read, hashed and compared; the new record has the same hashes.
///
/// # Errors
/// [`StoreError::Altered`] naming the file, [`StoreError::Unsound`] naming the first line that does not hold;
/// [`StoreError::Exists`]. Nothing is left then.
pub async fn import(
    from: &Path,
    place: &str,
    outside: Arc<dyn Outside>,
) -> Result<Store, StoreError> {
    if let Place::File(path) = Place::of(place)? {
        beside::free(&path)?;
        beside::folder_of(&path)?;
    }
    let mut source = Source::open(from)?;
    let sums = source.sums(from)?;
    let mut lines = source.events(from, &Place::of(place)?)?;
    let store = Store::create(place, Arc::clone(&outside)).await?;
    let read = match fill(&store, &mut lines).await {
        Ok(named) => keep_files(&store, &mut source, from, &sums, named).await,
        Err(error) => Err(error),
    };
    match read {
        Ok(()) => Ok(store),
        Err(error) => {
            store.discard().await;
            Err(error)
        }
    }
}

/// Keeps the attached files that the export holds, which are those that its events name.
async fn keep_files(
    store: &Store,
    source: &mut Source,
    from: &Path,
    sums: &[Sum],
    mut named: HashMap<Hash, u64>,
) -> Result<(), StoreError> {
    for Sum { name, .. } in sums {
        let hash = name
            .strip_prefix(FILES)
            .and_then(|name| name.strip_prefix('/'))
            // An ending says what it is.
            .map(|name| name.split_once('.').map_or(name, |(hash, _)| hash));
        if let Some(hash) = hash.and_then(|hash| hash.parse().ok()) {
            store.keep_file(source.file(from, name, hash)?).await?;
            named.remove(&hash);
        }
    }
    let not_here = source.not_here(from)?;
    named.retain(|hash, _| !not_here.contains(hash));
    match named.iter().min_by_key(|(_, number)| **number) {
        None => Ok(()),
        Some((hash, number)) => Err(altered(
            from,
            format!("the file {FILES}/{hash} is missing, which event {number} attaches"),
        )),
    }
}

/// A file without a name, beside the place of the new record; and the name it had.
fn tempfile(place: &Place) -> Result<(std::fs::File, PathBuf), StoreError> {
    let beside = Beside::file(&match place {
        Place::File(path) => path.clone(),
        Place::Server(_) => std::env::temp_dir().join("halfdrop-import"),
    })?;
    let path = beside.path().to_path_buf();
    // It lives as long as it is open.
    let made = std::fs::OpenOptions::new()
        .read(true)
        .write(true)
        .open(&path);
    Ok((made.map_err(|e| file(&path, &e))?, path))
}

/// Gives the hashes of the files that the events attach, with the number of the first event that does.
async fn fill(
    store: &Store,
    lines: &mut (dyn Read + Send),
) -> Result<HashMap<Hash, u64>, StoreError> {
    let mut reader = std::io::BufReader::new(lines);
    let mut previous = Hash::ZERO;
    let mut number = 0_u64;
    let mut line = String::new();
    let mut named = HashMap::new();
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
        if let Payload::FileAttached(file) = &event.payload
            && let Ok(hash) = file.sha256.parse()
        {
            named.entry(hash).or_insert(number);
        }
        Ok(Some((event, body)))
    })
    .await?;
    if number == 0 {
        return Err(StoreError::Unsound(format!("{EVENTS} holds no event")));
    }
    Ok(named)
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
