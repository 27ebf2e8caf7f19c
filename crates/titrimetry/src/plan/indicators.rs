//! Indicators ranked by the bias they would cause here, with the reason.
//!
//! The place of the end comes from the predicted curve; what it does to the result is read off the evaluation
//! ([`crate::Evaluation::effect_of_titre`]), so its sign follows from the layout.

use super::candidate::Candidate;
use super::case::{Case, written};
use super::curve::PredictedCurve;
use super::forward::{DROP_ML, Expectation};
use crate::evaluation::end_point::PLACE_OF_THE_END;
use crate::sheet::{EndPointSpec, Shape, Stated};
use chemistry::indicators::end_point::indicated_end;
use chemistry::indicators::{Indicator, IndicatorKind, ShowsBy};
use serde::Serialize;

/// The eye places the end within this share of the visible change around where it is called (own choice: a quarter,
/// 0.45 in pH for phenolphthalein).
pub(crate) const PLACED_WITHIN: f64 = 0.25;
/// A bias or an unsureness below this share of U, the place of the end left out, does not matter (common practice: a third).
const NEGLIGIBLE: f64 = 1.0 / 3.0;
/// A change that takes more drops than this is no sharp end (own choice).
const SHARP_DROPS: f64 = 4.0;
/// Largest bias that a correction may carry, relative to the result (own choice).
const CORRECTABLE: f64 = 0.01;

/// How an indicator does here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Its bias does not matter.
    Good,
    /// Its bias is known well enough to be corrected, or to cancel if standardization and assay end alike.
    Correct,
    /// It misleads.
    Misleads,
}

/// An indicator on the curve of the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ranked {
    /// Key of the reference files; none for an end seen by a reagent's own colour.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// Name.
    pub name: String,
    /// Colour before and after the end.
    pub colours: (String, String),
    /// Level of the curve at the end (pH, pM, V).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level: Option<f64>,
    /// Levels between which the colour changes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band: Option<(f64, f64)>,
    /// Titrant between equivalence and end, mL; positive if the end comes late.
    pub late_ml: f64,
    /// Half-width of where the eye places it, mL.
    pub late_within_ml: f64,
    /// What that does to the result, relative; positive if the result reads high.
    pub effect: f64,
    /// Volumes between which the colour changes, mL.
    pub visible_ml: (f64, f64),
    /// The same in drops.
    pub drops: f64,
    /// What carbon dioxide taken up from air would do to the titre, mL.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub carbon_dioxide_ml: Option<f64>,
    /// How it does.
    pub verdict: Verdict,
    /// Why.
    pub reason: String,
    /// True if it is the usual one for this titration.
    pub usual: bool,
}

/// All indicators that respond to what the curve shows, by verdict and bias.
pub(super) fn rank(case: &Case, expected: &Expectation, predicted: &PredictedCurve) -> Vec<Ranked> {
    let mut out: Vec<Ranked> = Vec::new();
    out.extend(seen(expected, predicted));
    for indicator in Indicator::all() {
        // Where the potential is calculated but not followed, practice alone says which one works.
        let blind = matches!(indicator.kind, IndicatorKind::Redox { .. }) && !predicted.follows;
        if !blind || is_usual(case, &indicator.name, Some(&indicator.key)) {
            out.extend(judged(expected, predicted, indicator));
        }
    }
    sorted(case, expected, out)
}

/// The same for the usual indicators alone, or for all if none of them fits.
pub(super) fn rank_usual(
    case: &Case,
    expected: &Expectation,
    predicted: &PredictedCurve,
) -> Vec<Ranked> {
    if case.wishes.indicator.is_some() {
        return rank(case, expected, predicted);
    }
    let mut out: Vec<Ranked> = Vec::new();
    out.extend(seen(expected, predicted));
    for indicator in Indicator::all() {
        if is_usual(case, &indicator.name, Some(&indicator.key)) {
            out.extend(judged(expected, predicted, indicator));
        }
    }
    if out.is_empty() {
        return rank(case, expected, predicted);
    }
    sorted(case, expected, out)
}

fn sorted(case: &Case, expected: &Expectation, mut out: Vec<Ranked>) -> Vec<Ranked> {
    for ranked in &mut out {
        ranked.usual = is_usual(case, &ranked.name, ranked.key.as_deref());
    }
    out.sort_by(|a, b| {
        a.verdict
            .cmp(&b.verdict)
            .then(reach(expected, a).total_cmp(&reach(expected, b)))
    });
    out
}

/// How far the result may be off by the place of the end, relative.
fn reach(expected: &Expectation, ranked: &Ranked) -> f64 {
    ranked.effect.abs()
        + expected
            .evaluation
            .effect_of_titre(ranked.late_within_ml)
            .abs()
}

