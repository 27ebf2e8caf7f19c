//! What can happen, in the trade's words. Each kind of event has a name and a schema version; both stand in the record.
//!
//! A payload that changes its form gets the next version, and [`crate::upcast`] learns to read the one before. The files
//! in `tests/golden/` hold one event of every version that was ever written.

mod bench;
mod certificate;
mod evaluated;
mod people;
mod shelf;

pub use bench::{
    CheckedOff, ConditionsNoted, DeterminationApproved, DeterminationClosed, DeterminationGivenUp,
    DeterminationOpened, DeterminationRecomputed, DeterminationReopened, DeterminationReviewed,
    FileAttached, KnownBy, Plan, ReadingCorrected, ReadingTaken, Remarked, RunRestored,
    RunSetAside, RunStarted, Slot, SlotError, Source, TitrantRechecked, Weigh,
};
pub use certificate::{CertificateIssued, CertificateSuperseded, CertificateWithdrawn};
pub use evaluated::{Evaluated, RunScatter, Stated};
pub use people::{
    AttemptRefused, CorrectionSettled, LockedOut, PersonAdded, PersonLeft, RecordNamed,
    RecordOpened, RecordShared, Role, RolesChanged, SecretSet, SignInFailed, SignedIn, SignedOut,
};
pub use shelf::{
    ApparatusCalibrated, ApparatusOutOfService, ApparatusRegistered, ApparatusReturned,
    CalibrationCorrected, Ingredient, LotCertificate, LotCertificateCorrected, LotDiscarded,
    LotOpened, LotReceived, LotUse, MethodAdopted, MethodWithdrawn, Piece, RulesAdopted,
    RulesWithdrawn, SampleDiscarded, SampleReceived, SolutionDiscarded, SolutionMoved,
    SolutionPrepared, SolutionStandardized, SolutionToppedUp, StandardizationLost,
};

use crate::node::Kind;
use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize};

macro_rules! payloads {
    ($($(#[$doc:meta])* $on:ident: $name:ident $kind:literal $version:literal,)*) => {
        /// What happened.
        #[derive(Clone, Debug, PartialEq, Serialize, schemars::JsonSchema)]
        #[serde(tag = "kind", content = "payload")]
        #[non_exhaustive]
        pub enum Payload {
            $($(#[$doc])* #[serde(rename = $kind)] $name(Box<$name>),)*
        }

        $(impl From<$name> for Payload {
            fn from(payload: $name) -> Self {
                Self::$name(Box::new(payload))
            }
        })*

        impl Payload {
            /// Kind, present schema version and the kind of thing it happens to, of every payload.
            pub const KINDS: &'static [(&'static str, u32, Kind)] =
                &[$(($kind, $version, Kind::$on),)*];

            /// Its kind, such as "reading-taken".
            pub fn kind(&self) -> &'static str {
                match self { $(Self::$name(_) => $kind,)* }
            }

            /// Reads the member `payload` of a JSON object as a payload of this kind, in the form of its present version; none
            /// if there is no such kind.
            pub(crate) fn inside(kind: &str, text: &str) -> Option<serde_json::Result<Self>> {
                #[derive(Deserialize)]
                struct Inside<P> {
                    payload: Box<P>,
                }
                Some(match kind {
                    $($kind => serde_json::from_str(text)
                        .map(|inside: Inside<$name>| Self::$name(inside.payload)),)*
                    _ => return None,
                })
            }

            /// The version of its schema.
            pub fn version(&self) -> u32 {
                match self { $(Self::$name(_) => $version,)* }
            }

            /// The kind of thing it happens to.
            pub fn happens_to(&self) -> Kind {
                match self { $(Self::$name(_) => Kind::$on,)* }
            }
        }
    };
}

/// By way of its text, so that each kind is read by one piece of code, whoever asks.
impl<'de> Deserialize<'de> for Payload {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        #[derive(Deserialize)]
        struct Tagged {
            kind: String,
            payload: serde_json::Value,
        }
        let Tagged { kind, payload } = Tagged::deserialize(deserializer)?;
        let text = serde_json::json!({ "payload": payload }).to_string();
        match Self::inside(&kind, &text) {
            Some(read) => read.map_err(|error| D::Error::custom(without_place(&error))),
            None => {
                let kinds: Vec<&str> = Self::KINDS.iter().map(|(kind, ..)| *kind).collect();
                let kinds = kinds.join(", ");
                Err(D::Error::custom(format!(
                    "unknown kind \"{kind}\", expected one of {kinds}"
                )))
            }
        }
    }
}

/// What is wrong, without line and column of a text that nobody wrote.
pub(crate) fn without_place(error: &serde_json::Error) -> String {
    let said = error.to_string();
    let end = said.rfind(" at line ").unwrap_or(said.len());
    said[..end].to_string()
}

