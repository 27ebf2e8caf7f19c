//! What if: the inputs that matter most, each with a slider and a field, and the result as it would be. Nothing of it is
//! recorded. Without script it is a form that is sent; with it the same question is asked at every move.

use super::frame::{Page, Part, escaped, path_of};
use super::origin::{Spot, whence};
use super::result::rounded;
use crate::answer::Fault;
use crate::api::{self, JsonFault};
use crate::app::App;
use crate::decimals::in_text;
use crate::measured::{self, Measured};
use crate::text::{filled, t};
use crate::visitor::Visitor;
use crate::words;
use axum::Json;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use maud::{Markup, html};
use metrology::Input;
use notebook::{Node, Outcome};
use serde_json::{Value, json};
use std::sync::Arc;
use titrimetry::what_if::{Change, levers};

/// Inputs that are offered.
const MOST: usize = 5;
/// How far a value's slider reaches, in standard uncertainties; and that of the uncertainty, in itself.
const REACH: f64 = 4.0;
const REACH_U: f64 = 3.0;
/// Moves of a slider over the smaller of the two, at least.
const MOVES: f64 = 20.0;

/// What was asked, as it came.
type Asked = Vec<(String, String)>;

/// A slider's scale.
struct Slide {
    from: f64,
    to: f64,
    step: f64,
    decimals: usize,
}

impl Slide {
    fn over(from: f64, to: f64, at: f64) -> Self {
        let step = 10f64.powf(((to - from) / 2.0 / MOVES).log10().floor());
        // From a whole number of steps off where it stands, so that it stands on one.
        let from = at - ((at - from) / step).round() * step;
        Self {
            from,
            to,
            step,
            decimals: (-step.log10()).ceil().clamp(0.0, 12.0) as usize,
        }
    }

    fn text(&self, value: f64) -> String {
        format!("{value:.*}", self.decimals)
    }
}

fn of_value(input: &Input) -> Slide {
    let half = REACH * input.standard_uncertainty();
    Slide::over(input.value - half, input.value + half, input.value)
}

fn of_uncertainty(input: &Input) -> Slide {
    let u = input.standard_uncertainty();
    Slide::over(0.0, REACH_U * u, u)
}

/// What is asked of one number of an input: the field if it is filled, or else the slider if it was moved.
fn asked(
    asked: &Asked,
    which: &str,
    id: &str,
    now: f64,
    slide: &Slide,
) -> Result<Option<f64>, Fault> {
    let find = |prefix: &str| {
        let name = format!("{prefix}{which}.{id}");
        asked
            .iter()
            .find(|(key, _)| *key == name)
            .map(|(_, value)| value.trim())
            .filter(|value| !value.is_empty())
    };
    let read = |text: &str| {
        text.replace(',', ".")
            .replace('\u{2212}', "-")
            .parse::<f64>()
            .ok()
            .filter(|x| x.is_finite())
            .ok_or_else(|| Fault::Form(filled("what_if.no_number", &[("text", text)])))
    };
    if let Some(text) = find("") {
        return read(text).map(Some);
    }
    match find("s") {
        Some(text) => {
            let moved = read(text)?;
            Ok(((moved - now).abs() > 0.5 * slide.step).then_some(moved))
        }
        None => Ok(None),
    }
}

/// The changes that are asked for.
fn changes(measured: &Measured<'_>, query: &Asked) -> Result<Vec<Change>, Fault> {
    let mut found = Vec::new();
    for input in measured.formula.inputs() {
        let u = input.standard_uncertainty();
        let value = asked(query, "v", &input.id, input.value, &of_value(input))?;
        let standard_uncertainty = asked(query, "u", &input.id, u, &of_uncertainty(input))?;
        if value.is_some() || standard_uncertainty.is_some() {
            found.push(Change {
                id: input.id.clone(),
                value,
                standard_uncertainty,
            });
        }
    }
    Ok(found)
}

/// The outcome as it would be.
fn changed(outcome: &Outcome, changes: &[Change]) -> Result<Outcome, Fault> {
    let wrong = |error: &dyn std::fmt::Display| Fault::Form(error.to_string());
    Ok(match outcome {
        Outcome::Standardization {
            solution,
            evaluation,
            profile,
            ..
        } => {
            let evaluation =
                titrimetry::what_if::what_if(evaluation, changes).map_err(|e| wrong(&e))?;
            Outcome::Standardization {
                solution: solution.clone(),
                findings: titrimetry::judge(&evaluation, profile),
                evaluation: Arc::new(evaluation),
                profile: profile.clone(),
            }
        }
        Outcome::Assay {
            samples,
            assay,
            profile,
            ..
        } => {
            let assay = titrimetry::assay::what_if(assay, changes).map_err(|e| wrong(&e))?;
            Outcome::Assay {
                samples: samples.clone(),
                findings: titrimetry::assay::judge(&assay, profile),
                assay: Box::new(assay),
                profile: profile.clone(),
            }
        }
    })
}

/// The result that is asked about, by what was asked.
fn key(query: &Asked) -> Option<&str> {
    query
        .iter()
        .find(|(name, _)| name == "of")
        .map(|(_, value)| value.as_str())
}

