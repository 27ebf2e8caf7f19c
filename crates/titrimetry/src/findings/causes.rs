//! Suspected causes of a result that is off: the shift that each would make here, compared with what is seen.
//!
//! The place of the end under a cause is computed on the curve of this very titration by the equilibrium engine; what
//! that does to the result is read off the formula, so every sign follows from the layout.
//!
//! Source of the usual sizes: `reference/slips/causes.toml`.

use super::embedded;
use super::words::{digits, ml, reads};
use crate::evaluation::Evaluation;
use crate::finding::{Cause, Likelihood, Size};
use crate::layout::Layout;
use crate::plan::curve::{PredictedCurve, Setting};
use crate::sheet::Written;
use chemistry::indicators::end_point::{IndicatedEnd, indicated_end};
use chemistry::indicators::{Indicator, IndicatorKind};
use chemistry::substances::{Catalogue, Titration};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Volume in the flask before the first drop where the sheet does not say it, mL (common practice); shifts by carbonate
/// and between indicators hardly depend on it.
const FLASK_ML: f64 = 75.0;

/// An effect below this is none.
const NOTHING: f64 = 2e-5;

/// A cause of fixed size agrees with what is seen within this share of it (own choice).
const AGREES: f64 = 0.3;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    sources: BTreeMap<String, String>,
    cause: Vec<Kind>,
}

/// A cause as the reference data describe it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Kind {
    code: String,
    name: String,
    unit: String,
    usual: f64,
    most: f64,
    looks: String,
    mark: String,
    source: String,
}

/// Read and validated once; the tests do so.
static FILE: LazyLock<File> = LazyLock::new(|| {
    let file: File = embedded::read(
        "slips/causes.toml",
        include_str!("../../../../reference/slips/causes.toml"),
    );
    for entry in &file.cause {
        embedded::check_source(
            "slips/causes.toml",
            &file.sources,
            &entry.source,
            &entry.mark,
        );
    }
    file
});

/// Every cause that can be reckoned here against a result that is `off` by this much, relative (positive: reads high);
/// `unsure` is how well that is known, relative. The likely ones come first.
pub(super) fn weigh(evaluation: &Evaluation, off: f64, unsure: f64) -> Vec<Cause> {
    let bench = Bench::of(evaluation);
    let mut causes: Vec<Cause> = FILE
        .cause
        .iter()
        .filter_map(|kind| match kind.code.as_str() {
            "another-indicator" => bench.another_indicator(kind, off, unsure),
            code => Some(kind.against(bench.effect(code, kind.usual)?, off, unsure)),
        })
        .collect();
    causes.sort_by_key(|cause| std::cmp::Reverse(cause.likelihood));
    causes
}

impl Kind {
    /// Compares the effect of the usual size with what is seen; effects of this order are proportional to the size.
    fn against(&'static self, effect: f64, off: f64, unsure: f64) -> Cause {
        let name = &self.name;
        let size = format!("{} {}", short(self.usual), self.unit);
        let needed = self.usual * off / effect;
        let (likelihood, message) = if effect.abs() < NOTHING {
            (
                Likelihood::WrongWay,
                format!("{name}: makes no difference at this end"),
            )
        } else if effect * off < 0.0 {
            (
                Likelihood::WrongWay,
                format!("{name}: the wrong way; by {size} {}", reads(effect)),
            )
        } else {
            let takes = format!(
                "it would take {} {} (by {size} {})",
                digits(needed, 2),
                self.unit,
                reads(effect)
            );
            // Where the deviation is hardly known, neither is the size that would explain it.
            if needed * (1.0 - (unsure / off).abs().min(1.0)) <= self.most {
                (Likelihood::Likely, format!("{name}: {takes}"))
            } else {
                (
                    Likelihood::TooLittle,
                    format!(
                        "{name}: not alone; {takes}, and an ordinary bench shows {} at most",
                        short(self.most)
                    ),
                )
            }
        };
        self.cause(
            likelihood,
            message,
            effect,
            (likelihood != Likelihood::WrongWay).then_some(needed),
        )
    }

