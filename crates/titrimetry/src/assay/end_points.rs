//! Where the ends that indicators show lie, against the equivalence points, on the curve that the equilibrium engine predicts
//! for a sample: an input for each end point, with how well the eye places it.
//!
//! It holds for acids and bases that stand in water as the reactions write them, which a method says of itself (`in_water`);
//! elsewhere the sheet states the place of the end, or nothing is corrected. A stated value of the last end point counts
//! before the predicted one.

use super::evaluate::{Shared, unit};
use super::sheet::SampleSpec;
use super::work::Work;
use crate::evaluation::{built, end_point};
use crate::method::Method;
use crate::plan::indicators::PLACED_WITHIN;
use crate::sheet::{SheetError, Written};
use chemistry::constant_set::Conditions;
use chemistry::indicators::Indicator;
use chemistry::indicators::end_point::{Situation, indicated_end};
use chemistry::solution::Solution;
use chemistry::titration_curve::{EquivalencePoint, TitrationCurve};
use metrology::{Distribution, Expr, Input, Origin, Quantity};

/// An electrode stands at the pH asked for within this (common practice, after adjusting with two buffers).
const ELECTRODE_WITHIN: f64 = 0.05;
/// The curve ends where the readings do within this share, or it is not the curve of this titration (own choice).
const NEAR: f64 = 0.05;

/// The place of each end of each titration.
pub(super) type Ends = Vec<Vec<Option<Expr>>>;

/// How an end is seen.
enum Sign {
    Indicator(&'static Indicator),
    Ph(f64),
}

impl Sign {
    fn of(name: &str) -> Option<Self> {
        let ph = name.trim().strip_prefix("pH").map(str::trim);
        if let Some(level) = ph.and_then(|text| text.replace(',', ".").parse::<f64>().ok()) {
            return (0.0..=14.0).contains(&level).then_some(Self::Ph(level));
        }
        Indicator::named(&name.trim().to_lowercase())
            .ok()
            .map(Self::Indicator)
    }

    /// Titrant between the equivalence point and this end, mL, and the half-width of where it is placed.
    fn late(
        &self,
        curve: &TitrationCurve,
        equivalence: &EquivalencePoint,
    ) -> Result<(f64, f64), String> {
        let say = |e: chemistry::equilibrium_error::EquilibriumError| e.to_string();
        let (level, reach) = match self {
            Self::Ph(level) => (*level, ELECTRODE_WITHIN),
            Self::Indicator(indicator) => {
                let situation = Situation::default();
                let end = indicated_end(indicator, curve, equivalence, &situation).map_err(say)?;
                let band = indicator
                    .band(&situation)
                    .ok_or_else(|| format!("{} does not show a pH", indicator.name))?;
                (end.level, PLACED_WITHIN * (band.high - band.low))
            }
        };
        let middle = curve.volume_at(level).map_err(say)?;
        let at = |level: f64| curve.volume_at(level).unwrap_or(middle);
        let within = (at(level + reach) - at(level - reach)).abs() / 2.0;
        Ok((middle - equivalence.volume_ml, within))
    }
}

impl Shared<'_> {
    /// Titrant between equivalence point and seen end, stated or predicted; none if nothing is known.
    pub(super) fn late(
        &self,
        work: &Work,
        titration: usize,
        end: usize,
    ) -> Result<Option<Expr>, SheetError> {
        let spec = self.sheet.end_point.as_ref();
        let last = self.titrations[titration].end_point.len() - 1;
        let stated = spec.and_then(|spec| spec.late.as_ref());
        match stated.filter(|_| end == last) {
            Some(stated) => end_point::late(Some(stated), &work.bench.determination),
            None => Ok(work
                .late
                .get(titration)
                .and_then(|ends| ends.get(end).cloned().flatten())),
        }
    }

