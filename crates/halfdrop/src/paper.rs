//! `halfdrop certificate`, `halfdrop label` and `halfdrop working`: what is kept on paper, and whether it still holds.

use crate::exit_code::ExitCode;
use crate::failure::Failure;
use crate::opened::with_record;
use crate::serve::PLACE;
use certificate::{
    LabelForm, MAX_FILE, ON_A_SHEET, Standing, attached, certificate_pdf, check, label_pdf,
    working_pdf,
};
use clap::Subcommand;
use notebook::{Kind, Node};
use server::paper::{certificate_sheet, label_sheet, working_html, working_sheet};
use std::fmt::Write;
use std::io::Read;
use std::path::{Path, PathBuf};
use store::Store;

/// Most labels of one print.
const MOST: usize = 2_400;

#[derive(Debug, Subcommand)]
pub(crate) enum CertificateCommand {
    /// Print a certificate as PDF, with its data attached.
    ///
    /// For example: halfdrop certificate print C-0001 --record bench.record -o C-0001.pdf
    Print {
        /// The certificate, such as C-0001.
        name: String,
        #[command(flatten)]
        paper: Paper,
    },
    /// Prove that a printed certificate is unaltered, and say whether it holds.
    ///
    /// The file is printed again from its attached data and compared byte for byte; the data are compared with the
    /// record, whose chain of hashes is checked. Exit status: 0 unaltered and current; 1 altered, superseded or
    /// withdrawn; 2 it cannot be checked.
    #[command(verbatim_doc_comment)]
    Check {
        /// The PDF file.
        file: PathBuf,
        /// The record: a file, or the postgres:// URL of one.
        #[arg(long, value_name = "PLACE", default_value = PLACE)]
        record: String,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum WorkingCommand {
    /// Print the worked solution of a determination with its run table, as PDF or as one HTML file.
    ///
    /// The name of the file says which: it ends in .pdf or .html.
    /// For example: halfdrop working print D-0001 --record bench.record -o D-0001.pdf
    #[command(verbatim_doc_comment)]
    Print {
        /// The determination, such as D-0001.
        name: String,
        #[command(flatten)]
        paper: Paper,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum LabelCommand {
    /// Print labels of bottles as PDF: 70 mm x 37 mm, each on its own page or 24 on a sheet of A4.
    ///
    /// For example: halfdrop label print T-0117 T-0123 --sheet --record bench.record -o labels.pdf
    Print {
        /// The solutions, such as T-0117.
        #[arg(required = true)]
        names: Vec<String>,
        /// On sheets of 24 (3 x 8).
        #[arg(long)]
        sheet: bool,
        /// Leave this many labels of the first sheet blank.
        #[arg(long, value_name = "N", default_value_t = 0, requires = "sheet")]
        skip: usize,
        /// Print each this many times.
        #[arg(long, value_name = "N", default_value_t = 1)]
        copies: usize,
        #[command(flatten)]
        paper: Paper,
    },
}

/// Where from and where to.
#[derive(Debug, clap::Args)]
pub(crate) struct Paper {
    /// The record: a file, or the postgres:// URL of one.
    #[arg(long, value_name = "PLACE", default_value = PLACE)]
    record: String,
    /// The file to write; one that is there is replaced.
    #[arg(short, long, value_name = "FILE")]
    output: PathBuf,
}

fn block_on<T>(work: impl Future<Output = Result<T, Failure>>) -> Result<T, Failure> {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|error| Failure::Serve(error.to_string()))?;
    runtime.block_on(work)
}

/// A thing by its name, with or without its kind.
fn node(kind: Kind, name: &str) -> Result<Node, Failure> {
    let name = name.strip_prefix(&format!("{kind}/")).unwrap_or(name);
    Node::new(kind, name).map_err(|error| Failure::Paper(error.to_string()))
}

fn write(file: &Path, pdf: &[u8]) -> Result<(), Failure> {
    std::fs::write(file, pdf)
        .map_err(|error| Failure::Paper(format!("{}: {error}", file.display())))
}

fn read(file: &Path) -> Result<Vec<u8>, Failure> {
    let failed = |error: std::io::Error| Failure::Paper(format!("{}: {error}", file.display()));
    let mut bytes = Vec::new();
    std::fs::File::open(file)
        .map_err(failed)?
        .take(MAX_FILE as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    Ok(bytes)
}

/// # Errors
/// [`Failure`].
pub(crate) fn certificate(command: &CertificateCommand) -> Result<(String, ExitCode), Failure> {
    match command {
        CertificateCommand::Print { name, paper } => {
            block_on(with_record(&paper.record, async |store| {
                let node = node(Kind::Certificate, name)?;
                let (sheet, _) = certificate_sheet(store, &node).await?;
                write(&paper.output, &certificate_pdf(&sheet)?)?;
                let mut text = format!(
                    "{} is printed in {}.\n",
                    node.name(),
                    paper.output.display()
                );
                if sheet.standing != Standing::Current {
                    let _ = writeln!(text, "It no longer holds: {}", said(&sheet.standing));
                }
                Ok((text, ExitCode::Usable))
            }))
        }
        CertificateCommand::Check { file, record } => {
            block_on(with_record(record, async |store| {
                checked(file, store).await
            }))
        }
    }
}

fn said(standing: &Standing) -> String {
    match standing {
        Standing::Current => "current".into(),
        Standing::Superseded { at, reason, by } => {
            let by = by
                .as_ref()
                .map(|by| format!("; replaced by {}", by.name()))
                .unwrap_or_default();
            format!("superseded on {}: {reason}{by}", at.day())
        }
        Standing::Withdrawn { at, reason } => format!("withdrawn on {}: {reason}", at.day()),
    }
}

async fn checked(file: &Path, store: &Store) -> Result<(String, ExitCode), Failure> {
    let pdf = read(file)?;
    let failed = |error: String| Failure::Paper(format!("{}: {error}", file.display()));
    let sheet = attached(&pdf).map_err(|error| failed(error.to_string()))?;
    let node = &sheet.certificate;
    let (now, event) = certificate_sheet(store, node).await?;
    let found = check(&pdf, &sheet, &event, &now);
    let chain = store.check().await?;
    let name = node.name();
    let mut text = String::new();
    if found.is_unaltered() {
        let _ = writeln!(
            text,
            "{name}: unaltered. Event {} of the record, SHA-256 {}",
            event.number, now.event.hash
        );
    } else {
        let _ = writeln!(
            text,
            "{name}: ALTERED. Do not rely on this file; print it again from the record."
        );
        for one in &found.altered {
            let _ = writeln!(text, "  {one}");
        }
    }
    match &chain.broken {
        None => {
            let _ = writeln!(text, "The record's chain of hashes is whole.");
        }
        Some(broken) => {
            let _ = writeln!(
                text,
                "The record's chain of hashes is BROKEN at event {}: {}",
                broken.number, broken.what
            );
        }
    }
    for found in &chain.found {
        let _ = writeln!(text, "In the record {found}.");
    }
    if !found.drawing_compared {
        let _ = writeln!(
            text,
            "The file was made by {}: its data were compared, not the drawing of its pages.",
            sheet.program
        );
    }
    // Of an altered file nothing is said to be current: only of the certificate whose name it bears.
    let what = if found.is_unaltered() {
        "It is".into()
    } else {
        format!("In the record {name} is")
    };
    let until = match (&found.standing, now.use_before) {
        (Standing::Current, Some(day)) => format!("; valid until {day}"),
        _ => String::new(),
    };
    let _ = writeln!(text, "{what} {}{until}.", said(&found.standing));
    if !found.changed_since.is_empty() {
        let _ = writeln!(
            text,
            "The record says otherwise now about: {}",
            found.changed_since.join(", ")
        );
    }
    let past = now.use_before.is_some_and(|day| day < store.now().day());
    if past && found.holds() {
        let _ = writeln!(text, "That day is past.");
    }
    let holds = found.holds() && chain.broken.is_none();
    Ok((
        text,
        if holds {
            ExitCode::Usable
        } else {
            ExitCode::RuleBroken
        },
    ))
}

/// # Errors
/// [`Failure`].
pub(crate) fn working(command: &WorkingCommand) -> Result<(String, ExitCode), Failure> {
    let WorkingCommand::Print { name, paper } = command;
    let ending = paper.output.extension().and_then(|e| e.to_str());
    let as_html = match ending.map(str::to_ascii_lowercase).as_deref() {
        Some("pdf") => false,
        Some("html" | "htm") => true,
        _ => {
            return Err(Failure::Paper(format!(
                "{}: the name of a working ends in .pdf or .html",
                paper.output.display()
            )));
        }
    };
    block_on(with_record(&paper.record, async |store| {
        let node = node(Kind::Determination, name)?;
        let sheet = working_sheet(store, &node).await?;
        let bytes = if as_html {
            working_html(&sheet).into_bytes()
        } else {
            working_pdf(&sheet)?
        };
        write(&paper.output, &bytes)?;
        let text = format!(
            "The working of {} is printed in {}.\n",
            node.name(),
            paper.output.display()
        );
        Ok((text, ExitCode::Usable))
    }))
}

/// # Errors
/// [`Failure`].
pub(crate) fn label(command: &LabelCommand) -> Result<(String, ExitCode), Failure> {
    let LabelCommand::Print {
        names,
        sheet,
        skip,
        copies,
        paper,
    } = command;
    if *skip >= ON_A_SHEET {
        return Err(Failure::Paper(format!(
            "--skip {skip}: a sheet has {ON_A_SHEET} labels"
        )));
    }
    if names.len().saturating_mul(*copies) > MOST {
        return Err(Failure::Paper(format!(
            "at most {MOST} labels are printed at once"
        )));
    }
    block_on(with_record(&paper.record, async |store| {
        let mut labels = Vec::new();
        for name in names {
            let label = label_sheet(store, &node(Kind::Solution, name)?).await?;
            labels.extend(std::iter::repeat_n(label, *copies));
        }
        let form = if *sheet {
            LabelForm::Sheet { skip: *skip }
        } else {
            LabelForm::Single
        };
        write(&paper.output, &label_pdf(&labels, form)?)?;
        let count = labels.len();
        let word = if count == 1 { "label is" } else { "labels are" };
        Ok((
            format!("{count} {word} printed in {}.\n", paper.output.display()),
            ExitCode::Usable,
        ))
    }))
}
