//! An export that a person can read without this program, and its way back with equal hashes.

use crate::error::StoreError;
use crate::list::{Cursor, Filter};
use crate::outside::Outside;
use crate::project::int;
use crate::read;
use crate::store::Store;
use crate::writer;
use notebook::{Event, Hash, Kind, Node, canonical};
use std::fmt::Write as _;
use std::io::{Read, Write};
use std::path::Path;
use std::sync::Arc;

/// Events read or written at a time.
const AT_A_TIME: i64 = 5_000;
/// Largest file of an export that is read, in bytes.
const MOST: u64 = 64 * 1024 * 1024 * 1024;
/// Longest line of the events.
const LONGEST: usize = 2 * notebook::event::MAX_BODY;

const README: &str = "\
A record of titrations
======================

events.jsonl    Everything that happened, one event a line, in order, as JSON. Nothing was ever changed or deleted: a
                correction is an event that names what stood there before, who changed it, when and why.
*.csv           Lists made from the events: what there is (one file a kind), results, and threads (what rests on what).
                Commas between fields, quotes around text, decimal points.
SHA256SUMS      Hashes of these files: `sha256sum -c SHA256SUMS` checks them.

How the events hold together: take a line of events.jsonl, remove the member \"hash\" and write the rest as RFC 8785
says (members sorted, no white space). SHA-256 of that text is the hash. The member \"previous\" is the hash of the line
before (64 zeros in the first). So the hash of the last line proves all lines.

Members of an event: number, id (UUID), at (local time with its offset from UTC), who, device, cause (key of the command,
or number of the event it follows from), stream (what it happened to), stream_version (how many events that has), kind
and version (of the payload's form), payload. Readings are text, as they were written: their decimals count.
";

/// Where the files of an export go.
enum Target {
    Folder(std::path::PathBuf),
    Zip(Box<zip::ZipWriter<std::fs::File>>),
}

/// One file of an export while it is written: hashed on the way.
struct Sink<'a> {
    to: Box<dyn Write + 'a>,
    hash: sha2::Sha256,
}

impl Write for Sink<'_> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        let written = self.to.write(bytes)?;
        sha2::Digest::update(&mut self.hash, &bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> std::io::Result<()> {
        self.to.flush()
    }
}

fn file(path: &Path, error: &impl std::fmt::Display) -> StoreError {
    StoreError::File {
        place: path.display().to_string(),
        reason: error.to_string(),
    }
}

impl Target {
    fn begin(&mut self, name: &str) -> Result<Sink<'_>, StoreError> {
        let to: Box<dyn Write + '_> = match self {
            Self::Folder(folder) => {
                let path = folder.join(name);
                let made = std::fs::File::create_new(&path).map_err(|e| file(&path, &e))?;
                Box::new(std::io::BufWriter::new(made))
            }
            Self::Zip(zip) => {
                let options = zip::write::SimpleFileOptions::default().large_file(true);
                zip.start_file(name, options)
                    .map_err(|e| file(Path::new(name), &e))?;
                Box::new(zip)
            }
        };
        Ok(Sink {
            to,
            hash: sha2::Digest::new(),
        })
    }
}

impl Sink<'_> {
    /// Ends the file; gives its hash.
    fn end(mut self, name: &str) -> Result<String, StoreError> {
        self.flush().map_err(|e| file(Path::new(name), &e))?;
        let digest: [u8; 32] = sha2::Digest::finalize(self.hash).into();
        Ok(digest.iter().map(|b| format!("{b:02x}")).collect())
    }
}

impl Store {
    /// Writes everything into a folder, or a file that ends in `.zip`, where there is nothing yet. Gives the number of
    /// events.
    ///
    /// # Errors
    /// [`StoreError::Exists`], [`StoreError::File`].
    pub async fn export(&self, to: &Path) -> Result<u64, StoreError> {
        if to.exists() {
            return Err(StoreError::Exists(to.display().to_string()));
        }
        let zipped = to
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
        let mut target = if zipped {
            let made = std::fs::File::create_new(to).map_err(|e| file(to, &e))?;
            Target::Zip(Box::new(zip::ZipWriter::new(made)))
        } else {
            std::fs::create_dir_all(to).map_err(|e| file(to, &e))?;
            Target::Folder(to.to_path_buf())
        };
        let mut sums = String::new();
        let mut note = |name: &str, hash: String| {
            // Writing to a string does not fail.
            let _ = writeln!(sums, "{hash}  {name}");
        };
        let failed = |e: std::io::Error| file(to, &e);
        let mut sink = target.begin("README.txt")?;
        sink.write_all(README.as_bytes()).map_err(failed)?;
        note("README.txt", sink.end("README.txt")?);
        // What is written while this runs comes into the next export.
        let (last, _) = self.end().await?;
        let mut sink = target.begin("events.jsonl")?;
        let mut after = 0;
        while after < int(last) {
            let mut db = self.pool().acquire().await?;
            let until = (after + AT_A_TIME).min(int(last));
            for (_, body) in read::bodies(&mut db, after, until).await? {
                let hash = Hash::of(body.as_bytes());
                let open = body.strip_suffix('}').unwrap_or(&body);
                writeln!(sink, "{open},\"hash\":\"{hash}\"}}").map_err(failed)?;
            }
            after = until;
        }
        note("events.jsonl", sink.end("events.jsonl")?);
        for kind in Kind::ALL {
            if matches!(kind, Kind::Record | Kind::Access) {
                continue;
            }
            let name = format!("{kind}.csv");
            let mut sink = target.begin(&name)?;
            self.things(*kind, &mut sink).await?;
            note(&name, sink.end(&name)?);
        }
        for (name, sql) in [
            (
                "results.csv",
                "SELECT determination, of_what, name, unit, CAST(value AS TEXT), CAST(standard_uncertainty AS TEXT),
                 CAST(expanded_uncertainty AS TEXT), CAST(coverage_factor AS TEXT) FROM result ORDER BY determination, place",
            ),
            (
                "threads.csv",
                "SELECT what, how, on_what FROM edge ORDER BY what, how, on_what",
            ),
        ] {
            let head: &[&str] = if name == "results.csv" {
                &["determination", "of", "name", "unit", "value", "standard_uncertainty", "expanded_uncertainty", "coverage_factor"]
            } else {
                &["what", "how", "on"]
            };
            let mut sink = target.begin(name)?;
            writeln!(sink, "{}", head.join(",")).map_err(failed)?;
            let mut rows = sqlx::query(sql).fetch(self.pool());
            while let Some(row) = futures_util::TryStreamExt::try_next(&mut rows).await? {
                let mut fields = Vec::with_capacity(head.len());
                for at in 0..head.len() {
                    let text: String = sqlx::Row::try_get(&row, at)?;
                    fields.push(field(&text));
                }
                writeln!(sink, "{}", fields.join(",")).map_err(failed)?;
            }
            note(name, sink.end(name)?);
        }
        let mut sink = target.begin("SHA256SUMS")?;
        sink.write_all(sums.as_bytes()).map_err(failed)?;
        sink.end("SHA256SUMS")?;
        if let Target::Zip(zip) = target {
            zip.finish().map_err(|e| file(to, &e))?;
        }
        Ok(last)
    }