payloads! {
    /// The record was opened.
    Record: RecordOpened "record-opened" 1,
    /// The record is called otherwise.
    Record: RecordNamed "record-named" 1,
    /// From now on people sign in.
    Record: RecordShared "record-shared" 1,
    /// Everything that rested on a correction was computed again.
    Record: CorrectionSettled "correction-settled" 1,
    /// Something was asked that may not be.
    Access: AttemptRefused "attempt-refused" 2,
    /// A person signed in.
    Access: SignedIn "signed-in" 1,
    /// A session ended.
    Access: SignedOut "signed-out" 1,
    /// A sign-in failed.
    Access: SignInFailed "sign-in-failed" 1,
    /// A person is locked out for a while.
    Access: LockedOut "locked-out" 1,
    /// A passphrase or code was set.
    Access: SecretSet "secret-set" 1,
    /// A person joined.
    Person: PersonAdded "person-added" 1,
    /// A person's roles changed.
    Person: RolesChanged "roles-changed" 1,
    /// A person left.
    Person: PersonLeft "person-left" 1,
    /// A lot came in.
    Lot: LotReceived "lot-received" 1,
    /// Its bottle was opened.
    Lot: LotOpened "lot-opened" 1,
    /// Its certificate was entered wrongly, or a new one replaces it.
    Lot: LotCertificateCorrected "lot-certificate-corrected" 1,
    /// It is gone.
    Lot: LotDiscarded "lot-discarded" 1,
    /// A piece of glass or a balance was taken into use.
    Apparatus: ApparatusRegistered "apparatus-registered" 1,
    /// It was calibrated.
    Apparatus: ApparatusCalibrated "apparatus-calibrated" 1,
    /// A calibration was entered wrongly, or withdrawn by who made it.
    Apparatus: CalibrationCorrected "calibration-corrected" 1,
    /// It may not be used.
    Apparatus: ApparatusOutOfService "apparatus-out-of-service" 1,
    /// It may be used again.
    Apparatus: ApparatusReturned "apparatus-returned" 1,
    /// A solution was made.
    Solution: SolutionPrepared "solution-prepared" 1,
    /// Something was added to it.
    Solution: SolutionToppedUp "solution-topped-up" 1,
    /// It stands elsewhere.
    Solution: SolutionMoved "solution-moved" 1,
    /// It is gone.
    Solution: SolutionDiscarded "solution-discarded" 1,
    /// Its concentration is known from now on.
    Solution: SolutionStandardized "solution-standardized" 1,
    /// What it was standardized by cannot be computed any more.
    Solution: StandardizationLost "standardization-lost" 1,
    /// A sample came in.
    Sample: SampleReceived "sample-received" 1,
    /// It is gone.
    Sample: SampleDiscarded "sample-discarded" 1,
    /// A method, or its next version, is in use.
    Method: MethodAdopted "method-adopted" 1,
    /// A method is no longer used.
    Method: MethodWithdrawn "method-withdrawn" 1,
    /// A rule profile, or its next version, is in use.
    Rules: RulesAdopted "rules-adopted" 1,
    /// A rule profile is no longer used.
    Rules: RulesWithdrawn "rules-withdrawn" 1,
    /// A determination began.
    Determination: DeterminationOpened "determination-opened" 3,
    /// A run began.
    Determination: RunStarted "run-started" 1,
    /// A reading was taken.
    Determination: ReadingTaken "reading-taken" 2,
    /// A reading was corrected.
    Determination: ReadingCorrected "reading-corrected" 2,
    /// A run does not count.
    Determination: RunSetAside "run-set-aside" 1,
    /// A run that was set aside counts again.
    Determination: RunRestored "run-restored" 1,
    /// Something odd was seen.
    Determination: Remarked "remarked" 1,
    /// Temperature and air were read.
    Determination: ConditionsNoted "conditions-noted" 1,
    /// A step of the checklist was done.
    Determination: CheckedOff "checked-off" 1,
    /// The titrant was standardized again between samples.
    Determination: TitrantRechecked "titrant-rechecked" 1,
    /// A photograph or another file belongs to it.
    Determination: FileAttached "file-attached" 1,
    /// No more readings; the result stands.
    Determination: DeterminationClosed "determination-closed" 1,
    /// It is open again.
    Determination: DeterminationReopened "determination-reopened" 1,
    /// It was given up without a result.
    Determination: DeterminationGivenUp "determination-given-up" 1,
    /// A second person looked at it.
    Determination: DeterminationReviewed "determination-reviewed" 1,
    /// It was signed.
    Determination: DeterminationApproved "determination-approved" 1,
    /// Something that it rests on was corrected, and it was computed again.
    Determination: DeterminationRecomputed "determination-recomputed" 1,
    /// A certificate was issued.
    Certificate: CertificateIssued "certificate-issued" 1,
    /// A certificate no longer holds.
    Certificate: CertificateSuperseded "certificate-superseded" 1,
    /// A certificate was withdrawn.
    Certificate: CertificateWithdrawn "certificate-withdrawn" 1,
}
