//! The words of the screens. English stands in one file; a language is another file with the same keys, of the program or
//! of whoever serves it. What a language lacks is said in English.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{LazyLock, OnceLock};

/// Why a file of texts cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TextsError {
    /// It is no file of texts.
    #[error("the texts cannot be read: {0}")]
    Form(String),
    /// It does not say of which language it is.
    #[error("the texts begin with [language]: code = \"de\", name = \"Deutsch\"")]
    Language,
    /// A key that the program does not have.
    #[error("the program has no text \"{0}\"; a translation has the keys of texts/en.toml")]
    Key(String),
    /// A place to be filled is missing, or is one too many.
    #[error("the text \"{key}\" must hold {expected}, as the English one does")]
    Places {
        /// Its key.
        key: String,
        /// The places.
        expected: String,
    },
    /// Texts were given before.
    #[error("texts were given already")]
    Twice,
}

/// A language.
#[derive(Debug)]
pub(crate) struct Language {
    /// Its code, such as "en", as a browser asks for it.
    pub(crate) code: String,
    /// Its name in itself.
    pub(crate) name: String,
    /// The decimal mark on its pages, if it is not a point.
    pub(crate) decimal: Option<String>,
    texts: BTreeMap<String, String>,
}

static ENGLISH: LazyLock<Language> = LazyLock::new(|| built_in(include_str!("../texts/en.toml")));
static GERMAN: LazyLock<Language> = LazyLock::new(|| built_in(include_str!("../texts/de.toml")));
static OWN: OnceLock<Language> = OnceLock::new();

fn built_in(text: &str) -> Language {
    parse(text).unwrap_or_else(|error| {
        panic!("an embedded file of texts is broken, as its test shows: {error}")
    })
}

fn parse(text: &str) -> Result<Language, TextsError> {
    let table: toml::Table =
        toml::from_str(text).map_err(|error| TextsError::Form(error.to_string()))?;
    let mut texts = flat(&table);
    let mut said = |key: &str| texts.remove(key).ok_or(TextsError::Language);
    let (code, name) = (said("language.code")?, said("language.name")?);
    if code.is_empty() || !code.chars().all(|c| c.is_ascii_alphanumeric() || c == '-') {
        return Err(TextsError::Language);
    }
    let decimal = texts.remove("language.decimal");
    if decimal
        .as_deref()
        .is_some_and(|mark| mark != "," && mark != ".")
    {
        return Err(TextsError::Language);
    }
    Ok(Language {
        code,
        name,
        decimal,
        texts,
    })
}

fn flat(table: &toml::Table) -> BTreeMap<String, String> {
    let mut out = BTreeMap::new();
    for (section, entries) in table {
        if let toml::Value::Table(entries) = entries {
            for (key, text) in entries {
                if let toml::Value::String(text) = text {
                    out.insert(format!("{section}.{key}"), text.clone());
                }
            }
        }
    }
    out
}

/// The places to be filled: `{n}` and so on.
fn places(text: &str) -> BTreeSet<&str> {
    text.split('{')
        .skip(1)
        .filter_map(|rest| rest.split_once('}').map(|(place, _)| place))
        .collect()
}

/// Compares a language with English: nothing that English lacks, the same places; gives the keys that it lacks.
fn lacks(language: &Language) -> Result<Vec<&'static str>, TextsError> {
    for (key, text) in &language.texts {
        let english = ENGLISH
            .texts
            .get(key)
            .ok_or_else(|| TextsError::Key(key.clone()))?;
        let expected = places(english);
        if places(text) != expected {
            let names: Vec<String> = expected.iter().map(|p| format!("{{{p}}}")).collect();
            return Err(TextsError::Places {
                key: key.clone(),
                expected: if names.is_empty() {
                    "no place to be filled".into()
                } else {
                    names.join(", ")
                },
            });
        }
    }
    Ok(ENGLISH
        .texts
        .keys()
        .filter(|key| !language.texts.contains_key(*key))
        .map(String::as_str)
        .collect())
}