/// The one to use: as wished, else a usual one that is good or nearly so, else the best that does not mislead.
pub(super) fn choose<'a>(
    case: &Case,
    expected: &Expectation,
    ranked: &'a [Ranked],
) -> Option<&'a Ranked> {
    if let Some(wish) = &case.wishes.indicator {
        let wanted = wish.to_lowercase();
        return ranked
            .iter()
            .find(|r| wanted.contains(&r.name.to_lowercase()) || r.key.as_deref() == Some(wish));
    }
    let fair = |r: &&Ranked| {
        r.usual
            && r.verdict != Verdict::Misleads
            && reach(expected, r) <= expected.relative_uncertainty
    };
    ranked
        .iter()
        .find(fair)
        .or_else(|| ranked.first().filter(|r| r.verdict != Verdict::Misleads))
}

/// What the evaluation is told about the place of the end.
pub(super) fn end_point(ranked: &Ranked) -> EndPointSpec {
    EndPointSpec {
        late: Stated {
            value: written(ranked.late_ml, 4, "mL"),
            expanded: None,
            k: None,
            standard: None,
            within: Some(written(ranked.late_within_ml, 4, "mL")),
            shape: Some(Shape::Rectangular),
            exact: false,
            degrees_of_freedom: None,
            certificate: Some(format!("predicted from the curve, {}", ranked.name)),
        },
    }
}

/// The candidate with the predicted place of its end.
pub(super) fn with_end(candidate: &Candidate, ranked: &Ranked) -> Candidate {
    Candidate {
        end_point: Some(end_point(ranked)),
        ..candidate.clone()
    }
}

/// Whether the catalogue names it as the usual end of this titration.
fn is_usual(case: &Case, name: &str, key: Option<&str>) -> bool {
    let Some(titration) = case.titration else {
        return false;
    };
    let usual = titration.end_point.to_lowercase();
    let name = name.to_lowercase();
    match key.map(|key| key.replace('-', " ")) {
        Some(key) => {
            usual.contains(&name)
                || usual.contains(&key)
                || (key == "iron alum" && usual.contains("iron(iii) alum"))
        }
        None => {
            usual.contains(&name) || (usual.contains("own colour") && name.contains("own colour"))
        }
    }
}

/// An end by the trace of a coloured reagent.
fn seen(expected: &Expectation, predicted: &PredictedCurve) -> Option<Ranked> {
    let seen = predicted.seen?;
    let volume = predicted.flask_ml + predicted.equivalence.volume_ml;
    let size = seen.mol_per_l * volume * seen.titrant_per / predicted.titrant_strength();
    let late = if seen.appears { size } else { -size };
    let at = predicted.equivalence.volume_ml + late;
    Some(finished(
        expected,
        Ranked {
            key: None,
            name: seen.name.clone(),
            colours: (seen.colour_before.clone(), seen.colour_after.clone()),
            level: predicted.curve.level_at(at).ok(),
            band: None,
            late_ml: late,
            // The visible concentration is known within a factor of about 2.
            late_within_ml: 0.5 * size,
            effect: 0.0,
            visible_ml: (
                at.min(predicted.equivalence.volume_ml),
                at.max(predicted.equivalence.volume_ml),
            ),
            drops: size / DROP_ML,
            carbon_dioxide_ml: None,
            verdict: Verdict::Good,
            reason: String::new(),
            usual: false,
        },
        Vec::new(),
    ))
}

