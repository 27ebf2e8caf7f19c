//! What an event says, in a few words: what was entered, and where something changed, what stood there before.

use super::result::rounded;
use crate::text::{filled, t};
use crate::words;
use notebook::payload::{Evaluated, Payload, RunStarted, Slot};
use notebook::{Event, Node};
use serde_json::Value;
use titrimetry::sheet::RunKind;

/// The members of payloads that a person looks for, by their path; `#` stands for the number in a list.
const WORDS: &[(&str, &str)] = &[
    ("title", "new.called"),
    ("name", "happened.name"),
    ("substance", "shelf.substance"),
    ("nominal", "shelf.nominal"),
    ("volume", "shelf.volume"),
    ("kept", "shelf.kept"),
    ("use_before", "shelf.use_before"),
    ("hazard", "facts.hazard"),
    ("serves_as", "shelf.serves_as"),
    ("makers_lot", "shelf.makers_lot"),
    ("certificate.number", "shelf.certificate"),
    ("certificate.purity.value", "shelf.purity"),
    ("certificate.purity.U", "happened.purity_u"),
    ("certificate.concentration.value", "facts.concentration"),
    ("certificate.concentration.U", "happened.concentration_u"),
    ("certificate", "facts.calibration"),
    ("expires", "shelf.expires"),
    ("due", "shelf.due"),
    ("piece.glass", "facts.piece"),
    ("piece.glass.catalogue", "facts.piece"),
    ("piece.balance", "facts.balance"),
    ("piece.balance.readability", "form.readability"),
    ("piece.balance.repeatability", "form.repeatability"),
    ("piece.balance.linearity", "form.linearity"),
    ("made_of.#.from", "form.from"),
    ("made_of.#.amount", "form.amount"),
    ("with.#.from", "form.with"),
    ("with.#.amount", "form.amount"),
    ("what", "shelf.what"),
    ("from", "shelf.from"),
    ("limits.from", "form.least"),
    ("limits.to", "form.most"),
    ("expected.value", "form.expected"),
    ("expected.U", "new.expanded"),
    ("roles.#", "people.role"),
    ("method.version", "facts.version"),
    ("profile.version", "facts.version"),
    ("plan.sought", "new.sought"),
    ("plan.known.lot", "new.known"),
    ("plan.known.solution.solution", "new.known"),
    ("plan.method", "new.method"),
    ("plan.titrant.known.lot", "facts.titrant"),
    ("plan.titrant.known.solution.solution", "facts.titrant"),
    ("plan.samples.#", "runs.sample"),
    ("plan.indicator", "new.indicator"),
    ("burette", "new.burette"),
    ("balance", "new.balance"),
    ("pipette", "new.pipette"),
    ("rules", "new.rules"),
    ("conditions.temperature", "bench.temperature"),
    ("conditions.temperature_within", "bench.temperature_within"),
    ("conditions.pressure", "bench.pressure"),
    ("conditions.humidity", "bench.humidity"),
    ("determination", "threads.determination"),
    ("replaces", "happened.replaces"),
    ("by", "happened.by"),
    ("after", "bench.recheck_after"),
    ("told", "happened.told"),
];

/// Members that are said without a word before them.
const PLAIN: [&str; 5] = ["reason", "text", "meaning", "note", "how"];

/// The event in words; `earlier` are events of the same thing before it.
pub(crate) fn happened(event: &Event, earlier: &[&Event]) -> Vec<String> {
    match &event.payload {
        Payload::ReadingTaken(p) => vec![
            place(p.run, p.sample.as_ref(), p.reading, earlier),
            words::quantity(&p.value),
        ],
        Payload::ReadingCorrected(p) => vec![
            place(p.run, p.sample.as_ref(), p.reading, earlier),
            turned(p.was.as_deref(), &p.value),
            p.reason.clone(),
        ],
        Payload::RunStarted(p) => {
            let kind = words::run_kind(p.run_kind);
            let sample = p.sample.iter().map(|node| node.name().to_string());
            let titration = p.titration.clone();
            std::iter::once(kind.to_string())
                .chain(sample)
                .chain(titration)
                .collect()
        }
        Payload::CheckedOff(p) => vec![words::step(&p.step).into()],
        Payload::FileAttached(p) => vec![p.name.clone()],
        Payload::DeterminationRecomputed(p) => {
            let mut said = vec![match &p.now {
                Some(now) => turned(Some(&found(&p.was)), &found(now)),
                None => p.failed.clone().unwrap_or_default(),
            }];
            said.extend(p.flips.then(|| t("happened.flips").to_string()));
            said
        }
        payload => of_members(payload, earlier),
    }
}

fn place(run: u32, sample: Option<&Node>, slot: Slot, earlier: &[&Event]) -> String {
    let of = match sample {
        Some(sample) => sample.name().to_string(),
        None => called(run, earlier),
    };
    format!("{of}, {}", words::slot(slot))
}

