//! The words of the screens, all in one file: a translation is another such file.

use std::collections::BTreeMap;
use std::sync::LazyLock;

static ENGLISH: LazyLock<BTreeMap<String, String>> =
    LazyLock::new(|| match toml::from_str(include_str!("../texts/en.toml")) {
        Ok(texts) => flat(&texts),
        Err(error) => panic!("the embedded file texts/en.toml is broken: {error}"),
    });

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

/// The text of a key; the key itself where the file lacks it, which a test forbids.
pub(crate) fn t(key: &'static str) -> &'static str {
    ENGLISH.get(key).map_or(key, String::as_str)
}

/// The text with its places filled: `{n}` and so on.
pub(crate) fn filled(key: &'static str, places: &[(&str, &str)]) -> String {
    let mut text = t(key).to_string();
    for (place, value) in places {
        text = text.replace(&format!("{{{place}}}"), value);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
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
                let rest = code[at + opener.len()..]
                    .trim_start()
                    .trim_start_matches('"');
                let key = rest.split('"').next().unwrap_or_default();
                if key.contains('.') && !key.contains([' ', '/', '(']) {
                    used.insert(key.to_string());
                }
            }
        }
        let known: BTreeSet<String> = ENGLISH.keys().cloned().collect();
        let missing: Vec<_> = used.difference(&known).collect();
        assert!(missing.is_empty(), "not in texts/en.toml: {missing:?}");
        let idle: Vec<_> = known.difference(&used).collect();
        assert!(idle.is_empty(), "nobody says: {idle:?}");
    }
}
