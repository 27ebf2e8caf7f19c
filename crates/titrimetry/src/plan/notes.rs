//! Preparation notes and hazards, with source: what the catalogue says of a substance, and notes from the trade.

use super::case::{Case, Party};
use chemistry::substances;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// What is said beside every hazard.
pub const DEFERRAL: &str =
    "The safety data sheet of the bottle, local rules and licensed practice decide.";

/// A note.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Note {
    /// The substance it is about; empty for the work as a whole.
    pub about: String,
    /// What kind of note: drying, keeping, water, dissolving, bottle, light, validity, end point, check.
    pub topic: String,
    /// The note.
    pub text: String,
    /// Where it comes from, and how sure that is.
    pub source: String,
}

/// Hazards of one substance.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Hazard {
    /// The substance.
    pub about: String,
    /// Codes with their gist.
    pub statements: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NoteFile {
    sources: BTreeMap<String, String>,
    note: Vec<NoteRecord>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NoteRecord {
    #[serde(rename = "for")]
    about: Vec<String>,
    topic: String,
    text: String,
    source: String,
    mark: crate::rule_profile::Mark,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HazardFile {
    gist: BTreeMap<String, String>,
}

static NOTES: LazyLock<NoteFile> = LazyLock::new(|| {
    let text = include_str!("../../../../reference/preparation/notes.toml");
    match toml::from_str(text) {
        Ok(file) => file,
        Err(error) => {
            panic!("the embedded file reference/preparation/notes.toml is broken: {error}")
        }
    }
});

static HAZARDS: LazyLock<HazardFile> = LazyLock::new(|| {
    let text = include_str!("../../../../reference/preparation/hazards.toml");
    match toml::from_str(text) {
        Ok(file) => file,
        Err(error) => {
            panic!("the embedded file reference/preparation/hazards.toml is broken: {error}")
        }
    }
});

/// Everything that is noted about the case, the titrant first.
pub(super) fn notes(case: &Case) -> Vec<Note> {
    let mut out = Vec::new();
    let standard = matches!(case.opposite, super::case::Opposite::Standard { .. });
    // A titrant that stands there already was made by somebody else.
    let at_hand = case.wishes.titrant.concentration.is_some();
    for (party, weighed) in [(&case.titrant, false), (&case.flask, standard)] {
        let Some(record) = party.record else { continue };
        let mut own = |topic: &str, note: &Option<substances::Note>| {
            if let Some(note) = note {
                out.push(Note {
                    about: party.name.clone(),
                    topic: topic.into(),
                    text: note.text.clone(),
                    source: match (&note.source, note.mark) {
                        (Some(source), substances::Mark::Verified) => format!("{source} (seen)"),
                        _ => "from memory".into(),
                    },
                });
            }
        };
        if weighed {
            own("drying", &record.drying);
        }
        // How a sample is kept is not the standard's business.
        if weighed || party == &case.titrant {
            own("keeping", &record.keeping);
        }
    }
    for record in &NOTES.note {
        let about = match record.about.as_slice() {
            [] => String::new(),
            names => {
                let found = [&case.titrant, &case.flask]
                    .into_iter()
                    .find(|party| concerns(names, party, case, standard, &record.topic));
                match found {
                    Some(party) => party.name.clone(),
                    None => continue,
                }
            }
        };
        if at_hand && !later(&record.topic) {
            continue;
        }
        let source = NOTES.sources.get(&record.source).map_or("", String::as_str);
        let source = sourced(source, record.mark);
        out.push(Note {
            about,
            topic: record.topic.clone(),
            text: record.text.clone(),
            source,
        });
    }
    // Titrant first, then the standard, then what holds for every solution.
    out.sort_by_key(|note| {
        [&case.titrant.name, &case.flask.name]
            .iter()
            .position(|name| **name == note.about)
            .unwrap_or(2)
    });
    out
}

/// Notes on dissolving a standard say nothing of a sample.
fn concerns(names: &[String], party: &Party, case: &Case, standard: bool, topic: &str) -> bool {
    names.contains(&party.name) && (party == &case.titrant || standard || topic == "end point")
}

/// A source with how sure it is, unless that says the same.
pub(super) fn sourced(source: &str, mark: crate::rule_profile::Mark) -> String {
    if source == mark.describe() {
        source.to_owned()
    } else {
        format!("{source} ({})", mark.describe())
    }
}

/// Whether a note still matters when a solution is made.
fn later(topic: &str) -> bool {
    !matches!(topic, "water" | "dissolving" | "check")
}

/// Hazards of titrant, standard and what is added.
pub(super) fn hazards(case: &Case, added: Option<&super::added::Added>) -> Vec<Hazard> {
    let of_reagents = added.into_iter().flat_map(|a| a.hazards.iter().cloned());
    [&case.titrant, &case.flask]
        .into_iter()
        .filter_map(|party| {
            let record = party.record?;
            let statements: Vec<String> = record.hazard.iter().map(|code| said(code)).collect();
            (!statements.is_empty()).then(|| Hazard {
                about: party.name.clone(),
                statements,
            })
        })
        .chain(of_reagents)
        .collect()
}

/// A code such as "H302+H312" or "H250 (powder)" with its gist.
pub(super) fn said(code: &str) -> String {
    let (codes, remark) = code.split_once(' ').map_or((code, ""), |(c, r)| (c, r));
    let gist: Vec<&str> = codes
        .split('+')
        .filter_map(|c| HAZARDS.gist.get(c).map(String::as_str))
        .collect();
    if gist.is_empty() {
        // Said in words already.
        return code.to_owned();
    }
    let remark = if remark.is_empty() {
        String::new()
    } else {
        format!(" {remark}")
    };
    format!("{} ({codes}{remark})", gist.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use chemistry::substances::Catalogue;

    #[test]
    fn every_note_names_a_substance_of_the_catalogue_and_a_source() {
        for note in &NOTES.note {
            assert!(NOTES.sources.contains_key(&note.source), "{}", note.text);
            for name in &note.about {
                assert_eq!(&Catalogue::embedded().find(name).unwrap().name, name);
            }
        }
    }

    #[test]
    fn every_hazard_code_of_the_catalogue_has_its_gist() {
        for substance in Catalogue::embedded().substances() {
            for code in &substance.hazard {
                let codes = code.split(' ').next().unwrap().split('+');
                for c in codes.filter(|c| c[1..].starts_with(|d: char| d.is_ascii_digit())) {
                    assert!(HAZARDS.gist.contains_key(c), "{}: {c}", substance.name);
                }
            }
        }
        assert_eq!(
            said("H302+H312"),
            "harmful if swallowed, harmful to skin (H302+H312)"
        );
        assert_eq!(said("H250 (powder)"), "catches fire in air (H250 (powder))");
    }
}