fn judged(
    expected: &Expectation,
    predicted: &PredictedCurve,
    indicator: &Indicator,
) -> Option<Ranked> {
    let situation = &predicted.situation;
    let (curve, equivalence) = match &indicator.kind {
        IndicatorKind::Precipitation { shows_by, ions, .. } => {
            // It must be meant for what is in the flask.
            let fits = predicted.responds_to(ions);
            match shows_by {
                _ if !fits => return None,
                ShowsBy::Precipitate {
                    reagent,
                    usual_mol_per_l,
                    ..
                } => predicted.with(reagent, *usual_mol_per_l).ok()?,
                _ => (predicted.curve.clone(), predicted.equivalence.clone()),
            }
        }
        _ => (predicted.curve.clone(), predicted.equivalence.clone()),
    };
    let end = indicated_end(indicator, &curve, &equivalence, situation).ok()?;
    let band = indicator.band(situation);
    let after = 1.02 * equivalence.volume_ml;
    let rises = curve.level_at(after).ok()? > curve.level_at(0.98 * equivalence.volume_ml).ok()?;
    let (late, within, level) = match (&indicator.kind, band) {
        (
            IndicatorKind::Precipitation {
                shows_by: ShowsBy::Precipitate { .. },
                ..
            },
            _,
        ) => {
            // The salt has to be seen, too: up to one drop more.
            (end.bias_ml + DROP_ML / 2.0, DROP_ML / 2.0, end.level)
        }
        // Adsorption and coloured complexes show the end where it is, as well as the eye can tell.
        (_, None) => (end.bias_ml, DROP_ML / 4.0, end.level),
        (kind, Some(band)) => {
            // A complexometric end is called when the last of the complex' colour has gone.
            let last = if rises { band.high } else { band.low };
            let level = match kind {
                IndicatorKind::Metallochromic { .. } => last,
                _ => end.level,
            };
            let reach = PLACED_WITHIN * (band.high - band.low);
            let at = |level: f64| curve.volume_at(level).ok();
            let (one, middle, other) = (at(level - reach), at(level)?, at(level + reach));
            let (one, other) = (one.unwrap_or(middle), other.unwrap_or(middle));
            (
                middle - equivalence.volume_ml,
                (other - one).abs() / 2.0,
                level,
            )
        }
    };
    let colour = |level: f64| indicator.colour_name(level, situation);
    let colours = match (&indicator.kind, band) {
        (IndicatorKind::Precipitation { .. }, _) | (_, None) => (colour(-1.0), colour(1.0)),
        (_, Some(band)) => {
            let width = band.high - band.low;
            let (low, high) = (colour(band.low - width), colour(band.high + width));
            if rises { (low, high) } else { (high, low) }
        }
    };
    Some(finished(
        expected,
        Ranked {
            key: Some(indicator.key.clone()),
            name: indicator.name.clone(),
            colours,
            level: Some(level),
            band: band.map(|b| (b.low, b.high)),
            late_ml: late,
            late_within_ml: within,
            effect: 0.0,
            visible_ml: end.visible_ml,
            drops: end.sharpness_drops,
            carbon_dioxide_ml: end.carbon_dioxide_shift_ml,
            verdict: Verdict::Good,
            reason: String::new(),
            usual: false,
        },
        end.remarks,
    ))
}

/// Expanded uncertainty over result without what the place of an end brings: an unfit indicator that was wished for must
/// not make the others look fit beside it.
fn without_the_end(expected: &Expectation) -> f64 {
    let inputs = expected.evaluation.formula.inputs();
    let lines = expected.evaluation.budget.lines.iter();
    let share: f64 = lines
        .filter(|line| inputs[line.input].group == PLACE_OF_THE_END)
        .map(|line| line.share)
        .sum();
    expected.relative_uncertainty * (1.0 - share).max(0.0).sqrt()
}

/// Effect, verdict and reason.
fn finished(expected: &Expectation, mut ranked: Ranked, remarks: Vec<String>) -> Ranked {
    let u = without_the_end(expected);
    let effect = expected.evaluation.effect_of_titre(ranked.late_ml);
    let unsure = expected
        .evaluation
        .effect_of_titre(ranked.late_within_ml)
        .abs();
    ranked.effect = effect;
    ranked.verdict = if !remarks.is_empty() || effect.abs() > CORRECTABLE || unsure > u {
        Verdict::Misleads
    } else if effect.abs() <= NEGLIGIBLE * u && unsure <= NEGLIGIBLE * u {
        Verdict::Good
    } else {
        Verdict::Correct
    };
    let when = if ranked.late_ml > 0.0 {
        "late"
    } else {
        "early"
    };
    let place = if ranked.late_ml.abs() < 5e-4 {
        format!("on the point within {:.3} mL", ranked.late_within_ml)
    } else {
        let (late, within) = (ranked.late_ml.abs(), ranked.late_within_ml);
        format!("{late:.3} mL {when} within {within:.3}")
    };
    let sign = if effect < 0.0 { '\u{2212}' } else { '+' };
    let mut reason = if effect.abs() < 5e-5 {
        format!("{place}: result not moved")
    } else {
        format!("{place}: result {sign}{:.2} %", effect.abs() * 100.0)
    };
    if ranked.drops > SHARP_DROPS {
        reason += &format!("; not sharp, changes over {:.0} drops", ranked.drops);
    }
    if let Some(shift) = ranked.carbon_dioxide_ml
        && shift.abs() > ranked.late_within_ml.max(DROP_ML / 5.0)
    {
        reason += &format!("; CO2 from air would add {shift:.2} mL");
    }
    for remark in remarks {
        reason += &format!("; {remark}");
    }
    ranked.reason = reason;
    ranked
}
