//! What a certificate says of its result, row by row: the same rows on paper and on the page.

use crate::sheet::{CertificateSheet, Thread};
use crate::words::{bound, certainty, percent, typeset};

/// How much a line weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weight {
    /// Running text.
    Plain,
    /// Beside the matter.
    Quiet,
    /// What the eye should find.
    Strong,
    /// What must not be missed.
    Accent,
}

type Lines = Vec<(Weight, String)>;

/// A row: its name and its lines.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its name.
    pub name: &'static str,
    /// Its lines.
    pub lines: Vec<(Weight, String)>,
}

/// The rows of a certificate that have something to say.
pub fn said_rows(sheet: &CertificateSheet) -> Vec<Row> {
    let plain =
        |lines: Vec<String>| -> Lines { lines.into_iter().map(|l| (Weight::Plain, l)).collect() };
    let mut traced: Lines = Vec::new();
    if !sheet.traced.is_empty() {
        traced.push((
            Weight::Quiet,
            "In this record the result takes its value, with its uncertainty, from:".to_string(),
        ));
        traced.extend(plain(sheet.traced.iter().map(thread).collect()));
    }
    let conditions: Vec<String> = sheet
        .conditions
        .iter()
        .map(|(what, written)| format!("{what} {}", typeset(written)))
        .collect();
    let until = sheet
        .use_before
        .map(|day| (Weight::Strong, day.to_string()));
    [
        ("Traced to", traced),
        (
            "Apparatus",
            plain(sheet.apparatus.iter().map(thread).collect()),
        ),
        ("Method", plain(sheet.method.clone())),
        (
            "Conditions",
            if conditions.is_empty() {
                Vec::new()
            } else {
                plain(vec![conditions.join(", ")])
            },
        ),
        ("Rules", rules(sheet)),
        ("Decision", decisions(sheet)),
        ("Valid until", until.into_iter().collect()),
        ("Names", people(sheet)),
    ]
    .into_iter()
    .filter(|(_, lines)| !lines.is_empty())
    .map(|(name, lines)| Row {
        name,
        lines: lines
            .into_iter()
            .map(|(w, text)| (w, bound(&text)))
            .collect(),
    })
    .collect()
}

fn thread(thread: &Thread) -> String {
    let by = thread
        .by
        .as_deref()
        .unwrap_or("no certificate in the record");
    let what = if thread.what.is_empty() {
        String::new()
    } else {
        format!(", {}", thread.what)
    };
    format!("{}{what}: {by}", thread.on.name())
}

fn rules(sheet: &CertificateSheet) -> Lines {
    let rules = &sheet.rules;
    let mut lines = Vec::new();
    let name = match &rules.purpose {
        Some(purpose) => format!("{}: {purpose}", rules.profile),
        None => rules.profile.clone(),
    };
    lines.push((Weight::Plain, name));
    lines.push(if rules.usable {
        (Weight::Strong, "kept: the result may be used".into())
    } else {
        (
            Weight::Accent,
            "not kept: the result may not be used as it stands".into(),
        )
    });
    for found in &rules.findings {
        let set = if found.weight.as_deref() == Some("rule broken") {
            Weight::Plain
        } else {
            Weight::Quiet
        };
        let said = match (&found.weight, &found.message) {
            (Some(weight), Some(message)) => format!("{weight}: {message}"),
            _ => format!("found: {}", found.code.replace('-', " ")),
        };
        lines.push((set, said));
    }
    lines
}

fn decisions(sheet: &CertificateSheet) -> Lines {
    let mut lines = Vec::new();
    for decision in &sheet.decisions {
        let limits = decision
            .limits
            .as_deref()
            .map(|l| format!(", limits {l}"))
            .unwrap_or_default();
        let wanted = match (decision.wanted, &decision.rule) {
            (Some(least), _) => format!("; accepted from {} on", percent(least)),
            (None, Some(rule)) => format!("; {rule}"),
            (None, None) => String::new(),
        };
        lines.push((
            Weight::Plain,
            format!(
                "{}{limits}: kept with a probability {}{wanted}",
                decision.of.name(),
                certainty(decision.probability)
            ),
        ));
        lines.push(if decision.accepted {
            (Weight::Strong, "the limits are kept".into())
        } else {
            (Weight::Accent, "the limits are not kept".into())
        });
    }
    lines
}

fn people(sheet: &CertificateSheet) -> Lines {
    sheet
        .people
        .iter()
        .map(|person| {
            let meaning = person
                .meaning
                .as_deref()
                .map(|m| format!(", “{m}”"))
                .unwrap_or_default();
            (
                Weight::Plain,
                format!(
                    "{} by {}, {}{meaning}",
                    person.did,
                    person.name,
                    person.at.day()
                ),
            )
        })
        .collect()
}