/// Takes a language in beside those of the program; one of the same code takes its place. Gives the keys that it lacks.
///
/// # Errors
/// [`TextsError`].
pub fn add_texts(text: &str) -> Result<Vec<&'static str>, TextsError> {
    let language = parse(text)?;
    let missing = lacks(&language)?;
    OWN.set(language).map_err(|_| TextsError::Twice)?;
    Ok(missing)
}

/// All languages, English first.
pub(crate) fn languages() -> Vec<&'static Language> {
    let mut all: Vec<&'static Language> = vec![&ENGLISH, &GERMAN];
    if let Some(own) = OWN.get() {
        all.retain(|language| language.code != own.code);
        all.push(own);
    }
    all
}

/// The language of a visitor: the one that was chosen, else the first that the browser asks for and that is there.
pub(crate) fn chosen(choice: Option<&str>, accepts: Option<&str>) -> &'static Language {
    let all = languages();
    let find = |code: &str| {
        all.iter()
            .copied()
            .find(|l| l.code.eq_ignore_ascii_case(code))
    };
    if let Some(language) = choice.and_then(find) {
        return language;
    }
    let mut asked: Vec<(f64, &str)> = accepts
        .unwrap_or_default()
        .split(',')
        .map(|part| {
            let (code, quality) = part.split_once(";q=").unwrap_or((part, "1"));
            (quality.trim().parse().unwrap_or(0.0), code.trim())
        })
        .filter(|(quality, _)| *quality > 0.0)
        .collect();
    // A stable sort: of equals the first that is named.
    asked.sort_by(|a, b| b.0.total_cmp(&a.0));
    asked
        .iter()
        .find_map(|(_, code)| find(code).or_else(|| find(code.split('-').next().unwrap_or(code))))
        .unwrap_or(&ENGLISH)
}

tokio::task_local! {
    /// The language of the request that is answered.
    pub(crate) static SPOKEN: &'static Language;
}

/// The language of the request that is answered; English outside of one.
pub(crate) fn spoken() -> &'static Language {
    SPOKEN.try_with(|language| *language).unwrap_or(&ENGLISH)
}

/// The text of a key; the key itself where even English lacks it, which a test forbids.
pub(crate) fn t(key: &'static str) -> &'static str {
    let own = spoken().texts.get(key);
    own.or_else(|| ENGLISH.texts.get(key))
        .map_or(key, String::as_str)
}

/// A word of the record's own in the language of the request, by the section of its sort; the word itself if nobody
/// translated it. A blank of the word is a hyphen in its key.
pub(crate) fn of_record<'a>(section: &str, word: &'a str) -> &'a str {
    let key = format!("{section}.{}", word.replace(' ', "-"));
    let own = spoken().texts.get(&key);
    own.or_else(|| ENGLISH.texts.get(&key))
        .map_or(word, String::as_str)
}

