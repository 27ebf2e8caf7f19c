//! The scatter from run to run: what the apparatus predicts, what earlier work showed, and what this set shows.
//!
//! The rule, so that a random effect is counted once and small sets are treated honestly:
//!
//! 1. Earlier work (the sheet's pooled repeatability, or failing that an assumption about seeing the end) and this
//!    set are pooled as variances weighted by their degrees of freedom.
//! 2. If this set scatters more than earlier work can explain (F test, one-sided, p < 1 %), earlier work does not speak
//!    for it: the scatter of this set stands alone, with its own few degrees of freedom.
//! 3. If the scatter so found is below what readings and weighings alone must produce, the apparatus' prediction is
//!    used: the inputs of each run carry it.
//! 4. Otherwise it is used as one Student t input with its degrees of freedom; the inputs of each run are contained in
//!    it and carry nothing of their own.
//!
//! The tests judge the rule by its coverage of a known truth (`checks/tests/coverage_simulation.rs`).

use metrology::quantiles::f_upper_tail;
use serde::Serialize;

/// Standard deviation of seeing the end of a visual titration, in mL, where nothing better is known: about half a
/// drop. Common practice; a drop of a burette is 0.03 to 0.05 mL.
pub const ASSUMED_END_POINT_SCATTER: f64 = 0.025;

/// Degrees of freedom of that assumption: it is trusted to about 25 % (JCGM 100, G.4.2: ν ≈ ½·(Δu/u)⁻²).
pub const ASSUMED_DEGREES_OF_FREEDOM: f64 = 8.0;

/// Scatter from run to run, relative to the mean concentration.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Scatter {
    /// Runs that count.
    pub runs: usize,
    /// Relative standard deviation that this set shows; none with one run.
    pub observed: Option<f64>,
    /// Relative standard deviation of one run that readings and weighings alone predict.
    pub predicted: f64,
    /// What earlier work gives.
    pub earlier: Earlier,
    /// Relative standard deviation of one run that the result carries.
    pub used: f64,
    /// Its degrees of freedom.
    #[serde(serialize_with = "finite_or_null")]
    pub degrees_of_freedom: f64,
    /// Which rule picked it.
    pub rule: ScatterRule,
}

/// Repeatability known beforehand.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Earlier {
    /// Relative standard deviation of one run.
    pub relative: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Where it comes from.
    pub source: String,
    /// True if the sheet gives it, false if it was assumed.
    pub given: bool,
}

/// Which scatter the result carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ScatterRule {
    /// What the apparatus predicts, because less than that cannot be.
    Apparatus,
    /// Earlier work and this set, pooled.
    Pooled,
    /// This set alone, since it scatters more than earlier work can explain.
    ThisSet,
}

impl ScatterRule {
    /// True if one input carries the scatter and contains what the inputs of each run do.
    pub fn is_one_input(self) -> bool {
        self != Self::Apparatus
    }
}

/// One-sided level below which a set is taken to scatter more than earlier work can explain.
pub const DIFFERS_BELOW: f64 = 0.01;

impl Scatter {
    /// Applies the rule to what scatters about its mean.
    pub fn judge(runs: usize, observed: Option<f64>, predicted: f64, earlier: Earlier) -> Self {
        Self::judge_fitted(runs, 1, observed, predicted, earlier)
    }

