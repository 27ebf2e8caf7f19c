//! The record's own words in the language of a page: statuses, roles, threads, events, readings, steps of the checklist. The
//! record keeps them in English, whoever reads it.

use crate::answer::Fault;
use crate::text::{filled, of_record, t};
use notebook::payload::{Piece, Role, Slot};
use notebook::{Kind, Refusal, graph::How};
use store::StoreError;
use titrimetry::sheet::{BalanceSpec, RunKind};

/// Every status that the lists of a record give.
#[cfg(test)]
pub(crate) const STATUSES: [&str; 22] = [
    "open",
    "closed",
    "reviewed",
    "approved",
    "computed again",
    "given up",
    "current",
    "superseded",
    "withdrawn",
    "unopened",
    "opened",
    "gone",
    "not standardized",
    "standardized",
    "topped up",
    "here",
    "left",
    "in use",
    "out of service",
    "one person",
    "shared",
    "noted",
];

/// A status, such as "open".
pub(crate) fn status(word: &str) -> &str {
    of_record("status", word)
}

/// What a person may do.
pub(crate) fn role(role: Role) -> &'static str {
    of_record("role", role.word())
}

/// How one thing rests on another.
pub(crate) fn how(how: How) -> &'static str {
    of_record("how", how.word())
}

/// What happened, by the kind of its event.
pub(crate) fn event(kind: &'static str) -> &'static str {
    of_record("event", kind)
}

/// Sections of words of the engine that pages translate: what limits a result, lines of a plan, advice, run rules, rows of a
/// certificate, what counts.
#[cfg(test)]
pub(crate) const OF_THE_ENGINE: [&str; 7] = [
    "group.",
    "plan_line.",
    "verdict.",
    "advice.",
    "signal.",
    "row.",
    "counts.",
];

/// A word of the engine in the language of the page; the word itself where it has no text.
pub(crate) fn engine<'a>(section: &str, word: &'a str) -> &'a str {
    of_record(section, word)
}

/// Why a thing may not be used, as the record says it.
pub(crate) fn objection(said: &str) -> String {
    let begins = [
        ("it expired on ", "objection.expired"),
        ("its calibration was due on ", "objection.calibration"),
        ("its last day of use was ", "objection.last_day"),
        ("its standardization held until ", "objection.held"),
        ("its standardization no longer holds: ", "objection.ended"),
        (
            "its certificate was not entered",
            "objection.no_certificate",
        ),
        ("it was not standardized", "objection.not_standardized"),
        ("it is out of service: ", "objection.out_of_service"),
        ("it is gone: ", "objection.gone"),
        ("it was withdrawn: ", "objection.withdrawn"),
        ("the person left: ", "objection.left"),
    ];
    begins
        .iter()
        .find_map(|(begin, key)| Some(filled(key, &[("what", said.strip_prefix(begin)?)])))
        .unwrap_or_else(|| said.to_string())
}

/// Several of them.
pub(crate) fn objections(said: &str) -> String {
    let each: Vec<String> = said.split("; ").map(objection).collect();
    each.join("; ")
}

/// Why something was not done. What the record says often, it says in the language of the page.
pub(crate) fn fault(fault: &Fault) -> String {
    let Fault::Store(StoreError::Refused(refusal)) = fault else {
        return match fault {
            Fault::Form(said) => lacking(said).unwrap_or_else(|| said.clone()),
            other => other.to_string(),
        };
    };
    match refusal {
        Refusal::Taken(node) => filled("refused.taken", &[("name", node.name())]),
        Refusal::Missing(node) => filled(
            "fault.not_there",
            &[("thing", kind(node.kind())), ("name", node.name())],
        ),
        Refusal::Reason => t("refused.reason").into(),
        Refusal::NotUsable { node, why } => {
            filled("refused.not_usable", &[("name", node.name()), ("why", why)])
        }
        other => other.to_string(),
    }
}

/// A field that is empty and may not be.
fn lacking(said: &str) -> Option<String> {
    let (_, rest) = said.split_once("missing field `")?;
    let (field, _) = rest.split_once('`')?;
    Some(filled("refused.lacks", &[("field", field)]))
}

/// A written quantity as people read it: the degree sign, raised digits in units.
pub(crate) fn quantity(text: &str) -> String {
    let text = match text.strip_prefix('-') {
        Some(rest) if rest.starts_with(|c: char| c.is_ascii_digit()) => format!("−{rest}"),
        _ => text.to_string(),
    };
    text.replace("degC", "°C")
        .replace("/m3", "/m³")
        .replace("/cm3", "/cm³")
}

/// A piece of glass or a balance, in a few words.
pub(crate) fn piece(piece: &Piece) -> String {
    match piece {
        Piece::Glass(spec) => spec.catalogue().to_string(),
        Piece::Balance(BalanceSpec::Name(name)) => name.clone(),
        Piece::Balance(BalanceSpec::Own(own)) => {
            format!("{}, {}", t("facts.balance"), own.readability)
        }
    }
}

/// Which kind of run.
pub(crate) fn run_kind(kind: RunKind) -> &'static str {
    match kind {
        RunKind::Rough => t("runs.rough"),
        RunKind::Blank => t("runs.blank"),
        RunKind::Replicate => t("happened.replicate"),
    }
}

/// A step of the checklist.
pub(crate) fn step(step: &str) -> &str {
    of_record("step", step)
}

/// What a thing is.
pub(crate) fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::Lot => t("threads.lot"),
        Kind::Apparatus => t("threads.apparatus"),
        Kind::Solution => t("threads.solution"),
        Kind::Sample => t("threads.sample"),
        Kind::Method => t("threads.method"),
        Kind::Rules => t("threads.rules"),
        Kind::Determination => t("threads.determination"),
        Kind::Certificate => t("threads.certificate"),
        other => other.word(),
    }
}

/// A reading, in a word or two.
pub(crate) fn slot(slot: Slot) -> String {
    match slot {
        Slot::Initial => t("slot.initial").into(),
        Slot::Final => t("slot.final").into(),
        Slot::Mass => t("slot.mass").into(),
        Slot::Gross => t("reading.gross").into(),
        Slot::Tare => t("reading.tare").into(),
        Slot::Temperature => t("slot.temperature").into(),
        Slot::Duration => t("reading.duration").into(),
        Slot::Added => t("slot.added").into(),
        Slot::End(n) => filled("slot.end", &[("n", &n.to_string())]),
        Slot::RefillInitial(n) => filled("slot.fill_initial", &[("n", &(n + 1).to_string())]),
        Slot::RefillFinal(n) => filled("slot.fill_final", &[("n", &(n + 1).to_string())]),
    }
}
