//! Writes everything into a folder or a zip file.

use super::{AT_A_TIME, EVENTS, FILES, LIST, SUMS, file};
use crate::backup::wholly;
use crate::beside::Beside;
use crate::csv::field;
use crate::error::StoreError;
use crate::list::{Cursor, Filter};
use crate::project::int;
use crate::read;
use crate::store::Store;
use notebook::payload::{FileAttached, Payload};
use notebook::{Event, Hash, Kind, Node};
use std::fmt::Write as _;
use std::io::Write;
use std::path::Path;

const README: &str = "\
A record of titrations
======================

events.jsonl    Everything that happened, one event a line, in order, as JSON. Nothing was ever changed or deleted: a
                correction is an event that names what stood there before, who changed it, when and why.
results.jsonl   What each determination gave when it was closed, signed or computed again: values, uncertainties, limits,
                findings, the rules that judged it and the program that computed it; one result a line.
*.csv           Lists made from the events: what there is (one file a kind), results as they stand now, threads (what rests
                on what), and attached files. Commas between fields, quotes around text, decimal points.
files/          Photographs and other attached files; each is named by its SHA-256, files.csv says what it belongs to.
SHA256SUMS      Hashes of these files: `sha256sum -c SHA256SUMS` checks them.

How the events hold together: take a line of events.jsonl, remove the member \"hash\" and write the rest as RFC 8785
says (members sorted, no white space). SHA-256 of that text is the hash. The member \"previous\" is the hash of the line
before (64 zeros in the first). So the hash of the last line proves all lines.

Not inside: passphrases, codes and sessions. If the record is shared, nobody can sign in to a copy made by
`halfdrop record import` before whoever keeps the machine gives a keeper of it a passphrase:
`halfdrop record passphrase RECORD NAME`.

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

impl Target {
    /// A target under a name of its own, until all is written.
    fn new(to: &Path) -> Result<(Self, Beside), StoreError> {
        let zipped = to
            .extension()
            .is_some_and(|e| e.eq_ignore_ascii_case("zip"));
        if zipped {
            let beside = Beside::file(to)?;
            let made = std::fs::File::create(beside.path()).map_err(|e| file(to, &e))?;
            Ok((Self::Zip(Box::new(zip::ZipWriter::new(made))), beside))
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
            Self::Zip(zip) => {
                let options = zip::write::SimpleFileOptions::default().large_file(true);
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
        let (target, beside) = Target::new(to)?;
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
            .write("README.txt", async |sink| {
                sink.write_all(README.as_bytes()).map_err(failed)
            })
            .await?;
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
        for kind in Kind::ALL {
            if !matches!(kind, Kind::Record | Kind::Access) {
                let name = format!("{kind}.csv");
                export
                    .write(&name, async |sink| self.things(*kind, sink).await)
                    .await?;
            }
        }
        for table in [&RESULTS, &THREADS] {
            export
                .write(table.name, async |sink| self.table(table, sink).await)
                .await?;
        }
        self.files(&mut export, attached).await?;
        let mut sink = export.target.begin(SUMS)?;
        sink.write_all(export.sums.as_bytes()).map_err(failed)?;
        sink.end(SUMS)?;
        if let Target::Zip(zip) = export.target {
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
        let mut list = String::from("sha256,belongs_to,run,name,media_type,bytes,here\n");
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
                    export
                        .write(&format!("{FILES}/{hash}"), async |sink| {
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

    async fn table(&self, table: &Table, sink: &mut Sink<'_>) -> Result<(), StoreError> {
        let failed = |e: std::io::Error| file(Path::new(table.name), &e);
        writeln!(sink, "{}", table.head.join(",")).map_err(failed)?;
        let mut rows = sqlx::query(table.sql).fetch(self.pool());
        while let Some(row) = futures_util::TryStreamExt::try_next(&mut rows).await? {
            let mut fields = Vec::with_capacity(table.head.len());
            for at in 0..table.head.len() {
                let text: String = sqlx::Row::try_get(&row, at)?;
                fields.push(field(&text));
            }
            writeln!(sink, "{}", fields.join(",")).map_err(failed)?;
        }
        Ok(())
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

/// A table of the record that goes into a file as it stands.
struct Table {
    name: &'static str,
    head: &'static [&'static str],
    sql: &'static str,
}

const RESULTS: Table = Table {
    name: "results.csv",
    head: &[
        "determination",
        "of",
        "name",
        "unit",
        "value",
        "standard_uncertainty",
        "expanded_uncertainty",
        "coverage_factor",
    ],
    sql: "SELECT determination, of_what, name, unit, CAST(value AS TEXT), CAST(standard_uncertainty AS TEXT),
          CAST(expanded_uncertainty AS TEXT), CAST(coverage_factor AS TEXT) FROM result ORDER BY determination, place",
};

const THREADS: Table = Table {
    name: "threads.csv",
    head: &["what", "how", "on"],
    sql: "SELECT what, how, on_what FROM edge ORDER BY what, how, on_what",
};

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
