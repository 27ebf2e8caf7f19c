//! Stoichiometric ends of a titration.

use super::general::{Exchange, GeneralCurve};
use crate::equilibrium::problem::Supply;
use crate::equilibrium_error::EquilibriumError;

/// A stoichiometric end of a titration.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct EquivalencePoint {
    /// Titrant, mL.
    pub volume_ml: f64,
    /// Level of the measured quantity there (pH, pM, pAg; E in volt).
    pub level: f64,
    /// What has just been titrated, in words.
    pub what: String,
    /// Change of the level from 1 % of the titre before the end to 1 % after it.
    pub step: f64,
    /// Whether an end can be seen: the curve is steepest there and the step is at least 0.3 units of p or 18 mV (common
    /// practice: below that neither an indicator nor an electrode gives a usable end).
    pub visible: bool,
}

/// A volume that may be an end.
#[derive(Debug, Clone)]
pub(crate) struct Candidate {
    /// Titrant, mL; anything but a positive number is no end.
    pub(crate) volume_ml: f64,
    /// What has just been titrated.
    pub(crate) what: String,
    /// Whether it is the flask that has just been titrated, not a by-product of the titrant.
    pub(crate) own: bool,
}

/// Smallest step of a visible end, in units of p.
const SMALLEST_STEP: f64 = 0.3;

/// Sorts candidates into equivalence points; `unit` is the level of one unit of p (1, or volt).
///
/// A candidate that only the titrant brings is no end, but the curve may be steepest there: then the end before it can be seen.
pub(crate) fn settle(
    mut candidates: Vec<Candidate>,
    flask_ml: f64,
    unit: f64,
    level: impl Fn(f64) -> Result<f64, EquilibriumError>,
) -> Result<Vec<EquivalencePoint>, EquilibriumError> {
    candidates.retain(|candidate| {
        candidate.volume_ml.is_finite() && candidate.volume_ml > 1e-9 * flask_ml
    });
    candidates.sort_by(|a, b| a.volume_ml.total_cmp(&b.volume_ml).then(b.own.cmp(&a.own)));
    let mut points: Vec<EquivalencePoint> = Vec::new();
    for Candidate {
        volume_ml,
        what,
        own,
    } in candidates
    {
        if points
            .iter()
            .any(|point| (point.volume_ml - volume_ml).abs() < 1e-9 * volume_ml)
        {
            continue;
        }
        let at = match level(volume_ml) {
            Ok(at) => at,
            Err(EquilibriumError::PotentialUndefined { .. }) => continue,
            Err(error) => return Err(error),
        };
        let across = |middle: f64, part: f64| -> Result<f64, EquilibriumError> {
            Ok((level(middle * (1.0 + part))? - level(middle * (1.0 - part))?).abs() / middle)
        };
        let step = level(1.01 * volume_ml)? - level(0.99 * volume_ml)?;
        let here = across(volume_ml, 1e-3)?;
        let steepest =
            here > across(0.97 * volume_ml, 1e-3)? && here > across(1.03 * volume_ml, 1e-3)?;
        let visible = steepest && step.abs() >= SMALLEST_STEP * unit;
        if own {
            points.push(EquivalencePoint {
                volume_ml,
                level: at,
                what,
                step,
                visible,
            });
        } else if let Some(before) = points.last_mut() {
            before.visible |= visible;
        }
    }
    Ok(points)
}

/// Something that takes up the particle of the titration (ligand, silver ion, electron) when its activity passes a level.
#[derive(Debug, Clone)]
struct Group {
    /// Component that takes part.
    component: usize,
    /// Particles taken up by one of it; negative: given off (an oxidation takes electrons away).
    capacity: f64,
    /// ln a of the particle at which half of it has reacted.
    level: f64,
    /// What forms.
    product: String,
}

