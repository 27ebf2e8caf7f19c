//! Making the titrant: from the solid, from a concentrated reagent, or from a stronger solution.
//!
//! Amounts to weigh and measure are not results: the solution is standardized afterwards, unless it is diluted exactly
//! from a known one.

use super::case::Case;
use super::reagents::{Concentrate, Solid};
use super::shelf::Glass;
use super::wishes::MadeFrom;
use serde::Serialize;

/// How the titrant is made.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Preparation {
    /// Volume to make, mL.
    pub volume_ml: f64,
    /// Where the volume comes from: wished for, or what the day needs.
    pub volume_from: &'static str,
    /// The ways, the recommended one first.
    pub ways: Vec<Way>,
    /// True if the titrant is a primary standard itself: weighed with its purity and made up in a volumetric flask, it
    /// needs no standardization.
    pub is_primary_standard: bool,
}

/// One way to make the titrant.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case", tag = "from")]
pub enum Way {
    /// Weigh the solid.
    Solid {
        /// What is weighed.
        what: String,
        /// Mass, g.
        mass_g: f64,
        /// Content of the substance in it, %.
        percent: f64,
        /// Where the content comes from.
        source: String,
        /// What has tripped people up.
        trap: Option<String>,
        /// The masses that would be right if another form were in the bottle: name, formula, g.
        other_forms: Vec<(String, String, f64)>,
    },
    /// Measure a concentrated reagent.
    Concentrate {
        /// What is measured.
        what: String,
        /// Volume, mL.
        volume_ml: f64,
        /// Volume for the upper and for the lower limit of its mass fraction, mL.
        volume_range_ml: (f64, f64),
        /// Its strength, mol/L.
        strength: f64,
        /// Where its figures come from.
        source: String,
        /// What has tripped people up.
        trap: Option<String>,
        /// Caution.
        caution: String,
    },
    /// Dilute a stronger solution.
    Dilution {
        /// Strength of the stock, mol/L.
        stock: f64,
        /// Pipette and flask of each step, mL.
        steps: Vec<(f64, f64)>,
        /// How many times the last step is done for the volume wanted.
        times: u32,
        /// Strength it makes, mol/L.
        strength: f64,
        /// True if that is the one wanted, exactly.
        exact: bool,
    },
}

/// How far a chain may be off the strength wanted.
const OFF: f64 = 0.10;

/// Ways to make the titrant of a plan that needs `needed_ml` of it at `strength` mol/L.
pub(super) fn prepare(case: &Case, strength: f64, needed_ml: f64) -> Preparation {
    let wishes = &case.wishes.titrant;
    let (volume_ml, volume_from) = match &wishes.volume {
        Some(volume) => (volume.value(), "wished for"),
        None => (round_volume(needed_ml), "what the day needs, rounded up"),
    };
    let mut ways = Vec::new();
    if let Some(stock) = &wishes.stock {
        ways.extend(dilution(case, stock.value(), strength, volume_ml));
    }
    let concentrate = concentrate(case, strength, volume_ml);
    let solid = solid(case, strength, volume_ml);
    let prefers_solid = match wishes.made_from {
        Some(MadeFrom::Solid) => true,
        Some(MadeFrom::Concentrate | MadeFrom::Stock) => false,
        None => concentrate.is_none(),
    };
    if prefers_solid {
        ways.extend(solid);
        ways.extend(concentrate);
    } else {
        ways.extend(concentrate);
        ways.extend(solid);
    }
    Preparation {
        volume_ml,
        volume_from,
        ways,
        is_primary_standard: case
            .titrant
            .record
            .is_some_and(|r| r.is(chemistry::substances::Kind::PrimaryStandard)),
    }
}

/// The next size that solutions are made in.
fn round_volume(needed_ml: f64) -> f64 {
    const SIZES: [f64; 9] = [
        100.0, 250.0, 500.0, 1000.0, 2000.0, 2500.0, 5000.0, 10_000.0, 20_000.0,
    ];
    SIZES
        .into_iter()
        .find(|size| *size >= needed_ml)
        .unwrap_or_else(|| (needed_ml / 1000.0).ceil() * 1000.0)
}

