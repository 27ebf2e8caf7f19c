//! Reference data of the findings, which are part of the program.

use serde::de::DeserializeOwned;
use std::collections::BTreeMap;

/// Reads an embedded file.
///
/// # Panics
/// If it is broken: a defect of the build, which the tests of the modules that load it show.
pub(super) fn read<T: DeserializeOwned>(file: &str, text: &str) -> T {
    match toml::from_str(text) {
        Ok(data) => data,
        Err(error) => panic!("the embedded file reference/{file} is broken: {error}"),
    }
}

/// Sees to it that an entry's source is listed and its mark known (V seen, M from memory, C common practice).
///
/// # Panics
/// As [`read`].
pub(super) fn check_source(
    file: &str,
    sources: &BTreeMap<String, String>,
    source: &str,
    mark: &str,
) {
    let sound = sources.contains_key(source) && ["V", "M", "C"].contains(&mark);
    assert!(
        sound,
        "the embedded file reference/{file} is broken: source {source}, mark {mark}"
    );
}
