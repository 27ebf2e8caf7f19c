//! How finely the burette was read, against what it allows.

use super::case::{Case, Reading, Titre, readings};
use super::words::{chance, ml, runs};
use crate::finding::{Finding, Severity};
use crate::sheet::RunSpec;
use metrology::digits::LastDigits;
use volumetry::reading::{ReadingGrade, finest_step_ml, grade, safe_step_ml, uncertainty};

/// One-sided level for a preference of 0 and 5.
const LEVEL: f64 = 0.005;

/// Readings written more coarsely than the burette allows.
pub(super) fn coarse(case: &Case<'_>) -> Option<Finding> {
    let graduation = case.facts.burette.graduation;
    let graded: Vec<(&Titre<'_>, f64)> = case
        .titres
        .iter()
        .map(|titre| (titre, coarsest(&readings(titre.spec))))
        .filter(|(_, step)| grade(*step, graduation) != ReadingGrade::Fine)
        .collect();
    let step = graded.iter().map(|(_, step)| *step).fold(0.0, f64::max);
    let names: Vec<&str> = graded.iter().map(|(titre, _)| titre.name()).collect();
    if names.is_empty() {
        return None;
    }
    let severity = match grade(step, graduation) {
        ReadingGrade::Poor => Severity::Doubt,
        _ => Severity::Note,
    };
    let (now, then) = (of_titre(step, graduation), of_titre(0.0, graduation));
    Some(
        Finding::new(
            "coarse-readings",
            severity,
            format!(
                "{}: readings are written to {step} mL; between lines {graduation} mL apart the eye makes out {} mL. The uncertainty of a titre by reading is {} instead of {}.",
                runs(&names),
                safe_step_ml(graduation),
                ml(now),
                ml(then)
            ),
            format!(
                "Read to {} mL and write every decimal, a last 0 too: it costs nothing.",
                finest_step_ml(graduation)
            ),
        )
        .about(names)
        .sized(step, "mL"),
    )
}

fn coarsest(readings: &[Reading]) -> f64 {
    readings.iter().map(|r| r.step).fold(0.0, f64::max)
}

/// Standard uncertainty of a titre from its two readings.
fn of_titre(step: f64, graduation: f64) -> f64 {
    uncertainty(step, Some(graduation)).standard_uncertainty_ml() * 2f64.sqrt()
}

/// Last digits that are 0 or 5 more often than chance makes them, where the last digit is estimated between lines.
pub(super) fn preferred_digits(case: &Case<'_>) -> Option<Finding> {
    preferred(case.facts.specs.iter(), case.facts.burette.graduation)
}

/// The same of any runs read off one burette.
pub(crate) fn preferred<'a>(
    runs: impl Iterator<Item = &'a RunSpec>,
    graduation: f64,
) -> Option<Finding> {
    let step = finest_step_ml(graduation);
    // Set to the zero line a reading says nothing; written more coarsely it has been said already. Between lines 0.05
    // or 0.02 mL apart the hundredths are no tenths of a division. A level written again as the next initial reading
    // was not read again.
    let mut last = None;
    let mut digits: Vec<u8> = Vec::new();
    for reading in runs.flat_map(readings) {
        let again = last.replace(reading.value) == Some(reading.value);
        let estimated = (reading.step / step - 1.0).abs() < 1e-6;
        if estimated && !again && !reading.is_zero() {
            digits.push(reading.digit_at(step));
        }
    }
    let counted = LastDigits::count(digits).ok()?;
    let p = counted.p_zeros_and_fives();
    if p >= LEVEL {
        return None;
    }
    let half = graduation / 2.0;
    Some(
        Finding::new(
            "digit-preference",
            Severity::Note,
            format!(
                "{} of {} readings end in 0 or 5; chance does this with {}. The burette seems to be read to {half} mL, not to the last digit written: the uncertainty of a titre by reading is then {} rather than {}.",
                counted.zeros_and_fives(),
                counted.n(),
                chance(p),
                ml(of_titre(half, graduation)),
                ml(of_titre(step, graduation))
            ),
            "Estimate tenths between the lines, against a white card, without looking at the earlier readings.",
        )
        .sized(f64::from(counted.zeros_and_fives()), "readings"),
    )
}

#[cfg(test)]
mod tests {
    use super::super::made::Made;
    use super::*;
    use crate::layout::Layout;
    use crate::rule_profile::RuleProfile;

    const LAYOUTS: [Layout; 2] = [Layout::SoughtInBurette, Layout::SoughtInFlask];

    fn found(made: &Made, look: fn(&Case<'_>) -> Option<Finding>) -> Option<Finding> {
        let evaluation = made.evaluate();
        look(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn one_decimal_is_poor_on_a_tenth_graduation() {
        for layout in LAYOUTS {
            let made = Made::readings(
                layout,
                &[("0.0", "24.5"), ("0.1", "24.6"), ("0.02", "24.53")],
            );
            let finding = found(&made, coarse).unwrap();
            assert_eq!(finding.severity, Severity::Doubt);
            assert_eq!(finding.runs, ["1", "2"]);
            // Two readings to 0.1 mL: 0.05 sqrt(2/3) = 0.0408; two by eye: 0.02 sqrt(2/6) = 0.0115.
            assert!(
                finding.message.contains("0.041 mL instead of 0.012 mL"),
                "{}",
                finding.message
            );
        }
    }

    #[test]
    fn clean_readings_are_fine() {
        for layout in LAYOUTS {
            assert_eq!(found(&Made::clean(layout), coarse), None);
            assert_eq!(found(&Made::clean(layout), preferred_digits), None);
        }
    }

    #[test]
    fn readings_that_all_end_in_0_or_5_are_read_to_half_a_division() {
        let pairs = [("0.05", "24.55"), ("0.10", "24.60"), ("0.05", "24.50")];
        let finding = found(&Made::readings(LAYOUTS[0], &pairs), preferred_digits).unwrap();
        assert_eq!(finding.code, "digit-preference");
        assert!(finding.message.contains("6 of 6"), "{}", finding.message);
        assert!(
            finding.message.contains("0.020 mL rather than 0.012 mL"),
            "{}",
            finding.message
        );
        // Zeros that were set, and three readings, prove nothing.
        let pairs = [("0.00", "24.55"), ("0.00", "24.60"), ("0.00", "24.50")];
        assert_eq!(
            found(&Made::readings(LAYOUTS[0], &pairs), preferred_digits),
            None
        );
    }
}