    async fn things(&self, kind: Kind, sink: &mut Sink<'_>) -> Result<(), StoreError> {
        let failed = |e: std::io::Error| file(Path::new(kind.word()), &e);
        writeln!(sink, "name,title,status,who,since,use_before,result,usable").map_err(failed)?;
        let mut after: Option<Cursor> = None;
        loop {
            let filter = Filter {
                kind: Some(kind),
                limit: Some(200),
                after,
                ..Filter::default()
            };
            let page = self.list(&filter).await?;
            for thing in &page.things {
                let day = thing.use_before.map(|d| d.to_string());
                let usable = thing.usable.map(|u| if u { "yes" } else { "no" });
                let line = [
                    field(thing.node.name()),
                    field(&thing.title),
                    field(&thing.status),
                    field(&thing.who),
                    field(&thing.since.to_string()),
                    field(&day.unwrap_or_default()),
                    field(thing.result.as_deref().unwrap_or_default()),
                    usable.unwrap_or_default().to_string(),
                ];
                writeln!(sink, "{}", line.join(",")).map_err(failed)?;
            }
            after = page.next;
            if after.is_none() {
                return Ok(());
            }
        }
    }
}

/// A field of a CSV table (RFC 4180). A text that a spreadsheet would take for a formula gets an apostrophe before it.
fn field(text: &str) -> String {
    let harmless = if text.starts_with(['=', '+', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_string()
    };
    if harmless.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", harmless.replace('"', "\"\""))
    } else {
        harmless
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
    let mut lines: Box<dyn Read + Send> = if from.is_dir() {
        let path = from.join("events.jsonl");
        Box::new(std::fs::File::open(&path).map_err(|e| file(&path, &e))?)
    } else {
        let opened = std::fs::File::open(from).map_err(|e| file(from, &e))?;
        let mut archive = zip::ZipArchive::new(opened).map_err(|e| file(from, &e))?;
        // Unpacked beside the target: a zip file is read from its end.
        let mut unpacked = tempfile(place)?;
        let mut inside = archive
            .by_name("events.jsonl")
            .map_err(|e| file(from, &e))?;
        std::io::copy(&mut (&mut inside).take(MOST), &mut unpacked).map_err(|e| file(from, &e))?;
        std::io::Seek::rewind(&mut unpacked).map_err(|e| file(from, &e))?;
        Box::new(unpacked)
    };
    let store = Store::create(place, Arc::clone(&outside)).await?;
    let read = fill(&store, &mut lines).await;
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
    let mut versions: std::collections::HashMap<Node, u64> = std::collections::HashMap::new();
    let mut number = 0_u64;
    let mut line = String::new();
    let mut end = None;
    let mut tx = store.pool().begin().await?;
    loop {
        line.clear();
        let mut limited = std::io::Read::take(&mut reader, LONGEST as u64 + 1);
        let length = std::io::BufRead::read_line(&mut limited, &mut line)
            .map_err(|e| StoreError::Unsound(format!("line {} cannot be read: {e}", number + 1)))?;
        if length == 0 {
            break;
        }
        number += 1;
        let (event, body) = import_line(line.trim_end(), number, previous)?;
        let version = versions.entry(event.stream.clone()).or_insert(0);
        *version += 1;
        if event.stream_version != *version {
            return Err(StoreError::Unsound(format!(
                "line {number}: {} has event {} after {}",
                event.stream,
                event.stream_version,
                *version - 1
            )));
        }
        let last = writer::append(&mut tx, &event, &body).await?;
        previous = last.hash;
        end = Some((last, event.at));
    }
    if let Some((end, at)) = end {
        writer::chain_end(&mut tx, end, at).await?;
    }
    tx.commit().await?;
    Ok(())
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