    /// The place of every end by its indicator, and what is to be said of each; nothing where the sheet names none.
    pub(super) fn predicted_ends(
        &self,
        work: &Work,
        spec: &SampleSpec,
        counts: &[bool],
    ) -> Result<(Ends, Vec<String>), SheetError> {
        let Some(asked) = self
            .sheet
            .end_point
            .as_ref()
            .filter(|e| !e.by_indicator.is_empty())
        else {
            return Ok((Vec::new(), Vec::new()));
        };
        let refuse = |message: String| Err(SheetError::entry("end_point.by_indicator", message));
        if !self.method.in_water || !self.method.reagent.is_empty() {
            return refuse(format!(
                "the method {} does not say that its analytes stand alone in water, so the engine's curve would be that of something else: state late, or leave it out",
                self.method.name
            ));
        }
        let Some(flask_ml) = asked.flask_volume.as_ref().map(Written::value) else {
            return Err(SheetError::entry(
                "end_point.flask_volume",
                "the curve needs the volume in the flask before the first drop, water and all: flask_volume = \"75 mL\"",
            ));
        };
        if !(flask_ml.is_finite() && flask_ml > 0.0) {
            return Err(SheetError::entry(
                "end_point.flask_volume",
                "must be above 0 mL",
            ));
        }
        let number = |expr: &Expr| -> Result<f64, SheetError> {
            let formula = built("sample", expr)?;
            let values = formula.evaluate(formula.input_values());
            Ok(values[formula.result_index()])
        };
        let contents = self
            .contents(work, spec, counts, None)?
            .iter()
            .map(number)
            .collect::<Result<Vec<f64>, _>>()?;
        // Values are in mol, mL and g here; the engine counts in mol/L.
        let strength = 1000.0 * number(&self.titrant.concentration)?;
        let (titrant, _) = Method::acting(
            &self.method.titrant.substance,
            self.method.titrant.acts_as.as_deref(),
            "titrant",
        )
        .map_err(|e| SheetError::entry("titrant", e.to_string()))?;
        let titrant = Solution::of(&engine_name(&titrant.to_string()), strength);
        let temperature = self.sheet.conditions.temperature.as_ref();
        let conditions = Conditions {
            temperature_c: temperature.map_or(25.0, |t| t.value_in("degC")),
            ..Conditions::default()
        };
        let (mut out, mut notes) = (Vec::new(), Vec::new());
        for (t, plan) in self.titrations.iter().enumerate() {
            if plan.end_point.len() != asked.by_indicator.len() {
                return refuse(format!(
                    "the titration \"{}\" has {} end points, but {} are named: name one for each, in their order",
                    plan.name,
                    plan.end_point.len(),
                    asked.by_indicator.len()
                ));
            }
            if work.blank[t].is_some() {
                return refuse(
                    "the blank that is taken off holds what its own end is late: keep either the blank or this".into(),
                );
            }
            let runs: Vec<usize> = (0..spec.run.len())
                .filter(|run| counts[*run] && work.titration[*run] == t)
                .collect();
            let mean = |of: &dyn Fn(usize) -> Result<Expr, SheetError>| {
                let all = runs.iter().map(|run| of(*run));
                number(&Expr::mean(all.collect::<Result<Vec<_>, _>>()?))
            };
            let portion = mean(&|run| {
                let own = &work.bench.runs[run].spec;
                let path = format!("run[{}]", run + 1);
                self.handling.portion(&work.bench, spec, run, own, &path)
            })?;
            let mut flask = Solution::water();
            for (analyte, content) in self.method.analyte.iter().zip(&contents) {
                let concentration = 1000.0 * content.max(0.0) * portion / flask_ml;
                flask = flask.with(&engine_name(&analyte.species), concentration);
            }
            let say = |what: &str, e: String| {
                SheetError::entry("end_point.by_indicator", format!("{what}: {e}"))
            };
            let curve = TitrationCurve::acid_base(&flask, flask_ml, &titrant, &conditions)
                .map_err(|e| say("no curve", e.to_string()))?;
            let points = curve
                .equivalence_points()
                .map_err(|e| say("no curve", e.to_string()))?;
            let mut ends = Vec::new();
            for (end, name) in asked.by_indicator.iter().enumerate() {
                let titre = mean(&|run| self.net_volume(work, run, end))?;
                let nearest = points.iter().min_by(|a, b| {
                    let off = |p: &EquivalencePoint| (p.volume_ml - titre).abs();
                    off(a).total_cmp(&off(b))
                });
                let Some(equivalence) =
                    nearest.filter(|p| (p.volume_ml - titre).abs() <= NEAR * titre)
                else {
                    // Such as a first end right at the start, where there is none of the first analyte.
                    ends.push(None);
                    continue;
                };
                let sign = Sign::of(name).ok_or_else(|| {
                    say(
                        name,
                        "no indicator of the library; write its name, or \"pH 8.3\"".into(),
                    )
                })?;
                let (late, within) = sign.late(&curve, equivalence).map_err(|e| say(name, e))?;
                let many = plan.end_point.len() > 1;
                let input = Input::new(
                    format!(
                        "{} sample {}/{}/end {}",
                        work.bench.determination,
                        spec.id,
                        plan.name,
                        end + 1
                    ),
                    if many {
                        format!("V_late,{}", end + 1)
                    } else {
                        "V_late".into()
                    },
                    Quantity::new(late, unit("mL")),
                )
                .described(format!(
                    "titrant between equivalence point and the end of {name}"
                ))
                .distributed(Distribution::Rectangular { half_width: within })
                .from_origin(Origin::Table(format!(
                    "predicted by the equilibrium engine, {name} on the curve of this sample"
                )))
                .grouped("place of the end point");
                let way = if late < 0.0 { "before" } else { "after" };
                notes.push(format!(
                    "sample {}: the end of {name} lies {:.3} mL {way} the equivalence point, placed within {within:.3} mL (predicted for {flask_ml} mL in the flask, no carbon dioxide lost or taken up)",
                    spec.id,
                    late.abs()
                ));
                ends.push(Some(Expr::input(input)));
            }
            out.push(ends);
        }
        Ok((out, notes))
    }
}

/// A species as the engine's files write it: a single charge without its sign of power.
fn engine_name(species: &str) -> String {
    species.replace("^-", "-").replace("^+", "+")
}