fn solid(case: &Case, strength: f64, volume_ml: f64) -> Option<Way> {
    let party = &case.titrant;
    // Acids that are sold as solutions or gases have no solid to weigh.
    if Solid::of(&party.formula).is_none()
        && Concentrate::of(&party.formula).is_some()
        && case.wishes.titrant.made_from != Some(MadeFrom::Solid)
    {
        return None;
    }
    let record = Solid::of(&party.formula);
    let (percent, source, trap) = match (&case.wishes.titrant.content, record) {
        (Some(content), _) => (content.value() * 100.0, "as wished".to_owned(), None),
        (None, Some(solid)) => (
            solid.percent,
            format!("{} ({})", solid.source, solid.mark.describe()),
            solid.trap.clone(),
        ),
        (None, None) => (
            100.0,
            "taken as pure: the label's assay replaces it".to_owned(),
            None,
        ),
    };
    let mass = |molar_mass: f64| strength * volume_ml / 1000.0 * molar_mass / (percent / 100.0);
    let other_forms = party.record.map_or_else(Vec::new, |record| {
        record
            .relatives
            .iter()
            .filter(|relative| is_hydrate_of(&relative.name, &party.name))
            .map(|relative| {
                (
                    relative.name.clone(),
                    relative.formula.to_string(),
                    mass(super::reagents::molar_mass(&relative.formula)),
                )
            })
            .collect()
    });
    Some(Way::Solid {
        what: record.map_or_else(
            || format!("{} ({})", party.name, party.formula),
            |solid| solid.name.clone(),
        ),
        mass_g: mass(party.molar_mass),
        percent,
        source,
        trap,
        other_forms,
    })
}

/// Relatives that give the same solution: other hydrates, not other salts.
fn is_hydrate_of(relative: &str, name: &str) -> bool {
    let bare = |text: &str| {
        let mut words: Vec<&str> = text
            .split(' ')
            .filter(|w| !w.ends_with("hydrate") && !w.starts_with("anhydrous"))
            .collect();
        words.sort_unstable();
        words.join(" ")
    };
    bare(relative) == bare(name)
}

fn concentrate(case: &Case, strength: f64, volume_ml: f64) -> Option<Way> {
    let reagent = Concentrate::of(&case.titrant.formula)?;
    let percent = match (&case.wishes.titrant.content, case.wishes.titrant.made_from) {
        (Some(content), Some(MadeFrom::Concentrate)) => content.value() * 100.0,
        _ => reagent.percent,
    };
    let volume = |percent: f64| strength * volume_ml / reagent.strength(percent);
    Some(Way::Concentrate {
        what: format!(
            "{} ({percent} %, {} g/mL)",
            reagent.name, reagent.density_g_per_ml
        ),
        volume_ml: volume(percent),
        volume_range_ml: (volume(reagent.to_percent), volume(reagent.from_percent)),
        strength: reagent.strength(percent),
        source: format!("{} ({})", reagent.source(), reagent.mark.describe()),
        trap: reagent.trap.clone(),
        caution: reagent.caution.clone(),
    })
}

/// One or two steps with the pipettes and flasks at hand, as near to the strength as they come.
fn dilution(case: &Case, stock: f64, strength: f64, volume_ml: f64) -> Option<Way> {
    let wanted = strength / stock;
    if !(wanted > 0.0 && wanted < 1.0) {
        return None;
    }
    let pairs: Vec<(f64, f64)> = case
        .cupboard
        .pipettes
        .iter()
        .flat_map(|p: &Glass| {
            case.cupboard
                .flasks
                .iter()
                .map(|f| (p.nominal_ml, f.nominal_ml))
        })
        .filter(|(p, f)| p < f)
        .collect();
    let mut best: Option<(Score, Vec<(f64, f64)>)> = None;
    let mut offer = |steps: Vec<(f64, f64)>| {
        let made: f64 = steps.iter().map(|(p, f)| p / f).product();
        let off = (made / wanted - 1.0).abs();
        if off > OFF {
            return;
        }
        let last = steps.last().map_or(0.0, |(_, flask)| *flask);
        let score = Score {
            off: (off * 1e9).round(),
            steps: steps.len(),
            flasks: (volume_ml / last).ceil(),
            smallest_pipette: -steps.iter().map(|(p, _)| *p).fold(f64::INFINITY, f64::min),
        };
        if best.as_ref().is_none_or(|(known, _)| score.beats(known)) {
            best = Some((score, steps));
        }
    };
    for first in &pairs {
        offer(vec![*first]);
        for second in &pairs {
            // What the first step makes has to last for the second.
            if second.0 <= first.1 {
                offer(vec![*first, *second]);
            }
        }
    }
    let (score, steps) = best?;
    let made: f64 = steps.iter().map(|(p, f)| p / f).product();
    Some(Way::Dilution {
        stock,
        exact: (made / wanted - 1.0).abs() < 1e-9,
        strength: stock * made,
        times: score.flasks as u32,
        steps,
    })
}

/// What makes one chain better than another, in this order.
struct Score {
    off: f64,
    steps: usize,
    flasks: f64,
    smallest_pipette: f64,
}

impl Score {
    fn beats(&self, other: &Self) -> bool {
        let order = self
            .off
            .total_cmp(&other.off)
            .then(self.steps.cmp(&other.steps))
            .then(self.flasks.total_cmp(&other.flasks))
            .then(self.smallest_pipette.total_cmp(&other.smallest_pipette));
        order.is_lt()
    }
}
