//! Points of the predicted curve for drawing, close together where it is steep, and what is marked on it.

use super::Plan;
use super::candidate::Dose;
use super::indicators::Ranked;
use super::zones::Zone;
use chemistry::colour::Colour;
use chemistry::indicators::{Indicator, IndicatorKind};
use chemistry::titration_curve::{Quantity, TitrationCurve};

/// Points of the even part.
const EVEN: usize = 160;
/// Points on each side of a steep place.
const CLOSE: usize = 60;
/// Nearest to and farthest from a steep place, as shares of its volume.
const NEAREST: f64 = 1e-5;
const FARTHEST: f64 = 0.08;
/// How far past the equivalence point is drawn.
const PAST: f64 = 1.35;
/// Where a curve begins whose level rests on the titrant, as a share of the equivalence volume.
const FIRST: f64 = 0.005;
/// Colours over the whole range of levels.
const COLOURS: usize = 48;

/// A curve ready to be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// What it is called.
    pub title: String,
    /// What stands in the burette and in the flask.
    pub detail: String,
    /// Name of the quantity: pH, pCa, E.
    pub quantity: String,
    /// Its unit, empty for a p value.
    pub unit: &'static str,
    /// Points: volume in mL, level.
    pub points: Vec<(f64, f64)>,
    /// The equivalence point: volume in mL, level.
    pub equivalence: (f64, f64),
    /// Other equivalence points on the way.
    pub others: Vec<(f64, f64)>,
    /// The end that the indicator gives.
    pub end: Option<DrawnEnd>,
    /// Where to run freely, by drops, by half drops.
    pub zone: Zone,
    /// The titre of the rough run that the zones come from, mL; none for the first run.
    pub rough_ml: Option<f64>,
    /// What has to be known to read it.
    pub notes: Vec<String>,
}

/// The end that an indicator gives.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnEnd {
    /// Name of the indicator.
    pub indicator: String,
    /// Volume, mL.
    pub volume_ml: f64,
    /// Volume after the equivalence point, mL; negative before it.
    pub late_ml: f64,
    /// Half-width of where the eye places it, mL.
    pub late_within_ml: f64,
    /// What the place does to the result, relative.
    pub effect: f64,
    /// Level.
    pub level: f64,
    /// Levels between which the colour changes.
    pub band: Option<(f64, f64)>,
    /// Names of the colours before and after the end.
    pub colours: (String, String),
    /// The colour of the flask by level, "#rrggbb", from the lowest level to the highest; empty if it is not known.
    pub paint: Vec<(f64, String)>,
}

impl Plan {
    /// The predicted curve of one run, for drawing; `rough_ml` is the titre of a rough run already done.
    ///
    /// # Errors
    /// Why there is no curve, in a sentence.
    pub fn drawing(&self, rough_ml: Option<f64>) -> Result<Drawing, String> {
        let predicted = self.curve.as_ref().map_err(Clone::clone)?;
        let curve = &predicted.curve;
        let equivalence = &predicted.equivalence;
        let last = PAST * equivalence.volume_ml;
        let zone = rough_ml.map_or(self.zones.first_run, |rough| self.zones.after_rough(rough));
        let mut notes = predicted.cautions.clone();
        // Carbon dioxide is boiled out where the tap is closed; up to there the flask is as it was.
        let boiled_at = match predicted.unboiled {
            Some(_) => zone.freely_to_ml.min(equivalence.volume_ml),
            None => 0.0,
        };
        let from = match predicted.curve.quantity() {
            Quantity::Ph => 0.0,
            // Before the first drop there may be nothing that gives a level.
            _ => FIRST * equivalence.volume_ml,
        };
        let mut ends = visible(curve, boiled_at, last)?;
        let mut points = points(curve, &ends, (from.max(boiled_at), last));
        if let Some(unboiled) = &predicted.unboiled {
            let before = visible(unboiled, 0.0, boiled_at)?;
            points.splice(0..0, self::points(unboiled, &before, (0.0, boiled_at)));
            ends.extend(before);
            notes.push(format!(
                "at {boiled_at:.1} mL the carbon dioxide is boiled out, and the flask is cooled before it goes on"
            ));
        }
        if points.len() < 2 {
            return Err("no curve: the model gives no level at any volume".into());
        }
        let quantity = curve.quantity();
        let end = self.indicator.as_ref().and_then(|ranked| {
            let volume_ml = equivalence.volume_ml + ranked.late_ml;
            let level = curve.level_at(volume_ml).ok()?;
            Some(DrawnEnd {
                indicator: ranked.name.clone(),
                volume_ml,
                late_ml: ranked.late_ml,
                late_within_ml: ranked.late_within_ml,
                effect: ranked.effect,
                level,
                band: ranked.band,
                colours: ranked.colours.clone(),
                paint: self.paint(ranked, level, &points),
            })
        });
        let apart = |(v, _): &(f64, f64)| (v - equivalence.volume_ml).abs() > 1e-6 * v;
        Ok(Drawing {
            title: self.case.title.clone(),
            detail: self.detail(predicted.flask_ml),
            quantity: quantity.name(),
            unit: quantity.unit(),
            points,
            equivalence: (equivalence.volume_ml, equivalence.level),
            others: ends.into_iter().filter(apart).collect(),
            end,
            zone,
            rough_ml,
            notes,
        })
    }

