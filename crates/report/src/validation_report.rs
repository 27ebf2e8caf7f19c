//! What people and programs read of a validation: each question answered in a sentence, the figures beneath.

use crate::lines::{clean, hanging};
use crate::numbers::{by_uncertainty, decimals, degrees_of_freedom, significant, times_in_100};
use crate::style::Style;
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use titrimetry::validation::{
    Comparison, Criterion, Estimate, Linearity, Precision, Recovery, Validation,
};

/// Name and version of the JSON format.
pub const FORMAT: &str = "halfdrop.validation/1";

/// The JSON document of a validation, `halfdrop.validation/1`. Numbers are not rounded.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ValidationDocument<'a> {
    /// Always "halfdrop.validation/1".
    pub format: &'static str,
    /// Whether every limit that the file states is kept.
    pub limits_kept: bool,
    /// What was worked out.
    #[serde(flatten)]
    pub validation: &'a Validation,
}

impl<'a> ValidationDocument<'a> {
    /// The document of a validation.
    pub fn of(validation: &'a Validation) -> Self {
        Self {
            format: FORMAT,
            limits_kept: validation.criteria().iter().all(|c| c.is_met()),
            validation,
        }
    }

    /// The JSON Schema of the document.
    pub fn schema() -> Schema {
        schemars::schema_for!(Self)
    }
}

