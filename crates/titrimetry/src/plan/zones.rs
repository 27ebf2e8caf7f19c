//! Where to run freely, where to go drop by drop, where by half drops: from the curve, the indicator, and how unsure the
//! expected titre is; after a rough run, from that.

use super::forward::{DROP_ML, Expectation};
use super::indicators::Ranked;
use serde::Serialize;

/// Half drops begin this many drops before the first visible change (own choice).
const DROPS_BEFORE_THE_CHANGE: f64 = 2.0;
/// The open tap is closed this far before that, mL: what runs in a second or two, and what drains (own choice).
const TAP_ML: f64 = 0.5;
/// and at least this share of the titre before the end: there the colour of the drop lingers (common practice).
const LINGERS: f64 = 0.02;
/// A change that begins earlier than this share of the titre does not help to find the end.
const CHANGE_AT_MOST: f64 = 0.04;
/// A rough run overshoots by up to this much, mL (own choice; ten drops).
const ROUGH_OVERSHOOT_ML: f64 = 0.5;

/// Volumes of one run, mL.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Zone {
    /// Run freely to here.
    pub freely_to_ml: f64,
    /// Drop by drop from there to here, then by half drops.
    pub drops_to_ml: f64,
    /// The end lies not before this volume.
    pub end_from_ml: f64,
    /// The end lies not after this volume.
    pub end_to_ml: f64,
}

/// The zones of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Zones {
    /// The first run, when only the plan is known.
    pub first_run: Zone,
    /// How far before the earliest end the tap is closed, mL.
    pub tap_before_ml: f64,
    /// How far before the earliest end half drops begin, mL.
    pub half_drops_before_ml: f64,
    /// Half drops that the first run may take without a rough one.
    pub half_drops_without_rough: f64,
    /// Titre for each gram of the standard, mL/g; carries a rough titre over to another mass.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ml_per_gram: Option<f64>,
}

/// The zones of an expectation; `range` is the 95 % range of the titre of the planned mass or
/// aliquot.
pub(super) fn zones(
    expected: &Expectation,
    indicator: Option<&Ranked>,
    range: (f64, f64),
) -> Zones {
    let titre = expected.titre_ml;
    // From the first visible change to the end.
    let change = indicator.map_or(0.0, |r| {
        let end = r.visible_ml.0.max(r.visible_ml.1);
        (end - r.visible_ml.0.min(r.visible_ml.1)).clamp(0.0, CHANGE_AT_MOST * titre)
    });
    let half_drops_before_ml = change + DROPS_BEFORE_THE_CHANGE * DROP_ML;
    let tap_before_ml = (half_drops_before_ml + TAP_ML).max(LINGERS * titre);
    let zone = |from: f64, to: f64| zone(from, to, tap_before_ml, half_drops_before_ml);
    Zones {
        first_run: zone(range.0, range.1),
        tap_before_ml,
        half_drops_before_ml,
        half_drops_without_rough: ((range.1 - range.0 + half_drops_before_ml) / (DROP_ML / 2.0))
            .round(),
        ml_per_gram: expected.candidate.dose.mass_g().map(|mass| titre / mass),
    }
}

fn zone(from: f64, to: f64, tap: f64, half_drops: f64) -> Zone {
    Zone {
        freely_to_ml: (from - tap).max(0.0),
        drops_to_ml: (from - half_drops).max(0.0),
        end_from_ml: from,
        end_to_ml: to,
    }
}

impl Zones {
    /// The zones of a run after a rough one ended at `rough_ml`, for the same mass or aliquot.
    pub fn after_rough(&self, rough_ml: f64) -> Zone {
        zone(
            rough_ml - ROUGH_OVERSHOOT_ML,
            rough_ml,
            self.tap_before_ml,
            self.half_drops_before_ml,
        )
    }
}
