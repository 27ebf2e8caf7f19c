//! Payloads of earlier versions, read for ever.
//!
//! A step turns the JSON of one version of a kind into that of the next. To change a payload: raise its version in
//! [`crate::payload`], add the step here, leave the golden file of the old version where it is and add one of the new.

use crate::payload::{Payload, without_place};
use serde_json::Value;
use thiserror::Error;

/// Why a payload cannot be read.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum UpcastError {
    /// A kind that this program does not know.
    #[error(
        "events of the kind \"{0}\" are unknown to this version of the program; open the record with a newer one"
    )]
    Kind(String),
    /// A version that this program does not know.
    #[error(
        "\"{kind}\" has version {version}, this program reads up to {known}; open the record with a newer one"
    )]
    Version {
        /// The kind.
        kind: String,
        /// The version in the record.
        version: u32,
        /// The newest that is known.
        known: u32,
    },
    /// The payload does not have the form of its version.
    #[error("the payload of \"{kind}\" (version {version}) cannot be read: {reason}")]
    Form {
        /// The kind.
        kind: String,
        /// The version in the record.
        version: u32,
        /// What is wrong.
        reason: String,
    },
}

/// Turns a payload of one version into the next.
type Step = fn(Value) -> Value;

/// The steps: kind, version that it reads, what it does.
const STEPS: &[(&str, u32, Step)] = &[
    // Version 2 may say more of an assay; what version 1 says means the same.
    ("determination-opened", 1, |old| old),
    // Version 2 may say how often; version 1 was always once.
    ("attempt-refused", 1, |old| old),
    // Version 3 may say what is to be weighed.
    ("determination-opened", 2, |old| old),
    // Version 2 may say that the burette is refilled.
    ("reading-taken", 1, |old| old),
    ("reading-corrected", 1, |old| old),
];

/// Reads a payload of any version that was ever written.
///
/// # Errors
/// [`UpcastError`].
pub fn read(kind: &str, version: u32, payload: Value) -> Result<Payload, UpcastError> {
    read_with(
        STEPS,
        Payload::KINDS.iter().map(|(k, v, _)| (*k, *v)),
        kind,
        version,
        payload,
    )
}

/// True if payloads of this kind are written in this version now, so that no step is needed.
pub(crate) fn is_present(kind: &str, version: u32) -> bool {
    Payload::KINDS
        .iter()
        .any(|(name, known, _)| *name == kind && *known == version)
}

fn read_with(
    steps: &[(&str, u32, Step)],
    mut kinds: impl Iterator<Item = (&'static str, u32)>,
    kind: &str,
    version: u32,
    mut payload: Value,
) -> Result<Payload, UpcastError> {
    let (_, known) = kinds
        .find(|(name, _)| *name == kind)
        .ok_or_else(|| UpcastError::Kind(kind.chars().take(60).collect()))?;
    if version == 0 || version > known {
        return Err(UpcastError::Version {
            kind: kind.to_string(),
            version,
            known,
        });
    }
    let form = |reason: String| UpcastError::Form {
        kind: kind.to_string(),
        version,
        reason,
    };
    for at in version..known {
        let (_, _, step) = steps
            .iter()
            .find(|(name, from, _)| *name == kind && *from == at)
            .ok_or_else(|| form(format!("no step from version {at}")))?;
        payload = step(payload);
    }
    let text = serde_json::json!({ "payload": payload }).to_string();
    Payload::inside(kind, &text)
        .ok_or_else(|| UpcastError::Kind(kind.chars().take(60).collect()))?
        .map_err(|error| form(without_place(&error)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// As if remarks had once been a bare text, then `{"remark": ...}`.
    const OLD: &[(&str, u32, Step)] = &[
        ("remarked", 1, |old| json!({ "remark": old })),
        (
            "remarked",
            2,
            |mut old| json!({ "text": old["remark"].take() }),
        ),
    ];

    #[test]
    fn old_versions_go_through_every_step() {
        let kinds = || [("remarked", 3)].into_iter();
        let now = read_with(OLD, kinds(), "remarked", 3, json!({"text": "bubble"})).unwrap();
        for (version, old) in [(1, json!("bubble")), (2, json!({"remark": "bubble"}))] {
            assert_eq!(
                read_with(OLD, kinds(), "remarked", version, old).unwrap(),
                now
            );
        }
        let newer = read_with(OLD, kinds(), "remarked", 4, json!({})).unwrap_err();
        assert!(newer.to_string().contains("newer"), "{newer}");
    }

    #[test]
    fn every_step_that_is_needed_is_there() {
        for (kind, known, _) in Payload::KINDS {
            for version in 1..*known {
                let found = STEPS
                    .iter()
                    .filter(|(k, v, _)| k == kind && *v == version)
                    .count();
                assert_eq!(found, 1, "{kind} version {version}");
            }
        }
    }
}