/// The text with its places filled: `{n}` and so on.
pub(crate) fn filled(key: &'static str, places: &[(&str, &str)]) -> String {
    // In one pass, so that a value that looks like a place stays as it is.
    let mut out = String::new();
    let mut rest = t(key);
    while let Some((before, after)) = rest.split_once('{') {
        out.push_str(before);
        let place = after.split_once('}').and_then(|(name, then)| {
            let (_, value) = places.iter().find(|(place, _)| *place == name)?;
            Some((value, then))
        });
        match place {
            Some((value, then)) => {
                out.push_str(value);
                rest = then;
            }
            None => {
                out.push('{');
                rest = after;
            }
        }
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use notebook::graph::How;
    use notebook::payload::Role;
    use std::path::Path;

    fn sources(folder: &Path, into: &mut String) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                sources(&path, into);
            } else if path.extension().is_some_and(|e| e == "rs") {
                into.push_str(&std::fs::read_to_string(path).unwrap());
            }
        }
    }

    #[test]
    fn every_text_is_there_and_used() {
        let mut code = String::new();
        sources(
            &Path::new(env!("CARGO_MANIFEST_DIR")).join("src"),
            &mut code,
        );
        let mut used = BTreeSet::new();
        for opener in ["t(\"", "filled(\"", "filled(\n"] {
            for (at, _) in code.match_indices(opener) {
                // The end of another word, such as get("x").
                if code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_') {
                    continue;
                }
                let rest = code[at + opener.len()..]
                    .trim_start()
                    .trim_start_matches('"');
                let key = rest.split('"').next().unwrap_or_default();
                if key.contains('.') && !key.contains([' ', '/', '(']) {
                    used.insert(key.to_string());
                }
            }
        }
        let of_record = notebook::Payload::KINDS
            .iter()
            .map(|(kind, ..)| ("event", *kind))
            .chain(How::ALL.iter().map(|how| ("how", how.word())))
            .chain(Role::ALL.iter().map(|role| ("role", role.word())))
            .chain(crate::page::bench::STEPS.iter().map(|step| ("step", *step)))
            .chain(
                crate::words::STATUSES
                    .iter()
                    .map(|status| ("status", *status)),
            );
        used.extend(of_record.map(|(sort, word)| format!("{sort}.{}", word.replace(' ', "-"))));
        used.extend(crate::page::forms::texts());
        // Words of the engine: each key is the word itself.
        for (key, text) in &ENGLISH.texts {
            let engine = |sort: &&&str| key.starts_with(**sort);
            if let Some(sort) = crate::words::OF_THE_ENGINE.iter().find(engine) {
                assert_eq!(key[sort.len()..], text.replace(' ', "-"));
                used.insert(key.clone());
            }
        }
        let known: BTreeSet<String> = ENGLISH.texts.keys().cloned().collect();
        // Tables hold keys too.
        let in_tables = |key: &&String| code.contains(&format!("\"{key}\""));
        used.extend(known.iter().filter(in_tables).cloned());
        let missing: Vec<_> = used.difference(&known).collect();
        assert!(missing.is_empty(), "not in texts/en.toml: {missing:?}");
        let idle: Vec<_> = known.difference(&used).collect();
        assert!(idle.is_empty(), "nobody says: {idle:?}");
    }

    #[test]
    fn every_language_of_the_program_fits_english() {
        for language in languages() {
            let missing = lacks(language).unwrap();
            assert!(missing.is_empty(), "{} lacks {missing:?}", language.code);
        }
    }

    #[test]
    fn what_does_not_fit_is_named() {
        let of = |entries: &str| {
            let text = format!("[language]\ncode = \"xx\"\nname = \"X\"\n{entries}");
            lacks(&parse(&text)?)
        };
        assert_eq!(
            of("[bench]\ntak = \"x\"").unwrap_err(),
            TextsError::Key("bench.tak".into())
        );
        assert_eq!(
            of("[bench]\nrun = \"x\"\nwaiting = \"{m} x\"")
                .unwrap_err()
                .to_string(),
            "the program has no text \"bench.run\"; a translation has the keys of texts/en.toml"
        );
        assert_eq!(
            of("[bench]\nwaiting = \"{m} x\"").unwrap_err().to_string(),
            "the text \"bench.waiting\" must hold {n}, as the English one does"
        );
        let missing = of("[bench]\ntake = \"x\"").unwrap();
        assert!(missing.contains(&"bench.waiting") && !missing.contains(&"bench.take"));
        assert_eq!(parse("[bench]").unwrap_err(), TextsError::Language);
    }

    #[test]
    fn a_browser_is_answered_in_its_language() {
        let code = |choice, accepts| chosen(choice, accepts).code.as_str();
        assert_eq!(code(None, Some("de-AT,de;q=0.9,en;q=0.8")), "de");
        assert_eq!(code(None, Some("fr, en;q=0.5, de;q=0.7")), "de");
        assert_eq!(code(None, Some("fr")), "en");
        assert_eq!(code(Some("en"), Some("de")), "en");
        assert_eq!(code(Some("klingon"), None), "en");
    }

    #[test]
    fn a_value_is_not_taken_for_a_place() {
        let said = filled("bench.waiting", &[("n", "{n}")]);
        assert!(said.starts_with("{n} waiting"), "{said}");
    }
}