/// Groups of a curve ordered by level: for a ligand its metals, for an ion its salts, for the electron the couples.
fn groups(curve: &GeneralCurve) -> Vec<Group> {
    let problem = curve.system.problem();
    let particle = curve.particle;
    let electron = problem.components[particle].label == "e-";
    let ln_held = |j: usize| match problem.components[j].known {
        crate::equilibrium::problem::Known::LnActivity(ln) => ln,
        crate::equilibrium::problem::Known::Total(_) if problem.components[j].label == "H+" => {
            curve.ln_h
        }
        crate::equilibrium::problem::Known::Total(_) => 0.0,
    };
    let side =
        |j: usize| j == particle || matches!(problem.components[j].label.as_str(), "H+" | "e-");
    let held = |j: usize| {
        matches!(
            problem.components[j].known,
            crate::equilibrium::problem::Known::LnActivity(_)
        )
    };
    let mut found: Vec<Group> = Vec::new();
    // (label, ln K of formation, terms, whether a solid)
    let dissolved = problem
        .species
        .iter()
        .map(|s| (&s.label, s.ln_k, &s.terms, false));
    let solids = problem
        .phases
        .iter()
        .filter(|p| p.supply == Supply::Precipitate)
        .map(|p| (&p.label, -p.ln_k, &p.terms, true));
    for (label, ln_k, terms, solid) in dissolved.chain(solids) {
        let Some(&(_, of_particle)) = terms.iter().find(|(j, _)| *j == particle) else {
            continue;
        };
        let mut mains = terms.iter().filter(|(j, _)| !side(*j) && !held(*j));
        let (Some(&(component, share)), None) = (mains.next(), mains.next()) else {
            continue;
        };
        if share <= 0.0 || (!electron && of_particle <= 0.0) {
            continue;
        }
        let (flask, titrant) = curve.system.totals_of(component);
        let amount = flask.max(titrant).max(1e-30);
        let around: f64 = terms
            .iter()
            .filter(|(j, _)| *j != component && *j != particle)
            .map(|(j, n)| n * ln_held(*j))
            .sum();
        // a dissolved product is half formed where it equals the free component; a solid begins at the full concentration
        let order = if solid { share } else { share - 1.0 };
        let level = -(ln_k + around + order * amount.ln()) / of_particle;
        let group = Group {
            component,
            capacity: of_particle / share,
            level,
            product: label.clone(),
        };
        // of several products of one component the one that forms first counts
        let first = |new: &Group, old: &Group| {
            if new.capacity < 0.0 {
                new.level > old.level
            } else {
                new.level < old.level
            }
        };
        match found.iter_mut().find(|old| old.component == component) {
            Some(old) if (curve.exchange == Exchange::Solids) == solid && first(&group, old) => {
                *old = group;
            }
            Some(_) => {}
            None => found.push(group),
        }
    }
    found.sort_by(|a, b| a.level.total_cmp(&b.level));
    found
}

/// Equivalence points of a general curve.
///
/// Between two neighbouring groups everything below has reacted and nothing above; the volume follows from the totals.
pub(crate) fn points(curve: &GeneralCurve) -> Result<Vec<EquivalencePoint>, EquilibriumError> {
    let groups = groups(curve);
    let problem = curve.system.problem();
    let (flask, titrant) = curve.system.totals_of(curve.particle);
    let flask_ml = curve.system.flask_ml();
    let mut candidates = Vec::new();
    for gap in 0..=groups.len() {
        let (mut in_flask, mut in_titrant) = (flask, titrant);
        for (position, group) in groups.iter().enumerate() {
            // a group that takes up particles has reacted above its level, one that gives them off below
            let reacted = if group.capacity > 0.0 {
                position < gap
            } else {
                position >= gap
            };
            if reacted {
                let (f, t) = curve.system.totals_of(group.component);
                in_flask -= group.capacity * f;
                in_titrant -= group.capacity * t;
            }
        }
        // name the end after what the flask brought, on either side of the gap
        let beside = [
            gap.checked_sub(1).and_then(|g| groups.get(g)),
            groups.get(gap),
        ];
        let of_flask = |group: &&Group| curve.system.totals_of(group.component).0 > 0.0;
        let named = beside
            .into_iter()
            .flatten()
            .find(of_flask)
            .or(beside[0])
            .or(beside[1]);
        let what = named.map_or_else(String::new, |group| {
            format!(
                "{} and {}",
                problem.components[group.component].label, group.product
            )
        });
        candidates.push(Candidate {
            volume_ml: -flask_ml * in_flask / in_titrant,
            what,
            own: true,
        });
    }
    settle(candidates, flask_ml, curve.unit, |volume| {
        curve.level_at(volume)
    })
}
