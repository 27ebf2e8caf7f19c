//! A result far from nominal, with what its direction excludes.
//!
//! Source: `reference/slips/titrants.toml`.

use super::case::Case;
use super::causes;
use super::embedded;
use super::known_ratio;
use super::words::{digits, ml, percent};
use crate::finding::{Finding, Severity};
use chemistry::substances::Catalogue;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Deviation worth a word, unless the profile is stricter (common practice: a solution made up by weighing is mostly
/// closer).
const WORTH_A_WORD: f64 = 0.05;

/// Deviation worth a doubt: the pharmacopoeias' window.
const WORTH_A_DOUBT: f64 = 0.10;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    sources: BTreeMap<String, String>,
    titrant: Vec<Titrant>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Titrant {
    words: Vec<String>,
    weaker: String,
    not_weaker: String,
    stronger: String,
    not_stronger: String,
    mark: String,
    source: String,
}

/// Read and validated once; the tests do so.
static FILE: LazyLock<File> = LazyLock::new(|| {
    let file: File = embedded::read(
        "slips/titrants.toml",
        include_str!("../../../../reference/slips/titrants.toml"),
    );
    for entry in &file.titrant {
        embedded::check_source(
            "slips/titrants.toml",
            &file.sources,
            &entry.source,
            &entry.mark,
        );
    }
    file
});

/// The finding, unless a known slip explains the deviation.
pub(super) fn far(case: &Case<'_>) -> Option<Finding> {
    let evaluation = case.facts.determination?;
    let factor = evaluation.factor.as_ref()?;
    let off = factor.value - 1.0;
    let limit = case
        .profile
        .nominal_within_percent
        .as_ref()
        .map_or(WORTH_A_WORD, |rule| WORTH_A_WORD.min(rule.limit / 100.0));
    if off.abs() <= limit
        || off.abs() <= factor.expanded_uncertainty
        || known_ratio::matching(evaluation).is_some()
    {
        return None;
    }
    let kind = kind_of(&evaluation.sheet.sought.substance)?;
    let (way, solution) = if off < 0.0 {
        ("below", format!("{} {}", kind.weaker, kind.not_weaker))
    } else {
        ("above", format!("{} {}", kind.stronger, kind.not_stronger))
    };
    // The error of every titre that would be needed, from the formula's own derivative.
    let needed = off / evaluation.effect_per_ml;
    let sense = if needed > 0.0 { "high" } else { "low" };
    let titres = if needed.is_finite() {
        format!(
            " To come from the titres, each would have to read {} too {sense}.",
            ml(needed)
        )
    } else {
        String::new()
    };
    Some(
        Finding::new(
            "far-from-nominal",
            if off.abs() > WORTH_A_DOUBT {
                Severity::Doubt
            } else {
                Severity::Note
            },
            format!(
                "The result is {} {way} nominal (factor {}). {solution}{titres}",
                percent(off),
                digits(factor.value, 4)
            ),
            "Mix the bottle well and repeat one run; then try a second standard.",
        )
        .sized(100.0 * off, "%")
        .shifting(off)
        .caused(causes::weigh(
            evaluation,
            off,
            factor.expanded_uncertainty.max(limit / 2.0),
        )),
    )
}

/// The kind of titrant by the substance's name, the last kind if none fits.
fn kind_of(substance: &str) -> Option<&'static Titrant> {
    let name = Catalogue::embedded()
        .find(substance)
        .map_or_else(|_| substance.to_lowercase(), |s| s.name.to_lowercase());
    FILE.titrant
        .iter()
        .find(|t| t.words.is_empty() || t.words.iter().any(|word| name.contains(word.as_str())))
}

#[cfg(test)]
mod tests {
    use super::super::made::Made;
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn found(made: &Made) -> Option<Finding> {
        let evaluation = made.evaluate();
        far(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn the_file_is_sound() {
        let last = FILE.titrant.last().unwrap();
        assert!(last.words.is_empty());
        for titrant in &FILE.titrant {
            for text in [
                &titrant.weaker,
                &titrant.not_weaker,
                &titrant.stronger,
                &titrant.not_stronger,
            ] {
                assert!(text.ends_with('.'), "{text}");
            }
            assert!(titrant.words.iter().all(|w| *w == w.to_lowercase()));
        }
    }

    #[test]
    fn kinds_are_told_by_name_and_by_formula() {
        let words = |substance: &str| kind_of(substance).unwrap().words.first().cloned();
        assert_eq!(words("NaOH").as_deref(), Some("hydroxide"));
        assert_eq!(words("HCl").as_deref(), Some("hydrochloric"));
        assert_eq!(words("KMnO4").as_deref(), Some("permanganate"));
        assert_eq!(words("something else"), None);
    }

    #[test]
    fn a_weaker_base_may_have_taken_up_carbon_dioxide_and_a_stronger_cannot() {
        let weaker = found(&Made::clean(LAYOUTS[0]).nominal(0.107)).unwrap();
        assert!(
            weaker
                .message
                .contains("may have taken up water or carbon dioxide"),
            "{}",
            weaker.message
        );
        assert!(weaker.effect.unwrap() < 0.0 && weaker.severity == Severity::Note);
        let stronger = found(&Made::clean(LAYOUTS[0]).nominal(0.087)).unwrap();
        assert!(
            stronger.message.contains("only makes it weaker"),
            "{}",
            stronger.message
        );
        assert!(stronger.effect.unwrap() > 0.0 && stronger.severity == Severity::Doubt);
    }

    #[test]
    fn the_titre_error_needed_has_the_sign_of_the_layout() {
        for layout in LAYOUTS {
            let finding = found(&Made::clean(layout).nominal(0.107)).unwrap();
            let high = finding.message.contains("too high");
            assert_eq!(
                high,
                layout == Layout::SoughtInBurette,
                "{}",
                finding.message
            );
        }
    }

    #[test]
    fn near_nominal_there_is_nothing_to_say() {
        for layout in LAYOUTS {
            for nominal in [0.1, 0.102, 0.098] {
                assert_eq!(found(&Made::clean(layout).nominal(nominal)), None);
            }
        }
    }
}
