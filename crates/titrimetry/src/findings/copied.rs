//! Titres too alike to be true: copied, rounded, or read with the last value in mind.

use super::case::{Case, Reading, range, readings};
use super::words::{chance, ml, runs};
use crate::finding::{Finding, Severity};
use metrology::quantiles::normal_upper_tail;

/// Chance below which likeness is remarked.
const LEVEL: f64 = 0.02;

/// Chance below which it is doubted.
const DOUBT: f64 = 0.002;

/// Masses that ask for titres so many expected standard deviations apart cannot give one and the same titre.
const APART: f64 = 5.0;

/// Titres that are the same although the masses differ, or that agree better than hand and apparatus can.
pub(super) fn too_alike(case: &Case<'_>) -> Option<Finding> {
    let titres: Vec<f64> = case.titres.iter().map(|t| t.run.titre).collect();
    let expected: Vec<f64> = case
        .titres
        .iter()
        .map(|t| t.run.titre - t.deviation)
        .collect();
    let deviations = case.deviations();
    let scatter = case.expected_scatter;
    let step = step_of_titres(case);
    let same = range(&titres)? < 0.5 * step;
    let asked_apart = range(&expected)?;
    if same && asked_apart > APART * scatter && asked_apart > step {
        return Some(
            Finding::new(
                "titres-copied",
                Severity::Doubt,
                format!(
                    "{} have the same titre, {}, although what is in the flask asks for titres {} apart.",
                    runs(&case.names()),
                    ml(titres[0]),
                    ml(asked_apart)
                ),
                "Compare the masses and readings with the first entries in the bench book.",
            )
            .about(case.names())
            .sized(asked_apart, "mL"),
        );
    }
    let n = deviations.len();
    if n < 3 || scatter <= 0.0 {
        return None;
    }
    let spread = range(&deviations)?;
    // Where every run asks for the same titre the readings' steps are what can be seen; otherwise any value can occur.
    let (span, sd) = if asked_apart < 0.5 * step {
        ((spread / step).round(), scatter / step)
    } else {
        ((25.0 * spread / scatter).round(), 25.0)
    };
    if at_least(n, span, sd) >= LEVEL {
        return None;
    }
    let p = chance_of_range(n, span, sd);
    (p < LEVEL).then(|| {
        let (seen, next) = if same {
            (
                format!("All {n} titres are the same"),
                "Titrate once more without looking at the earlier titres.",
            )
        } else {
            (
                format!("All {n} titres lie within {}", ml(spread)),
                "If this hand is that steady, give its repeatability from earlier sets: it makes U smaller.",
            )
        };
        let severity = if same && p < DOUBT {
            Severity::Doubt
        } else {
            Severity::Note
        };
        Finding::new(
            "titres-too-alike",
            severity,
            format!(
                "{seen}; where one titre scatters by {}, chance does this with {}. Readings may have been copied, rounded, or steered by the last one.",
                ml(scatter),
                chance(p)
            ),
            next,
        )
        .about(case.names())
        .sized(spread, "mL")
    })
}

/// The coarsest step in which a reading of these runs was taken: as written, or coarser if all end alike.
fn step_of_titres(case: &Case<'_>) -> f64 {
    let all: Vec<Reading> = case.titres.iter().flat_map(|t| readings(t.spec)).collect();
    let written = all.iter().map(|r| r.step).fold(0.0, f64::max);
    let read: Vec<u8> = all
        .iter()
        .filter(|r| !r.is_zero())
        .map(|r| r.digit_at(written))
        .collect();
    if read.iter().all(|d| *d == 0) {
        10.0 * written
    } else if read.iter().all(|d| d % 5 == 0) {
        5.0 * written
    } else {
        written
    }
}

/// Less than [`chance_of_range`], and soon reckoned: the chance that all lie within half the span of the mean; values
/// that are no farther apart do not round to more steps.
fn at_least(n: usize, span: f64, sd: f64) -> f64 {
    let Ok(n) = i32::try_from(n) else { return 0.0 };
    let inside = 1.0 - 2.0 * normal_upper_tail(0.5 * span / sd);
    if inside > 0.0 { inside.powi(n) } else { 0.0 }
}

