//! A certificate as a page to be kept, with the budget on the next.

use crate::code::Code;
use crate::error::CertificateError;
use crate::paper::{A4, About, Ink, MM, Paper, Part, Type, date};
use crate::rows::{Weight, said_rows};
use crate::sheet::{CertificateSheet, Standing};
use crate::typeface::Face;
use crate::words::{bound, name_of, percent, terms};
use krilla::embed::{AssociationKind, EmbeddedFile, MimeType};
use notebook::Event;
use report::rounded;

/// Name of the attached file.
pub const ATTACHED: &str = "certificate.json";

pub(crate) const LEFT: f32 = 24.0 * MM;
pub(crate) const RIGHT: f32 = A4.0 - 24.0 * MM;
pub(crate) const TOP: f32 = 25.0 * MM;
pub(crate) const BOTTOM: f32 = A4.1 - 28.0 * MM;
/// Where the text of a row begins.
const COLUMN: f32 = LEFT + 32.0 * MM;
const CODE: f32 = 24.0 * MM;

pub(crate) const QUIET: Type = Type::of(Face::Text, 8.0, Ink::Quiet);
const TEXT: Type = Type::of(Face::Text, 9.5, Ink::Dark);
const STRONG: Type = Type::of(Face::Strong, 9.5, Ink::Dark);
const PINK: Type = Type::of(Face::Strong, 9.5, Ink::Pink);
const MONO: Type = Type::of(Face::Mono, 6.5, Ink::Quiet);
pub(crate) const LEADING: f32 = 13.5;

/// A certificate as PDF/A-3 with its data attached as JSON. The same sheet gives the same bytes.
///
/// # Errors
/// [`CertificateError`]; nothing of the sheet can bring one about but a name too long for a code.
pub fn certificate_pdf(sheet: &CertificateSheet) -> Result<Vec<u8>, CertificateError> {
    let issued = Event::read(&sheet.event.body)?;
    let mut paper = Paper::new(A4)?;
    let y = head(&mut paper, sheet)?;
    let y = results(&mut paper, sheet, y);
    rows(&mut paper, sheet, y);
    crate::budget::pages(&mut paper, sheet);
    feet(&mut paper, sheet);
    let attached = EmbeddedFile {
        path: ATTACHED.into(),
        mime_type: MimeType::new("application/json"),
        description: Some("The evaluated result and everything the pages show".into()),
        association_kind: AssociationKind::Data,
        data: attached_json(sheet)?.into_bytes().into(),
        modification_date: Some(date(issued.at)),
        // In clear, so that it can be read without any program.
        compress: Some(false),
        location: None,
    };
    let about = About {
        title: format!("Certificate {}", sheet.certificate.name()),
        subject: sheet.title.clone(),
        author: sheet.laboratory.clone(),
        at: issued.at,
        identity: format!("{} {}", sheet.certificate, sheet.event.hash),
        program: sheet.program.clone(),
    };
    paper.finish(&about, Some(attached))
}

/// The attached text.
pub(crate) fn attached_json(sheet: &CertificateSheet) -> Result<String, CertificateError> {
    let mut text = serde_json::to_string_pretty(sheet)?;
    text.push('\n');
    Ok(text)
}

/// The code of a certificate: its name and the hash of the event that issued it.
///
/// # Errors
/// [`CertificateError::Code`] if the name is too long.
pub fn code_of(sheet: &CertificateSheet) -> Result<Code, CertificateError> {
    Code::of(&format!("{} {}", sheet.certificate, sheet.event.hash))
}

