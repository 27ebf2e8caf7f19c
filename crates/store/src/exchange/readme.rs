//! The README of an export: what is what, for who has nothing but the export.

use super::sheets::SHEETS;
use notebook::{Hash, Moment};
use std::fmt::Write;

/// What is exported.
pub(super) struct About<'a> {
    pub(super) record: &'a str,
    pub(super) at: Moment,
    pub(super) events: u64,
    pub(super) last_hash: Hash,
    /// Whether files are attached.
    pub(super) files: bool,
    /// Columns of the list of attached files.
    pub(super) of_files: &'a [(&'a str, &'a str)],
}

/// Width of a name before what it means.
const WIDE: usize = 26;

/// The text.
pub(super) fn text(about: &About<'_>) -> String {
    let title = format!("{}: a record of titrations", about.record);
    let mut text = format!(
        "{title}\n{}\n\nExported on {} by halfdrop {}.\n{} events; the hash of the last is\n{}\n\n",
        "=".repeat(title.chars().count()),
        about.at,
        env!("CARGO_PKG_VERSION"),
        about.events,
        about.last_hash,
    );
    text.push_str(
        "\
events.jsonl    Everything that happened, one event a line, in order, as JSON. Nothing was ever changed or deleted: a
                correction is an event that names what stood there before, who changed it, when and why.
results.jsonl   What each determination gave when it was closed, signed or computed again: values, uncertainties, limits,
                findings, the rules that judged it and the program that computed it; one result a line.
*.csv           Tables made from the events; their columns are explained below. Commas between fields, quotes around text
                that holds them, decimal points. A text that a spreadsheet would take for a formula has an apostrophe
                before it.
",
    );
    if about.files {
        text.push_str(
            "\
files/          Photographs and other attached files; each is named by its SHA-256, files.csv says what it belongs to.
",
        );
    }
    text.push_str(
        "\
SHA256SUMS      Hashes of these files: `sha256sum -c SHA256SUMS` checks them.

Not inside: passphrases, codes and sessions. If the record is shared, nobody can sign in to a copy made by
`halfdrop record import` before whoever keeps the machine gives a keeper of it a passphrase:
`halfdrop record passphrase RECORD NAME`.

How the events hold together
----------------------------

Each line of events.jsonl ends with ,\"hash\":\"...\"} where ... are 64 hexadecimal digits. Cut these 75 characters off
the end of the line and put } in their place: the SHA-256 of that text (UTF-8) is the hash that was cut off. The text holds
\"previous\", which is the hash of the line before (64 zeros in the first). So the hash of the last line proves all lines.
(The text is JSON as RFC 8785 writes it: members sorted, no white space.)

Members of an event: number, id (UUID), at (local time with its offset from UTC), who, device, cause (key of the command,
or number of the event it follows from), stream (what it happened to), stream_version (how many events that has), kind
and version (of the payload's form), payload. Readings are text, as they were written: their decimals count.

The columns of the tables
-------------------------
",
    );
    for sheet in SHEETS {
        let _ = writeln!(text, "\n{}: {}", sheet.name, sheet.says);
        for (heading, says) in sheet.all() {
            let _ = writeln!(text, "  {heading:WIDE$} {says}");
        }
    }
    let _ = writeln!(text, "\nfiles.csv: attached files");
    for (heading, says) in about.of_files {
        let _ = writeln!(text, "  {heading:WIDE$} {says}");
    }
    text
}