    fn cause(
        &'static self,
        likelihood: Likelihood,
        message: String,
        effect: f64,
        needed: Option<f64>,
    ) -> Cause {
        Cause {
            code: &self.code,
            likelihood,
            message,
            next_step: if likelihood == Likelihood::Likely {
                self.looks.clone()
            } else {
                String::new()
            },
            effect,
            needed: needed.map(|value| Size {
                value,
                unit: &self.unit,
            }),
        }
    }
}

/// The titration under judgement, with its curve if there is a model of it.
struct Bench<'a> {
    evaluation: &'a Evaluation,
    curve: Option<Seen>,
}

/// The curve and the end seen on it.
struct Seen {
    predicted: PredictedCurve,
    /// The indicator that the sheet names, or the usual one; without it the end is taken at equivalence.
    indicator: Option<&'static Indicator>,
    level: f64,
    volume_ml: f64,
    /// Whether the level rises through the end.
    rises: bool,
}

impl<'a> Bench<'a> {
    fn of(evaluation: &'a Evaluation) -> Self {
        Self {
            evaluation,
            curve: Seen::of(evaluation),
        }
    }

    /// Relative change of the result by a cause of this size; none where it cannot be.
    fn effect(&self, code: &str, size: f64) -> Option<f64> {
        let evaluation = self.evaluation;
        match code {
            "carbonate-in-base" => {
                let seen = self.curve.as_ref()?;
                let spoilt = seen.predicted.with_carbonate(size / 100.0)?;
                let end = spoilt.volume_at(seen.level).ok()?;
                Some(evaluation.effect_of_titre(end - seen.volume_ml))
            }
            "carbon-dioxide-in-flask" => {
                let seen = self.curve.as_ref()?;
                let shift = seen.end(seen.indicator?)?.carbon_dioxide_shift_ml?;
                Some(evaluation.effect_of_titre(size * shift))
            }
            "water-in-burette" => {
                let titre = mean_titre(evaluation)?;
                Some(evaluation.effect_of_titre(titre * size / evaluation.burette.capacity))
            }
            "diluted-known-solution" => evaluation
                .sheet
                .known
                .purity
                .is_none()
                .then_some(size / 1000.0),
            "damp-standard" => {
                // A standard that holds water is less than its purity says: the result moves as with a purity too high.
                Some(size / 100.0 * relative_slope(evaluation, "/purity")?)
            }
            _ => None,
        }
    }

    /// The indicator of the library whose end would lie where the result points to.
    fn another_indicator(&self, kind: &'static Kind, off: f64, unsure: f64) -> Option<Cause> {
        let seen = self.curve.as_ref()?;
        let own = seen.indicator?;
        let tolerance = unsure.abs().max(AGREES * off.abs());
        let mut others: Vec<(&Indicator, f64, f64)> = Indicator::all()
            .iter()
            .filter(|other| {
                std::mem::discriminant(&other.kind) == std::mem::discriminant(&own.kind)
            })
            .filter(|other| other.key != own.key)
            .filter_map(|other| {
                let apart = seen.volume_of_end(other)? - seen.volume_ml;
                Some((other, apart, self.evaluation.effect_of_titre(apart)))
            })
            .collect();
        others.sort_by(|a, b| (a.2 - off).abs().total_cmp(&(b.2 - off).abs()));
        let (other, apart, effect) = *others.first()?;
        let where_ = format!(
            "{} in place of {} would end {} {}, and {}",
            other.name,
            own.name,
            ml(apart),
            if apart > 0.0 { "later" } else { "earlier" },
            reads(effect)
        );
        Some(if (effect - off).abs() <= tolerance {
            kind.cause(
                Likelihood::Likely,
                format!("{}: {where_}", kind.name),
                effect,
                Some(apart),
            )
        } else {
            kind.cause(
                Likelihood::TooLittle,
                format!(
                    "{}: none of the library ends there; the nearest, {where_}",
                    kind.name
                ),
                effect,
                None,
            )
        })
    }
}