    fn detail(&self, flask_ml: f64) -> String {
        let candidate = &self.chosen().expected.candidate;
        let name = &self.case.flask.name;
        let sample = self.case.wishes.sample.as_ref();
        let flask = match &candidate.dose {
            Dose::Weighed { mass_g } => format!("{} of {name}", self.case.mass(*mass_g)),
            Dose::MadeUp { pipette, .. } => {
                format!("{} mL of the made-up {name}", pipette.nominal_ml)
            }
            Dose::Pipetted { diluted, pipette } => format!(
                "{} mL of {}{}",
                pipette.nominal_ml,
                if diluted.is_empty() { "" } else { "diluted " },
                sample.and_then(|s| s.name.as_ref()).unwrap_or(name)
            ),
        };
        format!(
            "{} {} from the burette into {flask} in {flask_ml} mL",
            self.case.titrant.name, candidate.strength
        )
    }

    /// Colours of the flask over the levels of the curve.
    fn paint(&self, ranked: &Ranked, end: f64, points: &[(f64, f64)]) -> Vec<(f64, String)> {
        let Ok(predicted) = &self.curve else {
            return Vec::new();
        };
        let levels = || points.iter().map(|p| p.1);
        let (low, high) = (
            levels().fold(f64::INFINITY, f64::min),
            levels().fold(f64::NEG_INFINITY, f64::max),
        );
        let indicator = ranked
            .key
            .as_deref()
            .and_then(|key| Indicator::named(key).ok())
            .filter(|i| !matches!(i.kind, IndicatorKind::Precipitation { .. }));
        if let (Some(indicator), Some(_)) = (indicator, ranked.band) {
            return (0..=COLOURS)
                .map(|i| {
                    let level = low + (high - low) * i as f64 / COLOURS as f64;
                    let colour = indicator.colour(level, &predicted.situation, 1.0);
                    (level, colour.hex())
                })
                .collect();
        }
        // An end that is not a matter of the level: one colour before it, another after it.
        let named = |name: &String| Colour::named(name).map(|colour| colour.hex());
        let (Some(before), Some(after)) = (named(&ranked.colours.0), named(&ranked.colours.1))
        else {
            return Vec::new();
        };
        let rises = points.last().map(|p| p.1) > points.first().map(|p| p.1);
        let (below, above) = if rises {
            (before, after)
        } else {
            (after, before)
        };
        vec![
            (low, below.clone()),
            (end, below),
            (end, above.clone()),
            (high, above),
        ]
    }
}

/// Equivalence points between two volumes that can be seen.
fn visible(curve: &TitrationCurve, from: f64, to: f64) -> Result<Vec<(f64, f64)>, String> {
    let points = curve
        .equivalence_points()
        .map_err(|error| error.to_string())?;
    Ok(points
        .iter()
        .filter(|point| point.visible && (from..to).contains(&point.volume_ml))
        .map(|point| (point.volume_ml, point.level))
        .collect())
}

/// Even points, and points that close in on the steep places; where the curve has no level, there is no point.
fn points(
    curve: &TitrationCurve,
    steep: &[(f64, f64)],
    (from, last): (f64, f64),
) -> Vec<(f64, f64)> {
    let mut volumes: Vec<f64> = (0..=EVEN).map(|i| last * i as f64 / EVEN as f64).collect();
    volumes.push(from);
    // The first drops move the level fast, too.
    volumes.extend((1..=20).map(|i| last * (f64::from(i) / 20.0).powi(3) / EVEN as f64));
    for (centre, _) in steep {
        volumes.push(*centre);
        for i in 0..CLOSE {
            let at = i as f64 / (CLOSE as f64 - 1.0);
            let away = centre * NEAREST * (FARTHEST / NEAREST).powf(at);
            volumes.push(centre - away);
            volumes.push(centre + away);
        }
    }
    volumes.retain(|v| (from..=last).contains(v));
    volumes.sort_by(f64::total_cmp);
    volumes.dedup_by(|a, b| (*a - *b).abs() < 1e-9 * last);
    volumes
        .into_iter()
        .filter_map(|v| Some((v, curve.level_at(v).ok().filter(|level| level.is_finite())?)))
        .collect()
}
