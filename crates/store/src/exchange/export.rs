//! Writes everything into a folder or a zip file.

use super::readme::{self, About};
use super::sheets::SHEETS;
use super::{AT_A_TIME, EVENTS, FILES, LIST, SUMS, file};
use crate::backup::wholly;
use crate::beside::Beside;
use crate::csv::field;
use crate::error::StoreError;
use crate::project::int;
use crate::read;
use crate::store::Store;
use notebook::payload::{FileAttached, Payload};
use notebook::{Event, Hash, Moment, Node};
use std::fmt::Write as _;
use std::io::Write;
use std::path::Path;

/// The columns of the list of attached files.
const OF_FILES: [(&str, &str); 7] = [
    ("sha256", "its hash, by which its file is named"),
    ("belongs_to", "the determination"),
    ("run", "number of the run"),
    ("name", "the name it had"),
    ("media_type", "what it is"),
    ("bytes", "its length"),
    ("here", "no if its bytes were not in the record"),
];

/// The ending of a file's name by what it is.
fn ending(media_type: &str) -> &'static str {
    match media_type {
        "image/jpeg" => ".jpg",
        "image/png" => ".png",
        "application/pdf" => ".pdf",
        "text/plain" => ".txt",
        "text/csv" => ".csv",
        _ => "",
    }
}

/// Where the files of an export go.
enum Target {
    Folder(std::path::PathBuf),
    Zip(Box<zip::ZipWriter<std::fs::File>>, zip::DateTime),
}

/// One file of an export while it is written: hashed on the way.
pub(super) struct Sink<'a> {
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

impl Target {
    /// A target under a name of its own, until all is written.
    fn new(to: &Path, now: Moment) -> Result<(Self, Beside), StoreError> {
        let zipped = to
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
        if zipped {
            let beside = Beside::file(to)?;
            let made = std::fs::File::create(beside.path()).map_err(|e| file(to, &e))?;
            let zip = Box::new(zip::ZipWriter::new(made));
            Ok((Self::Zip(zip, on_the_wall(now)), beside))
        } else {
            let beside = Beside::folder(to)?;
            Ok((Self::Folder(beside.path().to_path_buf()), beside))
        }
    }

    fn begin(&mut self, name: &str) -> Result<Sink<'_>, StoreError> {
        let to: Box<dyn Write + '_> = match self {
            Self::Folder(folder) => {
                let path = folder.join(name);
                if let Some(inner) = path.parent() {
                    std::fs::create_dir_all(inner).map_err(|e| file(inner, &e))?;
                }
                let made = std::fs::File::create_new(&path).map_err(|e| file(&path, &e))?;
                Box::new(std::io::BufWriter::new(made))
            }
            Self::Zip(zip, at) => {
                let options = zip::write::SimpleFileOptions::default()
                    .large_file(true)
                    .last_modified_time(*at);
                zip.start_file(name, options)
                    .map_err(|e| file(Path::new(name), &e.into()))?;
                Box::new(zip)
            }
        };
        Ok(Sink {
            to,
            hash: sha2::Digest::new(),
        })
    }
}

/// A moment as a zip file says it: by the clock on the wall, from 1980 to 2107.
fn on_the_wall(now: Moment) -> zip::DateTime {
    let text = now.to_string();
    let part = |from: usize, to: usize| text.get(from..to).unwrap_or_default();
    let year = part(0, 4).parse().unwrap_or(1980);
    let two = |from: usize| part(from, from + 2).parse().unwrap_or(0);
    zip::DateTime::from_date_and_time(year, two(5), two(8), two(11), two(14), two(17))
        .unwrap_or_default()
}

impl Sink<'_> {
    /// Ends the file; gives its hash.
    fn end(mut self, name: &str) -> Result<String, StoreError> {
        self.flush().map_err(|e| file(Path::new(name), &e))?;
        let digest: [u8; 32] = sha2::Digest::finalize(self.hash).into();
        Ok(digest.iter().map(|b| format!("{b:02x}")).collect())
    }
}

/// An export on its way: where it goes, and the hashes of what is written.
struct Export<'a> {
    to: &'a Path,
    target: Target,
    sums: String,
}

impl Export<'_> {
    /// Writes one file by the lines that are given to it.
    async fn write(
        &mut self,
        name: &str,
        fill: impl AsyncFnOnce(&mut Sink<'_>) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        let mut sink = self.target.begin(name)?;
        fill(&mut sink).await?;
        let hash = sink.end(name)?;
        // Writing to a string does not fail.
        let _ = writeln!(self.sums, "{hash}  {name}");
        Ok(())
    }
}