impl Seen {
    fn of(evaluation: &Evaluation) -> Option<Self> {
        let sheet = &evaluation.sheet;
        let catalogue = Catalogue::embedded();
        let sought = catalogue.find(&sheet.sought.substance).ok()?;
        let known = catalogue.find(&sheet.known.substance).ok()?;
        let titration: &Titration = catalogue.stoichiometry(sought, known).ok()?.titration;
        let (titrant, flask) = match evaluation.layout {
            Layout::SoughtInBurette => (sought, known),
            Layout::SoughtInFlask => (known, sought),
        };
        let volume = mean_titre(evaluation)?;
        let strength = match evaluation.layout {
            Layout::SoughtInBurette => evaluation.concentration(),
            Layout::SoughtInFlask => {
                let stated = sheet.known.concentration.as_ref()?;
                stated.value.value()
            }
        };
        let setting = Setting {
            titration,
            flask: &flask.name,
            titrant: &titrant.name,
            flask_ml: FLASK_ML,
            flask_mol: strength * volume / 1000.0
                * match evaluation.layout {
                    Layout::SoughtInBurette => 1.0 / evaluation.ratio,
                    Layout::SoughtInFlask => evaluation.ratio,
                },
            strength,
            equivalence_ml: volume,
            temperature_c: sheet
                .conditions
                .temperature
                .as_ref()
                .map_or(25.0, |t| Written::value_in(t, "degC")),
        };
        let predicted = PredictedCurve::in_setting(&setting, Vec::new()).ok()?;
        let equivalence = predicted.equivalence.volume_ml;
        let mut seen = Self {
            level: predicted.curve.level_at(equivalence).ok()?,
            rises: predicted.curve.level_at(1.02 * equivalence).ok()?
                > predicted.curve.level_at(0.98 * equivalence).ok()?,
            volume_ml: equivalence,
            predicted,
            indicator: None,
        };
        let named = sheet
            .indicator
            .as_deref()
            .and_then(indicator_in)
            .or_else(|| indicator_in(&titration.end_point));
        if let Some(indicator) = named
            && let Some(end) = seen.end(indicator)
        {
            seen.indicator = Some(indicator);
            seen.level = end.level;
            seen.volume_ml = end.volume_ml;
        }
        Some(seen)
    }

    /// Volume at which it would end, mL: [`Self::end`] without what costs time.
    fn volume_of_end(&self, indicator: &Indicator) -> Option<f64> {
        let predicted = &self.predicted;
        let band = indicator.band(&predicted.situation)?;
        let level = if self.rises {
            band.end_rising
        } else {
            band.end_falling
        };
        predicted.curve.volume_at(level).ok()
    }

    /// Where an indicator that shows by the level of the curve would end.
    fn end(&self, indicator: &Indicator) -> Option<IndicatedEnd> {
        if matches!(indicator.kind, IndicatorKind::Precipitation { .. }) {
            return None;
        }
        let predicted = &self.predicted;
        indicated_end(
            indicator,
            &predicted.curve,
            &predicted.equivalence,
            &predicted.situation,
        )
        .ok()
    }
}

/// Two digits at most, without closing zeros: 1, 0.5.
fn short(value: f64) -> String {
    let text = digits(value, 2);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        text
    }
}

/// The indicator that a text names, the longest name if several fit.
fn indicator_in(text: &str) -> Option<&'static Indicator> {
    let text = text.to_lowercase();
    Indicator::all()
        .iter()
        .filter(|i| text.contains(&i.name.to_lowercase()) || text == i.key)
        .max_by_key(|i| i.name.len())
}

/// Mean titre of the runs that count, blank subtracted, mL.
fn mean_titre(evaluation: &Evaluation) -> Option<f64> {
    let blank = evaluation.blank.unwrap_or(0.0);
    let mean = super::case::mean(evaluation.counting().map(|run| run.volume - blank))?;
    (mean > 0.0).then_some(mean)
}

/// d ln(result) / d ln(input) of the input whose identity ends so.
fn relative_slope(evaluation: &Evaluation, ending: &str) -> Option<f64> {
    let formula = &evaluation.formula;
    let at = formula
        .inputs()
        .iter()
        .position(|input| input.id.ends_with(ending))?;
    let values = formula.evaluate(formula.input_values());
    let slope = formula.gradient(formula.result_index(), &values)[at];
    Some(slope * formula.input_values()[at] / values[formula.result_index()])
}

#[cfg(test)]
mod tests {
    use super::super::made::Made;
    use super::*;

    fn causes(made: &Made, off: f64) -> Vec<Cause> {
        weigh(&made.evaluate(), off, 0.001)
    }