/// Chance that n normal values, rounded to steps, span at most so many steps; the standard deviation is in steps, the
/// position of the mean between steps is unknown (averaged over).
///
/// # Formula
/// Mean over the phase of the sum over k of P(k..k+w)^n - P(k+1..k+w)^n, w the span: the smallest value lies in cell k.
fn chance_of_range(n: usize, span: f64, sd: f64) -> f64 {
    /// Where the scatter is some steps wide, the position of the mean no longer shows: its part dies with
    /// exp(-2 pi^2 sd^2) (Poisson's summation).
    const WIDE: f64 = 3.0;
    /// Steps finer than this part of the scatter no longer count; wider ones are used, so that the sum stays short.
    const FINEST: f64 = 100.0;
    let Ok(n) = i32::try_from(n) else { return 0.0 };
    if !(sd.is_finite() && sd > 0.0 && span.is_finite()) {
        return 1.0;
    }
    let widened = (sd / FINEST).max(1.0);
    let (sd, cells) = (sd / widened, (span / widened).clamp(0.0, 100.0 * FINEST));
    let reach = (8.0 * sd + cells + 2.0).ceil();
    let above = |z: f64| normal_upper_tail(z / sd);
    let phases = if sd > WIDE { 1 } else { 16 };
    let mut sum = 0.0;
    for phase in 0..phases {
        let phase = (f64::from(phase) + 0.5) / f64::from(phases);
        let mut k = -reach;
        let mut above_lower = above(k - phase);
        while k <= reach {
            let above_next = above(k + 1.0 - phase);
            let above_upper = above(k - phase + cells + 1.0);
            sum += (above_lower - above_upper).max(0.0).powi(n)
                - (above_next - above_upper).max(0.0).powi(n);
            above_lower = above_next;
            k += 1.0;
        }
    }
    (sum / f64::from(phases)).clamp(0.0, 1.0)
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
        too_alike(&Case::of(&evaluation, RuleProfile::named("house").unwrap()))
    }

    #[test]
    fn the_chance_is_that_of_closed_forms() {
        // Fine steps, n = 2: P(|x - y| <= r) = 2 Phi(r/(sd sqrt 2)) - 1; r = 1.5 steps around 1 at sd 50.
        let p = chance_of_range(2, 20.0, 50.0);
        let exact = 1.0 - 2.0 * normal_upper_tail(20.5 / (50.0 * 2f64.sqrt()));
        assert!((p / exact - 1.0).abs() < 2e-3, "{p} {exact}");
        // Range of three: 95 % point of the studentized range for known sigma is 3.3145 (printed tables, q(3, inf)).
        let p = chance_of_range(3, (3.3145 * 60.0_f64).round() - 1.0, 60.0);
        assert!((p - 0.95).abs() < 2e-3, "{p}");
        // All possible spans together.
        assert!((chance_of_range(4, 100.0, 3.0) - 1.0).abs() < 1e-12);
    }

    #[test]
    fn the_quick_bound_is_below_the_chance() {
        for n in [3, 4, 6, 10] {
            for sd in [0.6, 2.0, 7.5, 25.0] {
                for span in [0.0, 1.0, 2.0, 5.0, 20.0, 60.0] {
                    let (least, chance) = (at_least(n, span, sd), chance_of_range(n, span, sd));
                    assert!(
                        least <= chance * (1.0 + 1e-9),
                        "{n} {span} {sd}: {least} {chance}"
                    );
                }
            }
        }
        // It does its work: an ordinary range of three.
        assert!(at_least(3, 1.7 * 25.0, 25.0) > LEVEL);
    }

    #[test]
    fn senseless_scatter_is_answered_at_once() {
        // A sheet with readings far beyond any burette asks for this; the sum must stay short.
        assert!((chance_of_range(3, 3.3145e9, 1e9) - 0.95).abs() < 2e-2);
        for sd in [f64::NAN, f64::INFINITY, 0.0, 1e300] {
            assert!((0.0..=1.0).contains(&chance_of_range(3, 1.0, sd)));
        }
    }

    #[test]
    fn identical_titres_are_remarked_and_five_of_them_doubted() {
        for layout in LAYOUTS {
            let finding = found(&Made::titres(layout, &[24.53, 24.53, 24.53])).unwrap();
            assert_eq!(
                (finding.code, finding.severity),
                ("titres-too-alike", Severity::Note)
            );
            let finding = found(&Made::titres(layout, &[24.53; 5])).unwrap();
            assert_eq!(finding.severity, Severity::Doubt);
        }
    }

    #[test]
    fn identical_titres_read_to_a_twentieth_are_no_wonder() {
        for layout in LAYOUTS {
            let pairs = [("0.00", "24.55"), ("0.05", "24.60"), ("0.10", "24.65")];
            assert_eq!(found(&Made::readings(layout, &pairs)), None);
            assert_eq!(found(&Made::clean(layout)), None);
            assert_eq!(found(&Made::titres(layout, &[24.53, 24.53])), None);
        }
    }

    #[test]
    fn one_titre_for_differing_masses_is_copied() {
        let made = Made::titres(LAYOUTS[0], &[24.53, 24.53, 24.53]).amounts(&[1.0, 1.02, 0.98]);
        assert_eq!(found(&made).unwrap().code, "titres-copied");
        let honest = Made::titres(LAYOUTS[0], &[24.53, 25.05, 24.02]).amounts(&[1.0, 1.02, 0.98]);
        assert_eq!(found(&honest), None);
    }
}