impl Store {
    /// Writes everything into a folder, or a file that ends in `.zip`, where there is nothing yet. Gives the number of
    /// events.
    ///
    /// # Errors
    /// [`StoreError::Altered`] for a record that does not hold together, [`StoreError::Exists`], [`StoreError::File`];
    /// nothing is left then.
    pub async fn export(&self, to: &Path) -> Result<u64, StoreError> {
        let now = self.now();
        let (target, beside) = Target::new(to, now)?;
        let mut export = Export {
            to,
            target,
            sums: String::new(),
        };
        // Checksums vouch for what is exported, so it is looked at first.
        let (checked, found) = wholly(self).await?;
        if let Some(found) = found {
            return Err(StoreError::Altered {
                place: self.place().to_string(),
                found,
                so: "nothing was exported; `halfdrop record check` says all that was found and what to do",
            });
        }
        // What is written while this runs comes into the next export.
        let last = checked.events;
        let failed = |e: std::io::Error| file(to, &e);
        export
            .write(EVENTS, async |sink| {
                self.each_body(last, |body| {
                    let hash = Hash::of(body.as_bytes());
                    let open = body.strip_suffix('}').unwrap_or(body);
                    writeln!(sink, "{open},\"hash\":\"{hash}\"}}").map_err(failed)
                })
                .await
            })
            .await?;
        let mut attached = Vec::new();
        export
            .write("results.jsonl", async |sink| {
                self.each_body(last, |body| match kept_apart(body)? {
                    Some(Apart::Result(line)) => writeln!(sink, "{line}").map_err(failed),
                    Some(Apart::File(stream, file)) => {
                        attached.push((stream, file));
                        Ok(())
                    }
                    None => Ok(()),
                })
                .await
            })
            .await?;
        for sheet in SHEETS {
            export
                .write(sheet.name, async |sink| self.table(sheet, sink).await)
                .await?;
        }
        let world = self.world(&[]).await?;
        let about = About {
            record: world.record().map_or("Record", |r| r.name.as_str()),
            at: now,
            events: last,
            last_hash: checked.last_hash,
            files: !attached.is_empty(),
            of_files: &OF_FILES,
        };
        export
            .write("README.txt", async |sink| {
                sink.write_all(readme::text(&about).as_bytes())
                    .map_err(failed)
            })
            .await?;
        self.files(&mut export, attached).await?;
        let mut sink = export.target.begin(SUMS)?;
        sink.write_all(export.sums.as_bytes()).map_err(failed)?;
        sink.end(SUMS)?;
        if let Target::Zip(zip, _) = export.target {
            zip.finish().map_err(|e| file(to, &e.into()))?;
        }
        beside.put(to)?;
        Ok(last)
    }

    /// Calls for each body up to an event, in order.
    async fn each_body(
        &self,
        last: u64,
        mut each: impl FnMut(&str) -> Result<(), StoreError>,
    ) -> Result<(), StoreError> {
        let mut after = 0;
        while after < int(last) {
            let mut db = self.pool().acquire().await?;
            let until = (after + AT_A_TIME).min(int(last));
            for (_, body) in read::bodies(&mut db, after, until).await? {
                each(&body)?;
            }
            after = until;
        }
        Ok(())
    }

    /// The attached files, each under its hash, and the list of what they belong to. A file whose bytes are not in the
    /// record (one that was attached before an import of the events alone) stands in the list as not here.
    async fn files(
        &self,
        export: &mut Export<'_>,
        attached: Vec<(Node, FileAttached)>,
    ) -> Result<(), StoreError> {
        let mut list = OF_FILES.map(|(heading, _)| heading).join(",") + "\n";
        let mut kept = std::collections::HashMap::new();
        for (stream, attachment) in attached {
            let Ok(hash) = attachment.sha256.parse::<Hash>() else {
                continue;
            };
            if let std::collections::hash_map::Entry::Vacant(place) = kept.entry(hash) {
                let bytes = self.file(hash).await?;
                place.insert(bytes.is_some());
                if let Some(bytes) = bytes {
                    let to = export.to;
                    let name = format!("{FILES}/{hash}{}", ending(&attachment.media_type));
                    export
                        .write(&name, async |sink| {
                            sink.write_all(&bytes).map_err(|e| file(to, &e))
                        })
                        .await?;
                }
            }
            let here = kept.get(&hash).is_some_and(|here| *here);
            let run = attachment.run.map(|run| run.to_string());
            let line = [
                hash.to_string(),
                field(&stream.to_string()),
                run.unwrap_or_default(),
                field(&attachment.name),
                field(&attachment.media_type),
                attachment.bytes.to_string(),
                (if here { "yes" } else { "no" }).to_string(),
            ];
            let _ = writeln!(list, "{}", line.join(","));
        }
        let to = export.to;
        export
            .write(LIST, async |sink| {
                sink.write_all(list.as_bytes()).map_err(|e| file(to, &e))
            })
            .await
    }
}

/// What of an event stands in files of its own.
enum Apart {
    /// The line of `results.jsonl`: what a determination gave when it was closed, signed or computed again.
    Result(String),
    /// A file that was attached, and to what.
    File(Node, FileAttached),
}

fn kept_apart(body: &str) -> Result<Option<Apart>, StoreError> {
    const KINDS: [&str; 4] = [
        "\"kind\":\"determination-closed\"",
        "\"kind\":\"determination-approved\"",
        "\"kind\":\"determination-recomputed\"",
        "\"kind\":\"file-attached\"",
    ];
    // Few events are of these kinds; the others are not read wholly.
    if !KINDS.iter().any(|kind| body.contains(kind)) {
        return Ok(None);
    }
    let Event {
        number,
        at,
        stream,
        payload,
        ..
    } = read::read(0, body)?;
    let (what, evaluated) = match payload {
        Payload::DeterminationClosed(closed) => ("closed", closed.evaluated),
        Payload::DeterminationApproved(approved) => ("approved", approved.evaluated),
        Payload::DeterminationRecomputed(again) => ("computed again", again.now),
        Payload::FileAttached(file) => return Ok(Some(Apart::File(stream, *file))),
        _ => return Ok(None),
    };
    let line = serde_json::json!({
        "determination": stream.name(),
        "event": number,
        "at": at.to_string(),
        "when": what,
        "evaluated": evaluated,
    });
    Ok(Some(Apart::Result(line.to_string())))
}