    /// Applies the rule to what scatters about so many fitted values: one for a mean, two for a line.
    pub(crate) fn judge_fitted(
        runs: usize,
        fitted: usize,
        observed: Option<f64>,
        predicted: f64,
        earlier: Earlier,
    ) -> Self {
        let own = runs.saturating_sub(fitted) as f64;
        let shown = observed.unwrap_or(0.0);
        let ratio = (shown / earlier.relative).powi(2);
        let differs =
            own > 0.0 && f_upper_tail(ratio, own, earlier.degrees_of_freedom) < DIFFERS_BELOW;
        let (found, degrees_of_freedom, rule) = if differs {
            (shown, own, ScatterRule::ThisSet)
        } else {
            let degrees_of_freedom = earlier.degrees_of_freedom + own;
            let squares =
                earlier.degrees_of_freedom * earlier.relative.powi(2) + own * shown.powi(2);
            (
                (squares / degrees_of_freedom).sqrt(),
                degrees_of_freedom,
                ScatterRule::Pooled,
            )
        };
        let (used, degrees_of_freedom, rule) = if found <= predicted {
            (predicted, f64::INFINITY, ScatterRule::Apparatus)
        } else {
            (found, degrees_of_freedom, rule)
        };
        Self {
            runs,
            observed,
            predicted,
            earlier,
            used,
            degrees_of_freedom,
            rule,
        }
    }

    /// The rule in words, with its numbers.
    pub fn describe(&self) -> String {
        let percent = |x: f64| format!("{:.2} %", x * 100.0);
        let shows = match self.observed {
            Some(s) => format!("this set shows {} (n = {})", percent(s), self.runs),
            None if self.runs > 1 => format!("a line through {} points shows none", self.runs),
            None => "a single run shows none".to_string(),
        };
        let start = format!(
            "Scatter of one run: apparatus predicts {}, {} {} (\u{3bd} = {}), {shows}.",
            percent(self.predicted),
            if self.earlier.given {
                "earlier work gives"
            } else {
                "assumed"
            },
            percent(self.earlier.relative),
            self.earlier.degrees_of_freedom,
        );
        match self.rule {
            ScatterRule::Apparatus => format!(
                "{start} Less than the apparatus must produce is not believed: {} used.",
                percent(self.used)
            ),
            ScatterRule::ThisSet => format!(
                "{start} Earlier work cannot explain that much (F test, p < 1 %): this set stands alone, {} used \
                 (\u{3bd} = {}); readings and weighings are contained in it.",
                percent(self.used),
                self.degrees_of_freedom
            ),
            ScatterRule::Pooled => format!(
                "{start} Pooled by degrees of freedom: {} used (\u{3bd} = {}); readings and weighings are contained in it.",
                percent(self.used),
                self.degrees_of_freedom
            ),
        }
    }
}

fn finite_or_null<S: serde::Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    if value.is_finite() {
        serializer.serialize_f64(*value)
    } else {
        serializer.serialize_none()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn earlier(relative: f64, degrees_of_freedom: f64) -> Earlier {
        Earlier {
            relative,
            degrees_of_freedom,
            source: "test".into(),
            given: true,
        }
    }

    #[test]
    fn variances_are_pooled_by_their_degrees_of_freedom() {
        let scatter = Scatter::judge(3, Some(0.002), 0.0005, earlier(0.001, 6.0));
        // (6·0.001² + 2·0.002²)/8 = 1.75e-6
        assert!((scatter.used - 1.75e-6f64.sqrt()).abs() < 1e-15);
        assert!((scatter.degrees_of_freedom - 8.0).abs() < 1e-15);
    }

    #[test]
    fn a_set_that_scatters_beyond_earlier_work_stands_alone() {
        // F(2, 6) is 10.92 at 1 % (tabulated): three times the earlier scatter gives 9, four times 16.
        let pooled = Scatter::judge(3, Some(0.003), 0.0, earlier(0.001, 6.0));
        assert_eq!(pooled.rule, ScatterRule::Pooled);
        let alone = Scatter::judge(3, Some(0.004), 0.0, earlier(0.001, 6.0));
        assert_eq!(alone.rule, ScatterRule::ThisSet);
        assert!(
            (alone.used - 0.004).abs() < 1e-15 && (alone.degrees_of_freedom - 2.0).abs() < 1e-15
        );
    }

    #[test]
    fn never_below_what_the_apparatus_predicts() {
        let scatter = Scatter::judge(3, Some(0.0), 0.001, earlier(0.0005, 6.0));
        assert_eq!(scatter.rule, ScatterRule::Apparatus);
        assert!((scatter.used - 0.001).abs() < 1e-15);
    }
}