/// A run as its table calls it; by the order of beginning where that is not among the events.
fn called(run: u32, earlier: &[&Event]) -> String {
    let runs: Vec<&RunStarted> = earlier
        .iter()
        .filter_map(|event| match &event.payload {
            Payload::RunStarted(started) => Some(&**started),
            _ => None,
        })
        .collect();
    let Some(of) = runs.iter().find(|started| started.run == run) else {
        return filled("happened.run_nth", &[("n", &run.to_string())]);
    };
    let alike = runs.iter().filter(|other| {
        other.run_kind == of.run_kind
            && other.sample == of.sample
            && other.titration == of.titration
            && other.run <= run
    });
    let sample = of.sample.iter().map(Node::name);
    let titration = of.titration.as_deref();
    let (n, kind) = (alike.count(), of.run_kind);
    let name = match kind {
        RunKind::Replicate => format!("{} {n}", t("happened.run")),
        _ if n == 1 => words::run_kind(kind).into(),
        _ => format!("{} {n}", words::run_kind(kind)),
    };
    let all: Vec<&str> = sample.chain(titration).chain([name.as_str()]).collect();
    all.join(", ")
}

/// What stood there, and what stands there.
fn turned(was: Option<&str>, now: &str) -> String {
    match was.filter(|was| *was != now) {
        Some(was) => format!("{} → {}", words::quantity(was), words::quantity(now)),
        None => words::quantity(now),
    }
}

/// The results, rounded.
fn found(evaluated: &Evaluated) -> String {
    let results = evaluated.results.iter().map(|result| {
        let (value, u) = rounded(result.value, result.expanded_uncertainty);
        format!("{value} ± {u} {}", result.unit)
    });
    results.collect::<Vec<_>>().join("; ")
}

fn of_members(payload: &Payload, earlier: &[&Event]) -> Vec<String> {
    let mut now = members(payload);
    now.sort_by_key(|(path, _)| {
        let general = general(path);
        let known = WORDS.iter().position(|(member, _)| *member == general);
        known.unwrap_or(WORDS.len())
    });
    // What it was before: as the payload itself says, or the events before it.
    let corrected = correction(&now);
    let before: Vec<(String, String)> = match &corrected {
        Some(was) => was.clone(),
        None => earlier
            .iter()
            .rev()
            .flat_map(|e| members(&e.payload))
            .collect(),
    };
    let old = |path: &str| {
        let found = before.iter().find(|(p, _)| p == path);
        found.map(|(_, value)| value.as_str())
    };
    let mut said = Vec::new();
    for (path, value) in &now {
        if path.starts_with("was.") {
            continue;
        }
        if PLAIN.contains(&path.as_str()) {
            said.push(value.clone());
            continue;
        }
        let was = old(path);
        if corrected.is_some() && was == Some(value) {
            continue;
        }
        if let Some(word) = word_of(path, &now) {
            let was = was.filter(|_| !path.contains('#') && !path.contains("made_of"));
            said.push(format!("{word} {}", turned(was, &shown(path, value))));
        }
    }
    if let Some(was) = &corrected {
        for (path, value) in was {
            if !now.iter().any(|(p, _)| p == path)
                && let Some(word) = word_of(path, was)
            {
                said.push(format!("{word} {} → –", words::quantity(value)));
            }
        }
    }
    let points = now
        .iter()
        .filter(|(path, _)| path.starts_with("piece.") && path.ends_with(".correction"));
    let points = points.count();
    if points > 0 && corrected.is_none() {
        said.push(filled("happened.points", &[("n", &points.to_string())]));
    }
    let evaluated = match payload {
        Payload::DeterminationClosed(p) => p.evaluated.as_ref(),
        Payload::DeterminationApproved(p) => p.evaluated.as_ref(),
        Payload::CertificateIssued(p) => p.evaluated.as_ref(),
        Payload::SolutionStandardized(p) => Some(&p.evaluated),
        _ => None,
    };
    said.extend(evaluated.map(found));
    let run = match payload {
        Payload::RunSetAside(p) => Some(p.run),
        Payload::RunRestored(p) => Some(p.run),
        Payload::Remarked(p) => p.run,
        _ => None,
    };
    if let Some(run) = run {
        said.insert(0, called(run, earlier));
    }
    said.retain(|text| !text.is_empty());
    said
}

/// The members `was.…` of a correction, under the paths that they stand beside now; none if it is no correction.
fn correction(now: &[(String, String)]) -> Option<Vec<(String, String)>> {
    let corrected = ["certificate.", "piece."]
        .into_iter()
        .find(|whole| now.iter().any(|(path, _)| path.starts_with(whole)))?;
    let was: Vec<(String, String)> = now
        .iter()
        .filter_map(|(path, value)| {
            Some((
                format!("{corrected}{}", path.strip_prefix("was.")?),
                value.clone(),
            ))
        })
        .collect();
    (!was.is_empty()).then_some(was)
}

