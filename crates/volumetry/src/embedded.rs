//! Reference data that are part of the program.

use serde::de::DeserializeOwned;

/// Reads an embedded TOML file.
///
/// # Panics
/// If the file does not fit its type. It is part of the program, so that is a defect of the build; each module has a
/// test that loads its file.
pub(crate) fn parse<T: DeserializeOwned>(file: &str, text: &str) -> T {
    match toml::from_str(text) {
        Ok(data) => data,
        Err(error) => panic!("the embedded file reference/{file} is broken: {error}"),
    }
}