/// What a result would be, in words.
struct Answer {
    value: String,
    uncertainty: String,
    factor: String,
    verdict: String,
}

impl Answer {
    fn of(outcome: &Outcome, key: Option<&str>) -> Option<Self> {
        let measured = measured::find(outcome, key)?;
        let u = measured.expanded.expanded_uncertainty;
        let (value, uncertainty) = rounded(measured.value(), u);
        let evaluated = outcome.evaluated();
        let mut verdict = if evaluated.usable {
            t("what_if.usable").to_string()
        } else {
            t("what_if.not_usable").to_string()
        };
        let conformity = conformity(outcome, key);
        if let Some(probability) = conformity {
            let p = format!("{:.1}", 100.0 * probability);
            verdict = format!("{verdict} {}", filled("what_if.conformity", &[("p", &p)]));
        }
        Some(Self {
            value,
            uncertainty,
            factor: format!("{:.2}", measured.expanded.coverage_factor),
            verdict,
        })
    }
}

/// The probability that the limits are kept, for the first result of the sample.
fn conformity(outcome: &Outcome, key: Option<&str>) -> Option<f64> {
    let Outcome::Assay { assay, .. } = outcome else {
        return None;
    };
    let sample = match key {
        None | Some("") => assay.samples.first()?,
        Some(key) => assay.samples.iter().find(|s| s.spec.id == key)?,
    };
    Some(sample.conformity.as_ref()?.probability)
}

/// The part of a page: what is recorded, the sliders, what would be.
pub(crate) fn section(node: &Node, outcome: &Outcome, query: &Asked) -> Result<Markup, Fault> {
    let key = key(query);
    let Some(measured) = measured::find(outcome, key) else {
        return Ok(html! {});
    };
    let changes = changes(&measured, query)?;
    let would = changed(outcome, &changes)?;
    let (Some(now), Some(then)) = (Answer::of(outcome, key), Answer::of(&would, key)) else {
        return Ok(html! {});
    };
    let name = escaped(node.name());
    let action = format!("/determinations/{name}/what-if");
    Ok(html! {
        form.what-if method="get" action=(action) data-ask={ "/api/v1/determinations/" (name) "/what-if" } {
            input type="hidden" name="of" value=(measured.key);
            div.answer aria-live="polite" {
                p.mark { (t("what_if.mark")) }
                p.result { span data-is="value" { (then.value) } " " span.unit { (measured.unit) } }
                p { "± " span data-is="uncertainty" { (then.uncertainty) } " " (measured.unit) ", k = " span data-is="factor" { (then.factor) } }
                p data-is="verdict" { (then.verdict) }
                p.quiet { (t("what_if.now")) " " (now.value) " ± " (now.uncertainty) " " (measured.unit) }
                p.quiet role="alert" data-is="fault" {}
            }
            div.levers {
                @for lever in levers(measured.formula, measured.budget, MOST) {
                    @let input = &measured.formula.inputs()[lever.input];
                    @let change = changes.iter().find(|c| c.id == input.id);
                    (one(node, &measured, input, lever.share, lever.has_value, change))
                }
                p.row {
                    button.main type="submit" { (t("what_if.show")) }
                    a.button href={ (action) (measured.query()) } data-reset { (t("what_if.back")) }
                }
            }
        }
        script type="module" src="/look/what-if.js" {}
    })
}

fn one(
    node: &Node,
    measured: &Measured<'_>,
    input: &Input,
    share: f64,
    has_value: bool,
    change: Option<&Change>,
) -> Markup {
    let heading = if input.description.is_empty() {
        input.symbol.clone()
    } else {
        words::quantity(&input.description)
    };
    let heading = heading.as_str();
    let unit = words::quantity(input.unit.symbol());
    let unit = Some(unit.as_str()).filter(|unit| *unit != "1");
    let spot = Spot::Input(input.id.clone());
    html! {
        fieldset.lever {
            legend { (whence(node, &spot, &measured.query(), &html! { (heading) })) span.quiet { " " (report::percent(share)) } }
            @if has_value {
                (pair(&input.id, "v", t("what_if.value"), heading, input.value, change.and_then(|c| c.value), &of_value(input), unit))
            }
            (pair(&input.id, "u", t("what_if.u"), heading, input.standard_uncertainty(), change.and_then(|c| c.standard_uncertainty), &of_uncertainty(input), unit))
        }
    }
}

/// A slider with its field.
#[allow(clippy::too_many_arguments)] // one row of a form, every part of it named
fn pair(
    id: &str,
    which: &str,
    word: &str,
    heading: &str,
    now: f64,
    asked: Option<f64>,
    slide: &Slide,
    unit: Option<&str>,
) -> Markup {
    let recorded = slide.text(now);
    let label = format!("{heading}: {word}");
    html! {
        div.pair {
            span.quiet { (word) }
            input type="range" name={ "s" (which) "." (id) } aria-label={ (label) ", " (t("what_if.slider")) }
                min=(slide.from) max=(slide.to) step=(slide.step) value=(asked.unwrap_or(now)) data-now=(now);
            span.field {
                input type="text" inputmode="decimal" name={ (which) "." (id) } aria-label=(label) placeholder=(recorded)
                    value=[asked.map(|x| slide.text(x))] data-decimals=(slide.decimals) autocomplete="off";
                @if let Some(unit) = unit { " " span.quiet { (unit) } }
            }
        }
    }
}