/// The texts and numbers of a payload, each with its path.
fn members(payload: &Payload) -> Vec<(String, String)> {
    let mut out = Vec::new();
    if let Ok(value) = serde_json::to_value(payload) {
        flat(&value["payload"], String::new(), &mut out);
    }
    out
}

fn flat(value: &Value, path: String, out: &mut Vec<(String, String)>) {
    let under = |name: &str| match path.as_str() {
        "" => name.to_string(),
        path => format!("{path}.{name}"),
    };
    match value {
        // What a method or a profile says in full stands on its own page.
        Value::Object(inner) => {
            for (name, value) in inner.iter().filter(|(name, _)| *name != "evaluated") {
                flat(value, under(name), out);
            }
        }
        Value::Array(inner) => {
            for (n, value) in inner.iter().enumerate() {
                flat(value, under(&n.to_string()), out);
            }
        }
        Value::String(text) => out.push((path, text.clone())),
        Value::Number(number) => out.push((path, number.to_string())),
        Value::Bool(_) | Value::Null => {}
    }
}

/// The words of a member; those of a point of a calibration say where it lies.
fn word_of(path: &str, all: &[(String, String)]) -> Option<String> {
    if let Some((point, name)) = path.rsplit_once('.')
        && path.starts_with("piece.glass.calibration.points.")
        && all
            .iter()
            .any(|(path, _)| path.starts_with("was.") || path.contains("points."))
    {
        let at = format!("{point}.at");
        let (_, at) = all.iter().find(|(path, _)| *path == at)?;
        let word = match name {
            "correction" => t("form.correction"),
            "u" => t("form.u"),
            _ => return None,
        };
        let corrects = all.iter().any(|(path, _)| path.starts_with("was."));
        return corrects.then(|| format!("{}: {word}", words::quantity(at)));
    }
    let general = general(path);
    let (_, word) = WORDS.iter().find(|(member, _)| *member == general)?;
    Some(t(word).to_string())
}

/// A path without the numbers of its lists.
fn general(path: &str) -> String {
    let members = path.split('.').map(|member| match member.parse::<usize>() {
        Ok(_) => "#",
        Err(_) => member,
    });
    members.collect::<Vec<_>>().join(".")
}

/// A value as people read it: a thing by its short name, a word of the record in the language of the page.
fn shown(path: &str, value: &str) -> String {
    if let Ok(node) = value.parse::<Node>() {
        return node.name().to_string();
    }
    match path {
        "serves_as" if value == "standard" => t("shelf.standard").into(),
        "serves_as" => t("shelf.reagent").into(),
        _ if path.starts_with("roles.") => crate::text::of_record("role", value).to_string(),
        _ => words::quantity(value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn event(number: u64, kind: &str, payload: Value) -> Event {
        let command: notebook::Command =
            serde_json::from_value(json!({ "on": on(kind), "kind": kind, "payload": payload }))
                .unwrap();
        Event {
            number,
            id: String::new(),
            stream: command.on,
            stream_version: number,
            at: "2026-03-12T09:00:00+01:00".parse().unwrap(),
            who: "sorrel".into(),
            device: "test".into(),
            cause: notebook::Cause::default(),
            payload: command.payload,
            previous: notebook::Hash::of(b""),
        }
    }

    fn on(kind: &str) -> &'static str {
        match kind.split_once('-').unwrap().0 {
            "lot" => "lot/S-0107",
            "solution" => "solution/T-1",
            _ => "determination/D-1",
        }
    }

    #[test]
    fn a_correction_says_what_stood_there_and_what_stands_there() {
        let corrected = event(
            2,
            "lot-certificate-corrected",
            json!({
                "certificate": { "number": "A-2209", "concentration": { "value": "0.1004 mol/L", "U": "0.0002 mol/L" } },
                "was": { "number": "A-2209", "concentration": { "value": "0.1040 mol/L", "U": "0.0002 mol/L" } },
                "reason": "digits swapped",
            }),
        );
        let said = happened(&corrected, &[]);
        assert_eq!(said.len(), 2, "{said:?}");
        assert!(said[0].ends_with("0.1040 mol/L → 0.1004 mol/L"), "{said:?}");
        assert_eq!(said[1], "digits swapped");
        let reading = event(
            3,
            "reading-corrected",
            json!({ "run": 4, "reading": "final", "was": "52.43 mL", "value": "25.43 mL", "reason": "swapped" }),
        );
        let said = happened(&reading, &[]);
        assert!(said[1] == "52.43 mL → 25.43 mL", "{said:?}");
    }

    #[test]
    fn what_moves_says_where_it_stood() {
        let made = event(
            1,
            "solution-prepared",
            json!({ "substance": "NaOH", "nominal": "0.1 mol/L", "kept": "cupboard 2" }),
        );
        let moved = event(2, "solution-moved", json!({ "kept": "balance room" }));
        let said = happened(&moved, &[&made]).join(" ");
        assert!(said.ends_with("cupboard 2 → balance room"), "{said}");
    }
}