/// The report of a validation, within [`crate::WIDTH`] columns.
pub fn validation(validation: &Validation, style: Style) -> String {
    let mut lines = vec![
        style.strong(clean(&validation.title)),
        style.quiet(format!(
            "intervals hold the truth {}",
            times_in_100(validation.confidence)
        )),
    ];
    let page = Page {
        unit: clean(&validation.unit),
        confidence: validation.confidence,
    };
    let parts = [
        validation.comparison.as_ref().map(|c| page.comparison(c)),
        validation.linearity.as_ref().map(|l| page.linearity(l)),
        validation.precision.as_ref().map(|p| page.precision(p)),
        validation.recovery.as_ref().map(|r| page.recovery(r)),
    ];
    for (title, mut part) in parts.into_iter().flatten() {
        lines.push(String::new());
        lines.push(style.strong(title));
        lines.append(&mut part);
    }
    let criteria = validation.criteria();
    if !criteria.is_empty() {
        lines.push(String::new());
        lines.push(style.strong("Limits of the file"));
        for criterion in criteria {
            let mark = if criterion.is_met() { "kept" } else { "broken" };
            let text = format!("{mark}: {}", limit(criterion));
            lines.extend(hanging("  \u{b7} ", &text));
        }
    }
    let mut text = String::new();
    for line in lines {
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

fn limit(criterion: &Criterion) -> String {
    let number = |v: f64| significant(v, 3);
    let bounds = match (criterion.from, criterion.to) {
        (Some(from), Some(to)) => format!("between {} and {}", number(from), number(to)),
        (Some(from), None) => format!("at least {}", number(from)),
        (None, Some(to)) => format!("at most {}", number(to)),
        (None, None) => "not limited".into(),
    };
    format!("{} {}, {bounds}", criterion.what, number(criterion.found))
}

/// What all parts of the report share.
struct Page {
    unit: String,
    confidence: f64,
}

type Part = (String, Vec<String>);

fn say(lines: &mut Vec<String>, text: &str) {
    lines.extend(hanging("  ", text));
}

/// One figure: a label, then its text.
fn figure(lines: &mut Vec<String>, label: &str, text: &str) {
    lines.extend(hanging(&format!("    {label:<22}"), text));
}

fn probability(p: f64) -> String {
    if p < 0.001 {
        "p < 0.001".into()
    } else {
        format!("p = {}", significant(p, 2))
    }
}

/// An estimate and its interval, with as many decimals as its uncertainty leaves.
fn with_interval(estimate: &Estimate, unit: &str) -> String {
    let rounded = by_uncertainty(estimate.value, estimate.standard_uncertainty);
    let places = rounded
        .last_place
        .map_or(3, |place| usize::try_from(-place).unwrap_or(0));
    format!(
        "{} {unit}, interval {} to {}",
        rounded.value_text,
        decimals(estimate.lower, places),
        decimals(estimate.upper, places)
    )
    .replace(" ,", ",")
}

/// A value with the digits of an uncertainty.
fn rounded(value: f64, uncertainty: f64) -> String {
    by_uncertainty(value, uncertainty).value_text
}

impl Page {
    fn level(&self) -> f64 {
        1.0 - self.confidence
    }

    fn comparison(&self, c: &Comparison) -> Part {
        let (first, second) = (clean(&c.first), clean(&c.second));
        let agreement = &c.agreement;
        let mut lines = Vec::new();
        let bias = &agreement.bias;
        let size = rounded(bias.value.abs(), bias.standard_uncertainty);
        let direction = if bias.value > 0.0 { "more" } else { "less" };
        if c.p < self.level() {
            say(
                &mut lines,
                &format!(
                    "On the mean {second} finds {size} {} {direction} than {first}: chance alone does not explain it.",
                    self.unit
                ),
            );
        } else {
            let farthest = bias.lower.abs().max(bias.upper.abs());
            say(
                &mut lines,
                &format!(
                    "No mean difference is shown; that is no proof of agreement: one of up to {} {} would fit these samples too.",
                    rounded(farthest, bias.standard_uncertainty),
                    self.unit
                ),
            );
        }
        say(
            &mut lines,
            &format!(
                "In a single sample {second} less {first} is to be expected between {} and {} {}, {}.",
                rounded(agreement.lower.value, agreement.lower.standard_uncertainty),
                rounded(agreement.upper.value, agreement.upper.standard_uncertainty),
                self.unit,
                times_in_100(self.confidence)
            ),
        );
        if let Some(trend) = &agreement.trend
            && !trend.holds(0.0)
        {
            say(
                &mut lines,
                "The difference changes with the content, so one pair of limits does not serve the whole range: look at the line, or compare ratios.",
            );
        }
        lines.push(String::new());
        figure(
            &mut lines,
            "mean difference",
            &format!(
                "{}; t = {} with {} degrees of freedom, {}",
                with_interval(bias, &self.unit),
                significant(c.t, 3),
                degrees_of_freedom(bias.degrees_of_freedom),
                probability(c.p)
            ),
        );
        figure(
            &mut lines,
            "limits of agreement",
            &format!(
                "{}; {}",
                with_interval(&agreement.lower, &self.unit),
                with_interval(&agreement.upper, &self.unit)
            ),
        );
        if let Some(trend) = &agreement.trend {
            figure(
                &mut lines,
                "change with content",
                &with_interval(trend, &format!("per {}", self.unit)),
            );
        }
        if let Some(line) = &c.deming {
            figure(&mut lines, "slope", &with_interval(&line.slope, ""));
            figure(
                &mut lines,
                "intercept",
                &with_interval(&line.intercept, &self.unit),
            );
            let share = if line.slope.holds(1.0) {
                "a slope of 1 fits"
            } else {
                "the slope is not 1: a proportional difference, as a wrong factor of the titrant makes it"
            };
            let amount = if line.intercept.holds(0.0) {
                "an intercept of 0 fits"
            } else {
                "the intercept is not 0: a constant difference, as a blank that is not subtracted makes it"
            };
            figure(
                &mut lines,
                "line",
                &format!(
                    "errors in both methods, variance ratio {}, jackknife; {share}; {amount}",
                    significant(line.variance_ratio, 3)
                ),
            );
        }
        (
            format!("{second} against {first}, {} samples", c.pairs.len()),
            lines,
        )
    }

    fn linearity(&self, l: &Linearity) -> Part {
        let titre = clean(&l.titre_unit);
        let portion = clean(&l.portion_unit);
        let mut lines = Vec::new();
        let share = |x: f64| format!("{} %", significant(100.0 * x, 2));
        if l.intercept.holds(0.0) {
            say(
                &mut lines,
                "The line goes through the origin as far as the data tell: no constant error is shown.",
            );
        } else {
            let sign = if l.intercept.value > 0.0 {
                "more titrant than the portion explains: a blank that is not subtracted, an end point seen late, or carbon dioxide and the like"
            } else {
                "less titrant than the portion explains: an end point seen early, or a blank subtracted that was not there"
            };
            say(
                &mut lines,
                &format!(
                    "Constant error: every run takes {} {titre} {sign}. That is {} of the smallest titre and {} of the largest.",
                    rounded(l.intercept.value.abs(), l.intercept.standard_uncertainty),
                    share(l.intercept_of_smallest.abs()),
                    share(l.intercept_of_largest.abs())
                ),
            );
        }
        match l.proportional_error() {
            None => say(
                &mut lines,
                "Whether there is a proportional error (concentration, pipette, loss) a line cannot tell without the slope to expect: give expected_slope.",
            ),
            Some(error) if error.holds(0.0) => say(
                &mut lines,
                "The slope is the expected one as far as the data tell: no proportional error is shown.",
            ),
            Some(error) => say(
                &mut lines,
                &format!(
                    "Proportional error: the slope is {} {} the expected one, such as by a wrong concentration, a pipette or a loss.",
                    share(error.value.abs()),
                    if error.value > 0.0 { "above" } else { "below" }
                ),
            ),
        }
        if let Some(test) = &l.lack_of_fit
            && test.p < self.level()
        {
            say(
                &mut lines,
                "The points bend away from the line more than repeated portions scatter: the titre is not proportional over this range.",
            );
        }
        lines.push(String::new());
        figure(
            &mut lines,
            "intercept",
            &with_interval(&l.intercept, &titre),
        );
        figure(
            &mut lines,
            "slope",
            &with_interval(&l.slope, &format!("{titre} per {portion}")),
        );
        figure(
            &mut lines,
            "about the line",
            &format!(
                "standard deviation {} {titre}, largest residual {} {titre}",
                significant(l.residual_standard_deviation, 2),
                significant(l.largest_residual, 2)
            ),
        );
        if let Some(test) = &l.lack_of_fit {
            figure(
                &mut lines,
                "shape",
                &format!(
                    "F = {} with {} and {} degrees of freedom, {}",
                    significant(test.f, 3),
                    degrees_of_freedom(test.numerator_dof),
                    degrees_of_freedom(test.denominator_dof),
                    probability(test.p)
                ),
            );
        }
        (
            format!("Titre against portion, {} runs", l.points.len()),
            lines,
        )
    }

    fn precision(&self, p: &Precision) -> Part {
        let by = clean(&p.by);
        let mut lines = Vec::new();
        let percent = |s: f64| format!("{} %", significant(100.0 * s / p.mean.abs(), 2));
        say(
            &mut lines,
            &format!(
                "Two results of one {by} should not differ by more than {} {}, {}.",
                significant(p.repeatability_limit, 2),
                self.unit,
                times_in_100(self.confidence)
            ),
        );
        if let Some(between) = &p.between {
            if between.p < self.level() {
                say(
                    &mut lines,
                    &format!(
                        "The {by} matters: results of different {by}s differ more than their scatter explains, by up to {} {}.",
                        significant(between.limit, 2),
                        self.unit
                    ),
                );
            } else {
                say(
                    &mut lines,
                    &format!("No effect of the {by} is shown beside the scatter."),
                );
            }
        }
        lines.push(String::new());
        figure(
            &mut lines,
            "mean",
            &format!("{} {}", rounded(p.mean, p.repeatability), self.unit),
        );
        figure(
            &mut lines,
            "repeatability",
            &format!(
                "{} {} ({}), interval {} to {}, {} degrees of freedom",
                significant(p.repeatability, 2),
                self.unit,
                percent(p.repeatability),
                significant(p.repeatability_interval[0], 2),
                significant(p.repeatability_interval[1], 2),
                degrees_of_freedom(p.degrees_of_freedom)
            ),
        );
        if let Some(between) = &p.between {
            figure(
                &mut lines,
                &format!("between {by}s"),
                &format!(
                    "{} {}; F = {}, {}",
                    significant(between.standard_deviation, 2),
                    self.unit,
                    significant(between.f, 3),
                    probability(between.p)
                ),
            );
            figure(
                &mut lines,
                "intermediate",
                &format!(
                    "{} {} ({})",
                    significant(between.intermediate_precision, 2),
                    self.unit,
                    percent(between.intermediate_precision)
                ),
            );
        }
        for (name, n, mean) in &p.groups {
            figure(
                &mut lines,
                &clean(name),
                &format!("{} {}, n = {n}", rounded(*mean, p.repeatability), self.unit),
            );
        }
        let n: usize = p.groups.iter().map(|(_, n, _)| n).sum();
        (format!("Scatter by {by}, {n} results"), lines)
    }

    fn recovery(&self, r: &Recovery) -> Part {
        let mut lines = Vec::new();
        if r.mean.holds(100.0) {
            say(
                &mut lines,
                "What was added is found again as far as the data tell.",
            );
        } else {
            let direction = if r.mean.value > 100.0 { "more" } else { "less" };
            say(
                &mut lines,
                &format!(
                    "On the mean {direction} is found than was added: {} % of it.",
                    rounded(r.mean.value, r.mean.standard_uncertainty)
                ),
            );
        }
        lines.push(String::new());
        figure(
            &mut lines,
            "mean recovery",
            &format!("{}; {}", with_interval(&r.mean, "%"), probability(r.p)),
        );
        if let Some((intercept, slope)) = &r.line {
            figure(
                &mut lines,
                "constant part",
                &with_interval(intercept, &self.unit),
            );
            figure(&mut lines, "share found", &with_interval(slope, ""));
        }
        for (added, n, mean) in &r.levels {
            figure(
                &mut lines,
                &format!("{} added", significant(*added, 3)),
                &format!("{} %, n = {n}", decimals(*mean, 1)),
            );
        }
        let n: usize = r.levels.iter().map(|(_, n, _)| n).sum();
        (format!("Recovery, {n} results"), lines)
    }
}