fn head(paper: &mut Paper, sheet: &CertificateSheet) -> Result<f32, CertificateError> {
    let width = RIGHT - LEFT - CODE - 8.0 * MM;
    paper.part(Part::Paragraph, |p| {
        p.text((LEFT, TOP), QUIET, &sheet.laboratory)
    });
    let mut y = TOP + 26.0;
    let title = format!("Certificate {}", sheet.certificate.name());
    paper.part(Part::Heading(1, title.clone()), |p| {
        let set = Type::of(Face::Text, 21.0, Ink::Dark);
        let shown = p.faces.cut_to(set.face, set.size, width, &title);
        p.text((LEFT, y), set, &shown)
    });
    y += 18.0;
    y = paper.part(Part::Paragraph, |p| {
        let said = format!("{} ({})", sheet.title, sheet.determination.name());
        paragraph(
            p,
            (LEFT, y),
            width,
            Type::of(Face::Text, 10.0, Ink::Quiet),
            14.0,
            &said,
        )
    });
    paper.code((RIGHT - CODE, TOP - 7.0), CODE, code_of(sheet)?);
    let said = match &sheet.standing {
        Standing::Current => None,
        Standing::Superseded { at, reason, by } => {
            let by = by
                .as_ref()
                .map(|by| format!(". Replaced by {}", by.name()))
                .unwrap_or_default();
            Some(("Superseded", format!("on {}: {reason}{by}", at.day())))
        }
        Standing::Withdrawn { at, reason } => {
            Some(("Withdrawn", format!("on {}: {reason}", at.day())))
        }
    };
    if let Some((word, why)) = said {
        y = y.max(TOP + CODE) + 8.0;
        y = paper.part(Part::Paragraph, |p| {
            p.text(
                (LEFT, y + 6.0),
                Type::of(Face::Strong, 17.0, Ink::Pink),
                word,
            );
            paragraph(p, (LEFT, y + 22.0), RIGHT - LEFT, TEXT, LEADING, &why)
        });
    }
    Ok(y)
}

/// Sets a paragraph and gives the baseline after it.
pub(crate) fn paragraph(
    paper: &mut Paper,
    at: (f32, f32),
    width: f32,
    set: Type,
    leading: f32,
    text: &str,
) -> f32 {
    lines(paper, at, width, set, leading, text, Paper::text)
}

/// How a line is set; gives its width.
pub(crate) type SetLine = fn(&mut Paper, (f32, f32), Type, &str) -> f32;

/// A text over as many lines and pages as it needs, each line set by `line`; gives the baseline after it.
pub(crate) fn lines(
    paper: &mut Paper,
    (x, mut y): (f32, f32),
    width: f32,
    set: Type,
    leading: f32,
    text: &str,
    line: SetLine,
) -> f32 {
    let text = bound(&paper.faces.drawable(set.face, text));
    for text in paper.faces.lines(set.face, set.size, width, &text) {
        if y > BOTTOM {
            paper.new_page();
            y = TOP;
        }
        line(paper, (x, y), set, &text);
        y += leading;
    }
    y
}

/// The numbers: one is the largest thing on the page, several stand below one another.
fn results(paper: &mut Paper, sheet: &CertificateSheet, y: f32) -> f32 {
    let only = sheet.results.len() == 1;
    let (large, step) = if only { (44.0, 44.0) } else { (20.0, 24.0) };
    let mut y = y.max(TOP + CODE) + if only { 24.0 } else { 12.0 };
    if sheet.standing == Standing::Current {
        paper.bar((LEFT, y - 19.0, 12.0 * MM, 2.0), Ink::Pink);
    }
    for line in &sheet.results {
        if y + step + 30.0 > BOTTOM {
            paper.new_page();
            y = TOP;
        }
        let s = &line.stated;
        let r = rounded(s.value, s.expanded_uncertainty);
        y = paper.part(Part::Paragraph, |p| {
            let name = name_of(line);
            let below = paragraph(p, (LEFT, y), RIGHT - LEFT, QUIET, 11.0, &name);
            let base = below - 11.0 + step;
            let mut x = LEFT - large * 0.05;
            x += p.text(
                (x, base),
                Type::of(Face::Light, large, Ink::Dark),
                &r.value_text,
            ) + large * 0.2;
            x += p.text(
                (x, base),
                Type::of(Face::Text, (large * 0.36).max(9.5), Ink::Quiet),
                &s.unit,
            ) + large * 0.4;
            let set = Type::of(Face::Text, (large * 0.36).max(11.0), Ink::Dark);
            p.text(
                (x, base),
                set,
                &format!("± {} {}", r.uncertainty_text, s.unit),
            );
            let below = base + if only { 18.0 } else { 12.0 };
            paragraph(p, (LEFT, below), RIGHT - LEFT, QUIET, 11.0, &terms(line))
        });
        if only && let Some(p) = s.probability {
            let words = format!(
                "The number after ± is the expanded uncertainty U: the true value lies within it {} times in 100.",
                percent(p).trim_end_matches(" %")
            );
            y = paper.part(Part::Paragraph, |p| {
                paragraph(p, (LEFT, y), RIGHT - LEFT, QUIET, 11.0, &words)
            });
        }
        y += if only { 4.0 } else { 8.0 };
    }
    y
}