pub(crate) async fn what_if(
    State(app): State<App>,
    visitor: Visitor,
    Path(name): Path<String>,
    Query(query): Query<Asked>,
) -> Result<Markup, Fault> {
    let node = api::node("determination", &name)?;
    let evaluation = app.store.evaluate(&node).await?;
    let outcome = evaluation
        .outcome
        .map_err(|error| Fault::Missing(error.to_string()))?;
    let Some(measured) = measured::find(&outcome, key(&query)) else {
        return Err(Fault::Missing(filled(
            "origin.nothing",
            &[("id", key(&query).unwrap_or_default())],
        )));
    };
    let page = Page {
        title: t("what_if.title"),
        part: Some(Part::Results),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        nav.crumbs aria-label=(t("origin.way")) { ol { li { a href=(path_of(&node)) { (node.name()) } } } }
        h1 { (t("what_if.title")) " " span.quiet { (measured.name) } }
        p.quiet { (t("what_if.how")) }
        (section(&node, &outcome, &query)?)
        @let all = measured::all(&outcome);
        @if all.len() > 1 {
            h2 { (t("what_if.others")) }
            ul { @for other in all.iter().filter(|other| other.key != measured.key) { li { a href={ "/determinations/" (escaped(node.name())) "/what-if" (other.query()) } { (other.name) } } } }
        }
    }))
}

pub(crate) async fn answer(
    State(app): State<App>,
    _: Visitor,
    Path(name): Path<String>,
    Query(query): Query<Asked>,
) -> Result<Response, JsonFault> {
    let node = api::node("determination", &name)?;
    let evaluation = app.store.evaluate(&node).await?;
    let outcome = evaluation
        .outcome
        .map_err(|error| Fault::Form(error.to_string()))?;
    Ok(Json(document(&outcome, &query)?).into_response())
}

fn document(outcome: &Outcome, query: &Asked) -> Result<Value, Fault> {
    let key = key(query);
    let missing = || Fault::Missing(filled("origin.nothing", &[("id", key.unwrap_or_default())]));
    let measured = measured::find(outcome, key).ok_or_else(missing)?;
    let changes = changes(&measured, query)?;
    let would = changed(outcome, &changes)?;
    let shown = Answer::of(&would, key).ok_or_else(missing)?;
    let then = measured::find(&would, key).ok_or_else(missing)?;
    let evaluated = would.evaluated();
    Ok(json!({
        "recorded": false,
        "changes": changes.iter().map(|c| json!({ "input": c.id, "value": c.value, "standard_uncertainty": c.standard_uncertainty })).collect::<Vec<_>>(),
        "unit": then.unit,
        "value": then.value(),
        "standard_uncertainty": then.budget.standard_uncertainty / then.factor,
        "expanded_uncertainty": then.expanded.expanded_uncertainty,
        "coverage_factor": then.expanded.coverage_factor,
        "coverage_probability": then.expanded.probability,
        "probability_of_conformity": conformity(&would, key),
        "usable": evaluated.usable,
        "findings": evaluated.findings,
        "shown": { "value": in_text(&shown.value), "uncertainty": in_text(&shown.uncertainty), "factor": in_text(&shown.factor), "verdict": in_text(&shown.verdict) },
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use metrology::{Distribution, Quantity};

    #[test]
    fn a_slider_stands_on_what_is_recorded_and_a_field_comes_first() {
        let input = Input::new("S/purity", "w", Quantity::number(99.97)).distributed(
            Distribution::Normal {
                standard_uncertainty: 0.015,
            },
        );
        let slide = of_value(&input);
        let steps = (input.value - slide.from) / slide.step;
        assert!((steps - steps.round()).abs() < 1e-6, "{steps}");
        assert!(slide.step <= 0.06 / MOVES && slide.step > 0.06 / MOVES / 10.0);
        let ask = |pairs: &[(&str, &str)]| {
            let query: Asked = pairs
                .iter()
                .map(|(a, b)| ((*a).to_string(), (*b).to_string()))
                .collect();
            asked(&query, "v", "S/purity", 99.97, &slide)
        };
        assert_eq!(ask(&[]).unwrap(), None);
        assert_eq!(
            ask(&[("sv.S/purity", "99.970000001"), ("v.S/purity", "")]).unwrap(),
            None
        );
        assert_eq!(ask(&[("sv.S/purity", "99.95")]).unwrap(), Some(99.95));
        assert_eq!(
            ask(&[("sv.S/purity", "99.95"), ("v.S/purity", "99,9")]).unwrap(),
            Some(99.9)
        );
        for wrong in ["much", "1e999", "NaN"] {
            assert!(ask(&[("v.S/purity", wrong)]).is_err(), "{wrong}");
        }
    }
}
