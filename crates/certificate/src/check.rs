//! Whether a file is the certificate that the record issued, and whether that holds.
//!
//! The same sheet gives the same bytes: so the file is printed again from the data attached to it and compared byte for
//! byte, and the data are compared with the record.

use crate::document::{attached_json, certificate_pdf};
use crate::sheet::{CertificateSheet, Standing};
use notebook::{Event, Hash, PROGRAM, Payload};
use thiserror::Error;

/// Longest file that is read, in bytes.
pub const MAX_FILE: usize = 32 * 1024 * 1024;

/// Why a file cannot be checked.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum CheckError {
    /// Not a PDF.
    #[error("this is no PDF file")]
    NoPdf,
    /// Larger than any certificate.
    #[error("the file is longer than {MAX_FILE} bytes; no certificate is")]
    TooLong,
    /// No data attached as halfdrop attaches it.
    #[error(
        "no certificate data can be read in this file: it was not made by halfdrop, or it was changed, or another program \
         saved it anew; print it again from the record"
    )]
    NoData,
}

/// What the check found.
#[derive(Clone, Debug, PartialEq)]
pub struct CertificateCheck {
    /// What does not agree, each in a sentence; empty if the file is unaltered.
    pub altered: Vec<String>,
    /// What this version of the program puts otherwise, without the file being altered.
    pub changed_since: Vec<&'static str>,
    /// False if the file was made by another version of the program, which may draw the page otherwise: then the data
    /// were compared, not the drawing.
    pub drawing_compared: bool,
    /// Whether the certificate holds now.
    pub standing: Standing,
}

impl CertificateCheck {
    /// True if the file is what the record issued.
    pub fn is_unaltered(&self) -> bool {
        self.altered.is_empty()
    }

    /// True if it is unaltered and holds.
    pub fn holds(&self) -> bool {
        self.is_unaltered() && self.standing == Standing::Current
    }
}

/// The data attached to a certificate.
///
/// # Errors
/// [`CheckError`].
pub fn attached(pdf: &[u8]) -> Result<CertificateSheet, CheckError> {
    if pdf.len() > MAX_FILE {
        return Err(CheckError::TooLong);
    }
    if !pdf.starts_with(b"%PDF-") {
        return Err(CheckError::NoPdf);
    }
    let mark = b"/EmbeddedFile";
    let mut from = 0;
    while let Some(at) = find(&pdf[from..], mark) {
        from += at + mark.len();
        if let Some(sheet) = stream(&pdf[from..]).and_then(|text| serde_json::from_slice(text).ok())
        {
            return Ok(sheet);
        }
    }
    Err(CheckError::NoData)
}

fn find(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    bytes
        .windows(wanted.len())
        .position(|window| window == wanted)
}

/// The bytes of the stream whose dictionary was begun before `rest`. The dictionary names its length before or after
/// the mark, so the end is looked for instead; JSON text in clear holds no bare line "endstream".
fn stream(rest: &[u8]) -> Option<&[u8]> {
    const BEGIN: &[u8] = b"stream\n";
    const END: &[u8] = b"\nendstream";
    let head = &rest[..rest.len().min(2048)];
    let begin = find(head, BEGIN)? + BEGIN.len();
    let length = find(&rest[begin..], END)?;
    Some(&rest[begin..begin + length])
}

/// Compares a file, and the data attached to it, with the event that issued the certificate and with the sheet that the
/// record gives now.
pub fn check(
    pdf: &[u8],
    sheet: &CertificateSheet,
    recorded: &Event,
    now: &CertificateSheet,
) -> CertificateCheck {
    let mut altered = Vec::new();
    let event = &sheet.event;
    if Hash::of(event.body.as_bytes()).to_string() != event.hash {
        altered.push("the hash on the page is not that of the event attached".into());
    }
    let own = recorded.body().ok();
    if own.as_ref() != Some(&event.body)
        || event.number != recorded.number
        || event.id != recorded.id
    {
        altered.push(format!(
            "event {} of the record says otherwise than the event attached",
            recorded.number
        ));
    }
    let stated = match &recorded.payload {
        Payload::CertificateIssued(issued) => issued.evaluated.as_ref(),
        _ => None,
    };
    let shown: Vec<_> = sheet.results.iter().map(|line| &line.stated).collect();
    if !stated.is_some_and(|e| {
        e.results.iter().collect::<Vec<_>>() == shown && e.usable == sheet.rules.usable
    }) {
        altered.push("the results are not those that the record issued".into());
    }
    let drawing_compared = sheet.program == PROGRAM;
    if drawing_compared {
        if certificate_pdf(sheet).ok().as_deref() != Some(pdf) {
            altered.push("the pages are not, byte for byte, what the attached data print".into());
        }
    } else if !attached_json(sheet).is_ok_and(|text| find(pdf, text.as_bytes()).is_some()) {
        altered.push("the attached data are not written as halfdrop writes them".into());
    } else if find(pdf, format!("/Producer({})", sheet.program).as_bytes()).is_none() {
        // Or else a file would escape the comparison of its drawing by another name for the program.
        altered.push("the data name another program than the one that wrote the file".into());
    }
    let mut changed_since = Vec::new();
    for (what, by_program, same) in parts(sheet, now) {
        if same {
            continue;
        }
        // A correction beneath changes nothing of what was issued; but another version of the program may put things in
        // other words.
        let reworded = by_program && !drawing_compared;
        if !reworded {
            altered.push(format!("the record says otherwise about: {what}"));
        } else {
            changed_since.push(what);
        }
    }
    CertificateCheck {
        altered,
        changed_since,
        drawing_compared,
        standing: now.standing.clone(),
    }
}

/// The parts of a sheet, each with its name, whether it is in the words of the program, and whether it is the same.
fn parts(a: &CertificateSheet, b: &CertificateSheet) -> [(&'static str, bool, bool); 14] {
    [
        (
            "the certificate's name",
            false,
            a.certificate == b.certificate,
        ),
        (
            "the name of the record",
            false,
            a.laboratory == b.laboratory,
        ),
        (
            "the determination",
            false,
            a.determination == b.determination && a.title == b.title,
        ),
        (
            "the words for what was determined",
            true,
            a.results == b.results,
        ),
        ("the rules and findings", true, a.rules == b.rules),
        (
            "the decision about limits",
            false,
            a.decisions == b.decisions,
        ),
        ("what it is traced to", false, a.traced == b.traced),
        ("the apparatus", false, a.apparatus == b.apparatus),
        ("the method", true, a.method == b.method),
        ("the conditions", false, a.conditions == b.conditions),
        ("how long it holds", false, a.use_before == b.use_before),
        ("the names", false, a.people == b.people),
        ("the runs", true, a.runs == b.runs),
        ("the budget", true, a.budgets == b.budgets),
    ]
}
