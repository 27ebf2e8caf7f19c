//! The shipped methods.

use super::{Method, MethodError};
use std::sync::LazyLock;

/// Name and text of each file.
const FILES: &[(&str, &str)] = &include!(concat!(env!("OUT_DIR"), "/methods.rs"));

static METHODS: LazyLock<Vec<Method>> = LazyLock::new(|| {
    FILES
        .iter()
        .map(|(file, text)| {
            Method::read(text).unwrap_or_else(|error| {
                panic!("reference/methods/{file} is valid, as its test shows: {error}")
            })
        })
        .collect()
});

/// All shipped methods, by name.
pub fn all() -> &'static [Method] {
    &METHODS
}

/// A shipped method by its name.
///
/// # Errors
/// [`MethodError::Unknown`] with the names that look alike, or all of them.
pub fn find(name: &str) -> Result<&'static Method, MethodError> {
    let key = name.trim().to_lowercase();
    all()
        .iter()
        .find(|method| method.name == key)
        .ok_or_else(|| {
            let words: Vec<&str> = key.split(['-', ' ']).filter(|w| w.len() > 2).collect();
            let mut near: Vec<String> = all()
                .iter()
                .filter(|m| {
                    words
                        .iter()
                        .any(|w| m.name.contains(w) || m.title.to_lowercase().contains(w))
                })
                .map(|m| m.name.clone())
                .collect();
            if near.is_empty() {
                near = all().iter().map(|m| m.name.clone()).collect();
            }
            MethodError::Unknown {
                asked: name.chars().take(60).collect(),
                near,
            }
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_file_is_sound_and_named_after_its_file() {
        for (file, text) in FILES {
            let method = Method::read(text).unwrap_or_else(|error| panic!("{file}: {error}"));
            assert_eq!(format!("{}.toml", method.name), *file);
        }
        let mut names: Vec<&str> = all().iter().map(|m| m.name.as_str()).collect();
        names.dedup();
        assert_eq!(names.len(), FILES.len());
    }
}