    fn of<'a>(causes: &'a [Cause], code: &str) -> &'a Cause {
        causes.iter().find(|c| c.code == code).unwrap()
    }

    #[test]
    fn the_file_is_sound() {
        for kind in &FILE.cause {
            assert!(kind.usual <= kind.most, "{}", kind.code);
            assert!(kind.looks.ends_with('.'), "{}", kind.code);
        }
    }

    #[test]
    fn carbonate_counts_half_at_phenolphthalein() {
        // Carbonate goes to hydrogen carbonate there: of the two hydroxides that made it, one is lost. 1 % of the base
        // as carbonate makes the result 0.50 % low (textbook stoichiometry); the end at pH 8 to 9 moves it a little.
        let made = Made::clean(Layout::SoughtInBurette).indicator("phenolphthalein");
        let effect = of(&causes(&made, -0.01), "carbonate-in-base").effect;
        assert!((effect + 0.005).abs() < 0.0003, "{effect}");
    }

    #[test]
    fn carbonate_does_nothing_at_an_indicator_that_changes_in_acid() {
        // At pH 4 to 5 carbonate has gone to carbon dioxide and has given back both.
        let made = Made::clean(Layout::SoughtInFlask).indicator("bromocresol green");
        let effect = of(&causes(&made, -0.01), "carbonate-in-base").effect;
        assert!(effect.abs() < 0.0006, "{effect}");
    }

    #[test]
    fn water_in_the_burette_weakens_the_titrant_in_it() {
        // 0.5 mL in 50 mL: every titre reads 1 % high, whatever is sought.
        for (layout, sign) in [
            (Layout::SoughtInBurette, -1.0),
            (Layout::SoughtInFlask, 1.0),
        ] {
            let causes = causes(&Made::clean(layout), sign * 0.01);
            let water = of(&causes, "water-in-burette");
            assert!((water.effect - sign * 0.01).abs() < 1e-4, "{water:?}");
            assert_eq!(water.likelihood, Likelihood::Likely);
        }
    }

    #[test]
    fn a_known_solution_and_a_weighed_standard_have_their_own_causes() {
        let weighed = causes(&Made::clean(Layout::SoughtInBurette), 0.01);
        let solution = causes(&Made::clean(Layout::SoughtInFlask), 0.01);
        let has = |causes: &[Cause], code: &str| causes.iter().any(|c| c.code == code);
        assert!(has(&weighed, "damp-standard") && !has(&weighed, "diluted-known-solution"));
        assert!(!has(&solution, "damp-standard") && has(&solution, "diluted-known-solution"));
        let damp = of(&weighed, "damp-standard");
        assert!((damp.effect - 0.005).abs() < 1e-9, "{damp:?}");
    }

    #[test]
    fn an_indicator_that_changes_too_early_is_named_where_it_fits() {
        // Methyl orange on phthalate turns long before the end; the base seems stronger.
        let made = Made::clean(Layout::SoughtInBurette).indicator("phenolphthalein");
        let evaluation = made.evaluate();
        let bench = Bench::of(&evaluation);
        let seen = bench.curve.as_ref().unwrap();
        let red = indicator_in("bromothymol blue").unwrap();
        let effect = evaluation.effect_of_titre(seen.volume_of_end(red).unwrap() - seen.volume_ml);
        assert!(effect > 0.0005, "{effect}");
        let all = weigh(&evaluation, effect, 0.0);
        let other = of(&all, "another-indicator");
        assert_eq!(other.likelihood, Likelihood::Likely);
        assert!(
            other.message.contains("bromothymol blue"),
            "{}",
            other.message
        );
    }

    #[test]
    fn what_is_too_far_off_needs_more_than_a_bench_shows() {
        let causes = causes(&Made::clean(Layout::SoughtInBurette), -0.08);
        assert_eq!(
            of(&causes, "carbonate-in-base").likelihood,
            Likelihood::TooLittle
        );
        assert_eq!(
            of(&causes, "water-in-burette").likelihood,
            Likelihood::TooLittle
        );
        assert!(
            causes
                .windows(2)
                .all(|w| w[0].likelihood >= w[1].likelihood)
        );
    }
}
