//! What a person keeps, as PDF: certificates with their budget, labels of bottles; and the check of a certificate
//! against the record.
//!
//! Pure: bytes out of data. Pages are PDF/A-3 level a (ISO 19005-3: fonts embedded, structure for screen readers,
//! attached data), and the library that writes them refuses what breaks that standard. The same data give the same bytes,
//! which is what [`check`] rests on.
//!
//! * [`CertificateSheet::of`] gathers what a certificate says; [`certificate_pdf`] prints it with the sheet attached.
//! * [`attached`] reads the sheet out of a file again, [`check`] compares file and record.
//! * [`WorkingSheet::of`] and [`working_pdf`] give the worked solution with the run table.
//! * [`LabelSheet::of`] and [`label_pdf`] make labels.
#![forbid(unsafe_code)]

mod budget;
mod check;
mod code;
mod document;
mod error;
mod from_evaluation;
mod from_record;
mod label;
mod paper;
mod rows;
pub mod sheet;
mod symbols;
mod typeface;
mod words;
mod working;

pub use check::{CertificateCheck, CheckError, MAX_FILE, attached, check};
pub use code::Code;
pub use document::{ATTACHED, certificate_pdf, code_of};
pub use error::CertificateError;
pub use label::{Found, LabelForm, LabelSheet, ON_A_SHEET, label_pdf};
pub use rows::{Row, Weight, said_rows};
pub use sheet::{CertificateSheet, Standing};
pub use words::{name_of, terms};
pub use working::{RunTable, WorkedResult, WorkingSheet, working_pdf};