/// One row: its name, and its lines, each in its type.
struct Rows<'a> {
    paper: &'a mut Paper,
    y: f32,
}

impl Rows<'_> {
    fn row(&mut self, name: &str, lines: &[(Type, String)]) {
        if lines.is_empty() {
            return;
        }
        let (paper, mut y) = (&mut *self.paper, self.y);
        let height = lines
            .iter()
            .map(|(set, text)| {
                paper
                    .faces
                    .lines(set.face, set.size, RIGHT - COLUMN, &bound(text))
                    .len() as f32
                    * LEADING
            })
            .sum::<f32>();
        if y + height.min(BOTTOM - TOP) > BOTTOM + LEADING {
            paper.new_page();
            y = TOP;
        }
        paper.rule((LEFT, y - LEADING), RIGHT - LEFT, Ink::Hairline);
        paper.part(Part::Row, |p| {
            p.part(Part::RowHead, |p| p.text((LEFT, y), QUIET, name));
            p.part(Part::Cell, |p| {
                for (set, text) in lines {
                    y = paragraph(p, (COLUMN, y), RIGHT - COLUMN, *set, LEADING, text);
                }
            });
        });
        self.y = y + 7.0;
    }
}

fn rows(paper: &mut Paper, sheet: &CertificateSheet, y: f32) {
    paper.part(Part::Table, |paper| {
        let mut rows = Rows { paper, y: y + 16.0 };
        for row in said_rows(sheet) {
            let lines: Vec<(Type, String)> = row
                .lines
                .into_iter()
                .map(|(weight, text)| (set_of(weight), text))
                .collect();
            rows.row(row.name, &lines);
        }
    });
}

fn set_of(weight: Weight) -> Type {
    match weight {
        Weight::Plain => TEXT,
        Weight::Quiet => QUIET,
        Weight::Strong => STRONG,
        Weight::Accent => PINK,
    }
}

fn feet(paper: &mut Paper, sheet: &CertificateSheet) {
    let pages = paper.pages();
    for page in 0..pages {
        let y = A4.1 - 17.0 * MM;
        paper.foot(page, (LEFT, y), MONO, &sheet.event.hash);
        let said = format!(
            "{}, event {} of the record; its SHA-256 stands above. “halfdrop certificate check” proves this file.",
            sheet.certificate.name(),
            sheet.event.number
        );
        let quiet = Type::of(Face::Text, 6.5, Ink::Quiet);
        paper.foot(page, (LEFT, y + 9.0), quiet, &said);
        let number = format!("{} / {pages}", page + 1);
        let width = paper.faces.width(quiet.face, quiet.size, &number);
        paper.foot(page, (RIGHT - width, y + 9.0), quiet, &number);
        if sheet.standing != Standing::Current && page > 0 {
            let word = if matches!(sheet.standing, Standing::Superseded { .. }) {
                "superseded"
            } else {
                "withdrawn"
            };
            let set = Type::of(Face::Strong, 8.0, Ink::Pink);
            let width = paper.faces.width(set.face, set.size, word);
            paper.foot(page, (RIGHT - width, y), set, word);
        }
    }
}
